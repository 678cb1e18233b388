// Which side of the person lies at which edge of the picture, in words that never leave it.
import type { Vector3 } from "three";

const PLACES = ["left", "right", "top", "near"] as const;
type Place = (typeof PLACES)[number];

/** Words for each edge from the axes of the picture; headfit/output/cameras.py has the same rule. */
export function edgeWords(right: Vector3, up: Vector3, near: Vector3): Record<Place, string> {
  const top = Math.abs(up.y) > 0.7 ? (up.y > 0 ? "nose" : "back") : "";
  if (Math.abs(right.x) >= Math.abs(right.y)) {
    const right_ = right.x > 0 ? "R" : "L";
    return { left: right_ === "R" ? "L" : "R", right: right_, top, near: "" };
  }
  const nose = right.y > 0;
  const side = near.x > 0 ? "R" : "L";
  return { left: nose ? "back" : "nose", right: nose ? "nose" : "back", top, near: `${side} side (${side === "R" ? "L" : "R"} is behind)` };
}

export class Edges {
  readonly element = document.createElement("div");
  private readonly spans = new Map(PLACES.map((place) => [place, document.createElement("span")] as const));
  private told = "";

  constructor() {
    this.element.className = "edges";
    this.element.setAttribute("aria-hidden", "true"); // the looks are named on their buttons
    for (const [place, span] of this.spans) {
      span.className = `at-${place}`;
      this.element.append(span);
    }
  }

  show(right: Vector3, up: Vector3, near: Vector3): void {
    const words = edgeWords(right, up, near);
    const told = JSON.stringify(words);
    if (told === this.told) return;
    this.told = told;
    for (const [place, span] of this.spans) {
      span.textContent = words[place];
      span.hidden = !words[place];
    }
  }

  /** The same on a printed copy. */
  copyTo(context: CanvasRenderingContext2D, width: number, height: number): void {
    const at: Record<Place, [number, number]> = { left: [10, height / 2], right: [width - 40, height / 2], top: [width / 2 - 14, 8], near: [10, height - 22] };
    for (const [place, span] of this.spans) context.fillText(span.textContent ?? "", ...at[place]);
  }
}
