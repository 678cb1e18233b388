"""The numbers in the texts of a lesson, computed on the head in use.

One function a word of `headfit.teaching.words.NUMBERS`; lengths on a tape in the unit of the
case, as a tape is read; how far a site goes in whole millimetres.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from headfit.anatomy.sites import SYSTEMS
from headfit.errors import HeadfitError, InputError
from headfit.teaching.bench import Bench
from headfit.teaching.words import PLACEHOLDER, number_asked
from headfit.units import tape_length

Piece = tuple[str, bool]


def in_mm(length_mm: float) -> str:
    """Whole millimetres with their unit; less than one to the tenth.

    >>> in_mm(9.04), in_mm(0.34), in_mm(0.02)
    ('9 mm', '0.3 mm', '0 mm')
    """
    return f"{length_mm:.0f} mm" if not 0.05 <= abs(length_mm) < 0.95 else f"{length_mm:.1f} mm"


def _mean(moves: dict[str, float]) -> float:
    return sum(moves.values()) / len(moves)


def _most_wandering(bench: Bench) -> str:
    return max(bench.same_tapes.sites[0].names, key=bench.wander_mm)


def _goes(bench: Bench, site: str) -> str:
    for move in bench.displacement.moves:
        if move.site == site:
            short = f"{tape_length(move.moved_mm)} toward {move.toward}"
            return f"to {move.toward}, {tape_length(move.moved_mm)} away" if move.named else short
    return "nowhere" if site in bench.displacement.left_out else "not at all"


def _becomes(bench: Bench, name: str) -> str:
    return (
        "lost"
        if name in bench.derivations.missing
        else tape_length(bench.derivations[name].length_mm)
    )


def _was(bench: Bench, name: str) -> str:
    return tape_length(bench.apart_mm(*name.split("-")))


def _most_changed(bench: Bench) -> str:
    found = bench.derivations.derivations
    return max(found, key=lambda each: abs(each.change_mm)).name


_COMPUTED: dict[str, Callable[..., str]] = {
    "length": lambda bench, arc: tape_length(bench.tape(arc).length_mm),
    "half": lambda bench, arc: tape_length(bench.tape(arc).length_mm / 2),
    "share": lambda bench, arc, percent: tape_length(bench.tape(arc).length_mm * percent / 100),
    "at": lambda bench, site: tape_length(bench.at_mm(site)),
    "apart": lambda bench, one, other: tape_length(bench.apart_mm(one, other)),
    "sites": lambda _bench, system: str(len(SYSTEMS[system])),
    "saved": lambda bench, arc: in_mm(bench.saved_mm(arc)),
    "below": lambda bench, site: in_mm(bench.below_mm(site)),
    "gap": lambda bench, site, one, other: in_mm(bench.gap_mm(site, one, other)),
    "moved": lambda bench, site, *push: in_mm(bench.push_moves(*push)[site]),
    "mean-moved": lambda bench, *push: in_mm(_mean(bench.push_moves(*push))),
    "most-moved": lambda bench, *push: in_mm(max(bench.push_moves(*push).values())),
    "farthest": lambda bench, *push: max(
        (moves := bench.push_moves(*push)), key=lambda name: moves[name]
    ),
    "slack": lambda bench, site, slack: in_mm(bench.slack_moves(slack)[site]),
    "brow": lambda bench, site, lower: in_mm(bench.brow_moves(lower)[site]),
    "wander": lambda bench, site: in_mm(bench.wander_mm(site)),
    "most-wandering": _most_wandering,
    "doubt": lambda bench, landmark: in_mm(bench.doubt_mm(landmark)[0]),
    "scatter": lambda bench, site, landmark: in_mm(bench.scatter_mm(site, landmark)),
    "goes": _goes,
    "was": _was,
    "becomes": _becomes,
    "most-changed": _most_changed,
}


def number(bench: Bench, inside: str) -> str:
    """What a placeholder stands for on this head.

    Raises
    ------
    InputError
        It cannot be computed on this head; the sentence tells which.
    """
    word, given = number_asked(inside)
    compute: Any = _COMPUTED[word]
    try:
        found: str = compute(bench, *given)
    except KeyError as error:
        raise InputError(
            f"{{{inside[:60]}}} cannot be computed: {error} is not told of it", code="lesson-number"
        ) from None
    except HeadfitError as error:
        raise InputError(
            f"{{{inside[:60]}}} cannot be computed on this head: {error}", code="lesson-number"
        ) from error
    return found


def filled(bench: Bench, text: str) -> tuple[Piece, ...]:
    """A text in pieces, and which of them were computed.

    Raises
    ------
    InputError
        A number cannot be computed on this head.
    """
    pieces: list[Piece] = []
    at = 0
    for found in PLACEHOLDER.finditer(text):
        pieces.append((text[at : found.start()], False))
        pieces.append((number(bench, found[1]), True))
        at = found.end()
    pieces.append((text[at:], False))
    return tuple(piece for piece in pieces if piece[0])


def in_one(pieces: tuple[Piece, ...]) -> str:
    """The pieces as one text."""
    return "".join(words for words, _ in pieces)
