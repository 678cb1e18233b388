// The app: form, head and tables around one case; every change goes to the program, which alone decides.
import { Gone, Program, Refusal, type Quick, type Start, type State, type ModelData } from "./api";
import { RecordPanel } from "./chair/record_panel";
import { ChairRoom } from "./chair/room";
import { Changes, merged, type Change } from "./changes";
import { askForCase, type CaseEntry } from "./cases";
import { ask } from "./dialogs";
import { button, choice, labelled, make, sentences } from "./dom";
import { Facts } from "./facts";
import { ByHand } from "./hand";
import { Model } from "./model";
import { Comparison, Derivations, FreePlaces, Shape, type PanelEvents } from "./panels";
import { place, type Placed } from "./place";
import { Sheet } from "./sheet";
import { fill, link, type LinkedTables } from "./tables";
import { Tabs } from "./tabs";

const PAPER = "headfit-paper"; // remembered on this computer

export class App {
  state!: State;
  readonly changes: Changes;
  readonly placed: Placed | null;
  private model: Model | null = null;
  private readonly sheet: Sheet;
  private readonly byHand: ByHand;
  readonly chair: ChairRoom;
  /** Whether the small drawings of this age are there. */
  drawn = false;
  private readonly facts: Facts;
  private readonly comparison: Comparison;
  private readonly derivations: Derivations;
  private readonly free: FreePlaces;
  private readonly shape = new Shape();
  private readonly record: RecordPanel;
  private readonly sites = make("table");
  private readonly tables: LinkedTables;
  private readonly choose: (site: string | null, turn?: boolean) => void;
  private readonly advice = make("div", { className: "advice" });
  private readonly tabs: Tabs;
  private readonly title = make("h1");
  private readonly saved = make("span", { className: "savestate" });
  private readonly said = make("p", { className: "status" });
  private readonly command = make("code");
  private readonly banner = make("p", { className: "banner" });
  private disputed: Change | null = null;
  private readonly askedFor = new Set<string>();
  private sliding: Record<string, number> = {}; // values under a slider that were not confirmed yet, mm
  private trial: { name: string; mm: number; words: string } | null = null;
  private trying = false;
  private unfinished = ""; // the measurement that is being typed
  private readonly undo = button("Undo", () => void this.step("undo"));
  private readonly redo = button("Redo", () => void this.step("redo"));
  private readonly refusals = make("div", { className: "refusals" });

