"""Directions on a head in words that can be followed at the chair.

Head frame: +x to the right ear, +y to the nose, +z up. Lengths in millimetres, turns in degrees.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from headfit.geometry.mesh import Floats

# Along each axis of the head frame, forwards and backwards.
_WORDS = (("to the right", "to the left"), ("toward the nose", "toward the back"), ("up", "down"))

WordPair = tuple[str, str]


def word_pairs(along: Floats, across: Floats) -> tuple[WordPair, WordPair]:
    """Words for going forwards and backwards along two directions; never the same twice.

    Parameters
    ----------
    along, across : (3,) float64
        Directions in the head frame.

    >>> word_pairs(np.array([0, -1.0, 0]), np.array([1.0, 0, 0]))[0]
    ('toward the back', 'toward the nose')
    """
    clearness = np.add.outer(np.abs(along), np.abs(across))
    np.fill_diagonal(clearness, -1.0)
    chosen = np.unravel_index(int(clearness.argmax()), clearness.shape)
    pairs = []
    for direction, axis in ((along, int(chosen[0])), (across, int(chosen[1]))):
        ahead, behind = _WORDS[axis]
        pairs.append((ahead, behind) if direction[axis] >= 0 else (behind, ahead))
    return pairs[0], pairs[1]


def step(length_mm: float, words: WordPair) -> str:
    """A signed length with its word, or nothing when it rounds to no millimetre.

    >>> step(-3.8, ("up", "down")), step(0.3, ("up", "down"))
    ('4 mm down', '')
    """
    rounded = round(abs(length_mm))
    return f"{rounded} mm {words[0] if length_mm > 0 else words[1]}" if rounded else ""


def joined(parts: Iterable[str]) -> str:
    """Parts in one phrase; empty ones are left out.

    >>> joined(["a", "", "b", "c"]), joined(["a", "b"]), joined([])
    ('a, b and c', 'a and b', '')
    """
    said = [part for part in parts if part]
    return " and ".join([", ".join(said[:-1]), said[-1]] if len(said) > 1 else said)


def phrase(lengths_mm: tuple[float, float], words: tuple[WordPair, WordPair]) -> str:
    """Two signed lengths in one phrase, the larger first.

    >>> phrase((2.2, -4.1), (("up", "down"), ("toward the nose", "toward the back")))
    '4 mm toward the back and 2 mm up'
    """
    steps = [
        step(length, pair)
        for length, pair in sorted(zip(lengths_mm, words, strict=True), key=lambda p: -abs(p[0]))
    ]
    return joined(steps) or "less than 1 mm away"


def slide_in_words(slide_mm: Floats, least_mm: Floats) -> str:
    """A shift in the head frame in words; parts below their `least_mm` (3,) are not worth saying.

    >>> slide_in_words(np.array([0.2, -6.0, 1.4]), np.array([1.0, 1.0, 2.0]))
    '6 mm toward the back'
    """
    order = np.argsort(-np.abs(slide_mm))
    said = [step(float(slide_mm[k]), _WORDS[k]) for k in order if abs(slide_mm[k]) >= least_mm[k]]
    return joined(said)


# Positive turns about +x, +y, +z by the right-hand rule: front up, top to the right, nose left.
_TURNS = (
    ("tilted up in front by {}", "tilted down in front by {}"),
    ("leaning {} to the right", "leaning {} to the left"),
    ("turned {} to the left", "turned {} to the right"),
)


def turn_in_words(turn_degrees: Floats, least_degrees: Floats) -> str:
    """A rotation (pitch, roll, yaw in the head frame) in words.

    >>> turn_in_words(np.array([0.1, 0.0, 2.1]), np.array([0.5, 0.5, 0.5]))
    'turned 2.1 degrees to the left'
    """
    order = np.argsort(-np.abs(turn_degrees))
    said = []
    for k in order:
        if abs(turn_degrees[k]) >= least_degrees[k]:
            template = _TURNS[k][0 if turn_degrees[k] > 0 else 1]
            said.append(template.format(f"{abs(turn_degrees[k]):.1f} degrees"))
    return joined(said)
