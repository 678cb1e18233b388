"""Doubts on a set of marks as a whole: names scrambled, another head, landmarks wrong. Millimetres.

The median distance of marks from their sites tells almost nothing of this kind. The limits lie
beyond what any of 85 digitised clean sets shows (OpenNeuro ds004561, ds005403, ds004024).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from headfit.comparing.common_shift import SetMotion
from headfit.comparing.head_and_slip import HeadUnderMarks
from headfit.comparing.swapped_labels import Mixup
from headfit.geometry.mesh import Floats
from headfit.marks.remarks import Remark, doubt, listed
from headfit.marks.site_names import LANDMARK_KEYS

_MIXED_SHARE, _FEWEST_MIXED = 0.1, 4
_OWN_SPREAD_MM = 4.0
_LANDMARK_MM = 6.0
_SHAPE_SD = 6.5
_HEIGHT_MM = (-6.0, 20.0)
_SLIDE_MM, _TURN_DEGREES = 25.0, 15.0
_OFF_HEAD_MM = 40.0


def doubts_on_set(
    n_marks: int,
    mixups: Sequence[Mixup],
    own_spread_mm: float,
    common: SetMotion | None,
    residuals_mm: Mapping[str, float],
    under: HeadUnderMarks | None,
) -> list[Remark]:
    """What speaks against the set as a whole, the likeliest reason in each sentence.

    Parameters
    ----------
    n_marks : int
    mixups : sequence of Mixup
    own_spread_mm : float
        Spread per axis of the own parts.
    common : SetMotion or None
    residuals_mm : mapping of str to float
        Of the landmarks, in the alignment by landmarks.
    under : HeadUnderMarks or None
        When the head was fitted to the marks.
    """
    found = []
    mixed = sum(len(mixup.names) for mixup in mixups)
    if mixed >= max(_FEWEST_MIXED, _MIXED_SHARE * n_marks):
        reason = _reason(mixups)
        text = (
            f"{mixed} of {n_marks} names do not belong to the places they stand at, {reason}; put "
            "the names right before anything else here is believed"
        )
        found.append(doubt("set-names-mixed", text, n_mixed=mixed, n_marks=n_marks))
    if common is not None and own_spread_mm > _OWN_SPREAD_MM:
        text = (
            f"marks scatter by {own_spread_mm:.1f} mm around any place the set could have, twice "
            "what clean sets show: another person's head, other names, or axes that are not those "
            "declared"
        )
        found.append(doubt("set-fits-nowhere", text, spread_mm=round(own_spread_mm, 2)))
    if residuals_mm:
        size = float(np.sqrt(sum(gap**2 for gap in residuals_mm.values()) / 9.0))
        worst = max(residuals_mm, key=lambda name: residuals_mm[name])
        if size > _LANDMARK_MM:
            text = (
                f"landmarks do not fit the head, {LANDMARK_KEYS[worst]} the least by "
                f"{residuals_mm[worst]:.0f} mm: was one set down elsewhere, or is it another head?"
            )
            found.append(doubt("set-landmarks", text, residuals_mm=dict(residuals_mm)))
    if common is not None:
        slide = float(np.linalg.norm(common.slide_mm))
        turn = float(np.linalg.norm(common.turn_degrees))
        if slide > _SLIDE_MM or turn > _TURN_DEGREES:
            text = (
                f"the set would have slid {slide:.0f} mm and turned {turn:.0f} degrees, more than "
                "caps do: landmarks of another session, exchanged landmarks or other axes"
            )
            found.append(doubt("set-too-far", text, slide_mm=slide, turn_degrees=turn))
        low, high = _HEIGHT_MM
        if not low < common.height_mm < high:
            text = (
                f"marks stand {common.height_mm:.0f} mm from the scalp on the whole: the head is "
                "of another size, or the unit is wrong"
            )
            found.append(doubt("set-height", text, height_mm=round(common.height_mm, 1)))
    if under is not None and under.shape_sd > _SHAPE_SD:
        text = (
            f"the marks lie on a head such as hardly anybody has ({under.shape_sd:.1f} times the "
            "usual spread from the mean): landmarks or axes may be wrong, or several people's "
            "marks in one file"
        )
        found.append(doubt("set-odd-head", text, shape_sd=round(under.shape_sd, 2)))
    return found


def _reason(mixups: Sequence[Mixup]) -> str:
    kinds = {mixup.kind for mixup in mixups}
    if "mirrored" in kinds:
        return "left and right are exchanged: by the names or by an axis that runs the other way"
    longest = max(mixups, key=lambda mixup: len(mixup.names))
    if longest.kind == "shifted" and 2 * len(longest.names) > sum(len(m.names) for m in mixups):
        return "one long chain of them: a row too many or too few, or a plug in the wrong socket"
    return "labels are scrambled, as when blocks of plugs are exchanged"


def marks_off_head(names: Sequence[str], distance_mm: Floats) -> list[Remark]:
    """The doubt on marks that lie nowhere near the head, whatever their names.

    Parameters
    ----------
    names : sequence of str
    distance_mm : (n,) float64
        From the scalp.
    """
    far = np.flatnonzero(np.abs(distance_mm) > _OFF_HEAD_MM).tolist()
    if not far:
        return []
    said = listed(f"{names[i]} ({abs(distance_mm[i]):.0f} mm)" for i in far)
    text = f"marks lie far off the head, no place of a sensor: {said}"
    return [
        doubt(
            "mark-off-head",
            text,
            names=[names[i] for i in far],
            distance_mm=distance_mm[far].round(1).tolist(),
        )
    ]
