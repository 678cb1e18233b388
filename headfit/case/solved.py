"""A solved case: everything computed for one head, each part once and when it is asked for.

The one way from what was stated to what is shown: ``Case -> solve_case -> SolvedCase``. Command
line, app, report, sheet and notebook take their parts from here, so that they all say the same.
Head frame, millimetres.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass, field, replace
from functools import cached_property, update_wrapper
from typing import TYPE_CHECKING, Concatenate, Literal, ParamSpec, Protocol, TypeVar

from headfit.anatomy.arc_tapes import ArcTape, as_computed
from headfit.anatomy.head import Head
from headfit.anatomy.sites import Sites, place_sites
from headfit.anatomy.template import load_template
from headfit.case.case import Case, FreePlace
from headfit.comparing.alignment_kinds import ALIGNMENTS
from headfit.errors import HeadfitError, InputError, SheetError, sentence
from headfit.fitting.advice import Advice, advise, findings
from headfit.fitting.arc_readings import arc_tape, pair_spreads_mm
from headfit.fitting.fit import FittedHead, fit_head
from headfit.fitting.hand_set_shape import hand_words
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.spreads import SiteSpreads
from headfit.hooks import hook
from headfit.nouns import Noun
from headfit.units import told_in

if TYPE_CHECKING:  # what most cases never ask for is loaded when one does
    from headfit.comparing.comparison import Comparison
    from headfit.comparing.head_and_slip import HeadUnderMarks
    from headfit.planning.derivations import MeasuredMontage
    from headfit.planning.displacement import Displacement
    from headfit.planning.marking import MarkingPlan
    from headfit.planning.obstacles import Obstacle

HeadFrom = Literal["tape", "scan", "marks", "template"]


class _KnowsSpreads(Protocol):
    def spreads(self, sites: Sites) -> SiteSpreads: ...


_P = ParamSpec("_P")
_T = TypeVar("_T")


def _in_its_unit(
    method: Callable[Concatenate[SolvedCase, _P], _T],
) -> Callable[Concatenate[SolvedCase, _P], _T]:
    """What a method says tells tape lengths in the unit in which the tape of the case was read."""

    def told(self: SolvedCase, /, *args: _P.args, **more: _P.kwargs) -> _T:
        with told_in(self.case.unit):
            return method(self, *args, **more)

    update_wrapper(told, method)
    return told


@dataclass(frozen=True, eq=False, repr=False)
class SolvedCase(Noun):
    """Everything computed for a case.

    Attributes
    ----------
    case : Case
    head : Head
        The fitted head, the scan, the head found under the marks, or the template of the age.
    head_from : {"tape", "scan", "marks", "template"}
    fitted : FittedHead or None
        When something was measured.
    """

    case: Case
    head: Head
    head_from: HeadFrom
    fitted: FittedHead | None = None
    _spread_source: _KnowsSpreads | None = field(default=None, repr=False)

    def __repr__(self) -> str:
        array = self.case.array_title
        return f"<SolvedCase {self.case.label!r}: {array} on a head from its {self.head_from}>"

    def _repr_html_(self) -> str:
        """A small drawing, in a notebook."""
        return str(hook("small_drawing")(self))

    def check_measured(self) -> None:
        """Refuse a case in which nothing is measured: what is handed out would be nobody's head.

        Raises
        ------
        InputError
        """
        if self.fitted is None:
            raise InputError(
                sentence(
                    "a case",
                    "hold at least one measurement",
                    "none",
                    "start with the nasion-inion arc, the preauricular arc and the ring",
                ),
                code="sheet-empty",
            )

    @property
    def tape_fit(self) -> FittedHead:
        """The head fitted to the tape.

        Raises
        ------
        InputError
            Nothing is measured yet.
        """
        self.check_measured()
        assert self.fitted is not None
        return self.fitted

    def charted(self, case: Case) -> SolvedCase:
        """The same for a case that differs in its set-up record alone: nothing is computed anew.

        Parameters
        ----------
        case : Case
            With the same parts but for its record.
        """
        other = copy(self)
        object.__setattr__(other, "case", case)
        return other

    @cached_property
    def sites(self) -> Sites:
        """The sites of the case's array, where the rules put them."""
        return place_sites(self.head, self.case.array, self.case.rules)

    @cached_property
    def spreads(self) -> SiteSpreads | None:
        """How sure each of `sites` is; None on a scan and on the bare template."""
        return self._spreads_of(self.sites)

    def _spreads_of(self, sites: Sites) -> SiteSpreads | None:
        return None if self._spread_source is None else self._spread_source.spreads(sites)

    @cached_property
    @_in_its_unit
    def advice(self) -> Advice | None:
        """What to measure next, take again, or look at; None while nothing is measured."""
        if self.fitted is None:
            return None
        return advise(self.fitted, self.off_limits, self.case.array)

    @cached_property
    @_in_its_unit
    def urgent_sentences(self) -> tuple[str, ...]:
        """What must be looked at before anything is marked: flags, one reading, doubtful landmarks.

        Each in one sentence; nothing when the sheet is sound.
        """
        if self.fitted is None:
            return ()
        from headfit.planning.doubtful import doubt_sentence

        # Only where a reading must not be taken again is another measurement named in its place.
        found = self.advice if self.off_limits else findings(self.fitted)
        assert found is not None
        doubts = tuple(doubt_sentence(self.sites, name) for name in self.case.doubtful)
        # A mistyped reading makes an unusual head: one sentence is enough.
        flags = () if found.slips else self.fitted.flags
        return (*flags, *found.urgent, *doubts)

    @cached_property
    @_in_its_unit
    def advice_sentences(self) -> tuple[str, ...]:
        """What a person should read first: the urgent ones, then what to measure or take again."""
        advised = () if self.advice is None else self.advice.sentences()
        return tuple(dict.fromkeys((*self.urgent_sentences, *advised)))

    @cached_property
    def off_limits(self) -> dict[str, str]:
        """Measurements whose tape or caliper would touch a place that must stay free: which one."""
        if self.displacement is None:
            return {}
        from headfit.fitting.measures import measures_of
        from headfit.planning.clear_tapes import obstacle_met

        measures = measures_of(self.head)
        found = {}
        for name, kind in MEASUREMENTS.items():
            path = measures.path_mm(name)
            met = obstacle_met(path, self.displacement.obstacles, tape=kind.tool == "tape")
            if met is not None:
                found[name] = met.title
        return found

    @cached_property
    def displacement(self) -> Displacement | None:
        """What becomes of the sites when the places of the case stay free; None without any.

        Raises
        ------
        InputError
            A place is off the scalp, too small or too large.
        """
        if not self.case.free:
            return None
        from headfit.planning.displacement import displace

        places = [obstacle_of(place, self.sites) for place in self.case.free]
        return displace(self.sites, places, homologues=not self.case.move_alone)

    @property
    @_in_its_unit
    def free_sentences(self) -> tuple[str, ...]:
        """What the places that must stay free ask for; nothing without such a place."""
        if self.displacement is None:
            return ()
        said = (*self.displacement.sentences, *self.marking.sentences)
        return said or ("No site lies in a place that must stay free.",)

    @_in_its_unit
    def tape_on(self, arc: str) -> ArcTape:
        """The tape on an arc: as it was read where it was, otherwise as it is predicted.

        Raises
        ------
        UnknownNameError
            No such arc.
        """
        if arc not in self._tapes:
            self._tapes[arc] = (
                as_computed(self.sites.tracer.run(arc))
                if self.fitted is None
                else arc_tape(self.fitted, self.sites, arc)
            )
        return self._tapes[arc]

    @cached_property
    def _tapes(self) -> dict[str, ArcTape]:
        return {}

    @property
    @_in_its_unit
    def record_sentences(self) -> tuple[str, ...]:
        """What the set-up record asks to look at, and what became of the plan; none when blank."""
        from headfit.case.record_findings import record_sentences

        return record_sentences(self.case.record, self.sites, self.displacement)

    @cached_property
    def marking(self) -> MarkingPlan:
        """What to mark, in the order in which it is measured."""
        from headfit.planning.marking import plan_marking

        fitted, sites = self.fitted, self.sites
        if fitted is None:
            return plan_marking(sites, self.displacement)
        return plan_marking(
            sites,
            self.displacement,
            self.tape_on,
            lambda pairs: pair_spreads_mm(fitted, sites, pairs),
        )

    @cached_property
    def derivations(self) -> MeasuredMontage | None:
        """The derivations of the case with their lengths, moved sites where they stand now."""
        if self.case.montage is None:
            return None
        from headfit.planning.derivations import measure_montage

        moved = self.displacement
        return measure_montage(
            self.case.montage, self.sites, None if moved is None else moved.points_mm
        )

    @cached_property
    def comparison(self) -> Comparison | None:
        """The marks of the case against the sites: a moved site where it was moved to.

        None without marks. Marks at sites that are left out are set aside with a note.

        Raises
        ------
        MarksError
            The marks cannot be compared.
        """
        marks = self.case.marks
        if marks is None:
            return None
        from headfit.comparing.compare import compare_marks

        moved = {} if self.displacement is None else self.displacement.points_mm
        marks = marks.set_aside(
            (name for name in marks.names if name in moved and moved[name] is None),
            "left out because a place must stay free",
        )
        sites = self.sites
        if len(marks):
            # By the rules of the case's own set: row 9/10 stands where its sheet has it.
            sites = place_sites(self.head, marks.names, sites.rules)
        spreads = self._spreads_of(sites) if len(marks) else None
        chosen = next((kind for kind in ALIGNMENTS if kind == self.case.align), None)
        return compare_marks(
            sites.moved_to({name: point for name, point in moved.items() if point is not None}),
            marks,
            # Landmarks are taken where they were measured, and best fit where not.
            None if chosen == "landmarks" else chosen,
            bands_mm=self.case.bands_mm,
            spreads=spreads,
            under=self._under_marks,
        )

    @property
    def _under_marks(self) -> HeadUnderMarks | None:
        """The head with the slip of the marks, where both were found from the marks."""
        from headfit.comparing.head_and_slip import HeadUnderMarks

        source = self._spread_source
        return source if isinstance(source, HeadUnderMarks) else None

    @cached_property
    def problems(self) -> dict[str, HeadfitError]:
        """Why a part of the case cannot be had: "marks", "derivations" or "comparison"."""
        found = dict(self.case.problems)
        try:
            _ = self.comparison
        except HeadfitError as error:
            found["comparison"] = error
        return found


