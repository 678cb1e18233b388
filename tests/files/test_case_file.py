"""The case file: everything a person may write, and one sentence for everything that is wrong."""

import dataclasses
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from headfit import Rules, Tape
from headfit.case.case import Case, FreePlace
from headfit.case.record import ChartedElectrode, SetUpRecord
from headfit.errors import HeadfitError
from headfit.files.case_file import case_of_text, case_text, read_case, write_case
from headfit.fitting.measurements import MEASUREMENTS
from headfit.planning.montages import standard_montages

FULL = """
[case]
label = "second head"
age = 34
sex = "female"
system = "ifcn-25"
measured_by = "M. Example"
measured_on = 2024-05-07
note = "thick hair"
move_alone = true
invented = true

[tape]
unit = "cm"
nasion_inion = 36.2
ring = [56.4, 56.8]
doubtful = ["inion", "nasion"]

[tape.spread]
ring = 0.4

[shape]
vault_2_m2 = 3
vault_3_2 = -1.5

[rules]
inner = "parasagittal"

[marks]
file = "marks.tsv"
align = "best-fit"
bands_mm = [4, 8]

[[free]]
site = "t3"
radius_mm = 20
reason = "dressing"

[[free]]
point_mm = [1, 2.5, 100]
radius_mm = 12.5

[[free]]
polygon_mm = [[0, 0, 90], [10, 0, 90], [0, 10, 90]]
reason = "shunt"

[derivations]
set = "longitudinal bipolar"

[record]
skin_before = "whole"
sites = [{ name = "t3", impedance_kohm = 4 }]
"""


def fields_of(case: Case) -> dict[str, object]:
    found = {f.name: getattr(case, f.name) for f in dataclasses.fields(case)}
    tape = found.pop("tape")
    problems = {part: str(error) for part, error in case.problems.items()}
    return found | {"readings": tape.readings_mm, "spreads": tape.spreads_mm, "problems": problems}


def test_everything_a_person_may_write_is_understood(tmp_path: Path) -> None:
    (tmp_path / "case.toml").write_text(FULL)
    assert fields_of(read_case(tmp_path / "case.toml")) == {
        "readings": {"nasion_inion": (362.0,), "ring": (564.0, 568.0)},
        "spreads": {"ring": 4.0},
        "old_names": True,
        "label": "second head",
        "age": 34,
        "sex": "female",
        "system": "ifcn-25",
        "sites": (),
        "unit": "cm",
        "doubtful": ("inion", "nasion"),
        "shape": {"vault_2_m2": 3.0, "vault_3_2": -1.5},
        "rules": Rules(inner="parasagittal"),
        "scan": None,
        "marks": None,
        "marks_file": tmp_path / "marks.tsv",
        "align": "best-fit",
        "bands_mm": (4.0, 8.0),
        "free": (
            FreePlace("T7", None, (), 20.0, "dressing"),
            FreePlace(None, (1.0, 2.5, 100.0), (), 12.5, ""),
            FreePlace(None, None, ((0, 0, 90), (10, 0, 90), (0, 10, 90)), 0.0, "shunt"),
        ),
        "derivations": "longitudinal bipolar",
        "derivations_file": None,
        "montage": standard_montages()["longitudinal"],
        # There is no such file: the case is read all the same, and carries the reason.
        "problems": {
            "marks": f"there is no file {tmp_path / 'marks.tsv'} (is the name right, and "
            "the folder?)"
        },
        "measured_by": "M. Example",
        "measured_on": "2024-05-07",
        "note": "thick hair",
        "move_alone": True,
        "record": SetUpRecord((ChartedElectrode("T7", impedance_kohm=4),), skin_before="whole"),
        "invented": True,
    }


def test_a_case_needs_no_more_than_one_measurement() -> None:
    case = case_of_text('[tape]\nunit = "mm"\nring = 566', Path())
    assert fields_of(case) == fields_of(Case(Tape(ring_mm=566), unit="mm"))


def test_a_written_case_is_read_back(tmp_path: Path) -> None:
    (tmp_path / "one.toml").write_text(FULL)
    case = read_case(tmp_path / "one.toml")
    write_case(case, tmp_path / "two.toml")
    assert fields_of(read_case(tmp_path / "two.toml")) == fields_of(case)
    # Paths beside the case stay short, so that the folder can be moved.
    assert 'file = "marks.tsv"' in (tmp_path / "two.toml").read_text()