  constructor(private readonly program: Program, start: Start) {
    this.changes = new Changes(program, {
      revision: () => this.state.revision,
      full: (state) => void this.confirmed(state),
      quick: (state) => this.confirmedQuick(state),
      failed: (error, change) => void this.failed(error, change),
    });
    this.chair = new ChairRoom({
      program, state: () => this.state, push: (change) => this.changes.push(change), idle: () => this.changes.idle,
      left: () => void this.confirmed(this.state), step: (what) => void this.step(what),
    });
    const events: PanelEvents = {
      change: (change) => this.changes.push(change),
      marks: (files) => void this.sendMarks(files),
      say: (text) => this.say(text),
      move: (site) => this.showMove(site),
      askForPlace: (on) => {
        if (this.placed) this.placed.viewer.asksForPlace = on;
        document.body.classList.toggle("asking", on);
      },
      draft: (corners) => this.placed?.viewer.draft(corners),
    };
    this.sheet = new Sheet(start, {
      typed: (name, text, finished) => this.type(name, text, finished),
      tried: (trial) => void this.tryOut(trial),
      slid: (name, text, mm, settled) => this.follow(name, mm, { tape: { [name]: text } }, settled),
    });
    this.byHand = new ByHand(start.hand_modes, {
      shaped: (name, mm, settled) => this.follow(name, mm, { shape: { [name]: mm } }, settled),
      released: (name) => events.change({ shape: { [name]: null } }),
    });
    this.sheet.list.append(this.byHand.element);
    this.facts = new Facts(start, events.change);
    this.comparison = new Comparison(start, events);
    this.derivations = new Derivations(start, events);
    this.free = new FreePlaces(events);
    this.record = new RecordPanel(events.change, () => this.sitDown());
    const sitePanel = make("div", {}, [this.sites]);
    this.tabs = new Tabs("Results", [
      ["sites", "Sites", sitePanel], ["comparison", "Comparison", this.comparison.element], ["derivations", "Derivations", this.derivations.element],
      ["free", "Keep free", this.free.element], ["record", "Record", this.record.element], ["shape", "Shape", this.shape.element],
    ]);
    const view = make("section", { id: "view" });
    view.setAttribute("aria-label", "The head");
    this.said.setAttribute("role", "status");
    this.advice.setAttribute("aria-label", "Advice");
    this.advice.setAttribute("role", "region");
    this.advice.tabIndex = 0; // it scrolls
    document.body.append(
      make("header", { className: "bar" }, [this.title, this.saved, this.actions()]),
      make("main", {}, [make("div", { className: "left" }, [this.facts.element, this.sheet.element, this.advice]), view, this.tabs.element]),
      make("footer", { className: "bar" }, [this.said, this.terminal()]),
    );
    this.placed = place(view, start.legend, {
      picked: (site) => this.choose(site),
      touched: (point) => this.free.touched(point),
    }, true);
    view.append(this.banner);
    const joined = link(this.tabs.element, () => this.placed?.viewer ?? null);
    this.tables = joined.tables;
    this.choose = (site, turn) => {
      joined.choose(site, turn);
      if (site) this.free.offer(site);
    };
    addEventListener("focus", () => void this.lookAround());
    addEventListener("keydown", (event) => this.key(event));
  }

  private actions(): HTMLElement {
    const root = document.documentElement;
    const dark = (): boolean => (root.dataset["theme"] ? root.dataset["theme"] === "dark" : matchMedia("(prefers-color-scheme: dark)").matches);
    const theme = button("", () => {
      root.dataset["theme"] = dark() ? "light" : "dark";
      localStorage.setItem("headfit-theme", root.dataset["theme"]);
      theme.textContent = dark() ? "Light" : "Dark";
      this.placed?.viewer.theme();
    });
    theme.textContent = dark() ? "Light" : "Dark";
    theme.title = "colours of the page";
    return make("div", { className: "group actions" }, [
      this.undo, this.redo, button("At the chair", () => this.sitDown()),
      button("Save", () => void this.save(), "main"), button("Open", () => void this.open()), button("New", () => void this.begin()),
      button("Export", () => void this.hand()), button("Lessons", () => void window.open(this.program.lessons, "headfit-lessons")), theme,
    ]);
  }

  /** The command that does the same, for who wants it. */
  private terminal(): HTMLElement {
    const shown = make("p", { className: "same", hidden: true, id: "same" }, [this.command]);
    const open = button("In a terminal", () => {
      shown.hidden = !shown.hidden;
      open.setAttribute("aria-expanded", String(!shown.hidden));
    }, "terminal");
    open.setAttribute("aria-expanded", "false");
    open.setAttribute("aria-controls", shown.id);
    open.title = "the command that does the same";
    return make("div", { className: "group" }, [shown, open]);
  }

  private key(event: KeyboardEvent): void {
    if (this.chair.isOpen) return;
    if (event.key === "Escape" && this.trial) this.sheet.endTrial();
    if (!(event.ctrlKey || event.metaKey) || event.altKey || document.querySelector("dialog")) return;
    const key = event.key.toLowerCase();
    const what = key === "y" || (key === "z" && event.shiftKey) ? "redo" : key === "z" ? "undo" : null;
    // What was typed and not taken yet is the browser's to take back.
    const field = document.activeElement;
    const own = field instanceof HTMLInputElement && field.type === "text" && (this.sheet.element.contains(field) ? this.sheet.typing : field.value !== field.defaultValue);
    if (!what || own) return;
    event.preventDefault();
    void this.step(what);
  }

