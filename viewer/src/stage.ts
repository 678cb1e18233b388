// The drawing surface: renderer, light, camera, and a picture only when something changed.
import {
  Color, DirectionalLight, HemisphereLight, PerspectiveCamera, Raycaster, Scene, Vector2, Vector3, WebGLRenderer,
  type Mesh,
} from "three";
import { OrbitControls } from "three/addons/controls/OrbitControls.js";
import type { CameraPreset, Vec3 } from "./data";

/** True on software GL, false on a graphics card, null without WebGL. Antialiasing is chosen when the context is made, and
 * on software GL it costs 2.7 times the picture, so the renderer's name is asked of another context first. */
export function softwareGl(): boolean | null {
  const gl = document.createElement("canvas").getContext("webgl2");
  if (!gl) return null;
  const info = gl.getExtension("WEBGL_debug_renderer_info");
  const name = info ? String(gl.getParameter(info.UNMASKED_RENDERER_WEBGL)) : "";
  gl.getExtension("WEBGL_lose_context")?.loseContext();
  return /swiftshader|llvmpipe|software|basic render/i.test(name);
}

const COARSE = 0.5;

// headfit/output/cameras.py has the same rule for the desktop window.
const HIGHEST_IN_FRONT = 55;
const LOWEST = -60;

/** How high a camera may stand, in degrees: from behind up to straight above, nose up; from in front never so high that the nose points down. */
function highest(azimuth: number): number {
  return HIGHEST_IN_FRONT + ((90 - HIGHEST_IN_FRONT) * (1 - Math.sin(azimuth))) / 2;
}

export class Stage {
  readonly scene = new Scene();
  readonly camera: PerspectiveCamera;
  readonly renderer: WebGLRenderer;
  readonly controls: OrbitControls;
  readonly software: boolean;
  onDrawn: () => void = () => {};
  private waiting = false;
  private readonly ray = new Raycaster();

  constructor(readonly host: HTMLElement, viewAngleDegrees: number) {
    const software = softwareGl();
    if (software === null) throw new Error("this browser has no WebGL");
    this.software = software;
    this.renderer = new WebGLRenderer({ antialias: !software });
    this.renderer.setPixelRatio(software ? 1 : Math.min(devicePixelRatio, 2));
    const canvas = this.renderer.domElement;
    canvas.setAttribute("aria-hidden", "true"); // the host carries the words
    host.prepend(canvas);
    this.camera = new PerspectiveCamera(viewAngleDegrees, 1, 10, 4000);
    this.camera.up.set(0, 0, 1);
    this.camera.position.set(0, 600, 100);
    this.scene.add(new HemisphereLight(0xffffff, 0x9a8f84, 1.9), this.camera);
    const key = new DirectionalLight(0xffffff, 1.5);
    key.position.set(0.5, 0.7, 1); // goes round with the camera: no side is ever dark
    this.camera.add(key);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.enableDamping = false;
    this.controls.enablePan = false;
    this.controls.minDistance = 120;
    this.controls.maxDistance = 1500;
    this.controls.addEventListener("change", () => {
      this.level();
      this.changed();
    });
    this.controls.addEventListener("start", () => this.coarse(true));
    this.controls.addEventListener("end", () => this.coarse(false));
    canvas.addEventListener("webglcontextrestored", () => this.changed());
    new ResizeObserver(() => this.fit()).observe(host);
    this.fit();
  }

