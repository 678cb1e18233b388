// A quiz as it arrives from Python (headfit/output/lesson_page.py): heads with every answer computed. Millimetres, head frame.
import type { HeadData, Vec3 } from "../data";
import type { OldNames, StepData, TapeData } from "./data";

export interface QuizHead {
  readonly label: string;
  readonly focus_mm: Vec3;
  readonly height_mm: number;
  readonly vertices: NonNullable<StepData["vertices"]>;
  readonly names: readonly string[];
  readonly points: readonly Vec3[];
  readonly normals: readonly Vec3[];
  readonly along: readonly Vec3[];
  readonly across: readonly Vec3[];
  readonly arcs: readonly string[];
  readonly tapes: Readonly<Record<string, TapeData>>;
  readonly apart_cm: readonly (readonly number[])[];
  readonly sheet: {
    readonly titles: readonly string[];
    readonly readings_cm: readonly number[];
    readonly usual_cm: readonly number[];
    readonly misread: number;
    readonly right_cm: number;
  };
}

export interface QuizData {
  readonly reminders: readonly string[];
  readonly unit: string;
  readonly old_names: OldNames;
  readonly view_angle_degrees: number;
  readonly head: HeadData;
  readonly heads: readonly QuizHead[];
}

/** One answered question, as it is kept and handed out. */
export interface Row {
  readonly at: string;
  readonly head: string;
  readonly question: string;
  readonly answer: string;
  readonly right: string;
  readonly score: number; // 1 right, 0 wrong
  readonly off_mm: string;
  readonly along_mm: string;
  readonly across_mm: string;
}

const KEPT = "headfit-quiz";
const COLUMNS: readonly (keyof Row)[] = ["at", "head", "question", "answer", "right", "score", "off_mm", "along_mm", "across_mm"];

/** Rows on this device; where it keeps nothing, while the page is open. */
export class Results {
  rows: Row[] = [];

  constructor() {
    try {
      const kept: unknown = JSON.parse(localStorage.getItem(KEPT) ?? "[]");
      if (Array.isArray(kept)) this.rows = kept as Row[];
    } catch {
      this.rows = [];
    }
  }

  add(row: Row): void {
    this.rows.push(row);
    this.keep();
  }

  forget(): void {
    this.rows = [];
    this.keep();
  }

  private keep(): void {
    try {
      localStorage.setItem(KEPT, JSON.stringify(this.rows));
    } catch {
      // A browser that keeps nothing for a file: the rows stay until the page is closed.
    }
  }

  /** A cell that a spreadsheet would run as a formula begins with an apostrophe. */
  get csv(): string {
    const cell = (value: string | number): string => {
      const text = String(value);
      const safe = typeof value === "string" && /^[=+\-@\t\r]/.test(text) && !/^-?\d+(\.\d+)?$/.test(text) ? `'${text}` : text;
      return /[",\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
    };
    return [COLUMNS.join(","), ...this.rows.map((row) => COLUMNS.map((column) => cell(row[column])).join(","))].join("\n") + "\n";
  }
}
