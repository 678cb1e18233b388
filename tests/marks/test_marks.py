"""Marks as data, their names on request, and the way to mne with true landmarks."""

import sys

import mne
import numpy as np
import pytest
from marked_heads import landmarks_of, template_sites, three_of
from scipy.spatial.transform import Rotation
from solids import SPHERE_C

from headfit import Landmarks, load_template, place_sites
from headfit.anatomy.landmarks import NAMES
from headfit.comparing.head_from_marks import head_under
from headfit.comparing.unnamed_marks import guess_places
from headfit.errors import InputError, LandmarkError, MarksError, UnknownNameError
from headfit.files.mne_positions import montage_of, sites_to_mne
from headfit.marks.marks import Marks
from headfit.marks.remarks import Remark, doubt

SITES = template_sites("10-10")
HEAD = load_template()
MARKS = Marks(SITES.names, SITES.points_mm, three_of(HEAD), ("E1",), np.array([[0.0, 0.0, 130.0]]))


def test_marks_are_asked_by_name() -> None:
    np.testing.assert_array_equal(MARKS["Cz"], SITES["Cz"])
    with pytest.raises(UnknownNameError, match="unknown mark 'Cx'"):
        MARKS["Cx"]
    assert len(MARKS) == len(SITES)
    assert len(MARKS.all_points_mm) == len(SITES) + 1


def test_stored_places_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        MARKS.points_mm[0, 0] = 1.0
    with pytest.raises(TypeError):
        MARKS.landmarks["nasion"] = np.zeros(3)  # type: ignore[index]


def test_the_frame_of_the_landmarks_is_the_head_frame() -> None:
    frame = MARKS.frame
    assert frame is not None
    rotation, translation = HEAD.landmarks.frame
    np.testing.assert_allclose(frame.rotation, rotation, atol=1e-12)
    np.testing.assert_allclose(frame.translation_mm, translation, atol=1e-9)
    assert Marks(SITES.names, SITES.points_mm).frame is None


def test_the_frame_is_square_on_a_head_that_is_not() -> None:
    # Against the frame of `Landmarks`, on landmarks without any symmetry.
    skew = Landmarks([9.0, 99, 12], [-4, -90, 20], [-71, 3, -5], [78, -6, 4])
    frame = Marks((), np.empty((0, 3)), dict(zip(NAMES, skew, strict=True))).frame
    assert frame is not None
    np.testing.assert_allclose(frame.rotation, skew.frame[0], atol=1e-12)
    np.testing.assert_allclose(frame.translation_mm, skew.frame[1], atol=1e-9)
    np.testing.assert_allclose(frame.rotation @ frame.rotation.T, np.eye(3), atol=1e-12)


def test_landmarks_on_one_line_fix_no_frame() -> None:
    line = {
        "nasion": np.zeros(3),
        "left_preauricular": np.array([-70.0, 0, 0]),
        "right_preauricular": np.array([70.0, 0, 0]),
    }
    assert Marks((), np.empty((0, 3)), line).frame is None
    assert Marks((), np.empty((0, 3)), dict.fromkeys(line, np.zeros(3))).frame is None


def test_renaming_moves_names_between_sites_and_others_and_is_told() -> None:
    marks = MARKS.renamed({"E1": "A1", "C3": "C4", "C4": "C3"})
    np.testing.assert_array_equal(marks["C3"], SITES["C4"])
    assert marks["A1"].tolist() == [0.0, 0.0, 130.0]
    assert marks.other_names == ()
    assert (marks.remarks[-1].code, marks.remarks[-1].kind) == ("renamed", "correction")
    assert "C3 is now C4" in marks.remarks[-1].sentence
    with pytest.raises(UnknownNameError, match="unknown mark 'Q9'"):
        MARKS.renamed({"Q9": "Cz"})
    with pytest.raises(
        MarksError, match="names of marks must differ from each other, got Cz twice"
    ):
        MARKS.renamed({"Fz": "Cz"})


