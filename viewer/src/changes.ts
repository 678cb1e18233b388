// Changes on their way to the program: one request in flight, later ones wait and the newest value wins.
import type { Program, Quick, State } from "./api";

const QUICK_EVERY_MS = 150;

export type Change = Record<string, unknown>;

export interface Answers {
  revision(): number;
  full(state: State): void;
  quick(state: Quick): void;
  failed(error: unknown, change: Change): void;
}

export class Changes {
  inFlight = 0;
  mostInFlight = 0;
  private waiting: Change | null = null;
  private waitingQuick = true;
  private waitingUnfinished = true;
  private lastQuick = -Infinity;
  private timer = 0;

  constructor(private readonly program: Program, private readonly answers: Answers) {}

  get idle(): boolean {
    return !this.inFlight && !this.waiting;
  }

  /** `quick` while a slider moves, `unfinished` while a number is typed: both are one step of undo with what follows. */
  push(change: Change, quick = false, unfinished = quick): void {
    this.waiting = merged(this.waiting, change);
    this.waitingQuick &&= quick;
    this.waitingUnfinished &&= unfinished;
    this.next();
  }

  /** When everything was sent and answered. */
  async rest(): Promise<void> {
    while (!this.idle) await new Promise((done) => setTimeout(done, 15));
  }

  /** Send what waits, unless a request is on its way; quick ones leave the machine time to draw. */
  private next(): void {
    clearTimeout(this.timer);
    if (this.inFlight || !this.waiting) return;
    const rest = this.waitingQuick ? this.lastQuick + QUICK_EVERY_MS - performance.now() : 0;
    if (rest > 0) this.timer = window.setTimeout(() => void this.send(), rest);
    else void this.send();
  }

  private async send(): Promise<void> {
    const change = this.waiting;
    if (!change || this.inFlight) return;
    const quick = this.waitingQuick;
    if (quick) this.lastQuick = performance.now();
    const unfinished = this.waitingUnfinished;
    this.waiting = null;
    this.waitingQuick = true;
    this.waitingUnfinished = true;
    this.mostInFlight = Math.max(this.mostInFlight, ++this.inFlight);
    try {
      const answer = await this.program.post<State>("change", { revision: this.answers.revision(), change, quick, unfinished });
      this.inFlight--;
      if (quick) this.answers.quick(answer);
      else this.answers.full(answer);
    } catch (error) {
      this.inFlight--;
      this.answers.failed(error, change);
    }
    this.next();
  }
}

/** Values of the sheet and of the shape are merged one by one, all else as a whole. */
export function merged(before: Change | null, change: Change): Change {
  const both = { ...before, ...change };
  for (const part of ["tape", "shape"]) {
    if (before?.[part] && change[part]) both[part] = { ...(before[part] as object), ...(change[part] as object) };
  }
  return both;
}
