// Numbers beside the head: large ones, bars that carry numbers, and two halves of a tape on a beam.
import { make } from "../dom";
import { tape, tapeUnit } from "./tape";
import { called, mixed, nearest, type BalanceData, type Mix, type ReadingData, type StepData } from "./data";

const LEVEL_CM = 0.1; // as a tape is read

/** What is in centimetres is a length on a tape. */
const told = (reading: ReadingData, value: number): string => (reading.unit === "cm" ? tape(value) : value.toFixed(reading.digits));
const unitOf = (unit: string): string => (unit === "cm" ? tapeUnit() : unit);

/** All numbers of a step; `follow` sets them. */
export class Readings {
  readonly element = make("div", { className: "readings" });
  private readonly follows: ((mix: Mix) => void)[] = [];

  constructor(step: StepData) {
    const bars = step.readings.filter((each) => each.look === "bar");
    for (const reading of step.readings) if (reading.look !== "bar" && reading.look !== "plain") this.element.append(this.large(reading));
    if (bars.length) this.element.append(this.bars(bars, step));
    const plain = step.readings.filter((each) => each.look === "plain");
    if (plain.length) this.element.append(make("dl", { className: "plain" }, plain.map((each) => this.plain(each))));
    for (const balance of step.balances) this.element.append(this.balance(balance));
    if (step.balances.length) this.element.append(this.verdict(step.balances));
    if (step.said.length) this.element.append(this.said(step.said));
    for (const line of step.beside) this.element.append(make("p", { className: "beside", textContent: line }));
  }

  follow(mix: Mix): void {
    for (const each of this.follows) each(mix);
  }

  private large(reading: ReadingData): HTMLElement {
    const number = make("b");
    this.follows.push((mix) => (number.textContent = told(reading, mixed(reading.values, mix))));
    return make("p", { className: `number ${reading.look}` }, [make("span", { className: "label", textContent: reading.label }), number, make("span", { textContent: unitOf(reading.unit) })]);
  }

  private bars(readings: readonly ReadingData[], step: StepData): HTMLElement {
    const most = Math.max(1, ...readings.flatMap((each) => each.values.map(Math.abs)));
    const rows = readings.map((reading) => {
      const bar = make("i");
      const number = make("b");
      this.follows.push((mix) => {
        const value = Math.abs(mixed(reading.values, mix));
        bar.style.width = `${((100 * value) / most).toFixed(1)}%`;
        number.textContent = told(reading, value);
      });
      return make("li", {}, [make("span", { textContent: called(reading.label, step.old_names) }), make("span", { className: "track" }, [bar]), number]);
    });
    const unit = readings[0]!.unit;
    const title = step.dial?.kind === "guesses" ? "farthest guess, mm" : unit === "mm" ? "moved by, mm" : `length, ${unitOf(unit)}`;
    const both = readings.some((each) => each.label in step.old_names);
    return make("div", { className: unit !== "mm" ? "bars wide" : both ? "bars both" : "bars" }, [make("p", { className: "unit-of", textContent: title }), make("ul", {}, rows)]);
  }

  private plain(reading: ReadingData): HTMLElement {
    const number = make("dd");
    this.follows.push((mix) => (number.textContent = `${told(reading, Math.abs(mixed(reading.values, mix)))} ${unitOf(reading.unit)}`));
    return make("div", {}, [make("dt", { textContent: reading.label }), number]);
  }

  private balance(balance: BalanceData): HTMLElement {
    const [one, other, first] = [make("b"), make("b"), make("i", { className: "first" })];
    const said = make("em");
    const beam = make("div", { className: "beam" }, [first, make("i", { className: "second" }), make("u")]);
    const box = make("div", { className: "balance" }, [
      make("p", {}, balance.labels.map((label) => make("span", { textContent: label }))), beam, make("p", { className: "halves" }, [one, other]), said]);
    this.follows.push((mix) => {
      const [a, b] = [mixed(balance.first_cm, mix), mixed(balance.second_cm, mix)];
      first.style.width = `${((100 * a) / (a + b)).toFixed(1)}%`;
      [one.textContent, other.textContent] = [tape(a), tape(b)];
      const level = Math.abs(a - b) < LEVEL_CM;
      box.classList.toggle("level", level);
      said.textContent = level ? "✓ level" : `${tape(Math.abs(a - b))} ${balance.longer[a > b ? 0 : 1]}`;
    });
    return box;
  }

  private verdict(balances: readonly BalanceData[]): HTMLElement {
    const said = make("p", { className: "verdict" });
    said.setAttribute("role", "status");
    this.follows.push((mix) => {
      const level = balances.every((each) => Math.abs(mixed(each.first_cm, mix) - mixed(each.second_cm, mix)) < LEVEL_CM);
      const words = level ? "✓ Both level: this is Cz." : "";
      if (said.textContent !== words) said.textContent = words;
    });
    return said;
  }

  private said(words: readonly string[]): HTMLElement {
    const said = make("p", { className: "said-now" });
    said.setAttribute("role", "status");
    this.follows.push((mix) => {
      const now = words[nearest(mix)] ?? "";
      if (said.textContent !== now) said.textContent = now;
    });
    return said;
  }
}
