"""From what a file says to marks: every fault of real files survived, and told."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from marked_heads import landmarks_of, template_sites, three_of

from headfit import load_template
from headfit.anatomy.arcs import mirrored
from headfit.errors import MarksError
from headfit.marks.as_written import GivenMarks
from headfit.marks.cleaning import clean_marks
from headfit.marks.marks import Marks
from headfit.marks.site_names import LANDMARK_KEYS

SITES = template_sites("10-10")
HEAD = load_template()
RNG = np.random.default_rng(4)
POINTS = SITES.points_mm + RNG.normal(scale=1.5, size=SITES.points_mm.shape)
LANDMARKS = {LANDMARK_KEYS[name]: tuple(p.tolist()) for name, p in three_of(HEAD).items()}


def said(**changes: object) -> GivenMarks:
    fields: dict[str, object] = {
        "source": "marks.tsv",
        "names": SITES.names,
        "places": POINTS,
        "unit": "mm",
        "landmarks": LANDMARKS,
        "landmark_unit": "mm",
        "system": "CapTrak",
    }
    return GivenMarks(**(fields | changes))  # type: ignore[arg-type]


def with_rows(*rows: tuple[str, list[float]]) -> GivenMarks:
    names = (*SITES.names, *(name for name, _ in rows))
    return said(names=names, places=np.vstack([POINTS, *(place for _, place in rows)]))


def kinds(marks: Marks) -> list[tuple[str, str]]:
    return [(remark.code, remark.kind) for remark in marks.remarks]


def test_a_good_file_leaves_no_remark_and_no_number_changed() -> None:
    marks = clean_marks(said(), strict=True)
    assert marks.remarks == ()
    assert marks.names == SITES.names
    np.testing.assert_array_equal(marks.points_mm, POINTS)
    np.testing.assert_array_equal(marks.landmarks["nasion"], HEAD.landmarks.nasion)


@pytest.mark.parametrize("factor", [1.0, 0.1, 0.001])
@pytest.mark.parametrize("landmark_factor", [1.0, 0.1, 0.001])
@pytest.mark.parametrize("declared", ["mm", "cm", "m", "n/a", None])
def test_units_of_marks_and_landmarks_are_told_apart_whatever_is_declared(
    factor: float, landmark_factor: float, declared: str | None
) -> None:
    truth = {1.0: "mm", 0.1: "cm", 0.001: "m"}
    landmarks = {k: tuple(landmark_factor * v for v in p) for k, p in LANDMARKS.items()}
    marks = clean_marks(
        said(places=POINTS * factor, unit=declared, landmarks=landmarks, landmark_unit=declared)
    )
    np.testing.assert_allclose(marks.points_mm, POINTS, rtol=1e-12)
    np.testing.assert_allclose(marks.landmarks["nasion"], HEAD.landmarks.nasion, atol=1e-9)
    codes = [remark.code for remark in marks.remarks]
    wrong = "deduced" if declared in ("n/a", None) else "wrong"
    expected = [] if truth[factor] == declared else [f"unit-{wrong}"]
    expected += [] if truth[landmark_factor] == declared else [f"landmark-unit-{wrong}"]
    assert codes == expected


def test_coordinates_of_ten_million_are_brought_to_a_head() -> None:
    marks = clean_marks(said(places=POINTS * 1e5, unit="mm"))
    np.testing.assert_allclose(marks.points_mm, POINTS, rtol=1e-9)
    assert kinds(marks) == [("unit-wrong", "correction")]
    assert "units of 1e-05 mm" in marks.remarks[0].sentence


def test_landmarks_like_1e_33_are_zeros() -> None:
    near_zero = {
        "NAS": (-7e-18, 95.0, -7.7e-34),
        "LPA": (-75.0, 6e-18, -7e-34),
        "RPA": (75.0, 0.0, 3e-33),
    }
    assert clean_marks(said(landmarks=near_zero)).remarks == ()


def test_a_row_without_a_place_is_a_note_and_one_with_half_a_place_a_correction() -> None:
    nan = float("nan")
    marks = clean_marks(with_rows(("Nowhere", [nan, nan, nan]), ("Half", [1.0, nan, 2.0])))
    assert kinds(marks) == [("place-missing", "note"), ("place-incomplete", "correction")]
    assert marks.names == SITES.names


def test_a_wild_row_is_set_aside() -> None:
    marks = clean_marks(with_rows(("X", [0.0, 1e4, 0.0]), ("Y", [1e300, 0, 0])))
    assert kinds(marks) == [("place-impossible", "correction"), ("mark-far-off", "correction")]
    assert marks.other_names == ()


@pytest.mark.parametrize("landmarks", [LANDMARKS, {}], ids=["landmarks", "no landmarks"])
@pytest.mark.parametrize("scale", [0.0, 0.1])
def test_rows_deep_inside_the_head_are_set_aside(
    scale: float, landmarks: dict[str, object]
) -> None:
    origin = POINTS.mean(axis=0) if not landmarks else np.zeros(3)
    places = POINTS - origin
    row = SITES.names.index("C3")
    places[row] *= scale
    marks = clean_marks(said(places=places, landmarks=landmarks))
    assert "C3" not in marks.names
    assert ("mark-inside", "correction") in kinds(marks)


def test_a_flat_map_is_no_head() -> None:
    marks = clean_marks(said(places=POINTS * [1.0, 1.0, 0.0]))
    assert ("marks-flat", "doubt") in kinds(marks)


def test_landmarks_in_inches_declared_as_centimetres_are_an_unusually_small_head() -> None:
    inches = {key: tuple(v / 25.4 for v in place) for key, place in LANDMARKS.items()}
    marks = clean_marks(said(places=POINTS / 25.4, unit="cm", landmarks=inches, landmark_unit="cm"))
    assert ("size-unusual", "doubt") in kinds(marks)
    assert "landmarks are unusually small" in marks.of_kind("doubt")[0].sentence


def test_blanks_that_a_name_loses_are_shown_in_quotes() -> None:
    names = [f"{name}\u00a0" if name == "Cz" else name for name in SITES.names]
    assert clean_marks(said(names=names)).remarks[0].sentence.endswith("'Cz\\xa0' is Cz")


def test_rows_that_are_no_marks_are_told() -> None:
    marks = clean_marks(
        with_rows(("VEOG", [10, 90, -20]), ("", [0, 0, 90]), ("EEG064", [0.0, 9.0, 128.0]))
    )
    assert kinds(marks) == [
        ("not-scalp", "note"),
        ("name-blank", "correction"),
        ("names-not-sites", "note"),
    ]
    assert marks.other_names == ("EEG064",)
    assert marks.other_points_mm.tolist() == [[0.0, 9.0, 128.0]]


def test_a_slip_of_the_key_is_told_with_the_sites_it_may_mean() -> None:
    (remark,) = clean_marks(with_rows(("Fzz", [0.0, 60.0, 110.0]))).remarks
    assert remark.evidence["near"] == {"Fzz": ["FCz", "Fpz", "Fz"]}
    assert remark.sentence.endswith("Fzz (is Fzz meant for FCz or Fpz or Fz?)")


def test_names_are_respelled_and_their_spelling_is_kept() -> None:
    names = tuple(name.upper() for name in SITES.names)
    marks = clean_marks(said(names=names))
    assert marks.names == SITES.names
    assert kinds(marks) == [("names-respelled", "correction")]
    assert marks.given_names["Fp1"] == "FP1"


def test_a_name_at_two_places_is_not_matched_and_one_that_repeats_itself_counts_once() -> None:
    row = SITES.names.index("Cz")
    marks = clean_marks(with_rows(("cz", [0.0, -40.0, 115.0])))
    assert "Cz" not in marks.names
    assert marks.other_names == ("Cz", "cz")
    assert ("name-twice", "doubt") in kinds(marks)
    same = clean_marks(with_rows(("cz", POINTS[row].tolist())))
    assert same.names == SITES.names
    assert ("name-repeated", "correction") in kinds(same)


def test_one_name_at_many_places_tells_nothing() -> None:
    marks = clean_marks(said(names=("Cz",) * len(POINTS), landmarks={}, system=None))
    assert marks.names == ()
    assert {"name-twice", "axes-unknown"} <= {remark.code for remark in marks.remarks}


def test_landmarks_may_be_rows_of_the_table() -> None:
    rows = [(key.lower(), list(point)) for key, point in LANDMARKS.items()]
    names = (*SITES.names, *(name for name, _ in rows))
    places = np.vstack([POINTS, *(place for _, place in rows)]) / 10
    marks = clean_marks(said(names=names, places=places, unit="cm", landmarks={}))
    assert kinds(marks) == [("landmark-rows", "note")]
    np.testing.assert_allclose(marks.landmarks["nasion"], HEAD.landmarks.nasion, atol=1e-9)


@pytest.mark.parametrize(("off_mm", "kind"), [(1.0, "note"), (12.0, "doubt")])
def test_a_row_that_gives_a_landmark_again_does_not_serve_and_is_told(
    off_mm: float, kind: str
) -> None:
    x, y, z = LANDMARKS["NAS"]
    marks = clean_marks(with_rows(("Nasion", [x, y + off_mm, z])))
    assert kinds(marks) == [("landmark-twice", kind)]
    assert marks.remarks[0].evidence["off_mm"] == {"NAS": pytest.approx(off_mm)}
    np.testing.assert_allclose(marks.landmarks["nasion"], HEAD.landmarks.nasion, atol=1e-9)


def test_keys_of_landmarks_are_read_in_any_spelling_and_other_keys_told() -> None:
    given_keys = {
        "Nasion": LANDMARKS["NAS"],
        "lpa": LANDMARKS["LPA"],
        "RPA": LANDMARKS["RPA"],
        "coil1": (1.0, 2.0, 3.0),
    }
    marks = clean_marks(said(landmarks=given_keys))
    assert set(marks.landmarks) == {"nasion", "left_preauricular", "right_preauricular"}
    assert kinds(marks) == [("landmark-unknown", "note"), ("landmark-respelled", "correction")]
    assert marks.remarks[0].evidence["keys"] == ["coil1"]
    assert marks.remarks[1].evidence["keys"] == {"Nasion": "NAS", "lpa": "LPA"}


@pytest.mark.parametrize(
    ("landmarks", "code"),
    [
        ({**LANDMARKS, "RPA": (float("nan"),) * 3}, "landmark-unread"),
        ({**LANDMARKS, "nz": LANDMARKS["NAS"]}, "landmark-unread"),
        ({**LANDMARKS, "RPA": LANDMARKS["LPA"]}, "landmarks-useless"),
        (dict.fromkeys(LANDMARKS, (0.0, 0.0, 0.0)), "landmarks-useless"),
        ({**LANDMARKS, "NAS": (5.0, 10.0, 0.0)}, "landmarks-useless"),
        (
            {k: (x, y + 290.0, z + 100.0) for k, (x, y, z) in LANDMARKS.items()},
            "landmarks-elsewhere",
        ),
    ],
    ids=["no number", "twice", "two alike", "all zero", "in line", "another frame"],
)
def test_landmarks_that_cannot_be_right_are_left_out_and_told(
    landmarks: dict[str, tuple[float, float, float]], code: str
) -> None:
    marks = clean_marks(said(landmarks=landmarks))
    assert code in [remark.code for remark in marks.remarks]
    assert ("landmarks-missing", "doubt") in kinds(marks) or code == "landmark-unread"


def test_a_landmark_no_head_could_hold_is_left_out_beside_few_marks_too() -> None:
    places = np.vstack([POINTS[:6], [[0, -250, 0], [-73, 0, 0], [73, 0, 0]]])
    places = np.vstack([POINTS[:6], [[0.0, -250, 0], [-73, 0, 0], [73, 0, 0]]])
    rows = said(names=(*SITES.names[:6], "NAS", "LPA", "RPA"), places=places, landmarks={})
    marks = clean_marks(rows)
    assert "landmarks-elsewhere" in [remark.code for remark in marks.remarks]
    assert dict(marks.landmarks) == {}


def test_no_landmark_is_ever_invented() -> None:
    marks = clean_marks(said(landmarks={}))
    assert dict(marks.landmarks) == {}
    assert ("landmarks-missing", "doubt") in kinds(marks)
    assert marks.frame is None


def test_lettered_names_are_not_matched() -> None:
    names = tuple(f"{letter}{k}" for letter in "ABCD" for k in range(1, 19))[: len(SITES.names)]
    marks = clean_marks(said(names=names))
    assert marks.names == ()
    assert len(marks.other_names) == len(SITES.names)
    assert ("names-other-scheme", "doubt") in kinds(marks)


def test_lettered_names_do_not_tell_left_from_right() -> None:
    # A left-handed file: C1 to C6 of the scheme happen to stand on the wrong sides, which must not
    # be taken for exchanged ears.
    names = ["Q"] * len(SITES.names)
    taken = ("C4", "C3", "C2", "C1", "C6", "C5", "F4", "F3")
    for place, name in zip(taken, ("C3", "C4", "C1", "C2", "C5", "C6", "A1", "A2"), strict=True):
        names[SITES.names.index(place)] = name
    for k, place in enumerate(("Fz", "Cz", "Pz", "Oz")):
        names[SITES.names.index(place)] = f"B{k + 17}"
    mirror = np.array([-1.0, 1.0, 1.0])
    landmarks = {k: tuple(mirror * p) for k, p in LANDMARKS.items()}
    marks = clean_marks(
        said(names=tuple(names), places=POINTS * mirror, landmarks=landmarks, system=None)
    )
    codes = [remark.code for remark in marks.remarks]
    assert "handedness" in codes
    assert "ears-exchanged" not in codes


def test_scrambled_names_are_matched_where_landmarks_let_the_comparison_find_them() -> None:
    order = np.random.default_rng(8).permutation(len(POINTS))
    assert len(clean_marks(said(places=POINTS[order]))) == len(POINTS)


def test_names_of_sites_at_places_of_other_sites_are_not_matched() -> None:
    # Names of the front of the head on marks at the back of it.
    marks = clean_marks(said(names=SITES.names[:20], places=POINTS[-20:]))
    assert marks.names == ()


def test_names_of_sites_at_random_places_are_not_matched_without_landmarks() -> None:
    order = np.random.default_rng(8).permutation(len(POINTS))
    marks = clean_marks(said(places=POINTS[order], landmarks={}))
    assert marks.names == ()
    assert "another scheme" in " ".join(r.sentence for r in marks.of_kind("doubt"))


def test_mirrored_names_are_matched_because_the_comparison_finds_them() -> None:
    marks = clean_marks(said(names=tuple(mirrored(name) for name in SITES.names)))
    assert len(marks) == len(SITES.names)


def test_strict_reading_refuses_corrections_and_doubts_and_lets_notes_pass() -> None:
    nan = float("nan")
    clean_marks(with_rows(("Nowhere", [nan, nan, nan])), strict=True)
    with pytest.raises(MarksError, match=r"marks.tsv must need no correction .* declared in m "):
        clean_marks(said(unit="m"), strict=True)
    with pytest.raises(MarksError, match=r"landmarks NAS, LPA, RPA are not given"):
        clean_marks(said(landmarks={}), strict=True)
    with pytest.raises(MarksError, match=r", and 1 more$"):
        clean_marks(said(unit="m", landmarks={}), strict=True)


def test_three_marks_take_the_unit_of_their_landmarks() -> None:
    landmarks = {k: tuple(v / 10 for v in p) for k, p in LANDMARKS.items()}
    given_marks = said(
        names=SITES.names[:3],
        places=POINTS[:3] / 10,
        unit=None,
        landmarks=landmarks,
        landmark_unit=None,
    )
    marks = clean_marks(given_marks)
    np.testing.assert_allclose(marks.points_mm, POINTS[:3])
    assert ("unit-deduced", "correction") in kinds(marks)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"names": (), "places": np.empty((0, 3))}, "at least one mark with a place, got none"),
        ({"places": np.full(POINTS.shape, np.nan)}, "at least one mark with a place, got none"),
        ({"places": np.ones(POINTS.shape)}, "be spread over a head, got 71 marks in one place"),
        (
            {"names": SITES.names[:2], "places": POINTS[:2], "unit": None, "landmarks": {}},
            r"be 4 or more, or have a unit, got fewer without one \(give the unit\)",
        ),
    ],
    ids=["no rows", "no places", "one place", "no unit"],
)
def test_what_cannot_be_used_is_refused_in_one_sentence(
    changes: dict[str, object], message: str
) -> None:
    with pytest.raises(MarksError, match=message):
        clean_marks(said(**changes))


def test_names_and_places_must_be_as_many() -> None:
    with pytest.raises(MarksError, match="one place for each name, got 2 names and 1 places"):
        GivenMarks("a.tsv", ("Cz", "Pz"), np.zeros((1, 3)))


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["Cz", "cz", "C3", "A17", "", "ECG", "NAS", "LPA", "RPA", "EEG 1"]),
            st.lists(
                st.one_of(
                    st.floats(allow_nan=True, allow_infinity=True),
                    st.floats(-120, 120),
                    st.just(0.0),
                ),
                min_size=3,
                max_size=3,
            ),
        ),
        max_size=14,
    ),
    st.sampled_from([None, "mm", "m", "n/a"]),
    st.sampled_from([None, "CTF", "CapTrak"]),
)
def test_any_rows_give_marks_or_one_sentence(
    rows: list[tuple[str, list[float]]], unit: str | None, system: str | None
) -> None:
    places = np.array([place for _, place in rows]).reshape(-1, 3)
    given_marks = GivenMarks("any.tsv", tuple(n for n, _ in rows), places, unit, system=system)
    try:
        marks = clean_marks(given_marks)
    except MarksError:
        return
    assert np.isfinite(marks.all_points_mm).all()
    assert all(np.isfinite(point).all() for point in marks.landmarks.values())


def test_the_inion_is_kept_when_it_was_measured() -> None:
    every = {LANDMARK_KEYS[name]: tuple(p.tolist()) for name, p in landmarks_of(HEAD).items()}
    assert set(clean_marks(said(landmarks=every)).landmarks) == set(landmarks_of(HEAD))
