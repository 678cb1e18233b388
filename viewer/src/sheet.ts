// The measurement sheet as a form: what was measured, what the fitted head has, why a value is refused.
import type { Measurement, Start, State } from "./api";
import type { Unit } from "./chair/data";
import { told, typed } from "./chair/lengths";
import { button, byId, make, refuse } from "./dom";

export interface SheetEvents {
  /** A value as typed, "" to take it out; `finished` when the person left it. */
  typed(name: string, text: string, finished: boolean): void;
  /** A reading under the slider, in mm; `settled` when it was let go. */
  slid(name: string, text: string, mm: number, settled: boolean): void;
  /** A value that nobody measured, to be looked at only; null ends it. */
  tried(trial: { name: string; mm: number; words: string } | null): void;
}

interface Line {
  readonly kind: Measurement;
  readonly row: HTMLElement;
  readonly input: HTMLInputElement;
  readonly fitted: HTMLElement;
  readonly reason: HTMLElement;
}

const PAUSE_MS = 700; // after which unfinished typing is judged

export class Sheet {
  readonly element = make("section", { className: "sheet" });
  readonly list = make("div", { className: "lines" });
  private readonly lines = new Map<string, Line>();
  private readonly card: HTMLElement;
  private readonly slider = make("input", { type: "range", id: "slider", step: "1" });
  private readonly sliderLabel = make("label", { htmlFor: "slider" });
  private readonly sliderValue = make("output");
  private readonly how = make("p");
  private readonly icon = make("span", { className: "icon" });
  private current: Line | null = null;
  private drawings: Readonly<Record<string, string>> = {};
  private unit = "cm";
  private predicted: Readonly<Record<string, number>> = {};
  private taken: Readonly<Record<string, string>> = {};
  private measured: Readonly<Record<string, number>> = {};
  private pause = 0;
  private trying: Line | null = null;
  private readonly end = button("end the trial", () => this.endTrial());
  private readonly boxes = new Map<string, HTMLDetailsElement>();

  constructor(private readonly start: Start, private readonly events: SheetEvents) {
    this.start.groups.forEach((group, g) => {
      const box = make("details", { open: g < 2 }, [make("summary", { textContent: group.title })]);
      group.measurements.forEach((kind) => box.append(this.line(kind)));
      this.boxes.set(group.title, box);
      this.list.append(box);
    });
    this.card = make("div", { className: "card" }, [
      make("div", { className: "cardhead" }, [this.sliderLabel, this.sliderValue]), this.slider, this.end, make("div", { className: "shown" }, [this.icon, this.how]),
    ]);
    this.end.hidden = true;
    this.slider.addEventListener("input", () => this.slide(false));
    this.slider.addEventListener("change", () => this.slide(true));
    const heads = make("div", { className: "line heads" }, [
      make("h2", { textContent: "Measurements" }), make("span", {}, ["read ", make("span", { className: "unit", id: "unit-said", textContent: "cm" })]),
      make("span", { textContent: "on this head" }),
    ]);
    this.element.append(heads, this.list, this.card);
    this.attend(this.lines.values().next().value!);
  }

  private line(kind: Measurement): HTMLElement {
    const id = `m-${kind.name}`;
    const input = make("input", { type: "text", id, inputMode: "decimal", autocomplete: "off", spellcheck: false, enterKeyHint: "next" });
    const fitted = make("output", { className: "fitted" });
    const reason = make("p", { className: "reason", id: `${id}-why`, hidden: true });
    const how = make("span", { className: "hidden", id: `${id}-how`, textContent: kind.how });
    input.setAttribute("aria-describedby", `${id}-how ${id}-why`);
    const row = make("div", { className: "line" }, [make("label", { htmlFor: id, textContent: kind.title }), input, fitted, how, reason]);
    const line = { kind, row, input, fitted, reason };
    this.lines.set(kind.name, line);
    input.addEventListener("focus", () => this.attend(line));
    input.addEventListener("input", () => {
      clearTimeout(this.pause);
      this.endTrial();
      if (this.plausible(line)) this.events.typed(kind.name, input.value, false);
      else this.pause = window.setTimeout(() => this.finish(line), PAUSE_MS);
    });
    input.addEventListener("change", () => this.finish(line));
    input.addEventListener("keydown", (event) => {
      if (event.key === "Enter") {
        this.finish(line);
        this.next(line);
        return;
      }
      const step = { ArrowUp: 1, ArrowDown: -1 }[event.key];
      if (!step) return;
      event.preventDefault();
      const value = this.value(line);
      if (value === null) return; // nothing was read: an arrow makes no reading
      input.value = this.text(value + step);
      this.events.typed(kind.name, input.value, false);
      this.attend(line);
    });
    return row;
  }

