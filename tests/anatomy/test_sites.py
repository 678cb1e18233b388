"""The declared table of sites, their names, and what is known of sites once placed."""

import re
from collections import Counter

import mne
import numpy as np
import pytest
from solids import SPHERE_A, SPHERE_C, bumpy_head, turn, unit_sphere

from headfit import Head, Landmarks, Rules, load_template, place_sites
from headfit.anatomy.arcs import mirrored
from headfit.anatomy.head import PART_NAMES
from headfit.anatomy.site_table import place_of, settled
from headfit.anatomy.sites import (
    ALSO_CALLED,
    F9_APART_MM,
    RENAMED,
    SYSTEMS,
    TABLE,
    BeyondRow,
    OnArc,
    canonical_name,
    row_nine_words,
    rule_displacements,
    sites_on,
)
from headfit.errors import HeadfitError, MeshError, UnknownNameError
from headfit.geometry.surface import nearest

HEAD = bumpy_head(1, subdivisions=3)

# The 21 sites of 10-20 with their new names; ACNS Guideline 2, 2016, figure 1.
TEN_TWENTY = set("Fp1 Fp2 F7 F3 Fz F4 F8 T7 C3 Cz C4 T8 P7 P3 Pz P4 P8 O1 O2 A1 A2".split())
# Chatrian et al. 1985 and ACNS Guideline 2, 2016: rows front to back.
TEN_TEN_ROWS = """
    Fp1 Fpz Fp2
    AF7 AF3 AFz AF4 AF8
    F9 F7 F5 F3 F1 Fz F2 F4 F6 F8 F10
    FT9 FT7 FC5 FC3 FC1 FCz FC2 FC4 FC6 FT8 FT10
    T9 T7 C5 C3 C1 Cz C2 C4 C6 T8 T10
    TP9 TP7 CP5 CP3 CP1 CPz CP2 CP4 CP6 TP8 TP10
    P9 P7 P5 P3 P1 Pz P2 P4 P6 P8 P10
    PO7 PO3 POz PO4 PO8
    O1 Oz O2
""".split()


def test_ten_twenty_is_the_published_list() -> None:
    assert set(SYSTEMS["10-20"]) == TEN_TWENTY
    assert len(SYSTEMS["10-20"]) == 21


def test_ten_ten_is_the_published_list_with_landmarks_ears_and_mastoids() -> None:
    assert len(TEN_TEN_ROWS) == 71
    assert set(SYSTEMS["10-10"]) == {*TEN_TEN_ROWS, "Nz", "Iz", "A1", "A2", "M1", "M2"}
    assert len(SYSTEMS["10-10"]) == 77


def test_the_ifcn_array_is_the_scalp_sites_and_an_inferior_chain() -> None:
    """Seeck et al. 2017: 25 electrodes."""
    inferior = {"F9", "T9", "P9", "F10", "T10", "P10"}
    assert set(SYSTEMS["ifcn-25"]) == TEN_TWENTY - {"A1", "A2"} | inferior
    assert len(SYSTEMS["ifcn-25"]) == 25


def test_ten_five_is_the_published_list() -> None:
    """Oostenveld & Praamstra 2001: up to 345 places, of which mne carries 335 (`colin27_1005`)."""
    published = set(mne.channels.make_standard_montage("colin27_1005").ch_names)
    beside = {"A1", "A2", "M1", "M2"}
    declared = set(SYSTEMS["10-5"])
    assert published - declared == set(RENAMED)
    assert len(published - set(RENAMED) - beside) == 335
    assert declared - published == {
        "Nz",
        "NFpz",
        "N1h",
        "N1",
        "N2",
        "N2h",
        "NFp1h",
        "NFp1",
        "NFp2",
        "NFp2h",
    }
    assert len(declared - beside) == 345


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_system_names_each_site_once_and_both_sides(system: str) -> None:
    names = SYSTEMS[system]
    assert max(Counter(names).values()) == 1
    assert {mirrored(name) for name in names} == set(names)
    assert set(names) <= set(TABLE)
    assert place_sites(HEAD, system).names == names


