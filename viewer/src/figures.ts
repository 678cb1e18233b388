// What stands on the head: bodies of the sites, and lines. Each figure can ride on the skin while a slider is dragged.
import {
  BoxGeometry, BufferAttribute, BufferGeometry, Color, ConeGeometry, DoubleSide, Group, InstancedMesh, Matrix4, Mesh,
  MeshBasicMaterial, MeshLambertMaterial, OctahedronGeometry, Quaternion, SphereGeometry, Vector3,
} from "three";
import { LineMaterial } from "three/addons/lines/LineMaterial.js";
import { LineSegments2 } from "three/addons/lines/LineSegments2.js";
import { LineSegmentsGeometry } from "three/addons/lines/LineSegmentsGeometry.js";
import { floats, type Arrow, type Legend, type Region, type Site, type Vec3 } from "./data";

const SIZE_MM = 3.4;
const EAR_MM = 22; // an ear stands off the head by less
const BODIES = {
  ball: new SphereGeometry(SIZE_MM, 10, 7),
  box: new BoxGeometry(1.8 * SIZE_MM, 1.8 * SIZE_MM, 1.8 * SIZE_MM),
  octahedron: new OctahedronGeometry(1.45 * SIZE_MM),
  cone: new ConeGeometry(1.4 * SIZE_MM, 2.8 * SIZE_MM, 16),
};
const UP = new Vector3(0, 1, 0); // the axis of a cone

/** Points of a figure as they were sent, and how to show them elsewhere. Each rides with one of the anchors. */
export interface Rider {
  readonly points: Float32Array;
  readonly anchors: Float32Array;
  anchorOf(point: number): number;
  place(points: Float32Array): void;
}

/** Bodies of the sites: one drawing call for each state, since on software GL every call costs. */
export class Bodies implements Rider {
  readonly group = new Group();
  readonly points: Float32Array;
  readonly shown: Float32Array;
  readonly anchorOf = (point: number): number => point;
  private readonly places: readonly (readonly [InstancedMesh, number])[];
  private readonly turns: readonly Quaternion[];
  private readonly size: number;
  private chosen = -1;

  constructor(readonly sites: readonly Site[], legend: Legend) {
    this.points = new Float32Array(sites.flatMap((site) => site.point_mm));
    this.shown = this.points.slice();
    this.size = sites.length > 120 ? 0.7 : 1; // the 10-5 system is crowded
    this.turns = sites.map((site) => new Quaternion().setFromUnitVectors(UP, new Vector3(...site.normal)));
    const counts = new Map<string, number>();
    const rows = sites.map((site) => {
      const row = counts.get(site.state) ?? 0;
      counts.set(site.state, row + 1);
      return row;
    });
    const meshes = new Map<string, InstancedMesh>();
    for (const [name, count] of counts) {
      const state = legend.states[name]!;
      const mesh = new InstancedMesh(BODIES[state.body], once(`body ${state.colour}`, () => new MeshLambertMaterial({ color: state.colour })), count);
      mesh.frustumCulled = false;
      meshes.set(name, mesh);
      this.group.add(mesh);
    }
    this.places = sites.map((site, i) => [meshes.get(site.state)!, rows[i]!] as const);
    this.place(this.points);
  }

  get anchors(): Float32Array {
    return this.points;
  }

  place(points: Float32Array): void {
    this.shown.set(points);
    const matrix = new Matrix4();
    const at = new Vector3();
    const scale = new Vector3();
    this.places.forEach(([mesh, row], i) => {
      scale.setScalar(i === this.chosen ? 1.8 * this.size : this.size);
      mesh.setMatrixAt(row, matrix.compose(at.fromArray(this.shown, 3 * i), this.turns[i]!, scale));
      mesh.instanceMatrix.needsUpdate = true;
    });
  }

  select(index: number): void {
    this.chosen = index;
    this.place(this.shown);
  }

  dispose(): void {
    for (const [mesh] of this.places) mesh.dispose();
  }
}

/** Polylines of one look, drawn as one object. */
export class Lines implements Rider {
  readonly object: LineSegments2;
  readonly points: Float32Array;
  readonly anchorOf = (point: number): number => point;
  private readonly geometry = new LineSegmentsGeometry();
  private readonly pairs: Uint32Array; // indices into points, two for each piece

  constructor(curves: readonly Float32Array[], closed: boolean, material: LineMaterial) {
    const total = curves.reduce((sum, curve) => sum + curve.length, 0);
    this.points = new Float32Array(total);
    const pairs: number[] = [];
    let at = 0;
    for (const curve of curves) {
      this.points.set(curve, 3 * at);
      const count = curve.length / 3;
      for (let i = 0; i + 1 < count; i++) pairs.push(at + i, at + i + 1);
      if (closed && count > 2) pairs.push(at + count - 1, at);
      at += count;
    }
    this.pairs = new Uint32Array(pairs);
    this.geometry.setPositions(new Float32Array(3 * this.pairs.length));
    this.object = new LineSegments2(this.geometry, material);
    this.object.frustumCulled = false;
    this.place(this.points);
  }

