"""The demo case with the sites of 10-10, solved once for all tests that only look at it."""

from functools import cache
from importlib import resources
from pathlib import Path

from headfit.case.solved import SolvedCase, solve_case
from headfit.files.case_file import case_of_text

DEMO = (resources.files("headfit") / "demo" / "case.toml").read_text(encoding="utf-8")
TEXT = DEMO.replace('system = "10-20"', 'system = "10-10"')
assert TEXT != DEMO


def solved_text(text: str, folder: Path = Path()) -> SolvedCase:
    """The case of a text, solved."""
    return solve_case(case_of_text(text, folder))


@cache
def demo_result() -> SolvedCase:
    return solved_text(TEXT)
