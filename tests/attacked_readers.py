"""Every reader with a good file of its kind, and mutations of bytes and of structure."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import trimesh
from demo_case import TEXT
from dirty_marks import dirty_marks

from headfit.app.changes import changed_case
from headfit.case.case import Case
from headfit.files.bids_record import read_record
from headfit.files.case_file import read_case
from headfit.files.chair_notes import with_chair_notes
from headfit.files.landmark_files import read_json, read_landmarks
from headfit.files.lesson_file import FOLDER as LESSONS
from headfit.files.lesson_file import read_lesson
from headfit.files.manifest import MANIFEST, Manifest, WrittenFile, read_manifest
from headfit.files.marks_files import read_marks
from headfit.files.montage_file import read_montage
from headfit.files.surfaces import read_surface

BALL = trimesh.creation.icosphere(subdivisions=1, radius=90.0)
PLACES = {
    "nasion": [0, 97, 0],
    "inion": [0, -92, 8],
    "left_preauricular": [-74, 0, 0],
    "right_preauricular": [74, 0, 0],
}
COORDSYSTEM = {
    "EEGCoordinateSystem": "CapTrak",
    "EEGCoordinateUnits": "mm",
    "AnatomicalLandmarkCoordinates": {"NAS": [0, 97, 0], "INI": [0, -92, 8], "LPA": [-74, 0, 0]}
    | {"RPA": [74, 0, 0]},
    "AnatomicalLandmarkCoordinateUnits": "mm",
}
FULL_CASE = f"""{TEXT}
[rules]
inner = "parasagittal"

[shape]
vault_3_2 = 1.5

[[free]]
site = "P3"
radius_mm = 20
reason = "dressing"

[[free]]
polygon_mm = [[60, 40, 70], [60, 60, 70], [60, 50, 90]]

