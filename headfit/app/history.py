"""Steps of a case on the desk that can be taken back and made again.

A *step* may be open: while a slider is dragged or a number is typed every value in between belongs
to one step, so that undo goes back to where it began, and a refusal on the way can as well.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields

from headfit.anatomy.landmarks import TITLES as LANDMARK_TITLES
from headfit.case.case import Case
from headfit.case.record import SetUpRecord
from headfit.fitting.hand_set_shape import HAND_MODES
from headfit.fitting.measurements import MEASUREMENTS

MOST_STEPS = 200


@dataclass
class History:
    """What was before, and what was taken back; the newest last."""

    before: list[Case] = field(default_factory=list)
    after: list[Case] = field(default_factory=list)
    _open: str = ""

    def add(self, case: Case, *, open_step: str = "") -> None:
        """Keep the case that a change is about to replace.

        `open_step` names what is still under way, such as a slider: more of the same is one step.
        """
        if not (self._open and self._open == open_step):
            self.before.append(case)
            del self.before[:-MOST_STEPS]
        self.after.clear()
        self._open = open_step

    def close(self) -> None:
        """What was under way is done."""
        self._open = ""

    def began(self, step: str) -> Case | None:
        """The case before a step that is still open; None when no such step is."""
        return self.before[-1] if step and step == self._open and self.before else None

    def go(self, what: str, now: Case) -> None:
        """One step back or forth was gone from the case `now`."""
        self._open = ""
        source, to = (self.before, self.after) if what == "undo" else (self.after, self.before)
        source.pop()
        to.append(now)

    def words(self, now: Case) -> dict[str, str]:
        """What undo and redo would take back or make again; empty where there is nothing."""
        undo = step_words(self.before[-1], now) if self.before else ""
        return {"undo": undo, "redo": step_words(now, self.after[-1]) if self.after else ""}


def step_words(before: Case, after: Case) -> str:
    """What differs between two cases, in a few words.

    >>> from headfit.fitting.tape import Tape
    >>> step_words(Case(Tape(ring_mm=560.0)), Case(Tape(ring_mm=566.0), label="one"))
    '10 % ring, label'
    """
    changed = [f.name for f in fields(Case) if f.compare and _differs(before, after, f.name)]
    said: list[str] = []
    for name in changed:
        if name == "tape":
            said += _entries(_readings(before), _readings(after), _titles())
        elif name == "shape":
            titles = {key: mode.title for key, mode in HAND_MODES.items()}
            said += _entries(before.shape, after.shape, titles)
        elif name == "record":
            said.append(_record_words(before.record, after.record))
        else:
            said.append(_WORDS.get(name, ""))
    return ", ".join(dict.fromkeys(filter(None, said))) or "last change"


def _record_words(before: SetUpRecord, after: SetUpRecord) -> str:
    """The step at the chair that was ticked or not, or what else was charted.

    >>> _record_words(SetUpRecord(), SetUpRecord(ticked=("mark Fz",)))
    'mark Fz'
    """
    changed = [step for step in (*before.ticked, *after.ticked)
               if (step in before.ticked) != (step in after.ticked)]  # fmt: skip
    return changed[0] if changed else "set-up record"


_WORDS = {
    "label": "label",
    "age": "age",
    "sex": "sex",
    "system": "sites",
    "sites": "sites",
    "unit": "unit of the tape",
    "doubtful": "landmarks hard to find",
    "rules": "rules of placement",
    "marks": "marks",
    "marks_file": "marks",
    "align": "how marks are lined up",
    "free": "place to keep free",
    "move_alone": "this side only",
    "old_names": "old names",
    "derivations": "derivations",
    "derivations_file": "derivations",
    "measured_by": "measured by",
    "measured_on": "measured on",
    "note": "note",
}


def _titles() -> dict[str, str]:
    return {name: kind.title for name, kind in MEASUREMENTS.items()} | LANDMARK_TITLES


def _readings(case: Case) -> dict[str, object]:
    return {} if case.tape is None else dict(case.tape.readings_mm)


def _differs(before: Case, after: Case, name: str) -> bool:
    if name == "tape":
        return _readings(before) != _readings(after)
    one, other = getattr(before, name), getattr(after, name)
    if name in ("marks", "scan", "montage", "problems"):
        return one is not other and not (name == "problems" and set(one) == set(other))
    return bool(one != other)


def _entries(before: object, after: object, titles: dict[str, str]) -> list[str]:
    one, other = dict(before), dict(after)  # type: ignore[call-overload]
    return [titles[name] for name in titles if one.get(name) != other.get(name)]