def test_a_path_elsewhere_and_own_derivations_are_written_too(tmp_path: Path) -> None:
    case = Case(Tape(ring_mm=566), derivations_file=tmp_path / "own.csv", marks_file=Path("/m.tsv"))
    again = case_of_text(case_text(case, tmp_path / "cases"), tmp_path / "cases")
    assert again.derivations_file == tmp_path / "own.csv"
    assert again.marks_file == Path("/m.tsv")


@given(
    unit=st.sampled_from(["cm", "mm", "inch"]),
    tenths=st.lists(st.integers(5200, 6200), min_size=1, max_size=4),
)
def test_readings_survive_their_unit_exactly(unit: str, tenths: list[int]) -> None:
    readings = [tenth / 10 for tenth in tenths]
    case = Case(Tape(ring_mm=readings), unit=unit)
    again = case_of_text(case_text(case), Path())
    assert again.tape.readings_mm["ring"] == pytest.approx(readings, abs=1e-7)
    if unit != "inch":  # what was read to a tenth of a millimetre stays as it was written
        assert list(again.tape.readings_mm["ring"]) == readings


def test_an_inch_is_25_4_mm() -> None:
    # International yard and pound agreement, 1959.
    assert case_of_text('[tape]\nunit = "inch"\nring = 22', Path()).tape.ring_mm == 558.8


def test_text_cannot_steer_a_terminal() -> None:
    text = '[case]\nlabel = "a\\u001b[2Jb\\nc"\n[tape]\nunit = "cm"\nring = 56'
    assert case_of_text(text, Path()).label == "a [2Jb c"


