// Keys to type a number with a thumb: digits as on a phone, one key for point and comma; for inches a bar and a space.
import { button, make } from "../dom";
import type { Unit } from "./data";

export class Pad {
  readonly element = make("div", { className: "pad" });
  text = "";

  constructor(unit: Unit, private readonly changed: (text: string) => void) {
    const keys = ["1", "2", "3", "4", "5", "6", "7", "8", "9", unit === "inch" ? "space" : ".", "0", "back"];
    if (unit === "inch") keys.splice(9, 1, ".", "space", "/");
    this.element.classList.toggle("fractions", unit === "inch");
    this.element.append(...keys.map((key) => this.key(key)));
  }

  private key(key: string): HTMLButtonElement {
    const shown = { ".": ". ,", back: "⌫", space: "␣" }[key] ?? key;
    const made = button(shown, () => this.press(key), "key");
    const words = { ".": "point or comma", back: "take back a digit", space: "space", "/": "fraction bar" }[key];
    if (words) made.setAttribute("aria-label", words);
    return made;
  }

  press(key: string): void {
    if (key === "back" || key === "Backspace") this.text = this.text.slice(0, -1);
    else if (key === "space" || key === " ") this.text += this.text && !this.text.endsWith(" ") ? " " : "";
    else if (/^[0-9/.,]$/.test(key) && this.text.length < 8) this.text += key === "," ? "." : key;
    else return;
    this.changed(this.text);
  }
}
