// The head to look at. Knows a scene, not where it comes from: the app and the mailed report both use it.
import { BufferAttribute, BufferGeometry, Group, Mesh, MeshLambertMaterial } from "three";
import { floats, octets, whole, type Arrow, type HeadData, type Legend, type SceneData, type Vec3 } from "./data";
import { Edges } from "./edges";
import { arrowFigures, Bodies, draftFigure, lifted, regionFigures, release, Ribbons, seenThrough, skinColours, Strips, type Rider } from "./figures";
import { Labels } from "./labels";
import { Stage } from "./stage";

const PICK_PX = 16;
const DRAG_PX = 4;
const OTHER_SIZE = 0.06; // a head of another age: the picture is set up anew

export interface ViewerEvents {
  picked(site: string | null): void;
  /** A click on bare skin while a place is asked for. */
  touched(point: Vec3): void;
}

export class Viewer {
  readonly stage: Stage;
  readonly labels: Labels;
  selected = "";
  asksForPlace = false;
  frames = 0;
  private readonly head: Mesh<BufferGeometry, MeshLambertMaterial>;
  private readonly layers = new Map<string, boolean>();
  private readonly groups = new Map<string, Group>();
  private scene: SceneData | null = null;
  private bodies: Bodies | null = null;
  private riders: Rider[] = [];
  private anchors: Uint32Array[] = []; // made when a slider moves
  private confirmed = new Float32Array(0);
  private emphasised = "";
  private painted = false;
  private lastLook = "front";
  private readonly drafted = new Group();
  private readonly edges = new Edges();
  private readonly tip = document.createElement("div");

  constructor(readonly host: HTMLElement, readonly legend: Legend, private readonly events: ViewerEvents) {
    this.stage = new Stage(host, legend.view_angle_degrees);
    this.labels = new Labels(host);
    // Pushed back in depth, so that lines on the skin are not half buried in it.
    const skin = new MeshLambertMaterial({ vertexColors: true, polygonOffset: true, polygonOffsetFactor: 2, polygonOffsetUnits: 2 });
    this.head = new Mesh(new BufferGeometry(), skin);
    this.stage.scene.add(this.head);
    for (const layer of Object.keys(legend.layers)) {
      this.layers.set(layer, true);
      const group = new Group();
      this.groups.set(layer, group);
      this.stage.scene.add(group);
    }
    this.tip.className = "tip";
    this.tip.hidden = true;
    host.append(this.tip, this.edges.element);
    this.stage.scene.add(this.drafted);
    this.stage.onDrawn = () => this.drawn();
    this.listen();
    this.theme();
  }

  setHead(data: HeadData): void {
    this.setHeadArrays(floats(data.vertices_mm), whole(data.faces), octets(data.part));
  }

  setHeadArrays(vertices: Float32Array, faces: Uint32Array, part: Uint8Array): void {
    const geometry = this.head.geometry;
    geometry.setIndex(new BufferAttribute(faces, 1));
    geometry.setAttribute("position", new BufferAttribute(vertices.slice(), 3));
    geometry.setAttribute("color", new BufferAttribute(skinColours(part, this.legend.head_colour), 3));
    this.confirm(vertices);
  }

  /** The head as the program confirmed it; what stands on it must have been set for this head. */
  confirm(vertices: Float32Array): void {
    this.confirmed = vertices.slice();
    this.shape(vertices);
  }

  /** The head as the page foresees it while a slider moves: all that stands on it rides along. */
  foresee(vertices: Float32Array): void {
    // Vertices that carried the points of the last fit carry those of this one as well.
    this.anchors = this.riders.map((rider, k) => {
      const kept = this.anchors[k];
      return kept && 3 * kept.length === rider.anchors.length ? kept : nearestVertices(rider.anchors, this.confirmed);
    });
    this.riders.forEach((rider, k) => {
      const moved = rider.points.slice();
      for (let i = 0; 3 * i < moved.length; i++) {
        const vertex = 3 * this.anchors[k]![rider.anchorOf(i)]!;
        for (let axis = 0; axis < 3; axis++) moved[3 * i + axis]! += vertices[vertex + axis]! - this.confirmed[vertex + axis]!;
      }
      rider.place(moved);
    });
    this.shape(vertices);
  }

  private shape(vertices: Float32Array): void {
    const geometry = this.head.geometry;
    const position = geometry.getAttribute("position") as BufferAttribute;
    position.array.set(vertices);
    position.needsUpdate = true;
    geometry.computeVertexNormals();
    geometry.computeBoundingSphere();
    this.stage.changed();
  }

