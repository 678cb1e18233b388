"""What is marked on the head of a case."""

from dataclasses import replace
from pathlib import Path

import pytest
from demo_case import demo_result
from dirty_marks import dirty_marks

from headfit import load_template, place_sites
from headfit.app.case_comparison import compare_case
from headfit.app.case_plan import content_of, displaced, plan_case
from headfit.comparing.alignment_kinds import ALIGNMENTS
from headfit.files.case_file import case_of_text

CASE = case_of_text(
    """
    [tape]
    unit = "cm"
    ring = 56
    [[free]]
    site = "P3"
    radius_mm = 14
    """,
    Path(),
)


@pytest.mark.parametrize("alone", [False, True])
def test_a_homologue_moves_too_unless_the_case_says_otherwise(alone: bool) -> None:
    found = displaced(replace(CASE, move_alone=alone), place_sites(load_template(), "10-20"))
    assert found is not None
    assert {move.site for move in found.moves} == ({"P3"} if alone else {"P3", "P4"})


@pytest.mark.parametrize("align", ALIGNMENTS)
def test_the_marks_of_a_case_are_aligned_as_it_says(tmp_path: Path, align: str) -> None:
    marks = tmp_path / "marks.tsv"
    marks.write_text(dirty_marks(), encoding="utf-8")
    case = replace(demo_result().case, marks_file=marks, align=align)
    assert compare_case(case, demo_result()).aligned_by == align


def test_the_sheet_says_which_landmark_was_hard_to_find() -> None:
    plan = plan_case(demo_result().case)
    assert "Hard to find: inion." in content_of(plan).notes
