// Tape lengths: what was typed, how a length is told, and marks told anew by a reading. mm.
// The rules are those of headfit/units.py and headfit/fitting/arc_readings.py; tests hold both together.
import type { Arc, ChairData, Step, Unit } from "./data";

export const MM_PER_UNIT: Readonly<Record<Unit, number>> = { mm: 1, cm: 10, inch: 25.4 };
const INCH_PARTS = 16;
const FAR_SD = 4; // a reading so far from what the others foresee is asked about

/** Millimetres of "36.2", "36,2", "14 1/4" or "14.2 in"; null for anything else. */
export function typed(text: string, unit: Unit): number | null {
  const found = /^\s*(?:(\d+(?:[.,]\d*)?|[.,]\d+)|(?:(\d+)\s+)?(\d{1,2})\s*\/\s*(2|4|8|16|32|64))\s*(mm|cm|in|inch|inches|")?\s*$/i.exec(text);
  if (!found) return null;
  const [, plain, whole, above, below, named] = found;
  if (above !== undefined && Number(above) >= Number(below)) return null;
  const number = plain !== undefined ? Number(plain.replace(",", ".")) : Number(whole ?? 0) + Number(above) / Number(below);
  const last = named?.toLowerCase();
  const own: Unit = last === "mm" || last === "cm" ? last : last ? "inch" : unit;
  return Number.isFinite(number) && number > 0 ? number * MM_PER_UNIT[own] : null;
}

/** A length as it is read off a tape: to the mm, or to 1/16 inch. */
export function told(mm: number, unit: Unit): string {
  if (unit === "mm") return mm.toFixed(0);
  if (unit === "cm") return (mm / 10).toFixed(1);
  const all = Math.round((mm / 25.4) * INCH_PARTS);
  const whole = Math.floor(all / INCH_PARTS);
  let parts = all % INCH_PARTS;
  let below = INCH_PARTS;
  if (!parts) return String(whole);
  while (parts % 2 === 0) [parts, below] = [parts / 2, below / 2];
  return `${whole ? `${whole} ` : ""}${parts}/${below}`;
}

/** Whether a reading says other than the case did. */
const isFresh = (data: ChairData, name: string, mm: number): boolean => !(name in data.tape) || Math.abs(data.tape[name]! - mm) >= 0.05;

/** Every length that is foreseen, with its spread, after the readings that were typed here. */
export function foreseen(data: ChairData, readings: Readonly<Record<string, number>>): Map<string, { mm: number; sd: number }> {
  const { names, values_mm, covariance_mm2, reading_spreads_mm } = data.lengths ?? { names: [], values_mm: [], covariance_mm2: [], reading_spreads_mm: [] };
  const values = [...values_mm];
  const spread = covariance_mm2.map((row) => [...row]);
  for (const [name, mm] of Object.entries(readings)) {
    const i = names.indexOf(name);
    if (i < 0 || !isFresh(data, name, mm)) continue;
    const column = spread.map((row) => row[i]!);
    const whole = column[i]! + reading_spreads_mm[i]! ** 2;
    const off = mm - values[i]!;
    for (let j = 0; j < names.length; j++) {
      values[j]! += (column[j]! / whole) * off;
      for (let k = 0; k < names.length; k++) spread[j]![k]! -= (column[j]! * column[k]!) / whole;
    }
  }
  return new Map(names.map((name, i) => [name, { mm: values[i]!, sd: Math.sqrt(Math.max(spread[i]![i]!, 0)) }]));
}

export interface InHand {
  readonly mm: number;
  readonly own: boolean;
  readonly source: string;
}

/** An arc as it is in hand: an own reading where there is one, otherwise as it is foreseen. */
export function inHand(data: ChairData, arc: Arc, readings: Readonly<Record<string, number>>, unit: Unit): InHand {
  const base = { mm: arc.length_mm, own: arc.own, source: arc.source };
  const fresh = Object.keys(readings).filter((name) => isFresh(data, name, readings[name]!));
  if (!fresh.length) return base;
  const all = { ...data.tape, ...readings };
  const own = readings[arc.reading || arc.name];
  if (own !== undefined && fresh.includes(arc.reading || arc.name)) return { mm: own, own: true, source: "own reading" };
  if (arc.ring_share && !(arc.reading in all)) {
    const side = arc.name.startsWith("left") ? "left" : "right";
    const other = all[side === "left" ? "right_ring" : "left_ring"];
    const ring = all["ring"];
    const halves = `${side}_ring_front` in all && `${side}_ring_back` in all;
    if (ring !== undefined && !halves) {
      if (other !== undefined && other < ring) return { mm: ring - other, own: true, source: `your ${told(ring, unit)} less ${told(other, unit)}` };
      const even = Math.abs(ring * (arc.ring_share - 0.5)) < 0.5;
      return { mm: ring * (even ? 0.5 : arc.ring_share), own: true, source: `${even ? "half" : "share"} of your ${told(ring, unit)}` };
    }
  }
  if (arc.own) return base;
  const now = foreseen(data, readings).get(arc.reading || arc.name);
  return now ? { mm: now.mm, own: false, source: "predicted, follows your readings" } : base;
}

/** A step with its number as it is now. */
export function numbered(data: ChairData, step: Step, readings: Readonly<Record<string, number>>, unit: Unit): Step {
  if (step.kind === "reading") {
    const mm = readings[step.arc];
    return mm === undefined ? step : { ...step, number_mm: mm, own: true, source: "own reading" };
  }
  const arc = data.arcs.find((each) => each.name === step.arc);
  if (!arc || step.number_mm === null) return step;
  const now = inHand(data, arc, readings, unit);
  const source = step.source === arc.source ? now.source : step.source;
  return { ...step, number_mm: step.share * now.mm, own: now.own, source };
}

/** Why a reading is not used, or is asked about; nothing where it fits. */
export function doubted(data: ChairData, name: string, mm: number, readings: Readonly<Record<string, number>>, unit: Unit): { refused: boolean; words: string; instead: number | null } | null {
  const kind = data.measurements[name];
  const { [name]: _own, ...others } = readings;
  const expected = foreseen(data, others).get(name);
  const low = kind?.lowest_mm ?? (expected ? expected.mm / 2 : 0);
  const high = kind?.highest_mm ?? (expected ? expected.mm * 2 : Infinity);
  const nearest = (tries: readonly number[]): number | null => {
    const fit = tries.filter((each) => each >= low && each <= high);
    const aim = expected?.mm ?? (low + high) / 2;
    return fit.sort((a, b) => Math.abs(a - aim) - Math.abs(b - aim))[0] ?? null;
  };
  if (mm < low || mm > high) {
    const instead = nearest([mm * 10, mm / 10, mm * 2.54, mm / 2.54, mm * 25.4, mm / 25.4, mm / 100]);
    const ask = instead === null ? "Read it again." : `Did you read ${told(instead, unit)}?`;
    return { refused: true, words: `${told(mm, unit)} not used. ${ask}`, instead };
  }
  if (!expected) return null;
  const i = data.lengths!.names.indexOf(name);
  const sd = Math.hypot(expected.sd, data.lengths!.reading_spreads_mm[i]!);
  if (Math.abs(mm - expected.mm) <= FAR_SD * sd) return null;
  return { refused: false, words: `The other readings ask for ${told(expected.mm, unit)} ± ${told(2 * sd, unit)}. Read it again, or use it.`, instead: null };
}
