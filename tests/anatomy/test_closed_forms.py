"""Every 10-10 site on spheres, an ellipsoid and a capsule against closed forms.

Azimuth from the front, right positive; polar angle from the top; degrees and millimetres. The
printed numbers are those of the project's table of closed-form checks; here they are derived again.
"""

import numpy as np
import pytest
from solids import (
    BACK,
    ELLIPSOID,
    FRONT,
    LEFT,
    RIGHT,
    SPHERE_A,
    SPHERE_C,
    Capsule,
    Ellipsoid,
    bisecting_vertex,
    direction,
    polar_and_azimuth,
    turn,
    unit_sphere,
)

from headfit import Head, Landmarks, Rules, Sites, place_sites
from headfit.anatomy.sites import SYSTEMS

SOLIDS = {"sphere A": SPHERE_A, "sphere C": SPHERE_C, "ellipsoid": ELLIPSOID}
SPHERES = {"sphere A": SPHERE_A, "sphere C": SPHERE_C}
WITHIN_MM = 0.05  # at 10 242 vertices; the flats of a sphere of 90 mm lie up to 0.02 mm inside it

every_solid = pytest.mark.parametrize("solid", SOLIDS.values(), ids=SOLIDS)
every_sphere = pytest.mark.parametrize("solid", SPHERES.values(), ids=SPHERES)


def mirrored_number(name: str) -> str:
    return name[:-1] + str(int(name[-1]) + (1 if int(name[-1]) % 2 else -1))


# Fractions by the definition of the system: (azimuth of the side, arc in tenths up to Cz).
def sphere_angles(step: float) -> dict[str, tuple[float, float]]:
    """Polar angle and azimuth of the midline, coronal and ring sites of a sphere."""
    midline = {
        "Nz": 0,
        "Fpz": 10,
        "AFz": 20,
        "Fz": 30,
        "FCz": 40,
        "Cz": 50,
        "CPz": 60,
        "Pz": 70,
        "POz": 80,
        "Oz": 90,
        "Iz": 100,
    }
    coronal = {
        "T9": 0,
        "T7": 10,
        "C5": 20,
        "C3": 30,
        "C1": 40,
        "C2": 60,
        "C4": 70,
        "C6": 80,
        "T8": 90,
        "T10": 100,
    }
    ring = {"Fp1": 18, "AF7": 36, "F7": 54, "FT7": 72, "TP7": 108, "P7": 126, "PO7": 144, "O1": 162}
    angles = {}
    for table, first, second in ((midline, FRONT, BACK), (coronal, LEFT, RIGHT)):
        for name, percent in table.items():
            angles[name] = (abs(50 - percent) / 10 * step, first if percent < 50 else second)
    for name, azimuth in ring.items():
        angles[name] = (4 * step, -azimuth)
        angles[mirrored_number(name)] = (4 * step, azimuth)
    return angles


@pytest.fixture(scope="module", params=[1, None], ids=["turned", "edges in the planes of symmetry"])
def seed(request: pytest.FixtureRequest) -> int | None:
    return request.param


_placed: dict[tuple[Ellipsoid, int | None], Sites] = {}


def placed(solid: Ellipsoid, seed: int | None) -> Sites:
    """10-10 on about 10 000 vertices, once for each solid."""
    if (solid, seed) not in _placed:
        _placed[solid, seed] = place_sites(solid.head(5, seed), "10-10")
    return _placed[solid, seed]


@every_sphere
def test_midline_coronal_and_ring_sites_of_a_sphere(solid: Ellipsoid, seed: int | None) -> None:
    sites = placed(solid, seed)
    angles = sphere_angles(solid.step_deg)
    assert len(angles) == 11 + 10 + 16
    for name, (polar, azimuth) in angles.items():
        gap = np.linalg.norm(sites[name] - 90 * direction(polar, azimuth))
        assert gap <= WITHIN_MM, f"{name} is {gap:.3f} mm off"


@every_solid
def test_every_site_stands_where_the_closed_form_says(solid: Ellipsoid, seed: int | None) -> None:
    sites = placed(solid, seed)
    on_scalp = set(SYSTEMS["10-10"]) - {"A1", "A2", "M1", "M2"}
    assert set(solid.sites) == on_scalp
    gaps = {name: np.linalg.norm(sites[name] - at) for name, at in solid.sites.items()}
    worst = max(gaps, key=lambda name: gaps[name])
    assert gaps[worst] <= WITHIN_MM, f"{worst} is {gaps[worst]:.3f} mm off"


@every_solid
def test_every_arc_is_as_long_as_its_integral(solid: Ellipsoid, seed: int | None) -> None:
    tracer = placed(solid, seed).tracer
    for name, arc in solid.arcs.items():
        # Chords are shorter by h^2 / 24 R^2: 5e-5 with triangles of 3 mm.
        assert tracer.length_mm(name) == pytest.approx(arc.length_mm, rel=2e-4), name


