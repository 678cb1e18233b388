"""Loading the template heads: the ages, what lies between them, and where the files are found."""

import re
import shutil
import tomllib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from headfit import Head, load_template, measure_head, place_sites
from headfit.anatomy import template
from headfit.anatomy.head import EAR, PART_NAMES
from headfit.anatomy.template import age_from_text, age_in_months, meshes_folder, template_set
from headfit.errors import FileFormatError, UnknownNameError
from headfit.geometry.rigid import best_rigid

ROOT = Path(__file__).resolve().parents[2]
MONTHS = {"newborn": 0, "m06": 6, "m12": 12, "y05": 60, "y10": 120, "adult": 240}


@pytest.mark.parametrize("age", MONTHS)
def test_a_template_of_every_age_is_a_head_in_its_own_frame(age: str) -> None:
    head = load_template(age)
    rotation, shift = head.landmarks.frame
    np.testing.assert_allclose(rotation, np.eye(3), atol=1e-9)
    np.testing.assert_allclose(shift, 0.0, atol=1e-9)
    assert head.landmark_offsets_mm.max() < 0.5
    assert head.part is not None
    assert set(np.unique(head.part)) <= set(range(len(PART_NAMES)))
    assert (head.part == EAR).sum() > 100


def test_where_the_ears_were_the_head_does_not_bulge() -> None:
    """A patch hung from the flanks of the ears was 12 mm broader than the vault above it."""
    breadth_mm = measure_head(load_template()).values_mm["head_breadth"]
    bare = load_template().bare.vertices_mm
    level = (bare[:, 2] > 0) & (bare[:, 2] < 25)
    assert np.ptp(bare[level, 0]) < breadth_mm + 7


@pytest.mark.parametrize("age", MONTHS)
def test_children_are_labelled_as_illustrations_and_grown_ups_are_not(age: str) -> None:
    label = load_template(age).label
    assert label
    assert ("illustrative, norm-scaled" in label) == (age != "adult")


def test_all_ages_share_triangles_parts_and_landmark_places() -> None:
    heads = [load_template(age) for age in MONTHS]
    for head in heads[1:]:
        np.testing.assert_array_equal(head.faces, heads[0].faces)
        np.testing.assert_array_equal(head.part, heads[0].part)


@pytest.mark.parametrize("age", MONTHS)
def test_the_mirror_table_takes_each_vertex_to_its_twin(age: str) -> None:
    stored = template_set()
    vertices = stored.vertices_mm[age]
    np.testing.assert_array_equal(stored.mirror[stored.mirror], np.arange(len(vertices)))
    np.testing.assert_allclose(vertices[stored.mirror] * [-1, 1, 1], vertices, atol=0.01)


def test_ages_are_months_of_names_or_years() -> None:
    assert {age: age_in_months(age) for age in MONTHS} == MONTHS
    assert age_in_months(0) == 0
    assert age_in_months(2.5) == 30
    assert age_in_months(70) == 840


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("10 days", 10),
        ("1d", 1),
        ("3 weeks", 21),
        ("6 wks", 42),
        ("18 months", 18 * 365.25 / 12),
        ("2 mo", 2 * 365.25 / 12),
        ("4,5 yr", 4.5 * 365.25),
        ("30", 30 * 365.25),
    ],
)
def test_an_age_is_read_in_the_unit_it_is_told_in(text: str, days: float) -> None:
    """A year of 365.25 days: the Julian year of the IAU; to the hour at any age of a child."""
    assert age_from_text(text) == pytest.approx(days / 365.25, abs=1 / 24 / 365.25)


def rigidly(head: Head, target: np.ndarray) -> np.ndarray:
    """The vertices of a head, moved as a whole to where `target` has them."""
    return best_rigid(head.vertices_mm, target).on(head.vertices_mm)


def test_between_two_ages_the_heads_are_blended() -> None:
    stored = template_set()
    blended = load_template(3.0)  # 36 months, between 12 and 60
    expected = 0.5 * stored.vertices_mm["m12"] + 0.5 * stored.vertices_mm["y05"]
    # Turned and shifted as a whole into the frame of its own landmarks.
    np.testing.assert_allclose(blended.vertices_mm, expected, atol=0.1)
    np.testing.assert_allclose(rigidly(blended, expected), expected, atol=1e-9)
    assert blended.label == "3 years, illustrative, norm-scaled"
    quarter = load_template(2.0)  # 24 months
    expected = 0.75 * stored.vertices_mm["m12"] + 0.25 * stored.vertices_mm["y05"]
    np.testing.assert_allclose(rigidly(quarter, expected), expected, atol=1e-9)


