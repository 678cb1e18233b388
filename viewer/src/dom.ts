// Small makers of elements; text is always text.

type Children = readonly (Node | string)[];

export function make<K extends keyof HTMLElementTagNameMap>(
  tag: K, properties: Partial<HTMLElementTagNameMap[K]> = {}, children: Children = [],
): HTMLElementTagNameMap[K] {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...children);
  return element;
}

export const button = (text: string, press: () => void, className = ""): HTMLButtonElement =>
  make("button", { type: "button", textContent: text, className, onclick: press });

/** A label around a control. */
export const labelled = (text: string, control: HTMLElement, className = "field"): HTMLLabelElement =>
  make("label", { className }, [make("span", { textContent: text }), control]);

/** Say beside a control why its value is not used. */
export function refuse(control: HTMLElement, reason: HTMLElement, text: string): void {
  reason.textContent = `Not used: ${text}.`;
  reason.hidden = false;
  control.setAttribute("aria-invalid", "true");
}

export function choice(options: readonly (readonly [value: string, text: string])[], picked: (value: string) => void): HTMLSelectElement {
  const select = make("select", { onchange: () => picked(select.value) });
  select.append(...options.map(([value, text]) => make("option", { value, textContent: text })));
  return select;
}

export const sentences = (said: readonly string[], className = "said"): HTMLUListElement =>
  make("ul", { className }, said.map((text) => make("li", { textContent: text })));

export const byId = <T extends HTMLElement>(id: string): T => document.getElementById(id) as T;
