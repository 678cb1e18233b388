"""Tell whether two folders hold the same template heads: ``compare.py BUILT COMMITTED``."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

TOLERANCE_MM = 1e-3
#: Weights move a point by at most their change times the longest edge, about 10 mm.
TOLERANCE_WEIGHT = TOLERANCE_MM / 10.0


def differences(built: Path, committed: Path) -> list[str]:
    """Return one clause for each way in which the committed heads are not the built ones."""
    found = []
    with np.load(built / "heads.npz") as new, np.load(committed / "heads.npz") as old:
        if sorted(new) != sorted(old):
            return [f"arrays {sorted(old)} where {sorted(new)} are made"]
        for name in sorted(new):
            if new[name].shape != old[name].shape or new[name].dtype != old[name].dtype:
                found.append(f"{name} is {old[name].dtype}{old[name].shape}")
            elif np.issubdtype(new[name].dtype, np.integer):
                n_other = int((new[name] != old[name]).sum())
                found += [f"{n_other} numbers in {name}"] if n_other else []
            else:
                apart_mm = float(np.abs(new[name] - old[name]).max())
                # written so that a nan counts as a difference
                found += [] if apart_mm <= TOLERANCE_MM else [f"{name} by {apart_mm:.3f} mm"]
    new_text, old_text = (
        json.loads((folder / "heads.json").read_text()) for folder in (built, committed)
    )
    new_marks, old_marks = new_text.pop("landmarks"), old_text.pop("landmarks")
    if new_text != old_text or sorted(new_marks) != sorted(old_marks):
        found.append("the wording of heads.json")
    for name in sorted(new_marks.keys() & old_marks.keys()):
        weights = [np.array(marks[name]["weights"]) for marks in (new_marks, old_marks)]
        same = new_marks[name]["vertices"] == old_marks[name]["vertices"]
        if not same or not np.abs(weights[0] - weights[1]).max() <= TOLERANCE_WEIGHT:
            found.append(f"the {name.replace('_', ' ')}")
    return found


def main() -> int:
    """Compare the two folders of the command line; print one sentence."""
    built, committed = (Path(argument) for argument in sys.argv[1:3])
    found = differences(built, committed)
    if found:
        print(f"{committed} differs from what the script makes: {'; '.join(found)}.")
        return 1
    print(f"{committed} holds what the script makes, to {TOLERANCE_MM} mm.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
