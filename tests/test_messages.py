"""docs/messages.md holds what is really said: every cause is run, and its sentence looked up."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from causes import CAUSES

import headfit
from headfit.errors import HeadfitError
from headfit.marks.remarks import Remark

PACKAGE = Path(headfit.__file__).parent
PAGE = PACKAGE.parent / "docs" / "messages.md"
# Where a code is given by position; everywhere else by keyword.
POSITION = {"note": 0, "correction": 0, "doubt": 0, "refusal": 2}
# Codes put together in marks/table_rows.py and marks/unit_detection.py, the only places that do.
BUILT = {
    "place-missing",
    "place-incomplete",
    "place-impossible",
    "not-scalp",
    "name-blank",
    "unit-wrong",
    "unit-deduced",
    "landmark-unit-wrong",
    "landmark-unit-deduced",
}
BUILDERS = {"table_rows.py", "unit_detection.py"}


@cache
def entries() -> dict[str, tuple[str, str]]:
    """Code -> what the page says of it, and its example in one line."""
    parts = re.split(r"^#### (.+)$", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    found = {}
    for code, body in zip(parts[1::2], parts[2::2], strict=True):
        assert code not in found, f"{code} has two entries"
        text = body.split("\n## ")[0].split("\n### ")[0].strip()
        told, _, example = text.partition("\n\n> ")
        found[code] = told, " ".join(example.replace("\n> ", "\n").split())
    return found


def codes_of_source() -> Iterator[tuple[str, str | None]]:
    """Every file and code an error or remark is made with; None where it is put together."""
    for path in PACKAGE.rglob("*.py"):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(call, ast.Call):
                continue
            given = [k.value for k in call.keywords if k.arg == "code"]
            name = call.func.id if isinstance(call.func, ast.Name) else ""
            if name in POSITION:
                given += call.args[POSITION[name] :][:1]
            elif path.name == "table_rows.py" and name == "make":
                given += call.args[:1]
            for value in given:
                if not isinstance(value, ast.Attribute):  # error.code is passed on
                    yield path.name, str(value.value) if isinstance(value, ast.Constant) else None


def said_by(code: str) -> tuple[str, str]:
    """What a cause says under a code, and how the page calls it."""
    try:
        made: Any = CAUSES[code]()
    except HeadfitError as error:
        all_said = [(error.code, "error", str(error))]
    else:
        if isinstance(made, dict):  # an answer of the app
            all_said = [(made["code"], "error", made["error"])]
        else:
            remarks: tuple[Remark, ...] = (made,) if isinstance(made, Remark) else made.remarks
            all_said = [(remark.code, remark.kind, remark.sentence) for remark in remarks]
    found = [(kind.capitalize(), said) for known, kind, said in all_said if known == code]
    assert found, all_said
    return found[0]


def matches(example: str, said: str) -> bool:
    r"""Whether an example is what was said; "…" stands for anything.

    >>> matches("lies … mm off", "lies 3 mm off"), matches("lies … mm off", "lies 3 mm on")
    (True, False)
    """
    form = ".+".join(re.escape(part) for part in example.split("…"))
    return re.fullmatch(form, " ".join(said.split())) is not None


def test_source_page_and_causes_know_the_same_codes() -> None:
    met = list(codes_of_source())
    codes = {code for _, code in met if code} | BUILT
    assert len(codes) > 140
    assert sorted(codes ^ entries().keys()) == []
    assert sorted(codes ^ CAUSES.keys()) == []
    assert {file for file, code in met if code is None} == BUILDERS


@pytest.mark.parametrize("code", sorted(entries()))
def test_the_example_of_the_page_is_what_is_said(
    code: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told, example = entries()[code]
    monkeypatch.chdir(tmp_path)
    kind, said = said_by(code)
    assert matches(example, said), f"the page: {example}\nsaid:     {said}"
    # An entry begins with the kind of its message, or with the status of the answer.
    assert re.match(rf"{kind}[.,] .{{20}}|4\d\d|500" if kind == "Error" else kind, told), told
