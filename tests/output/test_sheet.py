"""The printed sheet: its numbers, its rule, its room, its letters, its bytes."""

import hashlib
import io
import itertools
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pypdf
import pytest
from commands import refused, said
from demo_case import TEXT, solved_text
from PIL import Image

import headfit
from headfit import Rules, load_template, place_sites
from headfit.errors import InputError, UnknownNameError
from headfit.output.case_sheet import sheet_content, write_sheet
from headfit.output.sheet import SheetContent, rules_words, sheet_pdf
from headfit.output.sheet_columns import Block, Row, even_height_mm, flow
from headfit.output.typesetting import PAPERS, Paper, clean, tallest_that_fits, width_mm, wrapped
from headfit.planning.derivations import measure_montage
from headfit.planning.displacement import displace
from headfit.planning.marking import MarkingPlan, plan_marking
from headfit.planning.montages import array_sites, montage_from_csv, standard_montages
from headfit.planning.obstacles import disc
from headfit.planning.preparation import cable_lengths_mm

IMAGES = Path(__file__).parents[1] / "images"
TAKEN = ("nasion-inion arc 36.2 cm", "preauricular arc 35.0 cm", "ring 55.5 cm (10 %)")
# 43 sites with the longest names of 10-10 among them.
FORTY = (
    "Fp1 Fpz Fp2 AF7 AF3 AF4 AF8 F9 F7 F5 F3 F1 Fz F2 F4 F6 F8 F10 FC5 FC1 FC2 FC6 T9 T7 C3 Cz C4 "
    "T8 T10 TP9 CP5 CP1 CP2 CP6 TP10 P7 P3 Pz P4 P8 PO7 PO8 O1 Oz O2 A1 A2"
).split()
LONG = "A very long case label, invented, with many words so that it must be set in several lines, "


def content(label: str = "Demo case, invented", **more: object) -> SheetContent:
    sites = more.pop("sites", None) or place_sites(load_template(), "10-20")
    return SheetContent(label, sites, "0.1.0", **{"measurements": TAKEN, **more})


def with_a_wound() -> SheetContent:
    sites = place_sites(load_template(), "10-20")
    found = displace(sites, [disc(sites, "F3", 15, "wound"), disc(sites, "C4", 20, "shunt")])
    montage = measure_montage(standard_montages()["longitudinal"], sites, found.points_mm)
    return content(sites=sites, displacement=found, montages=(montage,))


def pages_of(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def printed_cm(length_mm: float) -> str:
    return f"{length_mm / 10:.1f}"


def rendered(pdf: bytes, dpi: int, page: int = 1, crop: tuple[int, ...] = ()) -> np.ndarray:
    """(h, w) greys of a page, 0 black to 255 white, as poppler draws it."""
    box = [f for pair in zip(("-x", "-y", "-W", "-H"), map(str, crop), strict=False) for f in pair]
    picture = subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-gray", "-f", str(page), "-l", str(page), *box, "-"],
        input=pdf,
        capture_output=True,
        check=True,
    ).stdout
    return np.array(Image.open(io.BytesIO(picture)))


