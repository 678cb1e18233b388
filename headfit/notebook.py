"""Plain tables for a notebook: every text escaped, nothing told by colour alone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

_MOST_ROWS = 100


def html_table(caption: str, header: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    """A table as HTML; of very many rows the first, the rest counted.

    >>> html_table("<1 mark>", ["name"], [["Cz"]])[:40]
    '<table><caption>&lt;1 mark&gt;</caption>'
    """
    head = _row("th", header)
    body = "".join(_row("td", row) for row in rows[:_MOST_ROWS])
    rest = len(rows) - _MOST_ROWS
    more = f"<p>and {rest} more</p>" if rest > 0 else ""
    return (
        f"<table><caption>{escape(caption)}</caption><thead>{head}</thead>"
        f"<tbody>{body}</tbody></table>{more}"
    )


def html_list(lines: Iterable[str]) -> str:
    """Sentences as an HTML list; nothing for none."""
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""


def _row(tag: str, cells: Iterable[object]) -> str:
    said = (f"{cell:.1f}" if isinstance(cell, float) else str(cell) for cell in cells)
    return "<tr>" + "".join(f"<{tag}>{escape(text)}</{tag}>" for text in said) + "</tr>"
