"""Lengths along the scalp: great circles, exact geodesics, sides, spread."""

import numpy as np
import pygeodesic.geodesic
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from solids import SPHERE_A, SPHERE_C, bumpy_head, turn

from headfit import Head, load_template, place_sites
from headfit.errors import InputError
from headfit.planning.derivations import MeasuredMontage, measure_montage
from headfit.planning.montages import Chain, Derivation, Montage, standard_montages
from headfit.planning.scalp_paths import scalp_paths

STANDARD = standard_montages()
ON_SPHERE = ("longitudinal", "transverse", "circumferential", "inferior-temporal", "referential-cz")


def one_chain(*sites: str, even: bool = True) -> Montage:
    return Montage("own", "own", (Chain.through("chain", sites, even=even),))


def measured_on(head: Head, montage: Montage, system: str = "10-10") -> MeasuredMontage:
    return measure_montage(montage, place_sites(head, system))


def great_circle_mm(a: np.ndarray, b: np.ndarray) -> float:
    """On a sphere round the origin; the angle by its tangent, exact for small ones too."""
    angle = np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b)
    return float(angle * np.linalg.norm(a))


# The chords of sphere A by the law of cosines from the polar angles and azimuths of the sites:
# Fp1 (72, 18), F7 (72, 54), Fz (36, 0), Cz (0, 0), C3 (36, 90) degrees; F3, a quarter of the row
# plane F7-Fz-F8, stands at 47.700, 38.361 (tests/solids.py has its closed form).
@pytest.mark.parametrize(
    ("name", "polar_azimuth"),
    [
        ("Fp1-F7", (72, 18, 72, 54)),
        ("Fp1-F3", (72, 18, 47.700, 38.361)),
        ("F3-C3", (47.700, 38.361, 36, 90)),
        ("Fz-Cz", (36, 0, 0, 0)),
        ("F7-F3", (72, 54, 47.700, 38.361)),
    ],
)
def test_sphere_a_has_the_lengths_of_the_law_of_cosines(
    name: str, polar_azimuth: tuple[float, float, float, float]
) -> None:
    p, a, q, b = np.radians(polar_azimuth)
    expected = 90 * np.arccos(np.cos(p) * np.cos(q) + np.sin(p) * np.sin(q) * np.cos(a - b))
    montage = "transverse" if name == "F7-F3" else "longitudinal"
    found = measured_on(SPHERE_A.head(), STANDARD[montage], "10-20")[name].length_mm
    assert found == pytest.approx(expected, abs=0.05)


def test_a_derivation_to_the_average_has_no_length_and_is_told_in_words() -> None:
    """ACNS Guideline 3 (2016): frontal sites may be left out of the average."""
    sites = place_sites(SPHERE_A.head(4), ["Fp1", "Cz", "O1"])
    wanted = [*(f"{name}-AV" for name in sites.names), "Fp1-O1", "Pz-AV"]
    chain = Chain("mixed", tuple(map(Derivation.from_text, wanted)))
    measured = measure_montage(Montage("own", "own", (chain,)), sites)
    assert measured.to_average == ("Fp1-AV", "Cz-AV", "O1-AV")
    assert [d.name for d in measured.derivations] == ["Fp1-O1"]
    assert measured.missing == {"Pz-AV": "Pz not among the sites"}
    assert measured.findings[0] == (
        "Fp1-AV, Cz-AV, O1-AV: no length, since AV, the average of all sites, is no place. Fp1, "
        "Fp2, F7 and F8 may be left out of it against eye movements (ACNS Guideline 3, 2016)."
    )
    with pytest.raises(InputError, match="must hold Cz-AV, got no such derivation"):
        measured["Cz-AV"]


@pytest.mark.parametrize("solid", [SPHERE_A, SPHERE_C], ids=["A", "C"])
@pytest.mark.parametrize("name", ON_SPHERE)
def test_every_derivation_on_a_sphere_is_a_great_circle(solid, name: str) -> None:
    measured = measured_on(solid.head(), STANDARD[name])
    assert len(measured.derivations) >= 8
    for found in measured.derivations:
        ends = (solid.sites[found.derivation.first], solid.sites[found.derivation.second])
        assert found.length_mm == pytest.approx(great_circle_mm(*ends), abs=0.05)


def test_lengths_converge_with_the_square_of_the_mesh_size() -> None:
    errors = []
    for subdivisions in (2, 3, 4, 5):
        measured = measured_on(SPHERE_A.head(subdivisions), STANDARD["longitudinal"], "10-20")
        gaps = [
            abs(
                d.length_mm
                - great_circle_mm(
                    SPHERE_A.sites[d.derivation.first], SPHERE_A.sites[d.derivation.second]
                )
            )
            for d in measured.derivations
        ]
        errors.append(np.mean(gaps))
    order = -np.polyfit(np.arange(4), np.log2(errors), 1)[0]
    assert order == pytest.approx(2.0, abs=0.3)


