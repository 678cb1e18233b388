// One step at the chair at a time: what to do, its number, its drawing; one thumb ends it.
import { button, make } from "../dom";
import { openCarry, openList, openMenu } from "./boards";
import type { ChairData, Notes, Part, Step, Unit } from "./data";
import type { Keeper } from "./keep";
import { numbered } from "./lengths";
import { isDone, readings, ticked } from "./notes";
import { panelOf, type Panel } from "./panels";

export const PARTS: readonly Part[] = ["landmarks", "measure", "mark", "prepare", "apply", "check"];
export const PART_TITLES: Readonly<Record<Part, string>> = {
  landmarks: "Landmarks", measure: "Measure", mark: "Mark", prepare: "Prepare", apply: "Apply", check: "Check",
};
// A gloved finger bounces: what comes so soon after a step was ended was not meant for the next one.
const BOUNCE_MS = 350;

export interface Preferences {
  unit: Unit;
  left: boolean;
  theme: "light" | "dark" | "";
}

export interface Surroundings {
  readonly data: ChairData;
  readonly keeper: Keeper;
  drawing(key: string): SVGElement | null;
  words(key: string): string;
  readonly preferences: Preferences;
  prefer(): void;
  /** Back to where the chair was opened from, where there is such a place. */
  readonly leave?: () => void;
}

/** What a panel may ask of the view. */
export interface Acts {
  readonly data: ChairData;
  readonly unit: Unit;
  readonly notes: Notes;
  /** Every step with its number as it is now. */
  readonly steps: readonly Step[];
  keep(notes: Notes, words: string): void;
  /** Keep, tick the step and go on. */
  finish(step: Step, notes: Notes, words: string): void;
  go(key: string): void;
  refresh(): void;
  setUnit(unit: Unit): void;
  drawn(key: string): void;
  /** A panel in place of that of the step, until something is done. */
  open(panel: Panel): void;
  /** Whether notes lie on this device only, so that what has no place in a case goes into its note. */
  readonly carries: boolean;
  /** What was done goes back into the case. */
  carry(): void;
}

export class ChairView implements Acts {
  readonly element = make("div", { className: "chair" });
  data: ChairData;
  steps: readonly Step[] = [];
  private index = 0;
  private ended = -Infinity;
  private panel: Panel | null = null;
  private opened = false;
  private shownTicked: readonly string[] = [];
  private readonly header = make("header");
  private readonly picture = make("figure", { className: "picture" });
  private readonly work = make("div", { className: "work" });
  private readonly actions = make("div", { className: "actions" });
  private readonly spoken = make("p", { className: "spoken" });

  constructor(private readonly around: Surroundings) {
    this.data = around.data;
    this.spoken.setAttribute("role", "status");
    const main = make("main", {}, [this.picture, make("section", { className: "side" }, [this.work, this.actions])]);
    main.querySelector("section")!.setAttribute("aria-label", "This step");
    this.element.append(this.header, main, this.spoken);
    this.renumber();
    const at = this.steps.findIndex((step) => step.key === around.keeper.at);
    this.index = at >= 0 ? at : this.firstLeft(0);
    new ResizeObserver(() => this.fit()).observe(this.element);
  }

  get unit(): Unit {
    return this.around.preferences.unit;
  }

  get notes(): Notes {
    return this.around.keeper.notes;
  }

  get step(): Step {
    return this.steps[this.index]!;
  }

  /** Steps that are done by a tick and are not done yet. */
  get left(): number {
    return this.steps.filter((step) => step.kind !== "pass" && !isDone(this.notes, step)).length;
  }

  private renumber(): void {
    const read = readings(this.notes, this.unit);
    this.steps = this.data.steps.map((step) => numbered(this.data, step, read, this.unit));
  }

  private firstLeft(from: number): number {
    const open = (step: Step): boolean => step.kind !== "pass" && !isDone(this.notes, step);
    const after = this.steps.findIndex((step, i) => i >= from && open(step));
    const any = after >= 0 ? after : this.steps.findIndex(open);
    return any >= 0 ? any : this.steps.length - 1;
  }

  // ---- acts

  keep(notes: Notes, words: string): void {
    this.around.keeper.keep(notes, words);
  }

  finish(step: Step, notes: Notes, words: string): void {
    if (performance.now() - this.ended < BOUNCE_MS) return;
    this.ended = performance.now();
    navigator.vibrate?.(20);
    this.keep(ticked(notes, step.key), words);
    this.renumber();
    this.show(this.firstLeft(this.index + 1));
  }

  go(key: string): void {
    const at = this.steps.findIndex((step) => step.key === key);
    if (at >= 0) this.show(at);
  }

