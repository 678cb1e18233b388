"""The case on the desk: one open case, its revision, and the copy that survives a kill.

Every accepted change is written at once beside the case file as ``NAME.unsaved``, whole or not at
all, in the form of a case file. Saving moves it into the case file. Whoever is killed on the way
finds the changes again when the case is opened.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from headfit.app.history import History
from headfit.case.case import Case
from headfit.errors import HeadfitError, InputError, sentence
from headfit.files.case_file import case_of_text, case_text, read_case
from headfit.files.whole import read_text, write_whole

UNSAVED = ".unsaved"
NEW_NAME = "new-case.toml"


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
        What must be said about opening it, one sentence or nothing.
    history : History
        Steps since it was opened.
    """

    path: Path
    case: Case = field(default_factory=Case)
    revision: int = 1
    saved: bool = True
    found: str = ""
    history: History = field(default_factory=History)
    _on_disk: str | None = None
    _saved_case: Case | None = None

    @classmethod
    def open(cls, path: Path) -> Desk:
        """The case of a file, with the changes that were not saved; a new case where no file is.

        Raises
        ------
        FileFormatError, InputError
            The file cannot be read as a case.
        """
        desk = cls(path.absolute())
        if desk.path.exists():
            desk.case = read_case(desk.path)
            desk._on_disk = read_text(desk.path)
            desk._saved_case = desk.case
        desk._bring_back()
        return desk

    @property
    def unsaved_path(self) -> Path:
        """Where changes wait until they are saved."""
        return self.path.with_name(self.path.name + UNSAVED)

    def _bring_back(self) -> None:
        if not self.unsaved_path.exists():
            return
        try:
            kept = case_of_text(read_text(self.unsaved_path), self.path.parent)
        except HeadfitError as error:
            self.found = (
                f"{self.unsaved_path.name} holds changes that cannot be read ({error}); it was "
                "left as it is."
            )
            return
        if self._text(kept) == self._text(self.case):
            self.unsaved_path.unlink(missing_ok=True)
            return
        self.case, self.saved, self.revision = kept, False, 2
        self.found = f"Changes that were not saved were brought back from {self.unsaved_path.name}."

    def _text(self, case: Case) -> str:
        return case_text(case, self.path.parent)

    def holds(self, case: Case) -> bool:
        """Whether a case says what the one on the desk says, with the same things read for it."""
        now = self.case
        same = case.marks is now.marks and case.montage == now.montage
        return (
            same and set(case.problems) == set(now.problems) and self._text(case) == self._text(now)
        )

    def put(self, case: Case, *, open_step: str = "") -> None:
        """Take a case as it is, and keep it safe; `open_step` as for `History.add`."""
        before = self.case
        self._take(case)
        self.history.add(before, open_step=open_step)

    def _take(self, case: Case) -> None:
        """Written before it is taken: what cannot be kept is not taken."""
        saved = self._saved_case is not None and self._text(case) == self._text(self._saved_case)
        if case.tape is not None and not saved:
            write_whole(self.unsaved_path, self._text(case))
        else:
            self.unsaved_path.unlink(missing_ok=True)
        self.case, self.saved, self.found = case, saved, ""
        self.revision += 1

    def undo(self) -> None:
        """Go one step back.

        Raises
        ------
        InputError
            There is none.
        """
        self._step("undo", self.history.undo(self.case))

    def redo(self) -> None:
        """Make again what was taken back last.

        Raises
        ------
        InputError
            There is nothing.
        """
        self._step("redo", self.history.redo(self.case))

    def _step(self, what: str, case: Case | None) -> None:
        if case is None:
            raise InputError(sentence(what, "have a step to go", "none"), code="no-step")
        self._take(case)

    def go_back(self, step: str) -> bool:
        """Back to where a step began that is still open; False when no such step is."""
        before = self.history.began(step)
        if before is None:
            return False
        self._take(before)
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
            Another program changed the file since it was read.
        InputError
            Nothing is measured yet, the name is no plain file name, or the file cannot be written.
        """
        if self.case.tape is None:
            raise InputError(
                sentence("a case", "hold at least one measurement to be saved", "none"),
                code="sheet-empty",
            )
        target = self.path if name is None else self._beside(name)
        own = target == self.path
        there = read_text(target) if target.exists() else None
        if there is not None and there != (self._on_disk if own else None):
            raise ConflictError(
                f"{target.name} was changed by another program since it was opened here"
                if own
                else f"there is a file {target.name} already; choose another name",
                code="conflict-file",
                file=target.name,
            )
        text = self._text(self.case)
        write_whole(target, text)
        self.unsaved_path.unlink(missing_ok=True)
        self.path, self._on_disk, self.saved, self.found = target, text, True, ""
        self._saved_case = self.case
        self.history.close()

    def _beside(self, name: str) -> Path:
        """A case file of a plain name in the folder of this one.

        Raises
        ------
        InputError
        """
        plain = Path(name).name == name and name not in ("", ".", "..") and "\0" not in name
        if not plain or "\\" in name or len(name) > 120 or not name.endswith(".toml"):
            raise InputError(
                sentence(
                    "the name of a case file",
                    "be a plain file name that ends in .toml",
                    repr(name[:60]),
                ),
                code="case-name",
            )
        return self.path.parent / name

    def cases(self) -> list[str]:
        """Names of the case files in the same folder, and of those that were never saved."""
        folder = self.path.parent
        names = {path.name for path in folder.glob("*.toml")}
        names |= {path.name.removesuffix(UNSAVED) for path in folder.glob(f"*.toml{UNSAVED}")}
        return sorted(names)

    def opened(self, name: str) -> Desk:
        """The desk with another case of the same folder on it; revisions go on counting.

        Raises
        ------
        FileFormatError, InputError
        """
        other = Desk.open(self._beside(name))
        other.revision = max(other.revision, self.revision) + 1
        return other

    def began(self) -> Desk:
        """The desk with a new case on it, under a name that is free."""
        taken = set(self.cases())
        number, name = 2, NEW_NAME
        while name in taken:
            name, number = NEW_NAME.replace(".toml", f"-{number}.toml"), number + 1
        other = Desk(self.path.parent / name)
        other.revision = self.revision + 1
        return other

    def discard(self) -> None:
        """Go back to the case file, or to nothing where there is none.

        Raises
        ------
        FileFormatError, InputError
        """
        self.unsaved_path.unlink(missing_ok=True)
        fresh = Desk.open(self.path)
        self.history.add(self.case)
        self.case, self._on_disk, self.saved = fresh.case, fresh._on_disk, True
        self._saved_case = fresh._saved_case
        self.found = ""
        self.revision += 1