def test_a_path_is_as_long_as_the_exact_geodesic_of_pygeodesic() -> None:
    """Exact geodesics on the triangles (Mitchell, Mount & Papadimitriou 1987)."""
    sites = place_sites(load_template("y05"))
    mesh = sites.tracer.mesh
    used, renumbered = np.unique(mesh.faces, return_inverse=True)
    oracle = pygeodesic.geodesic.PyGeodesicAlgorithmExact(
        mesh.vertices_mm[used], renumbered.reshape(-1, 3).astype(np.int32)
    )
    near = {
        name: int(np.linalg.norm(mesh.vertices_mm[used] - sites[name], axis=1).argmin())
        for name in ("Fp1", "F7", "C3", "Cz", "P4", "O2", "T8")
    }
    pairs = [("Fp1", "F7"), ("C3", "Cz"), ("P4", "O2"), ("T8", "P4"), ("Fp1", "C3"), ("F7", "O2")]
    corners = mesh.vertices_mm[used]
    runs = scalp_paths(sites.tracer, [(corners[near[a]], corners[near[b]]) for a, b in pairs])
    for (a, b), run in zip(pairs, runs, strict=True):
        exact, _ = oracle.geodesicDistance(near[a], near[b])
        along = np.linalg.norm(np.diff(run.curve.path_mm, axis=0), axis=1).sum()
        # No path is shorter than the shortest; a plane one is longer by less than 1 %.
        assert exact - 1e-6 <= along <= 1.01 * exact
        assert run.length_mm <= along + 1e-9  # a taut tape bridges hollows


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=10)
def test_lengths_do_not_depend_on_frame_or_direction(seed: int) -> None:
    head = bumpy_head(seed % 5)
    rotation, shift = turn(seed), np.random.default_rng(seed).uniform(-100, 100, 3)
    moved = Head(
        head.vertices_mm @ rotation.T + shift, head.faces, head.landmarks.moved(rotation, shift)
    )
    there = measured_on(head, one_chain("Fp1", "F4", "C3", "O2", "A1"))
    elsewhere = measured_on(moved, one_chain("A1", "O2", "C3", "F4", "Fp1"))
    assert len(there.derivations) == 4
    for derivation in there.derivations:
        assert elsewhere[derivation.name].length_mm == pytest.approx(derivation.length_mm, abs=1e-6)


def test_a_path_ends_at_both_sites_and_lies_on_the_scalp() -> None:
    sites = place_sites(load_template())
    found = measure_montage(one_chain("F3", "A2"), sites)["F3-A2"]
    assert np.allclose(found.path_mm[0], sites["F3"])
    assert np.allclose(found.path_mm[-1], sites["A2"])
    corners = sites.tracer.mesh.vertices_mm[np.unique(sites.tracer.mesh.faces)]
    # The lobe stands off the scalp; all before it lies on it.
    gaps = np.linalg.norm(found.path_mm[:-1, None] - corners[None], axis=2).min(axis=1)
    assert gaps.max() < 8.0  # half of the longest edges of the template


@pytest.mark.parametrize("age", ["adult", "newborn"])
def test_from_ear_to_ear_the_tape_runs_over_the_vertex(age: str) -> None:
    sites = place_sites(load_template(age))
    found = measure_montage(one_chain("A1", "A2"), sites)["A1-A2"]
    gap = np.linalg.norm(found.path_mm - sites["Cz"], axis=1).min()
    assert gap < 3.0  # a vertex of the path


def test_a_symmetric_head_has_equal_sides() -> None:
    measured = measured_on(load_template(), STANDARD["longitudinal"], "10-20")
    assert len(measured.side_differences_mm) == 8
    assert measured.side_differences_mm["Fp1-F3"][0] == "Fp2-F4"
    assert max(abs(gap) for _, gap in measured.side_differences_mm.values()) < 0.05
    assert measured.findings == ()


