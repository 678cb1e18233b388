"""One solved case as lessons use it: its sites, tapes, and what slips do to them, each once. mm.

The head, the rules and the readings are those of the case. Places that must stay free move sites
only in a lesson that is about one (`headfit.teaching.kept_free`).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from headfit.anatomy.arc_tapes import ArcTape
from headfit.anatomy.arcs import Rules
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import SYSTEMS, Sites, place_sites
from headfit.case.case import FreePlace
from headfit.case.solved import SolvedCase, obstacle_of
from headfit.fitting.shape import DOUBT_MM
from headfit.geometry.mesh import Floats
from headfit.planning.derivations import MeasuredMontage, measure_montage
from headfit.planning.displacement import Displacement, displace
from headfit.planning.montages import montage_of
from headfit.planning.scalp_paths import scalp_paths
from headfit.teaching.same_tapes import SameTapes, heads_of_same_tapes
from headfit.teaching.slips import moves_mm, over_the_brow, pushed, slackened

# Over which the mean of a slip is told: the 19 of 10-20, the six of IFCN 2017, Fpz and Oz.
SLIP_SITES = (*SYSTEMS["ifcn-25"], "Fpz", "Oz")
N_GUESSES = 20
_ADULT_MIDLINE_MM = 360.0


class Bench:
    """A solved case with what lessons compute on it.

    Parameters
    ----------
    solved : SolvedCase
    free : tuple of FreePlace
        Of the lesson.
    """

    def __init__(self, solved: SolvedCase, free: tuple[FreePlace, ...] = ()) -> None:
        self.solved = solved
        self.free = free

    @cached_property
    def rules(self) -> Rules:
        """Of the case, row 9/10 as 10-10 has it."""
        rules = self.solved.case.rules
        return replace(rules, inferior="row") if rules.inferior == "system" else rules

    def placed(self, names: tuple[str, ...], rules: Rules | None = None) -> Sites:
        """Some sites on the head."""
        return place_sites(self.solved.head, names, rules or self.rules)

    @cached_property
    def sites(self) -> Sites:
        """Of 10-10."""
        return self.placed(tuple(dict.fromkeys((*SYSTEMS["10-10"], *SLIP_SITES))))

    @cached_property
    def slip_sites(self) -> Sites:
        """Those over which a slip is told."""
        return self.placed(SLIP_SITES)

    def tape(self, arc: str) -> ArcTape:
        """The tape on an arc, as it was read where it was."""
        return self.solved.tape_on(arc)

    def at_mm(self, site: str) -> float:
        """Tape in hand from the start of its arc to a site; 0 beside the ear."""
        found = self.sites.arc_of(site)
        if found is None:
            return 0.0
        run = self.sites.tracer.run(found[0])
        return self.tape(found[0]).at(run.distance_mm(found[1]))

    def apart_mm(self, first: str, second: str) -> float:
        """Tape over the scalp from one site to another."""
        places = self.placed((first, second))
        (run,) = scalp_paths(places.tracer, [(places[first], places[second])])
        return run.length_mm

    def saved_mm(self, arc: str) -> float:
        """How much shorter a taut tape is than the skin under it."""
        rules = self.rules
        taut, skin = (
            self.placed(("Cz",), replace(rules, length=length)).tracer.length_mm(arc)
            for length in ("taut", "skin")
        )
        return skin - taut

    def below_mm(self, site: str) -> float:
        """How far a site lies below the plane of Fpz and Oz that is level from left to right."""
        tracer = self.sites.tracer
        front, back = tracer.point("Fpz"), tracer.point("Oz")
        across = tracer.point("right_preauricular") - tracer.point("left_preauricular")
        normal = np.cross(across, front - back)
        normal /= np.linalg.norm(normal)
        return float(normal @ (front - self.placed((site,))[site]))

    def gap_mm(self, site: str, one: str, other: str) -> float:
        """How far apart two rules for F3 and its like put a site."""
        first, second = (
            self.placed((site,), replace(self.rules, inner=inner))[site]  # type: ignore[arg-type]
            for inner in (one, other)
        )
        return float(np.linalg.norm(first - second))

    def push_moves(self, landmark: str, way: str, distance_mm: float) -> dict[str, float]:
        """How far each site of `slip_sites` goes."""
        there = pushed(self.slip_sites, landmark, way, distance_mm)
        return dict(moves_mm(self.slip_sites, there))

    def slack_moves(self, slack_mm: float) -> dict[str, float]:
        """How far each site goes when the midline tape was slack."""
        return dict(moves_mm(self.slip_sites, slackened(self.slip_sites, slack_mm)))

    def brow_moves(self, lower_mm: float) -> dict[str, float]:
        """How far each site goes when the ring ran over the brow."""
        return dict(moves_mm(self.slip_sites, over_the_brow(self.slip_sites, lower_mm)))

    def doubt_mm(self, landmark: str) -> tuple[float, float]:
        """One standard deviation of the guesses of a class along the arc, and across it.

        As the fit takes a landmark that was hard to find (`DOUBT_MM`, a judgement, no source); less
        on a small head, by its length.
        """
        size = self.sites.tracer.length_mm("midline") / _ADULT_MIDLINE_MM
        of_each = list(DOUBT_MM[landmark].values())
        return size * of_each[0], size * of_each[1 % len(of_each)]

    def guesses(self, landmark: str) -> list[tuple[Floats, Sites]]:
        """Where each of a class puts a landmark that is hard to feel, and the sites from there."""
        if landmark not in self._guesses:
            along, across = self.doubt_mm(landmark)
            generator = np.random.default_rng([3, LANDMARK_NAMES.index(landmark)])
            # Within two standard deviations: farther off, a teacher looks again.
            drawn = np.clip(generator.normal(size=(N_GUESSES, 2)), -2.0, 2.0)
            beside = "right" if landmark in ("nasion", "inion") else "forward"
            found = []
            for low, side in drawn.tolist():
                sites = pushed(self.slip_sites, landmark, "lower", along * low)
                sites = pushed(sites, landmark, beside, across * side)
                found.append((sites.tracer.point(landmark), sites))
            self._guesses[landmark] = found
        return self._guesses[landmark]

    @cached_property
    def _guesses(self) -> dict[str, list[tuple[Floats, Sites]]]:
        return {}

    def scatter_mm(self, site: str, landmark: str) -> float:
        """Farthest of the guesses of a class from the site itself."""
        here = self.slip_sites[site]
        return max(float(np.linalg.norm(s[site] - here)) for _, s in self.guesses(landmark))

    @cached_property
    def same_tapes(self) -> SameTapes:
        """Heads that have the tapes of this one."""
        return heads_of_same_tapes(self.solved)

    def wander_mm(self, site: str) -> float:
        """Farthest that a site lies from its place here, over the heads of the same tapes."""
        places = [sites[site] for sites in self.same_tapes.sites]
        return float(max(np.linalg.norm(place - places[self.same_tapes.own]) for place in places))

    def displacement_of(self, places: tuple[FreePlace, ...]) -> Displacement:
        """What becomes of 10-20 when places stay free; each side for itself."""
        sites = self.placed(SYSTEMS["10-20"])
        alone = self.solved.case.move_alone
        return displace(sites, [obstacle_of(p, sites) for p in places], homologues=not alone)

    @cached_property
    def displacement(self) -> Displacement:
        """The same for the places of the lesson."""
        return self.displacement_of(self.free)

    @cached_property
    def kept_free(self) -> Displacement:
        """The same for the places of the case."""
        return self.displacement_of(self.solved.case.free)

    def derivations_of(self, moved: Displacement) -> MeasuredMontage:
        """The longitudinal derivations with moved sites where they stand."""
        montage = self.solved.case.montage or montage_of("longitudinal")
        return measure_montage(montage, self.placed(SYSTEMS["10-20"]), moved.points_mm)

    @cached_property
    def derivations(self) -> MeasuredMontage:
        """The same for the places of the lesson."""
        return self.derivations_of(self.displacement)
