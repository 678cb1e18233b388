"""A page for every group of public names, from headfit/__init__.pyi and the docstrings."""

from __future__ import annotations

import ast
from pathlib import Path

import headfit

# A room of the package, and what it is called on the site.
TITLES = {
    "case": "A case and all that is computed for it",
    "fitting": "Measurements, fit and advice",
    "anatomy": "Heads, rules and sites",
    "planning": "Marking, free places, derivations",
    "marks": "Marks",
    "comparing": "Comparing",
    "cohort": "Studies",
    "files": "Files",
    "teaching": "Lessons",
    "output": "Sheet, report, record, picture",
    "errors": "Errors",
}


def public_names() -> dict[str, list[str]]:
    """Room -> its public names, in the order of the stub."""
    stub = Path(headfit.__file__).with_suffix(".pyi")
    found: dict[str, list[str]] = {}
    for node in ast.parse(stub.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.ImportFrom) and node.module:
            room = node.module.partition(".")[0]
            found.setdefault(room, []).extend(name.name for name in node.names)
    return found


def _entry(name: str) -> str:
    value = getattr(headfit, name)
    if isinstance(value, type):
        bare = issubclass(value, BaseException)
        options = "" if bare else "   :members:\n"
        return f".. autoclass:: headfit.{name}\n{options}"
    kind = "function" if callable(value) else "data"
    extra = "   :no-value:\n" if kind == "data" else ""
    return f".. auto{kind}:: headfit.{name}\n{extra}"


def api_pages() -> dict[str, str]:
    """Path -> reStructuredText.

    Raises
    ------
    KeyError
        A room without a title here.
    """
    names = public_names()
    pages = {}
    for room in sorted(names, key=list(TITLES).index):
        title = TITLES[room]
        body = "\n".join(map(_entry, names[room]))
        pages[f"reference/api/{room}.rst"] = f"{title}\n{'=' * len(title)}\n\n{body}"
    return pages
