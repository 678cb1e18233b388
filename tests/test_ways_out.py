"""Nouns handed to pandas, trimesh, pyvista and mne, and drawn small in a notebook."""

from __future__ import annotations

import re
import sys
import xml.etree.ElementTree as ET
from functools import cache

import mne
import numpy as np
import pandas as pd
import pytest
import pyvista
import trimesh
from marked_heads import landmarks_of
from mne.channels import compute_native_head_t
from scipy.spatial.transform import Rotation

from headfit import FittedHead, Head, Marks, Tape, compare_marks, fit_head, place_sites
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import Landmarks
from headfit.errors import InputError
from headfit.files.comparison_files import DEVIATION_HEADER
from headfit.files.mne_positions import montage_of
from headfit.fitting.measurements import MEASUREMENTS
from headfit.geometry.rigid import RigidMotion
from headfit.hooks import HOOKS, hook
from headfit.output.scene import STATES

MOTION = RigidMotion(
    Rotation.from_euler("xyz", [25.0, -40.0, 110.0], degrees=True).as_matrix(), [31.0, -7.0, 250.0]
)


@cache
def fitted() -> FittedHead:
    return fit_head(
        Tape(nasion_inion_mm=352, preauricular_arc_mm=361, ring_mm=566, left_ring_mm=281)
    )


def shifted_marks() -> Marks:
    """Marks on the fitted head: Cz 14 mm too far back, the others in their places."""
    sites = place_sites(fitted(), "10-20")
    points = np.array(sites.points_mm)
    points[sites.names.index("Cz")] += [0.0, -14.0, 0.0]
    return Marks(sites.names, points, landmarks_of(fitted().head), source="<b>marks</b>")


def turned_head() -> Head:
    """A head in no frame of its own, whose nasion is not midway between the ears."""
    head = fitted().head
    landmarks = Landmarks(
        head.landmarks.nasion + np.array([4.0, 0.0, 0.0]), *list(head.landmarks)[1:]
    ).moved(MOTION.rotation, MOTION.translation_mm)
    return Head(MOTION.on(head.vertices_mm), head.faces, landmarks, head.part, head.label)


# ---- pandas


def test_sites_are_a_frame_with_a_row_a_site() -> None:
    sites = place_sites(fitted(), "10-20")
    frame = sites.to_frame()
    assert isinstance(frame, pd.DataFrame)
    assert tuple(frame.index) == sites.names
    assert frame.index.name == "name"
    np.testing.assert_array_equal(frame[["x", "y", "z"]].to_numpy(), sites.points_mm)
    assert frame.loc["Cz", "arc"] == "midline"
    assert frame.loc["Cz", "from_start_mm"] == sites.tracer.length_mm("midline") / 2
    assert frame.loc["A1", ["arc", "fraction"]].isna().all()


def test_a_comparison_is_a_frame_with_a_row_a_mark() -> None:
    comparison = compare_marks(fitted(), shifted_marks())
    frame = comparison.to_frame()
    assert tuple(frame.index) == comparison.names
    assert (frame.index.name, *frame.columns) == DEVIATION_HEADER
    assert frame["over_scalp_mm"].tolist() == [d.over_scalp_mm for d in comparison.deviations]
    assert frame["over_scalp_mm"].idxmax() == "Cz"
    assert frame.loc["Cz", "stands_out"] == "yes"


def test_measurements_are_a_frame_with_a_row_for_each_taken_or_not() -> None:
    frame = fitted().to_frame()
    assert list(frame.index) == list(MEASUREMENTS)
    assert frame["measured_mm"].dropna().to_dict() == fitted().tape.values_mm
    assert frame["fitted_mm"].to_dict() == fitted().predicted_mm
    assert frame["fitted_spread_mm"].gt(0).all()
    gap = (frame["fitted_mm"] - frame["measured_mm"]).dropna()
    np.testing.assert_allclose(gap, frame["fitted_minus_measured_mm"].dropna(), atol=1e-9)
    assert len(gap) == 4


def test_without_pandas_one_sentence_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(
        InputError, match=r"pandas must be installed .* \(pip install 'headfit\[pandas\]'\)"
    ) as caught:
        place_sites(fitted(), "10-20").to_frame()
    assert caught.value.code == "extra-missing"


# ---- trimesh and pyvista: their own volume and area against ours


def test_a_head_goes_to_trimesh_with_its_parts_and_landmarks() -> None:
    head = turned_head()
    mesh = head.to_trimesh()
    assert isinstance(mesh, trimesh.Trimesh)
    np.testing.assert_array_equal(mesh.vertices, head.vertices_mm)
    np.testing.assert_array_equal(mesh.faces, head.faces)
    np.testing.assert_array_equal(mesh.vertex_attributes["part"], head.part)
    assert mesh.volume == pytest.approx(head.surface.volume_mm3, rel=1e-9)
    assert list(mesh.metadata["landmarks_mm"]) == list(LANDMARK_NAMES)
    np.testing.assert_array_equal(mesh.metadata["landmarks_mm"]["inion"], head.landmarks.inion)


def test_a_head_goes_to_pyvista_with_its_parts_and_landmarks() -> None:
    head = turned_head()
    mesh = head.to_pyvista()
    assert isinstance(mesh, pyvista.PolyData)
    np.testing.assert_array_equal(mesh.points, head.vertices_mm)
    np.testing.assert_array_equal(mesh.regular_faces, head.faces)
    np.testing.assert_array_equal(mesh.point_data["part"], head.part)
    assert mesh.volume == pytest.approx(head.surface.volume_mm3, rel=1e-6)
    np.testing.assert_array_equal(mesh.field_data["nasion"], head.landmarks.nasion)


