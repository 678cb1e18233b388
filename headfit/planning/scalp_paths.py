"""A tape laid over the scalp from one place to another, by the shortest way a tape finds.

The path is the plane section through both places that stands upright on the skin between them: a
great circle on a sphere. Millimetres, any frame.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from headfit.anatomy.arcs import ArcTracer
from headfit.geometry.mesh import Floats
from headfit.geometry.sections import cut_all
from headfit.geometry.surface import nearest, normals_at
from headfit.geometry.taperun import Length, TapeRun, lay_all

Pair = tuple[Floats, Floats]

# Where the two normals leave less than this in common (2 for one place, 0 for opposite places), a
# plane that stands upright between them means little and the tape is laid over the vertex.
STEEP_ENOUGH = 0.7
_OFF_MM = 1.0
# Cosine between the normals of two places that do not face the same way.
ACROSS = 0.5


def scalp_paths(tracer: ArcTracer, pairs: Sequence[Pair]) -> list[TapeRun]:
    """The tape from the first place of each pair to the second, laid by the rules of the tracer.

    Between opposite sides of the head (ear to ear) it runs over the vertex, never under the chin.

    Parameters
    ----------
    tracer : ArcTracer
        Of the head.
    pairs : sequence of (first, second)
        Each (3,) in mm on the surface, not the same place.

    Raises
    ------
    MeshError
        Two places coincide, or the surface is broken between them.

    >>> from headfit import load_template, place_sites
    >>> sites = place_sites(load_template())
    >>> (path,) = scalp_paths(sites.tracer, [(sites["Fz"], sites["Cz"])])
    >>> round(path.length_mm), round(0.2 * sites.tracer.length_mm("midline"))
    (70, 70)
    """
    if not pairs:
        return []
    first, second = (np.array(places) for places in zip(*pairs, strict=True))
    # A place is the end of several pairs; its normal is looked up once.
    ends, of_each = np.unique(np.concatenate([first, second]), axis=0, return_inverse=True)
    feet, off_mm = nearest(tracer.mesh, ends)
    normals = normals_at(tracer.mesh, feet)[of_each.ravel()]
    # What stands on an ear is reached from the skin beside it.
    ends = np.where(off_mm[:, None] > _OFF_MM, feet.on(tracer.mesh.vertices_mm), ends)
    first, second = (ends[rows] for rows in np.split(of_each.ravel(), 2))
    one, other = normals[: len(pairs)], normals[len(pairs) :]
    middle, span = (first + second) / 2, second - first
    upright = one + other
    # At the ears the skin faces down; a tape across the head never goes that way.
    up = _up(tracer)
    across = np.einsum("ij,ij->i", one, other) < ACROSS
    upright -= np.outer(np.where(across, np.minimum(upright @ up, 0.0), 0.0), up)
    upright -= (np.einsum("ij,ij->i", upright, span) / (span**2).sum(axis=1))[:, None] * span
    steep = np.linalg.norm(upright, axis=1, keepdims=True)
    beside = np.linalg.norm(span, axis=1, keepdims=True) / 2 * upright / np.maximum(steep, 1e-9)
    above = np.where(steep < STEEP_ENOUGH, tracer.point("Cz"), middle + beside)
    triples = list(zip(first, above, second, strict=True))
    length: Length = "skin" if tracer.rules.curve == "shortest" else tracer.rules.length
    curves = cut_all(tracer.mesh, triples, via_is_hint=True)
    return lay_all(curves, length, [False] * len(curves))


def _up(tracer: ArcTracer) -> Floats:
    """(3,) unit vector to the top of the head, as `Landmarks.up`."""
    nasion, inion, left, right = (
        tracer.point(name)
        for name in ("nasion", "inion", "left_preauricular", "right_preauricular")
    )
    up = np.cross(right - left, nasion - inion)
    return np.asarray(up / np.linalg.norm(up))
