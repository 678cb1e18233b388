"""Results as JSON text: arrays as lists, floats rounded, lists of numbers on one line."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from typing import Any

import numpy as np


def plain(value: object, decimals: int = 3) -> Any:
    """A value as JSON has it: arrays become lists, floats are rounded, what is not finite is None.

    >>> plain({"a": np.array([1.23456, np.nan]), "b": (np.float64(2), True)})
    {'a': [1.235, None], 'b': [2.0, True]}
    """
    if isinstance(value, Mapping):
        return {str(key): plain(part, decimals) for key, part in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist(), decimals)
    if isinstance(value, list | tuple):
        return [plain(part, decimals) for part in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name), decimals) for f in dataclasses.fields(value)}
    if isinstance(value, float):  # NumPy's float64 is one too
        return round(float(value), decimals) + 0.0 if np.isfinite(value) else None
    return value


def as_json(content: Mapping[str, object]) -> str:
    """Text of plain nested values, with lists of numbers on one line."""
    return _lines(content, "") + "\n"


def _lines(value: Any, indent: str) -> str:
    inner = indent + " "
    if isinstance(value, dict) and value:
        parts = [f"{inner}{json.dumps(k)}: {_lines(v, inner)}" for k, v in value.items()]
        return "{\n" + ",\n".join(parts) + f"\n{indent}}}"
    if isinstance(value, list) and any(isinstance(part, dict | list) for part in value):
        parts = [inner + _lines(part, inner) for part in value]
        return "[\n" + ",\n".join(parts) + f"\n{indent}]"
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
