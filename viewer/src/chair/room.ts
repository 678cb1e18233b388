// The chair inside the app: the same view over the case on the desk; every tick is a change of the case.
import type { Program, State } from "../api";
import type { Change } from "../changes";
import { make } from "../dom";
import "./chair.css";
import type { ChairData, Notes } from "./data";
import type { Keeper } from "./keep";
import { nothing } from "./notes";
import { ChairView, type Preferences } from "./view";

/** What the app does for the chair. */
export interface Desk {
  readonly program: Program;
  state(): State;
  push(change: Change): void;
  /** Whether all that was pushed is answered. */
  idle(): boolean;
  /** The chair was left: the page behind it is shown as the case stands now. */
  left(): void;
  step(what: "undo" | "redo"): void;
}

interface Sent extends ChairData {
  readonly revision: number;
  readonly drawings: Readonly<Record<string, { svg: string; words: string }>>;
}

const OPEN = "headfit-chair-open"; // a reload goes on at the chair
const LOOKS = "headfit-chair-looks";

export class ChairRoom {
  private view: ChairView | null = null;
  private keeper: DeskKeeper | null = null;
  private checksum = "";
  private readonly veiled: HTMLElement[] = [];
  private readonly drawings = new Map<string, SVGElement>();
  private readonly words = new Map<string, string>();

  constructor(private readonly desk: Desk) {}

  get isOpen(): boolean {
    return this.view !== null;
  }

  async open(): Promise<void> {
    const data = await this.read();
    this.close();
    sessionStorage.setItem(OPEN, "1");
    const keeper = (this.keeper = new DeskKeeper(data, this.desk));
    const preferences = preferencesOf(data);
    const prefer = (): void => {
      document.documentElement.dataset["hand"] = preferences.left ? "left" : "right";
      if (preferences.theme) document.documentElement.dataset["theme"] = preferences.theme;
      localStorage.setItem(LOOKS, JSON.stringify(preferences));
    };
    prefer();
    this.view = new ChairView({
      data, keeper, preferences, prefer,
      drawing: (key) => this.drawings.get(key) ?? null,
      words: (key) => this.words.get(key) ?? "",
      leave: () => this.leave(),
    });
    for (const part of document.querySelectorAll<HTMLElement>("body > header, body > main, body > footer")) {
      part.inert = true;
      this.veiled.push(part);
    }
    document.body.append(this.view.element);
    this.view.start();
  }

  private async read(): Promise<Sent> {
    const data = await this.desk.program.get<Sent>("chair");
    this.checksum = data.checksum;
    this.drawings.clear();
    this.words.clear();
    for (const [key, drawing] of Object.entries(data.drawings)) {
      const holder = make("template");
      holder.innerHTML = drawing.svg;
      const svg = holder.content.querySelector("svg");
      if (svg) this.drawings.set(key, svg);
      this.words.set(key, drawing.words);
    }
    return data;
  }

  /** After a reload: back to the chair when it was open. */
  async resume(): Promise<void> {
    if (sessionStorage.getItem(OPEN)) await this.open();
  }

  private leave(): void {
    sessionStorage.removeItem(OPEN);
    this.close();
    this.desk.left();
  }

  private close(): void {
    this.view?.stop();
    this.view?.element.remove();
    this.view = null;
    for (const part of this.veiled.splice(0)) part.inert = false;
  }

  /** Whether a case differs from the one at the chair in its record alone. */
  charts(state: State): boolean {
    return this.isOpen && state.chair === this.checksum;
  }

  /** The program accepted the case as it now stands. */
  async confirmed(state: State): Promise<void> {
    if (!this.view || !this.keeper || !this.desk.idle()) return; // what was ticked since is on its way
    if (state.chair === this.checksum) {
      this.keeper.confirm(state);
      this.view.answered();
      return;
    }
    // Other numbers: what was typed tells them until the program has; what was taken back waits for it.
    this.view.element.classList.toggle("busy", !this.view.notes.tape || !Object.keys(this.view.notes.tape).length);
    const data = await this.read();
    if (!this.view || !this.keeper) return;
    this.view.element.classList.remove("busy");
    if (this.desk.idle()) this.keeper.confirm(this.desk.state());
    this.view.renew(data);
    this.view.answered();
  }

  /** The program did not accept something: what it holds is shown, and why. */
  refused(state: State, words: string): void {
    if (!this.view || !this.keeper) return;
    this.keeper.confirm(state);
    this.view.refresh();
    this.view.tell(words);
  }
}

function preferencesOf(data: ChairData): Preferences {
  const usual: Preferences = { unit: data.unit === "mm" ? "cm" : data.unit, left: false, theme: "" };
  return { ...usual, ...(JSON.parse(localStorage.getItem(LOOKS) ?? "{}") as Partial<Preferences>), unit: usual.unit };
}

/** Notes in the case on the desk, its steps those of the app. */
class DeskKeeper implements Keeper {
  notes: Notes;
  at: string;
  readonly trouble = "";
  readonly alone = false;
  private readonly name: string;

  constructor(data: ChairData, private readonly desk: Desk) {
    this.name = `headfit-chair-at-${data.label}`;
    this.notes = nothing(data);
    this.at = sessionStorage.getItem(this.name) ?? "";
  }

  get undo(): string {
    return this.desk.state().undo;
  }

  get redo(): string {
    return this.desk.state().redo;
  }

  keep(notes: Notes): void {
    const before = this.notes;
    this.notes = notes;
    const change: Record<string, unknown> = {};
    if (notes.record !== before.record) change["record"] = notes.record;
    if (notes.doubtful !== before.doubtful) change["doubtful"] = notes.doubtful;
    const typed = Object.entries(notes.tape).filter(([name, text]) => before.tape[name] !== text);
    if (typed.length) change["tape"] = Object.fromEntries(typed);
    this.desk.push(change);
  }

  confirm(state: State): void {
    this.notes = { tape: {}, arcs: {}, doubtful: state.case.doubtful, record: state.case.record };
  }

  stand(at: string): void {
    this.at = at;
    sessionStorage.setItem(this.name, at);
  }

  takeBack(): void {
    this.desk.step("undo");
  }

  makeAgain(): void {
    this.desk.step("redo");
  }

  forget(): void {
    // The case is the file's; nothing of it is this browser's alone.
  }
}