  private show(index: number): void {
    this.index = index;
    this.around.keeper.stand(this.step.key);
    this.draw();
    this.spoken.textContent = `${this.step.title}: ${this.step.name}`;
  }

  setUnit(unit: Unit): void {
    this.around.preferences.unit = unit;
    this.around.prefer();
    this.draw();
  }

  /** Whether something is typed that is not used yet: an answer from elsewhere must not take it away. */
  private get typing(): boolean {
    const field = document.activeElement;
    const inField = (field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement) && this.work.contains(field);
    return this.opened || inField || (this.panel?.typing?.() ?? false);
  }

  /** The steps of a changed case; a number that is just being typed stays. */
  renew(data: ChairData): void {
    const key = this.step.key;
    this.data = data;
    this.renumber();
    const at = this.steps.findIndex((step) => step.key === key);
    this.index = at >= 0 ? at : this.firstLeft(0);
    if (this.typing) this.drawHeader();
    else this.draw();
  }

  /** Everything anew: notes came from elsewhere, perhaps one step taken back. */
  refresh(): void {
    const done = new Set(this.notes.record.ticked ?? []);
    const open = this.shownTicked.filter((key) => !done.has(key) && !key.startsWith("outside "));
    this.renumber();
    if (open.length === 1) this.go(open[0]!);
    else this.draw();
  }

  /** The same for an answer that comes while somebody may be typing the next thing. */
  answered(): void {
    if (this.typing) this.drawHeader();
    else this.refresh();
  }

  private back(): void {
    const before = [...this.steps.keys()].filter((i) => i < this.index && this.steps[i]!.kind !== "pass");
    const at = before.at(-1);
    if (at !== undefined) this.show(at);
  }

  private takeBack(): void {
    this.around.keeper.takeBack(); // then `refresh`
  }

  readonly key = (event: KeyboardEvent): void => {
    if (document.querySelector("dialog[open]")) return;
    const field = event.target instanceof HTMLInputElement || event.target instanceof HTMLTextAreaElement;
    const key = event.key;
    if ((event.ctrlKey || event.metaKey) && !event.altKey) {
      const again = key.toLowerCase() === "y" || (key.toLowerCase() === "z" && event.shiftKey);
      if (again) this.around.keeper.makeAgain();
      else if (key.toLowerCase() === "z") this.takeBack();
      else return;
      event.preventDefault();
      return;
    }
    if (event.altKey) return;
    if (key === "Enter") {
      // A button in focus answers for itself; in a field Enter ends the step.
      if (event.target instanceof HTMLButtonElement || event.target instanceof HTMLTextAreaElement) return;
      this.actions.querySelector<HTMLButtonElement>(".main")?.click();
    } else if (field) return;
    else if (key === "ArrowLeft") this.back();
    else if (key === "?") this.actions.querySelector<HTMLButtonElement>(".unsure")?.click();
    else if (!this.panel?.key?.(key)) return;
    event.preventDefault();
  };

  // ---- drawing

  private draw(): void {
    this.renumber();
    this.index = Math.min(this.index, this.steps.length - 1);
    this.shownTicked = this.notes.record.ticked ?? [];
    const step = this.step;
    this.opened = false;
    this.panel = panelOf(step, this);
    this.element.dataset["kind"] = step.kind;
    this.work.replaceChildren(...this.panel.work);
    this.drawHeader();
    this.drawn(step.drawing);
    this.drawActions(this.panel);
    this.fit();
  }

  open(panel: Panel): void {
    this.opened = true;
    this.panel = panel;
    this.work.replaceChildren(...panel.work);
    this.drawActions(panel);
    this.fit();
  }

  private drawHeader(): void {
    const { data } = this;
    const rail = make("ol", { className: "rail" });
    for (const part of PARTS) {
      const all = this.steps.filter((step) => step.part === part && step.kind !== "pass");
      if (!all.length) continue;
      const done = all.filter((step) => isDone(this.notes, step)).length;
      const state = done === all.length ? "done" : part === this.step.part ? "now" : "";
      const bar = make("progress", { max: all.length, value: done });
      bar.setAttribute("aria-label", `${PART_TITLES[part]}: ${done} of ${all.length} done`);
      const words = make("span", {}, [state === "done" ? "✓ " : "", PART_TITLES[part]]);
      if (state === "now") words.append(make("small", { textContent: ` ${Math.min(done + 1, all.length)} of ${all.length}` }));
      rail.append(make("li", { className: state }, [bar, words]));
    }
    const left = button("", () => openList(this), "left-count");
    left.append(make("b", { textContent: String(this.left) }), " left");
    left.setAttribute("aria-label", `${this.left} left: show the list`);
    const menu = button("☰", () => openMenu(this, this.around), "menu");
    menu.setAttribute("aria-label", "More: units, hand, colours, carry back");
    const label = make("p", { className: "label", textContent: data.label, title: data.label });
    this.header.replaceChildren(make("div", { className: "where" }, [label, rail]), left, menu);
  }

