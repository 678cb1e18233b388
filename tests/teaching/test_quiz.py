"""The quiz: its answers against direct calls, its misread tapes against headfit's own advice."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from lesson_heads import head

from headfit import Tape, advise, fit_head, place_sites
from headfit.fitting.measures import measure_head
from headfit.planning.scalp_paths import scalp_paths
from headfit.teaching.quiz import SHEET, Quiz, make_quiz


@cache
def quiz(of: str) -> Quiz:
    return make_quiz(head(of))


@pytest.mark.parametrize("of", ["demo", "newborn", "scan"])
def test_sites_and_distances_are_those_of_each_head(of: str) -> None:
    for each in quiz(of).heads:
        sites = place_sites(each.head, each.names)
        np.testing.assert_allclose(each.points_mm, sites.points_mm, atol=1e-6)
        (run,) = scalp_paths(sites.tracer, [(sites["C3"], sites["T7"])])
        at = each.names.index
        assert each.apart_cm[at("C3"), at("T7")] == pytest.approx(run.length_mm / 10)


def test_a_miss_along_the_arc_is_told_along_and_not_across() -> None:
    """On its own arc a little farther from its start: along is positive, across nothing."""
    for each in quiz("demo").heads[:2]:
        sites = place_sites(each.head, each.names)
        for k, name in enumerate(each.names):
            found = sites.arc_of(name)
            assert found is not None
            arc, fraction = found
            run = sites.tracer.run(arc)
            gap = run.point_mm(run.fraction(run.distance_mm(fraction) + 4.0)) - each.points_mm[k]
            assert gap @ each.along[k] == pytest.approx(4.0, abs=0.4)
            assert abs(gap @ each.across[k]) < 0.8


def test_heads_differ_from_each_other_and_from_try_to_try() -> None:
    apart = [each.apart_cm[0, -1] for each in quiz("demo").heads]
    assert len({round(value, 3) for value in apart}) == len(apart)
    other = make_quiz(head("demo"), seed=1)
    assert other.heads[1].apart_cm[0, -1] != pytest.approx(apart[1], abs=1e-3)
    again = make_quiz(head("demo"), seed=0)
    np.testing.assert_array_equal(again.heads[3].points_mm, quiz("demo").heads[3].points_mm)


def test_the_misread_tape_is_the_one_that_headfit_doubts_first() -> None:
    for each in quiz("demo").heads:
        sheet = each.sheet
        taken = measure_head(each.head).values_mm
        off = [r - taken[name] / 10 for r, name in zip(sheet.readings_cm, SHEET, strict=True)]
        assert abs(off[sheet.misread]) > 2.5
        assert max(abs(v) for k, v in enumerate(off) if k != sheet.misread) <= 0.051
        assert sheet.right_cm == pytest.approx(taken[SHEET[sheet.misread]] / 10, abs=0.051)
        readings = zip(SHEET, sheet.readings_cm, strict=True)
        tape = Tape(**{f"{name}_mm": 10 * cm for name, cm in readings})  # type: ignore[arg-type]
        advice = advise(fit_head(tape, sex="female"))
        assert advice.doubts[0].name == SHEET[sheet.misread]
