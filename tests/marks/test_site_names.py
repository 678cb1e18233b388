"""Names as they arrive in shared files, read by the listed rules and by no others."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from headfit.anatomy.sites import TABLE
from headfit.marks.site_names import RULES, landmark_name, near_sites, read_name

SPELLINGS = {
    # Upper and lower case, old names, spaces: met in shared recordings.
    "FP1": ("Fp1", ("case",)),
    "CZ": ("Cz", ("case",)),
    "Afz": ("AFz", ("case",)),
    "T3": ("T7", ("old name",)),
    "t6": ("P8", ("old name",)),
    "O9": ("I1", ("same place",)),
    "EEG o10": ("I2", ("prefix", "same place")),
    " Cz ": ("Cz", ("space",)),
    "Fp 1": ("Fp1", ("space",)),
    "Fc5.": ("FC5", ("dot", "case")),
    "Cz..": ("Cz", ("dot",)),
    "EEG Fp1-REF": ("Fp1", ("prefix", "suffix")),
    "fp1-le": ("Fp1", ("suffix", "case")),
    "C3-A2": ("C3", ("suffix",)),
    "EEG_T3-LE": ("T7", ("prefix", "suffix", "old name")),
}


@pytest.mark.parametrize(("given_name", "expected"), SPELLINGS.items(), ids=list(SPELLINGS))
def test_a_known_way_of_writing_leads_to_the_site(
    given_name: str, expected: tuple[str, tuple[str, ...]]
) -> None:
    reading = read_name(given_name)
    assert (reading.kind, reading.name, reading.rules) == ("site", *expected)
    assert set(reading.rules) <= set(RULES)


@given(st.sampled_from(sorted(set(TABLE) - {"Nz", "Iz"})))
def test_every_declared_spelling_is_itself_without_any_rule(name: str) -> None:
    reading = read_name(name)
    assert (reading.kind, reading.name, reading.rules) == ("site", name, ())


@given(st.sampled_from(sorted(set(TABLE) - {"Nz", "Iz"})), st.integers(0, 2**32 - 1))
def test_case_never_decides(name: str, bits: int) -> None:
    mixed = "".join(c.upper() if bits >> i & 1 else c.lower() for i, c in enumerate(name))
    assert read_name(mixed).name == name


@pytest.mark.parametrize("name", ["Fp1-F7", "EEG001", "A17", "E12", "12", "Fzz", "EEG", "C3-C4"])
def test_a_name_that_no_rule_leads_to_a_site_stays_what_it_is(name: str) -> None:
    assert (read_name(name).kind, read_name(name).name) == ("other", name)


@pytest.mark.parametrize(
    "name", ["EOG", "leog", "VEOGL", "HEOG", "EOG1", "ECG", "EKG1", "STI101", "TRIGGER", "Status"]
)
def test_channels_of_eye_heart_and_trigger_are_not_on_the_scalp(name: str) -> None:
    assert read_name(name).kind == "not scalp"


@pytest.mark.parametrize("name", ["Nasion", "NAS", "nz", "Nz", "FidNz"])
def test_nasion_is_known_under_its_spellings(name: str) -> None:
    assert landmark_name(name) == "nasion"
    assert read_name(name).kind == "landmark"


def test_the_other_landmarks_are_known_in_any_case() -> None:
    keys = {
        "LPA": "left_preauricular",
        "rpa": "right_preauricular",
        "Inion": "inion",
        "Iz": "inion",
    }
    assert {key: landmark_name(key) for key in keys} == keys
    assert landmark_name("coil1") is None


def test_a_row_called_iz_is_a_mark_on_the_cap_and_a_key_called_iz_the_inion() -> None:
    # Caps of one person hold their Iz 4 to 9 mm apart in height (OpenNeuro ds004024).
    assert (read_name("Iz").kind, read_name("IZ").name) == ("site", "Iz")
    assert read_name("INI").kind == read_name("inion").kind == "landmark"
    assert landmark_name("Iz") == "inion"


@pytest.mark.parametrize("name", ["", "  ", "''"])
def test_a_blank_is_a_blank(name: str) -> None:
    assert read_name(name).kind == "blank"


@given(st.text(max_size=30))
def test_any_text_is_read_as_something(text: str) -> None:
    reading = read_name(text)
    assert reading.given == text
    if reading.kind == "site":
        assert reading.name in TABLE


def test_one_slip_of_the_key_is_told_and_not_followed() -> None:
    assert "Fz" in near_sites("Fzz")
    assert near_sites("C3x") == ("C3", "C3h")
    assert near_sites("zF") == ("Fz",)
    # Not one slip away: what these names mean lies there (common practice, no source).
    assert [near_sites(name) for name in ("T1", "t2", "FP3", "Fp4")] == [
        ("FT9",),
        ("FT10",),
        ("AF3",),
        ("AF4",),
    ]
    assert near_sites("EEG001") == ()
    assert near_sites("EEG channel 1") == ()
    assert read_name("C3x").kind == "other"


def test_quotes_around_a_name_go_and_a_prime_behind_it_stays() -> None:
    """F7' is by common practice, no source, a place beside F7 and not F7."""
    assert read_name("'F7'").name == "F7"
    for primed in ("F7'", "F7''", 'F7"', "'F7"):
        assert (read_name(primed).kind, read_name(primed).name) == ("other", primed)
