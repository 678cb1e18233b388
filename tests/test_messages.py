"""Every message has a stable code and its page: docs/messages.md against the source."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import numpy as np
import pytest

import headfit
from headfit.errors import HeadfitError

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "docs" / "messages.md").read_text(encoding="utf-8")
ENTRIES = re.findall(r"^#{3,4} ([a-z0-9-]+)$", PAGE, re.MULTILINE)
REMARKS = ("note", "correction", "doubt")


def codes_in_source() -> dict[str, str]:
    """Every literal code of an error or a remark, and a file that uses it."""
    found: dict[str, str] = {}
    for path in sorted((ROOT / "headfit").rglob("*.py")):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(call, ast.Call):
                continue
            given = [k.value for k in call.keywords if k.arg == "code"]
            if isinstance(call.func, ast.Name) and call.func.id in REMARKS:
                given += call.args[:1]
            for value in given:
                if isinstance(value, ast.Constant) and isinstance(value.value, str):
                    found[value.value] = path.name
    return found


def test_every_code_of_the_source_has_an_entry() -> None:
    codes = codes_in_source()
    assert len(codes) > 140
    assert sorted(set(codes) - set(ENTRIES)) == []


def test_every_entry_is_a_code_that_the_source_knows() -> None:
    """Codes of units are put together in checking/sizes.py; all others stand as they are."""
    made = {f"{what}-{how}" for what in ("unit", "landmark-unit") for how in ("wrong", "deduced")}
    text = "\n".join(p.read_text(encoding="utf-8") for p in (ROOT / "headfit").rglob("*.py"))
    assert [e for e in ENTRIES if f'"{e}"' not in text and e not in made] == []
    assert len(ENTRIES) == len(set(ENTRIES))


def test_every_entry_says_something() -> None:
    bodies = re.split(r"^#{3,4} [a-z0-9-]+$", PAGE, flags=re.MULTILINE)[1:]
    assert all(len(body.strip()) > 20 for body in bodies)


@pytest.mark.parametrize(
    ("cause", "code"),
    [
        (lambda: headfit.Tape(nasion_inion_mm=36.0), "tape-range"),
        (headfit.Tape, "sheet-empty"),
        (lambda: headfit.Tape(ring_mm=float("inf")), "not-a-number"),
        (lambda: headfit.Tape(ring_mm=350, preauricular_arc_mm=355), "sheet-contradiction"),
        (lambda: headfit.load_template("old"), "unknown-name"),
        (
            lambda: headfit.Landmarks(*np.eye(4, 3)),
            "landmark-too-near",
        ),
    ],
)
def test_an_error_carries_the_code_of_its_entry(cause: object, code: str) -> None:
    with pytest.raises(HeadfitError) as caught:
        cause()  # type: ignore[operator]
    assert caught.value.code == code
    assert code in ENTRIES


def test_the_example_of_the_page_is_what_is_said() -> None:
    with pytest.raises(HeadfitError) as caught:
        headfit.Tape(nasion_inion_mm=36.0)
    assert f'"{caught.value}"' in PAGE
