// What a class does beside dragging: answer, turn cards, find two exchanged marks, slide a finger up a drawing.
import { button, make } from "../dom";
import { tape, tapeUnit } from "./tape";
import { called, type AskedData, type ExchangeData, type OldNames, type ProfileData, type StepData } from "./data";

const LETTERS = "ABCDEFGH";

export interface Answering {
  readonly element: HTMLElement;
  /** Answer by a letter of the keyboard; false when there is no such answer. */
  answer(letter: string): boolean;
}

export function question(asked: AskedData, go: (step: string) => void): Answering {
  const said = make("p", { className: "why" });
  said.setAttribute("role", "status");
  const again = button("Look again", () => go(asked.again), "again");
  again.hidden = true;
  const options = asked.options.map((words, i) => {
    const verdict = make("em");
    const option = button("", () => choose(i), "option");
    option.append(make("b", { textContent: LETTERS[i]! }), make("span", { textContent: words }), verdict);
    return { option, verdict };
  });
  const choose = (i: number): void => {
    const right = i === asked.right;
    options.forEach(({ option, verdict }, k) => {
      option.classList.remove("wrong");
      if (k !== i) verdict.textContent = "";
      option.classList.toggle("right", right && k === i);
    });
    options[i]!.option.classList.toggle("wrong", !right);
    options[i]!.verdict.textContent = right ? "✓ right" : "not this one";
    said.textContent = right ? asked.why : "";
    again.hidden = right || !asked.again;
  };
  const text = make("h3", {}, asked.text.map(([words, computed]) => (computed ? make("b", { textContent: words }) : words)));
  const element = make("section", { className: "question" }, [text, ...options.map(({ option }) => option), said, again]);
  return {
    element,
    answer(letter) {
      const i = LETTERS.indexOf(letter.toUpperCase());
      if (i < 0 || i >= options.length) return false;
      choose(i);
      return true;
    },
  };
}

export function cards(pairs: StepData["cards"]): HTMLElement {
  const made = pairs.map(([front, back]) => {
    const card = button(front, () => {
      const turned = card.getAttribute("aria-pressed") === "true";
      card.setAttribute("aria-pressed", String(!turned));
      card.replaceChildren(make("b", { textContent: turned ? front : back }), make("span", { textContent: turned ? "old name" : "name today" }));
    }, "card");
    card.setAttribute("aria-pressed", "false");
    card.replaceChildren(make("b", { textContent: front }), make("span", { textContent: "old name" }));
    return card;
  });
  return make("div", { className: "cards" }, made);
}

/** Distances between neighbours as they are taped when two marks carry each other's names: find both. */
export function exchange(data: ExchangeData, old: OldNames, pointOut: (names: ReadonlySet<string>) => void): HTMLElement {
  let turn = Math.floor(Math.random() * data.exchanged.length);
  let tries = 0;
  let [solved, asked] = [0, 0];
  let picked = new Set<string>();
  const told = make("p", { className: "told-now" });
  told.setAttribute("role", "status");
  const score = make("p", { className: "score" });
  const list = make("ul", { className: "distances" });
  const next = button("Another mix-up", () => start(turn + 1), "main");
  const start = (at: number): void => {
    turn = at % data.exchanged.length;
    [tries, picked] = [0, new Set()];
    asked++;
    next.hidden = true;
    told.textContent = "Choose two names.";
    fill();
  };
  const fill = (): void => {
    const [a, b] = data.exchanged[turn]!;
    const who = (i: number): number => (i === a ? b : i === b ? a : i);
    // The worst rows first: what a class would tape again.
    const rows = data.neighbours.map(([i, j]) => ({ i, j, taped: data.apart_cm[who(i)]![who(j)]!, due: data.apart_cm[i]![j]! }));
    rows.sort((x, y) => Math.abs(y.taped - y.due) - Math.abs(x.taped - x.due));
    const shown = rows.slice(0, 10).sort((x, y) => x.i - y.i || x.j - y.j);
    list.replaceChildren(...shown.map((row) => make("li", {}, [
      name(row.i), name(row.j), make("b", { textContent: tape(row.taped) }), make("span", { textContent: `due ${tape(row.due)}` })])));
    score.textContent = `${solved} of ${asked} found at once`;
    pointOut(picked);
  };
  const name = (i: number): HTMLButtonElement => {
    const word = data.names[i]!;
    const pick = button(called(word, old), () => choose(word), "pick");
    pick.dataset["site"] = word;
    pick.setAttribute("aria-pressed", String(picked.has(word)));
    return pick;
  };
  const choose = (word: string): void => {
    if (!next.hidden) return;
    const had = picked.delete(word);
    if (!had && picked.size < 2) picked.add(word);
    if (picked.size < 2) {
      told.textContent = picked.size ? `${called([...picked][0]!, old)}, and which other?` : "Choose two names.";
      fill();
      refocus(word);
      return;
    }
    tries++;
    const right = data.exchanged[turn]!.map((i) => data.names[i]!);
    const found = right.every((each) => picked.has(each));
    if (found && tries === 1) solved++;
    told.textContent = found ? `✓ Found: ${right.join(" and ")} carry each other's names.` : "Not these two: look for the names that wrong rows share.";
    next.hidden = !found;
    if (!found) picked = new Set();
    fill();
    if (found) next.focus();
    else refocus(word);
  };
  const refocus = (word: string): void => [...list.querySelectorAll<HTMLButtonElement>(".pick")].find((each) => each.dataset["site"] === word)?.focus();
  start(turn);
  return make("section", { className: Object.keys(old).length ? "exchange both" : "exchange" }, [make("p", { className: "unit-of", textContent: `taped, ${tapeUnit()}` }), list, told, next, score]);
}

