"""The sentence on how sure the sites are counts those of the array in use."""

import pytest
from demo_case import DEMO, solved_text

from headfit.fitting.how_sure import how_sure


@pytest.mark.parametrize(
    ("array", "said"),
    [
        ('system = "10-20"', "of the 19 scalp sites of 10-20)"),
        ('system = "newborn"', "of the 9 scalp sites of 10-20 in this array)"),
        ('sites = ["FC1", "FC2", "A1"]', "of the 2 scalp sites of this array)"),
        ('sites = ["A1", "A2"]', "no tape finds them"),
    ],
)
def test_the_sites_of_the_array_are_counted(array: str, said: str) -> None:
    solved = solved_text(DEMO.replace('system = "10-20"', array))
    assert solved.spreads is not None
    assert said in how_sure(solved.spreads)
