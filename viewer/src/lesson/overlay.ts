// Tapes, sites, arrows and names of a step as SVG over the head: the same over the 3D head and over its line drawing.
import { called, nearest, type Mix, type OldNames } from "./data";
import type { Shown } from "./shown";

export interface Projected {
  readonly x: number;
  readonly y: number;
  /** Not behind the head; a little over the edge counts as seen. */
  readonly seen: boolean;
}

/** A handle that lies over the picture. */
export interface Held extends Projected {
  readonly radius: number;
}

export type Project = (points: ArrayLike<number>, normals: ArrayLike<number>, i: number) => Projected;

const ARROW_FROM_PX = 4;
const RING_UNDER = 45; // with more sites rings, arrows and names crowd

const escaped = (text: string): string => text.replace(/[&<>"]/g, (c) => `&#${c.charCodeAt(0)};`);
const at = (value: number): string => value.toFixed(1);
const line = (points: readonly Projected[]): string => "M" + points.map((p) => `${at(p.x)} ${at(p.y)}`).join("L");

interface Named {
  readonly x: number;
  readonly y: number;
  readonly name: string;
  readonly told: string;
  readonly look: string;
}

/** Everything of a step but the head, as SVG. */
export function draw(shown: Shown, mix: Mix, grown: number, project: Project, width: number, height: number, chosen: ReadonlySet<string>, held: Held | null): string {
  const parts: string[] = [];
  const names: Named[] = [];
  for (const outline of shown.outlines) parts.push(outlines(outline, mix, project, names));
  const on: Projected[] = []; // what names keep off where they can
  for (const tape of shown.tapes) parts.push(tapeOf(tape, mix, grown, project, on));
  for (const dots of shown.dots) parts.push(dotsOf(dots, mix, project, names, chosen));
  parts.push(labels(names, on, width, height, shown.step.old_names, held));
  return parts.join("");
}

function tapeOf(tape: Shown["tapes"][number], mix: Mix, grown: number, project: Project, on: Projected[]): string {
  const points = tape.points.at(mix);
  const normals = tape.normals.at(mix);
  const count = points.length / 3;
  const last = tape.data.grows ? grown * (count - 1) : count - 1;
  const all: Projected[] = [];
  for (let i = 0; i <= Math.floor(last + 1e-6); i++) all.push(project(points, normals, i));
  const rest = last - Math.floor(last + 1e-6);
  if (rest > 1e-3) {
    const i = Math.floor(last);
    const between = [0, 1, 2].map((k) => points[3 * i + k]! * (1 - rest) + points[3 * i + 3 + k]! * rest);
    all.push(project(between, normals.subarray(3 * i, 3 * i + 3), 0));
  }
  const { look } = tape.data;
  if (look !== "thin") on.push(...all.filter((point) => point.seen));
  const parts: string[] = [];
  if (tape.data.grows && grown < 1) {
    const way: Projected[] = [];
    for (let i = Math.floor(last); i < count; i++) way.push(project(points, normals, i));
    parts.push(...runs(way, true).map((run) => `<path class="way" d="${line(run)}"/>`));
  }
  parts.push(...runs(all, false).map((run) => `<path class="behind ${look}" d="${line(run)}"/>`));
  for (const run of runs(all, true)) {
    parts.push(`<path class="${look}" d="${line(run)}"/>`);
    if (look === "tape" || look === "other") parts.push(`<path class="ticks ${look}" d="${line(run)}"/>`);
  }
  if (tape.data.grows && all.length && all[0]!.seen && (look === "tape" || look === "other")) {
    parts.push(`<circle class="zero" cx="${at(all[0]!.x)}" cy="${at(all[0]!.y)}" r=".62rem"/><text class="zero" x="${at(all[0]!.x)}" y="${at(all[0]!.y)}" dy=".35em">0</text>`);
  }
  return parts.join("");
}

/** Pieces of a curve that are seen, or those that are not, each at least two points. */
function runs(points: readonly Projected[], seen: boolean): Projected[][] {
  const found: Projected[][] = [];
  let run: Projected[] = [];
  points.forEach((point, i) => {
    const here = point.seen === seen;
    // A run reaches to the point where the other begins, or there would be a gap.
    if (here || (i > 0 && points[i - 1]!.seen === seen)) run.push(point);
    if (!here) {
      if (run.length > 1) found.push(run);
      run = [];
    }
  });
  if (run.length > 1) found.push(run);
  return found;
}

function outlines(outline: Shown["outlines"][number], mix: Mix, project: Project, names: Named[]): string {
  const points = outline.points.at(mix);
  const normals = outline.normals.at(mix);
  const n = outline.data.n_points;
  let out = "";
  for (let start = 0; 3 * start < points.length; start += n) {
    const all = Array.from({ length: n }, (_, i) => project(points, normals, start + i));
    if (all.filter((point) => point.seen).length < n * 0.6) continue;
    out += `<path class="${outline.data.look}" d="${line(all)}Z"/>`;
    const name = outline.data.look === "place" ? (outline.data.names[start / n] ?? "").split(",")[0]! : "";
    const middle = (of: "x" | "y"): number => all.reduce((sum, point) => sum + point[of], 0) / n;
    if (name) names.push({ x: middle("x"), y: Math.min(...all.map((point) => point.y)) - 4, name, told: "", look: "of-place" });
  }
  return out;
}

function dotsOf(dots: Shown["dots"][number], mix: Mix, project: Project, names: Named[], chosen: ReadonlySet<string>): string {
  const { data } = dots;
  const points = dots.points.at(mix);
  const normals = dots.normals.at(mix);
  const shown = data.shown.length === 1 ? data.shown[0]! : data.shown[nearest(mix)]!;
  const own = dots.own?.at(mix);
  const crowded = [...shown].filter((each) => each === "1").length > RING_UNDER;
  const parts: string[] = [];
  data.names.forEach((name, i) => {
    if (shown[i] !== "1") return;
    const here = project(points, normals, i);
    if (!here.seen) return;
    const place = `cx="${at(here.x)}" cy="${at(here.y)}"`;
    if (own && !crowded) {
      const from = project(own, normals, i);
      const gap = Math.hypot(here.x - from.x, here.y - from.y);
      parts.push(`<circle class="own" cx="${at(from.x)}" cy="${at(from.y)}" r=".5rem"/>`);
      if (gap > ARROW_FROM_PX) parts.push(arrow(from, here, gap));
    }
    const look = `${data.look}${chosen.has(name) ? " chosen" : ""}`;
    if (data.look === "stroke") {
      parts.push(`<path class="${look}" d="M${at(here.x - 9)} ${at(here.y)}h18M${at(here.x)} ${at(here.y - 9)}v18"/>`);
    } else parts.push(`<circle class="${look}" ${place} r="${crowded ? ".2rem" : data.look === "guess" ? ".24rem" : ".38rem"}"/>`);
    if (data.named && name) names.push({ x: here.x, y: here.y, name, told: data.told[i] ?? "", look: data.look });
  });
  return parts.join("");
}

function arrow(from: Projected, to: Projected, gap: number): string {
  const [ux, uy] = [(to.x - from.x) / gap, (to.y - from.y) / gap];
  const head = Math.min(11, gap * 0.7);
  const [bx, by] = [to.x - head * ux, to.y - head * uy];
  const half = head * 0.6;
  return `<path class="slip" d="M${at(from.x)} ${at(from.y)}L${at(bx)} ${at(by)}"/>` +
    `<path class="tip" d="M${at(to.x)} ${at(to.y)}L${at(bx - half * uy)} ${at(by + half * ux)}L${at(bx + half * uy)} ${at(by - half * ux)}Z"/>`;
}

/** Names beside their places, none over another and none over a place; crowded ones give way. */
function labels(names: readonly Named[], on: readonly Projected[], width: number, height: number, old: OldNames, held: Held | null): string {
  const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
  const size = (names.length > RING_UNDER ? 0.85 : 1.3) * rem;
  const taken: (readonly [number, number, number, number])[] = names.map(({ x, y }) => [x - 5, y - 5, x + 5, y + 5]);
  if (held?.seen) taken.push([held.x - held.radius, held.y - held.radius, held.x + held.radius, held.y + held.radius]);
  const parts: string[] = [];
  const spotFor = ({ x, y, told }: Named, word: string): readonly [left: number, middle: number, wide: number] | null => {
    const wide = 0.64 * size * (told ? `${word} ${told}` : word).length;
    const gap = 0.62 * size;
    const under = held?.seen && Math.hypot(x - held.x, y - held.y) < held.radius + gap ? held : null; // its name stands beside the handle
    const off = (under?.radius ?? 0) + 4;
    const tries: (readonly [number, number])[] = under
      ? [[under.x + off, under.y], [under.x - off - wide, under.y], [under.x - wide / 2, under.y - off - size / 2], [under.x - wide / 2, under.y + off + size / 2],
        [under.x + off, under.y - 1.1 * size], [under.x - off - wide, under.y - 1.1 * size], [under.x + off, under.y + 1.1 * size], [under.x - off - wide, under.y + 1.1 * size]]
      : [[x + gap, y], [x - gap - wide, y], [x - wide / 2, y - 0.95 * size], [x - wide / 2, y + 1.05 * size],
      [x + gap, y - 0.8 * size], [x - gap - wide, y - 0.8 * size], [x + gap, y + 0.8 * size], [x - gap - wide, y + 0.8 * size],
        [x - wide / 2, y + 1.5 * size], [x - wide / 2, y - 1.4 * size]];
    // The way that hides least of the tapes, of several that hide none the first.
    let spot: readonly [number, number] | null = null;
    let least = Infinity;
    for (const [left, middle] of tries) {
      const box = [left, middle - size / 2, left + wide, middle + size / 2] as const;
      if (box[0] < 2 || box[1] < 2 || box[2] > width - 2 || box[3] > height - 2) continue;
      if (taken.some(([l, t, r, b]) => box[0] <= r && box[2] >= l && box[1] <= b && box[3] >= t)) continue;
      const hidden = on.filter((point) => point.x > box[0] - 4 && point.x < box[2] + 4 && point.y > box[1] && point.y < box[3]).length;
      if (hidden < least) [spot, least] = [[left, middle], hidden];
    }
    return spot ? [...spot, wide] : null;
  };
  for (const named of names) {
    // Where both names find no room, the name of today does.
    const both = called(named.name, old);
    const [word, spot] = [both, named.name].map((each) => [each, spotFor(named, each)] as const).find(([, found]) => found) ?? ["", null];
    if (!spot) continue;
    taken.push([spot[0], spot[1] - size / 2, spot[0] + spot[2], spot[1] + size / 2]);
    const { name, told, look } = named;
    const more = told ? ` <tspan class="cm">${escaped(told)}</tspan>` : "";
    parts.push(`<text class="name ${look}" data-name="${escaped(name)}" x="${at(spot[0])}" y="${at(spot[1])}" dy=".36em" font-size="${at(size)}">${escaped(word)}${more}</text>`);
  }
  return parts.join("");
}
