// The steps at the chair as the program tells them (headfit/output/chair_page.py). Lengths in mm.

export type Part = "landmarks" | "measure" | "mark" | "prepare" | "apply" | "check";
export type Kind = "landmark" | "reading" | "mark" | "pass" | "bearing" | "eye" | "check" | "look" | "electrode" | "lead" | "impedances" | "changes" | "finish";

export interface Step {
  readonly key: string;
  readonly part: Part;
  readonly kind: Kind;
  readonly title: string;
  readonly name: string;
  readonly done: string;
  readonly line: string;
  readonly number_mm: number | null;
  readonly words: string;
  readonly tolerance_mm: number | null;
  readonly own: boolean;
  readonly source: string;
  readonly detail: string;
  readonly warnings: readonly string[];
  readonly arc: string;
  readonly share: number;
  readonly drawing: string;
  readonly spots: readonly string[];
  readonly doubt: string;
}

export interface Arc {
  readonly name: string;
  readonly title: string;
  readonly length_mm: number;
  readonly own: boolean;
  readonly source: string;
  /** The measurement that is its whole length, or "". */
  readonly reading: string;
  /** What of the whole ring it is; 0 for other arcs. */
  readonly ring_share: number;
}

/** Lengths as the fitted head has them, and how they hang together. */
export interface Lengths {
  readonly names: readonly string[];
  readonly values_mm: readonly number[];
  readonly covariance_mm2: readonly (readonly number[])[];
  readonly reading_spreads_mm: readonly number[];
}

export interface MeasurementKind {
  readonly title: string;
  readonly lowest_mm: number;
  readonly highest_mm: number;
}

/** One electrode of the [record] table of a case file. */
export interface Electrode {
  name?: string;
  applied?: boolean;
  place?: string;
  impedance_kohm?: number;
  skin_before?: string;
  note?: string;
}

/** The [record] table of a case file. */
export interface RecordTable {
  sites?: Electrode[];
  reference?: Electrode;
  ground?: Electrode;
  other_leads?: Electrode[];
  ticked?: string[];
  limit_kohm?: number;
  balance_kohm?: number;
  skin_before?: string;
  skin_after?: string;
  note?: string;
  done_by?: string;
  done_on?: string;
  [more: string]: unknown;
}

export interface ChairData {
  readonly label: string;
  readonly checksum: string;
  readonly version: string;
  readonly unit: Unit;
  readonly warnings: readonly string[];
  readonly reminder: string;
  readonly steps: readonly Step[];
  readonly arcs: readonly Arc[];
  readonly lengths: Lengths | null;
  readonly tape: Readonly<Record<string, number>>;
  readonly measurements: Readonly<Record<string, MeasurementKind>>;
  readonly doubtful: readonly string[];
  readonly record: RecordTable;
  /** Moved and left-out sites of the plan, one sentence each. */
  readonly changes: readonly string[];
  readonly mirrored: Readonly<Record<string, string>>;
  readonly limit_kohm: number;
  readonly balance_kohm: number;
  readonly limit_words: string;
  readonly balance_words: string;
  readonly least_for_middle: number;
}

export type Unit = "cm" | "mm" | "inch";

/** What was done and typed at the chair. */
export interface Notes {
  /** Measurement -> what was typed, with its unit. */
  readonly tape: Readonly<Record<string, string>>;
  /** The same for arcs that are the length of no measurement. */
  readonly arcs: Readonly<Record<string, string>>;
  readonly doubtful: readonly string[];
  readonly record: RecordTable;
}
