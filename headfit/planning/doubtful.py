"""What a landmark that was hard to find does to the sites. Millimetres."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from headfit.anatomy.arcs import ArcTracer
from headfit.anatomy.landmarks import NAMES, TITLES, Landmarks
from headfit.anatomy.sites import Sites, sites_on

# A landmark is told as this much lower; a person sees what a centimetre does.
LOWER_MM = 10.0
# Marks on which all others hang, the nearest first; less than 2 mm is no matter.
_TOLD = {
    "nasion": ("Fpz", "Fz", "Cz"),
    "inion": ("Oz", "Pz", "Cz"),
    "left_preauricular": ("T7", "C3", "Cz"),
    "right_preauricular": ("T8", "C4", "Cz"),
}
_TOLD_FROM_MM = 2.0
_END = {
    "nasion": ("midline", False),
    "inion": ("midline", True),
    "left_preauricular": ("coronal", False),
    "right_preauricular": ("coronal", True),
}


def moves_if_lower(sites: Sites, landmark: str, names: tuple[str, ...]) -> dict[str, float]:
    """How far some sites go, mm, when a landmark lies 1 cm lower, along its arc.

    Parameters
    ----------
    sites : Sites
        Of the head.
    landmark : str
    names : tuple of str
        Any declared sites.

    Raises
    ------
    MeshError
        The surface ends before.
    """
    tracer = sites.tracer
    arc, at_end = _END[landmark]
    run = tracer.run(arc)
    lower = run.after_end_mm(LOWER_MM) if at_end else run.before_start_mm(LOWER_MM)
    points = {name: tracer.point(name) for name in NAMES}
    landmarks = replace(Landmarks(**points), **{landmark: lower})
    here = sites_on(tracer, names, sites.system, sites.rules)
    there = sites_on(
        ArcTracer(tracer.mesh, landmarks, sites.rules), names, sites.system, sites.rules
    )
    gaps = np.linalg.norm(there.points_mm - here.points_mm, axis=1)
    return dict(zip(names, gaps.tolist(), strict=True))


def doubt_sentence(sites: Sites, landmark: str) -> str:
    """What is at stake, in one sentence.

    >>> from headfit import load_template, place_sites
    >>> doubt_sentence(place_sites(load_template()), "inion")
    'Inion doubtful: if it is 1 cm lower, Oz moves 9 mm, Pz 7 mm, Cz 5 mm.'
    """
    moves = moves_if_lower(sites, landmark, _TOLD[landmark])
    shown = [f"{name} {mm:.0f} mm" for name, mm in moves.items() if mm >= _TOLD_FROM_MM]
    title = TITLES[landmark][0].upper() + TITLES[landmark][1:]
    if not shown:
        return f"{title} doubtful: if it is 1 cm lower, no site moves by 2 mm."
    first, *rest = shown
    name, _, size = first.partition(" ")
    return f"{title} doubtful: if it is 1 cm lower, {', '.join([f'{name} moves {size}', *rest])}."