def test_systems_contain_each_other() -> None:
    assert set(SYSTEMS["10-20"]) < set(SYSTEMS["10-10"]) < set(SYSTEMS["10-5"]) == set(TABLE)
    assert set(SYSTEMS["ifcn-25"]) < set(SYSTEMS["10-10"])


BESIDE = {"A1", "A2", "M1", "M2"}


def published_names(montage: str) -> set[str]:
    """Names of a list that mne carries: of 10-10 with all names in use, or of 10-5."""
    return set(mne.channels.make_standard_montage(montage).ch_names) - BESIDE - set(RENAMED)


def test_a_site_of_ten_five_alone_cites_its_authors_and_nobody_else() -> None:
    """10-5 is no standard: Klem 1999, ACNS 2016 and Seeck 2017 have none of its half places."""
    alone = set(SYSTEMS["10-5"]) - set(SYSTEMS["10-10"])
    assert len(alone) == 349 - 77
    assert published_names("colin27_1005") - published_names("colin27_1020") - {"I1", "I2"} < alone
    assert {TABLE[name].source for name in alone} == {"Oostenveld & Praamstra 2001"}


def test_a_site_of_ten_ten_cites_the_guideline_and_one_of_ten_twenty_the_older_one() -> None:
    guideline = set(TEN_TEN_ROWS) - TEN_TWENTY
    assert all("ACNS Guideline 2, 2016" in TABLE[name].source for name in guideline)
    for name in TEN_TWENTY | {"Nz", "Iz"} - BESIDE:
        assert "Klem et al. 1999" in TABLE[name].source
    inferior = set(SYSTEMS["ifcn-25"]) - TEN_TWENTY
    assert {n for n in TABLE if "Seeck et al. 2017" in TABLE[n].source} == inferior


def test_a_renamed_site_tells_who_renamed_it() -> None:
    renamed = {n for n in TEN_TWENTY - BESIDE if "so named by ACNS" in TABLE[n].source}
    assert renamed == {"T7", "T8", "P7", "P8"}


def test_where_an_ear_site_lies_is_marked_as_practice_without_a_source() -> None:
    for name in BESIDE:
        source = TABLE[name].source
        assert "where on the head: common practice, no source, offset from memory" in source
    assert "Klem" in TABLE["A1"].source
    assert "Klem" not in TABLE["M1"].source
    assert {n for n, place in TABLE.items() if "common practice" in place.source} == BESIDE


def test_by_another_rule_a_site_cites_who_made_the_rule() -> None:
    contour = Rules(inferior="contour")
    for name in ("F9", "T9", "P10", "AFF9h"):
        assert place_of(name, contour).source == "Oostenveld & Praamstra 2001"
    assert place_of("T7", Rules(temporal="ring")).source == "Jurcak et al. 2007"
    assert place_of("F3", Rules(inner="parasagittal")).source == "Klem et al. 1999"


def test_o9_of_ten_ten_is_i1_of_ten_five() -> None:
    """mne carries both lists for one head: the coordinates are the same to the last digit."""
    tenths, fives = (
        mne.channels.make_standard_montage(f"colin27_{k}").get_positions()["ch_pos"]
        for k in ("1020", "1005")
    )
    assert ALSO_CALLED == {"O9": "I1", "O10": "I2"}
    for name, other in ALSO_CALLED.items():
        np.testing.assert_array_equal(tenths[name], fives[other])
        assert canonical_name(name) == canonical_name(name.lower()) == other


