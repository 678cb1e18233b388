// A lesson on the stage: one step after the other, by button, key, remote and swipe.
import { button, make } from "../dom";
import { FIRST, type LessonData } from "./data";
import { Dial } from "./dial";
import { Picture } from "./picture";
import { Readings } from "./readings";
import { tellIn } from "./tape";
import { cards, exchange, Profile, question, type Answering } from "./tasks";

const SWIPE_PX = 60;
const HOLD_PX = 70; // so near to the drawn skin a touch takes the finger along

const TURNS: Readonly<Record<string, readonly [number, number]>> = { ArrowLeft: [-10, 0], ArrowRight: [10, 0], ArrowUp: [0, 10], ArrowDown: [0, -10] };
const KEYS =
  "Keys: right and left, Page Down and Page Up, space: a step. Shift and arrows, a mouse or two fingers: turn the head. F full screen, N notes, " +
  "D dark, B black, A to D answer; arrows on a handle move it.";

/** A number stays with its unit, a derivation in one piece. */
const together = (words: string, spaces = true): string => (spaces ? words.replaceAll(" ", "\u00a0") : words).replace(/(\w)-(?=[A-Z])/g, "$1\u2011");

export class Player {
  readonly picture: Picture;
  at = -1;
  dial: Dial | null = null;
  private readonly caption = make("p", { className: "caption" });
  private readonly kept = make("p", { className: "kept-free" });
  private readonly heading = make("h2");
  private readonly figure = make("div", { className: "picture" });
  private readonly aside = make("aside");
  private readonly notes = make("section", { className: "notes", hidden: true });
  private readonly dots: HTMLButtonElement[];
  private readonly back = button("◀", () => this.go(this.at - 1), "step");
  private readonly next = button("▶", () => this.go(this.at + 1), "step next");
  private readonly black = make("div", { className: "black", hidden: true });
  private asked: Answering | null = null;
  private readonly gone = new AbortController(); // of all that listens on the window

  constructor(readonly lesson: LessonData, host: HTMLElement, leave: (() => void) | null = null) {
    tellIn(lesson.unit);
    document.title = `${lesson.title} · headfit`;
    this.caption.setAttribute("aria-live", "polite");
    this.aside.setAttribute("aria-label", "Numbers and what to do");
    this.notes.setAttribute("aria-label", "Notes for the speaker");
    this.figure.setAttribute("role", "group");
    this.back.setAttribute("aria-label", "Step back");
    this.next.setAttribute("aria-label", "Next step");
    this.dots = lesson.steps.map((step, i) => {
      const dot = button(String(i + 1), () => this.go(i));
      dot.setAttribute("aria-label", `Step ${i + 1}: ${step.title}`);
      return dot;
    });
    const steps = make("nav", { className: "dots" }, this.dots);
    steps.setAttribute("aria-label", "Steps");
    const tools = make("div", { className: "tools" }, [
      ...(leave ? [button("lessons", () => this.leave(leave))] : []),
      button("full screen", () => this.fullScreen()), button("notes", () => this.toggleNotes()), button("dark / light", () => this.theme()), this.back, this.next]);
    const whose = make("span", { className: "whose", textContent: [lesson.head_label, ...lesson.cautions].join(". ") });
    host.append(make("main", { className: "lesson" }, [
      make("header", {}, [this.caption, this.kept]), this.figure, this.aside, this.notes,
      make("footer", {}, [make("div", { className: "titles" }, [make("h1", { textContent: lesson.title }), this.heading, whose]), steps, tools]),
    ]), this.black);
    this.picture = new Picture(this.figure, lesson);
    this.listen();
    this.go(Math.max(0, lesson.steps.findIndex((step) => `#${step.name}` === location.hash)));
  }

  go(to: number): void {
    const step = this.lesson.steps[to];
    if (!step || to === this.at) return;
    this.at = to;
    this.caption.replaceChildren(...step.caption.map(([words, computed]) => (computed ? make("b", { textContent: together(words) }) : together(words, false))));
    this.kept.textContent = step.cautions.join(" ");
    this.kept.hidden = !step.cautions.length;
    this.heading.textContent = step.title;
    this.figure.setAttribute("aria-label", `The head: ${step.title}`);
    this.dots.forEach((dot, i) => {
      dot.classList.toggle("done", i < to);
      dot.textContent = i < to ? "✓" : String(i + 1);
      if (i === to) dot.setAttribute("aria-current", "step");
      else dot.removeAttribute("aria-current");
    });
    this.back.disabled = to === 0;
    this.next.disabled = to === this.lesson.steps.length - 1;
    for (const old of this.figure.querySelectorAll(".handle, .profile")) old.remove();
    const readings = new Readings(step);
    const profile = step.profile ? new Profile(step.profile) : null;
    this.dial = step.dial
      ? new Dial(step.dial, profile ? null : this.picture, () => {
          const dial = this.dial!;
          readings.follow(dial.mix);
          if (profile) profile.follow(dial.values[0]!);
          else this.picture.follow(dial.mix, dial.grown);
        })
      : null;
    this.asked = step.asked ? question(step.asked, (name) => this.go(this.lesson.steps.findIndex((each) => each.name === name))) : null;
    this.aside.replaceChildren(
      ...(this.dial ? [this.dial.element] : []), readings.element,
      ...(step.cards.length ? [cards(step.cards)] : []), ...(this.asked ? [this.asked.element] : []),
      ...(step.exchange ? [exchange(step.exchange, step.old_names, (names) => this.point(names))] : []));
    this.figure.classList.toggle("drawn", profile !== null);
    this.figure.parentElement!.classList.toggle("alone", [...this.aside.children].every((each) => !each.childElementCount));
    this.fillNotes();
    this.picture.show(step);
    if (profile) this.figure.append(this.touchable(profile));
    if (this.dial?.handle) this.figure.append(this.dial.handle);
    this.picture.held = () => this.dial?.place ?? null;
    this.picture.onProjected = () => this.dial?.follow();
    if (this.dial) {
      this.dial.refresh();
      this.dial.run();
    } else this.picture.follow(FIRST, 1);
    history.replaceState(null, "", `#${step.name}`);
  }