/** The schematic profile with a finger on it. */
export class Profile {
  readonly element = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  private readonly finger: SVGElement;

  constructor(private readonly data: ProfileData) {
    const path = data.points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L");
    const knob = data.knob ? "with a knob at the inion" : "without a knob";
    this.element.setAttribute("viewBox", "-25 28 160 96");
    this.element.setAttribute("class", "profile");
    this.element.setAttribute("role", "img");
    this.element.setAttribute("aria-label", `Schematic profile of the back of a head, ${knob}; nobody's`);
    const words = data.knob ? `<text x="50" y="82" class="name">the knob</text>` : `<text x="50" y="82" class="name">no knob</text>`;
    this.element.innerHTML =
      `<path class="fill" d="M-25 20L${data.points.at(-1)![0]} 20L${path.split("L").reverse().join("L")}L46 125L-25 125Z"/><path class="contour" d="M${path}"/>` +
      `<text x="37" y="112" class="name">neck</text><text x="69" y="46" class="name">back of the head</text>${words}` +
      `<text x="-22" y="121" class="told">a drawing, nobody's head</text>` +
      `<g class="finger"><path d="M3 -3.5 Q-1 -3.5 -1 0 Q-1 3.5 3 3.5 L34 6 L34 -6 Z"/><path d="M3.5 -2 Q6 -1.4 6 0 Q6 1.4 3.5 2" /></g>`;
    this.finger = this.element.querySelector(".finger")!;
  }

  /** Put the finger on a place along the profile. */
  follow(at: number): void {
    const i = Math.min(Math.floor(at), this.data.points.length - 2);
    const [a, b] = [this.data.points[i]!, this.data.points[i + 1]!];
    const share = at - i;
    const [x, y] = [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])];
    const angle = (Math.atan2(b[1] - a[1], b[0] - a[0]) * 180) / Math.PI + 90;
    this.finger.setAttribute("transform", `translate(${x.toFixed(2)} ${y.toFixed(2)}) rotate(${angle.toFixed(1)})`);
  }

  /** The place on the profile nearest to a pointer. */
  nearest(event: PointerEvent): number {
    return this.closest(event)[0];
  }

  /** How far from the drawn skin a pointer is, pixels. */
  gap(event: PointerEvent): number {
    return this.closest(event)[1];
  }

  private closest(event: PointerEvent): [place: number, gapPx: number] {
    const screen = this.element.getScreenCTM()!;
    let [best, far] = [0, Infinity];
    this.data.points.forEach(([x, y], i) => {
      const on = new DOMPoint(x, y).matrixTransform(screen);
      const gap = Math.hypot(on.x - event.clientX, on.y - event.clientY);
      if (gap < far) [best, far] = [i, gap];
    });
    return [best, far];
  }
}
