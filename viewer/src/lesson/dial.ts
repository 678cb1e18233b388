// The one thing of a step that may be moved: range inputs or choices beside the head, and a handle on it. All say the same.
import { make } from "../dom";
import { mixOf, Track, type AxisData, type DialData, type Mix } from "./data";
import type { Held } from "./overlay";
import type { Picture } from "./picture";

const PULL_MS = 1800;
const SNAP = 0.34; // of the way between two stops: a handle holds at 0 and at the ends

export class Dial {
  readonly values: number[];
  readonly element = make("div", { className: "dial" });
  readonly handle: HTMLElement | null = null;
  private readonly inputs: HTMLInputElement[] = [];
  private readonly track: Track | null;
  private readonly normals: Track | null;
  private running = 0;

  constructor(readonly data: DialData, private readonly picture: Picture | null, private readonly changed: () => void) {
    this.values = data.axes.map((axis) => axis.start);
    this.track = data.handle ? new Track(data.handle) : null;
    this.normals = data.handle_normals ? new Track(data.handle_normals) : null;
    data.axes.forEach((axis, k) => this.element.append(axis.words.length ? this.choices(axis) : this.range(axis, k)));
    if (this.track && picture) this.handle = this.makeHandle(picture);
  }

  get mix(): Mix {
    return mixOf(this.data.axes, this.values);
  }

  /** How far a tape is pulled, 0 to 1. */
  get grown(): number {
    const { stops } = this.data.axes[0]!;
    return this.data.kind === "pull" ? (this.values[0]! - stops[0]!) / (stops[stops.length - 1]! - stops[0]!) : 1;
  }

  private choices(axis: AxisData): HTMLElement {
    const group = make("fieldset", { className: "choices" }, [make("legend", { textContent: axis.title })]);
    axis.words.forEach((words, i) => {
      const radio = make("input", { type: "radio", name: "dial", checked: axis.stops[i] === axis.start, onchange: () => this.set(0, axis.stops[i]!) });
      group.append(make("label", {}, [radio, make("span", { textContent: words })]));
      this.inputs.push(radio);
    });
    return group;
  }

  private range(axis: AxisData, k: number): HTMLElement {
    const { stops } = axis;
    const span = stops[stops.length - 1]! - stops[0]!;
    const step = axis.unit === "mm" ? 0.5 : axis.unit === "%" || axis.unit === "" ? 1 : span / 80;
    const input = make("input", { type: "range", min: String(stops[0]), max: String(stops[stops.length - 1]), step: String(step), value: String(axis.start) });
    input.oninput = () => this.set(k, Number(input.value));
    this.inputs.push(input);
    return make("label", { className: "range" }, [make("span", { textContent: axis.title }), make("output"), input]);
  }

  /** What is said beside a range: its value with its unit and sign. */
  private say(): void {
    this.data.axes.forEach((axis, k) => {
      if (axis.words.length) {
        this.inputs.forEach((input, i) => (input.checked = axis.stops[i] === this.values[0]));
        return;
      }
      const input = this.inputs[k]!;
      const text = this.told(k);
      input.value = String(this.values[k]);
      input.setAttribute("aria-valuetext", text);
      (input.previousElementSibling as HTMLOutputElement).textContent = text;
    });
    if (this.handle) {
      this.handle.setAttribute("aria-valuenow", String(Math.round(this.values[0]! * 10) / 10));
      this.handle.setAttribute("aria-valuetext", this.data.axes.map((axis, k) => `${axis.title}: ${this.told(k)}`).join(", "));
    }
  }

  private told(k: number): string {
    const axis = this.data.axes[k]!;
    const value = this.values[k]!;
    if (this.data.kind === "finger") return "";
    const signed = axis.stops[0]! < 0 && value > 0.05 ? "+" : "";
    return `${signed}${value.toFixed(axis.unit === "%" || axis.unit === "" ? 0 : 1)} ${axis.unit}`.trim();
  }

  set(k: number, value: number, byHand = true): void {
    if (byHand) this.running++; // whoever takes hold stops what runs by itself
    const { stops } = this.data.axes[k]!;
    this.values[k] = Math.min(Math.max(value, stops[0]!), stops[stops.length - 1]!);
    this.refresh();
  }

  refresh(): void {
    this.say();
    this.changed();
    this.follow();
  }

  /** Let the tape grow once by itself; where motion is unwanted it lies there at once. */
  run(): void {
    const { stops } = this.data.axes[0]!;
    const end = stops[stops.length - 1]!;
    if (this.data.kind !== "pull" || matchMedia("(prefers-reduced-motion: reduce)").matches) return;
    const mine = ++this.running;
    const begin = performance.now();
    const frame = (): void => {
      if (mine !== this.running || !this.element.isConnected) return;
      const share = Math.min(1, (performance.now() - begin) / PULL_MS);
      this.set(0, stops[0]! + share * (end - stops[0]!), false);
      if (share < 1) requestAnimationFrame(frame);
    };
    frame();
  }

