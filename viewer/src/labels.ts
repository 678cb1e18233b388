// Names beside the sites: hidden behind the head, never one over another; low ranks and the selected site win.
import { Vector3, type PerspectiveCamera } from "three";
import type { Site } from "./data";

const FACING = 0.08; // cosine between skin normal and line of sight from which a site counts as seen
const HEIGHT_PX = 16;
const WIDTH_PX = 9; // of a letter: an O of the bold 12 px has 10, a digit 8

interface Label {
  readonly element: HTMLSpanElement;
  readonly width: number;
}

export interface Placed {
  readonly index: number;
  readonly x: number;
  readonly y: number;
  readonly text: string;
  readonly chosen: boolean;
}

export class Labels {
  readonly element = document.createElement("div");
  placed: Placed[] = [];
  private labels: Label[] = [];
  private order: number[] = [];
  private sites: readonly Site[] = [];
  screen = new Float32Array(0); // x, y in pixels and 1 where the site faces the camera

  constructor(host: HTMLElement) {
    this.element.className = "names";
    this.element.setAttribute("aria-hidden", "true"); // the same names stand in the table
    host.append(this.element);
  }

  /** A name carries the sign of its state, so that no colour alone tells it. */
  set(sites: readonly Site[]): void {
    this.sites = sites;
    this.screen = new Float32Array(3 * this.sites.length);
    this.labels = sites.map((site) => {
      const element = document.createElement("span");
      element.textContent = site.label;
      return { element, width: WIDTH_PX * site.label.length + 8 };
    });
    const rank = (i: number): number => sites[i]?.rank ?? 9;
    this.order = this.sites.map((_, i) => i).sort((a, b) => rank(a) - rank(b));
    this.element.replaceChildren(...this.labels.map((label) => label.element));
  }

  /** Lay the names out for a camera. `seeThrough` when the head is not drawn. */
  lay(camera: PerspectiveCamera, points: Float32Array, width: number, height: number, selected: number, shown: boolean,
      seeThrough: boolean): void {
    const at = new Vector3();
    const normal = new Vector3();
    this.sites.forEach((site, i) => {
      at.fromArray(points, 3 * i);
      const seen = normal.set(...site.normal).dot(camera.position.clone().sub(at).normalize());
      at.project(camera);
      this.screen[3 * i] = (at.x + 1) * 0.5 * width;
      this.screen[3 * i + 1] = (1 - at.y) * 0.5 * height;
      this.screen[3 * i + 2] = (seeThrough || seen > FACING) && at.z < 1 ? 1 : 0;
    });
    const taken: [number, number, number, number][] = [];
    this.placed = [];
    const order = selected >= 0 ? [selected, ...this.order.filter((i) => i !== selected)] : this.order;
    for (const i of order) {
      const { element, width: wide } = this.labels[i]!;
      const spot = shown && this.screen[3 * i + 2] ? this.spot(i, wide, taken, width, height) : null;
      element.hidden = !spot;
      element.classList.toggle("chosen", i === selected);
      if (!spot) continue;
      taken.push([spot[0], spot[1], spot[0] + wide, spot[1] + HEIGHT_PX]);
      element.style.transform = `translate(${spot[0].toFixed(1)}px,${spot[1].toFixed(1)}px)`;
      this.placed.push({ index: i, x: spot[0], y: spot[1], text: element.textContent ?? "", chosen: i === selected });
    }
  }

  /** A free place beside the site: right, left, above, below; none when all are taken. */
  private spot(i: number, wide: number, taken: readonly [number, number, number, number][], width: number, height: number):
      [number, number] | null {
    const x = this.screen[3 * i]!;
    const y = this.screen[3 * i + 1]!;
    const tries: [number, number][] = [
      [x + 8, y - 8], [x - wide - 8, y - 8], [x - wide / 2, y - 25], [x - wide / 2, y + 9],
    ];
    for (const [left, top] of tries) {
      if (left < 2 || top < 2 || left + wide > width - 2 || top + HEIGHT_PX > height - 2) continue;
      if (taken.every(([l, t, r, b]) => left > r || left + wide < l || top > b || top + HEIGHT_PX < t)) return [left, top];
    }
    return null;
  }
}