  /** One step back or forth, whatever it was. */
  private step(what: "undo" | "redo"): Promise<void> {
    return this.act(async () => {
      const words = this.state[what];
      if (!words) {
        this.say(`Nothing to ${what}.`);
        return;
      }
      await this.confirmed(await this.program.post<State>(what, { revision: this.state.revision }), true);
      this.say(what === "undo" ? `Taken back: ${words}.` : `Made again: ${words}.`);
    });
  }

  async run(): Promise<void> {
    await this.confirmed(await this.program.get<State>("state"));
    await this.chair.resume();
  }

  /** The program accepted the case as it now stands. */
  private async confirmed(state: State, all = false): Promise<void> {
    const before = this.state as State | undefined;
    this.state = state;
    this.trial = null;
    if (this.chair.charts(state)) {
      await this.chair.confirmed(state); // the page behind waits until the chair is left
      return;
    }
    if (!this.model || this.model.age !== state.case.age) {
      this.model = new Model(await this.program.get<ModelData>(`model?age=${encodeURIComponent(state.case.age)}`));
      this.placed?.viewer.setHeadArrays(this.model.vertices(state.fit).slice(), this.model.faces, this.model.part);
      void this.draw(state.case.age);
    }
    this.refusals.replaceChildren();
    this.sheet.accept(Object.keys(state.case.tape).concat(Object.keys(before?.case.tape ?? {})));
    this.sheet.show(state, all);
    this.byHand.show(state);
    this.facts.show(state.case);
    this.comparison.show(state);
    this.derivations.show(state);
    this.free.show(state);
    this.shape.show(state);
    this.record.show(state);
    const advice = [state.problem && `This case cannot be fitted: ${state.problem}.`, ...(state.sentences["advice"] ?? [])].filter(Boolean);
    this.advice.replaceChildren(make("h2", { textContent: "Advice" }), this.refusals, ...this.offered(state), advice.length ? sentences(advice) : make("p", { textContent: state.fit ? "Nothing to take again." : "Start with the three tapes." }));
    this.placed?.tell(state.scene);
    this.banner.hidden = Boolean(state.fit);
    this.banner.classList.remove("trial");
    this.banner.textContent = state.problem ? "This case cannot be fitted: a template head is shown." : "A template head, until the first measurement is typed.";
    this.showHead(state);
    if (state.found) this.say(state.found);
    else this.say(state.fit ? "Fitted." : "Nothing measured yet.");
    this.offer("fit");
    await this.chair.confirmed(state);
    void this.askForFilesElsewhere();
  }

  /** How the landmarks are felt and each tape lies at this age; the page does not wait for it. */
  private async draw(age: string | number): Promise<void> {
    this.drawn = false;
    try {
      const drawings = await this.program.get<Record<string, string>>(`drawings?age=${encodeURIComponent(age)}`);
      this.sheet.drawn(drawings);
      this.facts.drawn(drawings);
    } catch (error) {
      if (!(error instanceof Gone || error instanceof Refusal)) throw error; // words say it too
    } finally {
      this.drawn = true;
    }
  }

  /** What is usual at this age, to be taken by a press. */
  private offered(state: State): Node[] {
    const offer = state.offer;
    if (!offer) return [];
    return [make("p", { className: "offer" }, [`${offer.words} `, button(offer.button, () => this.changes.push({ system: offer.system }))])];
  }

  private confirmedQuick(answer: Quick): void {
    // Chains, places and moves are worked out when the slider is let go; till then the last ones stay.
    const { chains, regions, arrows } = this.state.scene;
    // A site that was moved from a place to keep free never goes back there, not even for a moment; nor does its row.
    const away = new Map(this.state.scene.sites.filter((site) => site.state === "moved" || site.state === "blocked").map((site) => [site.name, site]));
    const sites = answer.scene.sites.map((site) => away.get(site.name) ?? site);
    const ellipses = answer.scene.ellipses.filter((ellipse) => !away.has(ellipse.site));
    const tables = away.size ? this.state.tables : { ...this.state.tables, ...answer.tables };
    this.state = { ...this.state, ...answer, scene: { ...answer.scene, sites, ellipses, chains, regions, arrows }, tables };
    // While the slider is ahead of the answer the head on show rides on; its numbers are told, the rest is made anew at rest.
    if (this.ahead()) {
      fill(this.sites, this.state.tables["sites"]!);
      this.tables.refresh();
      this.foresee();
    } else this.showHead(this.state);
  }

