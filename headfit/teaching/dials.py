"""What may be dragged, and what follows it: every stop computed beforehand. Millimetres."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from headfit.anatomy.sites import SYSTEMS, Sites
from headfit.case.solved import obstacle_of
from headfit.fitting.measurements import MEASUREMENTS
from headfit.geometry.mesh import Floats
from headfit.geometry.sections import cut
from headfit.geometry.surface import nearest
from headfit.geometry.taperun import TapeRun, lay
from headfit.planning.obstacles import Obstacle
from headfit.teaching.bench import N_GUESSES, Bench
from headfit.teaching.lesson import Drag, Step
from headfit.teaching.same_tapes import STEPS_SD
from headfit.teaching.slips import WAYS, moves_mm, over_the_brow, pushed, slackened
from headfit.teaching.stage import Axis, Balance, Dial, Dots, Reading
from headfit.teaching.worlds import World, landmark_words, normals_of
from headfit.units import cm

_STEP_MM = 2.5
# How far Cz may be pushed off its place, and how near the stops lie.
_OFF_MM = 30.0
_OFF_STEP_MM = 6.0
_N_PULL = 61


@dataclass(frozen=True, eq=False)
class Followed:
    """A drag with all that follows it.

    Attributes
    ----------
    dial : Dial
    worlds : tuple of World
        One a state.
    own : Sites or None
        Where sites should be.
    readings, balances, said, more : tuple
        `more` are dots beside those that the step shows.
    grows : tuple of str
        Arcs whose tape is pulled.
    told : callable or None
    vertices_mm : (S, n, 3) float64 or None
    """

    dial: Dial
    worlds: tuple[World, ...]
    own: Sites | None = None
    readings: tuple[Reading, ...] = ()
    balances: tuple[Balance, ...] = ()
    said: tuple[str, ...] = ()
    more: tuple[Dots, ...] = ()
    grows: tuple[str, ...] = ()
    told: Callable[[str], str] | None = None
    vertices_mm: Floats | None = field(default=None)


def followed(bench: Bench, step: Step, drag: Drag, names: tuple[str, ...]) -> Followed:
    """What follows the drag of a step.

    Parameters
    ----------
    bench : Bench
    step : Step
    drag : Drag
        Of the step.
    names : tuple of str
        The sites that are shown or watched.

    Raises
    ------
    HeadfitError
        It cannot be computed on this head.
    """
    return _FOLLOWED[drag.kind](bench, step, drag, names)


def _with_handle(bench: Bench, dial: Dial, handle: Sequence[Floats], title: str) -> Dial:
    points = np.array(handle)
    normals = normals_of(bench.sites.tracer.mesh, points)
    return replace(dial, handle_mm=points, handle_normals=normals, handle_title=title)


def _bars(own: Sites, worlds: Sequence[World], watch: Sequence[str]) -> tuple[Reading, ...]:
    moves = [moves_mm(own, world.sites) for world in worlds]
    shown = [n for n in own.names if n in watch] if watch else []
    order = sorted(shown, key=watch.index)
    return tuple(Reading(n, "mm", np.array([of[n] for of in moves])) for n in order)


def _pull(bench: Bench, _step: Step, drag: Drag, names: tuple[str, ...]) -> Followed:
    arcs = tuple(map(str, drag.options["arcs"]))  # type: ignore[arg-type]
    sites = bench.placed(names)
    shares = np.linspace(0.0, 1.0, _N_PULL)
    on = {n: at[1] for n in names if (at := sites.arc_of(n)) and at[0] in arcs}
    free = frozenset(names) - on.keys()
    worlds = tuple(
        World(sites, shown=free | {n for n, at in on.items() if at <= share + 1e-9})
        for share in shares.tolist()
    )
    run = sites.tracer.run(arcs[0])
    length = bench.tape(arcs[0]).length_mm
    title = "pull the tape" if len(arcs) == 1 else "pull both tapes"
    axis = Axis(title, "%", tuple(float(round(100 * s, 4)) for s in shares), 100.0)
    dial = _with_handle(bench, Dial("pull", (axis,)), list(run.points_mm(shares)), "tape")
    readings = (
        Reading("on the tape", "cm", shares * length / 10, "huge"),
        Reading("of the way", "%", shares * 100, "large", 0),
    )

    def told(name: str) -> str:
        return cm(bench.at_mm(name)) if name in on else ""

    return Followed(dial, worlds, readings=readings, grows=arcs, told=told)


def _slip_axis(title: str, drag: Drag, low: float, high: float) -> Axis:
    """From the lowest to the highest slip, every 2.5 mm, from the stop nearest to its start."""
    given = {name: float(drag.options[name]) for name in drag.options if name.endswith("_mm")}  # type: ignore[arg-type]
    low, high = min(given.get("from_mm", low), 0.0), max(given.get("to_mm", high), 0.0)
    ends = (int(np.ceil(-low / _STEP_MM)), int(np.ceil(high / _STEP_MM)))
    stops = tuple(_STEP_MM * k for k in range(-ends[0], ends[1] + 1))
    start = given.get("start_mm", 0.0)
    return Axis(title, "mm", stops, min(stops, key=lambda stop: abs(stop - start)))


def _slip(
    bench: Bench,
    step: Step,
    names: tuple[str, ...],
    axis: Axis,
    made: Callable[[Sites, float], Sites],
    held: Callable[[Sites], Floats],
    title: str,
) -> Followed:
    every = tuple(dict.fromkeys((*names, *bench.slip_sites.names)))
    own = bench.placed(every)
    worlds = tuple(World(made(own, stop) if stop else own) for stop in axis.stops)
    dial = _with_handle(
        bench, Dial("slide", (axis,)), [held(world.sites) for world in worlds], title
    )
    of_all = [moves_mm(own, world.sites) for world in worlds]
    counted = bench.slip_sites.names
    mean = np.array([np.mean([of[name] for name in counted]) for of in of_all])
    most = np.array([max(of[name] for name in counted) for of in of_all])
    readings = (
        *_bars(own, worlds, step.watch),
        Reading(f"mean of {len(counted)} sites", "mm", mean, "plain"),
        Reading("largest", "mm", most, "plain"),
    )
    return Followed(dial, worlds, own, readings)


def _push(bench: Bench, step: Step, drag: Drag, names: tuple[str, ...]) -> Followed:
    landmark, way = str(drag.options["landmark"]), str(drag.options["way"])
    title = f"{landmark_words(landmark)} {WAYS[way]}"
    axis = _slip_axis(title, drag, -20.0, 20.0)
    return _slip(
        bench,
        step,
        names,
        axis,
        lambda sites, by: pushed(sites, landmark, way, by),
        lambda sites: sites.tracer.point(landmark),
        landmark_words(landmark),
    )


def _slack(bench: Bench, step: Step, drag: Drag, names: tuple[str, ...]) -> Followed:
    axis = _slip_axis("slack in the tape", drag, 0.0, 20.0)
    return _slip(bench, step, names, axis, slackened, lambda sites: np.asarray(sites["Oz"]), "Oz")


def _brow(bench: Bench, step: Step, drag: Drag, names: tuple[str, ...]) -> Followed:
    axis = _slip_axis("ring below Fpz", drag, 0.0, 20.0)
    return _slip(
        bench, step, names, axis, over_the_brow, lambda sites: np.asarray(sites["Fpz"]), "ring"
    )


def _balance(bench: Bench, _step: Step, _drag: Drag, names: tuple[str, ...]) -> Followed:
    sites = bench.placed(names)
    tracer = sites.tracer
    own = tracer.point("Cz")
    n_each = int(_OFF_MM / _OFF_STEP_MM)
    stops = tuple(_OFF_STEP_MM * k for k in range(-n_each, n_each + 1))
    along = {arc: tracer.run(arc) for arc in ("midline", "coronal")}

    def away(arc: str, by: float) -> Floats:
        run = along[arc]
        return run.point_mm(run.fraction(run.via_mm + by)) - own

    worlds, halves = [], []
    for forward in stops:
        for right in stops:
            wanted = own + away("midline", -forward) + away("coronal", right)
            place = nearest(tracer.mesh, wanted[None])[0].on(tracer.mesh.vertices_mm)[0]
            runs = {
                "midline": _over(sites, "nasion", place, "inion"),
                "coronal": _over(sites, "left_preauricular", place, "right_preauricular"),
            }
            worlds.append(World(sites.moved_to({"Cz": place}), runs))
            halves.append([of for r in runs.values() for of in (r.via_mm, r.length_mm - r.via_mm)])
    axes = (
        Axis("forward", "mm", stops, stops[n_each + 2]),
        Axis("to the right", "mm", stops, stops[n_each - 2]),
    )
    found = np.array(halves) / 10
    dial = _with_handle(bench, Dial("balance", axes), [world.sites["Cz"] for world in worlds], "Cz")
    balances = (
        Balance(
            ("nasion to Cz", "Cz to inion"),
            ("longer in front", "longer behind"),
            found[:, 0],
            found[:, 1],
        ),
        Balance(
            ("left ear to Cz", "Cz to right ear"),
            ("longer on the left", "longer on the right"),
            found[:, 2],
            found[:, 3],
        ),
    )
    return Followed(dial, tuple(worlds), balances=balances)


def _over(sites: Sites, start: str, place: Floats, end: str) -> TapeRun:
    tracer = sites.tracer
    length = "skin" if tracer.rules.curve == "shortest" else tracer.rules.length
    return lay(cut(tracer.mesh, tracer.point(start), place, tracer.point(end)), length)


def _choice(title: str, words: Sequence[str], start: int = 0) -> Axis:
    return Axis(title, "", tuple(float(k) for k in range(len(words))), float(start), tuple(words))


def _rule(bench: Bench, step: Step, _drag: Drag, names: tuple[str, ...]) -> Followed:
    choices = {
        "row": "a quarter of the row",
        "parasagittal": "a quarter of Fp1-C3-O1",
        "crossing": "where both cross",
    }
    worlds = tuple(
        World(bench.placed(names, replace(bench.rules, inner=inner)))  # type: ignore[arg-type]
        for inner in choices
    )
    own = worlds[0].sites
    dial = Dial("choose", (_choice("rule for F3", list(choices.values()), 1),))
    return Followed(dial, worlds, own, _bars(own, worlds, step.watch))


def _length(bench: Bench, _step: Step, drag: Drag, names: tuple[str, ...]) -> Followed:
    arc = str(drag.options["arc"])
    worlds = tuple(
        World(bench.placed(names, replace(bench.rules, length=length)))
        for length in ("taut", "skin")
    )
    dial = Dial("choose", (_choice("the tape", ("pulled taut", "along the skin")),))
    taut = worlds[0].run(arc).length_mm
    gain = np.array([world.run(arc).length_mm - taut for world in worlds])
    length_cm = np.array([world.run(arc).length_mm / 10 for world in worlds])
    readings = (
        Reading(f"{arc}, as computed", "cm", length_cm, "huge"),
        Reading("longer", "mm", gain, "large"),
    )
    return Followed(dial, worlds, readings=readings)


def _system(bench: Bench, _step: Step, _drag: Drag, names: tuple[str, ...]) -> Followed:
    chosen = ("10-20", "10-10", "10-5")
    sites = bench.placed(tuple(dict.fromkeys((*names, *SYSTEMS["10-5"]))))
    worlds = tuple(World(sites, shown=frozenset(SYSTEMS[system])) for system in chosen)
    counts = np.array([float(len(SYSTEMS[system])) for system in chosen])
    dial = Dial("choose", (_choice("system", chosen),))
    return Followed(dial, worlds, readings=(Reading("sites", "", counts, "huge", 0),))


def _peel(bench: Bench, _step: Step, drag: Drag, names: tuple[str, ...]) -> Followed:
    groups = [str(group) for group in drag.options["groups"]]  # type: ignore[union-attr]
    titles = [group.partition(":")[0].strip() for group in groups]
    each = [frozenset(group.partition(":")[2].split()) for group in groups]
    sites = bench.placed(names)
    worlds = tuple(World(sites, shown=shown) for shown in (frozenset(names), *each))
    dial = Dial("choose", (_choice("show", ("all", *titles)),))
    return Followed(dial, worlds)


def _heads(bench: Bench, step: Step, _drag: Drag, _names: tuple[str, ...]) -> Followed:
    same = bench.same_tapes
    own = same.sites[same.own]
    worlds = tuple(World(sites) for sites in same.sites)
    axis = Axis("another head", "SD", STEPS_SD, 0.0)
    still = tuple(
        Reading(MEASUREMENTS[name].title, "cm", np.full(len(worlds), value / 10), "large")
        for name, value in zip(same.names[:3], same.values_mm.tolist(), strict=False)
    )
    points = np.array([head.vertices_mm for head in same.heads])
    bars = _bars(own, worlds, step.watch)
    return Followed(Dial("slide", (axis,)), worlds, own, (*still, *bars), vertices_mm=points)


def _guesses(bench: Bench, step: Step, drag: Drag, names: tuple[str, ...]) -> Followed:
    landmark = str(drag.options["landmark"])
    found = bench.guesses(landmark)
    own = bench.slip_sites
    world = World(bench.placed(tuple(dict.fromkeys((*names, *own.names)))))
    axis = Axis("guesses", "", tuple(float(k) for k in range(N_GUESSES + 1)), float(N_GUESSES))
    shown = np.tri(N_GUESSES + 1, N_GUESSES, -1, dtype=bool)
    mesh = own.tracer.mesh

    def cloud(points: list[Floats]) -> Dots:
        at = np.array(points)[None]
        nameless = ("",) * N_GUESSES
        return Dots("guess", nameless, at, normals_of(mesh, at), shown, named=False)

    watched = [name for name in step.watch if name in own]
    more = [cloud([place for place, _ in found])]
    more += [cloud([sites[name] for _, sites in found]) for name in watched]
    off = {
        name: [0.0, *(float(np.linalg.norm(sites[name] - own[name])) for _, sites in found)]
        for name in watched
    }
    readings = tuple(Reading(name, "mm", np.maximum.accumulate(off[name])) for name in watched)
    worlds = (world,) * len(axis.stops)
    return Followed(Dial("guesses", (axis,)), worlds, readings=readings, more=tuple(more))


def _wound(bench: Bench, step: Step, drag: Drag, names: tuple[str, ...]) -> Followed:
    site = str(drag.options["site"])
    radii = [float(radius) for radius in drag.options["radii_mm"]]  # type: ignore[union-attr]
    (place,) = [p for p in bench.free if p.site == site] or [bench.free[0]]
    own = bench.placed(names)
    worlds, said, lengths = [], [], []
    for radius in radii:
        there = replace(place, radius_mm=radius)
        moved = bench.displacement_of((there,))
        obstacle: Obstacle = obstacle_of(there, own)
        found = {name: at for name, at in moved.points_mm.items() if at is not None}
        shown = frozenset(names) - moved.left_out.keys()
        worlds.append(World(own.moved_to(found), shown=shown, obstacles=(obstacle,)))
        words = [move.words for move in moved.moves] + list(moved.left_out.values())
        said.append(" ".join(words) or "Nothing has to move.")
        lengths.append(bench.derivations_of(moved))
    names_mm = [f"{radius:g} mm" for radius in radii]
    before = bench.derivations_of(bench.displacement_of(()))
    watched = [name for name in step.watch if "-" in name]
    readings = tuple(
        Reading(
            f"{name}, {cm(before[name].length_mm)} before",
            "cm",
            np.array([0.0 if n in of.missing else of[n].length_mm / 10 for of in lengths]),
        )
        for name in watched
        for n in [before[name].name]
    )
    at = min(range(len(radii)), key=lambda k: abs(radii[k] - place.radius_mm))
    dial = Dial("choose", (_choice("radius of the wound", names_mm, at),))
    return Followed(dial, tuple(worlds), own, readings, said=() if readings else tuple(said))


_FOLLOWED: dict[str, Callable[[Bench, Step, Drag, tuple[str, ...]], Followed]] = {
    "pull": _pull,
    "push": _push,
    "slack": _slack,
    "brow": _brow,
    "balance": _balance,
    "rule": _rule,
    "length": _length,
    "system": _system,
    "peel": _peel,
    "heads": _heads,
    "guesses": _guesses,
    "wound": _wound,
}
