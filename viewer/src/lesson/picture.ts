// The picture of a step: the head in 3D, or its line drawing where the browser has no WebGL, and the figures drawn over it.
import { BufferAttribute, BufferGeometry, Mesh, MeshLambertMaterial, MOUSE, TOUCH, Vector3 } from "three";
import { floats, octets, whole, type Vec3 } from "../data";
import { skinColours } from "../figures";
import { Stage } from "../stage";
import { FIRST, type LessonData, type Mix, type StepData } from "./data";
import { draw, type Held, type Projected } from "./overlay";
import { Shown } from "./shown";

const SVG = "http://www.w3.org/2000/svg";
const MOVE_MS = 450;
// Cosine between skin and line of sight down to which a place counts as seen: from the side the midline lies on the outline of
// the head, in perspective just behind it.
const EDGE = -0.3;
const EDGE_IN_PARALLEL = -0.12;

export class Picture {
  readonly stage: Stage | null;
  readonly overlay = document.createElementNS(SVG, "svg");
  /** Told after every change of what is seen: handles follow. */
  onProjected: () => void = () => {};
  /** The handle that lies over the picture. */
  held: () => Held | null = () => null;
  shown: Shown | null = null;
  mix: Mix = FIRST;
  grown = 1;
  /** Sites to point out, by name. */
  chosen: ReadonlySet<string> = new Set();
  private step: StepData | null = null;
  private readonly mesh: Mesh<BufferGeometry, MeshLambertMaterial> | null = null;
  private readonly base: Float32Array;
  private readonly part: Uint8Array;
  private moving = 0;
  private flat: { right: Vector3; down: Vector3; near: Vector3; focus: Vector3; height: number } | null = null;

  constructor(readonly host: HTMLElement, lesson: LessonData) {
    this.base = floats(lesson.head.vertices_mm);
    this.part = octets(lesson.head.part);
    this.overlay.setAttribute("class", "figures");
    this.overlay.setAttribute("aria-hidden", "true"); // the same is said in the caption and beside it
    let stage: Stage | null = null;
    try {
      stage = new Stage(host, lesson.view_angle_degrees);
    } catch (error) {
      document.documentElement.dataset["no3d"] = String(error);
    }
    this.stage = stage;
    host.append(this.overlay);
    new ResizeObserver(() => this.project()).observe(host);
    if (!stage) return;
    const skin = new MeshLambertMaterial({ vertexColors: true });
    this.mesh = new Mesh(new BufferGeometry(), skin);
    this.mesh.geometry.setIndex(new BufferAttribute(whole(lesson.head.faces), 1));
    this.mesh.geometry.setAttribute("position", new BufferAttribute(this.base.slice(), 3));
    this.mesh.geometry.computeVertexNormals();
    stage.scene.add(this.mesh);
    stage.onDrawn = () => {
      if (!performance.getEntriesByName("head-drawn").length) performance.mark("head-drawn");
      this.project();
    };
    // One finger goes to the next step; two turn the head.
    stage.controls.touches = { ONE: null, TWO: TOUCH.DOLLY_ROTATE };
    stage.controls.mouseButtons = { LEFT: MOUSE.ROTATE, MIDDLE: MOUSE.DOLLY, RIGHT: MOUSE.ROTATE };
    this.theme();
  }

  /** Let go of what a page may have few of. */
  dispose(): void {
    this.stage?.renderer.dispose();
    this.stage?.renderer.forceContextLoss();
  }

  theme(): void {
    const style = getComputedStyle(document.documentElement);
    this.stage?.background(style.getPropertyValue("--stage").trim());
    const colours = skinColours(this.part, style.getPropertyValue("--skin").trim());
    this.mesh?.geometry.setAttribute("color", new BufferAttribute(colours, 3));
    this.stage?.changed();
  }

  show(step: StepData, jump = false): void {
    const calm = jump || !this.step || matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.step = step;
    this.shown = new Shown(step);
    this.chosen = new Set();
    this.look(step, calm);
  }

  /** Other figures on the head as it is seen now. */
  keep(step: StepData): void {
    this.step = step;
    this.shown = new Shown(step);
  }

  /** Where the dial stands now. */
  follow(mix: Mix, grown: number): void {
    [this.mix, this.grown] = [mix, grown];
    const moves = this.shown?.vertices;
    if (this.mesh) {
      const position = this.mesh.geometry.getAttribute("position") as BufferAttribute;
      if (moves) {
        moves.onto(this.base, mix, position.array as Float32Array);
        this.reshaped = true;
      } else if (this.reshaped) {
        position.array.set(this.base);
        this.reshaped = false;
      } else {
        this.project();
        return;
      }
      position.needsUpdate = true;
      this.mesh.geometry.computeVertexNormals();
      this.stage?.changed();
    }
    this.project();
  }