  private showHead(state: Quick): void {
    document.title = `${state.scene.title || "headfit"} – headfit`;
    this.title.textContent = this.title.title = state.scene.title || "unnamed case";
    this.saved.textContent = state.never_saved ? "not saved yet" : state.saved ? `${state.file}, saved` : `${state.file}, changes kept, not saved`;
    this.saved.classList.toggle("open", !state.saved || state.never_saved);
    for (const [what, press, key] of [["undo", this.undo, "Ctrl+Z"], ["redo", this.redo, "Ctrl+Y"]] as const) {
      press.disabled = !state[what];
      press.title = state[what] ? `${what}: ${state[what]} (${key})` : `nothing to ${what}`;
      press.setAttribute("aria-label", press.title);
    }
    fill(this.sites, state.tables["sites"]!);
    this.tables.refresh();
    const viewer = this.placed?.viewer;
    if (!viewer || !this.model) return;
    viewer.setScene(state.scene);
    viewer.confirm(this.model.vertices(state.fit));
    this.foresee();
  }

  /** Values under a slider that differ from those of the last fit, in mm; null when there are none. */
  private ahead(): Record<string, number> | null {
    const now = this.state.fit?.now_mm ?? {};
    const found = Object.entries(this.sliding).filter(([name, mm]) => Math.abs((now[name] ?? mm) - mm) > 0.05);
    return found.length ? Object.fromEntries(found) : null;
  }

  /** Show the head as it will be, from what the last fit knows. */
  private foresee(): void {
    const fit = this.state.fit;
    const ahead = this.ahead();
    if (!fit || !this.model || !ahead) return;
    const foreseen = Model.foreseen(fit, ahead);
    if (foreseen) this.placed?.viewer.foresee(this.model.vertices(foreseen));
  }

  private type(name: string, text: string, finished: boolean): void {
    delete this.sliding[name];
    if (this.changes.idle && (this.state.case.tape[name] ?? "") === text && this.unfinished !== name) {
      this.sheet.accept([name]);
      return;
    }
    this.unfinished = finished ? "" : name;
    this.changes.push({ tape: { [name]: text || null } }, false, !finished);
  }

  /** The head as a value would make it that nobody measured: one question at a time, the newest value. */
  private async tryOut(trial: { name: string; mm: number; words: string } | null): Promise<void> {
    this.trial = trial;
    if (!trial) {
      this.banner.hidden = Boolean(this.state.fit);
      await this.confirmed(this.state);
      return;
    }
    if (this.trying) return;
    this.trying = true;
    try {
      let shown: typeof trial | null = null;
      while (this.trial && this.trial !== shown) {
        const now: { name: string; mm: number; words: string } = this.trial;
        await this.changes.rest();
        const answer = await this.program.post<Quick>("trial", { revision: this.state.revision, tape: { [now.name]: `${now.mm} mm` } });
        shown = now;
        if (this.trial) this.showTrial(answer, now.words);
      }
    } catch (error) {
      this.sheet.endTrial();
      if (error instanceof Refusal && error.status !== 409) this.say(`No head has that: ${error.message}`, true);
      else await this.failed(error, {});
    } finally {
      this.trying = false;
    }
  }

  /** The head alone follows a trial: tables, advice and what is saved stay with what was measured. */
  private showTrial(answer: Quick, words: string): void {
    this.banner.hidden = false;
    this.banner.classList.add("trial");
    this.banner.textContent = `Trial, not measured, not saved: ${words}. Tables stay with what was measured.`;
    const viewer = this.placed?.viewer;
    if (!viewer || !this.model) return;
    viewer.setScene(answer.scene);
    viewer.confirm(this.model.vertices(answer.fit));
  }

