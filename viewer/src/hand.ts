// Shape modes set by hand: what the eye sees and no tape does. The page blends them, the program confirms.
import type { HandMode, State } from "./api";
import { button, make, refuse } from "./dom";

export interface HandEvents {
  /** A mode under its slider, in mm; `settled` when it was let go. */
  shaped(name: string, mm: number, settled: boolean): void;
  /** Back to what the fit finds. */
  released(name: string): void;
}

interface Line {
  readonly mode: HandMode;
  readonly row: HTMLElement;
  readonly slider: HTMLInputElement;
  readonly value: HTMLElement;
  readonly reset: HTMLButtonElement;
  readonly reason: HTMLElement;
}

export class ByHand {
  readonly element: HTMLDetailsElement;
  private readonly lines = new Map<string, Line>();
  private readonly count = make("span", { className: "quiet" });
  private readonly note = make("p", { className: "quiet" });

  constructor(modes: readonly HandMode[], private readonly events: HandEvents) {
    this.element = make("details", { className: "hand" }, [make("summary", {}, ["Set by hand ", this.count]), this.note]);
    for (const mode of modes) this.element.append(this.line(mode));
  }

  private line(mode: HandMode): HTMLElement {
    const id = `h-${mode.name}`;
    const slider = make("input", { type: "range", id, min: String(-mode.most_mm), max: String(mode.most_mm), step: "0.1" });
    const value = make("output");
    const reset = button("reset", () => {
      this.events.released(mode.name);
      slider.focus(); // the button goes
    });
    reset.setAttribute("aria-label", `reset: ${mode.title}`);
    const reason = make("p", { className: "reason", id: `${id}-why`, hidden: true });
    slider.setAttribute("aria-describedby", reason.id);
    const row = make("div", { className: "handline" }, [
      make("label", { htmlFor: id, textContent: mode.title }), value,
      make("div", { className: "ends" }, [make("span", { textContent: mode.below }), slider, make("span", { textContent: mode.above }), reset]), reason,
    ]);
    const line = { mode, row, slider, value, reset, reason };
    this.lines.set(mode.name, line);
    const slide = (settled: boolean): void => {
      const mm = Number(slider.value);
      this.tell(line, mm, true);
      this.events.shaped(mode.name, mm, settled);
    };
    slider.addEventListener("input", () => slide(false));
    slider.addEventListener("change", () => slide(true));
    return row;
  }

  private tell(line: Line, mm: number, set: boolean): void {
    const { mode, slider, value } = line;
    const size = Math.abs(mm).toFixed(1);
    const side = size === "0.0" ? "" : `${mm > 0 ? mode.above : mode.below} `;
    value.textContent = set ? `${side}${size} mm` : "as fitted";
    slider.setAttribute("aria-valuetext", value.textContent);
    line.row.classList.toggle("taken", set);
    line.reset.hidden = !set;
  }

  show(state: State): void {
    const shape = state.case.shape;
    const set = Object.keys(shape).length;
    this.count.textContent = set ? `(${set})` : "";
    this.note.textContent = state.fit
      ? "For what you see and no tape tells. 1 mm here moves the scalp by 2 to 3 mm where it moves most."
      : "Possible after the first measurement.";
    for (const [name, line] of this.lines) {
      const mm = shape[name];
      line.row.hidden = !line.mode.common && mm === undefined;
      line.slider.disabled = !state.fit;
      line.slider.value = String(mm ?? state.fit?.now_mm[name] ?? 0);
      line.reason.hidden = true;
      line.slider.removeAttribute("aria-invalid");
      this.tell(line, mm ?? 0, mm !== undefined);
    }
  }

  /** Say beside each slider why its value is not used. */
  refuse(reasons: Readonly<Record<string, string>>): void {
    for (const [name, text] of Object.entries(reasons)) {
      const line = this.lines.get(name);
      if (line) refuse(line.slider, line.reason, text);
    }
  }
}
