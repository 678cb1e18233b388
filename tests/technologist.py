"""A technologist who marks a head by the lengths of a plan alone."""

from __future__ import annotations

import numpy as np

from headfit import Head, Rules
from headfit.anatomy.landmarks import NAMES, TITLES
from headfit.geometry.sections import cut
from headfit.geometry.shortest import shortest_curve
from headfit.geometry.taperun import TapeRun, lay
from headfit.planning.arc_steps import ArcStep
from headfit.planning.marking import MarkingPlan, floor_mm
from headfit.planning.walks import Walk


class Technologist:
    """Tapes a head by the lengths of a plan alone, each arc through marks made before.

    Knows the head, where the landmarks are, how an arc is laid, and nothing of `place_sites`.
    """

    def __init__(
        self,
        head: Head,
        plan: MarkingPlan,
        rules: Rules,
        step_mm: float,
        aims: dict[str, np.ndarray] | None = None,
        *,
        tapes_again: bool = False,
    ) -> None:
        self.tapes_again = tapes_again  # arcs that nobody taped: by their shares of the own tape
        self.aims = aims or {}  # places that are looked at from afar and never touched
        self.mesh, self.rules, self.step_mm = head.scalp, rules, step_mm
        self.marks = {TITLES[name]: getattr(head.landmarks, name) for name in NAMES}
        self.passed: list[tuple[str, np.ndarray]] = []
        self.ends: list[np.ndarray] = []
        steps = {step.arc: step for step in plan.steps}
        self.marks["Cz"] = self._find_cz(head, steps["midline"], steps["coronal"])
        for step in plan.steps:
            self._mark(step)

    def read(self, length_mm: float) -> float:
        """As it is printed: to `step_mm`, or exactly when that is 0."""
        return round(length_mm / self.step_mm) * self.step_mm if self.step_mm else length_mm

    def _find_cz(self, head: Head, midline: ArcStep, coronal: ArcStep) -> np.ndarray:
        """Slide a mark between the middles of the two arcs until it stays."""
        nasion, inion, left, right = head.landmarks
        guess = head.landmarks.points_mm.mean(axis=0) + 200 * head.landmarks.up
        ends = ((nasion, inion), (left, right))
        for k in range(40):
            start, end = ends[k % 2]
            run = lay(cut(self.mesh, start, guess, end, via_is_hint=True), self.rules.length)
            middle = next(m for m in (midline, coronal)[k % 2].marks if m.name == "Cz")
            reading = self.read(middle.distance_mm)
            # A shortest path has another length, but Cz halves it too.
            shortest = self.rules.curve == "shortest"
            guess = run.point_mm(0.5 if shortest else run.fraction(reading))
        # The two middles, read to a millimetre, may not agree better than that.
        return guess

    @property
    def _length(self) -> str:
        return "skin" if self.rules.curve == "shortest" else self.rules.length

    def _lay(self, step: ArcStep) -> TapeRun:
        seen = self.aims | self.marks
        named = [seen[name] for name in (step.start, step.via, step.end)]
        # On this symmetric head the shortest path over the midline stays in its plane.
        plane = self.rules.curve == "plane" or step.arc == "midline"
        if plane and step.arc in (
            "midline",
            "coronal",
        ):  # the plane through Cz; it may miss by the reading
            return lay(cut(self.mesh, *named, via_is_hint=True), self._length)
        curve = cut(self.mesh, *named) if plane else shortest_curve(self.mesh, *named)
        return lay(curve, self._length, pinned=step.held)

    def _mark(self, step: ArcStep) -> None:
        run = self._lay(step)
        for walk in step.walks:
            self._walk(run, step, walk)
        for mark in step.beyond:
            plane = lay(cut(self.mesh, *(self.marks[n] for n in (step.start, step.via, step.end))))
            go_on = plane.after_end_mm if mark.beyond == step.end else plane.before_start_mm
            self.marks[mark.name] = go_on(self.read(mark.distance_mm))

    def _walk(self, run: TapeRun, step: ArcStep, walk: Walk) -> None:
        """Zero on one mark, aimed at another; the tape says by itself where the zero lies on it."""
        zeros = {step.start: 0.0, step.via: run.via_mm, step.end: run.length_mm}
        zero = zeros[walk.zero]
        way = 1.0 if zeros[walk.toward] > zero else -1.0
        whole = abs(zeros[walk.toward] - zero)
        for mark in walk.marks:
            distance = self.read(mark.distance_mm)
            if self.tapes_again and not step.tape.own:
                distance = mark.share * whole
            at = zero + way * distance
            place = run.point_mm(run.fraction(at))
            if mark.kind == "meets":
                self.passed.append((mark.name, place))
            elif mark.name != "Cz":
                self.marks[mark.name] = place
        if walk.stop_mm is not None:
            self.ends.append(run.point_mm(run.fraction(zero + way * floor_mm(walk.stop_mm))))
