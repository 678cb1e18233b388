// Put a viewer into a page: focusable, told in words, with its bar, and printable.
import { controls, key } from "./controls";
import { make } from "./dom";
import type { Legend, SceneData } from "./data";
import { Viewer, type ViewerEvents } from "./viewer";

export const KEYS =
  "Arrow keys turn the head, plus and minus zoom, 1 to 6 look from front, left, right, back, top and at the nasion, " +
  "n and p go to the next and previous site, Escape lets it go.";

export interface Placed {
  readonly viewer: Viewer;
  /** Tell the meaning of the marks that are there. */
  tell(scene: SceneData): void;
}

/** The viewer in `host`, with the captions of the scene where the page does not say them, or null when the browser cannot draw; then `host` says so. */
export function place(host: HTMLElement, legend: Legend, events: ViewerEvents, captioned = false): Placed | null {
  const stage = document.createElement("div");
  stage.className = "stage";
  stage.tabIndex = 0;
  stage.setAttribute("role", "application");
  stage.setAttribute("aria-roledescription", "head in 3D");
  stage.setAttribute("aria-label", "The head with its sites");
  const keys = document.createElement("p");
  keys.id = "view-keys";
  keys.className = "keys";
  keys.textContent = KEYS;
  stage.setAttribute("aria-describedby", keys.id);
  host.replaceChildren(stage);
  let viewer: Viewer;
  try {
    viewer = new Viewer(stage, legend, events);
  } catch (error) {
    const note = document.createElement("p");
    note.className = "note";
    note.textContent = "This browser cannot draw in 3D (no WebGL). Tables and line drawings hold every result.";
    host.replaceChildren(note);
    document.documentElement.dataset["no3d"] = String(error);
    return null;
  }
  const legendSlot = document.createElement("div");
  host.append(legendSlot, controls(legend, viewer), keys);
  printable(stage, viewer);
  const captions = make("p", { className: "told" });
  const tell = (scene: SceneData): void => {
    captions.textContent = scene.captions.map((text) => (text.endsWith(".") ? text : `${text}.`)).join(" ");
    legendSlot.replaceChildren(key(legend, scene), ...(captioned ? [captions] : []));
  };
  return { viewer, tell };
}

/** A WebGL canvas prints blank, since its buffer is gone by then: a 2-D copy stands in. */
function printable(host: HTMLElement, viewer: Viewer): void {
  const copy = document.createElement("canvas");
  copy.className = "printed";
  copy.setAttribute("aria-hidden", "true");
  host.append(copy);
  addEventListener("beforeprint", () => {
    viewer.stage.background("#ffffff");
    viewer.copyTo(copy);
    viewer.theme();
  });
}
