// The bar under the head: looks and layers. Every control is a plain button or check box.
import type { Legend, SceneData } from "./data";
import { make } from "./dom";
import type { Viewer } from "./viewer";

export function controls(legend: Legend, viewer: Viewer): HTMLElement {
  const bar = document.createElement("div");
  bar.className = "viewbar";
  const looks = group("Look from");
  Object.entries(legend.cameras).forEach(([name, camera], i) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = camera.title;
    button.dataset["look"] = name;
    button.title = `key ${i + 1} when the head has the focus`;
    button.addEventListener("click", () => viewer.look(name));
    looks.append(button);
  });
  const layers = document.createElement("details");
  layers.className = "layers";
  const summary = document.createElement("summary");
  summary.textContent = "Layers";
  const list = group("Layers");
  for (const [name, title] of Object.entries(legend.layers)) {
    const label = document.createElement("label");
    const box = document.createElement("input");
    box.type = "checkbox";
    box.checked = true;
    box.dataset["layer"] = name;
    box.addEventListener("change", () => viewer.show(name, box.checked));
    label.append(box, ` ${title}`);
    list.append(label);
  }
  layers.append(summary, list);
  bar.append(looks, layers);
  return bar;
}

/** What the bodies on the head mean. */
export function key(legend: Legend, scene: SceneData): HTMLElement {
  const list = document.createElement("ul");
  list.className = "key";
  list.setAttribute("aria-label", "Meaning of the marks");
  const tell = (look: string, colour: string, words: string): void => {
    const swatch = make("i", { className: `swatch ${look}` });
    swatch.style.setProperty("--c", colour);
    list.append(make("li", {}, [swatch, words]));
  };
  const present = new Set(scene.sites.map((site) => site.state));
  for (const name of Object.keys(legend.states).filter((each) => present.has(each))) {
    const state = legend.states[name]!;
    tell(state.body, state.colour, name === "planned" ? state.words : `${state.sign} ${state.words}`);
  }
  if (scene.ellipses.length) tell("ring", legend.line_colours.uncertainty, "the site lies inside, 95 % sure");
  if (scene.regions.length) tell("rim", legend.line_colours.regions, "must stay free");
  return list;
}

function group(label: string): HTMLElement {
  const element = document.createElement("div");
  element.className = "group";
  element.setAttribute("role", "group");
  element.setAttribute("aria-label", label);
  return element;
}