@pytest.mark.parametrize(
    ("years", "age"), [(0, "newborn"), (0.5, "m06"), (5, "y05"), (20, "adult")]
)
def test_at_a_stored_age_it_is_the_stored_head(years: float, age: str) -> None:
    np.testing.assert_array_equal(load_template(years).vertices_mm, load_template(age).vertices_mm)
    assert load_template(years).label == load_template(age).label


def test_past_the_last_age_it_is_the_adult() -> None:
    np.testing.assert_array_equal(load_template(81).vertices_mm, load_template().vertices_mm)


def test_heads_grow_with_age() -> None:
    lengths = [
        place_sites(load_template(years)).tracer.length_mm("midline")
        for years in (0, 0.25, 0.5, 0.75, 1, 3, 5, 8, 10, 15, 20)
    ]
    assert (np.diff(lengths) > 0).all()


@pytest.mark.parametrize(
    ("age", "message"),
    [
        ("adlt", "unknown age 'adlt': did you mean 'adult'?"),
        ("y5", "unknown age 'y5': did you mean 'y05'?"),
        ("old", "unknown age 'old': choose one of newborn, m06, m12, y05, y10, adult"),
        (-1, "unknown age in years -1: choose one of 0 to 120"),
        (121, "unknown age in years 121: choose one of 0 to 120"),
        (float("nan"), "unknown age in years nan: choose one of 0 to 120"),
    ],
)
def test_an_age_nobody_stored_is_refused(age: str | float, message: str) -> None:
    for ask in (age_in_months, load_template):
        with pytest.raises(UnknownNameError, match=f"^{re.escape(message)}$"):
            ask(age)


def test_an_age_by_name_and_in_years_is_one_head() -> None:
    assert load_template() is load_template("adult")
    assert load_template(1.0) is load_template("m12")


@pytest.fixture
def emptied_caches() -> Iterator[None]:
    """Templates are read once in a process; here they are read again, from elsewhere."""
    caches = template.template_set, template._head_at
    for cached in caches:
        cached.cache_clear()
    yield
    for cached in caches:
        cached.cache_clear()


def installed(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A package folder as a wheel lays it out: meshes inside it, nothing beside it."""
    package = folder / "site-packages" / "headfit"
    shutil.copytree(ROOT / "meshes", package / "meshes")
    monkeypatch.setattr(template, "__file__", str(package / "anatomy" / "template.py"))
    return package


def test_meshes_are_found_in_a_checkout() -> None:
    assert meshes_folder() == ROOT / "meshes"


def test_meshes_are_found_in_a_wheel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, emptied_caches: None
) -> None:
    expected = Head(*(getattr(load_template(), n) for n in ("vertices_mm", "faces", "landmarks")))
    template.template_set.cache_clear()
    template._head_at.cache_clear()
    package = installed(tmp_path, monkeypatch)
    assert meshes_folder() == package / "meshes"
    np.testing.assert_array_equal(load_template().vertices_mm, expected.vertices_mm)


def test_meshes_in_a_wheel_come_before_those_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = installed(tmp_path, monkeypatch)
    shutil.copytree(ROOT / "meshes", tmp_path / "site-packages" / "meshes")
    assert meshes_folder() == package / "meshes"


def test_a_package_without_meshes_says_where_it_looked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, emptied_caches: None
) -> None:
    package = installed(tmp_path, monkeypatch)
    shutil.rmtree(package / "meshes")
    looked = tmp_path / "site-packages" / "meshes"
    message = (
        f"template meshes must lie beside the package, got nothing in {looked} "
        "(install headfit again)"
    )
    with pytest.raises(FileFormatError, match=f"^{re.escape(message)}$"):
        load_template()


def test_the_wheel_is_told_to_carry_the_meshes_into_the_package() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    included = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    for name in ("heads.json", "heads.npz", "LICENSES.md", "README.md"):
        assert included[f"meshes/{name}"] == f"headfit/meshes/{name}"