@pytest.mark.parametrize(
    ("given", "nearest_site", "why"),
    [
        ("T1", "FT9", "T1 is an anterior temporal place, measured from ear and eye, near FT9"),
        ("t2", "FT10", "T2 is an anterior temporal place, measured from ear and eye, near FT10"),
        ("Fp3", "AF3", "Fp3 is in newborns half way from Fp1 to F3, near AF3"),
        ("FP4", "AF4", "Fp4 is in newborns half way from Fp2 to F4, near AF4"),
    ],
)
def test_a_name_in_use_that_is_no_site_is_refused_with_the_site_it_is_near(
    given: str, nearest_site: str, why: str
) -> None:
    """Common practice, no source."""
    message = f"unknown site {given!r}: did you mean {nearest_site!r}? ({why})"
    with pytest.raises(UnknownNameError, match=f"^{re.escape(message)}$"):
        canonical_name(given)


def test_of_the_ten_ten_sites_af3_is_nearest_to_half_way_from_fp1_to_f3() -> None:
    for age in ("newborn", "adult"):
        sites = place_sites(load_template(age), "10-10")
        half_way = (sites["Fp1"] + sites["F3"]) / 2
        off = np.linalg.norm(sites.points_mm - half_way, axis=1)
        assert sites.names[off.argmin()] == "AF3"


@pytest.mark.parametrize("name", [name for name in TABLE if name != mirrored(name)])
def test_places_of_both_sides_are_homologous(name: str) -> None:
    place, other = TABLE[name], TABLE[mirrored(name)]
    assert type(place) is type(other)
    if isinstance(place, OnArc) and isinstance(other, OnArc):
        if place.arc == other.arc:
            assert other.fraction == pytest.approx(1 - place.fraction)
        else:
            assert {place.arc.split()[0], other.arc.split()[0]} == {"left", "right"}
            assert other.fraction == place.fraction
    elif isinstance(place, BeyondRow) and isinstance(other, BeyondRow):
        assert (place.arc, place.coronal_share) == (other.arc, other.coronal_share)
        assert place.at_end != other.at_end


@pytest.mark.parametrize(("old", "new"), RENAMED.items())
def test_old_names_are_understood(old: str, new: str) -> None:
    assert {"T3": "T7", "T4": "T8", "T5": "P7", "T6": "P8"}[old] == new
    assert canonical_name(old) == canonical_name(old.lower()) == canonical_name(f" {old} ") == new
    sites = place_sites(HEAD, "10-20")
    np.testing.assert_array_equal(sites[old], sites[new])


@pytest.mark.parametrize(
    ("given", "name"),
    [("fz", "Fz"), ("FP1", "Fp1"), (" OZ", "Oz"), ("aff1H", "AFF1h"), ("Nz", "Nz")],
)
def test_names_are_read_in_any_case(given: str, name: str) -> None:
    assert canonical_name(given) == name


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ("Fzz", "unknown site 'Fzz': did you mean 'Fz'?"),
        ("CPP11", "unknown site 'CPP11': did you mean 'CPP1'?"),
        ("", "unknown site '': choose one of Nz, Iz, Cz,"),
        ("EKG", "unknown site 'EKG': choose one of Nz, Iz, Cz,"),
    ],
)
def test_a_site_nobody_declared_is_refused_with_the_nearest_name(given: str, message: str) -> None:
    for ask in (canonical_name, lambda name: place_sites(HEAD, [name])):
        with pytest.raises(UnknownNameError, match=re.escape(message)):
            ask(given)


def test_a_system_nobody_declared_is_refused_with_the_nearest_name() -> None:
    message = "unknown system '10-02': did you mean '10-20'?"
    with pytest.raises(UnknownNameError, match=re.escape(message)):
        place_sites(HEAD, "10-02")


def test_a_site_of_another_system_is_refused() -> None:
    sites = place_sites(HEAD, "10-20")
    with pytest.raises(UnknownNameError, match="unknown site of 10-20 'FC1': did you mean 'F"):
        sites["FC1"]
    with pytest.raises(UnknownNameError, match="unknown site 'Q1'"):
        sites["Q1"]


