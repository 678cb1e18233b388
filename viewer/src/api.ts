// Talk with the program on this computer: the key comes in the fragment of the address and goes in a header.
import type { RecordTable } from "./chair/data";
import type { HeadData, Legend, SceneData } from "./data";
import type { TableData } from "./tables";

export interface Measurement {
  readonly name: string;
  readonly title: string;
  readonly how: string;
  readonly tool: string;
  readonly lowest_mm: number;
  readonly highest_mm: number;
}

/** A mode in words; `below` and `above` say what a value on that side of 0 means. */
export interface HandMode {
  readonly name: string;
  readonly most_mm: number;
  readonly title: string;
  readonly below: string;
  readonly above: string;
  readonly common: boolean;
}

export interface Start {
  readonly version: string;
  readonly legend: Legend;
  readonly groups: readonly { readonly title: string; readonly measurements: readonly Measurement[] }[];
  readonly systems: readonly string[];
  readonly ages: readonly { readonly name: string; readonly title: string }[];
  readonly sexes: readonly string[];
  readonly units: Readonly<Record<string, number>>;
  readonly alignments: readonly { readonly name: string; readonly title: string }[];
  readonly largest_file_bytes: number;
  readonly marks_endings: readonly string[];
  readonly hand_modes: readonly HandMode[];
  readonly landmarks: readonly { readonly name: string; readonly title: string }[];
  readonly rules: Readonly<Record<string, readonly string[]>>;
  readonly montages: readonly { readonly name: string; readonly title: string }[];
}

export interface ModelData {
  readonly age: string | number;
  readonly head: HeadData;
  readonly origin_mm: readonly number[];
  readonly columns: readonly number[];
  readonly modes: string;
}

export interface Fit {
  readonly parameters: readonly number[];
  readonly rotation: readonly number[];
  readonly shift: readonly number[];
  readonly frame_steps: Readonly<Record<string, readonly number[]>>;
  readonly gain: Readonly<Record<string, readonly number[]>>;
  readonly measured_mm: Readonly<Record<string, number>>;
  /** Where each value stands that can be moved: readings and shape modes. */
  readonly now_mm: Readonly<Record<string, number>>;
}

export interface FreePlace {
  readonly site: string | null;
  readonly point_mm: readonly number[] | null;
  readonly polygon_mm: readonly (readonly number[])[];
  readonly radius_mm: number;
  readonly reason: string;
}

export interface CaseData {
  readonly label: string;
  readonly age: string | number;
  readonly age_words: string;
  readonly sex: string | null;
  readonly system: string;
  readonly unit: string;
  readonly tape: Readonly<Record<string, string>>;
  readonly doubtful: readonly string[];
  readonly shape: Readonly<Record<string, number>>;
  readonly rules: Readonly<Record<string, string>>;
  readonly free: readonly FreePlace[];
  readonly move_alone: boolean;
  readonly old_names: boolean;
  readonly derivations: string | null;
  readonly derivations_file: string | null;
  readonly marks: string | null;
  readonly align: string;
  readonly measured_by: string;
  readonly measured_on: string;
  readonly note: string;
  readonly invented: boolean;
  readonly record: RecordTable;
}

export interface Quick {
  readonly revision: number;
  readonly file: string;
  readonly folder: string;
  readonly saved: boolean;
  /** No file holds the case yet. */
  readonly never_saved: boolean;
  readonly found: string;
  /** What undo takes back and redo makes again, in words; empty where there is nothing. */
  readonly undo: string;
  readonly redo: string;
  readonly case: CaseData;
  readonly elsewhere: readonly string[];
  readonly fit: Fit | null;
  readonly scene: SceneData;
  readonly tables: Readonly<Record<string, TableData>>;
}

export interface State extends Quick {
  readonly problem: string;
  /** Checksum of all that the steps at the chair follow from. */
  readonly chair: string;
  readonly predicted_mm: Readonly<Record<string, number>>;
  /** Half of the range in which each lies with 95 %. */
  readonly sure_mm: Readonly<Record<string, number>>;
  /** Readings that the others contradict, and what to do. */
  readonly doubted: Readonly<Record<string, string>>;
  /** Measurements in the order in which this age is measured. */
  readonly groups: readonly { readonly title: string; readonly names: readonly string[] }[];
  /** A reduced array that is usual at this age, or none. */
  readonly offer: { readonly system: string; readonly words: string; readonly button: string } | null;
  readonly sentences: Readonly<Record<string, readonly string[]>>;
  readonly commands: Readonly<Record<string, string>>;
}

/** Not accepted, with the sentence that says why. */
export class Refusal extends Error {
  constructor(
    readonly status: number, message: string, readonly refused: Readonly<Record<string, string>>, readonly freeName = "",
    /** What was likely meant. */
    readonly instead: Readonly<Record<string, string>> = {},
    /** The case as it stands when the refusal took back what was half done. */
    readonly state: State | null = null,
  ) {
    super(message);
  }
}

/** The program does not answer any more. */
export class Gone extends Error {}

export class Program {
  private readonly key: string;

  constructor() {
    const given = new URLSearchParams(location.hash.slice(1)).get("key");
    if (given) sessionStorage.setItem("headfit-key", given); // survives a reload, not the window
    this.key = given ?? sessionStorage.getItem("headfit-key") ?? "";
    history.replaceState(null, "", location.pathname);
  }

  /** The page of the lessons on this case, for another window. */
  get lessons(): string {
    return `lesson.html#key=${this.key}`;
  }

  private async ask(path: string, init: RequestInit): Promise<Response> {
    let response: Response;
    const headers = { Authorization: `Bearer ${this.key}`, ...(init.body ? { "Content-Type": "application/json" } : {}) };
    try {
      response = await fetch(`api/${path}`, { ...init, headers });
    } catch {
      throw new Gone();
    }
    if (response.ok) return response;
    type Said = { error?: string; refused?: Record<string, string>; free_name?: string; instead?: Record<string, string>; state?: State | null };
    const said = (await response.json().catch(() => ({}))) as Said;
    throw new Refusal(
      response.status, said.error ?? `the program answered ${response.status}`, said.refused ?? {}, said.free_name ?? "", said.instead ?? {}, said.state ?? null,
    );
  }

  async get<T>(path: string): Promise<T> {
    return (await this.ask(path, {})).json() as Promise<T>;
  }

  async post<T>(path: string, body: object): Promise<T> {
    return (await this.ask(path, { method: "POST", body: JSON.stringify(body) })).json() as Promise<T>;
  }

  /** Hand a made file to the person. */
  async download(kind: string, paper: string): Promise<string> {
    const response = await this.ask(`export?kind=${kind}&paper=${paper}`, {});
    const name = /filename="([^"]+)"/.exec(response.headers.get("content-disposition") ?? "")?.[1] ?? "headfit";
    const address = URL.createObjectURL(await response.blob());
    const link = document.createElement("a");
    link.href = address;
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(address), 10_000);
    return name;
  }
}
