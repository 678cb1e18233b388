"""Every code of a message about marks has its page, and every page a message."""

import ast
import re
from pathlib import Path

import headfit
from headfit.checking.remarks import doubt, listed, note, refuse_if_strict

PACKAGE = Path(headfit.__file__).parent
DOCS = PACKAGE.parent / "docs" / "messages.md"
SOURCES = [
    *(PACKAGE / "checking").glob("*.py"), *(PACKAGE / "files").glob("marks_*.py"),
    PACKAGE / "files" / "coordsystem.py", PACKAGE / "geometry" / "rigid.py",
    PACKAGE / "anatomy" / "montage.py",
]  # fmt: skip
# Codes made of parts: of a row that is left out, and of the unit of marks or landmarks.
BUILT = {
    "place-missing", "place-incomplete", "place-impossible", "not-scalp", "name-blank",
    "unit-wrong", "landmark-unit-wrong", "landmark-unit-deduced",
}  # fmt: skip


def codes_in(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        values = [k.value for k in node.keywords if k.arg == "code"]
        if isinstance(node.func, ast.Name) and node.func.id in ("note", "correction", "doubt"):
            values += node.args[:1]
        found |= {v.value for v in values if isinstance(v, ast.Constant)}
    return found


def pages() -> dict[str, str]:
    section = DOCS.read_text(encoding="utf-8").split("\n## Marks: reading, cleaning, comparing\n")[
        1
    ]
    section = section.split("\n## ")[0]
    parts = re.split(r"\n#### (.+)\n", section)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def test_every_code_has_a_page_and_every_page_a_code() -> None:
    codes = set().union(*(codes_in(path) for path in SOURCES)) | BUILT
    assert len(codes) > 60
    assert set(pages()) == codes


def test_every_page_says_the_kind_first_and_something_after_it() -> None:
    for code, text in pages().items():
        kind, _, rest = text.strip().partition(". ")
        assert kind.split(",")[0] in ("Error", "Note", "Correction", "Doubt"), code
        assert len(rest) > 20, code


def test_the_kind_of_every_remark_is_the_one_on_its_page() -> None:
    told = {
        code: text.strip().split(".")[0].split(",")[0].casefold() for code, text in pages().items()
    }
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
                and node.func.id in ("note", "correction", "doubt") and node.args
                and isinstance(node.args[0], ast.Constant)
            ):  # fmt: skip
                assert told[node.args[0].value] == node.func.id, node.args[0].value


def test_strict_lets_notes_pass_and_names_the_first_of_the_others() -> None:
    refuse_if_strict([note("crlf", "lines end in CR LF")], "a.tsv")
    try:
        refuse_if_strict([doubt("a", "first"), doubt("b", "second")], "a.tsv")
    except ValueError as error:
        said = str(error)
    assert said == "a.tsv must need no correction when read strictly, got: first, and 1 more"


def test_long_lists_are_counted() -> None:
    assert listed("abc") == "a, b, c"
    assert listed("abcdefgh") == "a, b, c, d, e, f and 2 more"
