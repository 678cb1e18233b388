import "./style.css";
import { app } from "./app";
import { report } from "./report";
import type { Viewer } from "./viewer";

declare global {
  interface Window {
    /** For tests and the curious. */
    headfit: { viewer: Viewer | null; [name: string]: unknown };
  }
}

const carried = document.getElementById("headfit-report"); // there in a report only
window.headfit = { viewer: null };
if (carried) window.headfit.viewer = report(carried.textContent ?? "");
else
  void app().then((running) => {
    window.headfit["app"] = running;
    window.headfit.viewer = running?.placed?.viewer ?? null;
  });