  /** Show a drawing with its marks as they stand. */
  drawn(key: string): void {
    const shown = this.around.drawing(key);
    const words = make("figcaption", { textContent: this.around.words(key) });
    if (shown) {
      const step = this.step;
      const of = new Map(this.steps.filter((each) => each.drawing === key && each.kind !== "pass").map((each) => [each.spots[0], each]));
      for (const mark of shown.querySelectorAll<SVGElement>("[data-mark]")) {
        const name = mark.dataset["mark"]!;
        const flat = mark.classList.contains("site");
        const own = flat ? this.steps.find((each) => each.kind === "electrode" && each.name === name) : of.get(name);
        mark.classList.toggle("now", step.spots.includes(name));
        mark.classList.toggle("done", own !== undefined && isDone(this.notes, own));
        mark.classList.toggle("out", flat && (this.notes.record.sites ?? []).some((one) => one.name === name && one.applied === false));
      }
      shown.querySelector(".between")?.remove();
      if (step.kind === "check") this.between(shown, step);
    }
    this.picture.replaceChildren(...(shown ? [shown] : []), words);
    this.scale();
  }

  /** A tape from mark to mark on the flat map. */
  private between(shown: SVGElement, step: Step): void {
    const ends = step.spots.map((name) => shown.querySelector(`[data-mark="${CSS.escape(name)}"] circle`));
    const [one, other] = ends;
    if (!one || !other) return;
    const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    line.setAttribute("class", "between");
    line.setAttribute("d", `M${one.getAttribute("cx")} ${one.getAttribute("cy")}L${other.getAttribute("cx")} ${other.getAttribute("cy")}`);
    shown.querySelector(".site")?.before(line);
  }

  private drawActions(panel: Panel): void {
    const { keeper } = this.around;
    const back = button("", () => this.back(), "back");
    back.append(make("span", { textContent: "‹" }), make("small", { textContent: "Back" }));
    back.disabled = !this.steps.slice(0, this.index).some((step) => step.kind !== "pass");
    const undo = button("", () => performance.now() - this.ended >= BOUNCE_MS && this.takeBack(), "undo");
    undo.append(make("span", { textContent: "↶ Undo" }), make("small", { textContent: keeper.undo || "nothing yet" }));
    undo.disabled = !keeper.undo;
    const main = button(panel.main.text, panel.main.press, "main");
    main.disabled = panel.main.disabled ?? false;
    this.actions.replaceChildren(make("div", { className: "few" }, [back, undo, ...panel.others]), main);
  }

  /** Letters and marks of a drawing keep their size on the screen. */
  private scale(): void {
    const shown = this.picture.querySelector<SVGSVGElement>("svg");
    if (!shown) return;
    const box = shown.viewBox.baseVal;
    const room = shown.getBoundingClientRect();
    if (!room.width || !box.width) return;
    const units = Math.max(box.width / room.width, box.height / room.height);
    shown.style.setProperty("--u", units.toFixed(3));
    const small = Math.min(room.width, room.height);
    shown.style.setProperty("--s", Math.min(1, Math.max(0.6, small / 420)).toFixed(2));
  }

  /** As many rows as there is room for: the one that is done now is always there. */
  private fit(): void {
    this.scale();
    const rows = [...this.work.querySelectorAll<HTMLElement>(".row")];
    for (const row of rows) row.hidden = false;
    const now = rows.findIndex((row) => row.classList.contains("now"));
    const order = rows.map((_row, i) => i).sort((a, b) => away(b, now) - away(a, now));
    for (const i of order) {
      if (this.work.scrollHeight <= this.work.clientHeight + 1) break;
      if (i !== now) rows[i]!.hidden = true;
    }
  }

  start(): void {
    addEventListener("keydown", this.key);
    this.show(this.index);
  }

  stop(): void {
    removeEventListener("keydown", this.key);
  }

  /** Why something was not accepted. */
  tell(words: string): void {
    const said = make("p", { className: "note free" }, [make("span", { className: "sign", textContent: "⊘" }), make("span", { textContent: words })]);
    said.setAttribute("role", "alert");
    this.work.prepend(said);
    this.fit();
  }

  /** Whether notes lie on this device only. */
  get carries(): boolean {
    return this.around.keeper.alone;
  }

  carry(): void {
    openCarry(this);
  }
}

// Rows after the one that is done now matter more than those before it.
const away = (row: number, now: number): number => (row < now ? (now - row) * 2.5 + 1 : row - now);
