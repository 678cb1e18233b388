// Tabs by the usual pattern: arrows go from one to the next, each panel has its heading in the tab.
import { make } from "./dom";

export class Tabs {
  readonly element = make("section", { className: "tabs" });
  private readonly list = make("div", { className: "tablist" });
  private readonly tabs: HTMLButtonElement[] = [];

  constructor(label: string, panels: readonly (readonly [id: string, title: string, panel: HTMLElement])[]) {
    this.list.setAttribute("role", "tablist");
    this.list.setAttribute("aria-label", label);
    this.element.append(this.list);
    for (const [id, title, panel] of panels) {
      const tab = make("button", { type: "button", id: `tab-${id}`, textContent: title });
      tab.setAttribute("role", "tab");
      tab.setAttribute("aria-controls", `panel-${id}`);
      tab.addEventListener("click", () => this.open(id));
      tab.addEventListener("keydown", (event) => {
        const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
        if (!step) return;
        event.preventDefault();
        const next = this.tabs[(this.tabs.indexOf(tab) + step + this.tabs.length) % this.tabs.length]!;
        this.open(next.id.slice(4));
        next.focus();
      });
      panel.id = `panel-${id}`;
      panel.classList.add("panel");
      panel.tabIndex = 0; // it scrolls
      panel.setAttribute("role", "tabpanel");
      panel.setAttribute("aria-labelledby", tab.id);
      this.tabs.push(tab);
      this.list.append(tab);
      this.element.append(panel);
    }
    this.open(panels[0]![0]);
  }

  open(id: string): void {
    for (const tab of this.tabs) {
      const chosen = tab.id === `tab-${id}`;
      tab.setAttribute("aria-selected", String(chosen));
      tab.tabIndex = chosen ? 0 : -1;
      const panel = this.element.querySelector<HTMLElement>(`#panel-${tab.id.slice(4)}`);
      if (panel) panel.hidden = !chosen;
    }
  }
}