@pytest.mark.parametrize(
    ("names", "points", "got"),
    [
        (("Cz",), [[0, 0, 1], [0, 0, 2]], "2 rows"),
        (("Cz",), [[0, 0, np.inf]], "1 rows, some not finite"),
        (("Cz",), "nonsense", "1 rows, some not finite"),
    ],
)
def test_places_must_be_rows_of_three_numbers(
    names: tuple[str, ...], points: object, got: str
) -> None:
    with pytest.raises(MarksError, match=f"points_mm must be 1 rows of three finite .* got {got}"):
        Marks(names, points)  # type: ignore[arg-type]


def test_landmarks_have_the_four_names_only() -> None:
    with pytest.raises(UnknownNameError, match="unknown landmark 'nose'"):
        Marks((), np.empty((0, 3)), {"nose": np.zeros(3)})


def test_a_montage_holds_the_marks_in_metres_and_the_landmarks_as_measured() -> None:
    montage = MARKS.to_mne()
    assert isinstance(montage, mne.channels.DigMontage)
    held = montage.get_positions()
    np.testing.assert_allclose(held["ch_pos"]["Cz"], SITES["Cz"] / 1000, atol=1e-12)
    np.testing.assert_allclose(held["ch_pos"]["E1"], [0, 0, 0.13], atol=1e-12)
    np.testing.assert_allclose(held["nasion"], HEAD.landmarks.nasion / 1000, atol=1e-12)
    np.testing.assert_allclose(held["lpa"], HEAD.landmarks.left_preauricular / 1000, atol=1e-12)
    # The template is symmetric: there the head frame of mne is ours, and a recording takes it.
    info = mne.create_info(list(MARKS.names), 100.0, "eeg")
    raw = mne.io.RawArray(np.zeros((len(MARKS), 2)), info, verbose="error")
    raw.set_montage(montage, on_missing="raise")
    dug = {
        int(d["ident"]): d["r"]
        for d in raw.info["dig"]
        if d["kind"] == mne.io.constants.FIFF.FIFFV_POINT_CARDINAL
    }
    # mne's head frame: nasion on +y, preauricular points on x; lengths are kept.
    assert np.linalg.norm(dug[3] - dug[1]) == pytest.approx(
        np.linalg.norm(HEAD.landmarks.right_preauricular - HEAD.landmarks.left_preauricular) / 1000,
        rel=1e-5,
    )


def test_sites_go_to_mne_with_the_landmarks_of_their_head() -> None:
    held = sites_to_mne(SITES).get_positions()
    assert set(held["ch_pos"]) == set(SITES.names)
    np.testing.assert_allclose(held["nasion"], HEAD.landmarks.nasion / 1000, atol=1e-12)


def test_a_landmark_that_was_not_measured_is_not_invented_for_mne() -> None:
    held = Marks(SITES.names, SITES.points_mm).to_mne().get_positions()
    assert (held["nasion"], held["lpa"], held["rpa"]) == (None, None, None)


def test_without_mne_one_sentence_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "mne", None)
    with pytest.raises(
        InputError, match=r"mne must be installed .* \(pip install 'headfit\[mne\]'\)"
    ):
        montage_of({}, {})


def test_marks_without_names_of_sites_are_told_where_they_lie() -> None:
    rng = np.random.default_rng(1)
    sites = place_sites(HEAD, "10-10")
    wanted = [n for n in SITES.names if n not in ("Fz", "Cz")]
    points = np.array([sites[n] + 5 * SITES.normals[SITES.names.index(n)] for n in wanted])
    points += rng.normal(scale=1.5, size=points.shape)
    numbered = tuple(f"E{i}" for i in range(len(wanted)))
    known = np.array([sites["Fz"], sites["Cz"]])
    marks = Marks(("Fz", "Cz"), known, three_of(HEAD), numbered, points)
    guesses = guess_places(sites, marks)
    assert {g.name: g.site for g in guesses} == dict(zip(numbered, wanted, strict=True))
    assert all(g.sure for g in guesses if g.site not in ("TP9", "TP10"))
    named = marks.renamed({g.name: g.site for g in guesses})
    assert set(named.names) == set(SITES.names)
    assert guess_places(HEAD, Marks(SITES.names, SITES.points_mm, three_of(HEAD))) == ()


