// What stands beside the drawing for each kind of step, and the buttons that end it.
import { button, make } from "../dom";
import type { Electrode, Notes, Step, Unit } from "./data";
import { doubted, told, typed } from "./lengths";
import { charted, electrode, impedanceFindings, isDone, outsideKey, readings, ticked, withDoubt, withText } from "./notes";
import { Pad } from "./pad";
import type { Acts } from "./view";

export interface Panel {
  readonly work: readonly Node[];
  readonly main: { readonly text: string; readonly press: () => void; readonly disabled?: boolean };
  readonly others: readonly HTMLElement[];
  key?(key: string): boolean;
  /** Whether something was typed that is not used yet. */
  typing?(): boolean;
}

const title = (text: string): HTMLElement => make("h1", { textContent: text });
const line = (text: string, className = "do"): HTMLElement => make("p", { className, textContent: text });
const note = (text: string, kind: "doubt" | "free" | "plain" = "plain"): HTMLElement => {
  const sign = { doubt: "?", free: "⊘", plain: "" }[kind];
  return make("p", { className: `note ${kind}` }, [...(sign ? [make("span", { className: "sign", textContent: sign })] : []), make("span", { textContent: text })]);
};
const free = (step: Step): HTMLElement[] => (step.warnings.length ? [note(step.warnings.join(" "), "free")] : []);

export function panelOf(step: Step, acts: Acts): Panel {
  switch (step.kind) {
    case "landmark":
      return landmark(step, acts);
    case "reading":
      return reading(step, acts, step.arc, false);
    case "mark":
    case "pass":
    case "bearing":
    case "eye":
      return mark(step, acts);
    case "check":
      return check(step, acts);
    case "look":
      return look(step, acts);
    case "electrode":
    case "lead":
      return cup(step, acts);
    case "impedances":
      return impedances(step, acts);
    case "changes":
      return changes(step, acts);
    case "finish":
      return finish(step, acts);
  }
}

function landmark(step: Step, acts: Acts): Panel {
  const doubtful = acts.notes.doubtful.includes(step.arc);
  const name = step.name[0]!.toUpperCase() + step.name.slice(1);
  const work: Node[] = [title(step.title), line(step.line)];
  if (step.arc === "inion" && !doubtful) {
    const help = make("div", { className: "help" });
    const open = button("No knob? What else to feel for", () => {
      help.replaceChildren(note(step.doubt));
      acts.drawn("flat inion");
    }, "quiet");
    help.append(open);
    work.push(help);
  }
  if (doubtful) work.push(note(step.doubt || `${name} is doubtful: the sheet says so.`, "doubt"));
  const unsure = doubtful
    ? button("Sure after all", () => { acts.keep(withDoubt(acts.notes, step.arc, false), `${step.name} sure`); acts.refresh(); }, "unsure")
    : button("Not sure", () => { acts.keep(withDoubt(acts.notes, step.arc, true), `${step.name} doubtful`); acts.refresh(); }, "unsure");
  return {
    work,
    main: { text: doubtful ? `${name}: marked, doubtful` : step.done, press: () => acts.finish(step, acts.notes, `${step.name} marked`) },
    others: [unsure],
  };
}

