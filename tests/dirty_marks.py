"""A file of marks as people have them: invented, with known slips and every kind of dirt."""

from __future__ import annotations

import numpy as np
from demo_case import demo_result

from headfit.anatomy.sites import SYSTEMS, place_sites

EXCHANGED = ("C3", "C4")
OFF = "Pz"
OFF_MM = 14.0


def dirty_marks() -> str:
    """A TSV with a byte order mark, CRLF, old and shouted names, n/a, a foreign row; in cm.

    C3 and C4 are exchanged, Pz was marked 14 mm too far back, 1 mm of noise on the rest.
    """
    head = demo_result().fitted.head
    names = SYSTEMS["10-20"][:19]
    sites = place_sites(head, names)
    rng = np.random.default_rng(5)
    points = dict(zip(names, sites.points_mm + rng.normal(0, 1, (19, 3)), strict=True))
    points["C3"], points["C4"] = points["C4"], points["C3"]
    # Along the midline, backwards: Pz towards Oz.
    tape = sites.tracer.run("midline")
    points[OFF] = tape.point_mm(tape.fraction(tape.distance_mm(0.7) + OFF_MM))
    old = {"T7": "T3", "T8": "T4", "P7": "t5", "P8": "T6", "Fz": "FZ", "Cz": "CZ"}
    marks = head.landmarks
    rows = [(old.get(name, name), point) for name, point in points.items()]
    rows += [
        ("Nasion", marks.nasion),
        ("LPA", marks.left_preauricular),
        ("RPA", marks.right_preauricular),
    ]
    lines = ["name\tx\ty\tz\timpedance"]
    lines += ["\t".join([name, *(f"{v / 10:.3f}" for v in p), "5"]) for name, p in rows]
    lines += ["EOG left\tn/a\tn/a\tn/a\tn/a", ""]
    return "\ufeff" + "\r\n".join(lines) + "\r\n"