def words_of(pdf: bytes) -> list[list[tuple[str, np.ndarray]]]:
    """Every word of every page and its box x0, y0, x1, y1 in mm, as poppler finds them."""
    text = subprocess.run(
        ["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True
    ).stdout.decode()
    pages = []
    for page in text.split("<page ")[1:]:
        found = re.findall(
            r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</w',
            page,
        )
        pages.append([(w[4], np.array(w[:4], float) * 25.4 / 72) for w in found])
    return pages


@pytest.fixture(scope="module")
def plain() -> bytes:
    return sheet_pdf(content())


@pytest.fixture(scope="module")
def wounded() -> bytes:
    return sheet_pdf(with_a_wound())


def flat(text: str) -> str:
    return " ".join(text.split())


def told(distances: list[float], own: bool) -> str:
    """A number as it is printed: one where both sides are alike, light with ≈ where predicted."""
    alike = max(distances) - min(distances) < 0.95
    number = (
        printed_cm(sum(distances) / len(distances))
        if alike
        else " / ".join(map(printed_cm, distances))
    )
    return number if own else f"≈ {number}"


def test_the_first_page_holds_every_number_of_every_walk(plain: bytes) -> None:
    text = flat(pages_of(plain)[0])
    plan = plan_marking(place_sites(load_template(), "10-20"))
    n_numbers = 0
    for step in plan.steps:
        for walk in step.walks:
            for mark in walk.marks:
                assert f"{told([mark.distance_mm], own=False)}" in text
                n_numbers += 1
    assert n_numbers >= 20
    for pair in ("Fp1 Fp2", "F7 F8", "O1 O2", "F3 F4", "P3 P4"):
        assert pair in text
    assert "≈ computed on this head" in text


def test_the_first_page_holds_every_check_distance(plain: bytes) -> None:
    text = flat(pages_of(plain)[0]).partition("Check before paste")[2]
    plan = plan_marking(content().sites)
    assert len(plan.checks) >= 7
    for left, right in plan.checks:
        lengths = [check.length_mm for check in (left, right) if check is not None]
        said = [check.name for check in (left, right) if check is not None]
        assert f"{' '.join(said)} {told(lengths, own=True)}" in text


def n_boxes(pdf: bytes, page: int) -> int:
    """Rectangles on a page: boxes to tick and frames."""
    content_ = pypdf.PdfReader(io.BytesIO(pdf)).pages[page].get_contents().get_data()
    return len(re.findall(rb" re\b", content_))


def test_there_is_a_box_to_tick_for_every_mark_and_check_and_for_nothing_else(
    plain: bytes, wounded: bytes
) -> None:
    def boxes(plan: MarkingPlan) -> int:
        marks = [m for s in plan.steps for w in s.walks for m in w.marks if m.kind != "meets"]
        checks = [c for row in plan.checks for c in row if c is not None]
        return len(marks) + len(checks) + len(plan.bearings) + len(plan.beside_ears)

    plan = plan_marking(content().sites)
    assert n_boxes(plain, 0) == boxes(plan)
    case = with_a_wound()
    plan = plan_marking(case.sites, case.displacement)
    marks_pages = range(len(pages_of(wounded)) - 2)
    # Beside them the frame round what must stay free, and the hatched box of forbidden checks.
    assert sum(n_boxes(wounded, page) for page in marks_pages) == boxes(plan) + 2


def test_the_fit_of_another_head_gives_other_numbers(plain: bytes) -> None:
    newborn = sheet_pdf(content(sites=place_sites(load_template("newborn"), "10-20")))
    midline = load_template("newborn")
    length = place_sites(midline, "10-20").tracer.length_mm("midline")
    assert f"≈ {printed_cm(length)}" in flat(pages_of(newborn)[0])
    assert f"≈ {printed_cm(length)}" not in flat(pages_of(plain)[0])


@pytest.mark.parametrize("made", ["plain", "wounded"])
def test_every_page_says_what_must_be_on_every_page(
    made: str, request: pytest.FixtureRequest
) -> None:
    pages = pages_of(request.getfixturevalue(made))
    assert len(pages) >= 2
    for number, text in enumerate(pages, 1):
        for words in (
            "Demo case, invented",
            f"side {number} of {len(pages)}",
            "Done by",
            "Date, time",
            "headfit 0.1.0",
            rules_words(Rules(inferior="row")),
            *TAKEN,
        ):
            assert words in flat(text)
    whole = "".join(pages)
    assert whole.count("Not a medical device.") == 1
    assert "Local policy and licensed practice decide" in flat(whole)


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("where", ["", "P4", "Oz", "F3"])
def test_10_20_is_two_sides_of_one_sheet(paper: str, where: str) -> None:
    """Marks on one side; map, card and record on the other, with a wound or without."""
    tape = "nasion_inion = 36.0\npreauricular_arc = 36.4\nring = 56.0\n"
    free = f'[[free]]\nsite = "{where}"\nradius_mm = 14\nreason = "wound"\n' if where else ""
    pdf = sheet_pdf(
        sheet_content(solved_text(f'[case]\nlabel = "x"\n[tape]\nunit = "cm"\n{tape}{free}')), paper
    )
    one, two = map(flat, pages_of(pdf))
    assert "1 Midline" in one
    assert "Check before paste" in one
    for words in ("Set-up", "Record of what was done", "For the tray", "nose"):
        assert words in two


CM = '[case]\nlabel = "A head"\nsystem = "10-20"\n[tape]\nunit = "cm"\n'


def side_one(tape: str, paper: str = "A4") -> str:
    return flat(pages_of(sheet_pdf(sheet_content(solved_text(CM + tape)), paper))[0])


# Klem et al. 1999: 10, 20, 20, 20, 20 and 10 % of what was measured.
def test_own_readings_are_divided_and_not_the_fit() -> None:
    """Seven readings that contradict each other: the fit meets none of the long tapes."""
    text = side_one(
        "nasion_inion = 37.4\npreauricular_arc = 35.0\nring = 55.0\nhead_breadth = 15.0\n"
        "head_length = 18.9\near_arc_oz = 29.5\nfrontal_row = 21.0\nparietal_row = 24.0\n"
    )
    for number in (
        "37.4",
        "11.2",
        "18.7",
        "26.2",
        "3.5",
        "10.5",
        "24.5",
        "31.5",
        "2.8",
        "19.2",
        "24.8",
    ):
        assert f" {number} " in text
    assert text.count("■ own reading") == 4
    assert "■ half of your 55.0" in text
    assert "≈ predicted" not in text


def test_what_nobody_taped_is_light_with_its_range_and_a_line_to_write() -> None:
    text = side_one("ring = 56.0\n")
    assert "1 Midline ≈ " in text
    assert "2 Ear to ear ≈ " in text
    assert text.count("≈ predicted ± ") == 4
    assert re.search(r"Fz ≈ \d+\.\d 30 %", text)
    assert "nasion to inion" in text
    assert "F7 to Fz F8 to Fz" in text
    assert "3 Ring, each side 28.0" in text


def test_a_fit_that_differs_is_told_beside_the_reading() -> None:
    tape = (
        "nasion_inion = 36.8\npreauricular_arc = 36.6\nring = 57.4\nhead_breadth = 14.6\n"
        "head_length = 18.6\nlargest_circumference = 54.0\nfrontal_row = 21.0\n"
    )
    solved = solved_text(CM + tape)
    off = {arc: solved.tape_on(arc).off_mm for arc in ("midline", "coronal", "left ring", "row F")}
    differing = [arc for arc, gap in off.items() if abs(gap) > 2.0]
    assert differing
    text = side_one(tape)
    assert text.count("; fit ") == len(differing)


def test_halves_that_differ_are_printed_each_for_its_side() -> None:
    text = side_one(
        "nasion_inion = 35.0\npreauricular_arc = 36.4\nleft_ring = 28.6\nright_ring = 27.4\n"
        "left_ring_front = 13.7\n"
    )
    assert re.search(r"3 Ring, each side ?28\.6 / 27\.4", text)
    assert "F7 F8 8.6 / 8.2" in text
    assert re.search(r"T7 T8 (T3 T4 )?13\.7", text)  # where the tape passes T7 was read


def test_doubts_and_the_reading_to_take_again_are_boxed_on_the_first_side() -> None:
    text = side_one(
        'nasion_inion = 36.0\npreauricular_arc = 36.2\nring = 46.4\ndoubtful = ["inion"]\n'
    )
    assert "Look at the 10 % ring again: is it 56.4 cm" in text
    assert re.search(
        r"Inion doubtful: if it is 1 cm lower, Oz moves 9 mm, Pz 7 mm, Cz [45] mm\.", text
    )
    assert text.index("Look at") < text.index("1 Midline")


def test_numbers_are_large_enough_for_an_arm_s_length() -> None:
    """14 points and more, as asked; a word's box is as high as its type."""
    pdf = sheet_pdf(sheet_content(solved_text(CM + "ring = 56.0\nleft_ring = 28.6\n")))
    numbers = [box for word, box in words_of(pdf)[0] if re.fullmatch(r"\d+\.\d", word)]
    heights = [float(box[3] - box[1]) for box in numbers]
    # 14 points are 4.94 mm; ranges behind ± and words in a sentence are smaller.
    large = [height for height in heights if height > 4.9]
    plan = solved_text(CM + "ring = 56.0\nleft_ring = 28.6\n").marking
    marks = sum(len(walk.marks) for step in plan.steps for walk in step.walks)
    assert len(large) >= marks * 0.7 + len(plan.checks)


def test_the_map_names_every_site(plain: bytes) -> None:
    assert set(content().sites.names) <= set(pages_of(plain)[1].split())


def test_the_card_has_skin_fixing_cable_and_a_line_for_every_site(plain: bytes) -> None:
    text = flat(pages_of(plain)[1])
    cables = cable_lengths_mm(
        content().sites, dict(zip(content().sites.names, content().sites.points_mm, strict=True))
    )
    for name in content().sites.names:
        bare = name in ("Fp1", "Fp2", "A1", "A2")
        how = "bare skin · tape" if bare else "hair · gauze"
        old = {"T7": " T3", "T8": " T4", "P7": " T5", "P8": " T6"}.get(name, "")
        tail = "up/back" if name in ("A1", "A2") else "back"
        assert f"{name}{old} {how} {tail} {cables[name] / 10:.0f}" in text
    assert "21 cups" in text
    assert "17 gauze squares, 4 tapes" in text
    # From the forehead the cable is the longest, from the back of the head the shortest.
    assert cables["Fp1"] > cables["Cz"] > cables["O1"] > 50.0


def test_old_names_stand_beside_the_new_ones_on_both_sides(plain: bytes) -> None:
    one, two = map(flat, pages_of(plain))
    for words in ("T7 T3", "T8 T4", r"P7 P8.{0,14}T5 T6"):
        assert re.search(words, one)
    assert "T7 = T3 · T8 = T4 · P7 = T5 · P8 = T6" in two
    text = TEXT.replace("[case]", "[case]\nold_names = false")
    without = "".join(pages_of(sheet_pdf(sheet_content(solved_text(text)))))
    assert "T7" in without
    assert not re.search(r"\bT[3456]\b|Old names", without)


def test_moved_sites_are_on_every_page_that_needs_them(wounded: bytes) -> None:
    found, plan = (
        with_a_wound().displacement,
        plan_marking(with_a_wound().sites, with_a_wound().displacement),
    )
    pages = [flat(text) for text in pages_of(wounded)]
    first, second = " ".join(pages[:-2]), pages[-2]
    assert "Must stay free: wound, 15 mm around F3; shunt, 20 mm around C4" in first
    for move in found.moves:
        assert move.words in first
    for note in found.notes:
        assert note in first
    assert plan.bearings
    for way in plan.bearings:
        assert f"{way.title} toward {way.side} ≈ {printed_cm(way.first.length_mm)} from" in first
        assert way.title in second or way.site in second
    for step in plan.steps:
        for _, _, stop in step.stops:
            assert f"tape ends at {printed_cm(np.floor(stop))}" in first
    assert plan.forbidden_checks
    assert first.rpartition("no tape: ")[2].count("–") >= len(plan.forbidden_checks)
    assert "C4 24.1" not in first


def test_the_page_of_a_montage_has_all_lengths_and_says_what_is_unequal(wounded: bytes) -> None:
    (measured,) = with_a_wound().montages
    text = " ".join(pages_of(wounded)[-1].split())
    for derivation in measured.derivations:
        was = "" if derivation.before_mm is None else rf" was {derivation.before_mm:.0f}"
        assert re.search(rf"{derivation.name} {derivation.length_mm:.0f}( 0| [+-]\d+)?{was}", text)
    assert measured.findings
    for finding in measured.findings:
        assert finding in text


def tick_columns(pdf: bytes, paper: str) -> np.ndarray:
    """Middles, in mm from the left edge of the paper, of the tall ticks of the check rule."""
    dpi = 600
    width, height = PAPERS[paper]
    per_mm = dpi / 25.4
    (base,) = (box for page in words_of(pdf)[:1] for word, box in page if word == "Print")
    # A strip across the upper part of the tall ticks only.
    top = round((base[1] + 2.4) * per_mm)
    strip = rendered(pdf, dpi, 1, (0, top, round(width * per_mm), round(4.0 * per_mm)))
    ink = 255.0 - strip.astype(float)
    ink[:, round((base[0] - 2) * per_mm) :] = 0.0  # the words beside the rule
    rows = ink.sum(axis=1)
    assert rows.max() > 0
    runs = []
    for row in ink:
        dark = np.flatnonzero(row > 64)
        if len(dark):
            groups = np.split(dark, np.flatnonzero(np.diff(dark) > 1) + 1)
            if len(groups) == 11:
                runs.append([np.average(g, weights=row[g]) for g in groups])
    assert runs, f"no row of eleven ticks on {height} mm paper"
    return (np.median(runs, axis=0) + 0.5) / per_mm


@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_rule_is_100_mm_long_to_a_tenth_on_a_600_dpi_rendering(paper: str) -> None:
    ticks = tick_columns(sheet_pdf(content(), paper), paper)
    assert ticks[-1] - ticks[0] == pytest.approx(100.0, abs=0.1)
    assert np.diff(ticks) == pytest.approx(np.full(10, 10.0), abs=0.05)


# ISO 216 and ANSI/ASME Y14.1.
@pytest.mark.parametrize(("paper", "size"), [("A4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_pages_have_the_size_of_the_paper_and_ask_for_100_per_cent(
    paper: str, size: tuple[float, float]
) -> None:
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(content(), paper)))
    for page in reader.pages:
        box = np.array(page.mediabox, float) * 25.4 / 72
        assert box == pytest.approx([0, 0, *size], abs=0.01)
    assert reader.viewer_preferences["/PrintScaling"] == "/None"


def test_the_same_sheet_has_the_same_bytes_here_and_in_another_process(plain: bytes) -> None:
    assert sheet_pdf(content()) == plain
    code = (
        "import hashlib; from headfit import load_template, place_sites; "
        "from headfit.output.sheet import SheetContent, sheet_pdf; "
        f"c = SheetContent('Demo case, invented', place_sites(load_template()), '0.1.0', {TAKEN}); "
        "print(hashlib.sha256(sheet_pdf(c)).hexdigest())"
    )
    root = Path(__file__).parents[2]
    for seed in ("1", "2"):
        said = subprocess.run(
            [sys.executable, "-c", code],
            capture_output=True,
            text=True,
            check=True,
            cwd=root,
            env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout
        assert said.strip() == hashlib.sha256(plain).hexdigest()


def stress(case: str) -> SheetContent:
    head = load_template()
    if case == "forty sites":
        sites = place_sites(head, FORTY)
        names = ", ".join(sites.names[:3])
        own = montage_from_csv(
            "derivation\n" + "\n".join(f"{a}-{b}" for a in FORTY[:9] for b in FORTY[12:18]), names
        )
        readings = tuple(
            f"measurement {n} of the whole sheet {30 + n / 10:.1f} cm" for n in range(18)
        )
        return content(
            3 * LONG,
            sites=sites,
            measurements=readings,
            notes=(LONG,),
            montages=(measure_montage(own, sites),),
        )
    if case == "moved sites":
        sites = place_sites(head, "ifcn-25")
        found = displace(sites, [disc(sites, "F3", 45, "wound"), disc(sites, "P4", 30, LONG[:59])])
        montages = tuple(
            measure_montage(m, sites, found.points_mm) for m in standard_montages().values()
        )
        return content(LONG, sites=sites, displacement=found, montages=montages)
    if case == "newborn":
        sites = place_sites(load_template("newborn"), array_sites("newborn"))
        return content("x", sites=sites, measurements=(), notes=("illustrative, norm-scaled",))
    return content(case)


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("case", ["forty sites", "moved sites", "newborn", "Ελένη, δοκιμή Γ"])
def test_everything_fits_on_the_paper_and_no_word_lies_on_another(case: str, paper: str) -> None:
    pdf = sheet_pdf(stress(case), paper)
    width, height = PAPERS[paper]
    pages = words_of(pdf)
    assert len(pages) >= 2
    for words in pages:
        boxes = np.array([box for _, box in words])
        assert boxes[:, 0].min() > 10.0
        assert boxes[:, 2].max() < width - 10.0
        assert boxes[:, 1].min() > 5.0
        assert boxes[:, 3].max() < height - 3.0
        on_a_map = any(word == "nose" for word, _ in words)
        if on_a_map:
            continue  # names in circles that touch; tests/output/test_headmap.py looks at these
        # A box is as high as the type; letters fill the middle of it.
        inner = boxes + np.array([0.2, 0.0, -0.2, 0.0])
        inner[:, 1] += 0.25 * (boxes[:, 3] - boxes[:, 1])
        inner[:, 3] -= 0.25 * (boxes[:, 3] - boxes[:, 1])
        low = np.maximum(inner[:, None, :2], inner[None, :, :2])
        high = np.minimum(inner[:, None, 2:], inner[None, :, 2:])
        on_another = ((high - low) > 0).all(axis=2)
        on_another[np.diag_indices(len(boxes))] = False
        assert [(words[i][0], words[j][0]) for i, j in np.argwhere(on_another)] == []


def test_margins_stay_white() -> None:
    page = rendered(sheet_pdf(stress("forty sites"), "letter"), 50, 1)
    edge = round(9.0 / 25.4 * 50)
    inside = page[:, edge:-edge]
    assert inside.min() < 100
    assert page[:, :edge].min() > 250
    assert page[:, -edge:].min() > 250


@pytest.mark.parametrize(
    "label",
    [
        "Ελένη, δοκιμή Γ",
        "Пример 7",
        "Łódź – případ č. 3",
        "王小明 示例",
        "かな 例",
        "김 예시",
        "mixed Ωμέγα 例 x",
    ],
)
def test_labels_in_other_scripts_come_out_of_the_file_as_they_went_in(label: str) -> None:
    pdf = sheet_pdf(content(label))
    for text in pages_of(pdf):
        assert text.startswith(label)
    assert pypdf.PdfReader(io.BytesIO(pdf)).metadata["/Title"] == f"{label} - mark sheet"


def test_greek_letters_are_in_the_file_itself() -> None:
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(content("Ελένη"))))
    fonts = [f.get_object() for f in reader.pages[0]["/Resources"]["/Font"].get_object().values()]
    bold = [f for f in fonts if "DejaVuSans-Bold" in f["/BaseFont"]]
    assert bold
    assert all("/FontFile2" in f["/FontDescriptor"] for f in bold)


