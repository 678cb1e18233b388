"""The steps at the chair: their order, their numbers, and what they never ask for."""

import json
import re
from dataclasses import replace
from html import escape

import numpy as np
import pytest
from chair_cases import PLAIN, WOUND, chair, page
from demo_case import solved_text

from headfit.anatomy.sites import sites_on
from headfit.case.case import Case
from headfit.case.record import SetUpRecord
from headfit.case.solved import solve_case
from headfit.errors import InputError
from headfit.fitting.arc_readings import known_lengths
from headfit.fitting.measurements import MEASUREMENTS
from headfit.output.chair import PARTS
from headfit.output.chair_page import chair_data, chair_html, write_chair
from headfit.output.chair_steps import chair_of


def number(name: str, key: str) -> float:
    step = next(step for step in chair(name).steps if step.key == key)
    assert step.number_mm is not None
    return step.number_mm


@pytest.mark.parametrize("name", ["plain", "newborn", "wound"])
def test_steps_come_in_the_order_of_the_work_and_checks_close_the_marks(name: str) -> None:
    steps = chair(name).steps
    parts = [step.part for step in steps]
    assert parts == sorted(parts, key=PARTS.index)
    assert set(parts) == set(PARTS)
    kinds = [step.kind for step in steps if step.part == "mark"]
    first = kinds.index("check")
    assert set(kinds[first:]) == {"check"}  # worth nothing after paste
    keys = [step.key for step in steps]
    assert len(keys) == len(set(keys))
    assert all(step.drawing in chair(name).drawings for step in steps)


def test_marks_stand_at_the_tenths_and_fifths_of_the_readings() -> None:
    """Fractions: Klem et al. 1999, EEG Clin. Neurophysiol. Suppl. 52, 3-6."""
    for site, share, whole in (
        ("Fpz", 0.1, 360.0), ("Fz", 0.3, 360.0), ("Cz", 0.5, 360.0), ("Pz", 0.7, 360.0),
        ("Oz", 0.9, 360.0), ("T7", 0.1, 364.0), ("C3", 0.3, 364.0), ("C4", 0.7, 364.0),
        ("T8", 0.9, 364.0), ("Fp1", 0.1, 280.0), ("F7", 0.3, 280.0), ("P7", 0.7, 280.0),
        ("O1", 0.9, 280.0),
    ):  # fmt: skip
        assert number("plain", f"mark {site}") == pytest.approx(share * whole, abs=1e-6), site


@pytest.mark.parametrize("name", ["plain", "newborn", "wound"])
def test_every_cup_is_marked_and_applied_once(name: str) -> None:
    case = chair(name)
    sites = set(case.solved.sites.names)
    marked = [s.key.removeprefix("mark ") for s in case.steps if s.key.startswith("mark ")]
    applied = [step.name for step in case.steps if step.kind == "electrode"]
    assert set(applied) == sites
    assert len(applied) == len(sites)
    assert sites <= set(marked)


def test_no_step_lays_a_tape_over_a_place_that_must_stay_free() -> None:
    wound = chair("wound")
    (place,) = wound.solved.displacement.obstacles  # type: ignore[union-attr]
    plan = wound.solved.marking
    pairs = {step.name for step in wound.steps if step.kind == "check"}
    assert plan.forbidden_checks
    assert not pairs & set(plan.forbidden_checks)
    row = [step for step in wound.steps if step.title == "Row P"]
    assert [step.name for step in row] == ["P3"]  # the right half is not taped
    moved = next(step for step in wound.steps if step.key == "mark P4")
    assert moved.kind == "bearing"
    assert moved.warnings == (f"No tape over: {place.title}.",)
    apply = next(step for step in wound.steps if step.key == "apply P4")
    assert "At its new place, PPO6h." in apply.line


def test_nothing_is_marked_on_nobodys_head() -> None:
    bare = chair_of(solve_case(Case()))
    assert {step.part for step in bare.steps} == {"landmarks", "measure"}
    with pytest.raises(InputError, match="at least one measurement"):
        write_chair(solve_case(Case()), "chair.html")


