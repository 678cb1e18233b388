"""The desk and what is shown of it, for requests that work at the same time.

Nothing is computed while the lock is held: a request takes what stands, computes, and puts its
result only when nobody else changed the case meanwhile. So no request waits for another's work.
"""

from __future__ import annotations

import threading
from copy import copy
from dataclasses import dataclass, fields, replace
from typing import Any, Literal

from headfit.app.changes import RefusedError
from headfit.app.desk import Desk
from headfit.app.state import state_data
from headfit.case.case import Case
from headfit.case.solved import solve_case
from headfit.errors import HeadfitError
from headfit.output.case_view import CaseView


@dataclass(frozen=True, eq=False)
class Standing:
    """The case as it stands at one moment.

    Attributes
    ----------
    desk : Desk
        A copy, to look at.
    view : CaseView
    problem : HeadfitError or None
        Why the case cannot be shown; the view then is of the template head.
    """

    desk: Desk
    view: CaseView
    problem: HeadfitError | None


class Office:
    """The desk and what is shown of it.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk) -> None:
        self._lock = threading.Lock()
        self._desk = desk
        self._view, self._problem = _view_of(desk.case)

    def standing(self, revision: object = None) -> Standing:
        """The case as it stands; of that revision when one is given.

        Raises
        ------
        ConflictError, InputError
            Another revision stands, or that is none.
        """
        with self._lock:
            if revision is not None:
                self._desk.check(revision)
            return Standing(copy(self._desk), self._view, self._problem)

    def take(self, desk: Desk) -> None:
        """Put another case on the desk, though it may not be fittable."""
        view, problem = _view_of(desk.case)
        with self._lock:
            before, self._desk = self._desk, desk
            self._view, self._problem = view, problem
            desk.revision = max(desk.revision, before.revision + 1)
            before.leave()

    def change(
        self,
        stood: Standing,
        case: Case,
        *,
        quick: bool = False,
        touched: tuple[str, ...] = (),
        step: str = "",
        finished: bool = True,
    ) -> None:
        """Accept a case when a head can be shown for it, or when none could be shown before.

        What is not `finished` belongs to one step with what follows under the same name.

        Raises
        ------
        ConflictError
            Somebody else changed the case meanwhile.
        RefusedError
            A measurement that was just changed makes the sheet impossible.
        HeadfitError
            Anything else about the case does.
        """
        problem: HeadfitError | None
        try:
            view, problem = shown(case, quick=quick, like=stood.view), None
        except HeadfitError as error:
            if not stood.problem:
                if touched:
                    raise RefusedError(dict.fromkeys(touched, str(error))) from error
                raise
            view, problem = _view_of(case)
        with self._lock:
            self._desk.check(stood.desk.revision)
            if not self._desk.holds(case):
                self._desk.put(case, open_step=step)
            if finished:
                self._desk.history.close()
            self._view, self._problem = view, problem

    def take_back(self, revision: object, step: str) -> bool:
        """Back to where a step began that is still open; False when no such step is.

        Raises
        ------
        ConflictError
            Another revision stands.
        """
        before = self.standing(revision).desk.history.began(step)
        if before is None:
            return False
        view, problem = _view_of(before)
        with self._lock:
            self._desk.check(revision)
            self._desk.take_back(step)
            self._view, self._problem = view, problem
        return True

    def step(self, revision: object, what: Literal["undo", "redo"]) -> None:
        """Go one step back or forth.

        Raises
        ------
        ConflictError
            Another revision stands.
        InputError
            There is no such step.
        """
        stood = self.standing(revision)
        view, problem = _view_of(stood.desk.next_step(what), stood.view)
        with self._lock:
            self._desk.check(revision)
            self._desk.step(what)
            self._view, self._problem = view, problem

    def save(self, revision: object, name: str | None) -> None:
        """Save the case of a revision.

        Raises
        ------
        ConflictError, InputError
            As `Desk.save`.
        """
        with self._lock:
            self._desk.check(revision)
            self._desk.save(name)

    def discard(self, revision: object) -> None:
        """Go back to the case file.

        Raises
        ------
        ConflictError, FileFormatError, InputError
            As `Desk.go_back`; the changes are kept.
        """
        saved = self.standing(revision).desk.saved_case()
        view, problem = _view_of(saved[0])
        with self._lock:
            self._desk.check(revision)
            self._desk.go_back(*saved)
            self._view, self._problem = view, problem

    def allow(self, revision: object) -> None:
        """Read the files outside its folder that the case names; the user was asked.

        Raises
        ------
        ConflictError
            Another revision stands.
        """
        stood = self.standing(revision)
        case = stood.desk.reading_all()
        view, problem = _view_of(case)
        with self._lock:
            self._desk.check(revision)
            self._desk.allow(case)
            self._view, self._problem = view, problem

    def state(self) -> dict[str, Any]:
        """All that the page is told."""
        now = self.standing()
        return state_data(now.desk, now.view, str(now.problem or ""))


def shown(case: Case, *, quick: bool = False, like: CaseView | None = None) -> CaseView:
    """What is shown of a case, made now, so that what cannot be shown is refused now.

    Where it differs from what is shown already in its set-up record alone, nothing is fitted anew.
    """
    if like is not None and not quick and _only_charted(like.solved.case, case):
        return like.charted(case)
    view = CaseView(solve_case(case))
    _ = view.bare_scene if quick else (view.tables, view.sentences)
    return view


def _only_charted(before: Case, after: Case) -> bool:
    """Whether two cases have the same parts but for the set-up record."""
    return all(
        getattr(before, part.name) is getattr(after, part.name)
        or getattr(before, part.name) == getattr(after, part.name)
        for part in fields(Case)
        if part.name != "record"
    )


def _view_of(case: Case, like: CaseView | None = None) -> tuple[CaseView, HeadfitError | None]:
    """What is shown of a case; the template head and the reason when it cannot be fitted."""
    try:
        return shown(case, like=like), None
    except HeadfitError as error:
        own = case.with_derivations(None) if case.derivations_file else case
        return shown(replace(own.with_marks(None), tape=None, free=())), error
