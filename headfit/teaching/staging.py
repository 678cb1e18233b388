"""A lesson staged on a solved case: every number, figure and stop of a drag computed."""

from __future__ import annotations

import zlib
from dataclasses import replace

import numpy as np

from headfit.anatomy.head import NECK
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import SYSTEMS, canonical_name
from headfit.case.solved import SolvedCase, obstacle_of
from headfit.errors import HeadfitError
from headfit.geometry.mesh import Floats
from headfit.planning.scalp_paths import scalp_paths
from headfit.teaching.bench import Bench
from headfit.teaching.dials import followed
from headfit.teaching.kept_free import CAUTION, with_places_of_the_case
from headfit.teaching.lesson import Lesson, Question, Step
from headfit.teaching.numbers import filled, in_one
from headfit.teaching.profile import schematic_profile
from headfit.teaching.same_tapes import by_its_tapes
from headfit.teaching.stage import Asked, Axis, Dial, Exchange, StagedLesson, StagedStep
from headfit.teaching.words import direction, figure_asked
from headfit.teaching.worlds import World, figures
from headfit.units import told_in

# Of the picture, in heights of the head: nothing on the head is cut off.
_WHOLE = 1.07
_N_EXCHANGES = 40
# Nearer marks than a step of 10-20 and a half are told as neighbours.
_NEIGHBOUR_STEPS = 1.5
# Exchanged marks must lie so far apart that a tape shows it.
_EXCHANGED_APART = 1.2


def stage_lesson(lesson: Lesson, solved: SolvedCase) -> StagedLesson:
    """The lesson on the head of a case.

    Parameters
    ----------
    lesson : Lesson
    solved : SolvedCase
        Any: fitted, scanned, or a bare template.

    Raises
    ------
    InputError
        Something in it cannot be computed on this head; the sentence names lesson and step.
    """
    bench = Bench(by_its_tapes(solved) if _about_tapes(lesson) else solved, lesson.free)
    steps = []
    for step in lesson.steps:
        try:
            with told_in(solved.case.unit):
                staged = with_places_of_the_case(bench, _staged(bench, step))
        except HeadfitError as error:
            told = f"lesson {lesson.name!r}, step {step.name!r}: {error}"
            raise type(error)(told, code=error.code, **error.facts) from error
        # Not where the second name would be the answer, or is on the back of a card.
        both = solved.case.old_names and not (step.question or step.cards)
        steps.append(replace(staged, unit=solved.case.unit, old_names=both))
    cautions = (CAUTION,) if solved.case.free else ()
    return StagedLesson(lesson, solved.case.label, tuple(steps), cautions)


def _about_tapes(lesson: Lesson) -> bool:
    """Whether a lesson shows what tapes leave open, which a scan does not have."""
    return any(
        (step.drag is not None and step.drag.kind == "heads")
        or any(figure_asked(line)[0] == "rings" for line in step.show)
        for step in lesson.steps
    )


def _staged(bench: Bench, step: Step) -> StagedStep:
    toward, focus, height = _camera(bench, step)
    staged = StagedStep(
        step,
        bench.solved.head,
        filled(bench, step.caption),
        in_one(filled(bench, step.notes)),
        toward,
        focus,
        height,
        asked=None if step.question is None else _asked(bench, step.question),
    )
    names = _names(step)
    drag = step.drag
    if drag is not None and drag.kind == "finger":
        profile = schematic_profile(knob=bool(drag.options["knob"]))
        stops = tuple(float(k) for k in range(len(profile.points)))
        axis = Axis("slide the finger up", "", stops, 0.0)
        return replace(staged, dial=Dial("finger", (axis,)), profile=profile, said=profile.feels)
    if drag is not None and drag.kind != "exchange":
        all_of_it = followed(bench, step, drag, names)
        tapes, dots, outlines = figures(
            bench,
            step.show,
            all_of_it.worlds,
            own=all_of_it.own,
            grows=all_of_it.grows,
            told=all_of_it.told,
        )
        return replace(
            staged,
            tapes=tapes,
            dots=(*all_of_it.more, *dots),
            outlines=outlines,
            readings=all_of_it.readings,
            balances=all_of_it.balances,
            said=all_of_it.said,
            dial=all_of_it.dial,
            vertices_mm=all_of_it.vertices_mm,
        )
    tapes, dots, outlines = figures(bench, step.show, (_world(bench, names),))
    exchange = _exchange(bench) if drag is not None else None
    return replace(staged, tapes=tapes, dots=dots, outlines=outlines, exchange=exchange)


