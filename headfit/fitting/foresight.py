"""What a changed value would do to a fitted head, before the fit has answered. Millimetres.

A *value* is a reading of the sheet or a shape mode set by hand. Around the fit, parameters and
frame follow it in a straight line; a page that holds the shape model draws that at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import Landmarks
from headfit.fitting.fit import FittedHead
from headfit.fitting.hand_set_shape import HAND_MODES
from headfit.fitting.shape import ShapeModel, parameter_names, shape_model
from headfit.geometry.mesh import Floats


@dataclass(frozen=True, eq=False)
class Foresight:
    """How the head follows each value.

    Attributes
    ----------
    rotation : (3, 3) float64
        With `shift_mm`, from the frame of the shape model into the head frame.
    shift_mm : (3,) float64
    gain : mapping of str to (K,) float64
        Change of each shape parameter for a value 1 mm larger.
    frame_steps : mapping of str to (12,) float64
        Change of rotation (row by row) and shift for a value 1 mm larger.
    now_mm : mapping of str to float
        Where each value stands.
    """

    rotation: Floats
    shift_mm: Floats
    gain: Mapping[str, Floats]
    frame_steps: Mapping[str, Floats]
    now_mm: Mapping[str, float]


def foresee(fitted: FittedHead, set_by_hand: Mapping[str, float]) -> Foresight:
    """How a fitted head follows its readings and the shape modes that can be set by hand.

    Parameters
    ----------
    fitted : FittedHead
    set_by_hand : mapping of str to float
        The modes that were set when it was fitted, mm.
    """
    names = (*fitted.estimate.names, *HAND_MODES)
    tracer = fitted.measures.tracer
    points = np.array([tracer.point(name) for name in LANDMARK_NAMES])
    rotation, shift = Landmarks.from_points(points).frame
    gain = np.column_stack([fitted.estimate.gain, _hand_gain(fitted, set_by_hand)])
    rates = np.array([tracer.point_rate(name) for name in LANDMARK_NAMES]) @ gain  # (4, 3, m)
    steps = {}
    for k, name in enumerate(names):
        turned, shifted = Landmarks.from_points(points + rates[:, :, k]).frame
        steps[name] = np.concatenate([(turned - rotation).ravel(), shifted - shift])
    parameters = dict(zip(fitted.parameter_names, fitted.parameters.tolist(), strict=True))
    return Foresight(
        rotation,
        shift,
        {name: gain[:, k] for k, name in enumerate(names)},
        steps,
        dict(fitted.tape.values_mm) | {name: parameters[name] for name in HAND_MODES},
    )


def _hand_gain(fitted: FittedHead, set_by_hand: Mapping[str, float]) -> Floats:
    """(K, h) how the parameters follow each mode set by hand; the readings stay as they are."""
    names = parameter_names()
    model: ShapeModel = shape_model(fitted.age, fitted.sex, tuple(sorted(set(fitted.doubtful))))
    prior = model.prior
    rows = [names.index(name) for name in set_by_hand]
    # What is set already moves the prior mean, and the readings pull back what they see of that.
    set_already = (
        fitted.estimate.kept
        @ np.linalg.solve(prior.covariance[np.ix_(rows, rows)], prior.covariance[rows]).T
    )
    known = fitted.estimate.kept @ fitted.estimate.prior_covariance
    columns = []
    for name in HAND_MODES:
        k = names.index(name)
        if name in set_by_hand:
            columns.append(set_already[:, list(set_by_hand).index(name)])
        else:  # setting it moves what prior and readings tie to it
            columns.append(known[:, k] / known[k, k])
    return np.column_stack(columns)
