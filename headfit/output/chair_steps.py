"""The steps at the chair of a solved case, from its marking plan and from nowhere else. mm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from headfit.anatomy.landmarks import FINDING, FLAT_INION, NAMES, TITLES
from headfit.anatomy.site_table import both_names
from headfit.anatomy.template import age_in_months
from headfit.case.solved import SolvedCase
from headfit.fitting.measurements import MEASUREMENTS, groups_for
from headfit.output.chair import Chair, ChairArc, ChairStep, Kind, Part
from headfit.output.chair_drawings import ChairDrawing, ChairDrawings
from headfit.output.sheet_arcs import EARS
from headfit.output.sheet_card import card_lines, cups_of
from headfit.planning.arc_steps import ArcStep
from headfit.planning.checks import Check
from headfit.planning.marking import floor_mm
from headfit.planning.preparation import BROKEN_SKIN, LONG_RECORDINGS, cable_lengths_mm, tray
from headfit.planning.walks import PlannedMark, Walk
from headfit.units import tape_length, told_in

# For pressing, not for reading: reference and ground where people put them most.
LEADS = ("reference", "ground", "ECG")


def chair_of(solved: SolvedCase) -> Chair:
    """The steps of a case.

    While nothing is measured no mark is told: what would be told is nobody's head.

    >>> from headfit.case.case import Case
    >>> from headfit.case.solved import solve_case
    >>> from headfit.fitting.tape import Tape
    >>> chair = chair_of(solve_case(Case(Tape(nasion_inion_mm=360, ring_mm=560))))
    >>> fz = next(step for step in chair.steps if step.key == "mark Fz")
    >>> fz.done, round(fz.number_mm), fz.source, fz.detail
    ('Fz is marked', 108, 'own reading', '30 %, second stroke: row F')
    """
    with told_in(solved.case.unit):
        return _Planning(solved).chair()


_ARC_TITLES = {"midline": "Mark the midline", "coronal": "Mark ear to ear"}


class _Planning:
    """The steps of one case in the making."""

    def __init__(self, solved: SolvedCase) -> None:
        self.solved = solved
        self.case = solved.case
        self.draw = ChairDrawings(solved)
        self.drawings: dict[str, ChairDrawing] = {}

    def chair(self) -> Chair:
        steps = [*self.landmarks(), *self.readings()]
        arcs: tuple[ChairArc, ...] = ()
        if self.solved.fitted is not None:
            self.drawings["map"] = self.draw.map
            steps += [*self.marks(), *self.checks(), *self.prepared(), *self.applied()]
            steps += self.last()
            arcs = tuple(self.arcs())
        return Chair(self.solved, tuple(steps), arcs, self.drawings)

    # ---- landmarks and readings

    def landmarks(self) -> Iterator[ChairStep]:
        for name in NAMES:
            self.drawings[name] = self.draw.landmark(name)
            title = TITLES[name]
            short = title.replace(" preauricular point", " ear")
            doubt = self._doubt(name)
            if name == "inion":
                self.drawings["flat inion"] = self.draw.flat_inion()
            yield ChairStep(
                f"landmark {name}",
                "landmarks",
                "landmark",
                f"Find the {title}",
                title,
                f"{short[0].upper()}{short[1:]} is marked",
                f"{FINDING[name]} Put a dot on it.",
                words=f"{NAMES.index(name) + 1} of {len(NAMES)}",
                arc=name,
                drawing=name,
                doubt=f"{FLAT_INION} {doubt}".strip() if name == "inion" else doubt,
            )

    def _doubt(self, name: str) -> str:
        from headfit.planning.doubtful import doubt_sentence

        return "" if self.solved.fitted is None else doubt_sentence(self.solved.sites, name)

    def readings(self) -> Iterator[ChairStep]:
        first = next(iter(groups_for(age_in_months(self.case.age)).values()))
        tape = {} if self.case.tape is None else self.case.tape.values_mm
        off = self.solved.off_limits
        for name in dict.fromkeys((*first, *tape)):
            kind = MEASUREMENTS[name]
            if name in off and name not in tape:
                continue
            self.drawings[name] = self.draw.measurement(name)
            yield ChairStep(
                f"read {name}",
                "measure",
                "reading",
                f"{kind.tool.capitalize()}: {kind.title}",
                kind.title,
                "",
                f"{kind.how[0].upper()}{kind.how[1:]}. Snug, not tight.",
                number_mm=tape.get(name),
                own=name in tape,
                source="own reading" if name in tape else "",
                warnings=(f"Its tape would touch {off[name]}.",) if name in off else (),
                arc=name,
                drawing=name,
            )

    # ---- marks

    def arcs(self) -> Iterator[ChairArc]:
        whole = {k.arcs[0]: k.name for k in MEASUREMENTS.values() if len(k.arcs) == 1}
        tracer = self.solved.sites.tracer
        names = [step.arc for step in self.solved.marking.steps]
        if any(step.beyond for step in self.solved.marking.steps) and "coronal" not in names:
            names.append("coronal")
        for name in names:
            tape = self.solved.tape_on(name)
            share = 0.0
            if name.endswith(" ring"):
                left, right = (tracer.length_mm(f"{side} ring") for side in ("left", "right"))
                share = tracer.length_mm(name) / (left + right)
            yield ChairArc(
                name, _title(name), tape.length_mm, tape.own, tape.told, whole.get(name, ""), share
            )

    def marks(self) -> Iterator[ChairStep]:
        plan = self.solved.marking
        for step in plan.steps:
            self.drawings[step.arc] = self.draw.arc(step)
            for walk in step.walks:
                yield from (self._mark(step, walk, mark) for mark in walk.marks)
            yield from self._beyond(step)
        for found in plan.bearings:
            key = f"to {found.site}"
            self.drawings[key] = self.draw.bearing(found)
            yield ChairStep(
                f"mark {found.site}",
                "mark",
                "bearing",
                f"{found.title} by two short tapes",
                found.site,
                f"{found.site} is marked",
                f"{found.first.first} to the place, and {tape_length(found.second.length_mm)} "
                f"from {found.second.first}, toward {found.side}: where both end.",
                number_mm=found.first.length_mm,
                source="predicted",
                drawing=key,
                spots=(found.place or found.site,),
                warnings=self._free_words(),
            )
        for site in plan.by_eye:
            line = "No clear tape reaches its place: set it by eye between its neighbours."
            yield self._plain("mark", "eye", f"{site} by eye", site, f"{site} is marked", line)
        for site in plan.beside_ears:
            line = f"{EARS[0].upper()}{EARS[1:]}."
            yield self._plain("mark", "eye", "Ears", site, f"{site} is marked", line)

    def _plain(
        self, part: Part, kind: Kind, title: str, name: str, done: str, line: str, words: str = ""
    ) -> ChairStep:
        """A step on the map without a tape."""
        return ChairStep(
            f"{part} {name}",
            part,
            kind,
            title,
            name,
            done,
            line,
            words=words,
            drawing="map",
            spots=(name,),
        )

    def _mark(self, step: ArcStep, walk: Walk, mark: PlannedMark) -> ChairStep:
        passes = mark.kind == "meets"
        site = mark.stands_for or mark.name
        called = f"{site} → {mark.name}" if mark.stands_for else site
        other = mark.other.removeprefix("left ").removeprefix("right ")
        stroke = f"second stroke: {'ear to ear' if other == 'coronal' else other}"
        if passes:
            said = "must lie here" if mark.name == "Cz" else "the tape passes over it"
        else:
            said = f"{100 * mark.share:.0f} %, {stroke}"
            said += ", no cup" if mark.kind == "construction" else ""
        key = f"pass {step.arc} {mark.name}" if passes else f"mark {site}"
        return ChairStep(
            key,
            "mark",
            "pass" if passes else "mark",
            _title(step.arc),
            called,
            f"{site} is marked",
            self._way(step, walk),
            number_mm=mark.distance_mm,
            own=step.tape.own,
            source=step.tape.told,
            detail=said,
            warnings=self._stop(walk),
            arc=step.arc,
            share=mark.distance_mm / step.tape.length_mm,
            drawing=step.arc,
            spots=(mark.name,),
        )

    def _way(self, step: ArcStep, walk: Walk) -> str:
        zero, toward = _short(walk.zero), _short(walk.toward)
        via = f", over {_short(step.via)}" if not step.held and step.via != walk.zero else ""
        strokes = "One stroke along the tape, one across."
        if step.held and walk.stop_mm is None:
            return f"Zero at {zero}, up to {_short(step.via)}. {strokes}"
        if walk.stop_mm is not None:
            return f"Zero at {zero}, toward {toward}. {strokes}"
        return f"Zero at {zero}{via}, to {toward}. {strokes}"

    def _stop(self, walk: Walk) -> tuple[str, ...]:
        if walk.stop_mm is None:
            return ()
        ends = tape_length(floor_mm(walk.stop_mm))
        return (f"The tape ends at {ends}.", *self._free_words())

    def _free_words(self) -> tuple[str, ...]:
        found = self.solved.displacement
        return () if found is None else tuple(f"No tape over: {o.title}." for o in found.obstacles)

    def _beyond(self, step: ArcStep) -> Iterator[ChairStep]:
        for mark in step.beyond:
            site = mark.stands_for or mark.name
            whole = self.solved.tape_on("coronal")
            yield ChairStep(
                f"mark {site}",
                "mark",
                "mark",
                _title(step.arc),
                site,
                f"{site} is marked",
                f"Zero at {mark.beyond}, on in the line of the row, away from its middle.",
                number_mm=mark.distance_mm,
                own=mark.own,
                source=f"a share of ear to ear: {whole.told}",
                detail=f"beyond {mark.beyond}",
                arc="coronal",
                share=mark.distance_mm / whole.length_mm,
                drawing=step.arc,
                spots=(mark.name,),
            )

    def checks(self) -> Iterator[ChairStep]:
        plan = self.solved.marking
        moves = self.solved.displacement.moves if self.solved.displacement else ()
        site_of = {move.toward: move.site for move in moves if move.named}
        no_tape = tuple(f"No tape: {pair}." for pair in plan.forbidden_checks)
        for row in plan.checks:
            for check in row:
                if check is not None:
                    yield self._check(check, site_of, no_tape)

    def _check(self, check: Check, site_of: dict[str, str], no_tape: tuple[str, ...]) -> ChairStep:
        first, second = (site_of.get(name, name) for name in (check.first, check.second))
        return ChairStep(
            f"check {first}–{second}",
            "mark",
            "check",
            "Check before paste",
            f"{first}–{second}",
            f"{first}–{second} is within",
            "Tape from mark to mark. Outside its ±: measure both marks again.",
            number_mm=check.length_mm,
            tolerance_mm=check.tolerance_mm,
            source="predicted",
            warnings=no_tape,
            drawing="map",
            spots=(first, second),
        )

    # ---- skin, cups, record

    def prepared(self) -> Iterator[ChairStep]:
        lines = card_lines(
            self.solved.sites.names,
            self.solved.displacement,
            dict.fromkeys(self.solved.sites.names, 0.0),
        )
        ready = tray(line.how.site for line in lines)
        yield replace(
            self._plain(
                "prepare", "look", "Look at the skin", "skin", "The skin is fine", BROKEN_SKIN
            ),
            spots=(),
        )
        yield replace(
            self._plain(
                "prepare",
                "look",
                "Lay ready",
                "tray",
                "All lies ready",
                f"{'; '.join(ready.lines)}. Single-use or disinfected; clean hands.",
                f"{ready.n_cups} cups",
            ),
            spots=(),
        )

    def applied(self) -> Iterator[ChairStep]:
        cups = cups_of(
            self.solved.sites.names, self.solved.sites.points_mm, self.solved.displacement
        )
        cables = cable_lengths_mm(self.solved.sites, cups)
        for line in card_lines(self.solved.sites.names, self.solved.displacement, cables):
            called = both_names(line.site) if self.case.old_names else line.site
            hair = {"hair": "Hair: part it.", "bare skin": "Bare skin."}
            skin = hair.get(line.how.skin, "Hair or skin: look.")
            line_words = f"{skin} {line.how.fixing.capitalize()}, cable {line.how.tail}."
            if line.place:
                line_words = f"At its new place{_to(line.place)}. {line_words}"
            yield ChairStep(
                f"apply {line.site}",
                "apply",
                "electrode",
                f"Apply {called}",
                line.site,
                f"{line.site} is on",
                line_words,
                detail=f"cable {tape_length(line.cable_mm)} to the nape",
                drawing="map",
                spots=(line.site,),
            )

    def last(self) -> Iterator[ChairStep]:
        def step(kind: Kind, title: str, name: str, done: str, line: str) -> ChairStep:
            return replace(self._plain("check", kind, title, name, done, line), spots=())

        yield step(
            "impedances", "Impedances", "impedances", "Impedances are charted",
            "Each within the limit, left and right alike. Never abrade to lower one.",
        )  # fmt: skip
        yield step(
            "changes", "Moved and left out", "changes", "Moved and left out are charted",
            "What stands elsewhere, and what was left out and why.",
        )  # fmt: skip
        for name in LEADS:
            title = name[0].upper() + name[1:]
            yield step(
                "lead", title, name, f"{title} is charted", "Where it stands, and its impedance."
            )
        yield step("finish", "Who and when", "finish", "All is charted", LONG_RECORDINGS)


def _to(place: str) -> str:
    return "" if place == "moved" else f", {place}"


def _short(name: str) -> str:
    return name.replace(" preauricular point", " ear")


def _title(arc: str) -> str:
    if arc in _ARC_TITLES:
        return _ARC_TITLES[arc]
    if arc in ("left ring", "right ring"):
        return f"Ring, {arc.split(maxsplit=1)[0]} side"
    return arc[0].upper() + arc[1:]
