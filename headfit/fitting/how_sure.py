"""How sure the sites of a fitted head are, in one sentence."""

from __future__ import annotations

import numpy as np

from headfit.anatomy.sites import SCALP_SITES, is_beside_ear
from headfit.fitting.spreads import SiteSpreads


def how_sure(spreads: SiteSpreads) -> str:
    """How far from its place a site may lie, at 95 %, and where the doubt comes from."""
    # The landmarks and what hangs below the rows are in larger systems only.
    counted = [i for i, name in enumerate(spreads.names) if name in SCALP_SITES]
    of = "10-20" if len(counted) == len(SCALP_SITES) else "10-20 in this array"
    if not counted:  # an own list of other sites
        counted = [i for i, name in enumerate(spreads.names) if not is_beside_ear(name)]
        of = "this array"
    if not counted:
        return "How sure the sites beside the ears are is not told: no tape finds them."
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
    names = [spreads.names[i] for i in counted]
    return (
        f"How sure (95 %, of the {len(counted)} scalp sites of {of}): the surest, "
        f"{names[best]}, lies within {reach[best]:.0f} mm of its place, the middle one within "
        f"{np.median(reach):.0f} mm, the least sure, {names[worst]}, within {reach[worst]:.0f} mm. "
        f"The doubt comes from: {shares}."
    )