/** A reading is typed; nothing is kept before "Use". `beside` types the arc of a step of marks. */
function reading(step: Step, acts: Acts, name: string, beside: boolean): Panel {
  const { data } = acts;
  const isMeasurement = name in data.measurements;
  const kept = isMeasurement ? acts.notes.tape[name] : acts.notes.arcs[name];
  const read = readings(acts.notes, acts.unit);
  const before = read[name] ?? data.tape[name];
  const box = make("output", { className: "typed" });
  const why = make("div", { className: "why" });
  why.setAttribute("role", "status");
  const main = { text: "", press: (): void => {}, disabled: false };
  let asked = false;
  const use = (mm: number, text: string): void => {
    const part = isMeasurement ? "tape" : "arcs";
    const notes: Notes = { ...acts.notes, [part]: { ...acts.notes[part], [name]: text } };
    if (beside) {
      acts.keep(notes, `${told(mm, acts.unit)} ${acts.unit}`);
      acts.refresh();
    } else acts.finish(step, notes, `${told(mm, acts.unit)} ${acts.unit} used`);
  };
  const press = (): void => {
    const text = pad.text.trim();
    if (!text) {
      if (before !== undefined && !beside) acts.finish(step, acts.notes, `${told(before, acts.unit)} ${acts.unit} kept`);
      return;
    }
    const mm = typed(text, acts.unit);
    const doubt = mm === null ? null : doubted(data, name, mm, read, acts.unit);
    if (mm === null || doubt?.refused) {
      say(mm === null ? `${text} is no length.` : doubt!.words, "free", doubt?.instead ?? null);
      return;
    }
    if (doubt && !asked) {
      asked = true;
      say(doubt.words, "doubt", null);
      show();
      return;
    }
    use(mm, `${text} ${acts.unit}`);
  };
  const say = (words: string, kind: "doubt" | "free", instead: number | null): void => {
    why.replaceChildren(note(words, kind));
    if (instead === null) return;
    why.append(button(`Use ${told(instead, acts.unit)}`, () => use(instead, `${told(instead, acts.unit)} ${acts.unit}`), "instead"));
  };
  const show = (): void => {
    const text = pad.text;
    box.textContent = text || (before !== undefined ? told(before, acts.unit) : "–");
    box.classList.toggle("old", !text);
    const shown = document.querySelector<HTMLButtonElement>(".chair .actions .main");
    if (text) main.text = asked ? `Use ${text} ${acts.unit} all the same` : `Use ${text} ${acts.unit}`;
    else if (before !== undefined && !beside) main.text = `Keep ${told(before, acts.unit)} ${acts.unit}`;
    else main.text = "Type what you read";
    main.disabled = !text && (before === undefined || beside);
    if (shown) [shown.textContent, shown.disabled] = [main.text, main.disabled];
  };
  const pad = new Pad(acts.unit, () => {
    asked = false;
    why.replaceChildren();
    show();
  });
  const units = make("div", { className: "units" });
  units.setAttribute("role", "group");
  units.setAttribute("aria-label", "Unit");
  for (const unit of ["cm", "inch"] as const) {
    const one = button(unit, () => acts.setUnit(unit));
    one.setAttribute("aria-pressed", String(unit === acts.unit));
    units.append(one);
  }
  show();
  main.press = press;
  const source = kept ? "■ typed here" : before !== undefined ? `■ ${step.source || "own reading"}` : "";
  const skip = beside
    ? button("Back to the marks", () => acts.refresh(), "skip")
    : button("Not taped", () => acts.finish(step, acts.notes, `${step.name} not taped`), "skip");
  return {
    work: [
      title(beside ? `Type ${step.title.toLowerCase()}` : step.title), line(beside ? "The whole length of the arc, as you read it." : step.line), ...free(step),
      make("div", { className: "box" }, [box, units]), why, make("p", { className: "source", textContent: source }), pad.element,
    ],
    main, others: [skip],
    typing: () => pad.text !== "",
    key: (key) => {
      pad.press(key);
      return /^[0-9/.,]$|^Backspace$|^ $/.test(key);
    },
  };
}

const number = (step: Step, unit: Unit): string => (step.number_mm === null ? step.words : told(step.number_mm, unit));

function row(step: Step, acts: Acts, current: boolean): HTMLElement {
  const done = isDone(acts.notes, step);
  const passes = step.kind === "pass";
  const sign = passes ? "⇣" : done ? "✓" : "";
  const kind = [current ? "now" : "", done ? "done" : "", passes ? "passes" : "", step.own ? "own" : "light"].filter(Boolean).join(" ");
  const shown = number(step, acts.unit);
  const made = make("li", { className: `row ${kind}` });
  const length = step.number_mm === null ? "" : acts.unit;
  const figures = make("span", { className: "number" }, [step.own || !length ? "" : "≈ ", make("b", { textContent: shown }), make("small", { textContent: ` ${length}` })]);
  made.append(make("span", { className: "tick", textContent: sign }), make("span", { className: "name", textContent: step.name }), figures, make("span", { className: "detail", textContent: step.detail }));
  if (current) {
    made.setAttribute("aria-current", "step");
    return made;
  }
  made.setAttribute("aria-label", `${step.name} ${shown} ${length}${done ? ", done" : ""}`);
  if (!passes) made.onclick = () => acts.go(step.key);
  return made;
}

