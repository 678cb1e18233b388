"""Two windows, kills at any step, edits outside, a full disk, in any order: nothing is lost.

Every change carries a label of its own. What was acknowledged, and was neither changed again nor
discarded by its own window, must stand in some file of the folder; and a case file holds what was
last written into it by somebody who knew what it held before.
"""

import os
import tempfile
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from demo_case import TEXT
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from stopped import Killed, full_from, killed_at

from headfit.app.desk import Desk
from headfit.app.safety_copy import UNSAVED, SafetyCopy
from headfit.errors import HeadfitError
from headfit.files.case_file import case_of_text, case_text

WINDOWS = st.integers(0, 1)
NAMES = st.sampled_from(["a.toml", "new-case.toml"])
STEPS = st.integers(1, 9)
HOW = st.sampled_from(["well", "well", "killed", "killed after", "full"])
CASE = case_of_text(TEXT, Path())


class TwoWindows(RuleBasedStateMachine):
    """The folder of a case, two windows on it, and what must not be lost."""

    def __init__(self) -> None:
        super().__init__()
        self.held = tempfile.TemporaryDirectory()
        self.folder = Path(self.held.name)
        self.desks: list[Desk | None] = [None, None]
        self.number = 0
        self.kept: set[str] = set()  # labels that must stand somewhere
        self.files: dict[str, str] = {}  # case file -> label in it, as far as it is known
        self.known: list[dict[str, str | None]] = [{}, {}]  # what a window last saw in a file
        self.made_on: dict[str, dict[str, str | None]] = {}  # the same when a label was put
        self.real = os.fsync
        os.fsync = lambda _descriptor: None  # the disk is not waited for

    def teardown(self) -> None:
        for window in (0, 1):
            self._end(window)
        os.fsync = self.real
        self.held.cleanup()

    def _label(self) -> str:
        self.number += 1
        return f"label {self.number}."

    def _write(self, name: str, text: str) -> None:
        (self.folder / name).write_text(text, encoding="utf-8")

    def _standing(self) -> str:
        return "\n".join(
            path.read_text(encoding="utf-8") for path in self.folder.iterdir() if path.is_file()
        )

    def _end(self, window: int) -> None:
        """What the system does for a process that was killed: it frees its lock."""
        desk, self.desks[window] = self.desks[window], None
        if desk is not None and desk._copy is not None:
            let_go = desk._copy.lock._let_go
            if let_go is not None and (found := let_go.detach()) is not None:
                os.close(found[2][1])

    def _shows(self, window: int, desk: Desk) -> None:
        """Take what a desk shows for known, after it was opened."""
        before, self.desks[window] = self.desks[window], desk
        if before is not None:
            before.leave()
        name, label = desk.path.name, desk.case.label
        # Changes that were brought back know the file on which they were made.
        self.known[window] = {name: self.files.get(name)} if desk.saved else self.made_on[label]

    @initialize()
    def begin(self) -> None:
        self.outside("a.toml")
        for window in (0, 1):
            self.opens(window, "a.toml")

    @rule(window=WINDOWS, name=NAMES)
    def opens(self, window: int, name: str) -> None:
        desk = self.desks[window]
        with suppress(HeadfitError):  # a file that somebody broke
            found = Desk.open(self.folder / name) if desk is None else desk.opened(name)
            self._shows(window, found)

    @precondition(lambda self: self.desks[0] is not None)
    @rule()
    def begins(self) -> None:
        assert self.desks[0] is not None
        self._shows(0, self.desks[0].began())

    @rule(window=WINDOWS, how=HOW, at=STEPS)
    def changes(self, window: int, how: str, at: int) -> None:
        desk = self.desks[window]
        if desk is None:
            return
        label, before = self._label(), None if desk.saved else desk.case.label
        case = replace(CASE, label=label)
        try:
            if how == "full":
                with full_from(at):
                    desk.put(case)
            elif how.startswith("killed"):
                with killed_at(at, how == "killed after"):
                    desk.put(case)
            else:
                desk.put(case)
        except HeadfitError:
            assert how == "full"
            assert desk.case.label != label
            return
        except Killed:
            self._end(window)
            if label not in self._standing():  # it was not acknowledged
                return
        self.kept.discard(before or "")
        self.kept.add(label)
        self.made_on[label] = self.known[window]

    @rule(
        window=WINDOWS,
        name=st.sampled_from([None, None, "a.toml", "new-case.toml"]),
        how=HOW,
        at=STEPS,
    )
    def saves(self, window: int, name: str | None, how: str, at: int) -> None:
        desk = self.desks[window]
        if desk is None:
            return
        # A new case that was never saved is named after its label.
        target, label = name or desk._own_place().name, desk.case.label
        there = self.files.get(target)
        try:
            if how == "full":
                with full_from(at):
                    desk.save(name)
            elif how.startswith("killed"):
                with killed_at(at, how == "killed after"):
                    desk.save(name)
            else:
                desk.save(name)
        except HeadfitError:
            return
        except Killed:
            self._end(window)
            path = self.folder / target
            if there == label or not path.exists():
                return
            if label not in path.read_text(encoding="utf-8"):
                return
        # It was written: then it knew what stood there.
        assert there is None or self.known[window].get(target) == there, (there, self.known[window])
        self.files[target] = label
        self.kept.discard(label)
        self.known[window] = {target: label}

    @rule(window=WINDOWS)
    def discards(self, window: int) -> None:
        desk = self.desks[window]
        if desk is None:
            return
        label = None if desk.saved else desk.case.label
        with suppress(HeadfitError):
            desk.discard()
            self.kept.discard(label or "")
            self.known[window] = {desk.path.name: self.files.get(desk.path.name)}

    @rule(window=WINDOWS)
    def is_killed(self, window: int) -> None:
        self._end(window)

    @rule(window=WINDOWS, edited=st.booleans())
    def comes_back(self, window: int, edited: bool) -> None:
        """Killed, and started again on the same case, which may have been edited meanwhile."""
        desk = self.desks[window]
        if desk is None:
            return
        self._end(window)
        if edited:
            self.outside(desk.path.name)
        self.opens(window, desk.path.name)

    @rule(name=NAMES)
    def outside(self, name: str) -> None:
        self.files[name] = self._label()
        self._write(name, case_text(replace(CASE, label=self.files[name])))

    @rule(name=NAMES)
    def breaks(self, name: str) -> None:
        self.files[name] = self._label()
        self._write(name, f"[case {self.files[name]}")

    @rule(name=NAMES)
    def spoils_a_copy(self, name: str) -> None:
        """Damage a safety copy that belongs to nobody: what is left of it is still kept."""
        copy = SafetyCopy(self.folder / (name + UNSAVED))
        if copy.path.exists() and copy.take():
            lost = copy.path.read_text(encoding="utf-8")
            self.kept = {label for label in self.kept if label not in lost}
            rest = self._label()
            copy.path.write_text(f"[case {rest}", encoding="utf-8")
            self.kept.add(rest)
            copy.lock.release()

    @invariant()
    def nothing_is_lost(self) -> None:
        standing = self._standing()
        assert {label for label in self.kept if label not in standing} == set()
        for name, label in self.files.items():
            assert label in (self.folder / name).read_text(encoding="utf-8")


TestTwoWindows = TwoWindows.TestCase
TestTwoWindows.settings = settings(max_examples=400, stateful_step_count=30, deadline=None)
