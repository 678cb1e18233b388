"""Text files from strangers: decoded as they are, with what had to be known to read them."""

from __future__ import annotations

import codecs
import re
from pathlib import Path

from headfit.errors import FileFormatError, sentence
from headfit.files.whole import read_bytes
from headfit.marks.remarks import Remark, correction, note

_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")


def shown(value: object, most: int = 40) -> str:
    """A value in quotes, cut where it grows too long for a sentence.

    >>> shown("x" * 50, most=8)
    "'xxxxxxxx...'"
    """
    plain = str(value)
    return repr(plain if len(plain) <= most else plain[:most] + "...")


def read_foreign_text(path: Path, most_bytes: int) -> tuple[str, list[Remark]]:
    """The text of a file that may be in any common encoding.

    Raises
    ------
    FileFormatError
        Not there, no ordinary file, not readable, empty, too long, or no text.
    """
    try:
        special = path.exists() and not path.is_file() and not path.is_dir()
    except (OSError, ValueError):
        special = False  # reading it says what is wrong
    if special:
        # A pipe would keep us waiting for ever.
        raise FileFormatError(
            sentence(str(path), "be a file", "a device or a pipe"),
            code="file-special",
            path=str(path),
        )
    return decoded(read_bytes(path, most_bytes), path.name)


def decoded(raw: bytes, name: str) -> tuple[str, list[Remark]]:
    """Text of bytes, and what had to be known to read it.

    Raises
    ------
    FileFormatError
        The bytes are no text, or only blanks.

    >>> decoded("Cz".encode("utf-16"), "a.tsv")[1][0].code
    'encoding'
    """
    remarks: list[Remark] = []
    if raw.startswith(codecs.BOM_UTF8):
        text = raw[len(codecs.BOM_UTF8) :].decode("utf-8", errors="replace")
        remarks.append(note("byte-order-mark", f"{name} begins with a byte-order mark"))
    elif raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        text = raw.decode("utf-16", errors="replace")
        remarks.append(correction("encoding", f"{name} is read as UTF-16, it should be UTF-8"))
    else:
        try:
            text = raw.decode("utf-8")
        except UnicodeDecodeError:
            text = raw.decode("latin-1")
            remarks.append(correction("encoding", f"{name} is read as Latin-1, it should be UTF-8"))
    if _CONTROL.search(text) or "\ufffd" in text:
        raise FileFormatError(
            sentence(name, "be text", "bytes that are none", "is this another kind of file?"),
            code="file-not-text",
        )
    if not text.strip():
        raise FileFormatError(
            sentence(name, "hold something", "blanks only"), code="file-empty", path=name
        )
    return text, remarks
