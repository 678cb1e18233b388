// The quiz: one question after the other, each on another head; scored here, kept on this device, sent nowhere.
import { button, make } from "../dom";
import type { Vec3 } from "../data";
import { called, FIRST, type DotsData, type LessonData, type StepData, type TapeData } from "./data";
import { Picture } from "./picture";
import { tape, tapeUnit, tellIn, typedCm } from "./tape";
import { Results, type QuizData, type QuizHead, type Row } from "./quizdata";

const NEAR_MM = 10; // about a third of a step of 10-10: a design choice, as the bands of a comparison
const NEAR_CM = 0.5; // the habit for measuring a tape again
const CROSS_PX = 8;

export type Kind = "click" | "name" | "apart" | "misread";

interface Question {
  readonly kind: Kind;
  readonly head: QuizHead;
  readonly text: string;
  /** Row of the site that is asked for, or of the first of two. */
  readonly site: number;
  readonly other: number;
}

const f4 = (values: readonly number[]): string => {
  const bytes = new Uint8Array(new Float32Array(values).buffer);
  return btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
};
const dot = (a: Vec3, b: Vec3): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const arcWords = (arc: string): string => (arc === "coronal" ? "the arc from ear to ear" : arc.startsWith("row") ? arc : `the ${arc}`);
const pick = <T>(all: readonly T[]): T => all[Math.floor(Math.random() * all.length)]!;

export class Quiz {
  readonly picture: Picture;
  readonly results = new Results();
  question!: Question;
  answered = false;
  private readonly host = make("main", { className: "lesson quiz" });
  private readonly caption = make("h1", { className: "caption" });
  private readonly figure = make("div", { className: "picture" });
  private readonly aside = make("aside");
  private readonly told = make("p", { className: "said-now" });
  private readonly score = make("p", { className: "score" });
  private readonly cross = make("div", { className: "cross", hidden: true });
  private asked: [right: number, all: number] = [0, 0];
  private turn = 0;
  private readonly gone = new AbortController();

  constructor(private readonly data: QuizData, body: HTMLElement, leave: (() => void) | null = null) {
    tellIn(data.unit);
    document.title = "Quiz · headfit";
    this.caption.setAttribute("aria-live", "polite");
    this.told.setAttribute("role", "status");
    this.aside.setAttribute("aria-label", "Answer");
    this.figure.setAttribute("role", "group");
    this.figure.tabIndex = 0;
    const notes = make("section", { className: "notes" }, [
      make("p", { className: "small", textContent: ["Heads are drawn by chance, nobody's. Answers stay on this device.", ...data.reminders].join(" ") })]);
    this.host.append(make("header", {}, [this.caption]), this.figure, this.aside, notes, make("footer", {}, [
      this.score, make("div", { className: "tools" }, [
        ...(leave ? [button("lessons", () => this.leave(leave))] : []),
        button("dark / light", () => this.theme()), button("results as CSV", () => this.handOut()), button("forget results", () => this.forget()),
        button("▶ next question", () => this.ask(), "step next")])]));
    body.append(this.host);
    const lesson = { ...data, name: "quiz", title: "Quiz", about: "", sources: [], head_label: "", cautions: [], steps: [] } as unknown as LessonData;
    this.picture = new Picture(this.figure, lesson);
    this.figure.append(this.cross);
    this.listen();
    this.ask();
  }

  /** Put a question: by chance, never twice on the same head in a row. */
  ask(kind?: Kind, head?: QuizHead): void {
    const kinds: readonly Kind[] = this.picture.stage ? ["click", "name", "apart", "misread"] : ["apart", "misread"];
    const others = this.data.heads.filter((each) => each !== this.question?.head);
    const of = head ?? pick(others.length ? others : this.data.heads);
    const chosen = kind ?? kinds[this.turn++ % kinds.length]!;
    const site = Math.floor(Math.random() * of.names.length);
    const near = of.names.map((_, i) => i).filter((i) => i !== site && of.apart_cm[site]![i]! < 2.6 * Math.min(...of.apart_cm[site]!.filter((cm) => cm > 0)));
    const other = pick(near);
    const [one, two] = [of.names[site]!, of.names[other]!].map((name) => called(name, this.data.old_names));
    const texts: Record<Kind, string> = {
      click: `Where is ${one}? Click there on the head.`,
      name: "Which site is this?",
      apart: `How far is ${one} from ${two} over the scalp of this head?`,
      misread: "One tape of this sheet was misread. Which?",
    };
    this.question = { kind: chosen, head: of, text: texts[chosen], site, other };
    this.answered = false;
    this.told.textContent = "";
    this.caption.textContent = this.question.text;
    this.figure.setAttribute("aria-label", chosen === "click" ? "The head: arrow keys move the cross, Enter marks" : "The head");
    this.cross.hidden = true;
    this.aside.replaceChildren(this.told, ...this.choices());
    this.show([]);
    this.tally();
  }

