// The measurement sheet as a form: what was measured, what the fitted head has, why a value is refused.
import type { Measurement, Start, State } from "./api";
import { byId, make, refuse } from "./dom";

export interface SheetEvents {
  /** A value as typed, "" to take it out. */
  typed(name: string, text: string): void;
  /** A value under the slider, in mm; `settled` when it was let go. */
  slid(name: string, text: string, mm: number, settled: boolean): void;
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
  private current: Line | null = null;
  private unit = "cm";
  private factor = 10;
  private predicted: Readonly<Record<string, number>> = {};
  private pause = 0;

  constructor(private readonly start: Start, private readonly events: SheetEvents) {
    this.start.groups.forEach((group, g) => {
      const box = make("details", { open: g < 2 }, [make("summary", { textContent: group.title })]);
      group.measurements.forEach((kind) => box.append(this.line(kind)));
      this.list.append(box);
    });
    this.card = make("div", { className: "card" }, [
      make("div", { className: "cardhead" }, [this.sliderLabel, this.sliderValue]), this.slider, this.how,
    ]);
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
    const input = make("input", { type: "text", id, inputMode: "decimal", autocomplete: "off", spellcheck: false });
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
      if (this.plausible(line)) this.events.typed(kind.name, input.value);
      else this.pause = window.setTimeout(() => this.finish(line), PAUSE_MS);
    });
    input.addEventListener("change", () => this.finish(line));
    input.addEventListener("keydown", (event) => {
      const step = { ArrowUp: 1, ArrowDown: -1 }[event.key];
      if (!step) return;
      event.preventDefault();
      const value = this.value(line) ?? this.predicted[kind.name];
      if (value === undefined) return;
      input.value = this.text(value + step);
      this.events.typed(kind.name, input.value);
      this.attend(line);
    });
    return row;
  }

  private finish(line: Line): void {
    clearTimeout(this.pause);
    line.row.classList.remove("typing");
    this.events.typed(line.kind.name, line.input.value.trim());
  }

  /** One plain number within human range: worth a fit while the person goes on typing. */
  private plausible(line: Line): boolean {
    const mm = this.value(line);
    line.row.classList.toggle("typing", mm === null);
    return mm !== null && mm >= line.kind.lowest_mm && mm <= line.kind.highest_mm;
  }

  private value(line: Line): number | null {
    const text = line.input.value.trim().replace(",", ".");
    return /^\d+(\.\d*)?$/.test(text) ? Number(text) * this.factor : null;
  }

  private text(mm: number): string {
    return (mm / this.factor).toFixed(this.unit === "inch" ? 2 : this.unit === "cm" ? 1 : 0);
  }

  /** Show a measurement in the card below the list, with its slider. */
  private attend(line: Line): void {
    this.current = line;
    this.lines.forEach((each) => each.row.classList.toggle("current", each === line));
    const read = this.value(line);
    const expected = this.predicted[line.kind.name];
    const middle = read ?? expected ?? (line.kind.lowest_mm + line.kind.highest_mm) / 2;
    this.slider.min = String(Math.max(line.kind.lowest_mm, Math.round(middle - 60)));
    this.slider.max = String(Math.min(line.kind.highest_mm, Math.round(middle + 60)));
    this.slider.value = String(Math.round(middle));
    this.sliderLabel.textContent = line.kind.title;
    this.how.textContent = `How: ${line.kind.how}.`;
    if (read !== null) this.tell(`${this.text(read)} ${this.unit}`);
    else this.tell(expected === undefined ? "not measured" : `not measured, about ${this.text(expected)} ${this.unit}`);
  }

  private tell(text: string): void {
    this.sliderValue.textContent = text;
    this.slider.setAttribute("aria-valuetext", this.sliderValue.textContent);
  }

  private slide(settled: boolean): void {
    if (!this.current) return;
    const mm = Number(this.slider.value);
    this.current.input.value = this.text(mm);
    this.tell(`${this.text(mm)} ${this.unit}`);
    this.events.slid(this.current.kind.name, this.current.input.value, mm, settled);
  }

  /** The state as the program has it; what a person is typing stays. */
  show(state: State): void {
    this.unit = state.case.unit;
    this.factor = this.start.units[this.unit] ?? 10;
    this.predicted = state.predicted_mm;
    for (const [name, line] of this.lines) {
      const text = state.case.tape[name] ?? "";
      const busy = document.activeElement === line.input || line.row.classList.contains("refused");
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
    if (fitted === undefined) line.fitted.textContent = "";
    else if (measured === undefined) line.fitted.textContent = `≈ ${this.text(fitted)} ${this.unit}`;
    else {
      const gap = Math.round(fitted - measured);
      line.fitted.textContent = gap === 0 ? "fits" : `${gap > 0 ? "+" : "−"}${Math.abs(gap)} mm`;
    }
    line.fitted.title = measured === undefined ? "on the fitted head, not measured" : "fitted head against measured";
  }

  /** Say beside each value why it is not used. */
  refuse(reasons: Readonly<Record<string, string>>): void {
    for (const [name, text] of Object.entries(reasons)) {
      const line = this.lines.get(name);
      if (!line) continue;
      line.row.classList.add("refused");
      refuse(line.input, line.reason, text);
    }
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

  focus(name: string): void {
    const line = this.lines.get(name);
    line?.row.closest("details")?.setAttribute("open", "");
    line?.input.focus();
  }
}
