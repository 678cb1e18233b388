"""What the nouns of headfit have in common: a pickle that holds no caches, and look-up by name.

A noun is one frozen dataclass: a head, sites, a comparison. Its cached properties can be computed
again and stay out of a pickle; arrays that were read-only come back read-only.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

Value = TypeVar("Value")


class Noun:
    """Base of dataclasses that are pickled without what can be computed again."""

    def __getstate__(self) -> dict[str, Any]:
        of_class = type(self)
        return {
            name: value
            for name, value in vars(self).items()
            if not isinstance(getattr(of_class, name, None), cached_property)
        }

    def __setstate__(self, state: dict[str, Any]) -> None:
        for value in state.values():
            if isinstance(value, np.ndarray):  # a pickle forgets that an array is read-only
                value.setflags(write=False)
        vars(self).update(state)


class ByName(Noun, Mapping[str, Value]):
    """Base of nouns that hold one value a name: ``name in noun``, ``dict(noun)``, ``noun.items()``.

    Like every noun that holds arrays it equals only itself, and so can be a key.
    """

    __eq__ = object.__eq__
    __hash__ = object.__hash__