@every_solid
def test_parasagittal_sites_stand_where_the_closed_form_says(
    solid: Ellipsoid, seed: int | None
) -> None:
    head = solid.head(5, seed)
    sites = place_sites(head, ["F3", "F4", "P3", "P4"], Rules(inner="parasagittal"))
    for name, side, fraction in (
        ("F3", "left", 0.25),
        ("P3", "left", 0.75),
        ("F4", "right", 0.25),
        ("P4", "right", 0.75),
    ):
        expected = solid.arcs[f"{side} parasagittal"].point(fraction, pinned=True)
        assert np.linalg.norm(sites[name] - expected) <= WITHIN_MM


@every_sphere
def test_contour_sites_stand_in_tenths_of_the_contour_and_of_the_lower_ring(
    solid: Ellipsoid, seed: int | None
) -> None:
    names = ["F9", "FT9", "T9", "TP9", "P9", "F10", "FT10", "T10", "TP10", "P10"]
    sites = place_sites(solid.head(5, seed), names, Rules(inferior="contour"))
    for k, name in enumerate(names):
        tenth = (3, 4, 5, 6, 7)[k % 5]
        azimuth = 18 * tenth * (-1 if k < 5 else 1)
        expected = 90 * direction(5 * solid.step_deg, azimuth)
        assert np.linalg.norm(sites[name] - expected) <= WITHIN_MM
    halves = ["AF9h", "FFT9h", "T9h", "TPP9h", "PO9h"]
    sites = place_sites(solid.head(5, seed), halves, Rules(inferior="contour"))
    for name, azimuth in zip(halves, (36, 63, 90, 117, 144), strict=True):
        expected = 90 * direction(4.5 * solid.step_deg, -azimuth)
        assert np.linalg.norm(sites[name] - expected) <= WITHIN_MM


# 10-5: a half row stands half way between two rows on the midline and on the ring.
TEN_FIVE_ROWS = {
    "AFp": ("AFp", "AFp", 0.15),
    "AF": ("AF", "AF", 0.2),
    "AFF": ("AFF", "AFF", 0.25),
    "F": ("F", "F", 0.3),
    "FFC": ("FFT", "FFC", 0.35),
    "FC": ("FT", "FC", 0.4),
    "FCC": ("FTT", "FCC", 0.45),
    "CCP": ("TTP", "CCP", 0.55),
    "CP": ("TP", "CP", 0.6),
    "CPP": ("TPP", "CPP", 0.65),
    "P": ("P", "P", 0.7),
    "PPO": ("PPO", "PPO", 0.75),
    "PO": ("PO", "PO", 0.8),
    "POO": ("POO", "POO", 0.85),
}
LEFT_COLUMNS = ("7", "7h", "5", "5h", "3", "3h", "1", "1h", "z")
RIGHT_COLUMNS = ("8", "8h", "6", "6h", "4", "4h", "2", "2h", "z")


@every_solid
def test_ten_five_rows_are_cut_in_sixteenths(solid: Ellipsoid) -> None:
    sites = place_sites(solid.head(5), "10-5", Rules(inferior="row"))
    arcs = solid.arcs
    below = 0.05 * arcs["coronal"].length_mm
    worst = {}
    for outer, inner, along in TEN_FIVE_ROWS.values():
        middle = arcs["midline"].point(along)
        row = solid.arc(arcs["left ring"].point(along), middle, arcs["right ring"].point(along))
        for k, (left, right) in enumerate(zip(LEFT_COLUMNS, RIGHT_COLUMNS, strict=True)):
            stem = outer if left[0] == "7" else inner
            for column, at in ((left, k / 16), (right, 1 - k / 16)):
                gap = sites[stem + column] - row.point(at, pinned=True)
                worst[stem + column] = float(np.linalg.norm(gap))
        for column, at_end in (("9h", False), ("10h", True)):
            gap = sites[outer + column] - row.beyond(below, at_end=at_end)
            worst[outer + column] = float(np.linalg.norm(gap))
    assert len(worst) == 14 * 19
    name = max(worst, key=lambda n: worst[n])
    assert worst[name] <= WITHIN_MM, f"{name} is {worst[name]:.3f} mm off"


