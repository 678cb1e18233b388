"""The sites that marks are compared with, with normals and the directions of their arcs.

Along is the direction of the arc of a site, away from its start; across is to the left of that,
seen from outside. Frame of the head, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from headfit.anatomy.head import HasHead, Head
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import TABLE, BesideEar, Sites, place_sites, sites_on
from headfit.comparing.directions import WordPair, word_pairs
from headfit.fitting.spreads import site_axes
from headfit.geometry.mesh import Floats
from headfit.geometry.rigid import RigidMotion
from headfit.marks.marks import head_frame


@dataclass(frozen=True, eq=False)
class Targets:
    """Sites in the order of the marks, in the frame of their head.

    Attributes
    ----------
    sites : Sites
        The whole set they were taken from.
    names : tuple of str
    points_mm, normals, along, across : (n, 3) float64
        Places, outward normals, unit tangents along the arc of the site (away from its start) and
        to the left of it seen from outside.
    arcs : tuple of (str or None)
        Arc of each site; None beside an ear or below a row.
    arc_lengths_mm : (n,) float64
        NaN without an arc.
    fixing : (n,) bool
        False beside an ear: these places are practice, no construction, and no fit uses them.
    words : tuple of pairs
        For going forwards and backwards along, and across.
    to_head : RigidMotion
        Into the head frame of the landmarks.
    """

    sites: Sites
    names: tuple[str, ...]
    points_mm: Floats
    normals: Floats
    along: Floats
    across: Floats
    arcs: tuple[str | None, ...]
    arc_lengths_mm: Floats
    fixing: NDArray[np.bool_]
    words: tuple[tuple[WordPair, WordPair], ...] = field(repr=False)
    to_head: RigidMotion = field(repr=False)

    def __repr__(self) -> str:
        return f"Targets({len(self)} sites)"

    def __len__(self) -> int:
        return len(self.names)

    @cached_property
    def landmarks(self) -> dict[str, Floats]:
        """The four landmarks of the head."""
        return {name: self.sites.tracer.point(name) for name in LANDMARK_NAMES}

    def taken(self, rows: list[int]) -> Targets:
        """Some of the sites, in the order of `rows`."""
        return Targets(
            self.sites,
            tuple(self.names[i] for i in rows),
            self.points_mm[rows],
            self.normals[rows],
            self.along[rows],
            self.across[rows],
            tuple(self.arcs[i] for i in rows),
            self.arc_lengths_mm[rows],
            self.fixing[rows],
            tuple(self.words[i] for i in rows),
            self.to_head,
        )


def targets_for(head_or_sites: Head | HasHead | Sites, names: tuple[str, ...]) -> Targets:
    """The sites of these names on a head, or on the head on which sites were placed.

    Parameters
    ----------
    head_or_sites : Head, FittedHead or Sites
    names : tuple of str
        Sites in their declared spelling.
    """
    if not isinstance(head_or_sites, Sites):
        return _all_targets(place_sites(head_or_sites, names))
    if set(names).issubset(head_or_sites.names):
        every = _all_targets(head_or_sites)
    else:
        every = _all_targets(sites_on(head_or_sites.tracer, names, "own list"))
    row = {name: i for i, name in enumerate(every.names)}
    return every.taken([row[name] for name in names])


@lru_cache(maxsize=8)
def _all_targets(sites: Sites) -> Targets:
    """All of a set; kept for the next comparison with the same set."""
    along, across = site_axes(sites)
    places = [sites.arc_of(name) for name in sites.names]
    arcs = tuple(None if place is None else place[0] for place in places)
    lengths = {arc: sites.tracer.length_mm(arc) for arc in set(arcs) if arc is not None}
    to_head = head_frame({name: sites.tracer.point(name) for name in LANDMARK_NAMES})
    assert to_head is not None
    turned = along @ to_head.rotation.T, across @ to_head.rotation.T
    return Targets(
        sites,
        sites.names,
        sites.points_mm,
        sites.normals,
        along,
        across,
        arcs,
        np.array([np.nan if arc is None else lengths[arc] for arc in arcs]),
        np.array([not isinstance(TABLE[name], BesideEar) for name in sites.names], dtype=bool),
        tuple(word_pairs(a, b) for a, b in zip(*turned, strict=True)),
        to_head,
    )
