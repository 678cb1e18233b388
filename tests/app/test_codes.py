"""Every code with which the app refuses something has its page, and every page a code."""

import ast
import re
from pathlib import Path

import headfit

PACKAGE = Path(headfit.__file__).parent
DOCS = PACKAGE.parent / "docs" / "messages.md"
# Codes of a sheet and of numbers, said by other parts too.
ELSEWHERE = {"sheet-empty", "not-a-number"}


def codes_in(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        values = [keyword.value for keyword in node.keywords if keyword.arg == "code"]
        if isinstance(node.func, ast.Name) and node.func.id == "refusal":
            values += node.args[2:3]
        found |= {value.value for value in values if isinstance(value, ast.Constant)}
    return found


def test_every_code_of_the_app_has_a_page_and_every_page_a_code() -> None:
    sources = [*(PACKAGE / "app").glob("*.py"), PACKAGE / "output" / "report.py"]
    codes = set().union(*(codes_in(path) for path in sources)) - ELSEWHERE
    assert len(codes) > 12
    section = DOCS.read_text(encoding="utf-8").split("\n## The app and the report\n")[1]
    assert set(re.findall(r"^#### (.+)$", section.split("\n## ")[0], re.MULTILINE)) == codes
