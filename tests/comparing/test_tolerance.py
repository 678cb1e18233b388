"""By which tolerance a mark is judged, and that "unsure" is never told as "good"."""

from __future__ import annotations

import numpy as np
import pytest
from demo_case import demo_result
from scipy.stats import chi2

from headfit import place_sites
from headfit.comparing.compare import compare_marks
from headfit.comparing.comparison import Comparison
from headfit.comparing.target_sites import targets_for
from headfit.comparing.tolerance import counts, judged, tolerance_mm, untold_sentence
from headfit.comparing.verdict import comparison_sentences, summary
from headfit.files.comparison_files import deviation_rows
from headfit.marks.marks import Marks
from headfit.output.case_view import CaseView
from headfit.output.comparison_scene import comparison_table, with_comparison

MOVED = {"C3": 3.0, "F3": 11.0, "Fp1": 14.0, "O2": 30.0}


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    """Marks on the demo head that are off along their arcs by known lengths, by its landmarks."""
    fitted = demo_result().tape_fit
    sites = place_sites(fitted.head, "10-20")
    targets = targets_for(sites, sites.names)
    points = np.array(sites.points_mm)
    for name, off_mm in MOVED.items():
        row = targets.names.index(name)
        points[row] += off_mm * targets.along[row]
    landmarks = {name: getattr(fitted.head.landmarks, name) for name in targets.landmarks}
    return compare_marks(
        sites, Marks(sites.names, points, landmarks), "landmarks", spreads=fitted.spreads(sites)
    )


def test_a_mark_that_only_the_doubt_of_its_site_brings_back_cannot_be_told(
    comparison: Comparison,
) -> None:
    d = comparison["F3"]
    near, _ = comparison.bands_mm
    assert near + 1 < d.over_scalp_mm < near + d.uncertainty_mm
    assert d.band == 0  # what was once told as "marked within tolerance"
    assert judged(d, comparison.bands_mm) == "cannot be told"
    assert judged(comparison["C3"], comparison.bands_mm) == "within"
    assert judged(comparison["Cz"], comparison.bands_mm) == "within"
    assert judged(comparison["O2"], comparison.bands_mm) == "far off"
    assert sum(counts(comparison).values()) == len(comparison)
    assert counts(comparison)["cannot be told"] == 1


def test_the_tolerance_is_the_limit_and_the_95_percent_range_of_the_site(
    comparison: Comparison,
) -> None:
    """The longer half axis of the ellipse, with the quantile of scipy."""
    fitted = demo_result().tape_fit
    spreads = fitted.spreads(place_sites(fitted.head, "10-20"))
    for name, covariance in zip(spreads.names, spreads.covariance_mm2, strict=True):
        expected = 5.0 + np.sqrt(chi2.ppf(0.95, 2) * np.linalg.eigvalsh(covariance)[-1])
        found = tolerance_mm(comparison[name], comparison.bands_mm)
        assert found == pytest.approx(expected, rel=1e-6)


def test_it_is_on_the_screen_in_the_table_and_in_the_file(comparison: Comparison) -> None:
    scene = with_comparison(CaseView(demo_result()).bare_scene, comparison)
    assert scene.site("F3").state == "unsure"
    assert "cannot be told: tolerance 1" in scene.site("F3").note
    assert scene.site("C3").state == "near"
    rows = {row.site: row.cells for row in comparison_table(comparison).rows}
    d = comparison["F3"]
    assert rows["F3"][2:4] == (
        f"{5 + d.uncertainty_mm:.0f} = 5 + {d.uncertainty_mm:.0f} site unsure",
        "cannot be told",
    )
    told = {str(row[0]): row[8:10] for row in deviation_rows(comparison)}
    assert told["F3"][0] == "cannot be told"
    assert told["F3"][1] == pytest.approx(5 + d.uncertainty_mm)
    assert "1 of which it cannot be told" in " ".join(summary(comparison))
    said = untold_sentence(comparison)
    assert said in comparison_sentences(comparison)
    assert said.startswith("F3 lies more than 5 mm off, but the site itself is less sure than that")