function mark(step: Step, acts: Acts): Panel {
  const rows = acts.steps.filter((each) => each.title === step.title && each.part === "mark");
  const arc = acts.data.arcs.find((each) => each.name === step.arc);
  const source = make("p", { className: "source" }, step.source ? [make("b", { textContent: step.own ? "■ " : "≈ " }), step.source] : []);
  const others: HTMLElement[] = [];
  // Two short tapes are found on the head itself: only the program finds them anew.
  const old = step.kind === "bearing" && acts.carries && Object.keys(acts.notes.tape).length > 0;
  const before = old ? [note("These two lengths are from before what was typed here. Carry it back and make this page anew before this mark.", "doubt")] : [];
  const panel: { -readonly [K in keyof Panel]: Panel[K] } = {
    work: [title(step.title), line(step.line), ...free(step), ...before, source, make("ol", { className: "rows" }, rows.map((each) => row(each, acts, each.key === step.key)))],
    main: { text: step.done, press: () => acts.finish(step, acts.notes, `${step.name} marked`) },
    others,
  };
  if (arc && !step.own && (arc.reading || acts.carries)) {
    others.push(button("Type the tape", () => {
      const typing = reading({ ...step, title: arc.title, number_mm: null }, acts, arc.reading || arc.name, true);
      acts.open(typing);
    }, "skip"));
  }
  return panel;
}

function check(step: Step, acts: Acts): Panel {
  const key = outsideKey(step);
  const outside = (acts.notes.record.ticked ?? []).filter((each) => each.startsWith("outside "));
  const isOut = outside.includes(key);
  const shared = isOut ? step.spots.find((name) => outside.some((each) => each !== key && each.slice(8).split("–").includes(name))) : undefined;
  const plus = step.tolerance_mm === null ? "" : ` ± ${told(step.tolerance_mm, acts.unit)}`;
  const again = shared ? `Look at ${shared} again: it is in both.` : `Mark ${step.spots.join(" and ")} again, then measure.`;
  return {
    work: [
      title(step.title), line(step.line), ...free(step),
      make("div", { className: `big ${isOut ? "doubtful" : ""}` }, [
        make("span", { className: "name", textContent: step.name }),
        make("span", { className: "number" }, [make("b", { textContent: number(step, acts.unit) }), make("small", { textContent: ` ${plus} ${acts.unit}` })]),
      ]),
      ...(isOut ? [note(again, "doubt")] : []),
      make("p", { className: "source", textContent: Object.keys(acts.notes.tape).length ? "≈ predicted, before what was typed here" : "≈ predicted" }),
    ],
    main: { text: step.done, press: () => acts.finish(step, ticked(acts.notes, key, false), `${step.name} within`) },
    others: [isOut
      ? button("Keep, chart it", () => acts.finish(step, chartCheck(acts.notes, step), `${step.name} charted`), "skip")
      : button("Outside ±", () => { acts.keep(ticked(acts.notes, key), `${step.name} outside`); acts.refresh(); }, "unsure")],
  };
}

function chartCheck(notes: Notes, step: Step): Notes {
  const said = `Check ${step.name} outside its tolerance, kept.`;
  const before = notes.record.note ?? "";
  return before.includes(said) ? notes : withText(notes, "note", `${before} ${said}`.trim());
}

function look(step: Step, acts: Acts): Panel {
  const isSkin = step.name === "skin";
  const text = make("textarea", { rows: 2, value: acts.notes.record.skin_before ?? "" });
  text.setAttribute("aria-label", "Skin before");
  text.placeholder = "what you see, and where";
  const words = step.words ? [make("div", { className: "big" }, [make("span", { className: "number" }, [make("b", { textContent: step.words })])])] : [];
  if (!isSkin) {
    return { work: [title(step.title), line(step.line), ...words], main: { text: step.done, press: () => acts.finish(step, acts.notes, step.done) }, others: [] };
  }
  return {
    work: [title(step.title), line(step.line), make("label", { className: "field" }, ["Skin before", text])],
    main: { text: step.done, press: () => acts.finish(step, withText(acts.notes, "skin_before", text.value.trim() || "whole"), "skin looked at") },
    others: [button("Chart it", () => {
      if (!text.value.trim()) text.focus();
      else acts.finish(step, withText(acts.notes, "skin_before", text.value.trim()), "skin charted");
    }, "skip")],
  };
}