def test_the_checksum_is_of_the_plan_and_not_of_what_was_charted() -> None:
    solved = solved_text(PLAIN)
    charted = replace(solved.case, record=SetUpRecord(ticked=("mark Fz",), done_by="nobody"))
    assert chair_of(solve_case(charted)).checksum == chair("plain").checksum
    assert chair_of(solved_text(PLAIN.replace("56.0", "56.1"))).checksum != chair("plain").checksum
    assert chair("wound").checksum != chair("plain").checksum


def test_lengths_hang_together_as_the_fit_says() -> None:
    """By the fit itself: one more reading moves what is foreseen as conditioning on it does."""
    solved = solved_text(PLAIN)
    fitted = solved.tape_fit
    known = known_lengths(fitted, solved.sites, tuple(MEASUREMENTS), ["row F", "row FC"])
    assert known.names == (*MEASUREMENTS, "row FC")
    spread = np.sqrt(np.diag(known.covariance_mm2))
    told = [fitted.predicted_spread_mm[name] for name in MEASUREMENTS]
    assert spread[: len(told)] == pytest.approx(told, rel=1e-9)
    i, j = (known.names.index(name) for name in ("head_breadth", "parietal_row"))
    reading = float(known.values_mm[i]) + 6.0
    gain = known.covariance_mm2[j, i] / (
        known.covariance_mm2[i, i] + known.reading_spreads_mm[i] ** 2
    )
    again = solved_text(f"{PLAIN}head_breadth = {reading / 10}").tape_fit
    moved = again.predicted_mm["parietal_row"] - fitted.predicted_mm["parietal_row"]
    # The arcs bend a little: a straight line foresees the shift to a fifth.
    assert moved == pytest.approx(gain * 6.0, abs=0.2 * abs(gain * 6.0) + 0.3)


def test_the_page_lists_every_step_with_its_number_and_escapes_the_rest() -> None:
    text = chair_html(chair_of(solved_text(WOUND.replace("invented head", "</script><b>head</b>"))))
    assert "<b>head" not in text
    shown = re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL)
    for step in chair("wound").steps:
        assert f'<th scope="row">{escape(step.name)}</th>' in shown
        if step.number_mm is not None:
            assert f"{step.number_mm / 10:.1f} cm" in shown, step.key
    assert "default-src 'none'" in text
    assert "src=" not in text
    assert "url(http" not in text


def test_the_page_is_told_all_that_it_computes_with() -> None:
    data = json.loads(json.dumps(chair_data(chair("wound")), allow_nan=False))
    assert len(data["steps"]) == len(chair("wound").steps)
    assert data["limit_words"].startswith("10 kΩ (common practice")
    assert data["changes"][0].startswith("P4")
    assert {arc["name"]: arc["reading"] for arc in data["arcs"]}["row P"] == "parietal_row"
    assert sum(a["ring_share"] for a in data["arcs"]) == pytest.approx(1.0)


@pytest.mark.parametrize("system", ["10-10", "10-5"])
def test_large_systems_have_their_steps_too(system: str) -> None:
    case = chair_of(solved_text(PLAIN.replace("[tape]", f'system = "{system}"\n[tape]')))
    marked = {s.key.removeprefix("mark ") for s in case.steps if s.key.startswith("mark ")}
    assert set(case.solved.sites.names) <= marked
    beyond = next((step for step in case.steps if step.detail.startswith("beyond ")), None)
    if beyond is not None:  # a share of the coronal arc, which the page tells anew with it
        assert beyond.arc == "coronal"
        assert beyond.arc in {arc.name for arc in case.arcs}
    assert len(page("plain")) < 400_000


def test_sites_on_the_map_stand_where_the_plan_has_them() -> None:
    """The drawing of an arc against the sites themselves, projected anew."""
    case = chair("plain")
    svg = case.drawings["midline"].svg
    places = {
        name: (float(x), float(y))
        for name, x, y in re.findall(
            r'data-mark="(\w+)"><circle class="spot" cx="([-\d.]+)" cy="([-\d.]+)"', svg
        )
    }
    sites = sites_on(case.solved.sites.tracer, tuple(places), "10-20", case.solved.sites.rules)
    for name, (x, y) in places.items():
        # From the left, x runs from the nose backwards and y downwards; lifted by 2 mm.
        gap = np.hypot(-x - (sites[name][1]), -y - (sites[name][2]))
        assert gap == pytest.approx(2.0, abs=0.5) or gap < 2.6, name