  get anchors(): Float32Array {
    return this.points;
  }

  place(points: Float32Array): void {
    if (!this.pairs.length) return;
    const buffer = (this.geometry.attributes["instanceStart"] as unknown as { data: { array: Float32Array; needsUpdate: boolean } }).data;
    this.pairs.forEach((from, to) => {
      buffer.array[3 * to] = points[3 * from]!;
      buffer.array[3 * to + 1] = points[3 * from + 1]!;
      buffer.array[3 * to + 2] = points[3 * from + 2]!;
    });
    buffer.needsUpdate = true;
  }

  dispose(): void {
    this.geometry.dispose();
  }
}

type Look = LineMaterial | MeshBasicMaterial | MeshLambertMaterial;
const kept = new Map<string, Look>();

/** One material for each look: a slider remakes the figures many times a second. */
function once<M extends Look>(key: string, make: () => M): M {
  const found = (kept.get(key) as M | undefined) ?? make();
  kept.set(key, found);
  return found;
}

/** Curves on the skin as strips with a ridge, so that they show on the contour of the head too: on software GL a quarter of the
 * cost of as many wide lines. */
export class Strips implements Rider {
  readonly object: Mesh;
  readonly points: Float32Array;
  readonly anchorOf = (point: number): number => point;
  private readonly geometry = new BufferGeometry();
  private readonly ends: readonly (readonly [first: number, last: number])[]; // of each curve, in points

  constructor(curves: readonly Float32Array[], private readonly focus: Vec3, colour: string, private readonly widthMm: number) {
    this.points = new Float32Array(curves.reduce((sum, curve) => sum + curve.length, 0));
    let at = 0;
    this.ends = curves.map((curve) => {
      this.points.set(curve, 3 * at);
      const first = at;
      at += curve.length / 3;
      return [first, at - 1] as const;
    });
    const index = this.ends.flatMap(([first, last]) =>
      Array.from({ length: last - first }, (_, i) => {
        const a = 3 * (first + i);
        return [a, a + 1, a + 3, a + 3, a + 1, a + 4, a + 1, a + 2, a + 4, a + 4, a + 2, a + 5];
      }).flat());
    this.geometry.setIndex(index);
    this.geometry.setAttribute("position", new BufferAttribute(new Float32Array(3 * this.points.length), 3));
    this.object = new Mesh(this.geometry, once(`ribbon ${colour}`, () => new MeshBasicMaterial({ color: colour, side: DoubleSide })));
    this.object.frustumCulled = false;
    this.place(this.points);
  }

  get anchors(): Float32Array {
    return this.points;
  }

  place(points: Float32Array): void {
    const position = this.geometry.getAttribute("position") as BufferAttribute;
    const [fx, fy, fz] = this.focus;
    for (const [first, last] of this.ends) {
      for (let i = first; i <= last; i++) {
        const [before, after] = [3 * Math.max(i - 1, first), 3 * Math.min(i + 1, last)];
        const [x, y, z] = [points[3 * i]!, points[3 * i + 1]!, points[3 * i + 2]!];
        const [tx, ty, tz] = [points[after]! - points[before]!, points[after + 1]! - points[before + 1]!, points[after + 2]! - points[before + 2]!];
        // Across the curve and along the skin: square to the way and to the way out of the head.
        const [sx, sy, sz] = [ty * (z - fz) - tz * (y - fy), tz * (x - fx) - tx * (z - fz), tx * (y - fy) - ty * (x - fx)];
        const half = this.widthMm / 2 / Math.max(Math.hypot(sx, sy, sz), 1e-6);
        const up = (1.4 * this.widthMm) / 2 / Math.hypot(x - fx, y - fy, z - fz);
        position.setXYZ(3 * i, x - half * sx, y - half * sy, z - half * sz);
        position.setXYZ(3 * i + 1, x + up * (x - fx), y + up * (y - fy), z + up * (z - fz));
        position.setXYZ(3 * i + 2, x + half * sx, y + half * sy, z + half * sz);
      }
    }
    position.needsUpdate = true;
  }
}

/** What an ear hides of the curves, drawn pale: the same strip nearer to the eye by less than a head is thick, so that it passes
 * over an ear and not over the head. */
