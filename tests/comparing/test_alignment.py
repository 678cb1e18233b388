"""Ways to lay marks on a head: by landmarks, by names, robustly, by the surface."""

import numpy as np
import pytest
from marked_heads import landmarks_of, on_the_spot, template_sites, template_targets, three_of
from scipy.spatial.transform import Rotation

from headfit import load_template
from headfit.comparing.alignment_kinds import ALIGNMENTS
from headfit.comparing.compare import compare_marks
from headfit.marks.marks import Marks

HEAD = load_template()
SITES = template_sites("10-20")
TARGETS = template_targets("10-20")
WIDE = template_sites("10-10")


@pytest.mark.parametrize("align", ALIGNMENTS)
def test_every_alignment_finds_marks_on_their_sites(align: str) -> None:
    comparison = compare_marks(SITES, on_the_spot(TARGETS), align)  # type: ignore[arg-type]
    assert comparison.aligned_by == align
    found = comparison.alignments[align]  # type: ignore[index]
    assert found.rms_mm == pytest.approx(0.0, abs=0.05)
    assert max(found.landmark_residuals_mm.values()) == pytest.approx(0.0, abs=0.1)


def test_landmark_and_best_fit_stand_side_by_side_with_landmark_residuals() -> None:
    # A nasion 8 mm off tilts the landmark frame; the best fit does not see it, its residual tells.
    landmarks = three_of(HEAD)
    wrong = landmarks | {"nasion": landmarks["nasion"] + [0.0, 0.0, 8.0]}
    comparison = compare_marks(SITES, Marks(TARGETS.names, SITES.points_mm, wrong))
    by = comparison.alignments
    assert set(by) == {"landmarks", "best-fit", "robust"}
    assert by["landmarks"].median_mm > 2.0
    assert by["best-fit"].median_mm == pytest.approx(0.0, abs=0.01)
    assert by["best-fit"].landmark_residuals_mm["nasion"] == pytest.approx(8.0, abs=0.01)
    assert by["landmarks"].landmark_residuals_mm["nasion"] < 8.0


def test_the_inion_weighs_less_than_the_other_landmarks() -> None:
    landmarks = landmarks_of(HEAD)
    wrong = landmarks | {"inion": landmarks["inion"] + [0.0, 0.0, 10.0]}
    comparison = compare_marks(SITES, Marks(TARGETS.names, SITES.points_mm, wrong))
    left = comparison.alignments["landmarks"].landmark_residuals_mm
    assert left["inion"] > 6.0
    assert left["nasion"] < 2.0


def test_surface_alignment_lays_floating_marks_at_one_height() -> None:
    # Landmarks 6 mm too low: the surface lifts the set, the landmarks alone leave it slanting.
    points = SITES.points_mm + 8.0 * SITES.normals
    wrong = {name: point + np.array([0.0, 0.0, -6.0]) for name, point in three_of(HEAD).items()}
    comparison = compare_marks(SITES, Marks(TARGETS.names, points, wrong), "surface")
    heights = {
        kind: np.std(
            [
                d.off_surface_mm
                for d in compare_marks(SITES, Marks(TARGETS.names, points, wrong), kind).deviations
            ]
        )  # type: ignore[arg-type]
        for kind in ("landmarks", "surface")
    }
    assert heights["surface"] < 0.4 * heights["landmarks"]
    assert heights["landmarks"] > 1.5
    assert comparison.alignments["surface"].height_mm == pytest.approx(8.0, abs=1.0)


def test_surface_alignment_turns_back_what_a_wrong_nasion_tilted() -> None:
    # A nasion 12 mm too high pitches the landmark frame by 7 degrees; the vault pitches it back.
    sites = template_sites("10-10")
    wrong = three_of(HEAD)
    wrong["nasion"] = wrong["nasion"] + np.array([0.0, 0.0, 12.0])
    marks = Marks(sites.names, sites.points_mm + 5.0 * sites.normals, wrong)
    by_landmarks = compare_marks(sites, marks).alignments["landmarks"].motion.turn_degrees
    by_surface = compare_marks(sites, marks, "surface").alignments["surface"].motion.turn_degrees
    assert abs(by_landmarks[0]) > 5.0
    # A vault is nearly round: it takes back more than half of a pitch, not all.
    assert abs(by_surface[0]) < 0.5 * abs(by_landmarks[0])


def test_surface_alignment_works_without_landmarks() -> None:
    floating = SITES.points_mm + 9.0 * SITES.normals
    turned = Rotation.from_rotvec([10.0, 20.0, 40.0], degrees=True).apply(floating)
    comparison = compare_marks(SITES, Marks(TARGETS.names, turned + 30.0), "surface")
    found = comparison.alignments["surface"]
    assert found.rms_mm < 0.3
    assert found.height_mm == pytest.approx(9.0, abs=0.2)


def test_a_mark_that_stands_off_does_not_lift_the_surface_alignment() -> None:
    points = np.array(SITES.points_mm)
    wild = SITES.names.index("Cz")
    points[wild] += 45.0 * SITES.normals[wild]
    found = compare_marks(SITES, Marks(TARGETS.names, points, three_of(HEAD)), "surface")
    others = [abs(d.off_surface_mm) for d in found.deviations if d.site != "Cz"]
    assert max(others) < 0.1