@pytest.mark.parametrize(
    ("label", "letter"),
    [("שלום", "U\\+05E9"), ("مريض", "U\\+0645"), ("bed 🦄", "U\\+1F984"), ("ผู้ป่วย", "U\\+0E1C")],
)
def test_a_label_that_cannot_be_printed_right_is_one_sentence(label: str, letter: str) -> None:
    with pytest.raises(InputError, match=f"case label must be in Latin, .*{letter}.*short code"):
        sheet_pdf(content(label))
    with pytest.raises(InputError, match="a measurement must be in Latin"):
        sheet_pdf(content(measurements=(label,)))
    with pytest.raises(InputError, match="a note must be in Latin"):
        sheet_pdf(content(notes=(label,)))


def test_control_characters_and_broken_lines_do_no_harm() -> None:
    assert clean("a\n\tb\x00\x1b[31m\u202ec") == "a b[31mc"
    assert clean("e\u0301") == "é"
    assert pages_of(sheet_pdf(content(" \n ")))[0].startswith("no label")


def test_an_unknown_paper_is_one_sentence() -> None:
    with pytest.raises(UnknownNameError, match="unknown paper 'Letter': did you mean 'letter'"):
        sheet_pdf(content(), "Letter")


def test_the_rules_are_told_in_words() -> None:
    assert "T7 T8 in the middle of the half ring" in rules_words(Rules(temporal="ring"))
    every = {
        rules_words(Rules(*choice))
        for choice in (
            ("plane",),
            ("shortest",),
            ("plane", "parasagittal"),
            ("plane", "crossing"),
            ("plane", "row", "ring"),
            ("plane", "row", "coronal", "contour"),
            ("plane", "row", "coronal", "row", "skin"),
        )
    }
    assert len(every) == 7