export function seenThrough(strips: Strips, colour: string): Mesh {
  const ghost = new Mesh(strips.object.geometry, once(`ghost ${colour}`, () =>
    new MeshBasicMaterial({ color: colour, side: DoubleSide, transparent: true, opacity: 0.45, depthWrite: false })));
  ghost.frustumCulled = false;
  ghost.matrixAutoUpdate = false;
  ghost.onBeforeRender = (_renderer, _scene, camera) => {
    const eye = new Vector3().setFromMatrixPosition(camera.matrixWorld);
    const share = 1 - EAR_MM / Math.max(eye.length(), 2 * EAR_MM);
    ghost.matrixWorld.makeScale(share, share, share).setPosition(eye.multiplyScalar(1 - share));
    ghost.modelViewMatrix.multiplyMatrices(camera.matrixWorldInverse, ghost.matrixWorld);
  };
  return ghost;
}

/** Closed outlines as ribbons in their own plane: on software GL a fifth of the cost of as many wide lines. */
export class Ribbons implements Rider {
  readonly object: Mesh;
  readonly points: Float32Array;
  readonly anchors: Float32Array; // the middles
  private readonly count: number;
  private readonly geometry = new BufferGeometry();

  constructor(outlines: readonly Float32Array[], colour: string, private readonly widthMm: number) {
    this.count = (outlines[0]?.length ?? 0) / 3;
    const n = this.count;
    this.points = new Float32Array(outlines.flatMap((outline) => [...outline]));
    this.anchors = new Float32Array(outlines.flatMap((outline) => middleOf(outline)));
    const index = outlines.flatMap((_, k) =>
      Array.from({ length: n }, (_, i) => {
        const [a, b] = [2 * (k * n + i), 2 * (k * n + ((i + 1) % n))];
        return [a, a + 1, b, b, a + 1, b + 1];
      }).flat());
    this.geometry.setIndex(index);
    this.geometry.setAttribute("position", new BufferAttribute(new Float32Array(2 * this.points.length), 3));
    this.object = new Mesh(this.geometry, once(`ribbon ${colour}`, () => new MeshBasicMaterial({ color: colour, side: DoubleSide })));
    this.object.frustumCulled = false;
    this.place(this.points);
  }

  anchorOf(point: number): number {
    return Math.floor(point / this.count);
  }

  place(points: Float32Array): void {
    const position = this.geometry.getAttribute("position") as BufferAttribute;
    const half = this.widthMm / 2;
    for (let start = 0; start < points.length; start += 3 * this.count) {
      const [mx, my, mz] = middleOf(points.subarray(start, start + 3 * this.count));
      for (let i = start; i < start + 3 * this.count; i += 3) {
        const [x, y, z] = [points[i]! - mx, points[i + 1]! - my, points[i + 2]! - mz];
        const share = half / Math.max(Math.hypot(x, y, z), half);
        position.setXYZ((2 * i) / 3, mx + x * (1 - share), my + y * (1 - share), mz + z * (1 - share));
        position.setXYZ((2 * i) / 3 + 1, mx + x * (1 + share), my + y * (1 + share), mz + z * (1 + share));
      }
    }
    position.needsUpdate = true;
  }
}

function middleOf(points: Float32Array): [number, number, number] {
  const sum: [number, number, number] = [0, 0, 0];
  for (let i = 0; i < points.length; i++) sum[i % 3]! += points[i]! * (3 / points.length);
  return sum;
}

export const lineMaterial = (colour: string, width: number, dashed = false): LineMaterial =>
  once(`line ${colour} ${width} ${dashed}`, () => new LineMaterial({ color: colour, linewidth: width, dashed, dashSize: 5, gapSize: 4 }));
const flat = (colour: string): MeshBasicMaterial => once(`flat ${colour}`, () => new MeshBasicMaterial({ color: colour }));
const veil = (colour: string): MeshBasicMaterial =>
  once(`veil ${colour}`, () => new MeshBasicMaterial({ color: colour, opacity: 0.35, transparent: true, side: DoubleSide, depthWrite: false }));

/** Curve lifted off the skin, away from the middle of the head, so that it is not half buried. */
export function lifted(points: Float32Array, focus: Vec3, byMm: number): Float32Array {
  const out = points.slice();
  for (let i = 0; i < out.length; i += 3) {
    const [x, y, z] = [out[i]! - focus[0], out[i + 1]! - focus[1], out[i + 2]! - focus[2]];
    const scale = 1 + byMm / Math.max(Math.hypot(x, y, z), 1);
    out[i] = focus[0] + x * scale;
    out[i + 1] = focus[1] + y * scale;
    out[i + 2] = focus[2] + z * scale;
  }
  return out;
}

/** A curve that goes round the head where the straight way would go through it. */
function bowed(from: Vec3, to: Vec3, focus: Vec3): Float32Array {
  const middle = new Vector3(...focus);
  const start = new Vector3(...from).sub(middle);
  const end = new Vector3(...to).sub(middle);
  const pieces = Math.max(1, Math.ceil(start.distanceTo(end) / 12));
  const out = new Float32Array(3 * (pieces + 1));
  for (let i = 0; i <= pieces; i++) {
    const share = i / pieces;
    const above = 0.12 * start.distanceTo(end) * Math.sin(Math.PI * share);
    const radius = start.length() + share * (end.length() - start.length()) + above;
    start.clone().lerp(end, share).setLength(radius).add(middle).toArray(out, 3 * i);
  }
  return out;
}

