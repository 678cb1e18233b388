// The list of cases: by label and date, each with its picture, which comes when it is made.
import type { Program } from "./api";
import { button, make } from "./dom";

export interface CaseEntry {
  readonly name: string;
  readonly label: string;
  readonly date: string;
  readonly saved: boolean;
}

/** The name of the chosen file, or null when the list was closed. */
export function askForCase(program: Program, cases: readonly CaseEntry[], folder: string): Promise<string | null> {
  return new Promise((resolve) => {
    let chosen: string | null = null;
    const heading = make("h2", { textContent: "Open a case", id: "dialog-title" });
    const list = make("ul", { className: "cases" });
    const slots: [CaseEntry, HTMLElement][] = [];
    for (const entry of cases) {
      const picture = make("span", { className: "picture" });
      picture.setAttribute("aria-hidden", "true");
      const open = button("", () => {
        chosen = entry.name;
        dialog.close();
      });
      const words = make("span", {}, [
        make("strong", { textContent: entry.label }), make("small", { textContent: `${entry.date} · ${entry.saved ? entry.name : "not saved yet"}` }),
      ]);
      open.append(picture, words);
      list.append(make("li", {}, [open]));
      slots.push([entry, picture]);
    }
    const dialog = make("dialog", {}, [
      heading, make("p", { textContent: cases.length ? `Cases in ${folder}` : `No case lies in ${folder} yet.` }), list, button("close", () => dialog.close()),
    ]);
    dialog.setAttribute("aria-labelledby", heading.id);
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve(chosen);
    });
    document.body.append(dialog);
    dialog.showModal();
    void draw(program, slots, dialog);
  });
}

/** One after the other: a case that cannot be drawn has no picture, and opening it says why. */
async function draw(program: Program, slots: readonly [CaseEntry, HTMLElement][], dialog: HTMLDialogElement): Promise<void> {
  for (const [entry, slot] of slots) {
    if (!dialog.open) return;
    try {
      const { svg } = await program.get<{ svg: string }>(`picture?name=${encodeURIComponent(entry.name)}`);
      const holder = make("template");
      holder.innerHTML = svg;
      slot.append(holder.content);
    } catch {
      slot.textContent = "–";
    }
  }
}
