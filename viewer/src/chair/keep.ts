// Where notes are kept: on this device, by the checksum of the case, with steps to take back.
import type { ChairData, Notes } from "./data";
import { nothing } from "./notes";

/** Who keeps what is done at the chair. */
export interface Keeper {
  readonly notes: Notes;
  /** The step that was shown last, by its key; "" for none. */
  readonly at: string;
  /** What undo takes back, in words; "" for nothing. */
  readonly undo: string;
  readonly redo: string;
  /** Why nothing is kept, or "". */
  readonly trouble: string;
  /** Whether notes can be forgotten and carried back by hand. */
  readonly alone: boolean;
  keep(notes: Notes, words: string): void;
  stand(at: string): void;
  takeBack(): void;
  makeAgain(): void;
  forget(): void;
}

const STEPS_KEPT = 400;
const NOT_KEPT = "This browser keeps nothing for this page: do not close it before you carry back what was done.";

interface Kept {
  notes: Notes;
  at: string;
}

/** Notes in this browser. */
export class DeviceKeeper implements Keeper {
  notes: Notes;
  at = "";
  trouble = "";
  readonly alone = true;
  private before: { notes: Notes; words: string }[] = [];
  private after: { notes: Notes; words: string }[] = [];
  private readonly name: string;

  constructor(private readonly data: ChairData, private readonly changed: () => void) {
    this.name = `headfit-chair-${data.checksum}`;
    this.notes = nothing(data);
    try {
      const kept = localStorage.getItem(this.name);
      if (kept) ({ notes: this.notes, at: this.at } = JSON.parse(kept) as Kept);
      localStorage.setItem(`${this.name}-try`, "1");
      localStorage.removeItem(`${this.name}-try`);
    } catch {
      this.notes = nothing(data);
      this.trouble = NOT_KEPT;
    }
  }

  get undo(): string {
    return this.before.at(-1)?.words ?? "";
  }

  get redo(): string {
    return this.after.at(-1)?.words ?? "";
  }

  keep(notes: Notes, words: string): void {
    this.before = [...this.before.slice(-STEPS_KEPT), { notes: this.notes, words }];
    this.after = [];
    this.notes = notes;
    this.write();
  }

  stand(at: string): void {
    this.at = at;
    this.write();
  }

  takeBack(): void {
    const step = this.before.pop();
    if (!step) return;
    this.after.push({ notes: this.notes, words: step.words });
    this.notes = step.notes;
    this.write();
    this.changed();
  }

  makeAgain(): void {
    const step = this.after.pop();
    if (!step) return;
    this.before.push({ notes: this.notes, words: step.words });
    this.notes = step.notes;
    this.write();
    this.changed();
  }

  forget(): void {
    try {
      localStorage.removeItem(this.name);
    } catch {
      // Nothing was kept.
    }
    this.notes = nothing(this.data);
    this.before = [];
    this.after = [];
    this.at = "";
    this.changed();
  }

  private write(): void {
    try {
      localStorage.setItem(this.name, JSON.stringify({ notes: this.notes, at: this.at } satisfies Kept));
      this.trouble = "";
    } catch {
      this.trouble = NOT_KEPT;
    }
  }
}