def test_a_head_broader_on_the_left_has_longer_derivations_there_and_says_so() -> None:
    adult = load_template()
    vertices = adult.vertices_mm.copy()
    vertices[vertices[:, 0] < 0, 0] *= 1.3
    points = adult.landmarks.points_mm.copy()
    points[points[:, 0] < 0, 0] *= 1.3
    head = Head(vertices, adult.faces, type(adult.landmarks).from_points(points), adult.part)
    measured = measured_on(head, STANDARD["transverse"], "10-20")
    name, gap = measured.side_differences_mm["T7-C3"]
    assert name == "C4-T8"
    assert gap == pytest.approx(measured["T7-C3"].length_mm - measured["C4-T8"].length_mm)
    # The vertex moves to the new middle, which takes up most of it; P7-P3 shows the rest.
    worst = max(measured.side_differences_mm, key=lambda n: measured.side_differences_mm[n][1])
    other, most = measured.side_differences_mm[worst]
    strict = measure_montage(
        STANDARD["transverse"], place_sites(head, "10-20"), uneven_sides_mm=0.9 * most
    )
    said = [line for line in strict.findings if line.startswith("Unequal sides")]
    assert said[0].startswith(
        f"Unequal sides: {worst} {measured[worst].length_mm:.0f} mm, {other} "
        f"{measured[other].length_mm:.0f} mm, {most:.0f} mm longer on the left."
    )


def test_a_derivation_that_crosses_the_midline_has_no_side() -> None:
    crossed = Montage(
        "own", "own", (Chain.through("one", ("F3", "P4")), Chain.through("other", ("F4", "P3")))
    )
    measured = measured_on(load_template(), crossed)
    assert [d.name for d in measured.derivations] == ["F3-P4", "F4-P3"]
    assert measured.side_differences_mm == {}
    sided = measured_on(load_template(), one_chain("F3", "Cz", "F4"))
    assert list(sided.side_differences_mm) == ["F3-Cz"]


def test_equal_spacing_is_the_rule_and_its_breach_is_told_with_numbers() -> None:
    """ACNS Guideline 3 (2016): interelectrode distances are kept equal."""
    sites = place_sites(load_template(), "ifcn-25")
    even = measure_montage(STANDARD["longitudinal"], sites)
    assert all(c.spread_mm <= 0.2 * c.mean_mm for c in even.chains)
    uneven = measure_montage(STANDARD["inferior-temporal"], sites)
    left = uneven.chains[0]
    lengths = [d.length_mm for d in left.derivations]
    assert left.mean_mm == pytest.approx(np.mean(lengths))
    assert left.spread_mm == pytest.approx(np.ptp(lengths))
    assert uneven.findings[0] == (
        f"Unequal spacing, left inferior temporal: F9-T9 {min(lengths):.0f} mm to Fp1-F9 "
        f"{max(lengths):.0f} mm, mean {np.mean(lengths):.0f} mm."
    )
    assert (
        measure_montage(STANDARD["inferior-temporal"], sites, uneven_chain_fraction=0.6).findings
        == ()
    )


def test_distances_to_an_ear_are_not_meant_to_be_equal() -> None:
    measured = measured_on(load_template(), STANDARD["referential"], "10-20")
    assert measured.chains[0].spread_mm > measured.chains[0].mean_mm / 2
    assert measured.findings == ()


def test_what_cannot_be_recorded_is_said() -> None:
    sites = place_sites(load_template(), ["Fp1", "F7", "T7"])
    measured = measure_montage(one_chain("Fp1", "F7", "T7", "P7"), sites, {"Fp1": None})
    assert [d.name for d in measured.derivations] == ["F7-T7"]
    assert measured.missing == {"Fp1-F7": "Fp1 left out", "T7-P7": "P7 not among the sites"}
    assert "T7-P7 cannot be recorded: P7 not among the sites." in measured.findings
    with pytest.raises(InputError, match="montage 'own' must hold Cz-Pz, got no such derivation"):
        measured["Cz-Pz"]


def test_moving_a_site_changes_its_derivations_and_no_other() -> None:
    sites = place_sites(load_template(), "10-10")
    moved = measure_montage(STANDARD["longitudinal"], sites, {"C3": sites["C1"]})
    plain = measure_montage(STANDARD["longitudinal"], sites)
    for name in ("F3-C3", "C3-P3"):
        assert moved[name].before_mm == pytest.approx(plain[name].length_mm)
        start = sites[name.partition("-")[0] if name == "F3-C3" else "P3"]
        (run,) = scalp_paths(sites.tracer, [(start, sites["C1"])])
        assert moved[name].length_mm == pytest.approx(run.length_mm)
        assert moved[name].change_mm == pytest.approx(run.length_mm - plain[name].length_mm)
    others = [d for d in moved.derivations if "C3" not in d.name]
    assert len(others) == 16
    assert all(d.before_mm is None and d.change_mm == 0.0 for d in others)
    assert moved.changes == tuple(
        f"{name} changes from {plain[name].length_mm:.0f} to {moved[name].length_mm:.0f} mm "
        "because a site was moved."
        for name in ("F3-C3", "C3-P3")
    )