  /** Ask for a new picture with the next frame. */
  changed(): void {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      if (this.waiting) this.draw();
    });
  }

  draw(): void {
    this.waiting = false;
    this.camera.updateMatrixWorld();
    this.renderer.render(this.scene, this.camera);
    this.onDrawn();
  }

  /** While something moves, software GL draws fewer pixels; the names stay sharp. */
  coarse(on: boolean): void {
    const ratio = on && this.software ? COARSE : this.software ? 1 : Math.min(devicePixelRatio, 2);
    if (this.renderer.getPixelRatio() === ratio) return;
    this.renderer.setPixelRatio(ratio);
    this.changed();
  }

  background(colour: string): void {
    this.renderer.setClearColor(new Color(colour));
    this.changed();
  }

  private fit(): void {
    const { clientWidth: width, clientHeight: height } = this.host;
    if (!width || !height) return;
    this.renderer.setSize(width, height);
    this.camera.aspect = width / height;
    this.camera.updateProjectionMatrix();
    this.changed();
  }

  /** Look along a preset; a narrow window shows the same width of head from farther off. */
  look(preset: CameraPreset, focus: Vec3, heightMm: number): void {
    const narrow = Math.max(1, 0.92 / this.camera.aspect);
    const half = ((preset.height_share * heightMm) / 2) * narrow;
    const distance = half / Math.tan((this.camera.fov * Math.PI) / 360);
    // Straight from above the turntable has no front: lean a hair towards the lower edge of the picture.
    const lean = preset.up[2] === 1 ? 0 : 1e-3;
    const toward = new Vector3(...preset.toward).addScaledVector(new Vector3(...preset.up), -lean).setLength(distance);
    this.controls.target.set(...focus);
    this.camera.position.copy(this.controls.target).add(toward);
    this.controls.update();
    this.changed();
  }

  /** Never past nose-up, never from under the neck: the camera sinks where it would stand too high for its side. */
  private level(): void {
    const offset = this.camera.position.clone().sub(this.controls.target);
    const radius = offset.length();
    const azimuth = Math.atan2(offset.y, offset.x);
    const height = (Math.asin(Math.min(Math.max(offset.z / radius, -1), 1)) * 180) / Math.PI;
    const kept = Math.min(Math.max(height, LOWEST), highest(azimuth) - 0.05);
    if (Math.abs(kept - height) < 0.1) return;
    const up = (kept * Math.PI) / 180;
    offset.set(Math.cos(up) * Math.cos(azimuth), Math.cos(up) * Math.sin(azimuth), Math.sin(up)).multiplyScalar(radius);
    this.camera.position.copy(this.controls.target).add(offset);
    this.camera.lookAt(this.controls.target);
  }

  /** Unit vectors to the right, up and towards the viewer, in the frame of the head. */
  get axes(): [Vector3, Vector3, Vector3] {
    this.camera.updateMatrixWorld();
    const [right, up, near] = [new Vector3(), new Vector3(), new Vector3()];
    this.camera.matrixWorld.extractBasis(right, up, near);
    return [right, up, near];
  }

  /** Turn about the focus: degrees to the right and up. */
  turn(rightDegrees: number, upDegrees: number): void {
    const offset = this.camera.position.clone().sub(this.controls.target);
    const radius = offset.length();
    const polar = Math.acos(offset.z / radius) - (upDegrees * Math.PI) / 180;
    const azimuth = Math.atan2(offset.y, offset.x) + (rightDegrees * Math.PI) / 180;
    const kept = Math.min(Math.max(polar, 1e-3), Math.PI - 1e-3);
    offset.set(Math.sin(kept) * Math.cos(azimuth), Math.sin(kept) * Math.sin(azimuth), Math.cos(kept)).multiplyScalar(radius);
    this.camera.position.copy(this.controls.target).add(offset);
    this.controls.update();
    this.changed();
  }

  zoom(factor: number): void {
    const offset = this.camera.position.clone().sub(this.controls.target);
    const distance = Math.min(Math.max(offset.length() * factor, this.controls.minDistance), this.controls.maxDistance);
    this.camera.position.copy(this.controls.target).add(offset.setLength(distance));
    this.controls.update();
    this.changed();
  }

  /** Bring a place of the surface to the middle of the picture. */
  face(normal: Vec3, heightMm: number, focus: Vec3): void {
    const distance = Math.max(this.camera.position.distanceTo(this.controls.target), heightMm);
    const toward = new Vector3(...normal);
    // Below the horizon the neck hides much: stay a little above it.
    toward.z = Math.max(toward.z, -0.1);
    const now = this.camera.position.clone().sub(this.controls.target);
    // Where the skin faces up, the camera stays on its side of the head.
    if (Math.hypot(toward.x, toward.y) < 0.2) toward.set(now.x, now.y, 0).setLength(0.2).setZ(toward.z);
    this.controls.target.set(...focus);
    this.camera.position.copy(this.controls.target).add(toward.setLength(distance));
    this.controls.update();
    this.changed();
  }

  /** The point and outward normal of a mesh under a pointer, or null. */
  under(event: PointerEvent | MouseEvent, mesh: Mesh): { point: Vec3; normal: Vec3 } | null {
    const box = this.host.getBoundingClientRect();
    const at = new Vector2(((event.clientX - box.left) / box.width) * 2 - 1, 1 - ((event.clientY - box.top) / box.height) * 2);
    this.camera.updateMatrixWorld();
    this.ray.setFromCamera(at, this.camera);
    const hit = this.ray.intersectObject(mesh, false)[0];
    if (!hit?.face) return null;
    return { point: hit.point.toArray(), normal: hit.face.normal.toArray() };
  }
}
