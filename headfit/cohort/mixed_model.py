"""A difference between conditions that the same people went through: a mixed model. Millimetres.

One value a set of marks (its mean distance over the sites), so that marks of one set, which move
together, do not pass for independent. Fixed: the condition. Random: the person. By restricted
maximum likelihood (statsmodels).
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from headfit.cohort.agreement import TAIL, UNKNOWN, Estimate
from headfit.errors import missing_library


def differences(
    values_mm: ArrayLike, people: Sequence[str], levels: Sequence[str]
) -> dict[str, Estimate]:
    """Every level of a condition less the first one, with its 95 % interval.

    The interval is Student's, with the degrees of freedom within people: values less people less
    differences (Pinheiro and Bates, Mixed-Effects Models in S and S-PLUS, 2000, section 2.4). For
    pairs it is that of a paired t test; the normal one would be too narrow for a dozen people.

    Parameters
    ----------
    values_mm : (n,) array_like
        One a set of marks.
    people, levels : sequence of str
        Whose each is, and under which condition.

    Raises
    ------
    InputError
        statsmodels is not installed.
    """
    try:
        from statsmodels.regression.mixed_linear_model import MixedLM
    except ImportError as error:
        raise missing_library("statsmodels", "fit a mixed model", extra="study") from error
    given = np.asarray(values_mm, float)
    names = sorted(set(levels))
    level = np.array(levels)
    design = np.column_stack([np.ones(len(given)), *(level == name for name in names[1:])])
    with warnings.catch_warnings():
        # A person spread of nought lies on the edge of what is possible: the estimate stands.
        warnings.simplefilter("ignore")
        try:
            fitted = MixedLM(given, design.astype(float), groups=np.array(people)).fit(reml=True)
        except (np.linalg.LinAlgError, ValueError):
            return dict.fromkeys(names[1:], UNKNOWN)
    freedom = len(given) - len(set(people)) - (len(names) - 1)
    width = float(stats.t.ppf(TAIL, freedom)) if freedom > 0 else np.nan
    return {
        name: Estimate(value, value - width * error, value + width * error)
        for name, value, error in zip(
            names[1:], fitted.fe_params[1:].tolist(), fitted.bse_fe[1:].tolist(), strict=True
        )
    }
