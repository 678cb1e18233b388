// The chair as one file: the steps stand in the page already; where there is JavaScript, one at a time.
import "../tokens.css";
import "../drawings.css";
import "./chair.css";
import type { ChairData } from "./data";
import { DeviceKeeper } from "./keep";
import { ChairView, type Preferences } from "./view";

const NAME = "headfit-chair-looks";

function preferencesOf(data: ChairData): Preferences {
  const usual: Preferences = { unit: data.unit === "mm" ? "cm" : data.unit, left: false, theme: "" };
  try {
    return { ...usual, ...(JSON.parse(localStorage.getItem(NAME) ?? "{}") as Partial<Preferences>) };
  } catch {
    return usual;
  }
}

function start(): void {
  const data = JSON.parse(document.getElementById("headfit-chair")!.textContent ?? "") as ChairData;
  const preferences = preferencesOf(data);
  const look = (): void => {
    const root = document.documentElement;
    if (preferences.theme) root.dataset["theme"] = preferences.theme;
    else delete root.dataset["theme"];
    root.dataset["hand"] = preferences.left ? "left" : "right";
  };
  const drawings = new Map<string, SVGElement>();
  for (const figure of document.querySelectorAll<HTMLElement>("[data-drawing]")) {
    const svg = figure.querySelector("svg");
    if (svg) drawings.set(figure.dataset["drawing"]!, svg);
  }
  const words = new Map([...document.querySelectorAll<HTMLElement>("[data-drawing]")].map((each) => [each.dataset["drawing"]!, each.querySelector("figcaption")?.textContent ?? ""]));
  const keeper = new DeviceKeeper(data, () => view.refresh());
  const view = new ChairView({
    data, keeper, preferences,
    drawing: (key) => drawings.get(key) ?? null,
    words: (key) => words.get(key) ?? "",
    prefer: () => {
      look();
      try {
        localStorage.setItem(NAME, JSON.stringify(preferences));
      } catch {
        // Looks are not worth a word.
      }
    },
  });
  look();
  document.getElementById("list")!.remove();
  document.body.className = "at-chair";
  document.body.append(view.element);
  view.start();
  (window as unknown as { headfit: unknown }).headfit = { chair: view };
}

start();
