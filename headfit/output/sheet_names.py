"""The names of sites on the sheet, the old ones beside those that took their place."""

from __future__ import annotations

from collections.abc import Iterable

from headfit.anatomy.sites import RENAMED

OLD_OF = {new: old for old, new in RENAMED.items()}


def old_names(names: Iterable[str]) -> list[str]:
    """The old names of those sites that have one.

    >>> old_names(["T7", "Cz", "P8"])
    ['T3', 'T6']
    """
    return [OLD_OF[name] for name in names if name in OLD_OF]


def named(name: str) -> str:
    """A site with its old name in brackets, if it has one.

    >>> named("P7"), named("Cz")
    ('P7 (T5)', 'Cz')
    """
    return f"{name} ({OLD_OF[name]})" if name in OLD_OF else name
