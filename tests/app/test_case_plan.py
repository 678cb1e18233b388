"""What is marked on the head of a case."""

from dataclasses import replace
from pathlib import Path

import pytest

from headfit import load_template, place_sites
from headfit.app.case_plan import displaced
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
