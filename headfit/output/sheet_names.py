"""The names of sites on the sheet, the old ones beside those that took their place."""

from __future__ import annotations

from collections.abc import Iterable

from headfit.anatomy.site_table import OLD_NAMES, both_names

OLD_OF = OLD_NAMES


def old_names(names: Iterable[str]) -> list[str]:
    """The old names of those sites that have one.

    >>> old_names(["T7", "Cz", "P8"])
    ['T3', 'T6']
    """
    return [OLD_NAMES[name] for name in names if name in OLD_NAMES]


def named(name: str) -> str:
    """A site with its old name in brackets, if it has one."""
    return both_names(name)