def test_the_numbers_follow_the_rules() -> None:
    sites = place_sites(load_template(), "10-20", Rules(inner="crossing"))
    text = flat(pages_of(sheet_pdf(content(sites=sites)))[0])
    row = next(step for step in plan_marking(sites).steps if step.arc == "row F")
    f3 = row.marks[0]
    assert f3.distance_mm < 0.95 * row.length_mm / 4
    assert f"F3 F4 ≈ {printed_cm(f3.distance_mm)} {100 * row.walks[0].marks[0].share:.0f} %" in text
    assert "× parasagittal" in text


@pytest.mark.parametrize("page", [1, 2, 3])
def test_pages_look_as_they_did_when_a_person_looked_at_them(page: int, wounded: bytes) -> None:
    """After a change that is meant: look at the new page, then run with HEADFIT_NEW_IMAGES=1."""
    now = rendered(wounded, 60, page)
    path = IMAGES / f"sheet-{page}.png"
    if os.environ.get("HEADFIT_NEW_IMAGES") == "1":
        Image.fromarray(now).save(path, optimize=True)
    then = np.array(Image.open(path))
    assert now.shape == then.shape
    gap = np.abs(now.astype(float) - then)
    # Versions of poppler smooth letters differently: a few greys, never a moved line.
    assert gap.mean() < 2.0
    blocks = gap[: gap.shape[0] // 8 * 8, : gap.shape[1] // 8 * 8]
    blocks = blocks.reshape(gap.shape[0] // 8, 8, -1, 8).mean(axis=(1, 3))
    assert blocks.max() < 60.0


def test_a_long_label_shrinks_then_breaks_then_ends_in_an_ellipsis() -> None:
    size, lines = tallest_that_fits("short", 100.0, (17, 10), 2)
    assert (size, lines) == (17, ["short"])
    size, lines = tallest_that_fits(LONG, 100.0, (17, 10), 2)
    assert size == 10
    assert len(lines) == 2
    assert " ".join(lines) == LONG.strip()
    size, lines = tallest_that_fits(9 * LONG, 100.0, (17, 10), 2)
    assert lines[-1].endswith("…")
    assert max(width_mm(line, size) for line in lines) <= 100.0


def test_wrapped_lines_fit_and_lose_nothing() -> None:
    words = "one twotwotwotwotwotwotwo 例例例例例例例例例例例例例例例 three"
    lines = wrapped(words, 9.0, 25.0)
    assert max(width_mm(line, 9.0) for line in lines) <= 25.0
    assert "".join(lines).replace(" ", "") == words.replace(" ", "")
    assert wrapped("", 9.0, 25.0) == []


def rows_of(block: int, *heights: float) -> Block:
    def row(height: float) -> Row:
        return Row(height, lambda x, y, width: None)

    return Block(row(4.0), tuple(row(h) for h in heights), row(5.0))


def test_blocks_stay_whole_where_they_can_and_break_where_they_must() -> None:
    blocks = [rows_of(0, 10, 10), rows_of(1, 10, 10), rows_of(2, *([10] * 7))]
    placed = flow(blocks, lambda column: 40.0)
    assert [p.column for p in placed] == [0, 0, 0, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 4, 4]
    assert [p.row.height_mm for p in placed if p.y_mm == 0] == [4.0, 4.0, 4.0, 5.0, 5.0]
    for one, other in itertools.pairwise(placed):
        assert one.end_mm <= 40.0
        if one.column == other.column:
            assert other.y_mm >= one.end_mm
    assert even_height_mm(blocks[:2]) == pytest.approx(24.0 + 3.0, abs=1.0)


def test_the_sheet_command_waits_for_no_library_it_can_do_without(tmp_path: Path) -> None:
    # Importing scipy takes longer than fitting the head and drawing the sheet.
    script = (
        "import sys; from headfit.cli import main; "
        "code = main(sys.argv[1:]); heavy = {name.partition('.')[0] for name in sys.modules}; "
        "print(code, sorted(heavy & {'scipy', 'starlette', 'trimesh', 'vtkmodules', 'http'}))"
    )
    case = Path(headfit.__file__).parent / "demo" / "case.toml"
    words = ["sheet", str(case), "-o", str(tmp_path / "sheet.pdf"), "--json"]
    run = subprocess.run(
        [sys.executable, "-c", script, *words], capture_output=True, text=True, check=True
    )
    assert run.stdout.splitlines()[-1] == "0 []"


def test_a_page_says_its_own_pens() -> None:
    paper = Paper(PAPERS["A4"], "two pages", "test")
    for _ in range(2):
        paper.line(10.0, 10.0, 50.0, 10.0, pen=1.0)
        paper.text(10.0, 20.0, "words", grey=0.5)
        paper.end_page()
    one, other = (
        page.get_contents().get_data() for page in pypdf.PdfReader(io.BytesIO(paper.pdf())).pages
    )
    assert b" g " in one or b" g\n" in one
    assert one == other


@pytest.mark.parametrize(
    ("ring", "wrong"),
    [
        ("41.0", ""),  # fitted, with the reading to take again on page 1
        ("32.6", "preauricular arc must be shorter than the 10 % ring"),
        ("99.0", "ring must lie in"),
    ],
)
def test_a_sheet_that_cannot_be_right_says_so_on_page_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], ring: str, wrong: str
) -> None:
    case, page = tmp_path / "case.toml", tmp_path / "sheet.pdf"
    tape = f'unit = "cm"\nnasion_inion = 36.0\npreauricular_arc = 35.0\nring = {ring}\n'
    case.write_text(f'[case]\nlabel = "Invented"\n[tape]\n{tape}', encoding="utf-8")
    ended, _, complaint = said(capsys, "sheet", case, "-o", page)
    assert ended == (2 if wrong else 0)
    assert ("has no marks" in complaint) == bool(wrong)
    first = flat(pages_of(page.read_bytes())[0])
    assert ("No marks: this sheet cannot be right" in first) == bool(wrong)
    assert wrong in first
    assert bool(re.search(r"\bFp1\b", first)) == (not wrong)
    if not wrong:
        assert "Is the 10 % ring" in first or "Take the 10 % ring again" in first


