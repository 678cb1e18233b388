// The panels beside the head: comparison, derivations, places to keep free, shape.
import type { FreePlace, Start, State } from "./api";
import type { Change } from "./changes";
import type { Arrow, Vec3 } from "./data";
import { button, choice, labelled, make, sentences } from "./dom";
import { fill } from "./tables";


export interface PanelEvents {
  change(change: Change): void;
  /** Files of marks, read. */
  marks(files: { name: string; base64: string }[]): void;
  say(text: string): void;
  /** Look at one move. */
  move(site: string): void;
  /** Whether a click on the head means a place. */
  askForPlace(on: boolean): void;
  /** Corners of an outline that is being drawn. */
  draft(corners: readonly Vec3[]): void;
}

/** The bytes of a file as they are: its letters are for the program to tell, and some files hold none. */
const base64 = (file: File): Promise<string> =>
  new Promise((done, failed) => {
    const reader = new FileReader();
    reader.onload = () => done((reader.result as string).split(",")[1] ?? "");
    reader.onerror = () => failed(reader.error ?? new Error(`${file.name} cannot be read`));
    reader.readAsDataURL(file);
  });

/** Marks against where they should be. */
export class Comparison {
  readonly element = make("div");
  private readonly said = make("div");
  private readonly file = make("div");
  private readonly table = make("table");
  private readonly align: HTMLSelectElement;
  private readonly stepper = make("div", { className: "group" });
  private readonly place = make("output");
  private readonly present = make("div", { hidden: true });
  private readonly name = make("p");
  private arrows: readonly Arrow[] = [];
  private at = -1;

  constructor(private readonly start: Start, private readonly events: PanelEvents) {
    const file = make("input", { type: "file", multiple: true, accept: start.marks_endings.join(), id: "marks-file" });
    file.addEventListener("change", () => void this.read([...(file.files ?? [])]).then(() => (file.value = "")));
    const drop = make("div", { className: "drop" }, [
      make("p", { textContent: `Drop a file of marks here: ${start.marks_endings.map((each) => each.slice(1).toUpperCase()).join(", ")}, with its coordsystem.json.` }),
      labelled("or choose files", file),
    ]);
    for (const kind of ["dragover", "drop"] as const) {
      drop.addEventListener(kind, (event) => {
        event.preventDefault();
        if (kind === "drop") void this.read([...(event.dataTransfer?.files ?? [])]);
      });
    }
    this.align = choice(start.alignments.map((each) => [each.name, each.title.replace(/^by /, "")] as const), (align) => events.change({ align }));
    this.stepper.setAttribute("role", "group");
    this.stepper.setAttribute("aria-label", "Step through the moves");
    this.stepper.append(button("previous move", () => this.step(-1)), button("next move", () => this.step(1)), this.place);
    this.present.append(
      this.name, make("div", { className: "group" }, [labelled("Line up the marks by", this.align), button("remove marks", () => events.change({ marks: null }))]),
      this.said, this.stepper, make("div", { className: "scroll" }, [this.table]), this.file,
    );
    this.element.append(this.present, drop);
  }

  async read(files: File[]): Promise<void> {
    if (!files.length) return;
    const long = files.find((file) => file.size > this.start.largest_file_bytes);
    if (long) {
      this.events.say(`${long.name} must be at most ${(this.start.largest_file_bytes / 1e6).toFixed(0)} MB long, is ${(long.size / 1e6).toFixed(1)} MB (is this the right file? A long recording goes to: headfit compare)`);
      return;
    }
    this.events.marks(await Promise.all(files.map(async (file) => ({ name: file.name, base64: await base64(file) }))));
  }

  private step(by: number): void {
    if (!this.arrows.length) return;
    this.at = this.at < 0 && by < 0 ? this.arrows.length - 1 : (this.at + by + this.arrows.length) % this.arrows.length;
    const arrow = this.arrows[this.at]!;
    this.place.textContent = `${this.at + 1} of ${this.arrows.length}: ${arrow.words}`;
    this.events.move(arrow.site);
  }