  private reshaped = false;

  private look(step: StepData, calm: boolean): void {
    const near = new Vector3(...step.toward).normalize();
    // Straight from above the nose points up.
    const right = new Vector3(0, 0, 1).cross(near).normalize();
    const down = right.clone().cross(near).normalize();
    this.flat = { right, down, near, focus: new Vector3(...step.focus_mm), height: step.height_mm };
    const stage = this.stage;
    if (!stage) {
      this.project();
      return;
    }
    const from = stage.camera.position.clone();
    const aim = stage.controls.target.clone();
    const preset = { title: step.title, toward: step.toward, up: [0, 0, 1] as Vec3, focus: "head" as const, height_share: 1 };
    stage.look(preset, step.focus_mm, step.height_mm);
    const run = ++this.moving;
    if (calm) return;
    const to = stage.camera.position.clone();
    const end = stage.controls.target.clone();
    const begin = performance.now();
    const frame = (): void => {
      if (run !== this.moving) return;
      const share = Math.min(1, (performance.now() - begin) / MOVE_MS);
      const eased = share * share * (3 - 2 * share);
      // Round the head, not through it.
      const [a, b] = [from.clone().sub(aim), to.clone().sub(end)];
      const radius = a.length() + (b.length() - a.length()) * eased;
      const way = a.normalize().lerp(b.normalize(), eased);
      if (way.length() < 0.2) way.x += 0.5;
      stage.controls.target.lerpVectors(aim, end, eased);
      stage.camera.position.copy(stage.controls.target).add(way.setLength(radius));
      if (share === 1) stage.camera.position.copy(to);
      stage.camera.lookAt(stage.controls.target);
      stage.changed();
      if (share < 1) requestAnimationFrame(frame);
      else stage.controls.update();
    };
    requestAnimationFrame(frame);
  }

  /** Where a place stands in the picture, pixels, and whether the skin there faces the viewer. */
  at(points: ArrayLike<number>, normals: ArrayLike<number>, i = 0): Projected {
    const { clientWidth: width, clientHeight: height } = this.host;
    const point = new Vector3(points[3 * i], points[3 * i + 1], points[3 * i + 2]);
    const normal = new Vector3(normals[3 * i], normals[3 * i + 1], normals[3 * i + 2]);
    if (this.stage) {
      const toward = this.stage.camera.position.clone().sub(point).normalize();
      const facing = normal.dot(toward);
      const on = point.project(this.stage.camera);
      return { x: ((on.x + 1) / 2) * width, y: ((1 - on.y) / 2) * height, seen: facing > EDGE };
    }
    const flat = this.flat!;
    const away = point.sub(flat.focus);
    const scale = this.scale;
    return { x: width / 2 + away.dot(flat.right) * scale, y: height / 2 + away.dot(flat.down) * scale, seen: normal.dot(flat.near) > EDGE_IN_PARALLEL };
  }

  private get scale(): number {
    const { clientWidth: width, clientHeight: height } = this.host;
    return Math.min(height, width / 0.92) / this.flat!.height;
  }

  /** The place on the skin under a pointer, or null; in 3D only. */
  under(event: PointerEvent | MouseEvent): Vec3 | null {
    return this.mesh && this.stage ? (this.stage.under(event, this.mesh)?.point ?? null) : null;
  }

  /** Draw the figures anew for where camera and dial stand. */
  project(): void {
    if (!this.shown || !this.step) return;
    const { clientWidth: width, clientHeight: height } = this.host;
    if (!width || !height) return;
    this.stage?.camera.updateMatrixWorld();
    this.overlay.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const head = this.stage ? "" : `<path class="contour" d="${this.step.contours}" transform="translate(${width / 2} ${height / 2}) scale(${this.scale})"/>`;
    this.overlay.innerHTML = head + draw(this.shown, this.mix, this.grown, (p, n, i) => this.at(p, n, i), width, height, this.chosen, this.held());
    this.onProjected();
  }

  /** The names that can be read in the picture now. */
  get names(): readonly string[] {
    return [...this.overlay.querySelectorAll("text[data-name]")].map((text) => text.getAttribute("data-name")!);
  }
}

