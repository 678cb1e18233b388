"""All sites against the same definitions put together from trimesh and scipy: an independent path.

trimesh.section cuts and orders, scipy.spatial.ConvexHull pulls the tape tight,
trimesh.proximity.closest_point finds the skin beside the ears.
"""

import numpy as np
import pytest
from general_parts import GeneralHead
from solids import bumpy_head

from headfit import load_template, measure_head, place_sites
from headfit.anatomy.sites import SYSTEMS

HEADS = ("adult", "newborn", "y05", 1, 2, 3)


@pytest.mark.parametrize("which", HEADS)
@pytest.mark.parametrize("system", ["10-20", "10-10"])
def test_sites_are_those_of_general_parts(which: str | int, system: str) -> None:
    head = load_template(which) if isinstance(which, str) else bumpy_head(which, bumps=0.02)
    bare, skin = head.bare.vertices_mm, head.vertices_mm
    other = GeneralHead(bare, head.faces, head.landmarks, skin)
    sites = place_sites(head, system)
    assert len(sites) == len(SYSTEMS[system])
    # Both stop looking for Cz within 1e-3 mm, and not at the same step.
    np.testing.assert_allclose(sites.points_mm, other.sites(system), atol=3e-3)


def test_measurements_are_those_of_general_parts() -> None:
    head = load_template("adult")
    other = GeneralHead(head.bare.vertices_mm, head.faces, head.landmarks)
    measured = measure_head(head).values_mm
    for name in (
        "nasion_inion",
        "preauricular_arc",
        "ring",
        "frontal_row",
        "ear_arc_oz",
        "left_parasagittal",
        "head_length",
        "head_breadth",
    ):
        assert other.measurement_mm(name) == pytest.approx(measured[name], abs=1e-6)
