"""All matches together: the shape of heads in general, apart from the habits of a laboratory.

A person of set s has shape = mean + habit of the set + what is this person's own. The habits are
how a laboratory touches landmarks and how its cap lies; they are normal with spreads declared here,
as are the height of the marks and the scale of a frame. Mean, covariance, habits, heights and
scales are found by expectation-maximisation on the quadratic that each match left behind.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from headfit.fitting.model_measures import measures_at
from headfit.fitting.shape import (
    Prior,
    opposed_parameters,
    parameter_kinds,
    parameter_names,
    shape_model,
)
from headfit.geometry.mesh import Floats
from prior_study.extract import SCALED_SETS, VAULTS
from prior_study.matching import HEIGHT_DOUBT_MM, HEIGHT_MM, LOG_SCALE, Match

# ---- what is believed before the data: wide, mirror-symmetric, nothing correlated.
# Spread of the log scales: heads of adults in ANSUR II 2012 and the NIOSH survey of 2003, men and
# women mixed (length 4.3 %, breadth 4.1 %); the height as the length, no survey measures it from
# the plane of nasion and ears.
SCALE_SPREAD = {"scale_x": 0.041, "scale_y": 0.0455, "scale_z": 0.044}
# A mode of the vault in mm, by its degree: alike on both sides, and opposed. Waves get weaker as
# they get shorter; sides differ half as much as heads do. A judgement, and the data overrule it.
VAULT_SPREAD_MM = {2: (1.1, 0.6), 3: (0.9, 0.5), 4: (0.6, 0.4)}
# Landmarks: people beside the template, mm. Judgements; the sets tell all but the inion and z.
LANDMARK_SPREAD_MM = {
    "nasion_y": 3.3, "nasion_z": 4.5, "inion_along": 9.0, "ears_out": 2.8, "ears_y": 4.0,
    "ears_z": 4.2, "nasion_x": 1.9, "inion_x": 3.0, "ears_x": 1.5, "ears_y_opposed": 2.4,
    "ears_z_opposed": 2.5,
}  # fmt: skip
# Where a template placed by hand is known to be off, to start from; without data it stays. Inion:
# 15 read on MRI lie 6 mm below the model's, with a systematic doubt of 6; people differ by 7.5.
START_MEAN = {"inion_along": -6.0}
# How many heads the beliefs on the covariance are worth (inverse Wishart), beside 99 of the data.
# With 12 the rings of left-out heads are too small (93 %), with 40 they hold.
START_HEADS = 40.0

# ---- habits of a set: spreads of its own mean beside the general one, mm. The sets differ by 2 mm
# in where the ears are touched and by 6 mm in their height; cap height fields differ too.
LANDMARK_HABIT_MM = {
    "nasion_y": 1.5, "nasion_z": 2.0, "ears_out": 1.5, "ears_y": 2.5, "ears_z": 3.0,
}  # fmt: skip
VAULT_HABIT_MM = 0.5
SCALE_HABIT = 0.03
_NO_HABIT = 1e-4
# People of one set: height of their marks (hair), mm, and scale of their frames.
PERSON_HEIGHT_MM, PERSON_LOG_SCALE = 0.7, 0.005

_ROUNDS = 40


@dataclass(frozen=True, eq=False)
class Pooled:
    """What all matches say together.

    Attributes
    ----------
    prior : Prior
        Mean and covariance of the shapes of people, without what a laboratory adds.
    habits : dict of str to (K,) float64
        By set.
    heights_mm, log_scales : dict of str to float
        By set.
    """

    prior: Prior
    habits: dict[str, Floats]
    heights_mm: dict[str, float]
    log_scales: dict[str, float]


def start() -> Prior:
    """The beliefs before the data."""
    names, kinds, opposed = parameter_names(), parameter_kinds(), opposed_parameters()
    spread = np.empty(len(names))
    for i, (name, kind) in enumerate(zip(names, kinds, strict=True)):
        if kind == "scale":
            spread[i] = SCALE_SPREAD[name]
        elif kind == "vault":
            spread[i] = VAULT_SPREAD_MM[int(name.split("_")[1])][int(opposed[i])]
        else:
            spread[i] = LANDMARK_SPREAD_MM[name]
    mean = np.array([START_MEAN.get(name, 0.0) for name in names])
    return Prior(mean, np.diag(spread**2))


def habit_spread(data_set: str) -> Floats:
    """(K,) spread of the habits of a set; scanned skins have no landmarks and no cap."""
    spread = np.full(len(parameter_names()), _NO_HABIT)
    if data_set == VAULTS:
        return spread
    opposed = opposed_parameters()
    for i, (name, kind) in enumerate(zip(parameter_names(), parameter_kinds(), strict=True)):
        if kind == "scale":
            spread[i] = SCALE_HABIT
        elif kind == "vault" and not opposed[i]:
            spread[i] = VAULT_HABIT_MM
        else:
            spread[i] = LANDMARK_HABIT_MM.get(name, _NO_HABIT)
    return spread


def pooled(matches: Sequence[Match], begin: Prior, n_start: float = START_HEADS) -> Pooled:
    """Mean, covariance and habits by expectation-maximisation.

    Parameters
    ----------
    matches : sequence of Match
    begin : Prior
        Beliefs before the data.
    n_start : float
        Heads its covariance is worth.
    """
    k, opposed = len(begin.mean), opposed_parameters()
    sets = sorted({match.data_set for match in matches})
    of_set = np.array([sets.index(match.data_set) for match in matches])
    habits = np.zeros((len(sets), k))
    heights = np.array([0.0 if s == VAULTS else HEIGHT_MM for s in sets])
    scales = np.array([LOG_SCALE if s in SCALED_SETS else 0.0 for s in sets])
    mean, covariance = np.array(begin.mean), np.array(begin.covariance)
    for _ in range(_ROUNDS):
        found, left = [], np.zeros((k, k))
        for match, s in zip(matches, of_set, strict=True):
            expected = np.concatenate([mean + habits[s], [heights[s], scales[s]]])
            own = np.zeros((k + 2, k + 2))
            own[:k, :k] = np.linalg.inv(covariance)
            own[k, k] = 1e6 if sets[s] == VAULTS else PERSON_HEIGHT_MM**-2
            own[k + 1, k + 1] = PERSON_LOG_SCALE**-2 if sets[s] in SCALED_SETS else 1e8
            doubt = np.linalg.inv(match.information + own)
            found.append(doubt @ (match.pull + own @ expected))
            left += doubt[:k, :k]
        at = np.array(found)
        away = at[:, :k] - mean - habits[of_set]
        covariance = (away.T @ away + left + n_start * begin.covariance) / (len(at) + n_start)
        # A head and its mirror image are equally likely.
        covariance[np.ix_(opposed, ~opposed)] = covariance[np.ix_(~opposed, opposed)] = 0.0
        mean, habits = _means(at[:, :k], of_set, sets, covariance, begin)
        for s, name in enumerate(sets):
            if name != VAULTS:
                rows = at[of_set == s]
                weight = len(rows) / PERSON_HEIGHT_MM**2
                pulled = weight * rows[:, k].mean() + HEIGHT_MM / HEIGHT_DOUBT_MM**2
                heights[s] = pulled / (weight + HEIGHT_DOUBT_MM**-2)
            if name in SCALED_SETS:
                scales[s] = at[of_set == s, k + 1].mean()
    return Pooled(
        Prior(mean, covariance),
        dict(zip(sets, habits, strict=True)),
        dict(zip(sets, heights.tolist(), strict=True)),
        dict(zip(sets, scales.tolist(), strict=True)),
    )


# The mean of the data counts alone, but for the inion, which no point tells: what is not seen by
# any set must not drift with what is.
_MEAN_DOUBT = 1e3


def _means(
    at: Floats, of_set: Floats, sets: list[str], covariance: Floats, begin: Prior
) -> tuple[Floats, Floats]:
    """General mean (K,) and habits (s, K) of sets, jointly, mirror-symmetric."""
    k, symmetric = len(begin.mean), ~opposed_parameters()
    precision = np.linalg.inv(covariance)
    system = np.zeros((k * (len(sets) + 1),) * 2)
    right = np.zeros(len(system))
    doubt = np.full(k, _MEAN_DOUBT)
    system[:k, :k] = np.diag(doubt**-2)
    right[:k] = begin.mean * doubt**-2
    for s, name in enumerate(sets):
        rows, here = of_set == s, slice(k * (s + 1), k * (s + 2))
        both, pull = rows.sum() * precision, precision @ at[rows].sum(axis=0)
        for block in ((slice(0, k),) * 2, (slice(0, k), here), (here, slice(0, k)), (here, here)):
            system[block] += both
        system[here, here] += np.diag(habit_spread(name) ** -2.0)
        right[:k] += pull
        right[here] += pull
    solved = np.linalg.solve(system, right).reshape(len(sets) + 1, k)
    return solved[0] * symmetric, solved[1:] * symmetric


# ---- what the program starts from
# Correlations of a landmark with anything are taken half: they rest on five sets whose habits they
# can be mistaken for.
LANDMARK_CORRELATION = 0.5
INION_ALONG_MM, INION_SPREAD_MM = -6.0, 9.0


# Absolute size: frames of two sets are scaled, in the others size trades with the height of marks
# over the skin. A survey by caliper knows it: ANSUR II 2012, mean of men and women in mm. Calipers
# press, and populations differ by some 2 mm; the size of the data counts as that of 16 heads, the
# skins, which alone have neither marks nor frame.
SURVEY_MM = {"head_length": (189.8 + 199.5) / 2, "head_breadth": (147.8 + 154.3) / 2}
SURVEY_DOUBT_MM = 2.0
HEADS_OF_KNOWN_SIZE = 16


def _as_large_as_surveyed(mean: Floats, covariance: Floats) -> Floats:
    """The mean (K,) with what the survey says of length and breadth."""
    measures = measures_at(shape_model(), mean)
    names = tuple(SURVEY_MM)
    slopes, known = measures.rates(names), covariance / HEADS_OF_KNOWN_SIZE
    gap = np.array(list(SURVEY_MM.values())) - measures.values_mm(names)
    seen = slopes @ known @ slopes.T + SURVEY_DOUBT_MM**2 * np.eye(len(names))
    return np.asarray(
        mean + ~opposed_parameters() * (known @ slopes.T @ np.linalg.solve(seen, gap))
    )


def predictive(of: Pooled) -> Prior:
    """The prior for a person measured in a laboratory not seen before."""
    names, kinds = parameter_names(), np.array(parameter_kinds())
    mean, covariance = np.array(of.prior.mean), np.array(of.prior.covariance)
    for name, habit in LANDMARK_HABIT_MM.items():
        covariance[names.index(name), names.index(name)] += habit**2
    spread = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(spread, spread)
    marks = kinds == "landmark"
    either = marks[:, None] | marks[None, :]
    correlation = np.where(either, LANDMARK_CORRELATION * correlation, correlation)
    np.fill_diagonal(correlation, 1.0)
    for name, declared in SCALE_SPREAD.items():
        spread[names.index(name)] = declared
    along = names.index("inion_along")
    mean[along], spread[along] = INION_ALONG_MM, INION_SPREAD_MM
    final = correlation * np.outer(spread, spread)
    return Prior(_as_large_as_surveyed(mean, final), final)
