"""The demo case, fitted once for all tests that only look at it."""

from functools import cache
from importlib import resources
from pathlib import Path

from headfit.files.case_file import case_of_text
from headfit.files.results import CaseResult, fit_case

TEXT = (resources.files("headfit") / "demo" / "case.toml").read_text(encoding="utf-8")


@cache
def demo_result() -> CaseResult:
    return fit_case(case_of_text(TEXT, Path()))
