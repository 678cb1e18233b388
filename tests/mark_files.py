"""Files of marks for the tests of reading them: invented, in the units and folders of real ones."""

from __future__ import annotations

import json
from pathlib import Path

from marked_heads import template_sites

DATA = Path(__file__).parent / "data" / "marks"
METRES = DATA / "metres/sub-01/eeg/sub-01_space-CapTrak_electrodes.tsv"
CENTIMETRES = DATA / "centimetres/sub-02/eeg/sub-02_task-rest_run-1_electrodes.tsv"
SITES = template_sites("10-10")
GOOD = "name\tx\ty\tz\n" + "".join(
    f"{n}\t{p[0]:.2f}\t{p[1]:.2f}\t{p[2]:.2f}\n"
    for n, p in zip(SITES.names, SITES.points_mm, strict=True)
)
LANDMARKS = {"NAS": [0, 95, 0], "LPA": [-73, 0, 0], "RPA": [73, 0, 0]}
DECLARED = {
    "EEGCoordinateSystem": "CapTrak",
    "EEGCoordinateUnits": "mm",
    "AnatomicalLandmarkCoordinates": LANDMARKS,
    "AnatomicalLandmarkCoordinateUnits": "mm",
}


def written(folder: Path, name: str, text: str | bytes) -> Path:
    """The path, after text or bytes stand there."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def bids(folder: Path, coordsystem: dict[str, object] | None = None, text: str = GOOD) -> Path:
    """A BIDS electrodes.tsv, with its coordsystem.json if one is given."""
    if coordsystem is not None:
        written(folder, "sub-01/eeg/sub-01_coordsystem.json", json.dumps(coordsystem))
    return written(folder, "sub-01/eeg/sub-01_electrodes.tsv", text)