def test_a_head_without_parts_goes_there_too() -> None:
    head = turned_head()
    plain = Head(head.bare.vertices_mm, head.faces, head.landmarks)
    assert "part" not in plain.to_trimesh().vertex_attributes
    assert "part" not in plain.to_pyvista().point_data


def test_what_a_library_does_to_its_mesh_leaves_the_head_as_it_is() -> None:
    head = turned_head()
    before = np.array(head.vertices_mm)
    head.to_trimesh().apply_scale(2.0)
    head.to_pyvista().points[:] = 0.0
    np.testing.assert_array_equal(head.vertices_mm, before)


# ---- mne: its own transform is the oracle


@pytest.mark.parametrize("frame", ["unknown", "mri"])
def test_sites_of_a_turned_head_lie_where_mne_itself_would_put_them(frame: str) -> None:
    sites = place_sites(turned_head(), "10-20")
    native = mne.channels.make_dig_montage(
        ch_pos={name: point / 1000 for name, point in sites.items()},
        coord_frame=frame,
        nasion=sites.tracer.point("nasion") / 1000,
        lpa=sites.tracer.point("left_preauricular") / 1000,
        rpa=sites.tracer.point("right_preauricular") / 1000,
    )
    native.apply_trans(compute_native_head_t(native))
    wanted, held = native.get_positions(), sites.to_mne().get_positions()
    assert held["coord_frame"] == wanted["coord_frame"] == "head"
    assert list(held["ch_pos"]) == list(sites.names)
    for name in sites:
        np.testing.assert_allclose(held["ch_pos"][name], wanted["ch_pos"][name], atol=1e-9)
        assert np.linalg.norm(held["ch_pos"][name] - sites[name] / 1000) > 0.05  # it was turned
    for key in ("nasion", "lpa", "rpa"):
        np.testing.assert_allclose(held[key], wanted[key], atol=1e-9)


def test_a_recording_takes_the_positions_as_they_are() -> None:
    sites = place_sites(turned_head(), "10-20")
    montage = sites.to_mne()
    np.testing.assert_array_equal(compute_native_head_t(montage)["trans"], np.eye(4))
    info = mne.create_info(list(sites.names), 100.0, "eeg")
    info.set_montage(montage)
    held = montage.get_positions()["ch_pos"]
    for channel in info["chs"]:
        np.testing.assert_allclose(channel["loc"][:3], held[channel["ch_name"]], atol=1e-6)


def test_the_frame_of_mne_has_the_nasion_on_y_and_both_ears_on_x() -> None:
    held = place_sites(turned_head(), ["Cz"]).to_mne().get_positions()
    np.testing.assert_allclose(held["nasion"][[0, 2]], 0.0, atol=1e-9)
    np.testing.assert_allclose([*held["lpa"][1:], *held["rpa"][1:]], 0.0, atol=1e-9)
    assert held["lpa"][0] < -0.05 < 0.05 < held["rpa"][0]
    assert held["nasion"][1] > 0.05
    assert held["ch_pos"]["Cz"][2] > 0.05


@pytest.mark.parametrize("absent", ["nasion", "left_preauricular", "right_preauricular"])
def test_positions_without_a_landmark_stay_where_they_are_and_say_so(absent: str) -> None:
    landmarks = landmarks_of(turned_head())
    del landmarks[absent]
    held = montage_of({"Cz": np.array([1.0, 2.0, 3.0])}, landmarks).get_positions()
    assert held["coord_frame"] == "unknown"
    np.testing.assert_allclose(held["ch_pos"]["Cz"], [0.001, 0.002, 0.003])


# ---- small drawings


def drawings_of(html: str) -> list[ET.Element]:
    return [ET.fromstring(text) for text in re.findall(r"<svg .*?</svg>", html)]


@pytest.mark.parametrize("what", ["head", "fitted", "sites", "comparison"])
def test_a_noun_is_drawn_from_the_left_and_from_above_in_a_notebook(what: str) -> None:
    noun = {
        "head": fitted().head,
        "fitted": fitted(),
        "sites": place_sites(fitted(), "10-20"),
        "comparison": compare_marks(fitted(), shifted_marks()),
    }[what]
    shown = noun._repr_html_()
    left, top = drawings_of(shown)
    names = [[text.text or "" for text in drawing.iter("text")] for drawing in (left, top)]
    assert any(name.startswith("T7") for name in names[0])
    assert any(name.startswith("C4") for name in names[1])
    # No style sheet stands beside a notebook: every line brings its ink.
    lines = [*left.iter("path"), *top.iter("path")]
    assert {line.get("class") for line in lines} >= {"contour", "arc"}
    assert all(line.get("stroke") and line.get("stroke-width") for line in lines)
    assert len(shown) < 60_000
    assert "<b>" not in shown  # a source is text
    assert "<script" not in shown


def test_a_drawn_comparison_shows_the_far_mark_by_its_sign_and_an_arrow() -> None:
    drawings = drawings_of(compare_marks(fitted().head, shifted_marks())._repr_html_())
    far = f"Cz {STATES['far'].sign}"
    assert [far in [text.text for text in drawing.iter("text")] for drawing in drawings] == [
        True
    ] * 2
    kinds = {line.get("class") for drawing in drawings for line in drawing.iter("path")}
    assert "move" in kinds


def test_every_declared_door_leads_to_a_function() -> None:
    for name in HOOKS:
        assert callable(hook(name))