def test_ten_five_marks_stand_half_way_along_the_first_arcs() -> None:
    sites = place_sites(SPHERE_C.head(5), "10-5")
    angles = {}
    for k, name in enumerate(("NFpz", "AFpz", "AFFz", "FFCz", "FCCz")):
        angles[name] = ((4.5 - k) * 22.5, FRONT)
    for k, name in enumerate(("OIz", "POOz", "PPOz", "CPPz", "CCPz")):
        angles[name] = ((4.5 - k) * 22.5, BACK)
    for k, (left, right) in enumerate(
        (("T9h", "T10h"), ("T7h", "T8h"), ("C5h", "C6h"), ("C3h", "C4h"), ("C1h", "C2h"))
    ):
        angles[left] = ((4.5 - k) * 22.5, LEFT)
        angles[right] = ((4.5 - k) * 22.5, RIGHT)
    half_ring = ("Fp1h", "AFp7", "AFF7", "FFT7", "FTT7", "TTP7", "TPP7", "PPO7", "POO7", "O1h")
    for k, name in enumerate(half_ring):
        angles[name] = (90.0, -(18 * k + 9.0))
    lower = {"N1h": 9.0, "N1": 18.0, "I1": 162.0, "I1h": 171.0}
    angles |= {name: (112.5, -azimuth) for name, azimuth in lower.items()}
    between = {"NFp1h": 9.0, "NFp1": 18.0, "OI1": 162.0, "OI1h": 171.0}
    angles |= {name: (4.5 * 22.5, -azimuth) for name, azimuth in between.items()}
    for name, (polar, azimuth) in angles.items():
        gap = np.linalg.norm(sites[name] - 90 * direction(polar, azimuth))
        assert gap <= WITHIN_MM, f"{name} is {gap:.3f} mm off"


PRINTED = {
    "sphere A": {
        "F5": (59.102, 48.303),
        "F3": (47.700, 38.361),
        "F1": (39.259, 22.230),
        "FC5": (55.331, 68.606),
        "FC3": (39.265, 61.206),
        "FC1": (25.072, 43.388),
        "AF3": (59.059, 21.401),
    },
    "sphere C": {
        "F5": (73.936, 48.680),
        "F3": (59.676, 38.772),
        "F1": (49.092, 22.488),
        "FC5": (69.186, 68.844),
        "FC3": (49.102, 61.453),
        "FC1": (31.349, 43.542),
        "AF3": (73.862, 21.712),
    },
}
BEHIND = {"F": "P", "FC": "CP", "AF": "PO"}


@pytest.mark.parametrize("name", PRINTED)
def test_printed_angles_of_the_rows_are_those_derived_here(name: str) -> None:
    solid = SPHERES[name]
    for site, (polar, azimuth) in PRINTED[name].items():
        row, column = site[:-1], site[-1]
        for at, expected in (
            (site, (polar, -azimuth)),
            (row + str(int(column) + 1), (polar, azimuth)),
            (BEHIND[row] + column, (polar, azimuth - 180)),
        ):
            found = polar_and_azimuth(solid.sites[at])
            np.testing.assert_allclose(found, expected, atol=6e-4)  # printed to 3 places


def test_printed_parasagittal_angles_are_those_derived_here() -> None:
    f3 = SPHERE_A.arcs["left parasagittal"].point(0.25, pinned=True)
    np.testing.assert_allclose(polar_and_azimuth(f3), [47.679, -43.398], atol=6e-4)


def test_tapes_on_spheres_are_multiples_of_the_radius() -> None:
    for solid, midline in ((SPHERE_A, np.pi * 90), (SPHERE_C, 1.25 * np.pi * 90)):
        ring = 2 * np.pi * 90 * np.sin(np.radians(4 * solid.step_deg))
        arcs = solid.arcs
        assert arcs["midline"].length_mm == pytest.approx(midline)
        assert arcs["coronal"].length_mm == pytest.approx(midline)
        halves = arcs["left ring"].length_mm + arcs["right ring"].length_mm
        assert halves == pytest.approx(ring)
    assert SPHERE_C.arcs["midline"].length_mm == pytest.approx(353.4, abs=0.05)
    assert 2 * SPHERE_C.arcs["left ring"].length_mm == pytest.approx(565.5, abs=0.05)


def test_distances_over_sphere_a_between_neighbours(seed: int | None) -> None:
    sites = placed(SPHERE_A, seed)
    printed = {"Fp1-F7": 53.69, "Fp1-F3": 46.87, "F3-C3": 55.74, "Fz-Cz": 56.55, "F7-F3": 43.52}
    for pair, expected in printed.items():
        one, other = pair.split("-")
        derived = 90 * np.arccos(SPHERE_A.sites[one] @ SPHERE_A.sites[other] / 90**2)
        assert derived == pytest.approx(expected, abs=6e-3)
        a, b = (sites[name] / np.linalg.norm(sites[name]) for name in (one, other))
        assert 90 * np.arccos(a @ b) == pytest.approx(derived, abs=0.05)