[derivations]
set = "longitudinal"
"""
MONTAGE = """[[montage]]
name = "mine"
chains = [{name = "left", sites = ["Fp1", "F7", "T7"]}, {name = "own", derivations = ["C3-Cz"]}]
"""
CHANGE = {
    "label": "x",
    "age": 3.5,
    "tape": {"ring": "56,2; 56.4", "nasion_inion": "36"},
    "free": [{"site": "Cz", "radius_mm": 12, "reason": "wound"}],
    "rules": {"inner": "row"},
    "doubtful": ["inion"],
    "shape": {"vault_3_2": 1},
}

RECORD = """
[record]
done_by = "nobody"
limit_kohm = 8
reference = { place = "CPz", impedance_kohm = 3 }
sites = [{ name = "F3", impedance_kohm = 4.5 }, { name = "O1", applied = false }]
other_leads = [{ name = "ECG", place = "left wrist" }]
"""
ELECTRODES = (
    "name\tx\ty\tz\ttype\tmaterial\timpedance\trole\tcharted\tstands_at\tskin_before\n"
    "F3\t-46.9\t76.1\t78.0\tcup\tgold\t4.5\tsite\tapplied\tn/a\tgraze\n"
    "O1\tn/a\tn/a\tn/a\tn/a\tn/a\tn/a\tsite\tleft_out\tn/a\tn/a\n"
    "REF\t0.0\t-15.0\t137.4\tcup\tgold\t3\treference\tapplied\tCPz\t'=whole\n"
)


CHAIR_NOTES = {
    "headfit_chair": 1,
    "label": "x",
    "checksum": "0",
    "tape": {"ring": "56,2 cm", "nasion_inion": "14 1/4 inch"},
    "arcs": {"row FC": "35 cm"},
    "doubtful": ["inion"],
    "record": {"ticked": ["mark Fz"], "sites": [{"name": "F3", "impedance_kohm": 4}]},
}


def raw(text: str | bytes) -> bytes:
    return text.encode() if isinstance(text, str) else text


def read_change(path: Path) -> object:
    """A change as the app gets it."""
    return changed_case(Case(), read_json(path), Path())


READERS: dict[str, tuple[str, bytes, Callable[[Path], object]]] = {
    "case": ("case.toml", raw(FULL_CASE), read_case),
    "case with a record": ("case.toml", raw(TEXT + RECORD), read_case),
    "record": ("electrodes.tsv", raw(ELECTRODES), read_record),
    "chair notes": (
        "chair-notes.json",
        raw(json.dumps(CHAIR_NOTES)),
        lambda path: with_chair_notes(Case(label="x"), path),
    ),
    "landmarks": ("marks.json", raw(json.dumps({"unit": "mm"} | PLACES)), read_landmarks),
    "coordsystem": ("coordsystem.json", raw(json.dumps(COORDSYSTEM)), read_landmarks),
    "ply": ("head.ply", raw(BALL.export(file_type="ply")), read_surface),
    "text ply": (
        "head.ply",
        raw(trimesh.exchange.ply.export_ply(BALL, encoding="ascii")),
        read_surface,
    ),
    "obj": ("head.obj", raw(BALL.export(file_type="obj")), read_surface),
    "stl": ("head.stl", raw(BALL.export(file_type="stl")), partial(read_surface, unit="cm")),
    "text stl": ("head.stl", raw(BALL.export(file_type="stl_ascii")), read_surface),
    "off": ("head.off", raw(BALL.export(file_type="off")), read_surface),
    "glb": ("head.glb", raw(BALL.copy().apply_scale(0.001).export(file_type="glb")), read_surface),
    "marks": ("marks.tsv", raw(dirty_marks()), read_marks),
    "marks csv": ("marks.csv", raw(dirty_marks().replace("\t", ";")), read_marks),
    "marks json": (
        "marks.json",
        raw(json.dumps({"unit": "mm", "landmarks": PLACES, "Cz": [0, 9, 130], "C3": [-60, 9, 99]})),
        read_marks,
    ),
    "derivations": ("own.csv", b"chain,derivation\nleft,Fp1-F7\nleft,F7-T3\n", read_montage),
    "derivations toml": ("own.toml", raw(MONTAGE), read_montage),
    "lesson": ("own.toml", (LESSONS / "10_wound.toml").read_bytes(), read_lesson),
    "lesson with a landmark pushed": (
        "own.toml",
        (LESSONS / "08_slips.toml").read_bytes(),
        read_lesson,
    ),
    "change": ("change.json", raw(json.dumps(CHANGE)), read_change),
    "manifest": (
        MANIFEST,
        raw(Manifest("fit", "1", {"case.json": WrittenFile.of(b"x")}).text()),
        lambda path: read_manifest(path.parent),
    ),
}

_PIECES = re.compile(rb"\s+|[\w.+-]+|.", re.DOTALL)
_NUMBER = re.compile(rb"[+-]?\d+(?:\.\d+)?")
WORDS = [
    *(b"nan", b"-inf", b"1e999", b"-1e-400", b"9" * 310, b"0x" + b"f" * 40, b"-0", b"1_0", b"1,5"),
    *(b"true", b"null", b"[]", b"{}", b'""', b"'''", b'"', b"[" * 40, b"{" * 40, b"=", b".", b"#"),
    *(b"\x00", b"\x1b[2J", b"\xff", "\u202e".encode(), b"\\ud800", b"\r", b"\n\n", b"\xef\xbb\xbf"),
    *(b"element vertex 9999999999\n", b"property list uchar int x\n", b"f 1 2 99999\n", b"../x"),
    *(b"9999-12-31", b"Cz", b"mm", b"inion", b"a." * 25, b"x" * 3000),
]


def mutated(whole: bytes, generator: np.random.Generator) -> bytes:
    """A file with one to four things changed, each in its bytes or in its structure."""
    for _ in range(int(generator.integers(1, 5))):
        change = _CHANGES[generator.integers(len(_CHANGES))]
        whole = change(whole, generator)[:200_000]
    return whole


def _at(length: int, generator: np.random.Generator) -> int:
    return int(generator.integers(length + 1))


def _cut(whole: bytes, generator: np.random.Generator) -> bytes:
    return whole[: _at(len(whole), generator)]


def _bytes_changed(whole: bytes, generator: np.random.Generator) -> bytes:
    changed = bytearray(whole or b" ")
    for place in generator.integers(len(changed), size=generator.integers(1, 20)):
        changed[place] = int(generator.integers(256))
    return bytes(changed)


def _bit_turned(whole: bytes, generator: np.random.Generator) -> bytes:
    changed = bytearray(whole or b" ")
    changed[generator.integers(len(changed))] ^= 1 << int(generator.integers(8))
    return bytes(changed)


def _word_in(whole: bytes, generator: np.random.Generator) -> bytes:
    at = _at(len(whole), generator)
    return whole[:at] + WORDS[generator.integers(len(WORDS))] + whole[at:]


def _number_changed(whole: bytes, generator: np.random.Generator) -> bytes:
    numbers = list(_NUMBER.finditer(whole))
    if not numbers:
        return whole
    found = numbers[generator.integers(len(numbers))]
    return whole[: found.start()] + WORDS[generator.integers(9)] + whole[found.end() :]


def _pieces(whole: bytes, generator: np.random.Generator, by_lines: bool) -> list[bytes]:
    return whole.splitlines(keepends=True) if by_lines else _PIECES.findall(whole[:20_000])


def _structure(
    work: Callable[[list[bytes], np.random.Generator], None],
) -> Callable[[bytes, np.random.Generator], bytes]:
    def change(whole: bytes, generator: np.random.Generator) -> bytes:
        pieces = _pieces(whole, generator, bool(generator.random() < 0.5))
        if pieces:
            work(pieces, generator)
        return b"".join(pieces)

    return change


def _gone(pieces: list[bytes], generator: np.random.Generator) -> None:
    at = int(generator.integers(len(pieces)))
    del pieces[at : at + int(generator.integers(1, 6))]


def _twice(pieces: list[bytes], generator: np.random.Generator) -> None:
    first, other = generator.integers(len(pieces), size=2)
    pieces[other:other] = pieces[first : first + 3] * int(generator.choice([1, 2, 50]))


def _exchanged(pieces: list[bytes], generator: np.random.Generator) -> None:
    first, other = generator.integers(len(pieces), size=2)
    pieces[first], pieces[other] = pieces[other], pieces[first]


def _replaced(pieces: list[bytes], generator: np.random.Generator) -> None:
    pieces[generator.integers(len(pieces))] = WORDS[generator.integers(len(WORDS))]


_CHANGES = (
    _cut,
    _bytes_changed,
    _bit_turned,
    _word_in,
    _word_in,
    _number_changed,
    _number_changed,
    *(_structure(work) for work in (_gone, _twice, _exchanged, _replaced)),
)