  private choices(): HTMLElement[] {
    const { kind, head, site } = this.question;
    if (kind === "name") {
      const near = head.names.map((name, i) => ({ name, far: head.apart_cm[site]![i]! })).sort((a, b) => a.far - b.far).slice(0, 4).map((each) => each.name);
      return [this.options(near.sort(), head.names[site]!)];
    }
    if (kind === "misread") {
      const { titles, readings_cm, usual_cm, misread } = head.sheet;
      const rows = titles.map((title, i) => {
        const option = button("", () => this.choose(title, titles[misread]!, rows), "option");
        option.append(make("span", { textContent: title }), make("em", { textContent: `${tape(readings_cm[i]!)} ${tapeUnit()}` }), make("small", { textContent: `average ${tape(usual_cm[i]!)}` }));
        option.dataset["answer"] = title;
        return option;
      });
      return [make("section", { className: "question sheet" }, rows)];
    }
    if (kind === "apart") {
      const input = make("input", { type: "text", inputMode: "decimal", autocomplete: "off" });
      const label = make("label", { className: "typed" }, [make("span", { textContent: `length, ${tapeUnit()}` }), input]);
      const form = make("form", { className: "question" }, [label, make("button", { type: "submit", className: "main", textContent: "That far" })]);
      form.onsubmit = (event) => {
        event.preventDefault();
        this.measured(input.value);
      };
      return [form];
    }
    return [];
  }

  private options(names: readonly string[], right: string): HTMLElement {
    const made = names.map((name) => {
      const option = button("", () => this.choose(name, right, made), "option");
      option.append(make("span", { textContent: name }));
      option.dataset["answer"] = name;
      return option;
    });
    return make("section", { className: "question" }, made);
  }

  private choose(name: string, right: string, options: readonly HTMLButtonElement[]): void {
    if (this.answered) return;
    for (const option of options) {
      option.classList.toggle("right", option.dataset["answer"] === right);
      option.classList.toggle("wrong", option.dataset["answer"] === name && name !== right);
    }
    const { kind, head, site } = this.question;
    const good = name === right;
    const why = kind === "misread" ? `The tape gives ${tape(head.sheet.right_cm)} ${tapeUnit()} there, as the other readings say.` : `${right}, on ${arcWords(head.arcs[site]!)}.`;
    this.done(good ? `✓ ${why}` : `Not ${name}. ${why}`, { answer: name, right, score: good ? 1 : 0 });
    if (kind === "name") this.show([head.tapes[head.arcs[site]!]!], true);
  }

  private measured(text: string): void {
    if (this.answered) return;
    const typed = typedCm(text);
    if (!Number.isFinite(typed)) {
      this.told.textContent = `Type a length in ${tapeUnit()}, such as ${tape(6.5)}.`;
      return;
    }
    const { head, site, other } = this.question;
    const due = head.apart_cm[site]![other]!;
    const off = typed - due;
    const good = Math.abs(off) <= NEAR_CM;
    this.done(`${good ? "✓ " : ""}It is ${tape(due)} ${tapeUnit()}; you are ${tape(Math.abs(off))} ${tapeUnit()} ${off < 0 ? "short" : "long"}.`,
      { answer: typed.toFixed(1), right: due.toFixed(1), score: good ? 1 : 0, off_mm: (10 * off).toFixed(0) });
    this.show([], true);
  }

  /** A place that was pointed at, on the skin. */
  marked(point: Vec3): void {
    if (this.answered || this.question.kind !== "click") return;
    const { head, site } = this.question;
    const at = head.points[site]!;
    const gap: Vec3 = [point[0] - at[0], point[1] - at[1], point[2] - at[2]];
    const [along, across] = [dot(gap, head.along[site]!), dot(gap, head.across[site]!)];
    const off = Math.hypot(...gap);
    const good = off <= NEAR_MM;
    const arc = head.arcs[site]!;
    this.done(
      `${good ? "✓ " : ""}${off.toFixed(0)} mm off: ${Math.abs(along).toFixed(0)} mm ${along < 0 ? "short" : "too far"} along ${arcWords(arc)}, ${Math.abs(across).toFixed(0)} mm ${across < 0 ? "right" : "left"} of it.`,
      { answer: "", right: head.names[site]!, score: good ? 1 : 0, off_mm: off.toFixed(1), along_mm: along.toFixed(1), across_mm: across.toFixed(1) });
    this.show([head.tapes[arc]!], true, point);
  }

