// A staged lesson as it arrives from Python (headfit/output/lesson_page.py). Millimetres, head frame. A track holds every
// stop of the drag, one after the other; what does not change has one.
import type { HeadData, Vec3 } from "../data";
import { floats } from "../data";

export type Piece = readonly [words: string, computed: boolean];

export interface TrackData {
  readonly states: number;
  readonly values: string;
}

export interface TapeData {
  readonly name: string;
  readonly look: "tape" | "other" | "thin" | "plane";
  readonly grows: boolean;
  readonly points: TrackData;
  readonly normals: TrackData;
}

export interface DotsData {
  readonly look: "site" | "stroke" | "landmark" | "guess";
  readonly names: readonly string[];
  readonly told: readonly string[];
  readonly named: boolean;
  readonly points: TrackData;
  readonly normals: TrackData;
  readonly shown: readonly string[]; // of each state "1" and "0"
  readonly own: TrackData | null;
}

export interface OutlinesData {
  readonly look: "ring" | "place";
  readonly names: readonly string[];
  readonly n_points: number;
  readonly points: TrackData;
  readonly normals: TrackData;
}

export interface ReadingData {
  readonly label: string;
  readonly unit: string;
  readonly look: "huge" | "large" | "plain" | "bar";
  readonly digits: number;
  readonly values: readonly number[];
}

export interface BalanceData {
  readonly labels: readonly [string, string];
  readonly longer: readonly [string, string];
  readonly first_cm: readonly number[];
  readonly second_cm: readonly number[];
}

export interface AxisData {
  readonly title: string;
  readonly unit: string;
  readonly stops: readonly number[];
  readonly start: number;
  readonly words: readonly string[];
}

export interface DialData {
  readonly kind: string;
  readonly axes: readonly AxisData[];
  readonly handle: TrackData | null;
  readonly handle_normals: TrackData | null;
  readonly handle_title: string;
}

export interface AskedData {
  readonly text: readonly Piece[];
  readonly options: readonly string[];
  readonly right: number;
  readonly why: string;
  readonly again: string;
}

export interface ExchangeData {
  readonly names: readonly string[];
  readonly apart_cm: readonly (readonly number[])[];
  readonly neighbours: readonly (readonly [number, number])[];
  readonly exchanged: readonly (readonly [number, number])[];
}

export interface ProfileData {
  readonly points: readonly (readonly [number, number])[];
  readonly knob: boolean;
}

export interface StepData {
  readonly name: string;
  readonly title: string;
  readonly caption: readonly Piece[];
  readonly notes: string;
  readonly toward: Vec3;
  readonly focus_mm: Vec3;
  readonly height_mm: number;
  readonly contours: string; // an SVG path, right and down of the focus
  readonly tapes: readonly TapeData[];
  readonly dots: readonly DotsData[];
  readonly outlines: readonly OutlinesData[];
  readonly readings: readonly ReadingData[];
  readonly balances: readonly BalanceData[];
  readonly said: readonly string[];
  readonly beside: readonly string[];
  readonly cautions: readonly string[]; // what the head of this case asks for at the sites of the step
  readonly old_names: OldNames;
  readonly cards: readonly (readonly [string, string])[];
  readonly dial: DialData | null;
  readonly vertices: { readonly states: number; readonly step_mm: number; readonly moves: string } | null;
  readonly asked: AskedData | null;
  readonly exchange: ExchangeData | null;
  readonly profile: ProfileData | null;
}

export interface LessonData {
  readonly name: string;
  readonly title: string;
  readonly about: string;
  readonly sources: readonly string[];
  readonly head_label: string;
  readonly cautions: readonly string[];
  readonly unit: string;
  readonly reminders: readonly string[];
  readonly view_angle_degrees: number;
  readonly head: HeadData;
  readonly steps: readonly StepData[];
}

/** Old names of sites to be told beside the new ones; none where they are switched off or asked for. */
export type OldNames = Readonly<Record<string, string>>;

/** A site as it is written: `both_names` of headfit/anatomy/site_table.py has the same. */
export const called = (name: string, old: OldNames): string => (old[name] ? `${name} (${old[name]})` : name);

/** States and how much each counts, for where a dial stands. */
export type Mix = readonly (readonly [state: number, share: number])[];

export const FIRST: Mix = [[0, 1]];

export class Track {
  readonly size: number;
  private readonly values: Float32Array;
  private readonly out: Float32Array;

  constructor(private readonly data: TrackData) {
    this.values = floats(data.values);
    this.size = this.values.length / data.states;
    this.out = new Float32Array(this.size);
  }

  /** The values where a dial stands, straight between stops; the array is used again by the next call. */
  at(mix: Mix): Float32Array {
    if (this.data.states === 1) return this.values;
    this.out.fill(0);
    for (const [state, share] of mix) {
      const from = state * this.size;
      for (let i = 0; i < this.size; i++) this.out[i]! += share * this.values[from + i]!;
    }
    return this.out;
  }
}

/** One number where a dial stands. */
export const mixed = (values: readonly number[], mix: Mix): number =>
  values.length === 1 ? values[0]! : mix.reduce((sum, [state, share]) => sum + share * values[state]!, 0);

/** The state that counts most. */
export const nearest = (mix: Mix): number => [...mix].sort((a, b) => b[1] - a[1])[0]![0];

export function mixOf(axes: readonly AxisData[], values: readonly number[]): Mix {
  let found: (readonly [number, number])[] = [[0, 1]];
  axes.forEach((axis, k) => {
    const { stops } = axis;
    const value = Math.min(Math.max(values[k]!, stops[0]!), stops[stops.length - 1]!);
    let below = 0;
    while (below + 2 < stops.length && stops[below + 1]! <= value) below++;
    const span = stops.length > 1 ? stops[below + 1]! - stops[below]! : 1;
    const share = stops.length > 1 ? (value - stops[below]!) / span : 0;
    found = found.flatMap(([state, weight]) => {
      const at = state * stops.length + below;
      const both = [[at, weight * (1 - share)], [at + 1, weight * share]] as const;
      return both.filter(([, each]) => each > 1e-9);
    });
  });
  return found;
}