def test_a_case_without_a_reading_gives_no_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case, page = tmp_path / "case.toml", tmp_path / "sheet.pdf"
    case.write_text('[case]\nlabel = "x"\n', encoding="utf-8")
    assert "must hold a [tape] table" in refused(capsys, "sheet", case, "-o", page)
    assert not page.exists()


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_two_lengths_of_an_uneven_ring_stand_clear_of_its_title(
    tmp_path: Path, paper: str
) -> None:
    """By the boxes of the words, as poppler finds them on the page."""
    halves = "nasion_inion = 36\npreauricular_arc = 35\nleft_ring = 28.3\nright_ring = 28.1\n"
    page = tmp_path / "sheet.pdf"
    write_sheet(solved_text(f'[case]\nlabel = "x"\n[tape]\nunit = "cm"\n{halves}'), page, paper)
    boxes = subprocess.run(
        ["pdftotext", "-f", "1", "-l", "1", "-bbox", page, "-"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    found = re.findall(r'xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)".*>(.*)</word>', boxes)
    title = next(row for row, after in itertools.pairwise(found) if row[3] == "Ring,")
    same_line = [row for row in found if abs(float(row[1]) - float(title[1])) < 6.0]
    end = max(float(row[2]) for row in same_line if row[3] == "side")
    assert end < min(float(row[0]) for row in same_line if row[3] == "28.3")