  private makeHandle(picture: Picture): HTMLElement {
    const handle = make("div", { className: `handle axes-${this.data.axes.length}`, tabIndex: 0 });
    handle.setAttribute("role", "slider");
    handle.setAttribute("aria-label", this.data.handle_title);
    const { stops } = this.data.axes[0]!;
    handle.setAttribute("aria-valuemin", String(stops[0]));
    handle.setAttribute("aria-valuemax", String(stops[stops.length - 1]));
    if (this.data.kind === "balance") handle.textContent = this.data.handle_title;
    handle.onpointerdown = (event) => {
      handle.setPointerCapture(event.pointerId);
      handle.classList.add("held");
      event.preventDefault();
      event.stopPropagation();
      handle.focus();
    };
    handle.onpointermove = (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const box = picture.host.getBoundingClientRect();
      this.moveTo(event.clientX - box.left, event.clientY - box.top);
    };
    handle.onpointerup = handle.onpointercancel = () => handle.classList.remove("held");
    handle.onkeydown = (event) => this.key(event);
    return handle;
  }

  private key(event: KeyboardEvent): void {
    const by = event.shiftKey ? 5 : 1;
    const two = this.data.axes.length === 2;
    const moves: Record<string, readonly [number, number]> = two
      ? { ArrowUp: [0, by], ArrowDown: [0, -by], ArrowRight: [1, by], ArrowLeft: [1, -by] }
      : { ArrowUp: [0, by], ArrowRight: [0, by], ArrowDown: [0, -by], ArrowLeft: [0, -by] };
    let move = moves[event.key];
    if (move && !two) move = [0, this.towards(event.key, by)];
    if (event.key === "Escape") this.handle?.blur();
    else if (event.key === "Home" || event.key === "End") this.set(0, this.data.axes[0]!.stops.at(event.key === "Home" ? 0 : -1)!);
    else if (move) this.set(move[0], this.values[move[0]]! + move[1]);
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  /** The step that takes the handle where an arrow key points in the picture; up and right are more where it goes neither way. */
  private towards(key: string, by: number): number {
    const place = (value: number): readonly [number, number] => {
      const mix = mixOf(this.data.axes, [value]);
      const here = this.picture!.at(this.track!.at(mix), this.normals!.at(mix));
      return [here.x, here.y];
    };
    const across = key === "ArrowLeft" || key === "ArrowRight" ? 0 : 1;
    const gone = place(this.values[0]! + by)[across]! - place(this.values[0]! - by)[across]!;
    const wanted = key === "ArrowRight" || key === "ArrowDown" ? 1 : -1;
    if (Math.abs(gone) < 0.5) return key === "ArrowUp" || key === "ArrowRight" ? by : -by;
    return Math.sign(gone) === wanted ? by : -by;
  }

  /** Where on the dial the handle stands nearest to a place in the picture. */
  private moveTo(x: number, y: number): void {
    const { axes } = this.data;
    const gap = (values: readonly number[]): number => {
      const mix = mixOf(axes, values);
      const here = this.picture!.at(this.track!.at(mix), this.normals!.at(mix));
      return Math.hypot(here.x - x, here.y - y) + (here.seen ? 0 : 60);
    };
    let best = [...this.values];
    let nearest = Infinity;
    const search = (grid: readonly (readonly number[])[]): void => {
      for (const first of grid[0]!) {
        for (const second of grid[1] ?? [0]) {
          const values = axes.length === 2 ? [first, second] : [first];
          const far = gap(values);
          if (far < nearest) [best, nearest] = [values, far];
        }
      }
    };
    search(axes.map((axis) => axis.stops));
    for (const fine of [0.25, 0.06]) {
      const about = best;
      search(axes.map((axis, k) => {
        const step = (axis.stops[1]! - axis.stops[0]!) * fine;
        return [-3, -2, -1, 0, 1, 2, 3].map((by) => Math.min(Math.max(about[k]! + by * step, axis.stops[0]!), axis.stops.at(-1)!));
      }));
    }
    best.forEach((value, k) => {
      const step = axes[k]!.stops[1]! - axes[k]!.stops[0]!;
      this.values[k] = axes[k]!.unit === "mm" && Math.abs(value) < SNAP * Math.min(step, 3) ? 0 : value;
    });
    this.running++;
    this.refresh();
  }

  /** Where the handle lies in the picture, and how large it is; what is written there keeps off it. */
  get place(): Held | null {
    if (!this.handle || !this.picture || !this.track || !this.normals) return null;
    const mix = this.mix;
    return { ...this.picture.at(this.track.at(mix), this.normals.at(mix)), radius: this.handle.offsetWidth / 2 };
  }

  /** Keep the handle on its place of the head. */
  follow(): void {
    const here = this.place;
    if (!this.handle || !here) return;
    this.handle.style.transform = `translate(${here.x.toFixed(1)}px,${here.y.toFixed(1)}px) translate(-50%,-50%)`;
    this.handle.classList.toggle("behind", !here.seen);
  }
}