  /** A value under a slider, in mm: the page shows what it foresees, the program confirms. */
  private follow(name: string, mm: number, change: Change, settled: boolean): void {
    this.sliding[name] = mm;
    this.placed?.viewer.stage.coarse(!settled);
    this.foresee();
    this.changes.push(change, !settled);
    if (settled) this.sliding = {};
  }

  private async failed(error: unknown, change: Change): Promise<void> {
    this.sliding = {};
    if (error instanceof Gone) {
      this.say(`The headfit program has stopped. Nothing that was accepted is lost: start it again with ${this.state.commands["app"]}`, true);
      return;
    }
    if (!(error instanceof Refusal)) throw error;
    if (error.status === 409) {
      await this.conflict(error, change);
      return;
    }
    this.unfinished = "";
    if (error.state) await this.confirmed(error.state); // what had been taken on the way was taken back
    else if ("age" in change) this.facts.refuse(error.message);
    const told = this.sheet.refuse(error.refused, error.instead);
    this.byHand.refuse(error.refused);
    this.refusals.replaceChildren(...(told.length ? [sentences(told, "said refused")] : []));
    this.say(`Not accepted: ${error.message}`, true);
    this.chair.refused(this.state, `Not accepted: ${error.message}.`);
    if (!Object.keys(error.refused).length && !("age" in change)) this.facts.show(this.state.case);
    this.showHead(this.state);
  }

  private async conflict(error: Refusal, change: Change): Promise<void> {
    if (this.disputed) {
      this.disputed = merged(this.disputed, change); // one question for all that waits on it
      return;
    }
    this.disputed = change;
    const answer = await ask("Changed in another window", `${error.message}.`, [
      ["theirs", "Show the case as it is now"], ["mine", "Put my change on top of it"],
    ]);
    const mine = this.disputed;
    this.disputed = null;
    await this.confirmed(await this.program.get<State>("state"));
    if (answer === "mine") this.changes.push(mine);
    else this.say("The case of the other window is shown; your last change was not used.");
  }

  /** Another window may have changed the case while this one was behind. */
  private async lookAround(): Promise<void> {
    if (!this.changes.idle || !this.state) return;
    try {
      const now = await this.program.get<{ revision: number }>("revision");
      if (now.revision === this.state.revision || !this.changes.idle) return;
      await this.confirmed(await this.program.get<State>("state"));
      this.say("This case was changed in another window; it is shown as it is now.");
    } catch (error) {
      await this.failed(error, {});
    }
  }

  /** To the chair: its steps and drawings take a second or two, so it is said at once that they come. */
  private sitDown(): void {
    const wait = make("div", { className: "waiting" }, [make("p", { textContent: "Getting the steps at the chair ready ..." })]);
    wait.setAttribute("role", "status");
    document.body.append(wait);
    document.body.setAttribute("aria-busy", "true");
    void this.act(() => this.chair.open()).finally(() => {
      wait.remove();
      document.body.removeAttribute("aria-busy");
    });
  }

  private async act(work: () => Promise<void>): Promise<void> {
    try {
      await this.changes.rest(); // what was typed comes first
      await work();
    } catch (error) {
      if (error instanceof Refusal && error.status === 409) {
        this.say(`Not done: ${error.message}.`, true);
        await this.confirmed(await this.program.get<State>("state"));
        this.say(`Not done: ${error.message}.`, true);
      } else await this.failed(error, {});
    }
  }

  private sendMarks(files: { name: string; base64: string }[]): Promise<void> {
    return this.act(async () => {
      await this.confirmed(await this.program.post<State>("marks", { revision: this.state.revision, files }));
      this.tabs.open("comparison");
      this.say("Marks compared.");
      this.offer("compare");
    });
  }

  private showMove(site: string): void {
    this.choose(site, true);
    this.placed?.viewer.emphasise(site);
  }

