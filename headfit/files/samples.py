"""The sample files that come with headfit: invented data, to try on what is said of it."""

from __future__ import annotations

from pathlib import Path

from headfit.errors import unknown_name

FOLDER = Path(__file__).parents[1] / "samples"


def sample_names() -> tuple[str, ...]:
    """The files in alphabetical order.

    >>> "case.toml" in sample_names()
    True
    """
    return tuple(sorted(path.name for path in FOLDER.iterdir() if path.is_file()))


def sample(name: str) -> Path:
    """Where a sample file lies: to be read; `headfit samples DIR` copies all of them.

    Raises
    ------
    UnknownNameError
        No such file.

    >>> sample("case.toml").is_file()
    True
    >>> sample("electrodes.csv")
    Traceback (most recent call last):
        ...
    headfit.errors.UnknownNameError: unknown sample file 'electrodes.csv': did you mean \
'electrodes.tsv'?
    """
    if name not in sample_names():
        raise unknown_name("sample file", name, sample_names())
    return FOLDER / name