def test_the_surface_helps_where_a_landmark_is_off() -> None:
    wrong = three_of(HEAD)
    wrong["nasion"] = wrong["nasion"] + np.array([0.0, 0.0, 12.0])
    numbered = tuple(f"E{i}" for i in range(len(SITES)))
    marks = Marks((), np.empty((0, 3)), wrong, numbered, SITES.points_mm)
    guesses = guess_places(SITES, marks)
    assert {g.name: g.site for g in guesses} == dict(zip(numbered, SITES.names, strict=True))
    # The landmarks alone leave 12 mm in the median.
    assert np.median([g.distance_mm for g in guesses]) < 5.0


def test_a_mark_on_the_chin_lies_at_no_site() -> None:
    chin = Marks(
        (),
        np.empty((0, 3)),
        three_of(HEAD),
        ("E1", "E2"),
        np.array([[0.0, 80.0, -110.0], SITES["C3"]]),
    )
    guesses = guess_places(SITES, chin)
    assert [(g.name, g.site) for g in guesses] == [("E2", "C3")]


def numbered(points: np.ndarray, *remarks: Remark) -> Marks:
    names = tuple(f"E{i}" for i in range(len(points)))
    return Marks((), np.empty((0, 3)), {}, names, points, remarks=remarks)


def test_names_by_place_need_landmarks_or_many_marks() -> None:
    with pytest.raises(MarksError, match="or be 8 or more, to be named by their place, got none"):
        guess_places(SITES, numbered(SITES.points_mm[:7]))


def test_without_landmarks_marks_are_named_by_their_place_where_the_axes_are_known() -> None:
    # A head 6 % larger, tilted by 8 degrees and shifted, with marks 2 mm off.
    turn = Rotation.from_euler("x", 8.0, degrees=True)
    points = turn.apply(1.06 * SITES.points_mm) + np.array([3.0, -9.0, 20.0])
    points = points + np.random.default_rng(2).normal(scale=2.0, size=points.shape)
    guesses = guess_places(SITES, numbered(points))
    assert [g.site for g in guesses if g.sure] == [
        SITES.names[int(g.name[1:])] for g in guesses if g.sure
    ]
    assert sum(g.sure for g in guesses) > 0.9 * len(SITES)


def test_without_landmarks_and_axes_nothing_is_sure_that_another_turn_would_change() -> None:
    # On the sphere whose ring is its equator these nine look the same after a quarter turn.
    names = ("Cz", "C3", "C4", "Fz", "Pz", "T7", "T8", "Fpz", "Oz")
    sites = place_sites(SPHERE_C.head(4), names)
    points = np.array([SPHERE_C.sites[name] for name in names])
    guesses = guess_places(sites, numbered(points, doubt("axes-unknown", "nothing tells")))
    assert {g.site for g in guesses if g.sure} == {"Cz"}
    # Axes that are known leave no doubt.
    assert all(g.sure for g in guess_places(sites, numbered(points)))


def test_a_head_is_fitted_to_the_marks_themselves() -> None:
    points = SITES.points_mm + 5.0 * SITES.normals
    fitted, remark = head_under(Marks(SITES.names, points, landmarks_of(HEAD)))
    assert fitted.height_mm == pytest.approx(5.0, abs=1.5)
    placed = place_sites(fitted.head, SITES.names)
    gap = np.linalg.norm(placed.points_mm - SITES.points_mm, axis=1)
    assert float(np.median(gap)) < 2.5
    assert (remark.code, remark.kind) == ("head-from-marks", "note")
    assert "4 landmarks and 71 marks" in remark.sentence
    with pytest.raises(LandmarkError, match="all that is known of the head, got none of them"):
        head_under(Marks(SITES.names, points))


def test_marks_beside_the_ears_are_no_points_of_the_scalp() -> None:
    ears = np.array([[-120.0, 0.0, -60.0], [120.0, 0.0, -60.0]])
    points = np.vstack([SITES.points_mm, ears])
    with_ears, remark = head_under(Marks((*SITES.names, "A1", "A2"), points, landmarks_of(HEAD)))
    without, _ = head_under(Marks(SITES.names, SITES.points_mm, landmarks_of(HEAD)))
    np.testing.assert_array_equal(with_ears.parameters, without.parameters)
    assert "71 marks" in remark.sentence
