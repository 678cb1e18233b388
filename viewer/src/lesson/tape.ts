// Lengths on a tape, told in the unit in which the person whose case it is reads the tape (headfit/units.py has the same).
const INCH_CM = 2.54;
const PARTS = 16;

let told = "cm";

export const tellIn = (unit: string): void => void (told = unit);
export const tapeUnit = (): string => told;

/** A length of so many centimetres as it is read off a tape: to the mm, or to 1/16 inch. */
export function tape(cm: number): string {
  if (told === "mm") return (10 * cm).toFixed(0);
  if (told !== "inch") return cm.toFixed(1);
  const all = Math.round((cm / INCH_CM) * PARTS);
  const [whole, parts] = [Math.floor(all / PARTS), all % PARTS];
  if (!parts) return String(whole);
  let [top, bottom] = [parts, PARTS];
  while (top % 2 === 0) [top, bottom] = [top / 2, bottom / 2];
  return `${whole ? `${whole} ` : ""}${top}/${bottom}`;
}

/** The centimetres of a typed length: 6.5, 6,5 or, in inches, 2 1/2 as well; NaN where it is none. */
export function typedCm(text: string): number {
  const fraction = /^\s*(?:(\d+)\s+)?(\d+)\s*\/\s*(\d+)\s*$/.exec(text);
  const number = fraction ? Number(fraction[1] ?? 0) + Number(fraction[2]) / Number(fraction[3]) : text.trim() ? Number(text.trim().replace(",", ".")) : NaN;
  return number * (told === "inch" ? INCH_CM : told === "mm" ? 0.1 : 1);
}
