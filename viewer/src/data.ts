// The scene as it arrives from Python (headfit/output/page.py): JSON, arrays as base64. Millimetres, head frame.

export type Vec3 = readonly [number, number, number];

export interface State {
  readonly words: string;
  readonly sign: string;
  readonly body: "ball" | "box" | "octahedron" | "cone";
  readonly colour: string;
}

export interface CameraPreset {
  readonly title: string;
  readonly toward: Vec3;
  readonly up: Vec3;
  readonly focus: "head" | "nasion";
  readonly height_share: number;
}

export interface Legend {
  readonly states: Readonly<Record<string, State>>;
  readonly cameras: Readonly<Record<string, CameraPreset>>;
  readonly layers: Readonly<Record<string, string>>;
  readonly view_angle_degrees: number;
  readonly head_colour: string;
  readonly line_colours: Readonly<Record<"arcs" | "uncertainty" | "moves" | "chains" | "regions", string>>;
}

export interface HeadData {
  readonly vertices_mm: string;
  readonly faces: string; // uint32: a scan may have more than 65,535 vertices
  readonly part: string;
}

export interface Line {
  readonly name: string;
  /** An own reading; otherwise `words` say that it is predicted and how sure. */
  readonly taped: boolean;
  readonly words: string;
  readonly points_mm: string;
  readonly length_mm: number;
}

export interface Site {
  readonly name: string;
  /** As it is called in every picture. */
  readonly label: string;
  readonly point_mm: Vec3;
  readonly normal: Vec3;
  readonly state: string;
  readonly rank: number;
  readonly arc: string;
  readonly start: string;
  readonly from_start_mm: number | null;
  readonly taped: boolean;
  readonly sure_mm: number | null;
  readonly deviation_mm: number | null;
  readonly note: string;
}

export interface Outline {
  readonly site: string;
  readonly outline_mm: string;
}

export interface Arrow {
  readonly site: string;
  /** From a mark to its site, or from the own place of a site to where it was moved. */
  readonly kind: "mark" | "moved";
  readonly start_mm: Vec3;
  readonly end_mm: Vec3;
  readonly words: string;
}

export interface Derivation {
  readonly first: string;
  readonly second: string;
  readonly path_mm: string;
  readonly length_mm: number;
  readonly note: string;
}

export interface Chain {
  readonly name: string;
  readonly derivations: readonly Derivation[];
}

export interface Region {
  readonly name: string;
  readonly outline_mm: string;
  readonly reason: string;
}

export interface SceneData {
  readonly title: string;
  readonly captions: readonly string[];
  readonly focus_mm: Vec3;
  readonly height_mm: number;
  readonly landmarks: readonly { readonly name: string; readonly point_mm: Vec3 }[];
  readonly arcs: readonly Line[];
  readonly sites: readonly Site[];
  readonly ellipses: readonly Outline[];
  readonly arrows: readonly Arrow[];
  readonly chains: readonly Chain[];
  readonly regions: readonly Region[];
}

function bytes(text: string): ArrayBuffer {
  const raw = atob(text);
  const out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
  return out.buffer;
}

export const floats = (text: string): Float32Array => new Float32Array(bytes(text));
export const whole = (text: string): Uint32Array => new Uint32Array(bytes(text));
export const octets = (text: string): Uint8Array => new Uint8Array(bytes(text));
