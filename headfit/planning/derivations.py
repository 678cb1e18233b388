"""Derivations measured on a head: length along the scalp, evenness of a chain and of the sides.

Millimetres. The amplitude of a bipolar derivation grows with its length, so unequal lengths make
unequal sides (ACNS Guideline 3, 2016: interelectrode distances are kept equal).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from headfit.anatomy.arcs import on_left
from headfit.anatomy.sites import Sites
from headfit.errors import InputError, sentence
from headfit.geometry.mesh import Floats, frozen
from headfit.planning.montages import AVERAGE, Chain, Derivation, Montage
from headfit.planning.scalp_paths import scalp_paths

# Design choices, not published: half a centimetre is the habit for measuring a tape again, and the
# spread of undisturbed 10-20 chains of the template heads is up to 0.18 of their mean length.
UNEVEN_SIDES_MM = 5.0
UNEVEN_CHAIN_FRACTION = 0.25


@dataclass(frozen=True, eq=False)
class MeasuredDerivation:
    """A derivation and the tape between its two sites.

    Attributes
    ----------
    derivation : Derivation
    length_mm : float
        Along the scalp.
    path_mm : (k, 3) float64
        The curve over the skin.
    before_mm : float or None
        Length before a site was moved; None when neither was.
    """

    derivation: Derivation
    length_mm: float
    path_mm: Floats
    before_mm: float | None = None

    @property
    def name(self) -> str:
        """As it is written on a recording."""
        return self.derivation.name

    @property
    def change_mm(self) -> float:
        """How much longer it became by moving sites."""
        return 0.0 if self.before_mm is None else self.length_mm - self.before_mm


@dataclass(frozen=True, eq=False)
class MeasuredChain:
    """A chain with its lengths."""

    chain: Chain
    derivations: tuple[MeasuredDerivation, ...]

    @property
    def mean_mm(self) -> float:
        """Mean length."""
        return sum(d.length_mm for d in self.derivations) / len(self.derivations)

    @property
    def spread_mm(self) -> float:
        """Longest less shortest."""
        lengths = [d.length_mm for d in self.derivations]
        return max(lengths) - min(lengths)


@dataclass(frozen=True, eq=False)
class MeasuredMontage:
    """A montage measured on a head.

    Attributes
    ----------
    montage : Montage
    chains : tuple of MeasuredChain
        Without the derivations that cannot be recorded, and without empty chains.
    missing : dict of str to str
        Derivations that cannot be recorded, and why.
    to_average : tuple of str
        Derivations to the average of all sites: no length, so in no chain here.
    uneven_sides_mm : float
        A larger left-right difference is a finding.
    uneven_chain_fraction : float
        So is a larger spread within a chain, as a fraction of its mean length.
    """

    montage: Montage
    chains: tuple[MeasuredChain, ...]
    missing: dict[str, str]
    to_average: tuple[str, ...] = ()
    uneven_sides_mm: float = UNEVEN_SIDES_MM
    uneven_chain_fraction: float = UNEVEN_CHAIN_FRACTION

    def __repr__(self) -> str:
        return (
            f"MeasuredMontage({self.montage.name[:60]!r}, {len(self.derivations)} derivations in "
            f"{len(self.chains)} chains, {len(self.missing)} missing)"
        )

    @cached_property
    def derivations(self) -> tuple[MeasuredDerivation, ...]:
        """All in the order they are read."""
        return tuple(d for chain in self.chains for d in chain.derivations)

    def __getitem__(self, name: str) -> MeasuredDerivation:
        """One derivation by its name, in either order of its sites."""
        wanted = Derivation.from_text(name)
        pair = {wanted.first, wanted.second}
        for derivation in self.derivations:
            if {derivation.derivation.first, derivation.derivation.second} == pair:
                return derivation
        raise InputError(
            sentence(f"montage {self.montage.name!r}", f"hold {wanted.name}", "no such derivation"),
            code="derivation-missing",
        )

    @cached_property
    def side_differences_mm(self) -> dict[str, tuple[str, float]]:
        """For every left derivation with a homologue: its name, and left less right length."""
        by_sites = {
            frozenset((d.derivation.first, d.derivation.second)): d for d in self.derivations
        }
        found: dict[str, tuple[str, float]] = {}
        for sites, derivation in by_sites.items():
            other = by_sites.get(derivation.derivation.homologue)
            if other is None or other is derivation or not on_left(sites):
                continue
            found[derivation.name] = other.name, derivation.length_mm - other.length_mm
        return found

    @cached_property
    def findings(self) -> tuple[str, ...]:
        """What to know before recording, one sentence each; empty when all is even."""
        found = [
            f"Unequal sides: {left} {self[left].length_mm:.0f} mm, {right} "
            f"{self[right].length_mm:.0f} mm, {abs(gap):.0f} mm longer on the "
            f"{'left' if gap > 0 else 'right'}."
            for left, (right, gap) in self.side_differences_mm.items()
            if abs(gap) > self.uneven_sides_mm
        ]
        for chain in self.chains:
            if chain.chain.even and chain.spread_mm > self.uneven_chain_fraction * chain.mean_mm:
                short, *_, long = sorted(chain.derivations, key=lambda d: d.length_mm)
                found.append(
                    f"Unequal spacing, {chain.chain.name}: {short.name} {short.length_mm:.0f} mm "
                    f"to {long.name} {long.length_mm:.0f} mm, mean {chain.mean_mm:.0f} mm."
                )
        if self.to_average:
            found.append(
                f"{', '.join(self.to_average)}: no length, since {AVERAGE}, the average of all "
                "sites, is no place. Fp1, Fp2, F7 and F8 may be left out of it against eye "
                "movements (ACNS Guideline 3, 2016)."
            )
        by_reason: dict[str, list[str]] = {}
        for name, reason in self.missing.items():
            by_reason.setdefault(reason, []).append(name)
        found += [
            f"{', '.join(names)} cannot be recorded: {reason}."
            for reason, names in by_reason.items()
        ]
        return tuple(found)

    @cached_property
    def changes(self) -> tuple[str, ...]:
        """What moving sites does to the lengths, one sentence for each derivation it touches."""
        return tuple(
            f"{derivation.name} changes from {derivation.before_mm:.0f} to "
            f"{derivation.length_mm:.0f} mm because a site was moved."
            for derivation in self.derivations
            if derivation.before_mm is not None
        )


def _between(path_mm: Floats, ends: tuple[Floats | None, Floats | None]) -> Floats:
    """(k, 3) the path with its own ends: an ear lobe stands off the scalp on which a tape runs."""
    first, last = ends
    assert first is not None
    assert last is not None
    before = [first[None]] if np.linalg.norm(first - path_mm[0]) > 1e-6 else []
    after = [last[None]] if np.linalg.norm(last - path_mm[-1]) > 1e-6 else []
    return frozen(np.concatenate([*before, path_mm, *after]))


def measure_montage(
    montage: Montage,
    sites: Sites,
    moved: Mapping[str, Floats | None] | None = None,
    *,
    uneven_sides_mm: float = UNEVEN_SIDES_MM,
    uneven_chain_fraction: float = UNEVEN_CHAIN_FRACTION,
) -> MeasuredMontage:
    """The lengths of a montage along the scalp.

    Parameters
    ----------
    montage : Montage
    sites : Sites
        Derivations with other sites are listed as missing.
    moved : mapping of site to (3,) or None, optional
        Where moved sites stand now, mm on the scalp; None for a site that is left out.
    uneven_sides_mm, uneven_chain_fraction : float
        What counts as unequal; settings, not published limits.

    Raises
    ------
    MeshError
        The surface is broken between two sites.

    >>> from headfit import load_template, place_sites
    >>> from headfit.planning.montages import standard_montages
    >>> longitudinal = standard_montages()["longitudinal"]
    >>> measured = measure_montage(longitudinal, place_sites(load_template()))
    >>> round(measured["Fz-Cz"].length_mm), measured.findings
    (70, ())
    """
    moved = moved or {}
    before = dict(zip(sites.names, sites.points_mm, strict=True))
    now = {**before, **{name: point for name, point in moved.items() if name in before}}
    kept: list[Derivation] = []
    missing: dict[str, str] = {}
    to_average: list[str] = []
    for chain in montage.chains:
        for derivation in chain.derivations:
            absent = [name for name in derivation.sites if name not in before]
            left_out = [n for n in derivation.sites if n in before and now[n] is None]
            if absent or left_out:
                reasons = [f"{' and '.join(absent)} not among the sites"] if absent else []
                reasons += [f"{' and '.join(left_out)} left out"] if left_out else []
                missing[derivation.name] = ", ".join(reasons)
            elif derivation.second == AVERAGE:
                to_average.append(derivation.name)
            else:
                kept.append(derivation)
    changed = [d for d in kept if d.first in moved or d.second in moved]
    pairs = [(now[d.first], now[d.second]) for d in kept]
    pairs += [(before[d.first], before[d.second]) for d in changed]
    runs = scalp_paths(sites.tracer, [(a, b) for a, b in pairs if a is not None and b is not None])
    length_before = {
        d.name: run.length_mm for d, run in zip(changed, runs[len(kept) :], strict=True)
    }
    measured = {
        d.name: MeasuredDerivation(
            d, run.length_mm, _between(run.curve.path_mm, pair), length_before.get(d.name)
        )
        for d, run, pair in zip(kept, runs, pairs, strict=False)
    }
    chains = tuple(
        MeasuredChain(chain, found)
        for chain in montage.chains
        if (found := tuple(measured[d.name] for d in chain.derivations if d.name in measured))
    )
    return MeasuredMontage(
        montage, chains, missing, tuple(to_average), uneven_sides_mm, uneven_chain_fraction
    )