def _names(step: Step) -> tuple[str, ...]:
    """All sites that a step shows or watches, those of 10-20 always."""
    names: list[str] = list(SYSTEMS["10-20"])
    for line in step.show:
        word, given = figure_asked(line)
        if word in ("sites", "strokes", "plane"):
            names += map(str, given)
    names += [canonical_name(name) for name in step.watch if "-" not in name]
    return tuple(dict.fromkeys(names))


def _world(bench: Bench, names: tuple[str, ...]) -> World:
    """What stands still: with the places of the lesson, where sites go beside them."""
    sites = bench.placed(names)
    if not bench.free:
        return World(sites)
    moved = bench.displacement.points_mm
    found = {name: at for name, at in moved.items() if at is not None}
    shown = frozenset(names) - bench.displacement.left_out.keys()
    places = tuple(obstacle_of(place, sites) for place in bench.free)
    return World(sites.moved_to(found), shown=shown, obstacles=places)


def _camera(bench: Bench, step: Step) -> tuple[Floats, Floats, float]:
    """From the focus to the camera, the focus, and the height of the picture there."""
    head = bench.solved.head
    part = head.part if head.part is not None else np.zeros(len(head.vertices_mm), int)
    kept = head.vertices_mm[part < NECK]
    # The words of a camera are about the head frame; a scan may have another.
    rotation, _ = head.landmarks.frame
    toward = np.asarray(direction(step.view.words)) @ rotation
    look_at = step.view.look_at
    if look_at in LANDMARK_NAMES:
        focus = bench.sites.tracer.point(look_at)
    elif look_at:
        focus = bench.placed((look_at,))[canonical_name(look_at)]
    else:
        focus = (kept.min(axis=0) + kept.max(axis=0)) / 2
    height = _WHOLE * float(np.ptp(kept, axis=0).max()) / step.view.closer
    return toward / np.linalg.norm(toward), np.asarray(focus), height


def _asked(bench: Bench, question: Question) -> Asked:
    """The question on this head: wrong answers that come out as the right one are left out."""
    right = in_one(filled(bench, question.answer))
    others = [in_one(filled(bench, wrong)) for wrong in question.wrong]
    options = [right, *dict.fromkeys(other for other in others if other != right)]
    order = np.random.default_rng(zlib.crc32(question.text.encode())).permutation(len(options))
    shuffled = tuple(options[k] for k in order)
    return Asked(
        filled(bench, question.text),
        shuffled,
        shuffled.index(right),
        in_one(filled(bench, question.why)),
        question.again,
    )


def _exchange(bench: Bench) -> Exchange:
    """Distances between the marks of 10-20, and tries in which two of them are exchanged."""
    sites = bench.placed(tuple(name for name in SYSTEMS["10-20"] if name not in ("A1", "A2")))
    n = len(sites)
    first, second = np.triu_indices(n, 1)
    points = sites.points_mm
    runs = scalp_paths(sites.tracer, list(zip(points[first], points[second], strict=True)))
    apart = np.zeros((n, n))
    apart[first, second] = apart[second, first] = [run.length_mm / 10 for run in runs]
    step = np.median(np.sort(apart + 99 * np.eye(n), axis=1)[:, 0])
    near = [(int(a), int(b)) for a, b in zip(first, second, strict=True)]
    neighbours = tuple(p for p in near if apart[p] < _NEIGHBOUR_STEPS * step)
    tries = [p for p in near if apart[p] > _EXCHANGED_APART * step]
    order = np.random.default_rng(11).permutation(len(tries))[:_N_EXCHANGES]
    return Exchange(sites.names, points, apart, neighbours, tuple(tries[k] for k in order))
