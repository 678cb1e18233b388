"""The comparison on one screen."""

import re

import numpy as np
from marked_heads import landmarks_of, moved_set, template_sites, template_targets, three_of

from headfit import load_template
from headfit.comparing.compare import compare_marks
from headfit.comparing.verdict import summary, verdict
from headfit.marks.marks import Marks
from headfit.marks.remarks import correction

SITES = template_sites("10-20")
TARGETS = template_targets("10-20")
HEAD = load_template()
BACK_AND_LEFT = moved_set(TARGETS, np.array([0, 0, 4.2]), np.array([0, -12.0, 0]))


def compared(points: np.ndarray, landmarks: dict[str, np.ndarray] | None = None, **more: object):  # type: ignore[no-untyped-def]
    found = landmarks_of(HEAD) if landmarks is None else landmarks
    return compare_marks(SITES, Marks(TARGETS.names, points, found, **more))  # type: ignore[arg-type]


def off(points: np.ndarray, *names: str) -> np.ndarray:
    moved = np.array(points)
    for name in names:
        row = TARGETS.names.index(name)
        moved[row] += 14.0 * TARGETS.along[row]
    return moved


def exchanged(points: np.ndarray, one: str, other: str) -> np.ndarray:
    moved = np.array(points)
    rows = [TARGETS.names.index(n) for n in (one, other)]
    moved[rows] = moved[rows[::-1]]
    return moved


SET = "The whole set sits 12 mm toward the back, and is turned 4.2 degrees to the left"


def test_the_verdict_tells_the_set_from_single_marks() -> None:
    here = np.array(SITES.points_mm)
    assert verdict(compared(here)) == "The set sits where it should, and no mark stands out."
    assert verdict(compared(off(here, "T7"))) == "The set sits where it should; only T7 is off."
    assert verdict(compared(BACK_AND_LEFT)) == f"{SET}; after that no mark stands out."
    assert verdict(compared(off(BACK_AND_LEFT, "T7"))) == f"{SET}; after that only T7 is off."
    assert verdict(compared(off(BACK_AND_LEFT, "T7", "O2"))).endswith("are off.")


def test_a_slip_below_a_millimetre_or_half_a_degree_is_not_worth_a_word() -> None:
    near = moved_set(TARGETS, np.array([0, 0, 0.4]), np.array([0, -0.8, 0]))
    assert verdict(compared(near)) == "The set sits where it should, and no mark stands out."


def test_a_slip_that_landmarks_could_feign_is_told_as_possible() -> None:
    # A landmark is sure to 3 mm, so that the middle of the set, 80 mm off, is sure to 2.6 mm and
    # its turn to 1.2 degrees or less well [derived].
    near = moved_set(TARGETS, np.array([0, 0, 2.1]), np.array([0, -5.0, 0]))
    comparison = compared(near)
    assert comparison.common is not None
    assert (np.abs(comparison.common.slide_mm) < 2 * comparison.common.slide_spread_mm).all()
    assert verdict(comparison) == (
        "The whole set may sit 5 mm toward the back, and be turned 2.1 degrees to the left, but "
        "errors of the landmarks could look the same; after that no mark stands out."
    )


def test_a_slip_that_is_not_sure_is_not_told() -> None:
    rng = np.random.default_rng(3)
    points = SITES.points_mm + rng.normal(scale=9.0, size=SITES.points_mm.shape)
    comparison = compared(points)
    assert comparison.common is not None
    assert np.abs(comparison.common.slide_mm).max() > 1.0
    sure = np.abs(comparison.common.slide_mm) > 2 * comparison.common.slide_spread_mm
    assert not sure.any()
    assert "set sits" not in verdict(comparison).replace("sits where it should", "")


def test_the_verdict_tells_names_that_look_mixed_up() -> None:
    here = np.array(SITES.points_mm)
    mixed = exchanged(here, "C3", "C4")
    assert verdict(compared(mixed)) == "The set sits where it should, but names look mixed up."
    assert verdict(compared(exchanged(BACK_AND_LEFT, "C3", "C4"))) == (
        f"{SET}; after that what is left are names that look mixed up."
    )
    assert verdict(compared(off(mixed, "T7"))) == (
        "The set sits where it should; only T7 is off, beside names that look mixed up."
    )


def test_without_landmarks_the_verdict_speaks_of_the_fit() -> None:
    here = np.array(SITES.points_mm)
    assert verdict(compared(here, {})) == "After the fit no mark stands out."
    assert verdict(compared(off(here, "T7"), {})) == "After the fit only T7 is off."


def test_a_summary_fits_on_a_screen_and_holds_everything_that_matters() -> None:
    points = exchanged(off(BACK_AND_LEFT, "T7"), "C3", "C4")
    remark = correction("unit-wrong", "marks are declared in mm but are taken as cm")
    lines = summary(compared(points, three_of(HEAD), remarks=(remark,)))
    text = "\n".join(lines)
    assert len(lines) <= 30
    assert max(len(line) for line in lines) <= 240
    for part in (
        SET,
        "19 marks by the landmarks: ",
        "by best fit",
        "nasion ",
        "pitch +0.0",
        "yaw +4.2",
        "front -12.0",
        "Names to check:",
        "C3 and C4 look exchanged",
        "Moves, after the whole set",
        "Move T7 ",
        "About the file:",
        "correction: marks are declared in mm but are taken as cm",
    ):
        assert part in text, part


def test_every_length_and_angle_of_the_summary_has_its_unit() -> None:
    lines = summary(compared(off(BACK_AND_LEFT, "T7"), three_of(HEAD)))
    number = r"\d+\.\d"
    landmarks = rf"nasion {number}, left preauricular point {number}, right preauricular point "
    way = rf"  by [a-z ]+ +{number} \({number}\) mm, straight {number} mm, "
    way += r"\d+ mm (over|under) the scalp"
    steps = rf"[+-]{number} ±{number}"
    expected = [
        r"19 marks by the landmarks: \d+ within 5 mm, \d+ from 5 to 10 mm, \d+ beyond 10 mm\.",
        rf"{way}; {landmarks}{number} mm",
        rf"The whole set: pitch {steps}, roll {steps}, yaw {steps} degrees; right {steps}.* mm\.",
    ]
    for form in expected:
        assert any(re.fullmatch(form, line) for line in lines), (form, lines)
    assert sum(bool(re.match(rf"{way}(;|$)", line)) for line in lines) == 3


def test_more_moves_than_fit_are_counted() -> None:
    rng = np.random.default_rng(0)
    points = SITES.points_mm + rng.normal(scale=9.0, size=SITES.points_mm.shape)
    text = "\n".join(summary(compared(points)))
    assert " more in the table" in text
    assert text.count("  Move ") == 8


def test_too_few_marks_to_tell_a_slip_are_said_to_be_too_few() -> None:
    points = SITES.points_mm[:2] + np.array([0.0, -40.0, 0.0])
    marks = Marks(SITES.names[:2], points, three_of(HEAD))
    assert verdict(compare_marks(SITES, marks)) == (
        "Too few marks to tell a slip of the set from single marks; 2 of 2 lie beyond 10 mm."
    )
