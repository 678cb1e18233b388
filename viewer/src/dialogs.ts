// Questions that need an answer: open, export, conflict. Native dialogs keep the focus inside and Escape closes them.
import { button, make } from "./dom";

/** Show choices; the promise holds the chosen value, or null when it was closed. */
export function ask(
  title: string, text: string, choices: readonly (readonly [value: string, label: string, note?: string])[], more: HTMLElement | null = null,
): Promise<string | null> {
  return new Promise((resolve) => {
    let chosen: string | null = null;
    const heading = make("h2", { textContent: title, id: "dialog-title" });
    const dialog = make("dialog", {}, [heading]);
    dialog.setAttribute("aria-labelledby", heading.id);
    if (text) dialog.append(make("p", { textContent: text }));
    const list = make("ul", { className: "choices" });
    for (const [value, label, note] of choices) {
      const item = make("li", {}, [button(label, () => { chosen = value; dialog.close(); })]);
      if (note) item.append(make("code", { textContent: note }));
      list.append(item);
    }
    if (more) dialog.append(more);
    dialog.append(list, button("close", () => dialog.close()));
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve(chosen);
    });
    document.body.append(dialog);
    dialog.showModal();
  });
}