  private save(name?: string): Promise<void> {
    return this.act(async () => {
      const revision = this.state.revision;
      try {
        await this.confirmed(await this.program.post<State>("save", name ? { revision, name } : { revision }));
      } catch (error) {
        if (!(error instanceof Refusal) || !error.freeName) throw error;
        return this.saveBeside(error);
      }
      this.say(`Saved as ${this.state.file} in ${this.state.folder}.`);
      this.offer("app");
    });
  }

  /** The file is not the one these changes were made on: both are kept, and the user chooses. */
  private async saveBeside(refusal: Refusal): Promise<void> {
    const answer = await ask("Not saved yet", `${refusal.message}.`, [
      ["beside", `Save mine as ${refusal.freeName}`], ["theirs", "Discard my changes and show the file"],
    ]);
    if (answer === "beside") return this.save(refusal.freeName);
    if (answer !== "theirs") return;
    await this.confirmed(await this.program.post<State>("discard", { revision: this.state.revision }));
    this.say(`${this.state.file} is shown as it is on the disk; your changes were discarded.`);
  }

  /** A case that came from somebody else could name any file: each is asked for once. */
  private async askForFilesElsewhere(): Promise<void> {
    const files = this.state.elsewhere.filter((file) => !this.askedFor.has(file));
    if (!files.length) return;
    for (const file of files) this.askedFor.add(file);
    const answer = await ask("Read files outside the folder of this case?", files.join(", "), [
      ["read", "Read them"], ["leave", "Leave them"],
    ]);
    if (answer === "read") await this.confirmed(await this.program.post<State>("allow", { revision: this.state.revision }));
  }

  private open(): Promise<void> {
    return this.act(async () => {
      const { cases } = await this.program.get<{ cases: CaseEntry[] }>("cases");
      const name = await askForCase(this.program, cases, this.state.folder);
      if (name !== null) await this.confirmed(await this.program.post<State>("open", { name }));
      this.offer("app");
    });
  }

  private begin(): Promise<void> {
    return this.act(async () => {
      await this.confirmed(await this.program.post<State>("new", {}));
      this.facts.begin(() => this.sheet.begin());
    });
  }

  private hand(): Promise<void> {
    return this.act(async () => {
      const commands = this.state.commands;
      const paper = choice([["A4", "A4"], ["letter", "US Letter"]], () => {});
      paper.id = "paper";
      paper.value = localStorage.getItem(PAPER) ?? "A4";
      const kind = await ask("Export", "Each file is made from the case as it stands. The same from a terminal is written beside it.", [
        ["report", "Report to send on (HTML)", commands["report"]!], ["sheet", "Sheet for the chair (PDF)", commands["sheet"]!],
        ["chair", "Steps at the chair (HTML)", commands["chair"]!], ["record", "Set-up record (PDF)", commands["record"]!],
        ["picture", "Picture (PNG)", commands["picture"]!], ["bids", "BIDS files (ZIP)", commands["bids"]!], ["case", "Case file (TOML)"],
      ], labelled("Paper of sheet and record", paper));
      if (kind === null) return;
      localStorage.setItem(PAPER, paper.value);
      this.say(`${await this.program.download(kind, paper.value)} was handed to the browser.`);
      this.offer(kind);
    });
  }

  private say(text: string, bad = false): void {
    this.said.textContent = text;
    this.said.classList.toggle("bad", bad);
  }

  private offer(kind: string): void {
    this.command.textContent = this.state.commands[kind] ?? this.state.commands["fit"] ?? "";
  }
}

/** Begin: the key, what never changes, the case. */
export async function app(): Promise<App | null> {
  const theme = localStorage.getItem("headfit-theme");
  if (theme) document.documentElement.dataset["theme"] = theme;
  const program = new Program();
  try {
    const running = new App(program, await program.get<Start>("start"));
    await running.run();
    return running;
  } catch (error) {
    const text = error instanceof Gone ? "The headfit program does not answer. Start it with: headfit app" : error instanceof Refusal ? error.message : String(error);
    document.body.append(make("p", { className: "note", textContent: `headfit cannot start here: ${text}.` }));
    if (error instanceof Gone || error instanceof Refusal) return null;
    throw error;
  }
}
