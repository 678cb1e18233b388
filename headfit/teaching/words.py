"""The words a lesson may use, and what each of them takes: numbers, figures, drags, cameras.

Light, and nothing is computed here: a lesson is held against these words when it is read. A *kind*
is what stands after a word: an arc, a site, a landmark.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from headfit.anatomy.arcs import ARCS
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import SYSTEMS, canonical_name
from headfit.errors import InputError, sentence, unknown_name
from headfit.planning.montages import Derivation
from headfit.teaching.lesson import Drag, Option, View
from headfit.teaching.slips import WAYS
from headfit.units import is_finite

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
# Wider than any slip a class should be shown; the skin of a small head ends beyond.
FARTHEST_PUSH_MM = 30.0


@dataclass(frozen=True)
class Word:
    """A word of a lesson: the kinds of what stands after it, and what it means, one line."""

    takes: tuple[str, ...]
    means: str


_SLIP = ("landmark", "way", "millimetres")

# Numbers in braces. Each is computed by the function of its name in numbers.py.
NUMBERS: dict[str, Word] = {
    "length": Word(("arc",), "tape on an arc, the reading where there is one"),
    "half": Word(("arc",), "half of it"),
    "share": Word(("arc", "percent"), "so many per cent of it"),
    "at": Word(("site",), "tape from the start of its arc to a site"),
    "apart": Word(("site", "site"), "tape over the scalp from one site to another"),
    "sites": Word(("system",), "how many sites a system has"),
    "saved": Word(("arc",), "how much longer the skin is than a taut tape"),
    "below": Word(("site",), "how far below the level plane through Fpz and Oz"),
    "gap": Word(("site", "inner", "inner"), "how far apart two rules for F3 put a site"),
    "moved": Word(("site", *_SLIP), "how far a site goes when a landmark is missed"),
    "mean-moved": Word(_SLIP, "the mean of that over 27 sites"),
    "most-moved": Word(_SLIP, "the largest of them"),
    "farthest": Word(_SLIP, "the site that goes farthest, by name"),
    "slack": Word(("site", "millimetres"), "how far a site goes when the midline tape was slack"),
    "brow": Word(("site", "millimetres"), "how far it goes when the ring ran below Fpz"),
    "wander": Word(("site",), "how far it lies off on heads of the same tapes, at most"),
    "most-wandering": Word((), "the site that wanders farthest, by name"),
    "doubt": Word(("landmark",), "one standard deviation of guesses at a landmark"),
    "scatter": Word(("site", "landmark"), "how far a site is off by the worst of 20 guesses"),
    "goes": Word(("site",), "where a site goes beside the places of the lesson"),
    "was": Word(("derivation",), "length of a derivation before sites moved"),
    "becomes": Word(("derivation",), "its length now"),
    "most-changed": Word((), "the derivation that changes most, by name"),
}

# Lines of `show`; "sites" stands for names of sites and systems.
FIGURES: dict[str, Word] = {
    "tape": Word(("arc",), "a tape, in the first colour"),
    "other": Word(("arc",), "a tape, in the second colour"),
    "thin": Word(("arc",), "an arc, thin"),
    "plane": Word(("site", "site"), "the skin level with two sites of the midline, all round"),
    "sites": Word(("sites",), "sites with their names"),
    "strokes": Word(("sites",), "the same as strokes of a pen"),
    "rings": Word(("sites",), "95 % rings of sites of 10-20"),
    "landmarks": Word((), "the four landmarks"),
    "places": Word((), "places of the lesson that must stay free"),
}


@dataclass(frozen=True)
class DragKind:
    """A kind of drag: what it does, its options with the kind of each, and which must be there."""

    means: str
    options: dict[str, str]
    needed: tuple[str, ...] = ()


_STOPS = {"from_mm": "millimetres", "to_mm": "millimetres", "start_mm": "millimetres"}
DRAGS: dict[str, DragKind] = {
    "pull": DragKind("pull the tape along arcs", {"arcs": "arcs"}, ("arcs",)),
    "push": DragKind(
        "push a landmark off its place",
        {"landmark": "landmark", "way": "way", **_STOPS},
        ("landmark", "way"),
    ),
    "slack": DragKind(
        "slacken the tape from nasion to inion", {"to_mm": "millimetres", "start_mm": "millimetres"}
    ),
    "brow": DragKind(
        "let the ring slip below Fpz", {"to_mm": "millimetres", "start_mm": "millimetres"}
    ),
    "balance": DragKind("push Cz until both arcs are halved", {}),
    "rule": DragKind("choose the rule for F3 and its like", {}),
    "length": DragKind("a taut tape, or one along the skin", {"arc": "arc"}, ("arc",)),
    "system": DragKind("10-20, 10-10, 10-5", {}),
    "peel": DragKind("show one group of sites after the other", {"groups": "texts"}, ("groups",)),
    "heads": DragKind("walk through heads of the same tapes", {}),
    "guesses": DragKind(
        "one guess at a landmark after the other", {"landmark": "landmark"}, ("landmark",)
    ),
    "finger": DragKind("slide a finger up a schematic profile", {"knob": "truth"}, ("knob",)),
    "exchange": DragKind("find two exchanged marks by distances", {}),
    "wound": DragKind(
        "choose how large a wound is", {"site": "site", "radii_mm": "numbers"}, ("site", "radii_mm")
    ),
}

_DIRECTIONS = {
    "left": (-1.0, 0.0, 0.0),
    "right": (1.0, 0.0, 0.0),
    "front": (0.0, 1.0, 0.0),
    "back": (0.0, -1.0, 0.0),
    "above": (0.0, 0.0, 0.7),
    "below": (0.0, 0.0, -0.4),
    "top": (0.0, -0.02, 1.0),
}


def direction(words: str) -> tuple[float, float, float]:
    """From the head to the camera, head frame, any length: the sum of the named directions.

    Raises
    ------
    InputError
        No words, or one nobody declared.

    >>> direction("left above")
    (-1.0, 0.0, 0.7)
    """
    said = words.split()
    if not said:
        raise InputError(
            sentence(
                "camera",
                "tell where it stands",
                "nothing",
                f"one or more of {', '.join(_DIRECTIONS)}, such as front left above",
            ),
            code="lesson-camera",
        )
    for word in said:
        if word not in _DIRECTIONS:
            raise unknown_name("direction of a camera", word[:40], _DIRECTIONS)
    x, y, z = (sum(_DIRECTIONS[word][axis] for word in said) for axis in range(3))
    if abs(x) + abs(y) + abs(z) < 1e-9:
        raise unknown_name("direction of a camera", words[:40], _DIRECTIONS)
    return x, y, z


def sites_named(names: Sequence[str]) -> tuple[str, ...]:
    """The sites that are named, as they are declared; the name of a system stands for all of its.

    Raises
    ------
    UnknownNameError
    """
    each = (SYSTEMS.get(name) or (canonical_name(name),) for name in names)
    return tuple(dict.fromkeys(site for sites in each for site in sites))


def _one_of(kind: str, known: Sequence[str]) -> Callable[[str], str]:
    def checked(word: str) -> str:
        if word not in known:
            raise unknown_name(kind, str(word)[:40], known)
        return word

    return checked


def _number(word: object, what: str, low: float, high: float) -> float:
    try:
        value = float(word)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):  # a whole number of hundreds of digits
        value = float("nan")
    if not is_finite(value) or not low <= value <= high:
        raise InputError(
            sentence(what, f"be a number from {low:g} to {high:g}", repr(word)[:40]),
            code="lesson-entry",
        )
    return value


def _derivation(word: str) -> str:
    pair = Derivation.from_text(word)
    return pair.name


KINDS: dict[str, Callable[[str], object]] = {
    "arc": _one_of("arc", tuple(ARCS)),
    "site": canonical_name,
    "landmark": _one_of("landmark", LANDMARK_NAMES),
    "way": _one_of("way", tuple(WAYS)),
    "system": _one_of("system", tuple(SYSTEMS)),
    "inner": _one_of("rule for inner", ("row", "parasagittal", "crossing")),
    "percent": lambda word: _number(word, "percent", 0.0, 100.0),
    "millimetres": lambda word: _number(
        word, "millimetres of a slip", -FARTHEST_PUSH_MM, FARTHEST_PUSH_MM
    ),
    "derivation": _derivation,
}


def taken(kinds: Sequence[str], words: Sequence[str], what: str) -> tuple[object, ...]:
    """What stands after a word, each held against its kind; names of arcs may have spaces.

    Raises
    ------
    InputError
        Too few or too many, or one that nobody declared.
    """
    if kinds == ("sites",):
        if not words:
            raise InputError(sentence(what, "name sites", "none"), code="lesson-number")
        return sites_named(words)
    given = list(words)
    if "arc" in kinds:  # of several words: the rest has one word each
        at, n_words = kinds.index("arc"), len(words) - len(kinds) + 1
        if n_words > 1:
            given[at : at + n_words] = [" ".join(given[at : at + n_words])]
    if len(given) != len(kinds):
        raise InputError(
            sentence(
                what, f"be followed by {', '.join(kinds) or 'nothing'}", f"{len(given)} words"
            ),
            code="lesson-number",
        )
    return tuple(KINDS[kind](word) for kind, word in zip(kinds, given, strict=True))


def number_asked(inside: str) -> tuple[str, tuple[object, ...]]:
    """The word of a placeholder and what it takes.

    Raises
    ------
    InputError
        No such number, or not of that.

    >>> number_asked("length left ring")
    ('length', ('left ring',))
    """
    word, *rest = inside.split() or [""]
    if word not in NUMBERS:
        raise unknown_name("number in braces", word[:40], NUMBERS)
    return word, taken(NUMBERS[word].takes, rest, f"'{{{inside[:40]}}}'")


def figure_asked(line: str) -> tuple[str, tuple[object, ...]]:
    """The word of a figure and what it takes.

    Raises
    ------
    InputError
        No such figure, or not of that.

    >>> figure_asked("sites fz T3")
    ('sites', ('Fz', 'T7'))
    """
    word, *rest = line.split() or [""]
    if word not in FIGURES:
        raise unknown_name("figure", word[:40], FIGURES)
    return word, taken(FIGURES[word].takes, rest, f"{line[:40]!r}")


def check_text(text: str) -> str:
    """The text, after all its placeholders were found to be numbers that can be asked for.

    Raises
    ------
    InputError
    """
    bare = PLACEHOLDER.sub("", text)
    if "{" in bare or "}" in bare:
        raise InputError(
            sentence(
                "a number in a text",
                "stand in one pair of braces",
                repr(text[:60]),
                "such as {length midline}",
            ),
            code="lesson-number",
        )
    for inside in PLACEHOLDER.findall(text):
        number_asked(inside)
    return text


def check_drag(drag: Drag) -> Drag:
    """The drag, its options held against its kind.

    Raises
    ------
    InputError
    """
    if drag.kind not in DRAGS:
        raise unknown_name("kind of drag", drag.kind[:40], DRAGS)
    kind = DRAGS[drag.kind]
    for name in drag.options:
        if name not in kind.options:
            raise unknown_name(f"option of the drag {drag.kind}", name[:40], kind.options)
    for name in kind.needed:
        if name not in drag.options:
            raise InputError(
                sentence(f"the drag {drag.kind}", f"have the option {name}", "none"),
                code="lesson-entry",
            )
    return Drag(
        drag.kind, {name: _option(kind.options[name], name, v) for name, v in drag.options.items()}
    )


def _option(kind: str, name: str, value: Option) -> Option:
    if kind == "truth" and isinstance(value, bool):
        return value
    if kind == "arcs" and isinstance(value, tuple) and value:
        return tuple(str(KINDS["arc"](str(arc))) for arc in value)
    if kind == "texts" and isinstance(value, tuple) and value:
        for group in value:
            taken(("sites",), str(group).partition(":")[2].split(), f"the group {group!r:.40}")
        return tuple(map(str, value))
    if kind == "numbers" and isinstance(value, tuple) and 1 < len(value) <= 12:
        return tuple(_number(each, name, 1.0, 60.0) for each in value)
    if kind in KINDS and isinstance(value, str | int | float) and not isinstance(value, bool):
        made = KINDS[kind](value)  # type: ignore[arg-type]
        if isinstance(made, str | float):
            return made
    raise InputError(
        sentence(f"the option {name} of a drag", f"be {kind}", repr(value)[:60]),
        code="lesson-entry",
    )


def check_view(view: View) -> View:
    """The view, its words, middle and size held against what there is.

    Raises
    ------
    InputError
    """
    direction(view.words)
    if view.look_at and view.look_at not in LANDMARK_NAMES:
        canonical_name(view.look_at)
    _number(view.closer, "closer", 0.5, 6.0)
    return view
