"""A tape laid over the scalp from one place to another, by the shortest way a tape finds.

The path is the plane section through both places that stands upright on the skin between them: a
great circle on a sphere. Between opposite sides of the head, where upright has no meaning, it runs
over the vertex. Millimetres, any frame.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from headfit.anatomy.arcs import ArcTracer
from headfit.geometry.mesh import Floats
from headfit.geometry.sections import cut_all
from headfit.geometry.surface import nearest, normals_at
from headfit.geometry.taperun import Length, TapeRun, lay

Pair = tuple[Floats, Floats]


def scalp_paths(tracer: ArcTracer, pairs: Sequence[Pair]) -> list[TapeRun]:
    """The tape from the first place of each pair to the second, laid by the rules of the tracer.

    Parameters
    ----------
    tracer : ArcTracer
        Of the head, with its vertex.
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
    mesh, vertex = tracer.mesh, tracer.point("Cz")
    first, second = (np.array(places) for places in zip(*pairs, strict=True))
    one, other = (normals_at(mesh, nearest(mesh, places)[0]) for places in (first, second))
    middle, span = (first + second) / 2, second - first
    gap = np.linalg.norm(span, axis=1, keepdims=True)
    upright = _square_to(one + other, span)
    top = _square_to(vertex - middle, span)
    steepness = np.linalg.norm(upright, axis=1)
    below = np.einsum("ij,ij->i", upright, top) < 0
    opposite = (np.einsum("ij,ij->i", one, other) < 0) & (below | (steepness < 0.3))
    upright[opposite] = top[opposite]
    above = middle + gap / 2 * upright / np.linalg.norm(upright, axis=1, keepdims=True)
    triples = list(zip(first, above, second, strict=True))
    length: Length = "skin" if tracer.rules.curve == "shortest" else tracer.rules.length
    return [lay(curve, length) for curve in cut_all(mesh, triples, via_is_hint=True)]


def _square_to(vectors: Floats, spans: Floats) -> Floats:
    """(n, 3) the part of each vector at a right angle to its span."""
    along = np.einsum("ij,ij->i", vectors, spans) / np.einsum("ij,ij->i", spans, spans)
    return np.asarray(vectors - along[:, None] * spans)
