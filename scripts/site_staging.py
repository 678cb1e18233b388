"""The pages of the site as Sphinx reads them: docs/ copied, what is made from the code put in.

A line ``<!-- made: NAME -->`` of a page stands for a table of `site_tables.TABLES`. A file is
written only when it changed, so that Sphinx reads again only what did.
"""

from __future__ import annotations

import io
import re
from pathlib import Path

from site_reference import api_pages
from site_tables import TABLES, accuracy_rows, bench_fit

MARKER = re.compile(r"^<!-- made: ([a-z_]+) -->$", re.MULTILINE)
# Pages at the top of the checkout, and how links between them and docs/ read on the site.
TOP_PAGES = ("DEVELOPERS.md", "CHANGELOG.md")
_MOVED_LINKS = (("](../DEVELOPERS.md)", "](DEVELOPERS.md)"), ("](docs/", "]("))
# The looks of drawings, from the page of the app.
LOOKS = ("tokens.css", "drawings.css")
_COPIED = {".md", ".py", ".rst", ".css", ".png", ".svg"}


def filled(text: str) -> str:
    """A page with its tables.

    Raises
    ------
    KeyError
        No such table.
    """
    return MARKER.sub(lambda found: TABLES[found[1]]().rstrip("\n"), text)


def staged_files(root: Path) -> dict[str, bytes]:
    """Every file of the source of the site, by its path in there."""
    docs = root / "docs"
    files = {
        path.relative_to(docs).as_posix(): path.read_bytes()
        for path in sorted(docs.rglob("*"))
        if path.suffix in _COPIED and "__pycache__" not in path.parts
    }
    for name in TOP_PAGES:
        files[name] = (root / name).read_bytes()
    for name, content in files.items():
        if name.endswith(".md"):
            text = filled(content.decode("utf-8"))
            for there, here in _MOVED_LINKS:
                text = text.replace(there, here)
            files[name] = text.encode("utf-8")
    looks = "".join((root / "viewer" / "src" / name).read_text(encoding="utf-8") for name in LOOKS)
    # The theme of a page of the site is said by its body.
    files["static/drawings.css"] = looks.replace(":root", "body").encode("utf-8")
    files["made/accuracy.svg"] = accuracy_chart()
    files["made/bench_fit.svg"] = bench_fit_chart()
    return files | {name: text.encode("utf-8") for name, text in api_pages().items()}


def accuracy_chart() -> bytes:
    """The mean errors of the table of accuracy as bars, an SVG."""
    _, *rows = accuracy_rows()
    errors = [float(row[1].removesuffix(" mm")) for row in rows]
    label = "mean error of the 19 scalp sites of 10-20 (mm), people left out"
    return _bars([row[0] for row in rows], {"": errors}, label)


def bench_fit_chart() -> bytes:
    """The errors of drawn heads as bars, from an exact tape and with noise, an SVG."""
    found = bench_fit()
    errors = {
        title: [each[key] for each in found["sheets"]]
        for title, key in (("exact tape", "mean"), (f"{found['noise_mm']:g} mm noise", "noisy"))
    }
    label = f"mean error of the 19 scalp sites of 10-20 (mm), {found['heads']}"
    return _bars([each["sheet"] for each in found["sheets"]], errors, label)


def _bars(names: list[str], values: dict[str, list[float]], label: str) -> bytes:
    """A group of bars for each name, one bar for each title of `values`."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context({"svg.hashsalt": "headfit", "svg.fonttype": "none"}):
        figure = Figure(figsize=(8, 1.2 + 0.35 * len(names) * len(values)), layout="constrained")
        axes = figure.add_subplot()
        high = 0.8 / len(values)
        for k, (title, lengths) in enumerate(values.items()):
            at = [row + (k - (len(values) - 1) / 2) * high for row in range(len(names))]
            bars = axes.barh(at, lengths, high, color=("#2a5a8c", "#b9772b")[k], label=title)
            axes.bar_label(bars, fmt="%.1f mm")
        axes.set_yticks(range(len(names)), names)
        axes.invert_yaxis()
        axes.margins(x=0.12)  # room for the numbers
        axes.set_xlabel(label)
        if len(values) > 1:
            axes.legend()
        out = io.BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None})
    return out.getvalue()


def stage(root: Path, target: Path) -> None:
    """Write the source of the site; what is of no page any more is taken away."""
    files = staged_files(root)
    for path in sorted(target.rglob("*")):
        made_by_gallery = path.relative_to(target).parts[0] == "examples"
        if (
            path.is_file()
            and not made_by_gallery
            and path.relative_to(target).as_posix() not in files
        ):
            path.unlink()
    for name, content in files.items():
        path = target / name
        if not path.is_file() or path.read_bytes() != content:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
