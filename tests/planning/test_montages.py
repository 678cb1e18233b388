"""Montages: the rules of ACNS Guideline 3 (2016) hold for the shipped lists; own lists are read."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from solids import SPHERE_A

from headfit.anatomy.arcs import mirrored
from headfit.anatomy.sites import SYSTEMS, TABLE
from headfit.errors import FileFormatError, HeadfitError, InputError, UnknownNameError
from headfit.planning.montages import (
    Chain,
    Derivation,
    Montage,
    array_names,
    array_sites,
    montage_from_csv,
    montages_from_tables,
    site_list_from_text,
    standard_montages,
)

STANDARD = standard_montages()
X, Y = 0, 1
PLACE = SPHERE_A.sites


def names_of(chain: Chain) -> list[str]:
    return [derivation.name for derivation in chain.derivations]


# ACNS Guideline 3 (2016): 18 channels of the longitudinal and of the transverse bipolar montage.
def test_the_bipolar_montages_have_eighteen_channels() -> None:
    for name in ("longitudinal", "transverse"):
        assert sum(len(chain.derivations) for chain in STANDARD[name].chains) == 18


@pytest.mark.parametrize(
    "name",
    [
        "longitudinal",
        "transverse",
        "circumferential",
        "inferior-temporal",
        "newborn",
        "newborn-fp3",
        "newborn-midline",
    ],
)
def test_bipolar_chains_run_on_without_a_break(name: str) -> None:
    for chain in STANDARD[name].chains:
        ends = [d.second for d in chain.derivations[:-1]]
        assert ends == [d.first for d in chain.derivations[1:]]
        assert len(ends) >= 1


# ACNS Guideline 3 (2016): anterior above posterior, left above right.
@pytest.mark.parametrize("name", ["longitudinal", "inferior-temporal"])
def test_longitudinal_chains_run_from_front_to_back_and_left_comes_first(name: str) -> None:
    chains = STANDARD[name].chains
    for chain in chains:
        along = [PLACE[d.first][Y] for d in chain.derivations]
        along.append(PLACE[chain.derivations[-1].second][Y])
        assert along == sorted(along, reverse=True)
    across = [sum(PLACE[d.first][X] for d in chain.derivations) for chain in chains]
    assert across == sorted(across)


def test_transverse_chains_run_from_left_to_right_and_the_front_comes_first() -> None:
    chains = STANDARD["transverse"].chains
    for chain in chains:
        across = [PLACE[d.first][X] for d in chain.derivations]
        across.append(PLACE[chain.derivations[-1].second][X])
        assert across == sorted(across)
    along = [sum(PLACE[d.first][Y] for d in c.derivations) / len(c.derivations) for c in chains]
    assert along == sorted(along, reverse=True)


@pytest.mark.parametrize("name", list(STANDARD))
def test_every_derivation_is_there_on_the_other_side_too(name: str) -> None:
    pairs = {frozenset((d.first, d.second)) for c in STANDARD[name].chains for d in c.derivations}
    # The midline goes to the left ear only: a choice of the list, said in its source.
    pairs -= {pair for pair in pairs if pair & {"Fz", "Cz", "Pz"} and pair & {"A1"}}
    assert pairs
    assert {frozenset(mirrored(site) for site in pair) for pair in pairs} == pairs


# ACNS Guideline 3 (2016): beside the ears, Cz and the average serve as references.
@pytest.mark.parametrize(("name", "reference"), [("referential-cz", "Cz"), ("average", "AV")])
def test_every_other_scalp_site_stands_once_against_one_reference(
    name: str, reference: str
) -> None:
    derivations = [d for chain in STANDARD[name].chains for d in chain.derivations]
    assert {d.second for d in derivations} == {reference}
    against = [d.first for d in derivations]
    assert len(against) == len(set(against))
    assert set(against) == set(SYSTEMS["10-20"]) - {"A1", "A2", reference}
    assert not any(chain.even for chain in STANDARD[name].chains)


# ACNS Guideline 3 (2016): left above right in alternating pairs of derivations, or in blocks.
def test_the_alternating_montage_holds_what_the_one_in_blocks_holds_left_before_right() -> None:
    blocks, turns = (
        [d for chain in STANDARD[name].chains for d in chain.derivations]
        for name in ("referential", "referential-alternating")
    )
    assert sorted(d.name for d in turns) == sorted(d.name for d in blocks)
    lateral = [d for d in turns if not d.first.endswith("z")]
    for left, right in zip(lateral[::2], lateral[1::2], strict=True):
        assert PLACE[left.first][X] < 0
        assert (mirrored(left.first), mirrored(left.second)) == (right.first, right.second)


def test_each_list_tells_where_it_comes_from_and_what_is_from_memory() -> None:
    for montage in STANDARD.values():
        known = ("list from memory", "common practice, no source", "Seeck", "own choice")
        assert any(word in montage.source for word in known), montage.name


def test_the_average_is_no_site_and_is_written_in_any_case() -> None:
    assert Derivation.from_text("fp1-av") == Derivation("Fp1", "AV")
    assert Derivation("Fp1", "AV").sites == ("Fp1",)
    assert "AV" not in STANDARD["average"].sites
    with pytest.raises(UnknownNameError, match="unknown site 'AV'"):
        Derivation("AV", "Fp1")


def test_the_ear_of_a_reference_is_on_the_side_of_its_site() -> None:
    left, _, right = STANDARD["referential"].chains
    assert {d.second for d in left.derivations} == {"A1"}
    assert {d.second for d in right.derivations} == {"A2"}
    assert all(PLACE[d.first][X] < 0 for d in left.derivations)
    assert all(PLACE[d.first][X] > 0 for d in right.derivations)


def test_longitudinal_and_referential_use_all_sites_of_10_20() -> None:
    used = set(STANDARD["longitudinal"].sites) | set(STANDARD["referential"].sites)
    assert used == set(SYSTEMS["10-20"])


def test_named_arrays_hold_declared_sites_and_are_mirror_images() -> None:
    assert {"newborn", "10-20"} <= set(array_names())
    for name in array_names():
        sites = array_sites(name)
        assert set(sites) <= set(TABLE)
        assert len(sites) == len(set(sites)) >= 9
        assert {mirrored(site) for site in sites} == set(sites)


def test_newborn_arrays_differ_by_what_local_practice_adds_or_moves() -> None:
    """Common practice, no source: ears, the midline, Fp3 and Fp4 (AF3, AF4) to spare the skin."""
    plain = set(array_sites("newborn"))
    assert set(array_sites("newborn-ears")) - plain == {"A1", "A2"}
    assert set(array_sites("newborn-midline")) - plain == {"Fz", "Pz"}
    spared = set(array_sites("newborn-fp3"))
    assert (spared - plain, plain - spared) == ({"AF3", "AF4"}, {"Fp1", "Fp2"})
    for name in ("newborn", "newborn-midline", "newborn-fp3"):
        assert set(STANDARD[name].sites) == set(array_sites(name))


def test_an_unknown_array_is_one_sentence() -> None:
    with pytest.raises(UnknownNameError, match="unknown set of sites 'new-born': did you mean"):
        array_sites("new-born")


def test_a_derivation_to_itself_is_one_sentence() -> None:
    with pytest.raises(InputError, match="must join two different sites, got T7-T7"):
        Derivation("T7", "T3")


def test_an_unknown_site_is_one_sentence() -> None:
    with pytest.raises(UnknownNameError, match="unknown site 'Fp9': did you mean"):
        Derivation("Fp9", "Cz")


@pytest.mark.parametrize("text", ["Fp1-F7", "fp1 – f7", "Fp1/F7", " FP1   F7 "])
def test_a_derivation_is_read_however_it_is_joined(text: str) -> None:
    assert Derivation.from_text(text) == Derivation("Fp1", "F7")


def test_one_or_three_names_make_no_derivation() -> None:
    for text in ("Fp1", "Fp1-F7-T7", ""):
        with pytest.raises(InputError, match="a derivation must be two sites such as Fp1-F7, got"):
            Derivation.from_text(text)


def test_a_chain_needs_two_sites() -> None:
    with pytest.raises(InputError, match="chain 'x' must run through at least two sites, got 1"):
        Chain.through("x", ["Cz"])


@pytest.mark.parametrize(
    "text",
    [
        "chain,first,second\nleft,Fp1,F7\nleft,F7,T3\nright,Fp2,F8\n",
        "\ufeffFirst;Second;Chain\r\nFp1;F7;left\r\n;;\r\nF7;T7;left\r\nFp2;F8;right\r\n",
        "chain\tderivation\nleft\tFp1-F7\nleft\tF7-T7\nright\tFp2-F8",
    ],
)
def test_a_csv_list_is_read_in_every_usual_form(text: str) -> None:
    montage = montage_from_csv(text, "night")
    assert montage.name == "night"
    assert [(c.name, names_of(c)) for c in montage.chains] == [
        ("left", ["Fp1-F7", "F7-T7"]),
        ("right", ["Fp2-F8"]),
    ]


@pytest.mark.parametrize(
    ("text", "kind", "message"),
    [
        ("a,b\nFp1,F7", FileFormatError, "the columns first and second, or derivation, got others"),
        ("first,b\nFp1,F7", FileFormatError, "second, or derivation, got 'first,b'"),
        ("", FileFormatError, "must name the columns"),
        ("first,second\n", FileFormatError, "must hold at least one row, got none"),
        ("first,second\nFp1,F7\nF7,F7", InputError, "row 3: a derivation must join two different"),
        ("derivation\nFp1-Q7", UnknownNameError, "row 2: unknown site 'Q7'"),
    ],
)
def test_a_bad_csv_list_is_one_sentence(text: str, kind: type[Exception], message: str) -> None:
    with pytest.raises(kind, match=message):
        montage_from_csv(text)


def test_toml_tables_make_a_montage() -> None:
    tables = [
        {
            "name": "n",
            "title": "Night",
            "source": "ours",
            "even": False,
            "chains": [
                {"name": "a", "sites": ["Fp1", "T3", "O1"]},
                {"name": "b", "derivations": ["C3-A2"]},
            ],
        }
    ]
    (montage,) = montages_from_tables(tables)
    assert montage == Montage(
        "n",
        "Night",
        (
            Chain("a", (Derivation("Fp1", "T7"), Derivation("T7", "O1")), even=False),
            Chain("b", (Derivation("C3", "A2"),), even=False),
        ),
        "ours",
    )


@pytest.mark.parametrize(
    ("tables", "message"),
    [
        ({}, "montage must be a list of tables, got {}"),
        ([], "montage must be a list of at least one table"),
        ([{"name": "n"}], "montage 1 must have 'chains', got 'name'"),
        ([{"name": "", "chains": [{}]}], "name of montage 1 must be a word, got ''"),
        ([{"name": "n", "chains": [{}]}], "a chain of montage 'n' must have 'name', got nothing"),
        ([{"name": "n", "chains": [{"name": "a", "sites": "Cz"}]}], "must be a list of names"),
        ([{"name": "n", "chains": [{"name": "a", "sites": []}]}], "must be a list of names"),
        ([{"name": "n", "chainz": [], "chains": []}], "unknown key of montage 1 'chainz': did you"),
    ],
)
def test_bad_tables_are_one_sentence(tables: object, message: str) -> None:
    with pytest.raises(InputError, match=message):
        montages_from_tables(tables)


def test_a_site_list_is_read_with_notes_and_old_names() -> None:
    assert site_list_from_text("Fp1; T3\nT7 # again\n\n cz,") == ("Fp1", "T7", "Cz")
    with pytest.raises(FileFormatError, match="must name at least one site, got an empty list"):
        site_list_from_text("# nothing\n")
    with pytest.raises(UnknownNameError, match="unknown site 'X1'"):
        site_list_from_text("Cz X1")


@given(st.text() | st.text(alphabet="Fp1CzT3,;\t\n-\"' firstsecond"))
def test_any_text_is_a_montage_or_a_sentence(text: str) -> None:
    for read in (montage_from_csv, site_list_from_text):
        found: Montage | tuple[str, ...] | None = None
        with contextlib.suppress(HeadfitError):  # anything else is a crash
            found = read(text)
        if found is not None:
            sites = found.sites if isinstance(found, Montage) else found
            assert sites
            assert set(sites) <= set(TABLE)