def solve_case(case: Case) -> SolvedCase:
    """Everything computed for a case; the head is fitted now, the rest when it is asked for.

    The head is the scan where there is one, else the head that the tape speaks of, else the one
    found under the marks, else the template of the age, which is no person's head.

    Raises
    ------
    SheetError
        No head has these measurements, or not with the shape that was set by hand.
    HeadfitError
        As `fit_head`, and as `head_under` when there are only marks.

    >>> from headfit.fitting.tape import Tape
    >>> solved = solve_case(Case(Tape(ring_mm=566.0), label="a head"))
    >>> solved
    <SolvedCase 'a head': 10-20 on a head from its tape>
    """
    if case.scan is not None:
        return SolvedCase(case, case.scan, "scan")
    if case.tape is not None:
        with told_in(case.unit):
            fitted = _fitted(case)
        return SolvedCase(case, fitted.head, "tape", fitted, fitted)
    if case.marks is not None:
        from headfit.comparing.head_from_marks import head_under

        found, remark = head_under(
            case.marks, age=case.age, sex=case.sex, doubtful=case.doubtful, rules=case.rules
        )
        told = replace(case.marks, remarks=(*case.marks.remarks, remark))
        return SolvedCase(replace(case, marks=told), found.head, "marks", None, found)
    return SolvedCase(case, load_template(case.age), "template")


def _fitted(case: Case) -> FittedHead:
    def fit(shape: dict[str, float]) -> FittedHead:
        assert case.tape is not None
        return fit_head(case.tape, case.age, sex=case.sex, doubtful=case.doubtful, fixed=shape)

    try:
        return fit(dict(case.shape))
    except HeadfitError as error:
        if not case.shape:
            raise
        fit({})  # raises what is wrong beside the shape
        said = hand_words(case.shape).partition(": ")[2].rstrip(".")
        raise SheetError(
            sentence(
                "a shape set by hand",
                "leave a head that has the measurements",
                said,
                "set it nearer to 0 or take it out",
            ),
            code="sheet-no-head",
        ) from error


def obstacle_of(place: FreePlace, sites: Sites) -> Obstacle:
    """A place of the case on a head.

    Raises
    ------
    InputError
        Off the scalp, too small or too large; the sentence says which.
    """
    from headfit.planning.obstacles import disc, polygon

    reason = place.reason or "place to keep free"
    if place.polygon_mm:
        return polygon(sites, place.polygon_mm, reason)
    where = place.site if place.site is not None else place.point_mm
    assert where is not None  # a case file has one of the three
    return disc(sites, where, place.radius_mm, reason)