  private point(names: ReadonlySet<string>): void {
    this.picture.chosen = names;
    this.picture.project();
  }

  private touchable(profile: Profile): SVGSVGElement {
    const svg = profile.element;
    const follow = (event: PointerEvent): void => this.dial?.set(0, profile.nearest(event));
    svg.onpointerdown = (event) => {
      if (profile.gap(event) > HOLD_PX) return;
      svg.setPointerCapture(event.pointerId);
      event.stopPropagation();
      follow(event);
    };
    svg.onpointermove = (event) => {
      if (svg.hasPointerCapture(event.pointerId)) follow(event);
    };
    return svg;
  }

  private fillNotes(): void {
    const step = this.lesson.steps[this.at]!;
    const { about, sources, reminders } = this.lesson;
    this.notes.replaceChildren(make("p", { textContent: step.notes || about }), make("p", { className: "small", textContent: [about, ...sources, ...reminders].join(" ") }), make("p", { className: "small", textContent: KEYS }));
  }

  private toggleNotes(): void {
    this.notes.hidden = !this.notes.hidden;
  }

  private theme(): void {
    const dark = getComputedStyle(document.documentElement).colorScheme.includes("dark");
    document.documentElement.dataset["theme"] = dark ? "light" : "dark";
    this.picture.theme();
    this.picture.project();
  }

  private leave(then: () => void): void {
    this.gone.abort();
    this.picture.dispose();
    then();
  }

  private fullScreen(): void {
    if (document.fullscreenElement) void document.exitFullscreen();
    else void document.documentElement.requestFullscreen().catch(() => {});
  }

  private listen(): void {
    const { signal } = this.gone;
    addEventListener("keydown", (event) => this.key(event), { signal });
    this.black.onclick = () => (this.black.hidden = true);
    let from: PointerEvent | null = null;
    addEventListener("pointerdown", (event) => {
      const on = event.target as Element;
      from = event.pointerType === "touch" && event.isPrimary && !on.closest("button, input, label, .handle") ? event : null;
    }, { signal });
    addEventListener("pointerup", (event) => {
      if (!from || event.pointerId !== from.pointerId) return;
      const [dx, dy] = [event.clientX - from.clientX, event.clientY - from.clientY];
      from = null;
      if (Math.abs(dx) > SWIPE_PX && Math.abs(dx) > 2 * Math.abs(dy)) this.go(this.at + (dx < 0 ? 1 : -1));
    }, { signal });
    addEventListener("hashchange", () => this.go(this.lesson.steps.findIndex((step) => `#${step.name}` === location.hash)), { signal });
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.picture.theme(), { signal });
  }

  private key(event: KeyboardEvent): void {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const on = event.target as HTMLElement;
    const typing = on instanceof HTMLInputElement;
    const { key } = event;
    // The keys of a presenter's remote step from anywhere; arrows move what is in hand.
    if (key === "PageDown") this.go(this.at + 1);
    else if (key === "PageUp") this.go(this.at - 1);
    else if (typing) return;
    else if (event.shiftKey && TURNS[key]) this.picture.stage?.turn(...TURNS[key]);
    else if (key === "ArrowRight") this.go(this.at + 1);
    else if (key === "ArrowLeft") this.go(this.at - 1);
    else if (key === " " && on.tagName !== "BUTTON") this.go(this.at + 1);
    else if (key === "f" || key === "F") this.fullScreen();
    else if (key === "n" || key === "N") this.toggleNotes();
    else if ((key === "b" || key === "B" || key === ".") && !this.asked) this.black.hidden = !this.black.hidden;
    else if (this.asked?.answer(key)) return event.preventDefault();
    else if (key === "d" || key === "D") this.theme();
    else return;
    event.preventDefault();
  }
}
