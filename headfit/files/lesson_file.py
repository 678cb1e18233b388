"""A lesson as a TOML file: [lesson], one [[step]] a step, [[free]] for places that must stay free.

Every sentence about one names the line. The words a lesson may use stand in
`headfit.teaching.words`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from headfit.case.solved import SolvedCase, solve_case
from headfit.errors import HeadfitError, InputError, plain_text, sentence
from headfit.errors import unknown_name as unknown
from headfit.files.case_entries import check_names, table_of, text_of
from headfit.files.case_file import demo_case
from headfit.files.case_free_places import free_places_of
from headfit.files.formats import extensions
from headfit.files.toml_text import parse_toml
from headfit.files.whole import about, read_text
from headfit.teaching.lesson import Drag, Lesson, Question, Step, View
from headfit.teaching.stage import StagedLesson
from headfit.teaching.staging import stage_lesson
from headfit.teaching.words import (
    KINDS,
    check_drag,
    check_text,
    check_view,
    figure_asked,
    sites_named,
)

FOLDER = Path(__file__).resolve().parents[1] / "lessons"
_LESSON = ("name", "title", "about", "sources")
_STEP = (
    *("name", "title", "caption", "notes", "camera", "look_at", "closer", "show", "watch"),
    *("beside", "cards", "drag", "ask"),
)
_ASK = ("text", "answer", "wrong", "why", "again")
_NAME = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_MOST_STEPS = 60
_MOST_WORDS_OF_A_CAPTION = 40

Made = TypeVar("Made")


def lesson_names() -> tuple[str, ...]:
    """Names of the lessons that come with headfit, in the order in which they are taught."""
    return tuple(path.stem.partition("_")[2] for path in _built_in())


def _built_in() -> list[Path]:
    return sorted(FOLDER.glob("*.toml"))


def built_in_lesson(name: str) -> Lesson:
    """A lesson that comes with headfit.

    Raises
    ------
    UnknownNameError
        No such lesson.

    >>> built_in_lesson("ring")
    Lesson('ring', 'Four marks hold the ring', 5 steps)
    """
    found = dict(zip(lesson_names(), _built_in(), strict=True))
    if name not in found:
        raise unknown("lesson", name[:60], found)
    return read_lesson(found[name])


def read_lesson(path: str | Path) -> Lesson:
    """The lesson of a file.

    Raises
    ------
    FileFormatError
        Missing, or no TOML.
    InputError
        A site, figure, number or camera that nobody declared, or a step that points nowhere; the
        sentence names file and line.
    """
    text = read_text(path)
    with about(path):
        return lesson_of_text(text)


def lesson(name: str | Path, solved: SolvedCase | None = None) -> StagedLesson:
    """A lesson on a head, every number and every stop of its drags computed.

    Parameters
    ----------
    name : str or path
        Of a lesson that comes with headfit, or the file of one's own (it ends in .toml).
    solved : SolvedCase, optional
        Whose head it is; by default the demo case.

    Raises
    ------
    UnknownNameError
        No such lesson.
    InputError
        As `read_lesson`, or something cannot be computed on this head.

    >>> lesson("ring").steps[1]
    StagedStep('snap', 'The four marks hold the ring: 27.4 cm on the left, 27.4 cm on the right.')
    """
    own = str(name).casefold().endswith(extensions("lesson"))
    read = read_lesson(name) if own else built_in_lesson(str(name))
    return stage_lesson(read, solve_case(demo_case()) if solved is None else solved)


class _Lines:
    """Where in a text its entries stand: TOML readers do not tell."""

    def __init__(self, text: str) -> None:
        self.rows = text.split("\n")
        self.steps = [
            k for k, row in enumerate(self.rows) if re.match(r"\s*\[\[\s*step\s*\]\]", row)
        ]

    def of(self, step: int | None, key: str) -> int:
        """The line, from 1, of an entry of a step, or of [lesson]; else that where it begins."""
        if step is None:
            first, last = 0, self.steps[0] if self.steps else len(self.rows)
        elif step < len(self.steps):
            first = self.steps[step]
            last = self.steps[step + 1] if step + 1 < len(self.steps) else len(self.rows)
        else:
            return 1
        part, _, name = key.rpartition(".")
        if part:
            header = re.compile(rf"\s*\[\s*step\s*\.\s*{part}\s*\]|\s*{part}\s*[=.]")
            first = next((k for k in range(first, last) if header.match(self.rows[k])), first)
        wanted = re.compile(rf"""(?:^|[\s{{,.])["']?{re.escape(name)}["']?\s*[=.]""")
        return next((k for k in range(first, last) if wanted.search(self.rows[k])), first) + 1


def lesson_of_text(text: str) -> Lesson:
    """The lesson of the text of a file; raises as `read_lesson`."""
    found = parse_toml(text, "a lesson")
    lines = _Lines(text)
    with _at(lines, None, "lesson"):
        check_names("table", found, ("lesson", "step", "free"))
        about_it = table_of(found, "lesson")
        check_names("entry of [lesson]", about_it, _LESSON)
        for needed in ("name", "title"):
            _needed(about_it, needed, "[lesson]")
        tables = found.get("step", [])
        _check_tables(tables)
    with _at(lines, None, "name"):
        name = _name(about_it["name"], "name")
    with _at(lines, None, "title"):
        title = text_of(about_it["title"], "title")
    with _at(lines, None, "about"):
        told = text_of(about_it.get("about", ""), "about")
    with _at(lines, None, "sources"):
        sources = _texts(about_it.get("sources", []), "sources")
    steps = tuple(_step(table, k, lines) for k, table in enumerate(tables))
    free = free_places_of(found.get("free", []))
    _check_ways(steps, lines, free=bool(free))
    return Lesson(name, title, told, sources, steps, free)


def _check_tables(tables: object) -> None:
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise _wrong("step", "be tables, each under its own [[step]]", tables)
    if not 1 <= len(tables) <= _MOST_STEPS:
        raise _wrong("a lesson", f"have 1 to {_MOST_STEPS} steps", len(tables), "write [[step]]")


def _step(table: Mapping[str, Any], k: int, lines: _Lines) -> Step:
    def entry(key: str, made: Callable[[Any], Made], default: Any = "") -> Made:
        with _at(lines, k, key):
            return made(table.get(key, default))

    with _at(lines, k, "step"):
        check_names("entry of a step", table, _STEP)
        for needed in ("name", "title", "caption"):
            _needed(table, needed, "a step")
    return Step(
        entry("name", lambda given: _name(given, "name")),
        entry("title", lambda given: text_of(given, "title")),
        entry("caption", _caption),
        _view(table, k, lines),
        entry("show", lambda given: tuple(map(_figure, _texts(given, "show"))), []),
        entry("notes", lambda given: check_text(text_of(given, "notes"))),
        _drag(table, k, lines) if "drag" in table else None,
        entry("watch", lambda given: tuple(map(_watched, _texts(given, "watch"))), []),
        entry("beside", lambda given: _texts(given, "beside"), []),
        entry("cards", _cards, []),
        _question(table, k, lines) if "ask" in table else None,
    )


def _view(table: Mapping[str, Any], k: int, lines: _Lines) -> View:
    with _at(lines, k, "camera"):
        view = View(text_of(table.get("camera", ""), "camera"))
        check_view(view)
    with _at(lines, k, "look_at"):
        view = View(view.words, text_of(table.get("look_at", ""), "look_at"))
        check_view(view)
    with _at(lines, k, "closer"):
        return check_view(View(view.words, view.look_at, table.get("closer", 1.0)))


def _drag(table: Mapping[str, Any], k: int, lines: _Lines) -> Drag:
    with _at(lines, k, "drag.kind"):
        options = table_of(table, "drag")
        kind = text_of(_needed(options, "kind", "a drag"), "kind")
        given = {
            name: tuple(value) if isinstance(value, list) else value
            for name, value in options.items()
            if name != "kind"
        }
        return check_drag(Drag(kind, given))


def _question(table: Mapping[str, Any], k: int, lines: _Lines) -> Question:
    with _at(lines, k, "ask.text"):
        given = table_of(table, "ask")
        check_names("entry of ask", given, _ASK)
        for needed in ("text", "answer", "wrong"):
            _needed(given, needed, "ask")
    texts = {}
    for key in ("text", "answer", "why"):
        with _at(lines, k, f"ask.{key}"):
            texts[key] = check_text(text_of(given.get(key, ""), key))
    with _at(lines, k, "ask.wrong"):
        wrong = tuple(map(check_text, _texts(given["wrong"], "wrong")))
        if not wrong:
            raise _wrong("wrong", "hold at least one answer", "none")
    with _at(lines, k, "ask.again"):
        again = text_of(given.get("again", ""), "again")
    return Question(texts["text"], texts["answer"], wrong, texts["why"], again)


def _check_ways(steps: tuple[Step, ...], lines: _Lines, *, free: bool) -> None:
    """Refuse two steps of one name, a way to a step that is not there, a wound without a place."""
    names = [step.name for step in steps]
    for k, step in enumerate(steps):
        with _at(lines, k, "name"):
            if step.name in names[:k]:
                raise _wrong("the name of a step", "be its own", step.name, "another has it")
        with _at(lines, k, "ask.again"):
            if step.question and step.question.again and step.question.again not in names:
                raise InputError(
                    sentence(
                        "again",
                        "name a step of this lesson",
                        repr(step.question.again[:40]),
                        f"one of {', '.join(names[:8])}",
                    ),
                    code="lesson-nowhere",
                )
        with _at(lines, k, "drag.kind"):
            if step.drag and step.drag.kind == "wound" and not free:
                raise _wrong("the drag wound", "have a place in [[free]]", "none")


def _caption(given: object) -> str:
    text = check_text(text_of(given, "caption"))
    n_words = len(text.split())
    if not 1 <= n_words <= _MOST_WORDS_OF_A_CAPTION:
        raise _wrong("a caption", f"have 1 to {_MOST_WORDS_OF_A_CAPTION} words", n_words)
    return text


def _figure(line: str) -> str:
    figure_asked(line)
    return line


def _watched(name: str) -> str:
    """A site, or a derivation."""
    return str(KINDS["derivation"](name)) if "-" in name else sites_named((name,))[0]


def _cards(given: object) -> tuple[tuple[str, str], ...]:
    if not isinstance(given, list) or len(given) > 40:
        raise _wrong("cards", 'be pairs such as [["T3", "T7"]]', given)
    cards = []
    for pair in given:
        if not isinstance(pair, list) or len(pair) != 2:
            raise _wrong("a card", 'have two sides, such as ["T3", "T7"]', pair)
        cards.append((text_of(pair[0], "a card"), text_of(pair[1], "a card")))
    return tuple(cards)


def _texts(given: object, what: str) -> tuple[str, ...]:
    if not isinstance(given, list) or len(given) > 100:
        raise _wrong(what, 'be a list of texts, such as ["..."]', given)
    return tuple(text_of(each, what) for each in given)


def _name(given: object, what: str) -> str:
    text = text_of(given, what)
    if len(text) > 40 or not _NAME.fullmatch(text):
        raise _wrong(what, "be small letters, digits and dashes", text, "such as the-ring")
    return text


def _needed(table: Mapping[str, Any], key: str, what: str) -> Any:
    if key not in table:
        raise _wrong(what, f"have the entry {key}", "none")
    return table[key]


def _wrong(what: str, must: str, got: object, hint: str = "") -> InputError:
    shown = got if isinstance(got, str) else repr(got)
    return InputError(sentence(what, must, shown[:60], hint), code="lesson-entry")


@contextmanager
def _at(lines: _Lines, step: int | None, key: str) -> Iterator[None]:
    """Any sentence raised inside begins with the line of an entry."""
    try:
        yield
    except HeadfitError as error:
        told = f"line {lines.of(step, key)}: {plain_text(str(error))}"
        raise type(error)(told, code=error.code, **error.facts) from error
