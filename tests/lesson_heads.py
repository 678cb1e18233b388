"""Four heads on which lessons are held against direct computation."""

from __future__ import annotations

from functools import cache
from importlib import resources

from demo_case import DEMO, solved_text
from published_scalp import average_scalp

from headfit import Case, Tape, solve_case
from headfit.case.solved import SolvedCase

SAMPLE = (resources.files("headfit") / "samples" / "case.toml").read_text(encoding="utf-8")


@cache
def head(name: str) -> SolvedCase:
    """The demo; a head flat on one side behind; a newborn by three tapes; a scan."""
    if name == "demo":
        return solved_text(DEMO)
    if name == "uneven":
        return solved_text(SAMPLE)
    if name == "newborn":
        tape = Tape(nasion_inion_mm=222, preauricular_arc_mm=228, ring_mm=340)
        return solve_case(Case(tape, label="newborn, invented", age="newborn"))
    return solve_case(Case(scan=average_scalp(), label="average scalp"))


HEADS = ("demo", "uneven", "newborn", "scan")
