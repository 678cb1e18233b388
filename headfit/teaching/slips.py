"""What goes wrong when a landmark is missed or a tape slips: where every site is marked then. mm.

A slip is made with all the rest done right: whoever marks follows the rules from the wrong place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from headfit.anatomy.arcs import MARKS, ArcTracer
from headfit.anatomy.landmarks import NAMES, Landmarks
from headfit.anatomy.sites import Sites, sites_on
from headfit.geometry.mesh import Floats
from headfit.geometry.surface import nearest, normals_at

WAYS: dict[str, str] = {"lower": "lower", "right": "to the right", "forward": "forward"}
_ARC_END = {
    "nasion": ("midline", False),
    "inion": ("midline", True),
    "left_preauricular": ("coronal", False),
    "right_preauricular": ("coronal", True),
}


def pushed(sites: Sites, landmark: str, way: str, distance_mm: float) -> Sites:
    """The sites as they are marked from a landmark that was taken elsewhere.

    Parameters
    ----------
    sites : Sites
    landmark : str
    way : {"lower", "right", "forward"}
        Along its arc, away from Cz; to the right or forward over the skin.
    distance_mm : float
        Negative for the other way.

    Raises
    ------
    MeshError
        The surface ends before.

    >>> from headfit import load_template, place_sites
    >>> sites = place_sites(load_template())
    >>> missed = pushed(sites, "inion", "lower", 10.0)
    >>> round(float(np.linalg.norm(missed["O1"] - sites["O1"])))
    7
    """
    place = place_beside(sites.tracer, landmark, way, distance_mm)
    return marked_from(sites, landmark, place)


def marked_from(sites: Sites, landmark: str, place: Floats) -> Sites:
    """The sites as they are marked when a landmark was taken at a place (3,) on the skin."""
    tracer = sites.tracer
    points = {name: tracer.point(name) for name in NAMES}
    landmarks = replace(Landmarks(**points), **{landmark: place})
    other = ArcTracer(tracer.mesh, landmarks, sites.rules, skin=tracer.skin)
    return sites_on(other, sites.names, sites.system, sites.rules)


def place_beside(tracer: ArcTracer, landmark: str, way: str, distance_mm: float) -> Floats:
    """(3,) the place on the skin so far from a landmark."""
    if way == "lower":
        arc, at_end = _ARC_END[landmark]
        run = tracer.run(arc)
        if distance_mm >= 0:
            return run.after_end_mm(distance_mm) if at_end else run.before_start_mm(distance_mm)
        at = run.fraction(run.length_mm + distance_mm if at_end else -distance_mm)
        return run.point_mm(at)
    # A few short steps keep to the skin where one long one would leave it.
    here = tracer.point(landmark)
    right = tracer.point("right_preauricular") - tracer.point("left_preauricular")
    forward = tracer.point("nasion") - tracer.point("inion")
    direction = right if way == "right" else forward - (forward @ right) / (right @ right) * right
    n_steps = max(1, int(np.ceil(abs(distance_mm) / 2.0)))
    for _ in range(n_steps):
        normal = normals_at(tracer.mesh, nearest(tracer.mesh, here[None])[0])[0]
        along = direction - (direction @ normal) * normal
        here = here + distance_mm / n_steps * along / np.linalg.norm(along)
        place, _off = nearest(tracer.mesh, here[None])
        here = place.on(tracer.mesh.vertices_mm)[0]
    return np.asarray(here)


def slackened(sites: Sites, slack_mm: float) -> Sites:
    """The sites when the tape from nasion to inion was slack by so much and nobody saw it.

    Its tenths are too long then: every mark of the midline is made too far back by its share, and
    ring and rows are laid over these marks.
    """
    tracer = sites.tracer
    run = tracer.run("midline")

    def mark(fraction: float) -> Floats:
        at = fraction * (run.length_mm + slack_mm)
        beyond = at - run.length_mm
        return run.after_end_mm(beyond) if beyond > 0 else run.point_mm(at / run.length_mm)

    marks = {name: mark(fraction) for name, (arc, fraction) in MARKS.items() if arc == "midline"}
    other = tracer.with_marks({**marks, "Cz": mark(0.5)})
    found = sites_on(other, sites.names, sites.system, sites.rules)
    own = {n: mark(at[1]) for n in sites.names if (at := sites.arc_of(n)) and at[0] == "midline"}
    ends = {name: sites[name] for name in own if name in ("Nz", "Iz")}
    return found.moved_to({**own, **ends})


def over_the_brow(sites: Sites, lower_mm: float) -> Sites:
    """The sites when the ring ran over the brow: below Fpz by so much, all the rest right."""
    tracer = sites.tracer
    run = tracer.run("midline")
    front = run.point_mm(run.fraction(run.distance_mm(MARKS["Fpz"][1]) - lower_mm))
    other = tracer.with_marks({"Fpz": front})
    return sites_on(other, sites.names, sites.system, sites.rules).moved_to({"Fpz": front})


def moves_mm(before: Sites, after: Sites) -> Mapping[str, float]:
    """How far each site went, straight from place to place."""
    gaps = np.linalg.norm(after.points_mm - before.points_mm, axis=1)
    return dict(zip(before.names, gaps.tolist(), strict=True))
