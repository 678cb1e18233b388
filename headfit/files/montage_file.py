"""A user's own derivations: a CSV with a derivation a row, or a TOML of [[montage]] tables."""

from __future__ import annotations

from pathlib import Path

from headfit.errors import FileFormatError, sentence
from headfit.files.formats import reader
from headfit.files.toml_text import parse_toml
from headfit.files.whole import about, read_text
from headfit.planning.montages import Montage, montages_from_tables


def read_montage(path: str | Path) -> Montage:
    """The montage of a file; of a TOML with several, the first.

    Raises
    ------
    FileFormatError
        Missing, empty, or no such table.
    UnknownNameError, InputError
        A site or derivation that cannot be.
    """
    path = Path(path)
    text = read_text(path)
    with about(path):
        found: Montage = reader("derivations", path.suffix)(text)
        return found


def montage_from_toml(text: str) -> Montage:
    """The first montage of a TOML text.

    Raises
    ------
    FileFormatError
        No TOML, or no [[montage]] table in it.
    UnknownNameError, InputError
        A site or derivation that cannot be.
    """
    tables = parse_toml(text).get("montage")
    if not tables:
        raise FileFormatError(
            sentence(
                "a TOML of derivations",
                "hold a [[montage]] table",
                "none",
                'name = "mine", chains = [{name = "left", sites = ["Fp1", "F3"]}]',
            ),
            code="montage-empty",
        )
    return montages_from_tables(tables)[0]
