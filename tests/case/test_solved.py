"""Everything computed for a case, by one path."""

from dataclasses import replace
from pathlib import Path

import pytest
from demo_case import demo_result, solved_text
from dirty_marks import dirty_marks

from headfit.case.solved import solve_case
from headfit.comparing.alignment_kinds import ALIGNMENTS
from headfit.files.marks_files import read_marks
from headfit.output.case_sheet import sheet_content

ONE_FREE = """
[tape]
unit = "cm"
ring = 56
[[free]]
site = "P3"
radius_mm = 14
"""


@pytest.mark.parametrize("alone", [False, True])
def test_a_homologue_moves_too_unless_the_case_says_otherwise(alone: bool) -> None:
    case = replace(solved_text(ONE_FREE).case, move_alone=alone)
    found = solve_case(case).displacement
    assert found is not None
    assert {move.site for move in found.moves} == ({"P3"} if alone else {"P3", "P4"})


@pytest.mark.parametrize("align", ALIGNMENTS)
def test_the_marks_of_a_case_are_aligned_as_it_says(tmp_path: Path, align: str) -> None:
    marks = tmp_path / "marks.tsv"
    marks.write_text(dirty_marks(), encoding="utf-8")
    case = replace(demo_result().case.with_marks(read_marks(marks)), align=align)
    comparison = solve_case(case).comparison
    assert comparison is not None
    assert comparison.aligned_by == align


def test_the_sheet_says_which_landmark_was_hard_to_find() -> None:
    (doubt,) = [w for w in sheet_content(demo_result()).warnings if "doubtful" in w]
    assert doubt.startswith("Inion doubtful: if it is 1 cm lower, Oz moves ")
