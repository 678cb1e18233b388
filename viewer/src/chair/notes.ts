// What was done and typed at the chair: plain data, each change a new one.
// The findings on impedances are those of headfit/case/impedances.py; tests hold both together.
import type { ChairData, Electrode, Notes, RecordTable, Step, Unit } from "./data";
import { typed } from "./lengths";

export const nothing = (data: ChairData): Notes => ({ tape: {}, arcs: {}, doubtful: data.doubtful, record: structuredClone(data.record) as RecordTable });

/** Readings that were typed, mm. */
export function readings(notes: Notes, unit: Unit): Record<string, number> {
  const found: Record<string, number> = {};
  for (const [name, text] of Object.entries({ ...notes.arcs, ...notes.tape })) {
    const mm = typed(text, unit);
    if (mm !== null) found[name] = mm;
  }
  return found;
}

export const isDone = (notes: Notes, step: Step): boolean => (notes.record.ticked ?? []).includes(step.key);

export function ticked(notes: Notes, key: string, on = true): Notes {
  const without = (notes.record.ticked ?? []).filter((each) => each !== key);
  return { ...notes, record: { ...notes.record, ticked: on ? [...without, key] : without } };
}

export const outsideKey = (step: Step): string => `outside ${step.name}`;

export function withDoubt(notes: Notes, landmark: string, on: boolean): Notes {
  const rest = notes.doubtful.filter((name) => name !== landmark);
  return { ...notes, doubtful: on ? [...rest, landmark] : rest };
}

const LEADS: Readonly<Record<string, "reference" | "ground">> = { reference: "reference", ground: "ground" };

/** What is charted of an electrode: a site, the reference, the ground or another lead. */
export function electrode(notes: Notes, step: Step): Electrode {
  const { record } = notes;
  const lead = LEADS[step.name];
  if (step.kind === "lead") return (lead ? record[lead] : record.other_leads?.find((each) => each.name === step.name)) ?? {};
  return record.sites?.find((each) => each.name === step.name) ?? {};
}

export function charted(notes: Notes, step: Step, one: Electrode): Notes {
  const told = Object.fromEntries(Object.entries(one).filter(([, value]) => value !== "" && value !== undefined)) as Electrode;
  // A place or an impedance tells that it was applied; one that was left out has neither.
  if (told.applied === false) for (const name of ["place", "impedance_kohm"] as const) delete told[name];
  const record: RecordTable = { ...notes.record };
  const lead = LEADS[step.name];
  if (step.kind === "lead" && lead) {
    const { name: _name, ...entries } = told;
    if (Object.keys(entries).length) record[lead] = entries;
    else delete record[lead];
  } else {
    const part = step.kind === "lead" ? "other_leads" : "sites";
    const others = (record[part] ?? []).filter((each) => each.name !== step.name);
    const named = { ...told, name: step.name };
    record[part] = Object.keys(named).length > 1 ? [...others, named] : others;
  }
  return { ...notes, record };
}

export const withText = (notes: Notes, name: "skin_before" | "skin_after" | "note" | "done_by" | "done_on", text: string): Notes => {
  const record: RecordTable = { ...notes.record, [name]: text };
  if (!text) delete record[name];
  return { ...notes, record };
};

const thousandth = (value: number): number => Math.round(value * 1000) / 1000;

/** What is above the limit, and what is not balanced. */
export function impedanceFindings(data: ChairData, notes: Notes): { high: string[]; uneven: string[] } {
  const { record } = notes;
  const limit = record.limit_kohm ?? data.limit_kohm;
  const balance = record.balance_kohm ?? data.balance_kohm;
  const kohm = new Map((record.sites ?? []).filter((one) => one.impedance_kohm !== undefined).map((one) => [one.name!, one.impedance_kohm!]));
  const leads = [["reference", record.reference], ["ground", record.ground], ...(record.other_leads ?? []).map((one) => [one.name!, one] as const)] as const;
  const every = [...kohm, ...leads.filter(([, one]) => one?.impedance_kohm !== undefined).map(([name, one]) => [name, one!.impedance_kohm!] as const)];
  const words = (name: string, value: number): string => `${name} ${value} kΩ`;
  const apart = (one: number, other: number): boolean => thousandth(Math.abs(one - other)) > balance;
  const uneven: string[] = [];
  const named = new Set<string>();
  for (const [name, value] of kohm) {
    const twin = data.mirrored[name] ?? name;
    const other = kohm.get(twin);
    if (other === undefined || named.has(name) || !apart(value, other)) continue;
    uneven.push(`${words(name, value)} and ${words(twin, other)}`);
    named.add(name).add(twin);
  }
  if (kohm.size >= data.least_for_middle) {
    const sorted = [...kohm.values()].sort((a, b) => a - b);
    const half = sorted.length / 2;
    const middle = thousandth(sorted.length % 2 ? sorted[Math.floor(half)]! : (sorted[half - 1]! + sorted[half]!) / 2);
    const reference = record.reference?.impedance_kohm;
    for (const [name, value] of [...kohm, ...(reference === undefined ? [] : [["reference", reference] as const])]) {
      if (!named.has(name) && apart(value, middle)) uneven.push(`${words(name, value)} against ${middle} kΩ, the middle of all`);
    }
  }
  return { high: every.filter(([, value]) => value > limit).map(([name, value]) => words(name, value)), uneven };
}

/** What is carried back into the case: a small text. */
export function carried(data: ChairData, notes: Notes): string {
  return JSON.stringify({ headfit_chair: 1, label: data.label, checksum: data.checksum, ...notes }, null, 1);
}
