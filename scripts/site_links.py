"""Every link of the built site: it leads somewhere, and nothing is loaded from outside."""

from __future__ import annotations

from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

# What a browser loads by itself; a link is only followed by a person.
_LOADED = {
    ("link", "href"),
    ("script", "src"),
    ("img", "src"),
    ("img", "srcset"),
    ("iframe", "src"),
}


class _Page(HTMLParser):
    """Links, loads and anchors of one page, and pictures without words."""

    def __init__(self) -> None:
        super().__init__()
        self.targets: list[tuple[str, bool]] = []
        self.anchors: set[str] = {"", "top"}
        self.wordless: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """One tag."""
        given = {name: value or "" for name, value in attrs}
        if "id" in given:
            self.anchors.add(given["id"])
        picture = given.get("src", "")
        # A thumbnail stands beside its title and says no more than that.
        if tag == "img" and not given.get("alt", "").strip() and "_thumb." not in picture:
            self.wordless.append(picture)
        for name in ("href", "src", "srcset"):
            if name in given and tag != "base":
                loaded = (tag, name) in _LOADED and given.get("rel") not in ("canonical", "author")
                self.targets.append((given[name].split(" ")[0], loaded))


@cache
def _read(path: Path) -> _Page:
    page = _Page()
    page.feed(path.read_text(encoding="utf-8"))
    return page


def broken_links(site: Path) -> list[str]:
    """A line for each dead link, each thing loaded from outside, each picture without words."""
    pages = sorted(site.rglob("*.html"))
    lines = [] if pages else [f"{site} has no page"]
    for path in pages:
        page = _read(path)
        where = path.relative_to(site)
        lines += [f"{where}: the picture {name} has no alt text" for name in page.wordless]
        for target, loaded in page.targets:
            if problem := _problem(path, target, loaded=loaded):
                lines.append(f"{where}: {target} {problem}")
    _read.cache_clear()
    return lines


def _problem(page: Path, target: str, *, loaded: bool) -> str:
    parts = urlsplit(target)
    if parts.scheme or parts.netloc:
        return "is loaded from outside" if loaded and parts.scheme != "data" else ""
    path = (page.parent / unquote(parts.path)).resolve() if parts.path else page
    if path.is_dir():
        path /= "index.html"
    if not path.is_file():
        return "leads to no file"
    if path.suffix == ".html" and unquote(parts.fragment) not in _read(path).anchors:
        return "leads to no place on its page"
    return ""