/** An outline under way: a dot on each corner and the line so far. */
export function draftFigure(corners: readonly Vec3[], colour: string, focus: Vec3): Group {
  const group = new Group();
  const points = lifted(new Float32Array(corners.flat()), focus, 2);
  for (let i = 0; i < points.length; i += 3) {
    const dot = new Mesh(BODIES.ball, flat(colour));
    dot.scale.setScalar(0.6);
    dot.position.fromArray(points, i);
    group.add(dot);
  }
  if (corners.length > 1) group.add(new Lines([points], corners.length > 2, lineMaterial(colour, 3)).object);
  return group;
}

/** Moves: a dark dot on the mark that was made, a line, and a cone on the place where it should be. With `own` the start is the
 * own place of a site and its body stands at the end: a small ring there, and the cone before the body. */
export function arrowFigures(arrows: readonly Arrow[], colour: string, focus: Vec3, emphasised: string, own = false): Group {
  const group = new Group();
  const material = flat(colour);
  const dot = flat("#111111");
  const curves = arrows.map((arrow) => lifted(bowed(arrow.start_mm, arrow.end_mm, focus), focus, 3));
  const lines = new Lines(curves, false, lineMaterial(colour, 4));
  group.add(lines.object);
  arrows.forEach((arrow, i) => {
    const curve = curves[i]!;
    const start = new Vector3().fromArray(curve, 0);
    const end = new Vector3().fromArray(curve, curve.length - 3);
    const direction = end.clone().sub(new Vector3().fromArray(curve, curve.length - 6));
    const length = end.distanceTo(start);
    const size = arrow.site === emphasised ? 1.6 : 1;
    const mark = new Mesh(BODIES.ball, dot);
    mark.scale.setScalar(0.6 * size);
    mark.position.copy(start);
    group.add(mark);
    if (length < 1) return;
    const head = new Mesh(BODIES.cone, material);
    head.scale.setScalar(Math.min(1, length / 9) * size);
    direction.normalize();
    head.quaternion.copy(new Quaternion().setFromUnitVectors(UP, direction));
    head.position.copy(end);
    if (own) head.position.addScaledVector(direction, -Math.min(1.6 * SIZE_MM, 0.5 * length));
    group.add(head);
  });
  return group;
}

/** Places that must stay free: a see-through patch with a dashed rim. */
export function regionFigures(regions: readonly Region[], colour: string, focus: Vec3): Group {
  const group = new Group();
  const rims: Float32Array[] = [];
  for (const region of regions) {
    const rim = lifted(floats(region.outline_mm), focus, 1.5);
    if (rim.length < 9) continue;
    rims.push(rim);
    const count = rim.length / 3;
    const middle = new Vector3();
    for (let i = 0; i < count; i++) middle.add(new Vector3().fromArray(rim, 3 * i));
    middle.divideScalar(count);
    // The rim lies on a curved skin, its mean below it: lift the middle to the height of the rim.
    const focusPoint = new Vector3(...focus);
    const height = new Vector3().fromArray(rim, 0).distanceTo(focusPoint);
    middle.sub(focusPoint).setLength(height + 1).add(focusPoint);
    const corners = new Float32Array([...middle.toArray(), ...rim]);
    const index = Array.from({ length: count }, (_, i) => [0, 1 + i, 1 + ((i + 1) % count)]).flat();
    const geometry = new BufferGeometry().setIndex(index).setAttribute("position", new BufferAttribute(corners, 3));
    group.add(new Mesh(geometry, veil(colour)));
  }
  const lines = new Lines(rims, true, lineMaterial(colour, 3, true));
  lines.object.computeLineDistances();
  group.add(lines.object);
  return group;
}

/** Colours of the skin by part: hair-bearing scalp, face, ears, neck, cap. */
export function skinColours(part: Uint8Array, headColour: string): Float32Array {
  const shades = [1, 0.95, 0.9, 0.86, 0.86].map((shade) => new Color(headColour).multiplyScalar(shade));
  const out = new Float32Array(3 * part.length);
  part.forEach((label, i) => shades[label]!.toArray(out, 3 * i));
  return out;
}

/** Release the buffers of everything in a group. */
export function release(group: Group): void {
  const shared = new Set<BufferGeometry>(Object.values(BODIES));
  group.traverse((object) => {
    if (object instanceof Mesh && !shared.has(object.geometry)) object.geometry.dispose();
  });
  group.clear();
}
