"""Every noun of the public interface is pickled whole, told in a line, and found by its names."""

from __future__ import annotations

import pickle
from dataclasses import fields, is_dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest
from marked_heads import landmarks_of

from headfit import (
    ChartedElectrode,
    FittedHead,
    Head,
    Marks,
    Rules,
    SetUpRecord,
    Sites,
    Tape,
    compare_marks,
    compare_sessions,
    fit_head,
    guess_places,
    load_template,
    place_sites,
)
from headfit.anatomy.landmarks import Landmarks
from headfit.comparing.head_from_marks import head_under
from headfit.errors import MarksError, UnknownNameError
from headfit.files.lesson_file import built_in_lesson, lesson
from headfit.fitting.advice import advise
from headfit.planning.derivations import measure_montage
from headfit.planning.displacement import displace
from headfit.planning.marking import plan_marking
from headfit.planning.montages import standard_montages
from headfit.planning.obstacles import disc, polygon

SHEET = {
    "nasion_inion_mm": 352.0,
    "preauricular_arc_mm": 361.0,
    "ring_mm": [560.0, 572.0],
    "left_ring_mm": 280.0,
    "ear_arc_oz_mm": 290.0,
    "head_length_mm": 188.0,
}


def fit() -> FittedHead:
    return fit_head(
        Tape(**SHEET, spreads_mm={"ring": 2.0}),
        sex="female",
        doubtful=("inion",),
        fixed={"vault_2_m2": 2.0},
    )


def marks_on(sites: Sites, head: Head, seed: int) -> Marks:
    """Marks about 3 mm off, two of them exchanged, and two that bear no name of a site."""
    noise = np.random.default_rng(seed).normal(0.0, 2.0, sites.points_mm.shape)
    names = list(sites.names)
    names[3], names[6] = names[6], names[3]
    others = sites.points_mm[:2] + 9.0
    return Marks(
        tuple(names),
        sites.points_mm + noise,
        landmarks_of(head),
        ("e1", "e2"),
        others,
        {"T7": "T3"},
    )


@cache
def nouns() -> dict[str, Any]:
    """One of every noun, all of one invented head; everything lazy in them has been asked for."""
    fitted = fit()
    head, sites = fitted.head, place_sites(fitted, "10-20")
    marks = marks_on(sites, head, 1)
    free = [disc(sites, "F3", 12.0, "wound"), polygon(sites, ["Pz", "P4", "O2"], "shunt")]
    moved = displace(sites, free)
    montage = standard_montages()["longitudinal"]
    every = {
        "head": head,
        "template": load_template("newborn"),
        "landmarks": head.landmarks,
        "rules": Rules(inner="crossing"),
        "sites": sites,
        "tape": fitted.tape,
        "fresh fit": fit(),
        "fit": fitted,
        "spreads": fitted.spreads(sites),
        "marks": marks,
        "comparison": compare_marks(fitted, marks),
        "displacement": moved,
        "montage": measure_montage(montage, sites, moved.points_mm),
        "marking plan": plan_marking(sites, moved),
        "advice": advise(fitted),
        "repeatability": compare_sessions([marks, marks_on(sites, head, 2)]),
        "head under marks": head_under(marks)[0],
        "guesses": guess_places(fitted, marks),
        "lesson": built_in_lesson("ring"),
        "staged lesson": lesson("ring"),
        "charted electrode": ChartedElectrode("C3", impedance_kohm=4.5),
        "record": SetUpRecord(
            (ChartedElectrode("C3", impedance_kohm=4.5), ChartedElectrode("C4", applied=False)),
            ChartedElectrode("REF", place="CPz"),
            done_by="nobody",
        ),
    }
    for noun in every.values():
        ask_everything(noun)
    return every


def ask_everything(noun: Any) -> None:
    for name in dir(type(noun)):
        if not name.startswith("_") and isinstance(
            vars(type(noun)).get(name), property | type(Head.surface)
        ):
            getattr(noun, name)


def same(one: Any, other: Any) -> bool:
    """Alike to the last bit in everything that is stored."""
    if isinstance(one, np.ndarray):
        alike = one.dtype == other.dtype and one.shape == other.shape
        return alike and one.tobytes() == other.tobytes()
    if type(one) is not type(other):
        return False
    if is_dataclass(one):
        return all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    if isinstance(one, dict | MappingProxyType):
        return list(one) == list(other) and all(same(one[key], other[key]) for key in one)
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(map(same, one, other))
    if hasattr(one, "__dict__"):
        return same(vars(one), vars(other))
    return bool(one == other or (one != one and other != other))


def copied(noun: Any) -> Any:
    return pickle.loads(pickle.dumps(noun))


@pytest.mark.parametrize("name", list(nouns()))
def test_a_noun_comes_out_of_a_pickle_as_it_went_in(name: str) -> None:
    assert same(copied(nouns()[name]), nouns()[name])


@pytest.mark.parametrize("name", list(nouns()))
def test_a_noun_is_told_in_one_line(name: str) -> None:
    noun = nouns()[name]
    if name == "guesses":
        (noun, *_) = noun
    said = repr(noun)
    assert said.startswith(f"{type(noun).__name__}(")
    assert "\n" not in said
    assert len(said) <= 200


def test_a_difference_of_one_bit_would_be_seen() -> None:
    sites = nouns()["sites"]
    changed = Sites(
        sites.names, np.nextafter(sites.points_mm, np.inf), sites.system, sites.rules, sites.tracer
    )
    assert not same(sites, changed)