  /** The box below that can be seen; the last one keeps the keyboard. */
  private next(line: Line): void {
    const boxes = [...this.list.querySelectorAll<HTMLInputElement>(".line input")].filter((each) => each.offsetParent !== null);
    const after = boxes[boxes.indexOf(line.input) + 1];
    after?.focus();
    after?.select();
  }

  private finish(line: Line): void {
    clearTimeout(this.pause);
    line.row.classList.remove("typing");
    this.events.typed(line.kind.name, line.input.value.trim(), true);
  }

  /** One plain number within human range: worth a fit while the person goes on typing. */
  private plausible(line: Line): boolean {
    const mm = this.value(line);
    line.row.classList.toggle("typing", mm === null);
    return mm !== null && mm >= line.kind.lowest_mm && mm <= line.kind.highest_mm;
  }

  private value(line: Line): number | null {
    return typed(line.input.value, this.unit as Unit);
  }

  /** The mean of repeated readings, in mm; null for one or none. */
  private several(line: Line): number | null {
    const text = this.taken[line.kind.name] ?? "";
    return /[;/]/.test(text) && typed(text, this.unit as Unit) === null && line.input.value.trim() === text ? (this.measured[line.kind.name] ?? null) : null;
  }

  private text(mm: number): string {
    return told(mm, this.unit as Unit);
  }

  /** Show a measurement in the card below the list, with its slider. */
  private attend(line: Line): void {
    if (this.trying && this.trying !== line) this.endTrial();
    if (this.trying) return;
    this.current = line;
    this.lines.forEach((each) => each.row.classList.toggle("current", each === line));
    const several = this.several(line);
    const read = several ?? this.value(line);
    const expected = this.predicted[line.kind.name];
    const middle = read ?? expected ?? (line.kind.lowest_mm + line.kind.highest_mm) / 2;
    this.slider.min = String(Math.max(line.kind.lowest_mm, Math.round(middle - 60)));
    this.slider.max = String(Math.min(line.kind.highest_mm, Math.round(middle + 60)));
    this.slider.value = String(Math.round(middle));
    this.sliderLabel.textContent = line.kind.title;
    this.how.textContent = `How: ${line.kind.how}.`;
    this.showIcon(line);
    this.slider.disabled = several !== null; // it would put one number in the place of what was read
    if (several !== null) this.tell(`mean ${this.text(several)} ${this.unit} of ${line.input.value.trim()}`);
    else if (read !== null) this.tell(`${this.text(read)} ${this.unit}`);
    else this.tell(expected === undefined ? "not measured" : `not measured, about ${this.text(expected)} ${this.unit}`);
  }

  private tell(text: string): void {
    this.sliderValue.textContent = text;
    this.slider.setAttribute("aria-valuetext", this.sliderValue.textContent);
  }

  private slide(settled: boolean): void {
    if (!this.current) return;
    const mm = Number(this.slider.value);
    if (this.taken[this.current.kind.name] === undefined) {
      this.tryOut(this.current, mm);
      return;
    }
    this.current.input.value = this.text(mm);
    this.tell(`${this.text(mm)} ${this.unit}`);
    this.events.slid(this.current.kind.name, this.current.input.value, mm, settled);
  }

  /** A value that nobody measured: the head shows what it would do, the box stays empty. */
  private tryOut(line: Line, mm: number): void {
    this.trying = line;
    const words = `trial ≈ ${this.text(mm)} ${this.unit}`;
    line.row.classList.add("trial");
    line.input.placeholder = `≈ ${this.text(mm)}`;
    this.tell(`${words}, not measured`);
    this.end.hidden = false;
    this.events.tried({ name: line.kind.name, mm, words: `${line.kind.title} ≈ ${this.text(mm)} ${this.unit}` });
  }

  /** Back to what was measured. */
  endTrial(): void {
    const line = this.trying;
    if (!line) return;
    this.forgetTrial();
    if (document.activeElement === this.end) this.slider.focus(); // the button goes
    this.attend(line);
    this.events.tried(null);
  }

  private forgetTrial(): void {
    this.trying?.row.classList.remove("trial");
    if (this.trying) this.trying.input.placeholder = "";
    this.trying = null;
    this.end.hidden = true;
  }

