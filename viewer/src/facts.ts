// What is known of the person and how the sites are placed: a closed line that opens into a small form.
import type { CaseData, Start } from "./api";
import type { Change } from "./changes";
import { choice, labelled, make, refuse } from "./dom";

const RULES: Readonly<Record<string, string>> = {
  curve: "Curve of an arc",
  inner: "F3, F4, P3, P4 by",
  temporal: "T7, T8 by",
  inferior: "Row 9/10 by",
  length: "Tape runs",
};

const OPTIONS: Readonly<Record<string, string>> = {
  "curve plane": "plane section", "curve shortest": "shortest path on the skin",
  "inner row": "a quarter of the row", "inner parasagittal": "a quarter of the parasagittal arc", "inner crossing": "where both planes cross",
  "temporal coronal": "10 % of the coronal arc", "temporal ring": "middle of the half ring",
  "inferior system": "the system", "inferior row": "going on along the row", "inferior contour": "tenths of the lowest contour",
  "length taut": "pulled tight", "length skin": "along the skin",
};

export class Facts {
  readonly element: HTMLDetailsElement;
  private readonly line = make("span");
  private readonly texts = new Map<string, HTMLInputElement>();
  private readonly age = make("input", { type: "text", id: "age", autocomplete: "off", maxLength: 40 });
  private readonly ageWhy = make("span", { className: "reason", id: "age-why", hidden: true });
  private readonly oldNames = make("input", { type: "checkbox", id: "old-names" });
  private readonly sex: HTMLSelectElement;
  private readonly system: HTMLSelectElement;
  private readonly unit: HTMLSelectElement;
  private readonly doubts = new Map<string, HTMLInputElement>();
  private readonly rules = new Map<string, HTMLSelectElement>();
  private readonly icons = new Map<string, HTMLElement>();
  private readonly flat = make("span", { className: "icon" });

  constructor(private readonly start: Start, private readonly change: (change: Change) => void) {
    const ages = make("datalist", { id: "ages" }, ["adult", "newborn", "3 weeks", "6 months", "18 months", "5 years", "10 years"].map((text) => make("option", { value: text })));
    this.age.setAttribute("list", ages.id);
    this.age.setAttribute("aria-describedby", "age-hint age-why");
    this.age.addEventListener("change", () => change({ age: this.age.value.trim() }));
    this.oldNames.addEventListener("change", () => change({ old_names: this.oldNames.checked }));
    const age = labelled("Age", this.age);
    age.append(make("span", { id: "age-hint", textContent: "adult, or weeks, months, years" }), this.ageWhy);
    this.sex = choice([["", "not given"], ...start.sexes.map((sex) => [sex, sex] as const)], (value) => change({ sex: value || null }));
    this.system = choice(start.systems.map((system) => [system, system] as const), (system) => change({ system }));
    this.unit = choice(Object.keys(start.units).map((unit) => [unit, unit] as const), (unit) => change({ unit }));
    const fields = make("div", { className: "fields" }, [
      this.text("label", "Case label", "field wide"), age, labelled("Sex", this.sex), labelled("Sites", this.system),
      labelled("Tape read in", this.unit), this.text("measured_by", "Measured by"), this.text("measured_on", "Measured on"), this.text("note", "Note", "field wide"),
      make("label", { className: "wide check" }, [this.oldNames, " old names too: T3 T4 T5 T6 beside T7 T8 P7 P8"]), ages,
    ]);
    const doubt = make("fieldset", {}, [make("legend", { textContent: "Hard to find on this head" })]);
    for (const landmark of start.landmarks) {
      const box = make("input", { type: "checkbox" });
      box.addEventListener("change", () => change({ doubtful: [...this.doubts].filter(([, each]) => each.checked).map(([name]) => name) }));
      this.doubts.set(landmark.name, box);
      const icon = make("span", { className: "icon" });
      this.icons.set(landmark.name, icon);
      doubt.append(make("label", {}, [icon, box, ` ${landmark.title}`]));
    }
    doubt.append(make("span", { className: "flat" }, [this.flat, "flat inion: where the ridges from behind both ears meet"]));
    const rules = make("details", {}, [make("summary", { textContent: "Rules of placement" })]);
    for (const [name, options] of Object.entries(start.rules)) {
      const select = choice(options.map((option) => [option, OPTIONS[`${name} ${option}`] ?? option] as const), (value) => change({ rules: { [name]: value } }));
      this.rules.set(name, select);
      rules.append(labelled(RULES[name] ?? name, select));
    }
    this.element = make("details", { className: "facts" }, [make("summary", {}, [make("b", { textContent: "Case " }), this.line]), fields, doubt, rules]);
  }

  private text(name: string, title: string, look = "field"): HTMLElement {
    const input = make("input", { type: "text", autocomplete: "off", maxLength: 300 });
    input.addEventListener("change", () => this.change({ [name]: input.value }));
    this.texts.set(name, input);
    return labelled(title, input, look);
  }

  /** Ask what the case is called; Enter goes on. */
  begin(next: () => void): void {
    this.element.open = true;
    const label = this.texts.get("label")!;
    label.focus();
    label.select();
    label.onkeydown = (event) => {
      if (event.key !== "Enter") return;
      label.dispatchEvent(new Event("change"));
      this.element.open = false;
      next();
    };
  }

  /** Where each landmark is felt, as SVG by its name. */
  drawn(drawings: Readonly<Record<string, string>>): void {
    for (const [name, icon] of this.icons) icon.innerHTML = drawings[name] ?? "";
    this.flat.innerHTML = drawings["flat inion"] ?? "";
  }

  /** Say beside the age why it is not used. */
  refuse(text: string): void {
    refuse(this.age, this.ageWhy, text);
  }

  show(data: CaseData): void {
    for (const [name, input] of this.texts) {
      if (document.activeElement !== input) input.value = data[name as "label"];
    }
    if (document.activeElement !== this.age || this.age.value !== data.age_words) this.age.value = data.age_words;
    this.ageWhy.hidden = true;
    this.age.removeAttribute("aria-invalid");
    this.oldNames.checked = data.old_names;
    this.sex.value = data.sex ?? "";
    this.system.value = data.system;
    this.unit.value = data.unit;
    this.doubts.forEach((box, name) => (box.checked = data.doubtful.includes(name)));
    this.rules.forEach((select, name) => (select.value = data.rules[name] ?? ""));
    const titles = this.start.landmarks.filter((each) => data.doubtful.includes(each.name)).map((each) => each.title);
    const told = [data.age_words, data.sex ?? "", `sites ${data.system}`];
    if (titles.length) told.push(`hard to find: ${titles.join(", ")}`);
    if (data.invented) told.push("invented data");
    this.line.textContent = told.filter(Boolean).join(" · ");
  }
}
