// The mailed report: its HTML stands already; the head comes to life where the browser can draw.
import type { HeadData, Legend, SceneData } from "./data";
import { place } from "./place";
import { link } from "./tables";
import type { Viewer } from "./viewer";

interface ReportData {
  readonly legend: Legend;
  readonly head: HeadData;
  readonly scene: SceneData;
}

export function report(text: string): Viewer | null {
  const data = JSON.parse(text) as ReportData;
  const host = document.getElementById("view")!;
  const placed = place(host, data.legend, { picked: (site) => joined.choose(site), touched: () => {} });
  const joined = link(document.getElementById("tables")!, () => placed?.viewer ?? null);
  if (!placed) return null;
  document.body.classList.add("drawn");
  placed.viewer.setHead(data.head);
  placed.viewer.setScene(data.scene);
  placed.tell(data.scene);
  return placed.viewer;
}