  private done(words: string, row: Partial<Row>): void {
    this.answered = true;
    this.told.textContent = words;
    this.asked = [this.asked[0] + (row.score ?? 0), this.asked[1] + 1];
    const whole: Row = {
      at: new Date().toISOString(), head: this.question.head.label, question: this.question.text, answer: "", right: "", score: 0,
      off_mm: "", along_mm: "", across_mm: "", ...row,
    };
    this.results.add(whole);
    this.tally();
  }

  private tally(): void {
    this.score.textContent = `${this.question.head.label} · ${this.asked[0]} of ${this.asked[1]} right now · ${this.results.rows.length} answers kept on this device`;
  }

  /** The head of the question with what may be seen of it so far. */
  private show(tapes: readonly TapeData[], answered = false, marked?: Vec3): void {
    const { head, kind, site, other } = this.question;
    const named = kind === "apart" ? [site, other] : answered ? [site] : [];
    const dots: DotsData[] = [];
    const add = (look: DotsData["look"], rows: readonly number[], names: readonly string[], points = rows.map((i) => head.points[i]!), own?: readonly Vec3[]): void => {
      if (!rows.length) return;
      const track = (values: readonly (readonly number[])[]): { states: number; values: string } => ({ states: 1, values: f4(values.flat()) });
      dots.push({ look, names, told: [], named: true, points: track(points), normals: track(rows.map((i) => head.normals[i]!)), shown: ["1".repeat(rows.length)], own: own ? track(own) : null });
    };
    if (marked) add("guess", [site], [""], [marked], [head.points[site]!]);
    add("site", named, named.map((i) => head.names[i]!));
    if (kind === "name" && !answered) add("site", [site], ["?"]);
    const normal = head.normals[site]!;
    const toward: Vec3 = kind === "click" && !answered ? [normal[0] * 0.7 - 0.15, normal[1] * 0.7 + 0.1, Math.max(0.35, normal[2] * 0.6)] : [normal[0], normal[1], Math.max(0.15, normal[2])];
    const step = {
      name: kind, title: this.question.text, toward, focus_mm: head.focus_mm, height_mm: 1.07 * head.height_mm, contours: "", tapes, dots, outlines: [], old_names: {},
      vertices: head.vertices,
    } as unknown as StepData;
    if (answered) this.picture.keep(step);
    else this.picture.show(step, true); // another head: no way leads round it
    this.picture.follow(FIRST, 1);
  }

  private listen(): void {
    let from: [number, number] = [0, 0];
    this.figure.addEventListener("pointerdown", (event) => (from = [event.clientX, event.clientY]));
    this.figure.addEventListener("pointerup", (event) => {
      if (Math.hypot(event.clientX - from[0], event.clientY - from[1]) > 4) return; // the head was turned
      const at = this.picture.under(event);
      if (at) this.marked(at);
    });
    this.figure.addEventListener("keydown", (event) => this.steer(event));
    addEventListener("keydown", (event) => {
      if (event.key === "PageDown") this.ask();
    }, { signal: this.gone.signal });
  }

  private leave(then: () => void): void {
    this.gone.abort();
    this.picture.dispose();
    then();
  }

  /** The cross for who has no pointer. */
  private steer(event: KeyboardEvent): void {
    if (this.question.kind !== "click" || this.answered) return;
    const box = this.figure.getBoundingClientRect();
    const by = event.shiftKey ? 5 * CROSS_PX : CROSS_PX;
    const ways: Record<string, readonly [number, number]> = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, -by], ArrowDown: [0, by] };
    if (this.cross.hidden) {
      this.cross.hidden = false;
      this.cross.dataset["x"] = String(box.width / 2);
      this.cross.dataset["y"] = String(box.height / 2);
    }
    const [x, y] = [Number(this.cross.dataset["x"]), Number(this.cross.dataset["y"])];
    const way = ways[event.key];
    if (way) {
      this.cross.dataset["x"] = String(Math.min(Math.max(x + way[0], 0), box.width));
      this.cross.dataset["y"] = String(Math.min(Math.max(y + way[1], 0), box.height));
    } else if (event.key === "Enter") {
      const at = this.picture.under(new MouseEvent("click", { clientX: box.left + x, clientY: box.top + y }));
      if (at) this.marked(at);
      else this.told.textContent = "The cross is not on the head.";
    } else return;
    this.cross.style.transform = `translate(${this.cross.dataset["x"]}px,${this.cross.dataset["y"]}px)`;
    event.preventDefault();
  }

  private handOut(): void {
    const link = make("a", { href: URL.createObjectURL(new Blob([this.results.csv], { type: "text/csv" })), download: "headfit-quiz.csv" });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
  }

  private forget(): void {
    this.results.forget();
    this.asked = [0, 0];
    this.tally();
  }

  private theme(): void {
    const dark = getComputedStyle(document.documentElement).colorScheme.includes("dark");
    document.documentElement.dataset["theme"] = dark ? "light" : "dark";
    this.picture.theme();
    this.picture.project();
  }
}
