"""How sure the sites of a fitted head are, in one sentence, and which of them count in a mean."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from headfit.anatomy.sites import SCALP_SITES, is_beside_ear
from headfit.fitting.spreads import SiteSpreads


def counted_sites(names: Sequence[str]) -> tuple[str, ...]:
    """Which sites of an array speak for its accuracy: the 19 on the scalp, as far as it has them.

    The landmarks and what hangs below the rows are in larger systems only. An own list of other
    sites counts all that a tape finds.

    >>> counted_sites(("Cz", "AFz", "A1")), counted_sites(("AFz", "A1"))
    (('Cz',), ('AFz',))
    """
    of_19 = tuple(name for name in names if name in SCALP_SITES)
    return of_19 or tuple(name for name in names if not is_beside_ear(name))


def how_sure(spreads: SiteSpreads) -> str:
    """How far from its place a site may lie, at 95 %, and where the doubt comes from."""
    names = counted_sites(spreads.names)
    if not names:
        return "How sure the sites beside the ears are is not told: no tape finds them."
    of = "10-20" if set(names) == set(SCALP_SITES) else "10-20 in this array"
    if names[0] not in SCALP_SITES:
        of = "this array"
    counted = [spreads.names.index(name) for name in names]
    reach = spreads.ellipses_mm[counted, 0]
    best, worst = int(reach.argmin()), int(reach.argmax())
    parts = {
        origin: float(np.trace(matrices[counted], axis1=1, axis2=2).mean())
        for origin, matrices in spreads.parts_mm2.items()
    }
    whole = sum(parts.values()) or 1.0
    words = {
        "shape": "unmeasured shape",
        "tape": "tape readings",
        "landmarks": "landmarks",
        "leftover": "bumps and dents",
    }
    shares = ", ".join(
        f"{words[origin]} {100 * share / whole:.0f} %"
        for origin, share in sorted(parts.items(), key=lambda item: -item[1])
    )
    return (
        f"How sure (95 %, of the {len(names)} scalp sites of {of}): the surest, "
        f"{names[best]}, lies within {reach[best]:.0f} mm of its place, the middle one within "
        f"{np.median(reach):.0f} mm, the least sure, {names[worst]}, within {reach[worst]:.0f} mm. "
        f"The doubt comes from: {shares}."
    )
