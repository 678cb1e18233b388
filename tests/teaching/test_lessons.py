"""Lessons on four heads: every number is read back from its text and held against direct calls.

The direct calls are those of the rooms below (`place_sites`, `measure_montage`, ...), which have
tests of their own against standards, closed forms and published coordinates.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache, cached_property

import numpy as np
import pytest
from attacked_readers import mutated
from lesson_heads import HEADS, head

from headfit import (
    Displacement,
    MeasuredMontage,
    Sites,
    disc,
    displace,
    measure_montage,
    place_sites,
    standard_montages,
)
from headfit.anatomy.arcs import ARCS
from headfit.anatomy.sites import SYSTEMS
from headfit.case.case import FreePlace
from headfit.case.solved import SolvedCase, solve_case
from headfit.errors import HeadfitError
from headfit.files.lesson_file import FOLDER, built_in_lesson, lesson_names, lesson_of_text
from headfit.fitting.measures import measure_head
from headfit.geometry.sections import cut
from headfit.geometry.surface import nearest
from headfit.geometry.taperun import lay
from headfit.output.lesson_drawing import told_numbers
from headfit.planning.doubtful import moves_if_lower
from headfit.planning.scalp_paths import scalp_paths
from headfit.teaching.bench import SLIP_SITES, Bench
from headfit.teaching.numbers import in_one
from headfit.teaching.same_tapes import by_its_tapes
from headfit.teaching.slips import over_the_brow, pushed, slackened
from headfit.teaching.stage import StagedLesson
from headfit.teaching.staging import stage_lesson
from headfit.teaching.words import NUMBERS, PLACEHOLDER

NAMES = lesson_names()


@cache
def staged(name: str, of: str) -> StagedLesson:
    return stage_lesson(built_in_lesson(name), head(of))


def texts(lesson: StagedLesson) -> list[tuple[str, str]]:
    """Every text of a lesson as it was written, and as it is said on a head."""
    found = []
    for step in lesson.steps:
        found.append((step.step.caption, in_one(step.caption)))
        found.append((step.step.notes, step.notes))
        asked, question = step.asked, step.step.question
        if asked is not None and question is not None:
            found.append((question.text, in_one(asked.text)))
            found.append((question.why, asked.why))
            found.append((question.answer, asked.options[asked.right]))
    return found


def read_back(template: str, said: str) -> dict[str, str]:
    """What stands in a said text where the written one has its placeholders."""
    asked = PLACEHOLDER.findall(template)
    between = [re.escape(part) for part in PLACEHOLDER.split(template)[::2]]
    match = re.fullmatch("(.+?)".join(between), said)
    assert match is not None, (template, said)
    return dict(zip(asked, match.groups(), strict=True))


class Direct:
    """The numbers of lessons by direct calls: mm, or the name or words it must be."""

    def __init__(self, solved: SolvedCase) -> None:
        self.solved, self.rules = solved, solved.case.rules
        names = tuple(dict.fromkeys((*SYSTEMS["10-10"], *SLIP_SITES)))
        self.placed = place_sites(solved.head, names, self.rules)
        self.slip = place_sites(solved.head, SLIP_SITES, self.rules)

    def __call__(self, inside: str) -> float | str:
        word, *given = inside.split()
        found: float | str = getattr(self, word.replace("-", "_"))(*given)
        return found

    def length(self, *arc: str) -> float:
        return self.solved.tape_on(" ".join(arc)).length_mm

    def half(self, *arc: str) -> float:
        return self.length(*arc) / 2

    def share(self, *given: str) -> float:
        return self.length(*given[:-1]) * float(given[-1]) / 100

    def at(self, site: str) -> float:
        # Klem et al. 1999; what lessons ask for stands on the midline, a share of the reading.
        share = {"Fpz": 0.1, "Fz": 0.3, "Cz": 0.5, "Pz": 0.7, "Oz": 0.9}[site]
        return share * self.length("midline")

    def apart(self, one: str, other: str) -> float:
        pair = (self.placed[one], self.placed[other])
        return scalp_paths(self.placed.tracer, [pair])[0].length_mm

    def sites(self, system: str) -> str:
        return str(len(SYSTEMS[system]))

    def saved(self, *arc: str) -> float:
        taut, skin = (
            place_sites(self.solved.head, ["Cz"], replace(self.rules, length=kind))
            for kind in ("taut", "skin")
        )
        name = " ".join(arc)
        return skin.tracer.length_mm(name) - taut.tracer.length_mm(name)

    def below(self, site: str) -> float:
        # The plane through Fpz, Oz, and Fpz shifted from left to right.
        front, marks = self.placed["Fpz"], self.solved.head.landmarks
        beside = marks.right_preauricular - marks.left_preauricular
        normal = np.cross(beside, front - self.placed["Oz"])
        return float((front - self.placed[site]) @ normal / np.linalg.norm(normal))

    def gap(self, site: str, *rules: str) -> float:
        one, other = (
            place_sites(self.solved.head, [site], replace(self.rules, inner=rule)) for rule in rules
        )
        return float(np.linalg.norm(one[site] - other[site]))

    def _gone(self, there: Sites) -> dict[str, float]:
        return {n: float(np.linalg.norm(there[n] - self.slip[n])) for n in SLIP_SITES}

    def _pushed(self, landmark: str, way: str, by: str) -> dict[str, float]:
        return self._gone(pushed(self.slip, landmark, way, float(by)))

    def moved(self, site: str, landmark: str, way: str, by: str) -> float:
        if (landmark, way, by) == ("inion", "lower", "10"):  # the chair says the same
            return moves_if_lower(self.placed, "inion", (site,))[site]
        return self._pushed(landmark, way, by)[site]

    def mean_moved(self, *push: str) -> float:
        return float(np.mean(list(self._pushed(*push).values())))

    def most_moved(self, *push: str) -> float:
        return max(self._pushed(*push).values())

    def farthest(self, *push: str) -> str:
        far = self._pushed(*push)
        return max(far, key=far.__getitem__)

    def slack(self, site: str, by: str) -> float:
        return self._gone(slackened(self.slip, float(by)))[site]

    def brow(self, site: str, by: str) -> float:
        return self._gone(over_the_brow(self.slip, float(by)))[site]

    @cached_property
    def _moved(self) -> tuple[Displacement, MeasuredMontage]:
        plain = place_sites(self.solved.head, "10-20", self.rules)
        moved = displace(plain, [disc(plain, "P4", 14.0, "wound")])
        montage = standard_montages()["longitudinal"]
        return moved, measure_montage(montage, plain, moved.points_mm)

    def goes(self, site: str) -> str:
        move = next(move for move in self._moved[0].moves if move.site == site)
        assert move.named
        return f"to {move.toward}, {move.moved_mm / 10:.1f} cm away"

    def was(self, name: str) -> float:
        before = self._moved[1][name].before_mm
        assert before is not None
        return before

    def becomes(self, name: str) -> float:
        return self._moved[1][name].length_mm

    def most_changed(self) -> str:
        return max(self._moved[1].derivations, key=lambda each: abs(each.change_mm)).name


def in_mm(said: str) -> float:
    number, unit = said.split()
    return float(number) * {"cm": 10.0, "mm": 1.0}[unit]


# What lessons draw by chance or walk along is held by tests of its own, below.
APART = {"doubt", "scatter", "wander", "most-wandering"}


@pytest.mark.parametrize("of", HEADS)
@pytest.mark.parametrize("name", NAMES)
def test_every_number_is_the_computed_one(name: str, of: str) -> None:
    lesson = staged(name, of)
    solved = by_its_tapes(head(of)) if name == "same-tapes" else head(of)
    direct, n_held = Direct(solved), 0
    for template, said in texts(lesson):
        for inside, number in read_back(template, said).items():
            word = inside.split()[0]
            if word in APART:
                continue
            expected = direct(inside)
            n_held += 1
            if isinstance(expected, str):
                assert number == expected, inside
            else:
                shown = 0.5001 if number.endswith("cm") or expected >= 0.95 else 0.0501
                assert in_mm(number) == pytest.approx(expected, abs=shown), inside
    assert n_held or name in ("names", "same-tapes")


def test_every_number_a_lesson_may_ask_for_is_asked_for_somewhere() -> None:
    asked = {
        inside.split()[0]
        for name in NAMES
        for template, _ in texts(staged(name, "demo"))
        for inside in PLACEHOLDER.findall(template)
    }
    wrong = {
        inside.split()[0]
        for name in NAMES
        for step in built_in_lesson(name).steps
        if step.question
        for text in step.question.wrong
        for inside in PLACEHOLDER.findall(text)
    }
    assert asked | wrong == set(NUMBERS)


def test_there_are_ten_lessons_each_with_one_thing_to_do() -> None:
    assert len(NAMES) == 10
    for name in NAMES:
        lesson = built_in_lesson(name)
        assert lesson.name == name
        assert lesson.sources
        assert any(step.drag or step.cards for step in lesson.steps), name
        assert sum(step.question is not None for step in lesson.steps) == 1, name


@pytest.mark.parametrize("of", HEADS)
@pytest.mark.parametrize("name", NAMES)
def test_captions_are_one_or_two_short_sentences(name: str, of: str) -> None:
    for step in staged(name, of).steps:
        said = in_one(step.caption)
        assert said.endswith((".", "?"))
        assert len(re.findall(r"[.?!](?=\s|$)", said)) <= 2, said
        assert len(said) <= 175, said


@pytest.mark.parametrize("of", HEADS)
@pytest.mark.parametrize("name", NAMES)
def test_a_question_has_one_right_answer_among_several(name: str, of: str) -> None:
    for step in staged(name, of).steps:
        if step.asked is not None:
            options = step.asked.options
            assert len(options) >= 2
            assert len(set(options)) == len(options)
            names = {each.step.name for each in staged(name, of).steps}
            assert step.asked.again in names


@pytest.mark.parametrize("of", HEADS)
def test_heads_of_the_same_tapes_have_them_when_they_are_measured_again(of: str) -> None:
    same = Bench(by_its_tapes(head(of))).same_tapes
    for other in same.heads:
        taken = measure_head(other).values_mm
        off = [taken[name] - value for name, value in zip(same.names, same.values_mm, strict=True)]
        assert np.abs(off).max() < 0.1
    # And they are other heads: some site goes by millimetres.
    own = same.sites[same.own].points_mm
    assert max(np.linalg.norm(s.points_mm - own, axis=1).max() for s in same.sites) > 2.0


@pytest.mark.parametrize("of", HEADS)
def test_guesses_scatter_as_they_say(of: str) -> None:
    bench = Bench(head(of))
    guesses = bench.guesses("inion")
    along, across = bench.doubt_mm("inion")
    inion = bench.sites.tracer.point("inion")
    far = [np.linalg.norm(place - inion) for place, _ in guesses]
    # Two standard deviations each way at most, and half of them within one and a half.
    assert max(far) <= 2.05 * np.hypot(along, across)
    assert 0.3 * along < np.median(far) < 1.5 * along


def between(values: np.ndarray, stops: tuple[float, ...], at: float) -> np.ndarray:
    """Straight between stops, as the page goes."""
    k = int(np.searchsorted(stops, at)) - 1
    share = (at - stops[k]) / (stops[k + 1] - stops[k])
    return (1 - share) * values[k] + share * values[k + 1]


@pytest.mark.parametrize("of", HEADS)
def test_between_two_stops_the_page_is_within_half_a_millimetre(of: str) -> None:
    """Against the slip computed for that very place."""
    solved = head(of)
    n_held = 0
    for step in staged("slips", of).steps:
        drag = step.step.drag
        if drag is None:
            continue
        assert step.dial is not None
        stops = step.dial.axes[0].stops
        dots = next(d for d in step.dots if d.look == "site")
        own = place_sites(solved.head, SLIP_SITES, replace(solved.case.rules, inferior="row"))
        for k in range(len(stops) - 1):
            at = (stops[k] + stops[k + 1]) / 2
            if drag.kind == "push":
                there = pushed(own, drag.options["landmark"], drag.options["way"], at)  # type: ignore[arg-type]
            else:
                there = (slackened if drag.kind == "slack" else over_the_brow)(own, at)
            rows = [n for n, name in enumerate(dots.names) if name in there]
            shown = between(dots.points_mm, stops, at)[rows]
            true = np.array([there[dots.names[n]] for n in rows])
            assert np.linalg.norm(shown - true, axis=1).max() <= 0.5
            n_held += len(rows)
    assert n_held > 300


@pytest.mark.parametrize("of", HEADS)
def test_cz_between_stops_has_the_halves_that_python_has(of: str) -> None:
    step = staged("vertex", of)["balance"]
    assert step.dial is not None
    n = len(step.dial.axes[0].stops)
    handle = step.dial.handle_mm.reshape(n, n, 3)  # type: ignore[union-attr]
    first = step.balances[0].first_cm.reshape(n, n)
    tracer = place_sites(head(of).head, "10-20").tracer
    for row, column in ((2, 3), (5, 5), (8, 2), (4, 7)):
        corner = np.s_[row : row + 2, column : column + 2]
        shown = handle[corner].reshape(-1, 3).mean(axis=0)
        on_skin = nearest(tracer.mesh, shown[None])[0].on(tracer.mesh.vertices_mm)[0]
        assert np.linalg.norm(on_skin - shown) <= 0.5
        run = lay(cut(tracer.mesh, tracer.point("nasion"), on_skin, tracer.point("inion")))
        assert first[corner].mean() * 10 == pytest.approx(run.via_mm, abs=0.5)


def test_cz_in_its_place_halves_both_arcs_and_only_there() -> None:
    step = staged("vertex", "demo")["balance"]
    assert step.dial is not None
    stops = step.dial.axes[0].stops
    level = [np.abs(b.first_cm - b.second_cm) < 0.1 for b in step.balances]
    both = np.flatnonzero(level[0] & level[1])
    own = stops.index(0.0) * len(stops) + stops.index(0.0)
    assert both.tolist() == [own]
    assert step.start != own


@pytest.mark.parametrize("of", HEADS)
def test_tapes_are_pulled_along_the_arcs_themselves(of: str) -> None:
    step = staged("ring", of)["snap"]
    tape = next(tape for tape in step.tapes if tape.name == "left ring")
    run = place_sites(head(of).head, "10-20", head(of).case.rules).tracer.run("left ring")
    np.testing.assert_allclose(tape.points_mm[0, [0, -1]], run.curve.path_mm[[0, -1]], atol=1e-6)
    assert tape.length_mm[0] == pytest.approx(head(of).tape_on("left ring").length_mm)
    along = np.linalg.norm(np.diff(tape.points_mm[0], axis=0), axis=1).sum()
    assert along == pytest.approx(run.length_mm, rel=2e-3)
    assert tape.name in ARCS


def test_the_exchange_has_distances_over_the_scalp_and_tries_that_a_tape_shows() -> None:
    exchange = staged("exchange", "demo")["find"].exchange
    assert exchange is not None
    at = exchange.names.index
    sites = place_sites(head("demo").head, "10-20")
    (run,) = scalp_paths(sites.tracer, [(sites["F3"], sites["O2"])])
    assert exchange.apart_cm[at("F3"), at("O2")] == pytest.approx(run.length_mm / 10)
    pairs = {frozenset((exchange.names[a], exchange.names[b])) for a, b in exchange.neighbours}
    assert frozenset(("C3", "Cz")) in pairs
    assert frozenset(("F7", "O2")) not in pairs
    assert len(set(exchange.exchanged)) == len(exchange.exchanged) >= 20
    for a, b in exchange.exchanged:
        swapped = exchange.apart_cm.copy()
        swapped[[a, b]] = swapped[[b, a]]
        swapped[:, [a, b]] = swapped[:, [b, a]]
        off = [abs(swapped[p] - exchange.apart_cm[p]) for p in exchange.neighbours]
        assert max(off) > 1.0  # cm: a tape shows it


def test_a_damaged_lesson_that_is_still_read_is_staged_or_refused_in_one_sentence() -> None:
    """Changed words and numbers: another site, another arc, another landmark."""
    generator = np.random.default_rng(5)
    texts = [path.read_bytes() for path in sorted(FOLDER.glob("*.toml"))]
    staged_ones, refused = 0, []
    for _ in range(120):
        raw = mutated(texts[generator.integers(len(texts))], generator)
        try:
            stage_lesson(lesson_of_text(raw.decode("utf-8", "replace")), head("demo"))
        except HeadfitError as error:
            refused.append(str(error))
        else:
            staged_ones += 1
    assert staged_ones > 5
    assert len(refused) > 10
    assert [said for said in refused if not said.isprintable()] == []


def test_a_tape_read_in_inches_is_told_in_inches() -> None:
    """14 1/4 inch are 36.2 cm: the same head, the same lessons."""
    solved = head("demo")
    inches = solve_case(replace(solved.case, unit="inch"))
    for name in NAMES:
        for step in stage_lesson(built_in_lesson(name), inches).steps:
            said = " ".join([in_one(step.caption), step.notes, *told_numbers(step)])
            assert not re.search(r"\d cm\b", said.replace("1 cm too low", "")), said
    midline = stage_lesson(built_in_lesson("midline"), inches)
    assert "14 7/16 inch" in in_one(midline["pull"].caption)  # 36.6 cm


@cache
def wounded() -> SolvedCase:
    """The demo with a wound at P4; its old names switched off."""
    free = (FreePlace("P4", radius_mm=14, reason="wound"),)
    return solve_case(replace(head("demo").case, free=free, old_names=False))


def test_what_a_case_keeps_free_is_drawn_and_said_where_it_matters() -> None:
    lesson = stage_lesson(built_in_lesson("slips"), wounded())
    assert "must stay free" in lesson.cautions[0]
    gone = {move.site for move in wounded().displacement.moves} if wounded().displacement else set()
    assert {"P4", "P3"} <= gone
    told = 0
    for step in lesson.steps:
        assert [o.names for o in step.outlines if o.look == "place"] == [
            ("wound, 14 mm around P4",)
        ]
        shown = {name for dots in step.dots for name in dots.names} & gone
        assert bool(step.cautions) is bool(shown), step.step.name
        for caution in step.cautions:
            told += 1
            assert all(name in caution for name in shown)
            assert "mark by its sheet" in caution
    assert told > 2
    # Rules are taught where they put a site: nothing is moved.
    plain = stage_lesson(built_in_lesson("slips"), head("demo"))
    for step, own in zip(lesson.steps, plain.steps, strict=True):
        assert not own.cautions
        for dots, there in zip(step.dots, own.dots, strict=True):
            np.testing.assert_allclose(dots.points_mm, there.points_mm, atol=1e-9)


def test_old_names_are_told_as_the_case_has_it_and_never_where_they_are_the_answer() -> None:
    for step in staged("names", "demo").steps:
        open_ = step.step.question is None and not step.step.cards
        assert step.old_names is open_, step.step.name
        assert step.called("T7") == ("T7 (T3)" if open_ else "T7")
        assert step.called("Cz") == "Cz"
    off = stage_lesson(built_in_lesson("names"), wounded())
    assert {step.called("P8") for step in off.steps} == {"P8"}
