"""A comparison as something to draw: the head with its sites, and an arrow for each mark."""

from __future__ import annotations

import textwrap
from dataclasses import replace

from headfit.anatomy.head import Head
from headfit.comparing.comparison import Comparison
from headfit.comparing.verdict import verdict
from headfit.output.scene import Arrow, Scene, make_scene


def comparison_arrows(comparison: Comparison, least_mm: float = 1.0) -> tuple[Arrow, ...]:
    """An arrow from each mark to its site, for marks at least so far off over the scalp."""
    return tuple(
        Arrow(d.site, foot, site, f"{d.over_scalp_mm:.0f} mm {d.words}".strip())
        for d, foot, site in zip(
            comparison.deviations, comparison.feet_mm, comparison.targets.points_mm, strict=True
        )
        if d.over_scalp_mm >= least_mm
    )


def comparison_scene(comparison: Comparison, head: Head, title: str = "") -> Scene:
    """The scene of a comparison."""
    sites = comparison.targets.sites
    scene = make_scene(
        head,
        sites,
        title=title or comparison.source,
        captions=textwrap.wrap(verdict(comparison), 70),
    )
    return replace(scene, arrows=comparison_arrows(comparison))