def test_a_list_of_sites_is_taken_in_its_order_without_repeats() -> None:
    sites = place_sites(HEAD, ["T3", "Fz", "T7", "cz"])
    assert sites.names == ("T7", "Fz", "Cz")
    assert sites.system == "own list"
    assert len(sites) == 3
    whole = place_sites(HEAD, "10-20")
    for name in sites.names:
        np.testing.assert_array_equal(sites[name], whole[name])


def test_placed_points_cannot_be_written() -> None:
    sites = place_sites(HEAD, "10-20")
    with pytest.raises(ValueError, match="read-only"):
        sites.points_mm[0] = 0.0


@pytest.mark.parametrize("head", [HEAD, load_template()], ids=["bumps", "template"])
def test_every_site_lies_on_the_bare_surface(head: Head) -> None:
    sites = place_sites(head, "10-5")
    on_ear = [name in ("A1", "A2") for name in sites.names]
    off_mm = nearest(head.bare, sites.points_mm)[1]
    assert off_mm[~np.array(on_ear)].max() < 1e-6
    assert nearest(head.surface, sites.points_mm[on_ear])[1].max() < 1e-6


@pytest.mark.parametrize("age", ["adult", "newborn", "y05"])
def test_ear_lobes_carry_a1_and_a2_and_the_bone_behind_the_ear_m1_and_m2(age: str) -> None:
    """Klem et al. 1999 name the lobes; the bone behind the ear is common practice, no source."""
    head = load_template(age)
    sites = place_sites(head, ["A1", "A2", "M1", "M2"])
    assert head.part is not None
    ear = head.vertices_mm[(head.part == PART_NAMES.index("ear"))]
    for name in ("A1", "A2", "M1", "M2"):
        foot, _ = nearest(head.surface, sites[name][None])
        parts = {PART_NAMES[part] for part in head.part[foot.corners[0]]}
        if name[0] == "M":
            assert "ear" not in parts
            continue
        assert parts == {"ear"}
        side = ear[np.sign(ear[:, 0]) == np.sign(sites[name][0])]
        # The lobe is the lowest fifth of an ear.
        share = (sites[name][2] - side[:, 2].min()) / np.ptp(side[:, 2])
        assert share < 0.2


def test_normals_of_sites_point_away_from_the_middle_of_a_sphere() -> None:
    sites = place_sites(SPHERE_C.head(5), "10-10")
    away = sites.points_mm / np.linalg.norm(sites.points_mm, axis=1, keepdims=True)
    angle = np.degrees(np.arccos(np.einsum("ij,ij->i", sites.normals, away)))
    assert angle.max() < 0.3


def test_arc_marks_are_listed_in_order_with_their_distance() -> None:
    sites = place_sites(SPHERE_A.head(5), "10-10")
    marks = sites.arc_marks
    assert next(iter(marks)) == "midline"
    names = [mark.site for mark in marks["midline"]]
    assert names == "Nz Fpz AFz Fz FCz Cz CPz Pz POz Oz Iz".split()
    for mark, tenth in zip(marks["midline"], range(11), strict=True):
        assert mark.distance_mm == pytest.approx(9 * np.pi * tenth, rel=2e-4)
        assert mark.fraction == pytest.approx(tenth / 10)
    names = [mark.site for mark in marks["coronal"]]
    assert names == "T9 T7 C5 C3 C1 C2 C4 C6 T8 T10".split()
    names = [mark.site for mark in marks["row F"]]
    assert names == "F5 F3 F1 F2 F4 F6".split()
    row = SPHERE_A.arcs["row F"]
    for mark, eighth in zip(marks["row F"], (1, 2, 3, 5, 6, 7), strict=True):
        assert mark.distance_mm == pytest.approx(eighth * row.length_mm / 8, rel=5e-4)


