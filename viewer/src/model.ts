// The deformable head, blended in the page: a slider is followed within a frame, the program confirms.
import type { Fit, ModelData } from "./api";
import { floats, octets, whole } from "./data";

export class Model {
  readonly template: Float32Array;
  readonly faces: Uint32Array;
  readonly part: Uint8Array;
  private readonly modes: Float32Array[];
  private readonly out: Float32Array;

  constructor(private readonly data: ModelData) {
    this.template = floats(data.head.vertices_mm);
    this.faces = whole(data.head.faces);
    this.part = octets(data.head.part);
    const all = floats(data.modes);
    const length = this.template.length;
    this.modes = data.columns.map((_, k) => all.subarray(k * length, (k + 1) * length));
    this.out = new Float32Array(length);
  }

  get age(): string | number {
    return this.data.age;
  }

  /** Vertices in the head frame; the array is used again by the next call. */
  vertices(fit: Pick<Fit, "parameters" | "rotation" | "shift"> | null): Float32Array {
    const { out, template } = this;
    const parameters = fit?.parameters ?? [];
    if (!fit) {
      out.set(template);
      return out;
    }
    const [ox, oy, oz] = this.data.origin_mm as [number, number, number];
    const [sx, sy, sz] = parameters.slice(0, 3).map(Math.exp) as [number, number, number];
    for (let i = 0; i < out.length; i += 3) {
      out[i] = ox + (template[i]! - ox) * sx;
      out[i + 1] = oy + (template[i + 1]! - oy) * sy;
      out[i + 2] = oz + (template[i + 2]! - oz) * sz;
    }
    this.data.columns.forEach((column, k) => {
      const weight = parameters[column]!;
      const mode = this.modes[k]!;
      if (weight) for (let i = 0; i < out.length; i++) out[i]! += weight * mode[i]!;
    });
    const [a, b, c, d, e, f, g, h, k] = fit.rotation as [number, number, number, number, number, number, number, number, number];
    const [tx, ty, tz] = fit.shift as [number, number, number];
    for (let i = 0; i < out.length; i += 3) {
      const [x, y, z] = [out[i]!, out[i + 1]!, out[i + 2]!];
      out[i] = a * x + b * y + c * z + tx;
      out[i + 1] = d * x + e * y + f * z + ty;
      out[i + 2] = g * x + h * y + k * z + tz;
    }
    return out;
  }

  /** The fit if some readings or shape modes had other values: along the slopes of the last one. */
  static foreseen(fit: Fit, values_mm: Readonly<Record<string, number>>): Pick<Fit, "parameters" | "rotation" | "shift"> | null {
    const parameters = [...fit.parameters];
    const frame = [...fit.rotation, ...fit.shift];
    for (const [name, value] of Object.entries(values_mm)) {
      const gain = fit.gain[name];
      const now = fit.now_mm[name];
      if (!gain || now === undefined) return null;
      gain.forEach((slope, k) => (parameters[k]! += slope * (value - now)));
      fit.frame_steps[name]!.forEach((step, k) => (frame[k]! += step * (value - now)));
    }
    return { parameters, rotation: frame.slice(0, 9), shift: frame.slice(9) };
  }
}
