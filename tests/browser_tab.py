"""A tab of Debian's Chromium, driven by Playwright; software GL, only this computer is asked."""

from __future__ import annotations

import shutil
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, CDPSession, Page, Playwright
from running_app import RunningApp

# A development dependency of the viewer, installed by scripts/build_viewer.
AXE = Path(__file__).parents[1] / "viewer/node_modules/axe-core/axe.min.js"
# WCAG 2.2 AA and its older parts.
AXE_RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

SIZE = (1280, 720)
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SOFTWARE_GL = ["--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]

# Moves the slider 90 times and waits each time for pixels that are really there: one is read back
# in the task that drew them. Milliseconds from the event to the pixels.
FOLLOW_SLIDER = """async () => {
  const slider = document.querySelector('#slider'), stage = headfit.viewer.stage;
  const gl = stage.renderer.getContext(), pixel = new Uint8Array(4), times = [];
  const told = stage.onDrawn;
  for (let i = 0; i < 90; i++) {
    const value = Number(slider.value) + (i % 20 < 10 ? 1 : -1);
    const drawn = new Promise(done => { stage.onDrawn = () => {
      told(); gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, pixel); done(); } });
    const start = performance.now();
    slider.value = String(value);
    slider.dispatchEvent(new Event('input'));
    await drawn;
    times.push(performance.now() - start);
  }
  stage.onDrawn = told;
  return times;
}"""


def launch(playwright: Playwright, *flags: str) -> Browser:
    """A browser without a window."""
    chromium = shutil.which("chromium")
    assert chromium, "Debian's chromium is missing: run scripts/setup --tests"
    return playwright.chromium.launch(
        executable_path=chromium, headless=True, args=[*FLAGS, *flags]
    )


def swipe(touch: CDPSession, start: float, end: float, height: float = 110.0) -> None:
    """One finger from one x to another, so far below the top of the window; pixels."""

    def send(kind: str, *places: float) -> None:
        points = [{"x": x, "y": height} for x in places]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    send("touchStart", start)
    send("touchMove", end)
    send("touchEnd")


@dataclass
class Tab:
    """A page with all it asked for and all it complained about.

    Attributes
    ----------
    page : Page
    urls : list of str
        Every request.
    complaints : list of str
        Uncaught errors, and errors on the console that no test expects.
    """

    page: Page
    urls: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.page.on("request", lambda request: self.urls.append(request.url))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", lambda said: self._heard(said.type, said.text))

    def _heard(self, kind: str, text: str) -> None:
        # A refused value is an answer of 4xx, which Chromium writes on the console by itself.
        expected = "the server responded with a status of 4" in text
        if kind == "error" and not expected:
            self.complaints.append(text)

    def until(self, expression: str, seconds: float = 30.0) -> object:
        """Wait until JavaScript is true. Not `wait_for_function`, which needs eval."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if found := self.page.evaluate(expression):
                return found
            self.page.wait_for_timeout(10)
        raise AssertionError(f"waited {seconds:g} s in vain for {expression}")

    def settle(self) -> None:
        """Wait until the program confirmed everything and the picture is drawn."""
        self.until("!headfit.app || (headfit.app.changes.idle && headfit.app.drawn)")
        self.page.evaluate(
            "() => new Promise(done => requestAnimationFrame(() => setTimeout(done)))"
        )

    def open_app(self, app: RunningApp) -> None:
        self.page.goto(app.address)
        self.until("!!(window.headfit && headfit.app)")
        self.settle()

    def where(self, site: str) -> tuple[float, float, bool]:
        """Where a site stands in the window, and whether it is seen."""
        found = self.page.evaluate("site => headfit.viewer.where(site)", site)
        return found["x"], found["y"], found["seen"]

    def chosen(self) -> str | None:
        """The chosen row of the table of sites."""
        row = self.page.query_selector("#panel-sites tr.chosen, #tables tr.chosen")
        return row.get_attribute("data-site") if row else None

    def mark_at(self, site: str) -> float:
        """Tape distance in the table, cm."""
        return float(self.page.inner_text(f"#panel-sites tr[data-site='{site}'] td:nth-child(2)"))

    def violations(self) -> list[dict[str, Any]]:
        """Findings of axe-core that are serious or critical."""
        self.page.evaluate(AXE.read_text(encoding="utf-8") + "; null")
        found = self.page.evaluate(
            "rules => axe.run(document, { runOnly: { type: 'tag', values: rules } })", AXE_RULES
        )
        assert len(found["passes"]) > 10  # it did look
        return [
            {"id": rule["id"], "nodes": [node["html"][:150] for node in rule["nodes"][:3]]}
            for rule in found["violations"]
            if rule["impact"] in ("serious", "critical")
        ]