def test_arc_marks_stand_where_their_distance_says() -> None:
    sites = place_sites(bumpy_head(5, subdivisions=4, bumps=0.03), "10-5")
    listed = Counter()
    for arc, marks in sites.arc_marks.items():
        run = sites.tracer.run(arc)
        distances = [mark.distance_mm for mark in marks]
        assert distances == sorted(distances)
        for mark in marks:
            listed[mark.site] += 1
            at = run.point_mm(run.fraction(mark.distance_mm))
            np.testing.assert_allclose(at, sites[mark.site], atol=1e-9)
    not_on_arcs = BESIDE  # all of 10-5 but these are marked on an arc
    assert set(listed) == set(sites.names) - not_on_arcs
    assert max(listed.values()) == 1


def test_sites_beside_an_arc_have_none() -> None:
    sites = place_sites(HEAD, "10-10")
    assert sites.arc_of("F9") is None
    assert sites.arc_of("M1") is None
    assert sites.arc_of("T3") == ("coronal", 0.1)
    assert place_sites(HEAD, ["F9"], Rules(inferior="contour")).arc_of("F9") == (
        "left contour",
        0.3,
    )


def test_row_nine_stands_where_its_own_system_has_it() -> None:
    """10-10 and IFCN: the row goes on; 10-5: tenths of the contour."""
    head = load_template()
    by_rule = {rule: place_sites(head, ["F9"], Rules(inferior=rule)) for rule in ("row", "contour")}
    for system, rule in (("10-10", "row"), ("ifcn-25", "row"), ("10-5", "contour")):
        sites = place_sites(head, system)
        assert sites.rules == Rules(inferior=rule)
        np.testing.assert_allclose(sites["F9"], by_rule[rule]["F9"], atol=1e-9)


@pytest.mark.parametrize("rule", ["row", "contour"])
@pytest.mark.parametrize("system", ["10-10", "10-5"])
def test_a_rule_that_was_chosen_wins_over_the_system(system: str, rule: str) -> None:
    assert place_sites(HEAD, system, Rules(inferior=rule)).rules.inferior == rule


def test_a_list_follows_ten_five_as_soon_as_it_has_a_name_of_ten_five_alone() -> None:
    """What is of 10-10 and what is not, by the two lists that mne carries."""
    tenths = published_names("colin27_1020") - {"O9", "O10"}
    assert place_sites(HEAD, sorted(tenths)).rules.inferior == "row"
    assert place_sites(HEAD, ["F9", "O9", "PO9"]).rules.inferior == "row"
    halves = published_names("colin27_1005") - tenths - {"I1", "I2"}
    assert len(halves) > 200
    for name in halves:
        assert settled(Rules(), ["F9", name]).inferior == "contour", name


def test_what_is_placed_on_the_same_arcs_later_stands_by_the_same_rule() -> None:
    sites = place_sites(load_template(), "10-10")
    later = sites_on(sites.tracer, ("F9", "FFT9"), "own list")
    assert later.rules == sites.rules
    np.testing.assert_array_equal(later["F9"], sites["F9"])


def test_that_both_definitions_of_row_nine_differ_is_said_where_there_is_one() -> None:
    head = load_template()
    moved = rule_displacements(head, ["F9"], Rules(inferior="row"), Rules(inferior="contour"))
    assert round(moved["F9"]) == F9_APART_MM
    tenths, fives = (row_nine_words(place_sites(head, system)) for system in ("10-10", "10-5"))
    assert tenths.startswith("Row 9/10 continues each row below the ring, as 10-10 and IFCN have")
    assert fives.startswith("Row 9/10 lies on the contour nasion-preauricular point-inion, as 10-5")
    for text in (tenths, fives):
        assert text.endswith("on the adult template F9 lies 8 mm from there.")
    sites = place_sites(head, "10-5")
    assert row_nine_words(sites, ["Cz", "F7", "N1h"]) == ""
    assert row_nine_words(sites, ["Cz", "AFF10h"]) == fives
    assert row_nine_words(place_sites(head, "10-20")) == ""


