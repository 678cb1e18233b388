"""A step of a lesson as a scene: for the picture, the window and PyVista. Millimetres."""

from __future__ import annotations

import numpy as np

from headfit.anatomy.head import SCALP
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import TITLES
from headfit.output.scene import Arrow, DrawnSite, Line, Region, Scene, Spot, Surface
from headfit.reminders import NOT_MEDICAL, PREDICTED
from headfit.teaching.numbers import in_one
from headfit.teaching.stage import StagedStep


def step_scene(step: StagedStep) -> Scene:
    """The scene of a step as it begins."""
    head = step.head
    part = head.part if head.part is not None else np.full(len(head.vertices_mm), SCALP)
    at = step.begun
    vertices = head.vertices_mm if step.vertices_mm is None else at(step.vertices_mm)
    marks = [getattr(head.landmarks, name) for name in LANDMARK_NAMES]
    lines = tuple(
        Line(tape.name, at(tape.points_mm), float(at(tape.length_mm))) for tape in step.tapes
    )
    sites: list[DrawnSite] = []
    arrows: list[Arrow] = []
    for dots in step.dots:
        if dots.look not in ("site", "stroke"):
            continue
        shown = at(dots.shown)
        for k, name in enumerate(dots.names):
            if not shown[k]:
                continue
            place = at(dots.points_mm)[k]
            sites.append(DrawnSite(name, place, at(dots.normals)[k]))
            if dots.own_mm is not None and np.linalg.norm(place - dots.own_mm[k]) > 1.0:
                arrows.append(Arrow(name, dots.own_mm[k], place, kind="moved"))
    regions = tuple(
        Region(name, points)
        for outline in step.outlines
        if outline.look == "place"
        for name, points in zip(outline.names, at(outline.points_mm), strict=True)
    )
    return Scene(
        step.step.title,
        (in_one(step.caption), PREDICTED, NOT_MEDICAL),
        Surface(vertices, head.faces, part),
        tuple(Spot(TITLES[n], mark) for n, mark in zip(LANDMARK_NAMES, marks, strict=True)),
        lines,
        tuple(sites),
        arrows=tuple(arrows),
        regions=regions,
    )
