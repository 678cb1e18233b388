"""headfit: the missing view of 10-20 placement, from tape values to a head you can look at.

Tape values scale a template head; 10-20, 10-10 and 10-5 sites are arcs on its surface; marked or
digitised positions are compared with them. Lengths are millimetres throughout. Not a medical
device.
"""

__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    """A public name: NumPy and SciPy take half a second to load, so it brings its module itself.

    The names and their homes stand in __init__.pyi, for the type checker and for this. It is read
    when the first one is asked for: the command asks for none, and listens to Ctrl-C the sooner.
    """
    import lazy_loader

    found, listed, names = lazy_loader.attach_stub(__name__, __file__)
    globals().update(__getattr__=found, __dir__=listed, __all__=names)
    return names if name == "__all__" else found(name)


def __dir__() -> list[str]:
    """The public names."""
    return list(__getattr__("__all__"))  # type: ignore[call-overload]
