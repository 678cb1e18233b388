"""The case on the desk: one open case, its revision, and the copy that survives a kill.

Every accepted change is written at once beside the case file, as a safety copy that is this app's
own (`headfit.app.safety_copy`), whole or not at all. Saving moves it into the case file.

What is newer, and who is asked:

- Opening a case shows the changes that were not saved, when nobody else has them on a desk.
- They count as newer than the case file only when the file is still the one they were made on.
  Otherwise both are kept: the changes are shown, it is said that the file was changed meanwhile,
  and saving refuses. The user saves under another name, or discards the changes.
- Saving never writes over a file that is not as this desk last read or wrote it, nor under the name
  of a case that has unsaved changes of its own.
- Discarding reads the case file first, and removes the safety copy only then.
"""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from headfit.app.cases import NEW_NAME, case_names, free_name, is_new_name, is_plain, stem_of
from headfit.app.history import History
from headfit.app.safety_copy import SafetyCopy, copies_of, lock_beside, new_copy
from headfit.case.case import Case
from headfit.errors import HeadfitError, InputError, sentence
from headfit.files.case_file import case_of_text, case_text
from headfit.files.whole import about, not_written, read_text, write_whole


class ConflictError(InputError):
    """Somebody else changed the case since it was last shown here."""


@dataclass
class Desk:
    """One open case; not for several threads at once.

    Attributes
    ----------
    path : Path
        Of the case file, which need not exist yet.
    case : Case
    revision : int
        Grows with every accepted change; a change names the revision it was made on.
    saved : bool
        The case file holds this case.
    found : str
        What must be said about opening it, in sentences; or nothing.
    history : History
        Steps since it was opened.
    allowed : set of Path
        Files outside the folders of cases that the user allowed to be read.
    """

    path: Path
    case: Case = field(default_factory=Case)
    revision: int = 1
    saved: bool = True
    found: str = ""
    history: History = field(default_factory=History)
    allowed: set[Path] = field(default_factory=set)
    # Checksum of the case file from which this case comes; None without a file.
    _made_on: str | None = None
    _copy: SafetyCopy | None = None
    _saved_text: str | None = None

    @classmethod
    def open(cls, path: Path, allowed: set[Path] | None = None) -> Desk:
        """The case of a file, with the changes that were not saved; a new case where no file is.

        Raises
        ------
        FileFormatError, InputError
            The file cannot be read as a case.
        """
        desk = cls(path.absolute(), allowed=set() if allowed is None else allowed)
        desk.case, desk._made_on = desk.saved_case()
        desk._saved_text = None if desk._made_on is None else desk._text(desk.case)
        desk._bring_back()
        return desk

    def saved_case(self) -> tuple[Case, str | None]:
        """The case in the case file, and the checksum of the file; a new case and None without one.

        Raises
        ------
        FileFormatError, InputError
            The file cannot be read.
        """
        text = _text_there(self.path)
        if text is None:
            return Case(), None
        with about(self.path):
            return self._case_of(text), _digest(text)

    def _case_of(self, text: str, *, measured: bool = True) -> Case:
        folder = self.path.parent
        return case_of_text(text, folder, measured=measured, may_read=self.check_reading)

    def check_reading(self, path: Path) -> None:
        """Refuse to read a file outside the folder of the case that the user did not allow.

        Raises
        ------
        InputError
        """
        inside = os.path.realpath(self.path.parent)
        if path not in self.allowed and not Path(os.path.realpath(path)).is_relative_to(inside):
            raise InputError(
                sentence(
                    path.name,
                    "lie in the folder of the case, or be allowed",
                    f"a file elsewhere, {path}",
                ),
                code="file-elsewhere",
                path=str(path),
            )

    @property
    def elsewhere(self) -> tuple[Path, ...]:
        """Files outside its folder that the case names and that were not read."""
        return tuple(
            file
            for part, file in (
                ("marks", self.case.marks_file),
                ("derivations", self.case.derivations_file),
            )
            if file is not None
            and part in self.case.problems
            and self.case.problems[part].code == "file-elsewhere"
        )

    def reading_all(self) -> Case:
        """The case with all files it names read, wherever they lie."""
        return case_of_text(self._text(self.case), self.path.parent, measured=False)

    def allow(self, case: Case) -> None:
        """Take the same case with the files outside its folder read; they stay allowed."""
        self.allowed |= set(self.elsewhere)
        self.case = case
        self.revision += 1

    def _bring_back(self) -> None:
        """Take over changes that were not saved and that nobody has on a desk."""
        said = []
        for copy in copies_of(self.path):
            if not self.saved:
                said.append(f"{copy.path.name} holds further changes that were not saved.")
            elif not copy.take():
                said.append(f"Another window has changes of {self.path.name} that are not saved.")
            else:
                said += self._took_over(copy)
        self.found = " ".join(said)

    def _took_over(self, copy: SafetyCopy) -> list[str]:
        try:
            text, made_on = copy.read()
            kept = self._case_of(text, measured=False)
        except HeadfitError as error:
            aside = copy.put_aside()
            told = f"{copy.path.name} holds changes that cannot be read ({error})"
            return [f"{told}; it was kept as {aside.name}."]
        if self._text(kept) == self._text(self.case):
            copy.remove()
            return []
        self.case, self.saved, self.revision, self._copy = kept, False, 2, copy
        said = [f"Changes that were not saved were brought back from {copy.path.name}."]
        if made_on != self._made_on:
            said.append(
                f"{self.path.name} was changed by another program since they were made: save them "
                "under another name, or discard them to see the file."
            )
            self._made_on = made_on
        return said

    def _text(self, case: Case) -> str:
        return case_text(case, self.path.parent)

    def holds(self, case: Case) -> bool:
        """Whether a case says what the one on the desk says, with the same things read for it."""
        now = self.case
        same = case.marks is now.marks and case.montage == now.montage
        same = same and set(case.problems) == set(now.problems)
        return same and self._text(case) == self._text(now)

    def put(self, case: Case, *, open_step: str = "") -> None:
        """Take a case as it is, and keep it safe; `open_step` as for `History.add`.

        Raises
        ------
        InputError
            The safety copy cannot be written; the desk is as it was.
        """
        before = self.case
        self._take(case)
        self.history.add(before, open_step=open_step)

    def _take(self, case: Case) -> None:
        if self._copy is None or not self._copy.take():
            self._copy = new_copy(self.path)
        self._copy.write(self._text(case), self._made_on)
        self.case, self.saved, self.found = case, False, ""
        self.revision += 1

    def next_step(self, what: Literal["undo", "redo"]) -> Case:
        """The case one step back or forth.

        Raises
        ------
        InputError
            There is none.
        """
        steps = self.history.before if what == "undo" else self.history.after
        if not steps:
            raise InputError(sentence(what, "have a step to go", "none"), code="no-step")
        return steps[-1]

    def step(self, what: Literal["undo", "redo"]) -> None:
        """Go one step back or forth; raises as `next_step`."""
        case = self.next_step(what)
        now = self.case
        self._go_to(case)
        self.history.go(what, now)

    def _go_to(self, case: Case) -> None:
        """A case that lay here before; nothing is unsaved when the case file holds it."""
        self._take(case)
        if self._text(case) == self._saved_text:
            with suppress(InputError):
                self._drop_copy()
            self.saved = True

    def take_back(self, step: str) -> bool:
        """Back to where a step began that is still open; False when no such step is."""
        before = self.history.began(step)
        if before is None:
            return False
        self._go_to(before)
        self.history.before.pop()
        self.history.close()
        return True

    def check(self, revision: object) -> None:
        """Refuse what was made on another revision.

        Raises
        ------
        ConflictError
        """
        if isinstance(revision, bool) or not isinstance(revision, int):
            raise InputError(
                sentence("revision", "be the whole number last shown", repr(revision)[:60]),
                code="revision-form",
            )
        if revision != self.revision:
            raise ConflictError(
                f"this case was changed in another window (it is at revision {self.revision}, this "
                f"window shows {revision}); nothing was overwritten",
                code="conflict",
                revision=self.revision,
            )

    def save(self, name: str | None = None) -> None:
        """Write the case file, here or under another name in the same folder.

        Raises
        ------
        ConflictError
            Another program changed the file since it was read, or the other name is taken.
        InputError
            Nothing is measured yet, the name is no plain file name, or the file cannot be written.
        """
        if self.case.tape is None:
            raise InputError(
                sentence("a case", "hold at least one measurement to be saved", "none"),
                code="sheet-empty",
            )
        target = self._own_place() if name is None else self._beside(name)
        text = self._text(self.case)
        lock = lock_beside(target)
        try:
            alone = lock.take(2.0)
        except OSError as error:
            raise not_written(target, error) from error
        try:
            if not alone:
                raise self._conflict(target)
            self._check_place(target)
            write_whole(target, text)
        finally:
            lock.release()
        # A copy that cannot be removed holds what is saved: it goes when the case is opened again.
        with suppress(InputError):
            self._drop_copy()
        self.path, self._made_on, self._saved_text = target, _digest(text), text
        self.saved, self.found = True, ""
        self.history.close()

    @property
    def never_saved(self) -> bool:
        """Whether no file holds the case yet."""
        return self._saved_text is None

    def _own_place(self) -> Path:
        """The case file; for a new case that was never saved, one named after its label."""
        new = self._made_on is None and is_new_name(self.path.name)
        if not new or self.case.label == Case().label:
            return self.path
        folder = self.path.parent
        return folder / free_name(stem_of(self.case.label), case_names(folder))

    def _check_place(self, target: Path) -> None:
        """Refuse to save over what is not this case."""
        own = target == self.path
        there = _text_there(target)
        if there is not None and _digest(there) != (self._made_on if own else None):
            raise self._conflict(target)
        if not own and copies_of(target):
            raise self._conflict(target)

    def _conflict(self, target: Path) -> ConflictError:
        return ConflictError(
            f"{target.name} was changed by another program since it was opened here"
            if target == self.path
            else f"there is a case {target.name} already; choose another name",
            code="conflict-file",
            file=target.name,
            free_name=free_name(target.stem, case_names(self.path.parent)),
        )

    def _drop_copy(self) -> None:
        if self._copy is not None:
            self._copy.remove()
            self._copy = None

    def _beside(self, name: str) -> Path:
        """A case file of a plain name in the folder of this one.

        Raises
        ------
        InputError
        """
        if not is_plain(name):
            raise InputError(
                sentence(
                    "the name of a case file",
                    "be a plain file name that ends in .toml",
                    repr(name[:60]),
                ),
                code="case-name",
            )
        return self.path.parent / name

    def opened(self, name: str) -> Desk:
        """The desk with another case of the same folder on it; revisions go on counting.

        Raises
        ------
        FileFormatError, InputError
        """
        path = self._beside(name)
        if path == self.path:
            self.leave()  # or the same case would seem to lie on another desk
        try:
            other = Desk.open(path, self.allowed)
        except HeadfitError:
            if path == self.path and self._copy is not None and not self._copy.take():
                self._copy = None  # somebody else took it over: the next change makes another
            raise
        other.revision = max(other.revision, self.revision) + 1
        return other

    def began(self) -> Desk:
        """The desk with a new case on it, under a name that is free."""
        folder = self.path.parent
        path = folder / free_name(Path(NEW_NAME).stem, case_names(folder))
        return Desk(path, revision=self.revision + 1, allowed=self.allowed)

    def leave(self) -> None:
        """Let the safety copy go: it waits for whoever opens the case, or for the next change."""
        if self._copy is not None:
            self._copy.lock.release()

    def discard(self) -> None:
        """Go back to the case file, or to nothing where there is none.

        Raises
        ------
        FileFormatError, InputError
            The file cannot be read; the changes are kept.
        """
        self.go_back(*self.saved_case())

    def go_back(self, case: Case, made_on: str | None) -> None:
        """Take what `saved_case` gave, and remove the safety copy.

        Raises
        ------
        InputError
            The copy cannot be removed; the changes are kept.
        """
        self._drop_copy()
        self.history.add(self.case)
        self.case, self._made_on = case, made_on
        self._saved_text = None if made_on is None else self._text(case)
        self.saved, self.found = True, ""
        self.revision += 1


def _text_there(path: Path) -> str | None:
    """The text of a file; None where no file is."""
    try:
        if not path.exists():
            return None
    except OSError:
        return None  # a name no system takes: reading or writing it will say so
    return read_text(path)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
