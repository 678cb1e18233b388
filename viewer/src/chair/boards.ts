// What opens over a step: what is left, the menu, and what is carried back into the case.
import { button, make } from "../dom";
import type { Unit } from "./data";
import { carried, isDone } from "./notes";
import { PART_TITLES, PARTS, type Surroundings, type ChairView } from "./view";

function board(heading: string, children: readonly Node[]): HTMLDialogElement {
  const close = button("Close", () => shown.close(), "close");
  const shown = make("dialog", { className: "board" }, [make("header", {}, [make("h2", { textContent: heading }), close]), ...children]);
  shown.setAttribute("aria-label", heading);
  shown.addEventListener("close", () => shown.remove());
  shown.addEventListener("click", (event) => event.target === shown && shown.close());
  document.querySelector(".chair")!.append(shown);
  shown.showModal();
  return shown;
}

export function openList(view: ChairView): void {
  const parts = PARTS.flatMap((part) => {
    const steps = view.steps.filter((step) => step.part === part && step.kind !== "pass");
    if (!steps.length) return [];
    const rows = steps.map((step) => {
      const done = isDone(view.notes, step);
      const made = button("", () => {
        shown.close();
        view.go(step.key);
      }, done ? "done" : "");
      made.append(make("span", { className: "tick", textContent: done ? "✓" : "" }), `${step.title}${step.title.toLowerCase().includes(step.name.toLowerCase()) ? "" : `: ${step.name}`}`);
      if (done) made.setAttribute("aria-label", `${made.textContent}, done`);
      return make("li", {}, [made]);
    });
    return [make("h3", { textContent: PART_TITLES[part] }), make("ol", { className: "all" }, rows)];
  });
  const shown = board(`${view.left} left`, parts);
}

export function openMenu(view: ChairView, around: Surroundings): void {
  const { preferences, keeper } = around;
  const choice = (label: string, options: readonly (readonly [string, string])[], now: string, taken: (value: string) => void): HTMLElement => {
    const group = make("div", { className: "units" }, options.map(([value, text]) => {
      const one = button(text, () => {
        taken(value);
        around.prefer();
        shown.close();
        view.refresh();
      });
      one.setAttribute("aria-pressed", String(value === now));
      return one;
    }));
    group.setAttribute("role", "group");
    group.setAttribute("aria-label", label);
    return make("div", { className: "choice" }, [make("span", { textContent: label }), group]);
  };
  const words = [...view.data.warnings, ...(keeper.trouble ? [keeper.trouble] : [])];
  const forget = button("Forget this case", () => {
    forget.textContent = "Press again to forget all that was done here";
    forget.onclick = () => {
      keeper.forget();
      shown.close();
    };
  }, "bad");
  const shown = board(view.data.label, [
    ...words.map((text) => make("p", { className: "note doubt" }, [make("span", { className: "sign", textContent: "?" }), make("span", { textContent: text })])),
    choice("Unit", [["cm", "cm"], ["inch", "inch"]], preferences.unit, (value) => (preferences.unit = value as Unit)),
    choice("Hand", [["right", "right hand"], ["left", "left hand"]], preferences.left ? "left" : "right", (value) => (preferences.left = value === "left")),
    choice("Colours", [["", "as the device"], ["light", "light"], ["dark", "dark"]], preferences.theme, (value) => (preferences.theme = value as "light" | "dark" | "")),
    ...(keeper.redo ? [button(`Make again: ${keeper.redo}`, () => { keeper.makeAgain(); shown.close(); })] : []),
    ...(keeper.alone ? [button("Carry back into the case", () => { shown.close(); openCarry(view); }), forget] : []),
    ...(around.leave ? [button("Back to the case", () => { shown.close(); around.leave!(); })] : []),
    make("p", { className: "reminder", textContent: view.data.reminder }),
  ]);
}

/** The notes as a small file, or as text to copy; nothing is sent anywhere. */
export function openCarry(view: ChairView): void {
  if (!view.carries) return;
  const text = carried(view.data, view.notes);
  const area = make("textarea", { rows: 6, readOnly: true, value: text });
  area.setAttribute("aria-label", "What was done, as text");
  const said = make("p", { textContent: "" });
  said.setAttribute("role", "status");
  const save = button("Save as a file", () => {
    const address = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    const link = make("a", { href: address, download: "chair-notes.json" });
    link.click();
    setTimeout(() => URL.revokeObjectURL(address), 10_000);
    said.textContent = "chair-notes.json was handed to the browser.";
  }, "main");
  const copy = button("Copy the text", () => {
    area.select();
    const done = (): void => void (said.textContent = "Copied.");
    if (navigator.clipboard) navigator.clipboard.writeText(text).then(done, () => (document.execCommand("copy") ? done() : undefined));
    else if (document.execCommand("copy")) done();
  });
  board("Carry back into the case", [
    make("p", {}, ["Nothing is sent anywhere. On the computer with the case: ", make("code", { textContent: "headfit record CASE.toml --from chair-notes.json -o CASE.toml" })]),
    make("div", { className: "choice" }, [save, copy]), said, area,
  ]);
}
