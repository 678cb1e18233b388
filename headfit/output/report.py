"""The report: one HTML file that opens anywhere, asks for nothing and prints.

Tables and line drawings are plain HTML, so that it reads without JavaScript and without WebGL;
where both are there the same viewer as in the app takes the place of the drawings. Its own content
policy forbids every request. Any text in it may be hostile: all of it is escaped.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

from headfit.errors import FileFormatError, sentence
from headfit.output.cameras import CAMERAS
from headfit.output.drawing import line_drawing
from headfit.output.page import head_data, legend, scene_data, script_text
from headfit.output.scene import Scene
from headfit.output.tables import Table, table_html

CONTENT_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data: blob:; base-uri 'none'; form-action 'none'"
)
_STATIC = Path(__file__).parents[1] / "app" / "static"
_DRAWN = ("left", "right", "front", "back", "top")


@dataclass(frozen=True)
class Section:
    """A part of the report: a heading, facts, sentences, tables, and a drawing as SVG or none.

    A fact is a word and what stands behind it, such as ("Age", "adult").
    """

    title: str
    sentences: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    drawing: str = ""
    facts: tuple[tuple[str, str], ...] = ()


def report_html(
    scene: Scene, sections: Iterable[Section], *, commands: Sequence[str] = (), version: str = ""
) -> str:
    """The whole report.

    Parameters
    ----------
    scene : Scene
    sections : iterable of Section
        In the order in which they are read.
    commands : sequence of str
        Command lines that make the same results again.
    version : str
        Of the program.

    Raises
    ------
    FileFormatError
        The viewer's files are missing from this installation.
    """
    title = scene.title or "Head report"
    data = {"legend": legend(), "head": head_data(scene.head), "scene": scene_data(scene)}
    drawings = "".join(
        f"<figure>{line_drawing(scene, camera)}<figcaption>{escape(CAMERAS[camera].title)}"
        "</figcaption></figure>"
        for camera in _DRAWN
    )
    captions = "".join(f"<li>{escape(caption)}</li>" for caption in scene.captions)
    again = "".join(f"<code>{escape(command)}</code>" for command in commands)
    if again:
        again = f"<details><summary>The same from a terminal</summary>{again}</details>"
    script = built_file("view.js").replace("</script", r"<\/script")
    body = "".join(_section(section) for section in sections)
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{CONTENT_POLICY}">
<link rel="icon" href="data:,">
<title>{escape(title)}</title><style>{built_file("view.css")}</style></head>
<body class="report"><header><h1>{escape(title)}</h1><ul class="captions">{captions}</ul></header>
<main><section id="look" aria-label="The head"><div id="view"></div>
<div id="drawings">{drawings}</div></section>
<div id="tables">{body}</div></main>
<footer><p>Made by headfit {escape(version)}.</p>{again}</footer>
<script type="application/json" id="headfit-report">{script_text(data)}</script>
<script type="module">{script}</script>
</body></html>
"""


def plain_page(title: str, sections: Iterable[Section], version: str = "") -> str:
    """A page of sections alone, for one of many people: no head, no script.

    Parameters
    ----------
    title : str
    sections : iterable of Section
    version : str
        Of the program.
    """
    body = "".join(_section(section) for section in sections)
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{CONTENT_POLICY}">
<link rel="icon" href="data:,">
<title>{escape(title)}</title><style>{built_file("view.css")}</style></head>
<body class="report"><header><h1>{escape(title)}</h1></header>
<main><div id="tables">{body}</div></main>
<footer><p>Made by headfit {escape(version)}.</p></footer>
</body></html>
"""


def _section(section: Section) -> str:
    facts = "".join(
        f"<div><dt>{escape(word)}</dt><dd>{escape(text)}</dd></div>" for word, text in section.facts
    )
    if facts:
        facts = f'<dl class="facts">{facts}</dl>'
    sentences = "".join(f"<p>{escape(text)}</p>" for text in section.sentences)
    # Where a table is wider than a phone it scrolls, by keyboard too.
    around = f'class="scroll" tabindex="0" role="region" aria-label="{escape(section.title)}"'
    tables = "".join(f"<div {around}>{table_html(table)}</div>" for table in section.tables)
    whole = ' class="whole"' if section.drawing else ""  # a heading stays with its drawing
    heading = f"<h2>{escape(section.title)}</h2>"
    return f"<section{whole}>{heading}{facts}{sentences}{tables}{section.drawing}</section>"


def built_file(name: str) -> str:
    """The text of a built file of the viewer.

    Raises
    ------
    FileFormatError
        It is missing from this installation.
    """
    file = _STATIC / name
    if not file.is_file():
        raise FileFormatError(
            sentence("the viewer", "lie in the package", f"no {name}", "install headfit again"),
            code="viewer-missing",
        )
    return file.read_text(encoding="utf-8")