  setScene(scene: SceneData): void {
    const first = this.scene === null;
    const sizeBefore = this.scene?.height_mm ?? scene.height_mm;
    if (this.scene?.sites.map((site) => site.name).join() !== scene.sites.map((site) => site.name).join()) this.anchors = [];
    this.scene = scene;
    this.riders = [];
    this.bodies?.dispose();
    this.groups.forEach(release);
    const focus = scene.focus_mm;
    const colours = this.legend.line_colours;
    const add = (layer: string, lines: Strips | Ribbons): void => {
      this.riders.push(lines);
      this.groups.get(layer)!.add(lines.object);
    };
    this.bodies = new Bodies(scene.sites, this.legend);
    this.riders.push(this.bodies);
    this.groups.get("sites")!.add(this.bodies.group);
    const arcs = new Strips(scene.arcs.map((arc) => lifted(floats(arc.points_mm), focus, 0.5)), focus, colours.arcs, 1);
    add("arcs", arcs);
    this.groups.get("arcs")!.add(seenThrough(arcs, colours.arcs));
    add("uncertainty", new Ribbons(scene.ellipses.map((e) => lifted(floats(e.outline_mm), focus, 2)), colours.uncertainty, 0.8));
    const paths = scene.chains.flatMap((chain) => chain.derivations.map((d) => lifted(floats(d.path_mm), focus, 1.2)));
    add("chains", new Strips(paths, focus, colours.chains, 2));
    this.drawArrows(scene);
    this.groups.get("regions")!.add(regionFigures(scene.regions, colours.regions, focus));
    this.labels.set(scene.sites);
    this.mark();
    if (first) this.look("front");
    else if (Math.abs(scene.height_mm / sizeBefore - 1) > OTHER_SIZE) this.look(this.lastLook);
    this.stage.changed();
  }

  /** Choose a site by name, "" for none; `turn` brings it to the front. */
  select(name: string, turn = false): void {
    this.selected = name;
    this.mark();
    const site = this.scene?.sites.find((each) => each.name === name);
    if (site && turn) this.stage.face(site.normal, this.scene!.height_mm, this.scene!.focus_mm);
    this.stage.changed();
  }

  /** Draw the move of one site larger. */
  emphasise(name: string): void {
    this.emphasised = name;
    if (!this.scene) return;
    release(this.groups.get("moves")!);
    this.drawArrows(this.scene);
    this.stage.changed();
  }

  /** Marks to be moved, and sites that were moved from their own place. */
  private drawArrows(scene: SceneData): void {
    const group = this.groups.get("moves")!;
    const of = (kind: Arrow["kind"]): Arrow[] => scene.arrows.filter((arrow) => arrow.kind === kind);
    group.add(arrowFigures(of("mark"), this.legend.line_colours.moves, scene.focus_mm, this.emphasised));
    group.add(arrowFigures(of("moved"), this.legend.states["moved"]!.colour, scene.focus_mm, this.emphasised, true));
  }

  /** Corners of an outline that is being drawn on the head. */
  draft(corners: readonly Vec3[]): void {
    release(this.drafted);
    const scene = this.scene;
    if (scene && corners.length) this.drafted.add(draftFigure(corners, this.legend.line_colours.regions, scene.focus_mm));
    this.stage.changed();
  }

  private mark(): void {
    this.bodies?.select(this.index(this.selected));
  }

  private index(name: string): number {
    return this.scene?.sites.findIndex((site) => site.name === name) ?? -1;
  }

  show(layer: string, on: boolean): void {
    this.layers.set(layer, on);
    if (layer === "head") this.head.visible = on;
    else this.groups.get(layer)!.visible = on;
    this.stage.changed();
  }

  look(camera: string): void {
    const preset = this.legend.cameras[camera];
    if (!preset || !this.scene) return;
    this.lastLook = camera;
    const focus = preset.focus === "nasion" ? this.scene.landmarks[0]!.point_mm : this.scene.focus_mm;
    this.stage.look(preset, focus, this.scene.height_mm);
  }

  theme(): void {
    this.stage.background(getComputedStyle(this.host).getPropertyValue("--stage").trim() || "#ffffff");
  }

  /** Where a site stands on the page, in pixels of the window, and whether it is seen. */
  where(name: string): { x: number; y: number; seen: boolean } {
    this.stage.draw(); // the camera's matrices must be those of this moment
    const i = this.index(name);
    const box = this.host.getBoundingClientRect();
    const screen = this.labels.screen;
    return { x: box.left + screen[3 * i]!, y: box.top + screen[3 * i + 1]!, seen: screen[3 * i + 2] === 1 };
  }

  /** A 2-D copy with the names written in: a WebGL canvas prints blank. */
  copyTo(canvas: HTMLCanvasElement): void {
    this.stage.draw();
    const source = this.stage.renderer.domElement;
    canvas.width = source.width;
    canvas.height = source.height;
    const scale = source.width / this.host.clientWidth;
    const context = canvas.getContext("2d")!;
    context.drawImage(source, 0, 0);
    context.scale(scale, scale);
    context.textBaseline = "top";
    context.font = '600 12px "DejaVu Sans", "Liberation Sans", Arial, sans-serif';
    context.lineWidth = 3;
    context.lineJoin = "round";
    context.strokeStyle = "#ffffff";
    context.fillStyle = "#111111";
    for (const name of this.labels.placed) {
      context.strokeText(name.text, name.x + 3, name.y + 2);
      context.fillText(name.text, name.x + 3, name.y + 2);
    }
    this.edges.copyTo(context, this.host.clientWidth, this.host.clientHeight);
  }