T = '[tape]\nunit = "cm"\nring = 56.0\n'
FREE = T + "[[free]]\n"
WRONG = {
    # What the value would have to be is said in the unit that the person wrote.
    '[tape]\nunit = "cm"\nnasion_inion = 362': r"nasion-inion arc must lie in 15 to 48 cm, "
    r'got 362 cm \(should it say unit = "mm"\?\)',
    '[tape]\nunit = "cm"\nnasion_inion = 14.2': r"got 14.2 cm \(should it say unit = \"inch\"\?\)",
    '[tape]\nunit = "inch"\nnasion_inion = 36': r"6 to 19 inch, got 36 inch \(should it say unit = "
    r'"cm"\?\)',
    '[tape]\nunit = "mm"\nnasion_inion = 36': r"got 36 mm \(are these centimetres\?\)",
    '[tape]\nunit = "cm"\nring = 5.64': r"got 5.64 cm \(is there a digit missing\?\)",
    '[tape]\nunit = "cm"\nhead_length = 2120': r"got 2120 cm \(measure it again\)",
    '[tape]\nunit = "cm"\nring = 5640': r"got 5640 cm \(measure it again\)",
    '[tape]\nunit = "inch"\nleft_ring_front = 50': r"got 50 inch \(should it say unit = \"mm\"\?\)",
    '[tape]\nunit = "inch"\nleft_ring_front = 85': r"got 85 inch \(should it say unit = \"mm\"\?\)",
    '[tape]\nunit = "inch"\nring = 222': r"got 222 inch \(is a decimal point missing\?\)",
    '[tape]\nunit = "cm"\nring = nan': "10 % ring must be a finite number, got nan",
    '[tape]\nunit = "cm"\nring = "56"': "10 % ring must be a finite number, got '56'",
    '[tape]\nunit = "cm"\nring = true': "10 % ring must be a finite number, got True",
    '[tape]\nunit = "cm"\nring = [56.0, inf]': "10 % ring must be a finite number, got inf",
    '[tape]\nunit = "cm"\nring = []': "10 % ring must be a number of mm, got an empty list",
    '[tape]\nunit = "cm"': "a measurement sheet must hold at least one value, got none",
    "[tape]\nring = 56.0": r'\[tape\] must name its unit, got none \(write unit = "cm"',
    '[tape]\nunit = "ells"\nring = 1': r"unit of \[tape\] must be \"cm\", \"mm\" or \"inch\"",
    "[tape]\nunit = 1\nring = 1": r"unit of \[tape\] must be \"cm\", \"mm\" or \"inch\", got 1",
    "": r"a case file must hold a \[tape\] table, got none",
    "tape = 3": r"\[tape\] must be a table of entries, got 3 \(write \[tape\] on its own line\)",
    '[tape]\nunit = "cm"\nrign = 56': "unknown measurement 'rign': did you mean 'ring'",
    '[tape]\nunit = "cm"\nring = 35\npreauricular_arc = 36': "must be shorter than the 10 % ring",
    T + 'doubtful = "inion"': r'doubtful must be a list of landmarks, such as \["inion"\]',
    T + 'doubtful = ["ionion"]': "unknown landmark in doubtful 'ionion': did you mean 'inion'",
    T + "doubtful = [[1]]": "unknown landmark in doubtful",
    T + "[tape.spread]\nring = 9": "spread of 10 % ring must lie in 0 to 50 mm, got 90",
    T + "[tape.spread]\nring = [1, 2]": r"spread of 10 % ring must be one number, got \[1, 2\]",
    T + "[tape.spread]\nrign = 1": "unknown measurement 'rign'",
    T + "spread = 0.2": r"\[spread\] must be a table of entries, got 0.2",
    T + "[cas]": "unknown table 'cas': did you mean 'case'",
    T + "[case]\nlable = 'x'": r"unknown entry of \[case\] 'lable': did you mean 'label'",
    T + "[case]\nlabel = 3": r'label must be text in quotes, such as "...", got 3',
    T + f"[case]\nnote = '{'x' * 2001}'": r"note must be text in quotes.*x\.\.\.",
    T + "[case]\nage = 'old'": "unknown age 'old': ",
    T + "[case]\nage = 130": "unknown age in years 130: choose one of 0 to 120",
    T + "[case]\nage = nan": "unknown age in years nan",
    T + "[case]\nage = true": 'age must be a template age, text such as "6 months", or years',
    T + "[case]\nsex = 'f'": "unknown sex 'f': choose one of female, male",
    T + "[case]\nsystem = '10-01'": "unknown system '10-01': did you mean '10-20'",
    T + "[case]\nsystem = ['10-10']": "unknown system",
    T + "[case]\ninvented = 'yes'": "invented must be true or false, got 'yes'",
    T + "[rules]\ninner = 'rwo'": "unknown rule for inner 'rwo': did you mean 'row'",
    T + "[rules]\ninnner = 'row'": r"unknown entry of \[rules\] 'innner': did you mean 'inner'",
    T + "[rules]\ninner = 1": r"inner of \[rules\] must be text in quotes, got 1",
    T + "[shape]\nvault_2m2 = 1": "unknown shape mode 'vault_2m2': did you mean 'vault_2_m2'",
    T + "[shape]\nscale_x = 0.1": "unknown shape mode 'scale_x': choose one of vault_2_m2",
    T + "[shape]\nvault_3_2 = 7": r"vault_3_2 of \[shape\] \(keel from front to back\) must lie in "
    "-6 to 6 mm, got 7 mm",
    T + "[shape]\nvault_3_2 = 'x'": r"\(keel from front to back\) must be a finite number, got 'x'",
    T + "[shape]\nvault_3_2 = nan": "must be a finite number, got nan",
    "shape = 3\n" + T: r"\[shape\] must be a table of entries, got 3",
    T + "[marks]\nfile = 3": r"file of \[marks\] must be a path in quotes, such as \"marks.tsv\"",
    T + "[marks]\nfile = ''": r"file of \[marks\] must be a path in quotes",
    T + "[marks]\nfiles = 'x'": r"unknown entry of \[marks\] 'files': did you mean 'file'",
    T + "[marks]\nalign = 'best'": "unknown alignment 'best': did you mean 'best-fit'",
    T + "[derivations]\nsets = 'x'": r"unknown entry of \[derivations\] 'sets': did you mean 'set'",
    T + "[derivations]\nset = 4": "set must be text in quotes",
    "free = 3\n" + T: r"free must be tables that each begin with \[\[free\]\], got 3",
    "free = [3]\n" + T: r"free must be tables that each begin with \[\[free\]\]",
    FREE + "radius_mm = 3": "must name exactly one of site, point_mm, polygon_mm, got",
    FREE + "site = 'P3'\npoint_mm = [1, 2, 3]": "must name exactly one of site, point_mm",
    FREE + "site = 'P3'": r"a \[\[free\]\] place must give its radius_mm",
    FREE + "site = 'P33'\nradius_mm = 2": "unknown site 'P33'",
    FREE + "site = 'P3'\nradius_mm = 0": "must lie in 0 to 150 mm, got 0",
    FREE + "site = 'P3'\nradius_mm = 'big'": r"radius_mm of \[\[free\]\] must be a finite number",
    FREE + "site = 'P3'\nradius = 2": "'radius': did you mean 'radius_mm'",
    FREE + "point_mm = [1, 2]\nradius_mm = 2": r"\[x, y, z\] in mm, got \[1, 2\]",
    FREE + "polygon_mm = [[1, 2, 3]]": r"must be three or more points \[x, y, z\]",
    FREE + "polygon_mm = [[1,2,3],[1,2,3],[1,2]]": "a corner of polygon_mm must be three numbers",
    "[tape\nunit": r"a case file must be TOML, got expected .* \(line 1, column 6\)",
    "[tape]\nunit = 'cm'\nring = 36,0  # a comma": (
        r"the number in line 3 must be written with a decimal point, got 36,0 \(write 36\.0\)$"
    ),
    "[shape]\nvault_2_m2 =-1,5": r"line 2 must .*, got -1,5 \(write -1\.5\)$",
    "[case]\nlabel = 'at 36,0' x": r"a case file must be TOML, got expected newline",
    "a = 1\na = 2": r"a case file must be TOML, got cannot overwrite a value",
    "a = " + "[" * 5000: "be TOML that a person could have written",
    "a = " + "9" * 5000: "be TOML that a person could have written",
    "a = 2024-13-45": "a case file must be TOML",
}