def test_row_nine_goes_on_below_its_row_by_a_tenth_of_the_coronal_arc() -> None:
    sites = place_sites(load_template(), "10-5", Rules(inferior="row"))
    down = 0.1 * sites.tracer.length_mm("coronal")
    for name, row in (("F9", "F7"), ("TP10", "TP8"), ("PPO9", "PPO7")):
        gap = np.linalg.norm(sites[name] - sites[row])
        assert 0.9 * down < gap <= down  # straight, over skin that bends
        half = f"{name}h"
        assert np.linalg.norm(sites[half] - sites[row]) == pytest.approx(down / 2, rel=0.05)


def test_a_site_below_a_surface_that_ends_too_soon_is_refused() -> None:
    """Rather than put on the border, where it does not belong."""
    unit, faces = unit_sphere(5, turn(2))
    gone = unit @ SPHERE_A.sites["F9"] / 90 > np.cos(np.radians(7))
    head = Head(90 * unit, faces[~gone[faces].any(axis=1)], SPHERE_A.landmarks)
    whole = place_sites(SPHERE_A.head(5, 2), "10-20")
    np.testing.assert_allclose(place_sites(head, "10-20").points_mm, whole.points_mm, atol=1e-9)
    message = r"beyond the end of an arc must reach on for 28\.3 mm, got \S+ mm \(it is cut off too"
    with pytest.raises(MeshError, match=message):
        place_sites(head, "ifcn-25")


@pytest.mark.parametrize("age", ["adult", "newborn"])
def test_ears_and_mastoids_lie_behind_and_below_the_preauricular_points(age: str) -> None:
    """Common practice, no source; that they mirror each other is the template's symmetry."""
    head = load_template(age)
    sites = place_sites(head, "10-10")
    flip = np.array([-1.0, 1.0, 1.0])
    for name in ("A1", "M1"):
        assert np.linalg.norm(sites[name] * flip - sites[mirrored(name)]) < 0.5
        assert sites[name][0] < -30
        assert sites[name][2] < head.landmarks.left_preauricular[2] - 4
        assert sites[name][1] < head.landmarks.left_preauricular[1] - 4
    assert sites["M1"][1] < sites["A1"][1]
    assert sites["M1"][2] > sites["A1"][2]


def test_beside_the_ear_lengths_scale_with_the_head() -> None:
    head = load_template()
    small = Head(
        0.7 * head.vertices_mm,
        head.faces,
        Landmarks.from_points(0.7 * head.landmarks.points_mm),
        head.part,
    )
    names = ["A1", "A2", "M1", "M2"]
    expected = 0.7 * place_sites(head, names).points_mm
    np.testing.assert_allclose(place_sites(small, names).points_mm, expected, atol=1e-6)


@pytest.mark.parametrize("age", ["newborn", "m06", "m12", "y05", "y10", "adult"])
def test_sites_of_a_symmetric_template_mirror_each_other(age: str) -> None:
    sites = place_sites(load_template(age), "10-5")
    flip = np.array([-1.0, 1.0, 1.0])
    for name in sites.names:
        assert np.linalg.norm(sites[name] * flip - sites[mirrored(name)]) < 0.5, name


def test_errors_of_names_are_inputs_and_look_ups() -> None:
    for kind in (HeadfitError, ValueError, LookupError):
        with pytest.raises(kind):
            canonical_name("Fzz")


def test_sites_go_to_mne_with_the_landmarks_of_their_head() -> None:
    """`mne` keeps metres and three fiducials; nothing is estimated from the electrodes."""
    sites = place_sites(load_template(), "10-20")
    kept = sites.to_mne().get_positions()
    np.testing.assert_allclose(1000 * kept["ch_pos"]["Cz"], sites["Cz"], atol=1e-4)
    left = sites.tracer.point("left_preauricular")
    np.testing.assert_allclose(1000 * kept["lpa"], left, atol=1e-4)
