// The figures of a step, unpacked once.
import { Track, type DotsData, type Mix, type OutlinesData, type StepData, type TapeData } from "./data";

interface Placed {
  readonly points: Track;
  readonly normals: Track;
}

const placed = (data: { points: TapeData["points"]; normals: TapeData["normals"] }): Placed =>
  ({ points: new Track(data.points), normals: new Track(data.normals) });

export class Shown {
  readonly tapes: readonly (Placed & { readonly data: TapeData })[];
  readonly dots: readonly (Placed & { readonly data: DotsData; readonly own: Track | null })[];
  readonly outlines: readonly (Placed & { readonly data: OutlinesData })[];
  readonly vertices: Moves | null;

  constructor(readonly step: StepData) {
    this.tapes = step.tapes.map((data) => ({ data, ...placed(data) }));
    this.dots = step.dots.map((data) => ({ data, own: data.own ? new Track(data.own) : null, ...placed(data) }));
    this.outlines = step.outlines.map((data) => ({ data, ...placed(data) }));
    this.vertices = step.vertices ? new Moves(step.vertices) : null;
  }
}

/** How the vertices of the head go from its own shape, in whole steps. */
class Moves {
  private readonly moves: Int16Array;
  private readonly size: number;

  constructor(private readonly data: NonNullable<StepData["vertices"]>) {
    const raw = atob(data.moves);
    const bytes = Uint8Array.from(raw, (letter) => letter.charCodeAt(0));
    this.moves = new Int16Array(bytes.buffer);
    this.size = this.moves.length / data.states;
  }

  onto(base: Float32Array, mix: Mix, out: Float32Array): void {
    out.set(base);
    for (const [state, share] of mix) {
      const from = state * this.size;
      const by = share * this.data.step_mm;
      for (let i = 0; i < this.size; i++) out[i]! += by * this.moves[from + i]!;
    }
  }
}