@pytest.mark.parametrize("text", WRONG, ids=lambda text: repr(text)[-40:])
def test_what_is_wrong_is_said_in_one_sentence(tmp_path: Path, text: str) -> None:
    path = tmp_path / "case.toml"
    path.write_text(text or "# nothing\n")
    with pytest.raises(HeadfitError, match=WRONG[text]) as caught:
        read_case(path)
    said = str(caught.value)
    assert said.startswith("case.toml: ")
    assert "\n" not in said
    assert len(said) < 400


def test_every_measurement_of_the_sheet_may_stand_in_a_case() -> None:
    for name, kind in MEASUREMENTS.items():
        value = (kind.lowest_mm + kind.highest_mm) / 2
        text = f'[tape]\nunit = "mm"\n{name} = {value}'
        assert case_of_text(text, Path()).tape.values_mm == {name: value}


def test_a_case_may_name_a_reduced_array_or_list_its_own_sites() -> None:
    tape = '[tape]\nunit = "cm"\nring = 34.0\n'
    newborn = case_of_text(f'[case]\nage = "newborn"\nsystem = "newborn"\n{tape}', Path())
    # Common practice, no source: the reduced array of newborn recordings.
    assert newborn.array == ("Fp1", "Fp2", "T7", "C3", "Cz", "C4", "T8", "O1", "O2")
    own = case_of_text(f'[case]\nsites = ["Cz", "t3", "T7"]\n{tape}', Path())
    assert (own.array, own.system) == (("Cz", "T7"), "own list")
    assert case_of_text(case_text(own), Path()).array == own.array
    assert case_of_text(tape, Path()).array == "10-20"


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ("sites = []", 'sites of [case] must be a list of names, such as ["Fp1", "C3"], got []'),
        ('sites = ["X9"]', "unknown site 'X9'"),
        (
            'sites = ["Cz"]\nsystem = "10-20"',
            "[case] must name a system or list its sites, not both",
        ),
        ('system = "own list"', "unknown system 'own list'"),
    ],
)
def test_sites_that_cannot_be_are_one_sentence(entry: str, said: str) -> None:
    with pytest.raises(HeadfitError) as caught:
        case_of_text(f'[case]\n{entry}\n[tape]\nunit = "cm"\nring = 34.0', Path())
    assert said in str(caught.value)
