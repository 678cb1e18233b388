"""What is made once stays as it is: data are frozen, and arrays not compared with `==`."""

import dataclasses
import importlib
import inspect
import pkgutil

import headfit

# What a process keeps while it works, and what a reader gathers row by row.
KEEPS_STATE = {"Desk", "History", "SafetyCopy", "_Counts", "Rows"}
MODULES = [
    importlib.import_module(found.name)
    for found in pkgutil.walk_packages(headfit.__path__, "headfit.")
    if not found.name.endswith("__main__")
]
KINDS = {
    kind
    for module in MODULES
    for kind in vars(module).values()
    if inspect.isclass(kind) and dataclasses.is_dataclass(kind)
    if kind.__module__.startswith("headfit.")
}


def test_plain_data_are_frozen() -> None:
    assert len(KINDS) > 100
    thawed = {kind.__name__ for kind in KINDS if not kind.__dataclass_params__.frozen}
    assert thawed == KEEPS_STATE


def test_what_holds_arrays_is_the_same_only_as_itself() -> None:
    """The truth of `array == array` is an error of NumPy."""
    holding = {
        kind
        for kind in KINDS - {kind for kind in KINDS if kind.__name__ in KEEPS_STATE}
        if any(str(field.type) in ("Floats", "Integers") for field in dataclasses.fields(kind))
    }
    assert len(holding) > 30
    assert not {kind.__name__ for kind in holding if kind.__dataclass_params__.eq}
