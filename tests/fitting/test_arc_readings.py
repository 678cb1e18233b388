"""Which readings are the tape on an arc, by the arithmetic of wholes and halves."""

import pytest

from headfit import Tape, fit_head, place_sites
from headfit.anatomy.arc_tapes import ArcTape
from headfit.fitting.arc_readings import arc_tape


def tape_on(arc: str, **readings: float) -> ArcTape:
    fitted = fit_head(Tape(**{f"{name}_mm": value for name, value in readings.items()}))
    return arc_tape(fitted, place_sites(fitted), arc)


# Klem et al. 1999: Cz halves the midline, so that one half tells the whole.
@pytest.mark.parametrize(
    ("readings", "length_mm", "words"),
    [
        ({"nasion_inion": 356.0}, 356.0, "own reading"),
        ({"nasion_cz": 180.0, "cz_inion": 178.0}, 358.0, "your 18.0 + 17.8"),
        ({"cz_inion": 179.0}, 358.0, "twice your 17.9"),
        ({"nasion_inion": 356.0, "nasion_cz": 180.0, "cz_inion": 178.0}, 356.0, "own reading"),
    ],
)
def test_the_midline_is_read_whole_or_by_its_halves(
    readings: dict[str, float], length_mm: float, words: str
) -> None:
    tape = tape_on("midline", **readings)
    assert (tape.own, tape.length_mm, tape.words) == (True, length_mm, words)
    assert tape.via_mm == length_mm / 2


@pytest.mark.parametrize(
    ("readings", "length_mm", "words", "via_mm"),
    [
        ({"left_ring": 284.0, "left_ring_front": 140.0}, 284.0, "own reading", 140.0),
        ({"left_ring_front": 140.0, "left_ring_back": 143.0}, 283.0, "your 14.0 + 14.3", 140.0),
        ({"ring": 566.0, "right_ring": 281.0}, 285.0, "your 56.6 less 28.1", None),
        ({"ring": 566.0}, 283.0, "half of your 56.6", None),
        # One who measured a half and then a whole that is shorter exchanged them.
        ({"right_ring_back": 141.0}, None, "predicted", None),
    ],
)
def test_half_a_ring_is_read_in_parts_or_is_what_the_other_leaves_of_the_whole(
    readings: dict[str, float], length_mm: float | None, words: str, via_mm: float | None
) -> None:
    tape = tape_on("left ring", **readings)
    assert tape.words == words
    assert tape.own == (length_mm is not None)
    if length_mm is not None:
        assert tape.length_mm == pytest.approx(length_mm, abs=1e-9)
    if via_mm is not None:
        assert tape.via_mm == via_mm


def test_a_skewed_head_shares_its_ring_between_the_sides() -> None:
    readings = {"ring": 566.0, "right_diagonal": 190.0, "left_diagonal": 180.0}
    fitted = fit_head(
        Tape(**{f"{name}_mm": value for name, value in readings.items()}), fixed={"vault_3_m1": 6.0}
    )
    sites = place_sites(fitted)
    left, right = (arc_tape(fitted, sites, f"{side} ring") for side in ("left", "right"))
    assert left.words == right.words == "share of your 56.6"
    assert left.length_mm + right.length_mm == pytest.approx(566.0)
    own = [sites.tracer.length_mm(f"{side} ring") for side in ("left", "right")]
    assert left.length_mm / right.length_mm == pytest.approx(own[0] / own[1])


def test_a_tape_held_at_its_middle_is_read_on_both_sides_in_proportion() -> None:
    tape = tape_on("left parasagittal", left_parasagittal=310.0, nasion_inion=356.0)
    assert tape.length_mm == 310.0
    assert tape.own
    assert 0.45 < tape.via_mm / 310.0 < 0.55
