"""How a cup is fixed: common practice, no source, except where named."""

import pytest

from headfit.anatomy.sites import SYSTEMS, TABLE
from headfit.planning.preparation import CAUTIONS, preparation


@pytest.mark.parametrize("site", ["Fp1", "Fpz", "Fp2", "A1", "A2", "M1", "M2", "Nz"])
def test_forehead_ears_and_mastoids_are_bare_skin_under_tape(site: str) -> None:
    assert (preparation(site).skin, preparation(site).fixing) == ("bare skin", "tape")


def test_all_other_sites_of_10_20_bear_hair_under_a_gauze_square() -> None:
    others = set(SYSTEMS["10-20"]) - {"Fp1", "Fp2", "A1", "A2"}
    assert {(preparation(s).skin, preparation(s).fixing) for s in others} == {
        ("hair", "gauze square")
    }


def test_tails_go_back_and_at_the_ears_never_down() -> None:
    tails = {site: preparation(site).tail for site in TABLE}
    assert {tails[site] for site in ("A1", "A2", "M1", "M2")} == {"up or back"}
    assert {tail for site, tail in tails.items() if site[0] not in "AM" or "F" in site} == {"back"}


def test_the_cautions_defer_to_policy_and_name_the_dangers() -> None:
    words = " ".join(CAUTIONS)
    for said in (
        "Local policy and licensed practice decide",
        "broken",
        "disinfected",
        "10 kΩ",
        "never down",
        "bridges",
    ):
        assert said in words
