"""What advice says one more measurement would bring, and what it brought.

Promised: the drop of the mean over sites of their root mean square error, as `headfit` says it.
Delivered: the same drop counted over many heads, whose true sites are known, from noisy sheets.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fit_study.scores import Subject, scored
from headfit import HeadfitError, Tape
from headfit.fitting.advice import next_measurements
from headfit.fitting.fit import FittedHead


@dataclass(frozen=True)
class Promise:
    """One measurement added to a sheet, over many heads; mm.

    Attributes
    ----------
    mean_mm, mean_error_mm : float
        Change of the mean error of the sites, and its standard error: below 0 is better.
    """

    name: str
    promised_mm: float
    delivered_mm: float
    error_mm: float
    mean_mm: float
    mean_error_mm: float


def kept_promises(
    heads: Sequence[Subject],
    sheet: Sequence[str],
    added: Sequence[str],
    fit: Callable[[Subject, Tape], FittedHead],
    generator: np.random.Generator,
) -> list[Promise]:
    """Each measurement added to the same noisy sheet of every head, best promise first.

    Parameters
    ----------
    heads : sequence of Subject
    sheet, added : sequence of str
        What was taken, and what may be taken next, one at a time.
    fit : callable
        The fit of a sheet of a head; a left-out head has a prior of its own.
    generator : numpy Generator
        Noise of 2 mm.
    """
    promised: dict[str, list[float]] = {name: [] for name in added}
    before: list[np.ndarray] = []
    after: dict[str, list[np.ndarray]] = {name: [] for name in added}
    for head in heads:
        noisy = head.noisy_sheet((*sheet, *added), generator)
        values = noisy.values_mm
        try:
            fitted = fit(head, noisy.with_values({name: values[name] for name in sheet}))
            off = (scored(fitted, head).plane_mm ** 2).sum(axis=1)
            with_one = {
                name: fit(head, noisy.with_values({n: values[n] for n in (*sheet, name)}))
                for name in added
            }
            offs = {n: (scored(f, head).plane_mm ** 2).sum(axis=1) for n, f in with_one.items()}
        except HeadfitError as error:
            print(f"{head.name} is left out: {error}")
            continue
        before.append(off)
        drops = dict(next_measurements(fitted))
        for name in added:
            promised[name].append(drops[name])
            after[name].append(offs[name])
    start = np.array(before)
    found = [_promise(name, promised[name], start, np.array(after[name])) for name in added]
    return sorted(found, key=lambda one: -one.promised_mm)


def _promise(name: str, promised: list[float], before: np.ndarray, after: np.ndarray) -> Promise:
    """The drop of the root mean square over heads, with the standard error of leaving one out."""

    def drop(rows: np.ndarray) -> float:
        spreads = [np.sqrt(off[rows].mean(axis=0)).mean() for off in (before, after)]
        return float(spreads[0] - spreads[1])

    every, n = np.arange(len(before)), len(before)
    without = np.array([drop(np.delete(every, i)) for i in every]) if n > 2 else np.zeros(n)
    error = float(np.sqrt((n - 1) / n * ((without - without.mean()) ** 2).sum()))
    change = np.sqrt(after).mean(axis=1) - np.sqrt(before).mean(axis=1)
    return Promise(
        name,
        float(np.mean(promised)),
        drop(every),
        error,
        float(change.mean()),
        float(change.std(ddof=1) / np.sqrt(n)),
    )