const PLACES: Readonly<Record<string, readonly string[]>> = {
  reference: ["CPz", "FCz", "Cz", "A1", "A2"], ground: ["AFz", "Fpz", "FCz", "A1", "A2"], ECG: ["left chest", "left wrist", "right wrist"],
};
const WHY_OUT = ["skin", "no room", "refused", "not needed"];

function cup(step: Step, acts: Acts): Panel {
  const one: Electrode = electrode(acts.notes, step);
  const limit = acts.notes.record.limit_kohm ?? acts.data.limit_kohm;
  const out = one.applied === false;
  const isLead = step.kind === "lead";
  const keep = (entries: Electrode, words: string): void => {
    const changed: Electrode = { ...one, ...entries };
    for (const name of Object.keys(entries) as (keyof Electrode)[]) if (entries[name] === undefined) delete changed[name];
    acts.keep(charted(acts.notes, step, changed), words);
    acts.refresh();
  };
  const tile = (text: string, on: boolean, press: () => void): HTMLButtonElement => {
    const made = button(text, press, "key");
    made.setAttribute("aria-pressed", String(on));
    return made;
  };
  const values = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10];
  const kohm = one.impedance_kohm;
  const tiles = make("div", { className: "pad tiles" }, [
    ...values.map((value) => tile(String(value), kohm === value, () => keep({ impedance_kohm: value, applied: true }, `${step.name} ${value} kΩ`))),
    tile(kohm !== undefined && !values.includes(kohm) ? String(kohm) : "more", kohm !== undefined && !values.includes(kohm), () => ask()),
    tile("none", false, () => keep({ impedance_kohm: undefined as never }, `${step.name} no kΩ`)),
  ]);
  const ask = (): void => acts.open(moreKohm(step, acts, (value) => keep({ impedance_kohm: value, applied: true }, `${step.name} ${value} kΩ`)));
  const high = kohm !== undefined && kohm > limit;
  const work: Node[] = [title(step.title), line(step.line)];
  if (isLead) {
    const place = make("input", { type: "text", value: one.place ?? "", placeholder: "where it stands" });
    place.setAttribute("aria-label", `Where the ${step.name} stands`);
    place.onchange = () => keep({ place: place.value.trim() }, `${step.name} at ${place.value.trim()}`);
    work.push(make("div", { className: "choices" }, [...(PLACES[step.name] ?? []).map((at) => tile(at, one.place === at, () => keep({ place: at }, `${step.name} at ${at}`))), place]));
  } else {
    if (step.detail) work.push(line(step.detail, "source"));
    if (one.place) work.push(note(`→ stands at ${one.place}.`));
  }
  if (out) work.push(note(`${step.name} is left out: ${one.note || "no reason charted"}.`));
  else {
    work.push(make("p", { className: "source" }, [make("b", { textContent: "Impedance, kΩ " }), `limit ${acts.data.limit_words}`]), tiles);
    if (high) work.push(note(`${kohm} is above ${limit}. Never abrade broken or sore skin to lower it.`, "doubt"));
  }
  const name = isLead ? step.title : step.name;
  const text = out ? `${step.name} is left out` : isLead ? (one.place || kohm !== undefined ? `${name} is charted` : `No ${step.name === "ECG" ? "ECG" : step.name} charted`) : `${step.done}${kohm !== undefined ? `, ${kohm} kΩ` : ""}`;
  const others: HTMLElement[] = [];
  if (!isLead) {
    others.push(out
      ? button("Not left out", () => keep({ applied: undefined as never, note: "" }, `${step.name} not left out`), "skip")
      : button("Left out", () => acts.open(choose(step, acts, `Left out: ${step.name}`, "Why?", WHY_OUT, (why) => acts.finish(step, charted(acts.notes, step, { name: step.name, applied: false, note: why }), `${step.name} left out`))), "skip"));
    if (!out) others.push(button("Moved", () => acts.open(choose(step, acts, `${step.name} stands elsewhere`, "At which site, or where?", [], (place) => keep({ place, applied: true }, `${step.name} at ${place}`))), "skip"));
  }
  return {
    work,
    main: { text, press: () => acts.finish(step, out || isLead ? acts.notes : charted(acts.notes, step, { ...one, applied: true }), text) },
    others,
  };
}

