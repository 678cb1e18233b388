"""Causes of the messages about marks: code -> a function that raises it or returns its remarks.

They run in an empty folder, so that file names in the sentences are short. All data are invented.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from unittest.mock import patch

import numpy as np
from marked_heads import landmarks_of, template_sites
from scipy.spatial.transform import Rotation
from solids import SPHERE_A

from headfit import load_template
from headfit.comparing.compare import compare_marks
from headfit.comparing.head_from_marks import head_under
from headfit.comparing.repeatability import compare_sessions
from headfit.files.marks_files import read_marks
from headfit.files.mne_positions import montage_of
from headfit.geometry.rigid import best_rigid
from headfit.marks.as_written import GivenMarks
from headfit.marks.axes import axes_matrix
from headfit.marks.cleaning import clean_marks
from headfit.marks.marks import Marks
from headfit.marks.site_names import LANDMARK_KEYS

Cause = Callable[[], object]


def wrote(name: str, content: str | bytes) -> Path:
    path = Path(name)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


# The sites of the template with a millimetre of noise.
SITES = template_sites("10-20")
NAMES = SITES.names
POINTS = SITES.points_mm + np.random.default_rng(4).normal(scale=1.0, size=SITES.points_mm.shape)
HEAD_LANDMARKS = {n: p for n, p in landmarks_of(load_template()).items() if n != "inion"}
LANDMARKS = {LANDMARK_KEYS[name]: tuple(p.tolist()) for name, p in HEAD_LANDMARKS.items()}
NOWHERE = [float("nan")] * 3
TABLE = "name,x,y,z\n" + "\n".join(
    f"{name},{','.join(f'{v:.2f}' for v in point)}"
    for name, point in zip(NAMES, POINTS, strict=True)
)


def cleaned(*rows: tuple[str, list[float]], strict: bool = False, **said: object) -> Marks:
    """Marks after cleaning, with further rows or other declarations."""
    given: dict[str, object] = {
        "source": "marks.tsv",
        "unit": "mm",
        "landmarks": LANDMARKS,
        "landmark_unit": "mm",
        "system": "CapTrak",
        "names": (*NAMES, *(name for name, _ in rows)),
        "places": np.vstack([POINTS, *(place for _, place in rows)]),
    }
    return clean_marks(GivenMarks(**(given | said)), strict=strict)  # type: ignore[arg-type]


def table(content: str | bytes, name: str = "marks.csv") -> Marks:
    return read_marks(wrote(name, content))


def electrodes(**beside: str) -> Marks:
    """A BIDS file of electrodes with coordsystem.json files beside it, by entity."""
    for entity, text in beside.items():
        wrote(f"sub-01_{entity.replace('_', '-')}_coordsystem.json", text)
    return read_marks(wrote("sub-01_electrodes.tsv", TABLE.replace(",", "\t") + "\n"))


def coordsystem(text: str) -> Marks:
    wrote("sub-01_coordsystem.json", text)
    return electrodes()


def axes(matrix: np.ndarray, system: str | None, *, landmarks: bool = True) -> Marks:
    """Marks and landmarks written on other axes."""
    moved = {k: tuple((np.array(p) @ matrix).tolist()) for k, p in LANDMARKS.items()}
    return cleaned(places=POINTS @ matrix, landmarks=moved if landmarks else {}, system=system)


def few(n: int, *, landmarks: bool = True) -> Marks:
    return Marks(NAMES[:n], POINTS[:n], HEAD_LANDMARKS if landmarks else {}, source="marks.tsv")


def bigger(scale: float) -> Marks:
    return Marks(NAMES, scale * POINTS, {k: scale * p for k, p in HEAD_LANDMARKS.items()})


def in_line() -> Marks:
    return Marks(NAMES, np.linspace(-60.0, 60.0, len(NAMES))[:, None] * [1.0, 0.0, 0.0])


def inferior_array() -> Marks:
    """Marks at the 25 sites of the IFCN array."""
    sites = template_sites("ifcn-25")
    return Marks(sites.names, sites.points_mm, HEAD_LANDMARKS)


def stretched(*scales: float) -> Marks:
    """Marks and landmarks of a head of an odd shape."""
    return Marks(NAMES, POINTS * scales, {k: p * scales for k, p in HEAD_LANDMARKS.items()})


def with_landmark(name: str, *step_mm: float) -> Marks:
    """Marks of which one landmark was set down elsewhere."""
    moved = {**HEAD_LANDMARKS, name: HEAD_LANDMARKS[name] + step_mm}
    return Marks(NAMES, POINTS, moved)


def compared(marks: Marks, **how: object) -> object:
    return compare_marks(SITES, marks, **how)  # type: ignore[arg-type]


def without_mne() -> object:
    with patch.dict(sys.modules, {"mne": None}):
        return montage_of({}, {})


CAUSES_OF_MARKS: dict[str, Cause] = {
    # the file
    "file-special": lambda: read_marks("/dev/null"),
    "file-empty": lambda: table(""),
    "file-not-text": lambda: table(b"\x00\x01\x02"),
    "encoding": lambda: table(TABLE.replace("z\n", "z,Maß\n", 1).encode("latin-1")),
    "byte-order-mark": lambda: table("\ufeff" + TABLE),
    "line-ends": lambda: table(TABLE.replace("\n", "\r\n")),
    "last-line-open": lambda: table(TABLE),
    "table-header": lambda: table("site,x,y,up\nCz,0,1,130\n"),
    "table-short-line": lambda: table("name,x,y,z\nCz,0,1\n"),
    "table-quotes": lambda: table('name,x,y,z\n"Cz,0,1,130\n'),
    "table-not-a-number": lambda: table("name,x,y,z\nCz,0,1,13O\n"),
    "table-too-long": lambda: table("name,x,y,z\n" + "Cz,0,1,130\n" * 10_001),
    "columns-extra": lambda: table(TABLE.replace("z\n", "z,impedance\n", 1)),
    "decimal-comma": lambda: table(TABLE.replace(",", ";").replace(".", ",")),
    "missing-spelled": lambda: table(TABLE + "\nEOG,NaN,NaN,NaN\n"),
    "json-broken": lambda: table('{"Cz": [0, 1', "marks.json"),
    "json-no-object": lambda: table("[1, 2, 3]", "marks.json"),
    "json-no-place": lambda: table('{"Cz": "vertex", "Pz": [0, 9, 9]}', "marks.json"),
    # the coordsystem.json of BIDS
    "coordsystem-missing": electrodes,
    "coordsystem-loose": lambda: electrodes(space_CapTrak='{"EEGCoordinateUnits": "mm"}'),
    "coordsystem-several": lambda: electrodes(space_CapTrak="{}", space_CTF="{}"),
    "coordsystem-unreadable": lambda: coordsystem("{"),
    "coordsystem-empty": lambda: coordsystem("{}"),
    # rows and names
    "place-missing": lambda: cleaned(("EEG20", NOWHERE)),
    "place-incomplete": lambda: cleaned(("EEG20", [1.0, float("nan"), 2.0])),
    "place-impossible": lambda: cleaned(("EEG20", [1e300, 0.0, 0.0])),
    "mark-far-off": lambda: cleaned(("EEG20", [0.0, 9999.0, 0.0])),
    "mark-inside": lambda: cleaned(("EEG20", [0.0, 1.0, 6.0])),
    "marks-flat": lambda: cleaned(places=POINTS * [1.0, 1.0, 0.0]),
    "not-scalp": lambda: cleaned(("VEOG", [10.0, 90.0, -20.0])),
    "name-blank": lambda: cleaned(("", [0.0, 0.0, 90.0])),
    "names-respelled": lambda: cleaned(
        names=[{"Fp1": "FP1", "T7": "T3", "Cz": "EEG Cz-REF"}.get(n, n) for n in NAMES]
    ),
    "names-not-sites": lambda: cleaned(("Fzz", [0.0, 60.0, 110.0])),
    "names-other-scheme": lambda: cleaned(
        names=["A1", "A2", "C3", "C4", *(f"D{k}" for k in range(1, len(NAMES) - 3))]
    ),
    "name-repeated": lambda: cleaned(("cz", POINTS[NAMES.index("Cz")].tolist())),
    "name-twice": lambda: cleaned(("cz", [0.0, -40.0, 115.0])),
    "renamed": lambda: few(4).renamed({"Fp1": "Fp2", "Fp2": "Fp1"}),
    # units and size
    "unit-given": lambda: read_marks(wrote("marks.csv", TABLE), unit="mm"),
    "unit-wrong": lambda: cleaned(places=POINTS / 10),
    "unit-deduced": lambda: cleaned(places=POINTS / 1000, unit=None),
    "landmark-unit-wrong": lambda: cleaned(landmark_unit="m"),
    "landmark-unit-deduced": lambda: cleaned(landmark_unit="n/a"),
    "size-unusual": lambda: cleaned(places=1.4 * POINTS, landmarks={}),
    "unit-unknown": lambda: read_marks(wrote("marks.csv", TABLE), unit="ells"),
    "unit-undeducible": lambda: table("name,x,y,z\nCz,0,1,13\n"),
    "marks-one-place": lambda: cleaned(places=np.zeros_like(POINTS)),
    # landmarks
    "landmark-rows": lambda: cleaned(
        *((key, list(place)) for key, place in LANDMARKS.items()), landmarks={}
    ),
    "landmark-twice": lambda: cleaned(("Nasion", [v + 9.0 for v in LANDMARKS["NAS"]])),
    "landmarks-fiducials": lambda: coordsystem(
        json.dumps({"FiducialsCoordinates": LANDMARKS, "FiducialsCoordinateUnits": "mm"})
    ),
    "landmark-respelled": lambda: cleaned(
        landmarks={"Nasion": LANDMARKS["NAS"], "lpa": LANDMARKS["LPA"], "RPA": LANDMARKS["RPA"]}
    ),
    "landmark-unread": lambda: cleaned(landmarks={**LANDMARKS, "RPA": tuple(NOWHERE)}),
    "landmark-unknown": lambda: cleaned(landmarks={**LANDMARKS, "LHJ": (-70.0, 5.0, 0.0)}),
    "landmarks-useless": lambda: cleaned(landmarks={**LANDMARKS, "RPA": LANDMARKS["LPA"]}),
    "landmarks-elsewhere": lambda: cleaned(
        landmarks={k: (x, y + 290.0, z + 100.0) for k, (x, y, z) in LANDMARKS.items()}
    ),
    "landmarks-mixed-up": lambda: cleaned(
        landmarks={**LANDMARKS, "LPA": LANDMARKS["NAS"], "NAS": LANDMARKS["LPA"]}
    ),
    "landmarks-missing": lambda: cleaned(landmarks={"NAS": LANDMARKS["NAS"]}),
    "ears-exchanged": lambda: cleaned(
        landmarks={**LANDMARKS, "LPA": LANDMARKS["RPA"], "RPA": LANDMARKS["LPA"]}
    ),
    "handedness": lambda: axes(axes_matrix("LAS"), None, landmarks=False),
    # axes
    "axes-turned": lambda: axes(axes_matrix("ALS"), "CTF"),
    "axes-deduced": lambda: axes(axes_matrix("ALS"), None),
    "axes-wrong": lambda: axes(axes_matrix("ALS"), "CapTrak"),
    "axes-differ": lambda: cleaned(places=POINTS @ axes_matrix("ALS")),
    "axes-own": lambda: axes(
        Rotation.from_rotvec([40.0, 40.0, 0.0], degrees=True).as_matrix(), None
    ),
    "axes-unknown": lambda: cleaned(
        names=[f"EEG{k:03}" for k in range(len(NAMES))], landmarks={}, system=None
    ),
    # templates
    "template-symmetric": lambda: cleaned(places=SITES.points_mm),
    "template-sphere": lambda: cleaned(
        places=85.0 * np.array([SPHERE_A.sites[name] for name in NAMES]) / 90.0
    ),
    # marks
    "marks-strict": lambda: cleaned(places=POINTS / 10, strict=True),
    "marks-none": lambda: table("name,x,y,z\nCz,n/a,n/a,n/a\n"),
    "marks-shape": lambda: Marks(("Cz", "Pz"), np.zeros((1, 3))),
    "marks-name-twice": lambda: Marks(("Cz", "Cz"), np.zeros((2, 3))),
    "fif-positions": lambda: read_marks(wrote("x.fif", b"nothing")),
    "extra-missing": without_mne,
    # comparing
    "compare-no-sites": lambda: compared(Marks((), np.empty((0, 3)), source="marks.tsv")),
    "compare-no-landmarks": lambda: compared(few(19, landmarks=False), align="landmarks"),
    "compare-bands": lambda: compared(few(19), bands_mm=(10.0, 5.0)),
    "compare-best-fit": lambda: compared(few(19, landmarks=False)),
    "compare-other-size": lambda: compared(bigger(1.12)),
    "compare-row-nine": lambda: compared(inferior_array()),
    "set-names-mixed": lambda: compared(Marks(NAMES, np.roll(POINTS, 1, axis=0), HEAD_LANDMARKS)),
    "set-fits-nowhere": lambda: compared(
        Marks(NAMES, POINTS * [0.8, 1.25, 1.0], HEAD_LANDMARKS, source="marks.tsv")
    ),
    "set-landmarks": lambda: compared(with_landmark("nasion", 0.0, -30.0, 0.0)),
    "set-too-far": lambda: compared(
        Marks(NAMES, POINTS + np.array([0.0, -32.0, 0.0]), HEAD_LANDMARKS)
    ),
    "set-height": lambda: compared(Marks(NAMES, POINTS * 1.3, HEAD_LANDMARKS)),
    "set-odd-head": lambda: compare_marks(head_under(stretched(1.25, 0.9, 1.0))[0], few(19)),
    "mark-off-set": lambda: cleaned(("E7", [0.0, 30.0, 260.0])),
    "mark-off-head": lambda: compared(
        Marks(NAMES, np.vstack([POINTS[:-1], POINTS[-1:] * 2.2]), HEAD_LANDMARKS)
    ),
    "head-from-marks": lambda: head_under(few(19))[1],
    "set-aside": lambda: few(19).set_aside(["P3"], "left out because a place must stay free"),
    "align-too-few": lambda: compared(few(3, landmarks=False)),
    "align-in-line": lambda: compared(in_line()),
    "rigid-undetermined": lambda: best_rigid(POINTS[:2], POINTS[:2]),
    "sessions-alike": lambda: compare_sessions([few(19), few(19)]),
    "sessions-two-people": lambda: compare_sessions([few(19), bigger(1.1)]),
    "sessions-too-few": lambda: compare_sessions([few(19)]),
    "sessions-no-common-sites": lambda: compare_sessions([few(19), few(2)]),
}