  /** Whether a box holds what the program has not taken. */
  get typing(): boolean {
    const line = [...this.lines.values()].find((each) => each.input === document.activeElement);
    return line !== undefined && line.input.value.trim() !== (this.taken[line.kind.name] ?? "") && this.value(line) === null;
  }

  /** Measurements in the order of this age. */
  private order(state: State): void {
    for (const { title, names } of state.groups) {
      const box = this.boxes.get(title);
      const rows = names.map((name) => this.lines.get(name)!.row);
      const there = box ? [...box.children].slice(1) : [];
      if (box && (there.length !== rows.length || there.some((row, i) => row !== rows[i]))) box.append(...rows);
    }
  }

  /** The state as the program has it; what a person is typing stays, unless a step was taken back. */
  show(state: State, all = false): void {
    this.order(state);
    this.forgetTrial();
    this.taken = state.case.tape;
    this.measured = state.fit?.measured_mm ?? {};
    this.unit = state.case.unit;
    this.predicted = state.predicted_mm;
    for (const [name, line] of this.lines) {
      line.input.inputMode = this.unit === "inch" ? "text" : "decimal"; // a fraction has a space and a bar
      const text = state.case.tape[name] ?? "";
      const busy = !all && (document.activeElement === line.input || line.row.classList.contains("refused"));
      if (!busy) line.input.value = text;
      line.row.classList.toggle("taken", text !== "");
      this.showFitted(line, state);
    }
    byId("unit-said").textContent = this.unit;
    if (this.current && document.activeElement !== this.slider) this.attend(this.current);
  }

  private showFitted(line: Line, state: State): void {
    const fitted = state.predicted_mm[line.kind.name];
    const measured = state.fit?.measured_mm[line.kind.name];
    const doubt = state.doubted[line.kind.name];
    const sure = state.sure_mm[line.kind.name];
    line.row.classList.toggle("doubtful", doubt !== undefined);
    if (fitted === undefined) line.fitted.textContent = "";
    else if (measured === undefined) line.fitted.textContent = `≈ ${this.text(fitted)}${sure === undefined ? "" : ` ± ${this.text(sure)}`}`;
    else if (doubt !== undefined) line.fitted.textContent = "? doubtful";
    else {
      const gap = Math.round(fitted - measured);
      line.fitted.textContent = gap === 0 ? "fits" : `${gap > 0 ? "+" : "−"}${Math.abs(gap)} mm`;
    }
    line.fitted.title = doubt ?? (measured === undefined ? "predicted, not measured; 95 % lie within ±" : "fitted head against measured");
  }

  /** Say beside each value why it is not used. */
  refuse(reasons: Readonly<Record<string, string>>, instead: Readonly<Record<string, string>>): string[] {
    const said: string[] = [];
    for (const [name, text] of Object.entries(reasons)) {
      const line = this.lines.get(name);
      if (!line) continue;
      line.row.classList.add("refused");
      const meant = instead[name];
      const short = `${line.input.value.trim() || "this"} not used${meant ? `; ${meant}?` : "."}`;
      said.push(`${line.kind.title}: ${short}`);
      refuse(line.input, line.reason, text);
      line.reason.textContent = `${short} ${text}.`;
      if (meant) {
        const use = button(`use ${meant}`, () => {
          line.input.value = meant;
          this.finish(line);
          line.input.focus();
        });
        line.reason.append(" ", use);
      }
    }
    return said;
  }

  /** The program accepted these. */
  accept(names: Iterable<string>): void {
    for (const name of names) {
      const line = this.lines.get(name);
      if (!line) continue;
      line.reason.hidden = true;
      line.row.classList.remove("refused", "typing");
      line.input.removeAttribute("aria-invalid");
    }
  }

  /** Where each tape and caliper lies, as SVG by measurement. */
  drawn(drawings: Readonly<Record<string, string>>): void {
    this.drawings = drawings;
    if (this.current) this.showIcon(this.current);
  }

  private showIcon(line: Line): void {
    this.icon.innerHTML = this.drawings[line.kind.name] ?? "";
  }

  /** The first box of this age. */
  begin(): void {
    this.list.querySelector<HTMLInputElement>(".line input")?.focus();
  }

  focus(name: string): void {
    const line = this.lines.get(name);
    line?.row.closest("details")?.setAttribute("open", "");
    line?.input.focus();
  }
}
