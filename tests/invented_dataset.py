"""A BIDS dataset of invented people, written to a folder; no real person."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from marked_heads import Floats, scalp_names, template_targets

from headfit.marks.marks import Marks

LANDMARKS = {"nasion": "NAS", "left_preauricular": "LPA", "right_preauricular": "RPA"}
TAPE = {"nasion_inion_cm": "35.5", "preauricular_arc_cm": "36.0", "ring_cm": "55.5"}


def marks_near(seed: int, noise_mm: float = 2.0, slide_mm: float = 0.0) -> Marks:
    """10-10 marks near their sites on the template."""
    rng = np.random.default_rng(seed)
    targets = template_targets("10-10")
    points = targets.points_mm + rng.normal(scale=noise_mm, size=targets.points_mm.shape)
    landmarks = {name: targets.landmarks[name] for name in LANDMARKS}
    return Marks(targets.names, points + np.array([0.0, slide_mm, 0.0]), landmarks)


def write_set(
    folder: Path, stem: str, names: tuple[str, ...], points: Floats, landmarks: Mapping[str, Floats]
) -> Path:
    """electrodes.tsv and coordsystem.json of one set of marks."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = [
        "\t".join([name, *(f"{value:.3f}" for value in point)])
        for name, point in zip(names, points, strict=True)
    ]
    path = folder / f"{stem}_electrodes.tsv"
    path.write_text("name\tx\ty\tz\n" + "\n".join(rows) + "\n")
    system = {
        "EEGCoordinateSystem": "CapTrak",
        "EEGCoordinateUnits": "mm",
        "AnatomicalLandmarkCoordinates": {
            LANDMARKS[name]: [round(float(x), 3) for x in point]
            for name, point in landmarks.items()
        },
        "AnatomicalLandmarkCoordinateSystem": "CapTrak",
        "AnatomicalLandmarkCoordinateUnits": "mm",
    }
    (folder / f"{stem}_coordsystem.json").write_text(json.dumps(system))
    return path


def write_marks(root: Path, person: str, session: str, marks: Marks) -> Path:
    """One set of marks of a person and session ("" for none)."""
    folder = root / person / session / "eeg"
    stem = f"{person}_{session}" if session else person
    return write_set(folder, stem, marks.names, marks.points_mm, marks.landmarks)


def write_dataset(
    root: Path,
    n_people: int = 3,
    sessions: tuple[str, ...] = ("ses-1", "ses-2"),
    *,
    tape: bool = True,
) -> Path:
    """A whole dataset; every other person is of group "b"."""
    root.mkdir(parents=True, exist_ok=True)
    (root / "dataset_description.json").write_text(
        json.dumps({"Name": "invented people", "BIDSVersion": "1.11.0"})
    )
    lines = ["\t".join(["participant_id", "age", "sex", "group", *TAPE])]
    for i in range(n_people):
        person = f"sub-{i + 1:02d}"
        given = list(TAPE.values()) if tape else ["n/a"] * len(TAPE)
        lines.append("\t".join([person, str(20 + i), "FM"[i % 2], "ab"[i % 2], *given]))
        for k, session in enumerate(sessions):
            write_marks(root, person, session, marks_near(10 * i + k))
    (root / "participants.tsv").write_text("\n".join(lines) + "\n")
    assert len(scalp_names("10-10")) > 60
    return root