def test_printed_numbers_of_the_ellipsoid_are_those_derived_here() -> None:
    arcs, sites = ELLIPSOID.arcs, ELLIPSOID.sites
    assert arcs["midline"].length_mm == pytest.approx(290.6504, abs=6e-5)
    assert arcs["coronal"].length_mm == pytest.approx(259.7172, abs=6e-5)
    assert 2 * arcs["left ring"].length_mm == pytest.approx(511.4741, abs=6e-5)
    assert arcs["row F"].length_mm == pytest.approx(163.7771, abs=6e-5)
    assert arcs["row FC"].length_mm == pytest.approx(196.6505, abs=6e-5)
    parasagittal = arcs["left parasagittal"].point(0.25, pinned=True)
    for found, expected in (
        (sites["F7"], (-60.276, 49.323, 26.169)),
        (sites["F3"], (-37.531, 53.213, 59.416)),
        (parasagittal, (-41.038, 49.074, 59.274)),
    ):
        np.testing.assert_allclose(found, expected, atol=6e-4)


@every_solid
def test_sites_converge_by_the_second_order(solid: Ellipsoid) -> None:
    """Four refinements, from 162 to 40 962 vertices: each halves the edges."""
    errors = []
    for subdivisions in (2, 3, 4, 5, 6):
        sites = place_sites(solid.head(subdivisions), "10-10")
        gaps = [np.linalg.norm(sites[name] - at) for name, at in solid.sites.items()]
        errors.append(np.sqrt(np.mean(np.square(gaps))))
    halvings = np.log2(errors)
    np.testing.assert_allclose(-np.diff(halvings), 2.0, atol=0.2)
    assert -np.polyfit(range(5), halvings, 1)[0] == pytest.approx(2.0, abs=0.1)


@every_solid
def test_tapes_converge_by_the_second_order(solid: Ellipsoid) -> None:
    errors = []
    for subdivisions in (2, 3, 4, 5):
        tracer = place_sites(solid.head(subdivisions)).tracer
        errors.append(
            np.mean([arc.length_mm - tracer.length_mm(name) for name, arc in solid.arcs.items()])
        )
    np.testing.assert_allclose(np.log2(np.array(errors[:-1]) / errors[1:]), 2.0, atol=0.25)


SKEWED = Landmarks(
    *(
        np.array(ELLIPSOID.half_axes_mm) * direction(polar, azimuth)
        for polar, azimuth in ((88.0, 3.0), (101.0, 176.0), (93.0, -96.0), (85.0, 88.0))
    )
)


def test_the_vertex_bisects_both_arcs_of_skewed_landmarks() -> None:
    vertices, faces = unit_sphere(5, turn(8))
    head = Head(vertices * ELLIPSOID.half_axes_mm, faces, SKEWED)
    sites = place_sites(head, "10-20")
    expected = bisecting_vertex(ELLIPSOID, SKEWED)
    assert np.linalg.norm(expected - ELLIPSOID.top) > 5
    assert np.linalg.norm(sites["Cz"] - expected) <= WITHIN_MM
    for arc in ("midline", "coronal"):
        run = sites.tracer.run(arc)
        assert abs(run.via_mm - run.length_mm / 2) <= 1e-3


def test_a_capsule_is_measured_up_its_side_and_over_its_top() -> None:
    capsule = Capsule()
    sites = place_sites(capsule.head(), "10-10")
    length = capsule.length_mm
    assert sites.tracer.length_mm("midline") == pytest.approx(length, rel=2e-4)
    assert sites.tracer.length_mm("coronal") == pytest.approx(length, rel=2e-4)
    expected = {"Cz": capsule.at(length / 2, FRONT)}
    for azimuth, names in (
        (FRONT, ("Fpz", "AFz", "Fz", "FCz")),
        (BACK, ("Oz", "POz", "Pz", "CPz")),
        (LEFT, ("T7", "C5", "C3", "C1")),
        (RIGHT, ("T8", "C6", "C4", "C2")),
    ):
        expected |= {n: capsule.at((k + 1) * length / 10, azimuth) for k, n in enumerate(names)}
    # The 10 % marks are all as high up the cylinder, so the ring is a level circle.
    assert length / 10 < capsule.cylinder_mm
    ring = ("Fp1", "AF7", "F7", "FT7", "T7", "TP7", "P7", "PO7", "O1")
    expected |= {name: capsule.at(length / 10, -18.0 * (k + 1)) for k, name in enumerate(ring)}
    assert len(expected) == 25
    for name, at in expected.items():
        assert np.linalg.norm(sites[name] - at) <= 0.1, name  # 8 mm of arc lie 0.02 mm inside
    ring_mm = sites.tracer.length_mm("left ring") + sites.tracer.length_mm("right ring")
    assert ring_mm == pytest.approx(2 * np.pi * capsule.radius_mm, rel=2e-4)
