"""How headfit is cited: from CITATION.cff, inside an installed wheel or at the top of the checkout.

The file is in the Citation File Format 1.2.0 and our own, so that only what we write there is read:
lines ``key: value`` and the names of the authors.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from headfit.errors import FileFormatError, sentence

_NAME = "CITATION.cff"


@dataclass(frozen=True)
class Citation:
    """What a paper names.

    Attributes
    ----------
    title, version, licence : str
    authors : tuple of str
    """

    title: str
    version: str
    licence: str
    authors: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """For a list of references.

        >>> Citation("Heads", "1.0", "MIT", ("A. Author", "B. Author")).sentence
        'A. Author, B. Author. Heads. Software, version 1.0, licence MIT.'
        """
        names = ", ".join(self.authors).rstrip(".")
        return f"{names}. {self.title}. Software, version {self.version}, licence {self.licence}."

    @property
    def bibtex(self) -> str:
        """For BibTeX; double braces keep names and capitals as they stand."""
        authors = " and ".join(f"{{{name}}}" for name in self.authors)
        return "\n".join(
            [
                "@misc{headfit,",
                f"  author = {{{authors}}},",
                f"  title = {{{{{self.title}}}}},",
                f"  note = {{Software, version {self.version}, licence {self.licence}}},",
                "}",
            ]
        )


def citation_file() -> Path:
    """Where the file lies.

    Raises
    ------
    FileFormatError
        Neither in the package nor in a checkout.
    """
    installed = Path(__file__).resolve().parents[1] / _NAME
    for path in (installed, installed.parents[1] / _NAME):
        if path.is_file():
            return path
    raise FileFormatError(
        sentence(
            _NAME, "lie in the package", f"nothing in {installed.parent}", "install headfit again"
        ),
        code="citation-missing",
    )


def citation() -> Citation:
    """How this version is cited.

    >>> citation().authors
    ('headfit contributors',)
    """
    text = citation_file().read_text(encoding="utf-8")
    said = dict(re.findall(r'^([a-z-]+): "?(\S.*?)"?$', text, re.MULTILINE))
    names = re.findall(r"^  - name: (.+)$", text, re.MULTILINE)
    return Citation(said["title"], said["version"], said["license"], tuple(names))