  show(state: State): void {
    this.present.hidden = !state.case.marks;
    this.name.textContent = state.case.marks ? `Marks: ${state.case.marks}` : "";
    this.align.value = state.case.align;
    this.said.replaceChildren(sentences(state.sentences["comparison"] ?? []));
    const about = state.sentences["marks"] ?? [];
    this.file.replaceChildren(...(about.length ? [make("h2", { textContent: "About the file" }), sentences(about)] : []));
    const table = state.tables["moves"];
    if (table) fill(this.table, table);
    else this.table.replaceChildren();
    this.arrows = state.scene.arrows.filter((arrow) => arrow.kind === "mark");
    this.stepper.hidden = !this.arrows.length;
    this.at = -1;
    this.place.textContent = this.arrows.length === 1 ? "1 mark to look at" : `${this.arrows.length} marks to look at, the farthest first`;
  }
}

/** Derivation chains with their lengths. */
export class Derivations {
  readonly element = make("div");
  private readonly montage: HTMLSelectElement;
  private readonly said = make("div");
  private readonly table = make("table");

  constructor(start: Start, events: PanelEvents) {
    this.montage = choice([["", "none"], ...start.montages.map((each) => [each.name, each.title] as const)], (value) => events.change({ derivations: value || null }));
    this.montage.id = "montage";
    this.element.append(labelled("Derivations drawn on the head", this.montage), this.said, make("div", { className: "scroll" }, [this.table]));
  }

  show(state: State): void {
    const name = state.case.derivations ?? "";
    this.montage.value = [...this.montage.options].some((option) => option.value === name) ? name : "";
    this.montage.options[0]!.textContent = state.case.derivations_file ? `own list: ${state.case.derivations_file}` : "none";
    const table = state.tables["derivations"];
    if (table) fill(this.table, table);
    else this.table.replaceChildren();
    const found = state.sentences["derivations"] ?? [];
    this.said.replaceChildren(table && !found.length ? make("p", { textContent: "Chains and sides are even." }) : sentences(found));
  }
}

/** Places that must stay free: at a site by keyboard, anywhere by a click on the head. */
export class FreePlaces {
  readonly element = make("div");
  private readonly list = make("ul", { className: "places" });
  private readonly said = make("div");
  private readonly site = make("select", { id: "free-site" });
  private readonly radius = make("input", { type: "text", inputMode: "numeric", value: "15", id: "free-radius" });
  private readonly reason = make("input", { type: "text", maxLength: 60, id: "free-reason", placeholder: "wound, shunt, dressing ..." });
  private readonly pick = make("button", { type: "button", id: "free-pick", textContent: "click its middle on the head" });
  private readonly draw = make("button", { type: "button", id: "free-draw", textContent: "draw its outline by clicks" });
  private readonly close = button("close the outline", () => this.closeOutline());
  private readonly back = button("take back a corner", () => this.setCorners(this.corners.slice(0, -1)));
  private readonly cornerHere = button("corner at this site", () => {
    const site = this.sites.find((each) => each.name === this.site.value);
    if (site) this.setCorners([...this.corners, site.point_mm]);
  });
  private readonly outline = make("div", { className: "group", id: "free-outline", hidden: true });
  private readonly cornerCount = make("output");
  private readonly alone = make("input", { type: "checkbox", id: "move-alone" });
  private corners: Vec3[] = [];
  private sites: State["scene"]["sites"] = [];
  private places: readonly FreePlace[] = [];

  constructor(private readonly events: PanelEvents) {
    this.pick.setAttribute("aria-pressed", "false");
    this.pick.addEventListener("click", () => this.ask("middle", this.pick.getAttribute("aria-pressed") !== "true"));
    this.draw.setAttribute("aria-pressed", "false");
    this.draw.addEventListener("click", () => this.ask("outline", this.draw.getAttribute("aria-pressed") !== "true"));
    this.outline.append(this.cornerCount, this.cornerHere, this.back, this.close);
    this.alone.addEventListener("change", () => events.change({ move_alone: this.alone.checked }));
    this.element.append(
      make("p", { textContent: "A wound, shunt, bone defect, dressing or device: sites inside are moved the least way that clears it. Local policy decides." }),
      make("label", { className: "check" }, [this.alone, " this side only: the same site of the other side stays"]),
      make("div", { className: "fields" }, [labelled("Reason", this.reason), labelled("Radius in mm", this.radius), labelled("Middle at site", this.site)]),
      make("div", { className: "group" }, [button("keep free at this site", () => {
        this.events.move(this.site.value);
        this.add({ site: this.site.value });
      }), this.pick, this.draw]),
      this.outline, this.list, this.said,
    );
  }