  private drawn(): void {
    this.frames++;
    if (!this.bodies) return;
    if (!this.painted) performance.mark("head-drawn");
    this.painted = true;
    const { clientWidth: width, clientHeight: height } = this.host;
    const on = (layer: string): boolean => this.layers.get(layer) ?? true;
    this.edges.show(...this.stage.axes);
    this.labels.lay(this.stage.camera, this.bodies.shown, width, height, this.index(this.selected), on("labels") && on("sites"), !on("head"));
  }

  /** The nearest site that is seen within reach of a pointer. */
  private siteUnder(event: MouseEvent): number {
    const box = this.host.getBoundingClientRect();
    const x = event.clientX - box.left;
    const y = event.clientY - box.top;
    const screen = this.labels.screen;
    let best = -1;
    let nearest = PICK_PX;
    for (let i = 0; i < (this.scene?.sites.length ?? 0); i++) {
      const gap = Math.hypot(screen[3 * i]! - x, screen[3 * i + 1]! - y);
      if (screen[3 * i + 2] && gap < nearest) [best, nearest] = [i, gap];
    }
    return this.layers.get("sites") ? best : -1;
  }

  private listen(): void {
    const canvas = this.stage.renderer.domElement;
    let from: [number, number] = [0, 0];
    canvas.addEventListener("pointerdown", (event) => (from = [event.clientX, event.clientY]));
    canvas.addEventListener("pointerup", (event) => {
      if (Math.hypot(event.clientX - from[0], event.clientY - from[1]) > DRAG_PX) return;
      if (this.asksForPlace) {
        const hit = this.stage.under(event, this.head);
        if (hit) this.events.touched(hit.point);
        return;
      }
      const i = this.siteUnder(event);
      this.events.picked(i < 0 ? null : this.scene!.sites[i]!.name);
    });
    canvas.addEventListener("pointermove", (event) => {
      const i = event.buttons ? -1 : this.siteUnder(event);
      this.tip.hidden = i < 0;
      if (i < 0) return;
      this.tip.textContent = tipOf(this.scene!.sites[i]!, this.legend);
      const box = this.host.getBoundingClientRect();
      const left = Math.min(event.clientX - box.left + 14, box.width - this.tip.offsetWidth - 4);
      this.tip.style.transform = `translate(${left}px,${event.clientY - box.top + 12}px)`;
    });
    canvas.addEventListener("pointerleave", () => (this.tip.hidden = true));
    this.host.addEventListener("keydown", (event) => this.key(event));
  }

  private key(event: KeyboardEvent): void {
    if (event.target !== this.host || event.ctrlKey || event.metaKey || event.altKey) return;
    const cameras = Object.keys(this.legend.cameras);
    const turns: Record<string, [number, number]> = { ArrowLeft: [-10, 0], ArrowRight: [10, 0], ArrowUp: [0, 10], ArrowDown: [0, -10] };
    const turn = turns[event.key];
    const camera = cameras[Number(event.key) - 1];
    if (turn) this.stage.turn(...turn);
    else if (event.key === "+" || event.key === "=") this.stage.zoom(1 / 1.15);
    else if (event.key === "-") this.stage.zoom(1.15);
    else if (camera) this.look(camera);
    else if (event.key === "n" || event.key === "p") this.step(event.key === "n" ? 1 : -1);
    else if (event.key === "Escape") this.events.picked(null);
    else return;
    event.preventDefault();
  }

  private step(by: number): void {
    const sites = this.scene?.sites ?? [];
    if (!sites.length) return;
    const next = (this.index(this.selected) + by + sites.length) % sites.length;
    this.events.picked(sites[this.selected ? next : 0]!.name);
  }
}

/** One line about a site. */
export function tipOf(site: { name: string; arc: string; start: string; from_start_mm: number | null; state: string }, legend: Legend): string {
  const mark = site.from_start_mm === null ? "" : `: ${(site.from_start_mm / 10).toFixed(1)} cm from ${site.start} (${site.arc})`;
  return `${site.name}${mark}, ${legend.states[site.state]!.words}`;
}

/** For each point the nearest vertex. */
function nearestVertices(points: Float32Array, vertices: Float32Array): Uint32Array {
  const out = new Uint32Array(points.length / 3);
  for (let i = 0; i < out.length; i++) {
    const x = points[3 * i]!;
    const y = points[3 * i + 1]!;
    const z = points[3 * i + 2]!;
    let nearest = Infinity;
    for (let v = 0; v < vertices.length; v += 3) {
      const dz = vertices[v + 2]! - z;
      if (dz * dz >= nearest) continue; // spares most of the work
      const dx = vertices[v]! - x;
      const dy = vertices[v + 1]! - y;
      const gap = dx * dx + dy * dy + dz * dz;
      if (gap < nearest) {
        nearest = gap;
        out[i] = v / 3;
      }
    }
  }
  return out;
}
