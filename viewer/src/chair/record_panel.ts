// The set-up record beside the head: what it asks to look at, and its entries to be typed.
import type { State } from "../api";
import type { Change } from "../changes";
import { button, labelled, make, sentences } from "../dom";
import type { Electrode, RecordTable } from "./data";

const TEXTS = [
  ["done_by", "Done by"], ["done_on", "Done on"], ["type", "Kind of electrode"], ["material", "Material"], ["skin_before", "Skin before"],
  ["skin_after", "Skin after"], ["note", "Note"],
] as const;

export class RecordPanel {
  readonly element = make("div");
  private readonly said = make("div");
  private readonly texts = new Map<string, HTMLInputElement>();
  private readonly limit = make("input", { type: "text", inputMode: "decimal" });
  private readonly balance = make("input", { type: "text", inputMode: "decimal" });
  private readonly table = make("table");
  private record: RecordTable = {};
  private names: readonly string[] = [];

  constructor(private readonly change: (change: Change) => void, chair: () => void) {
    const fields = make("div", { className: "fields" });
    for (const [name, title] of TEXTS) {
      const input = make("input", { type: "text", autocomplete: "off", maxLength: 300 });
      input.addEventListener("change", () => this.put({ [name]: input.value.trim() }));
      this.texts.set(name, input);
      fields.append(labelled(title, input));
    }
    for (const [input, name, title] of [[this.limit, "limit_kohm", "Highest impedance, kΩ"], [this.balance, "balance_kohm", "Largest difference, kΩ"]] as const) {
      input.addEventListener("change", () => this.put({ [name]: input.value.trim() ? number(input.value) : undefined }));
      fields.append(labelled(title, input));
    }
    const open = make("details", {}, [make("summary", { textContent: "Of the set-up as a whole" }), fields]);
    this.element.append(
      make("div", { className: "group" }, [button("Chart it at the chair", chair)]), this.said, open, make("div", { className: "scroll" }, [this.table]),
    );
  }

  private put(entries: Partial<Record<keyof RecordTable, unknown>>): void {
    const record: RecordTable = { ...this.record, ...(entries as RecordTable) };
    for (const [name, value] of Object.entries(record)) if (value === "" || value === undefined) delete record[name];
    this.change({ record });
  }

  private putSite(name: string, entries: Electrode): void {
    const sites = this.record.sites ?? [];
    const one = { ...(sites.find((each) => each.name === name) ?? { name }), ...entries };
    for (const key of Object.keys(one) as (keyof Electrode)[]) if (one[key] === "" || one[key] === undefined) delete one[key];
    if (one.applied === false) for (const key of ["place", "impedance_kohm"] as const) delete one[key];
    this.put({ sites: [...sites.filter((each) => each.name !== name), ...(Object.keys(one).length > 1 ? [one] : [])] });
  }

  show(state: State): void {
    const said = state.sentences["record"] ?? [];
    this.said.replaceChildren(said.length ? sentences(said) : make("p", { className: "quiet", textContent: "Nothing is charted, or nothing in it is to be looked at." }));
    this.record = state.case.record;
    for (const [name, input] of this.texts) if (document.activeElement !== input) input.value = String(this.record[name] ?? "");
    if (document.activeElement !== this.limit) this.limit.value = String(this.record.limit_kohm ?? "");
    if (document.activeElement !== this.balance) this.balance.value = String(this.record.balance_kohm ?? "");
    this.names = state.scene.sites.map((site) => site.name);
    if (!this.table.contains(document.activeElement)) this.fill();
  }

  private fill(): void {
    const head = make("thead", {}, [make("tr", {}, ["Site", "kΩ", "Stands at", "Left out", "Note"].map((text) => make("th", { scope: "col", textContent: text })))]);
    const rows = this.names.map((name) => {
      const one = this.record.sites?.find((each) => each.name === name) ?? {};
      const out = make("input", { type: "checkbox", checked: one.applied === false });
      out.setAttribute("aria-label", `${name} left out`);
      out.addEventListener("change", () => this.putSite(name, { applied: out.checked ? false : undefined as never }));
      const cell = (key: "impedance_kohm" | "place" | "note", words: string): HTMLElement => {
        const input = make("input", { type: "text", value: String(one[key] ?? ""), autocomplete: "off" });
        if (key === "impedance_kohm") input.inputMode = "decimal";
        input.setAttribute("aria-label", `${name}: ${words}`);
        input.addEventListener("change", () => {
          const text = input.value.trim();
          this.putSite(name, { [key]: (key === "impedance_kohm" && text ? number(text) : text) as never });
        });
        return make("td", { className: key === "impedance_kohm" ? "narrow" : "" }, [input]);
      };
      return make("tr", {}, [
        make("th", { scope: "row", textContent: name }), cell("impedance_kohm", "impedance in kΩ"), cell("place", "stands at"), make("td", {}, [out]), cell("note", "note"),
      ]);
    });
    this.table.replaceChildren(head, make("tbody", {}, rows));
  }
}

/** As typed; what is no number is the program's to refuse. */
const number = (text: string): unknown => {
  const value = Number(text.trim().replace(",", "."));
  return Number.isFinite(value) ? value : text.trim();
};