  private ask(what: "middle" | "outline", on: boolean): void {
    const drawing = on && what === "outline";
    this.pick.setAttribute("aria-pressed", String(on && !drawing));
    this.draw.setAttribute("aria-pressed", String(drawing));
    this.outline.hidden = !drawing;
    this.setCorners([]);
    this.events.askForPlace(on);
    if (drawing) this.events.say("Click round the place on the head, corner by corner, then close the outline.");
    else if (on) this.events.say("Click the middle of the place on the head, or press the button again to let it be.");
  }

  /** The head was clicked. */
  touched(point: Vec3): void {
    if (!this.outline.hidden) {
      this.setCorners([...this.corners, point.map((v) => Math.round(v * 10) / 10) as unknown as Vec3]);
      return;
    }
    this.ask("middle", false);
    this.add({ point_mm: point.map((v) => Math.round(v * 10) / 10) });
  }

  private setCorners(corners: Vec3[]): void {
    this.corners = corners;
    this.cornerCount.textContent = corners.length === 1 ? "1 corner" : `${corners.length} corners`;
    this.close.disabled = corners.length < 3;
    this.close.title = corners.length < 3 ? "an outline has at least three corners" : "";
    this.back.disabled = !corners.length;
    this.events.draft(corners);
  }

  private closeOutline(): void {
    const corners = this.corners;
    this.ask("outline", false);
    this.draw.focus(); // the button goes
    this.send([...this.places, { site: null, point_mm: null, polygon_mm: corners, radius_mm: 0, reason: this.reason.value.trim() }]);
  }

  private add(where: { site?: string; point_mm?: number[] }): void {
    const radius = Number(this.radius.value.replace(",", "."));
    if (!(radius >= 1 && radius <= 150)) {
      this.events.say(`Radius must lie in 1 to 150 mm, got ${this.radius.value || "nothing"}.`);
      this.radius.focus();
      return;
    }
    this.send([...this.places, { site: null, point_mm: null, polygon_mm: [], radius_mm: radius, reason: this.reason.value.trim(), ...where }]);
  }

  private send(places: readonly FreePlace[]): void {
    // Entries that are empty are left out, as in a case file.
    this.events.change({ free: places.map((place) => Object.fromEntries(Object.entries(place).filter(([, v]) => v !== null && v !== "" && !(Array.isArray(v) && !v.length) && v !== 0))) });
  }

  show(state: State): void {
    this.places = state.case.free;
    this.alone.checked = state.case.move_alone;
    this.sites = state.scene.sites;
    const names = state.scene.sites.map((site) => site.name);
    const chosen = this.site.value;
    this.site.replaceChildren(...names.map((name) => make("option", { value: name, textContent: name })));
    if (names.includes(chosen)) this.site.value = chosen;
    this.list.replaceChildren(...this.places.map((place, i) => {
      const title = state.scene.regions[i]?.name ?? place.reason;
      const remove = button("remove", () => this.send(this.places.filter((_, k) => k !== i)));
      remove.setAttribute("aria-label", `remove ${title}`);
      return make("li", {}, [make("span", { textContent: title }), remove]);
    }));
    this.said.replaceChildren(sentences(state.sentences["free"] ?? []));
  }

  /** The site chosen on the head or in the table is offered here. */
  offer(site: string): void {
    if ([...this.site.options].some((option) => option.value === site)) this.site.value = site;
  }
}

/** Shape of the head in words, and the norms it is held against. */
export class Shape {
  readonly element = make("div");

  show(state: State): void {
    const parts: Node[] = [];
    for (const [name, title] of [["shape", "Shape of the head"], ["norms", "Against published norms"]] as const) {
      const said = state.sentences[name];
      if (said?.length) parts.push(make("h2", { textContent: title }), sentences(said));
    }
    if (!parts.length) parts.push(make("p", { textContent: "Type the first measurement; then this says what the head is like." }));
    this.element.replaceChildren(...parts);
  }
}