/** A word from a few, or typed. */
function choose(step: Step, acts: Acts, heading: string, asked: string, words: readonly string[], taken: (word: string) => void): Panel {
  const field = make("input", { type: "text" });
  field.setAttribute("aria-label", asked);
  return {
    work: [title(heading), line(asked), make("div", { className: "choices" }, [...words.map((word) => button(word, () => taken(word), "key")), field])],
    main: { text: "Chart it", press: () => (field.value.trim() ? taken(field.value.trim()) : field.focus()) },
    others: [button("Not so", () => acts.go(step.key), "skip")],
  };
}

function moreKohm(step: Step, acts: Acts, taken: (value: number) => void): Panel {
  const box = make("output", { className: "typed", textContent: "–" });
  const pad = new Pad("cm", (text) => (box.textContent = text || "–"));
  return {
    work: [title(`${step.name}, kΩ`), make("div", { className: "box" }, [box, make("span", { textContent: "kΩ" })]), pad.element],
    main: {
      text: "Use it", press: () => {
        const value = Number(pad.text);
        if (pad.text && Number.isFinite(value) && value <= 1000) taken(value);
      },
    },
    others: [button("Not so", () => acts.go(step.key), "skip")],
    key: (key) => {
      pad.press(key);
      return /^[0-9.,]$|^Backspace$/.test(key);
    },
  };
}

function list(said: readonly string[], none: string): HTMLElement {
  return said.length ? make("ul", { className: "said" }, said.map((text) => make("li", { textContent: text }))) : line(none);
}

function impedances(step: Step, acts: Acts): Panel {
  const { high, uneven } = impedanceFindings(acts.data, acts.notes);
  const said = [...high.map((one) => `? above the limit: ${one}`), ...uneven.map((one) => `? not balanced: ${one}`)];
  const sites = (acts.notes.record.sites ?? []).filter((one) => one.impedance_kohm !== undefined).length;
  return {
    work: [
      title(step.title), line(step.line), list(said, sites ? "All are within the limit and balanced." : "No impedance is charted yet."),
      line(`Limit: ${acts.data.limit_words}. Balance: ${acts.data.balance_words}.`, "source"),
    ],
    main: { text: step.done, press: () => acts.finish(step, acts.notes, step.done) },
    others: [],
  };
}

function changes(step: Step, acts: Acts): Panel {
  const { record } = acts.notes;
  const own = (record.sites ?? []).flatMap((one) => [
    ...(one.applied === false ? [`${one.name} left out${one.note ? `: ${one.note}` : ""}`] : []), ...(one.place ? [`→ ${one.name} stands at ${one.place}`] : []),
  ]);
  return {
    work: [title(step.title), line(step.line), list([...acts.data.changes, ...own], "Nothing was moved or left out.")],
    main: { text: step.done, press: () => acts.finish(step, acts.notes, step.done) },
    others: [],
  };
}

function finish(step: Step, acts: Acts): Panel {
  const { record } = acts.notes;
  const field = (label: string, value: string): [HTMLElement, HTMLInputElement] => {
    const input = make("input", { type: "text", value });
    return [make("label", { className: "field" }, [label, input]), input];
  };
  const now = new Date();
  const two = (value: number): string => String(value).padStart(2, "0");
  const when = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())} ${two(now.getHours())}:${two(now.getMinutes())}`;
  const [by, who] = field("Done by", record.done_by ?? "");
  const [on, date] = field("Done on", record.done_on || when);
  const [after, skin] = field("Skin after removal", record.skin_after ?? "");
  const [more, words] = field("Note", record.note ?? "");
  const taken = (): Notes => {
    let notes = acts.notes;
    for (const [name, input] of [["done_by", who], ["done_on", date], ["skin_after", skin], ["note", words]] as const) notes = withText(notes, name, input.value.trim());
    return notes;
  };
  return {
    work: [title(step.title), line(step.line), by, on, after, more],
    main: {
      text: step.done, press: () => {
        acts.finish(step, taken(), "who and when");
        acts.carry();
      },
    },
    others: [],
  };
}
