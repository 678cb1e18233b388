"""The names under which marks arrive, read by a few listed rules and never by guessing.

A name that no rule turns into a site is kept; its remark lists the nearest sites.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from headfit.anatomy.sites import ALSO_CALLED, RENAMED, TABLE, nearest_known

NameKind = Literal["site", "landmark", "reference", "not scalp", "blank", "other"]

# The rules, in the order in which they are tried. All of these spellings are met in shared files.
RULES: dict[str, str] = {
    "space": "spaces and underscores in and around a name are dropped: 'Fp 1' is Fp1",
    "dot": "points behind a name are dropped: 'Fc5.' is FC5",
    "prefix": "the word EEG before a name is dropped: 'EEG Fp1' is Fp1",
    "suffix": "a reference behind a name is dropped: 'Fp1-LE', 'C3-A2', 'Cz-REF'",
    "case": "upper and lower case are the system's: FP1 is Fp1, CZ is Cz, Afz is AFz",
    "old name": "T3, T4, T5, T6 are today's T7, T8, P7, P8",
    "same place": "O9 and O10 of 10-10 are I1 and I2 of 10-5",
}

# Spellings of the landmarks, folded to small letters without spaces, points, dashes, underscores.
# NAS, LPA, RPA, INI are the keys of the BIDS standard, Nz and Iz those of the 10-10 system.
_LANDMARKS = {
    "nasion": ("nas", "nasion", "nz", "fidnz", "fidnasion"),
    "inion": ("ini", "inion", "iz"),
    "left_preauricular": (
        "lpa",
        "leftpreauricular",
        "leftpreauricularpoint",
        "preauricularleft",
        "fidlpa",
        "fidt9",
    ),
    "right_preauricular": (
        "rpa",
        "rightpreauricular",
        "rightpreauricularpoint",
        "preauricularright",
        "fidrpa",
        "fidt10",
    ),
}
_LANDMARK_OF = {spelling: name for name, all_ in _LANDMARKS.items() for spelling in all_}
LANDMARK_KEYS = {
    "nasion": "NAS",
    "left_preauricular": "LPA",
    "right_preauricular": "RPA",
    "inion": "INI",
}

_FOLDED = {name.casefold(): name for name in TABLE}
_NOT_SCALP = re.compile(
    r"(?:[lrvh]|[lr]?[hv]e?|up|low)?[ _-]?"
    r"(?:eog|ecg|ekg|emg|exg|sti|stim|trig|trigger|status|event|marker|resp|gsr|eda|ppg|pulse|misc"
    r"|aux|photic|audio|acc)[a-z]{0,6}[ _-]?\d{0,4}",
    re.IGNORECASE,
)
_REFERENCES = {"ref", "reference", "gnd", "ground", "cms", "drl", "com"}
_PREFIX = re.compile(r"eeg[ _-]+(?=.)|eeg(?=[a-z])", re.IGNORECASE)
_SUFFIX = re.compile(r"-(?:le|re|ref|avg|ave|av|ar|car|a1|a2|m1|m2|a1a2|m1m2)$", re.IGNORECASE)
_LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789"


@dataclass(frozen=True)
class NameReading:
    """How one name was read.

    Attributes
    ----------
    given : str
        As written.
    kind : str
        A site, a landmark, a reference or ground electrode, a channel that is not on the scalp
        (eye, heart, trigger), a blank, or another name.
    name : str
        Declared spelling of a site, name of a landmark, or the given name tidied.
    rules : tuple of str
        The entries of `RULES` that were needed.
    """

    given: str
    kind: NameKind
    name: str
    rules: tuple[str, ...] = ()


def landmark_name(key: str) -> str | None:
    """The landmark a key stands for, or None.

    >>> landmark_name("Nasion"), landmark_name("rpa"), landmark_name("coil1")
    ('nasion', 'right_preauricular', None)
    """
    return _LANDMARK_OF.get(re.sub(r"[\s._-]", "", str(key)).casefold())


@lru_cache(maxsize=2048)
def read_name(given: str) -> NameReading:
    """One name, read by `RULES`.

    >>> read_name("EEG FP1-LE")
    NameReading(given='EEG FP1-LE', kind='site', name='Fp1', rules=('prefix', 'suffix', 'case'))
    >>> read_name("Fp1-F7").kind, read_name("leog").kind, read_name(" ").kind
    ('other', 'not scalp', 'blank')
    """
    tidy = unicodedata.normalize("NFKC", given).strip()
    if len(tidy) > 1 and tidy[0] == tidy[-1] and tidy[0] in "\"'":  # F7' is another place than F7
        tidy = tidy[1:-1].strip()
    if not tidy:
        return NameReading(given, "blank", "")
    landmark = landmark_name(tidy)
    # A row called Iz is a mark on the cap near the inion, no palpated bone: caps of one person hold
    # it 4 to 9 mm apart (OpenNeuro ds004024). Declared beside the table it is the landmark.
    if landmark is not None and tidy.casefold() != "iz":
        return NameReading(given, "landmark", landmark)
    site, rules = _site(tidy)
    if site is not None:
        if tidy != given:
            rules = ("space", *(rule for rule in rules if rule != "space"))
        return NameReading(given, "site", site, rules)
    if tidy.casefold() in _REFERENCES:
        return NameReading(given, "reference", tidy)
    if _NOT_SCALP.fullmatch(tidy):
        return NameReading(given, "not scalp", tidy)
    return NameReading(given, "other", tidy)


def _site(name: str) -> tuple[str | None, tuple[str, ...]]:
    """Declared site for a tidied name, and the rules that led there."""
    rules: list[str] = []
    for rule, form in (("prefix", _PREFIX), ("suffix", _SUFFIX)):
        found = form.match(name) if rule == "prefix" else form.search(name)
        if found and _bare(name[: found.start()] + name[found.end() :]):
            name = name[: found.start()] + name[found.end() :]
            rules.append(rule)
    short = name.rstrip(".")
    if short != name:
        name = short
        rules.append("dot")
    short = re.sub(r"[\s_]", "", name)
    if short != name:
        name = short
        rules.append("space")
    if name in TABLE:
        return name, tuple(rules)
    for rule, others in (("old name", RENAMED), ("same place", ALSO_CALLED)):
        if name.upper() in others:
            return others[name.upper()], (*rules, rule)
    folded = _FOLDED.get(name.casefold())
    return folded, (*rules, "case") if folded else ()


def _bare(name: str) -> bool:
    """Whether a name without prefix or suffix still is a site."""
    plain = re.sub(r"[\s_]", "", name).rstrip(".").casefold()
    plain = _SUFFIX.sub("", plain)
    return plain in _FOLDED or plain.upper() in RENAMED | ALSO_CALLED


def near_sites(name: str) -> tuple[str, ...]:
    """Sites whose spelling is one slip of the key away, sorted.

    A letter too many, too few, changed or exchanged with its neighbour. For a name in use that is
    no site here, the site that lies nearest to what it means.

    >>> near_sites("Fzz"), near_sites("EEG001"), near_sites("T1")
    (('FCz', 'Fpz', 'Fz'), (), ('FT9',))
    """
    known = nearest_known(name)
    if known is not None:
        return (known[0],)
    word = name.casefold()
    if not 2 <= len(word) <= 6:
        return ()
    cuts = [(word[:i], word[i:]) for i in range(len(word) + 1)]
    slips = {a + b[1:] for a, b in cuts if b}
    slips |= {a + b[1] + b[0] + b[2:] for a, b in cuts if len(b) > 1}
    if len(word) > 2:
        slips |= {a + letter + b[1:] for a, b in cuts if b for letter in _LETTERS}
    slips |= {a + letter + b for a, b in cuts for letter in _LETTERS}
    return tuple(sorted(_FOLDED[slip] for slip in slips & _FOLDED.keys()))
