"""The error tree, and the sentences it speaks."""

import inspect

import pytest

from headfit import errors
from headfit.errors import HeadfitError, InputError, sentence, unknown_name

TREE = {
    "InputError": (HeadfitError, ValueError),
    "UnitError": (InputError,),
    "MeshError": (InputError,),
    "LandmarkError": (InputError,),
    "SheetError": (InputError,),
    "UnknownNameError": (InputError, KeyError),
    "MarksError": (InputError,),
    "FileFormatError": (InputError,),
    "ConvergenceError": (HeadfitError, ArithmeticError),
    "DrawingError": (HeadfitError, RuntimeError),
}


@pytest.mark.parametrize(("name", "bases"), TREE.items())
def test_an_error_is_ours_and_a_built_in(name: str, bases: tuple[type, ...]) -> None:
    kind = getattr(errors, name)
    assert kind.__bases__ == bases
    with pytest.raises(HeadfitError):
        raise kind("a sentence", code="some-code")


def test_the_tree_in_the_docstring_names_every_error() -> None:
    drawn = errors.__doc__ or ""
    for name, kind in inspect.getmembers(errors, inspect.isclass):
        if issubclass(kind, HeadfitError):
            assert name in drawn
            assert name in {*TREE, "HeadfitError"}


@pytest.mark.parametrize("name", TREE)
def test_an_error_reads_as_its_sentence_and_carries_its_facts(name: str) -> None:
    error = getattr(errors, name)("ring must be 1, got 2", code="ring-off", ring_mm=2.0)
    # A KeyError of the language would put its argument in quotes.
    assert str(error) == "ring must be 1, got 2"
    assert error.code == "ring-off"
    assert error.facts == {"ring_mm": 2.0}


def test_a_sentence_has_subject_must_got_and_hint() -> None:
    assert sentence("ring", "be 1", "2") == "ring must be 1, got 2"
    assert sentence("ring", "be 1", "2", "why?") == "ring must be 1, got 2 (why?)"


@pytest.mark.parametrize(
    ("given", "known", "expected"),
    [
        ("Fzz", ["Cz", "Fz"], "unknown site 'Fzz': did you mean 'Fz'?"),
        ("FP1", ["Fp1", "Fp2"], "unknown site 'FP1': did you mean 'Fp1'?"),
        (7, ["Cz", "Fz"], "unknown site 7: choose one of Cz, Fz"),
        (None, ["Cz"], "unknown site None: choose one of Cz"),
        (
            "?",
            [f"name{k}" for k in range(12)],
            "unknown site '?': choose one of " + ", ".join(f"name{k}" for k in range(12)),
        ),
        (
            "?",
            (f"name{k}" for k in range(13)),
            "unknown site '?': choose one of " + ", ".join(f"name{k}" for k in range(12)) + ", ...",
        ),
    ],
)
def test_an_unknown_name_comes_with_the_nearest_or_the_choice(
    given: object, known: list[str], expected: str
) -> None:
    error = unknown_name("site", given, known)
    assert str(error) == expected
    assert error.code == "unknown-name"
    assert error.facts == {"kind": "site", "name": given}
    assert isinstance(error, KeyError)