def test_a_copied_fit_gives_the_results_of_the_first() -> None:
    # Arcs are traced in batches, and a sum over a batch depends on it in its last bits. A copy
    # begins anew, so it is held bit by bit against a fit that was asked for nothing yet.
    for name in ("fresh fit", "fit"):
        fitted, copy = fit(), copied(nouns()[name])
        sites, again = place_sites(fitted, "10-10"), place_sites(copy, "10-10")
        assert same(sites.points_mm, again.points_mm)
        assert same(sites.normals, again.normals)
        assert same(fitted.spreads(sites), copy.spreads(again))
        assert same(fitted.predicted_mm, copy.predicted_mm)
        assert same(fitted.predicted_spread_mm, copy.predicted_spread_mm)
        assert same(advise(fitted), advise(copy))
        used = nouns()[name].spreads(sites)
        assert np.allclose(used.ellipses_mm, copy.spreads(again).ellipses_mm, rtol=0, atol=1e-9)


def test_copied_sites_go_on_to_trace_arcs() -> None:
    sites = place_sites(nouns()["fit"], "10-20", Rules(curve="plane"))
    copy = copied(sites)
    assert same(copy.tracer.run("row CP").curve, sites.tracer.run("row CP").curve)
    assert copy.arc_marks == sites.arc_marks


def test_a_copied_comparison_tells_the_same() -> None:
    comparison = nouns()["comparison"]
    copy = copied(comparison)
    assert copy.moves == comparison.moves
    assert copy.pairs == comparison.pairs
    assert copy.spacings == comparison.spacings
    assert copy._repr_html_() == comparison._repr_html_()


def test_caches_stay_out_of_a_pickle() -> None:
    fresh, used = (pickle.dumps(nouns()[name]) for name in ("fresh fit", "fit"))
    assert abs(len(used) - len(fresh)) < 1000
    assert len(used) < 1_000_000  # the model alone is 12 million bytes


def test_read_only_arrays_stay_read_only_in_a_copy() -> None:
    for name in ("head", "sites", "comparison", "marks"):
        copy = copied(nouns()[name])
        of_noun = {f.name: getattr(copy, f.name) for f in fields(copy)}
        arrays = [value for value in of_noun.values() if isinstance(value, np.ndarray)]
        assert arrays
        assert not any(array.flags.writeable for array in arrays), name
    assert not copied(nouns()["landmarks"]).nasion.flags.writeable
    with pytest.raises(TypeError):
        copied(nouns()["marks"]).landmarks["nasion"] = np.zeros(3)


def test_an_error_comes_out_of_a_pickle_with_its_code_and_facts() -> None:
    with pytest.raises(UnknownNameError) as caught:
        nouns()["sites"]["Fzz"]
    copy = copied(caught.value)
    assert type(copy) is UnknownNameError
    assert (str(copy), copy.code, copy.facts) == (
        str(caught.value),
        "unknown-name",
        {"kind": "site", "name": "Fzz"},
    )


@pytest.mark.parametrize("name", ["sites", "marks", "comparison"])
def test_what_is_held_by_name_behaves_as_a_mapping(name: str) -> None:
    noun = nouns()[name]
    assert list(noun) == list(noun.names) == list(noun.keys())
    assert len(noun) == len(noun.names)
    assert "Cz" in noun
    assert "Nonsense" not in noun
    assert 0 not in noun
    assert same(dict(noun)["Cz"], noun["Cz"])
    assert same(list(noun.values())[2], noun[noun.names[2]])
    assert [key for key, _ in noun.items()] == list(noun.names)
    assert noun.get("Nonsense") is None
    assert {noun: 1}[noun] == 1  # a noun that holds arrays equals only itself
    assert noun != copied(noun)


def test_old_names_of_sites_are_found_too() -> None:
    sites = nouns()["sites"]
    assert "T3" in sites
    assert same(sites["T3"], sites["T7"])
    assert "T3" not in list(sites)


def test_a_fitted_head_serves_wherever_a_head_does() -> None:
    fitted, marks = nouns()["fit"], nouns()["marks"]
    assert same(place_sites(fitted, "10-10").points_mm, place_sites(fitted.head, "10-10").points_mm)
    assert guess_places(fitted, marks) == guess_places(fitted.head, marks)
    by_fit, by_head = compare_marks(fitted, marks), compare_marks(fitted.head, marks)
    assert same(by_fit.marks_mm, by_head.marks_mm)


def test_a_fitted_head_widens_the_bands_by_how_sure_its_sites_are() -> None:
    fitted, marks = nouns()["fit"], nouns()["marks"]
    sites = place_sites(fitted, marks.names)
    told = compare_marks(sites, marks, spreads=fitted.spreads(sites))
    assert same(compare_marks(fitted, marks).deviations, told.deviations)
    assert all(d.uncertainty_mm > 0 for d in told.deviations)


def test_marks_without_names_of_sites_are_refused_with_a_fitted_head_too() -> None:
    with pytest.raises(MarksError, match="bear the names of sites"):
        compare_marks(nouns()["fit"], Marks((), np.empty((0, 3))))


def test_landmarks_are_told_to_a_tenth_of_a_millimetre() -> None:
    told = repr(Landmarks([0, 95.04, 0], [0, -95, 30], [-72, 0, 0], [72, 0, 0]))
    assert told.startswith("Landmarks(nasion (0.0, 95.0, 0.0), inion (0.0, -95.0, 30.0), ")
