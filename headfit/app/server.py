"""The local app: one case on the desk, asked and changed by the page over loopback.

Every answer under ``/api/`` is JSON. What is refused comes with one sentence: 401 without the
token, 400 for a foreign host, 409 on a conflict, 413 when too long, 422 for a value.
"""

from __future__ import annotations

import json
import shlex
import threading
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import asdict, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from headfit.app.cases import case_names, listed_cases, newest_text
from headfit.app.changes import RefusedError, changed_case, likely_meant
from headfit.app.desk import ConflictError, Desk
from headfit.app.exports import export
from headfit.app.guard import AsciiJSON, Guard, refusal
from headfit.app.marks_files import checked_marks, keep_marks
from headfit.app.office import Office, shown
from headfit.app.state import desk_data, quick_data, start_data
from headfit.case.case import Case
from headfit.case.solved import SolvedCase, solve_case
from headfit.errors import (
    DrawingError,
    HeadfitError,
    InputError,
    plain_text,
    sentence,
    unknown_name,
)
from headfit.files.case_file import case_of_text
from headfit.files.lesson_file import built_in_lesson, lesson_names
from headfit.files.marks_files import read_marks
from headfit.fitting.measurements import MEASUREMENTS
from headfit.output.case_view import CaseView
from headfit.output.drawing import line_drawing
from headfit.output.lesson_page import lesson_data, quiz_data
from headfit.output.page import model_data, scene_data
from headfit.teaching.quiz import make_quiz
from headfit.teaching.staging import stage_lesson

STATIC = Path(__file__).parent / "static"
_DEEPEST_JSON = 40


def make_app(
    desk: Desk, token: str, hosts: tuple[str, ...], asked: Callable[[], None] = lambda: None
) -> Starlette:
    """The whole app around one desk.

    Parameters
    ----------
    desk : Desk
    token : str
    hosts : tuple of str
        Accepted Host headers, ``127.0.0.1:PORT`` and so on.
    asked : callable
        Told of every request that is answered.
    """
    office = Office(desk)

    def api(path: str, work: Callable[[Office, Any], Any], *methods: str) -> Route:
        """A route whose work runs in a thread, so that the loop goes on answering."""

        async def answer(request: Request) -> Response:
            given = await _given(request)
            found = await run_in_threadpool(work, office, given)
            return found if isinstance(found, Response) else AsciiJSON(found)

        return Route(f"/api/{path}", _speaking(answer), methods=list(methods))

    return Starlette(
        routes=[
            api("start", lambda _office, _given: start_data(), "GET"),
            api("state", lambda office, _given: office.state(), "GET"),
            api("revision", lambda office, _given: desk_data(office.standing().desk), "GET"),
            api("model", _model, "GET"),
            api("chair", _chair, "GET"),
            api("drawings", _drawings, "GET"),
            api("cases", _cases, "GET"),
            api("picture", _picture, "GET"),
            api("export", _export, "GET"),
            api("lessons", _lessons, "GET"),
            api("lesson", _lesson, "GET"),
            api("quiz", _quiz, "GET"),
            api("change", _change, "POST"),
            api("trial", _trial, "POST"),
            api("undo", _undo, "POST"),
            api("redo", _redo, "POST"),
            api("marks", _marks, "POST"),
            api("save", _save, "POST"),
            api("open", _open, "POST"),
            api("new", _new, "POST"),
            api("discard", _discard, "POST"),
            api("allow", _allow, "POST"),
            Mount("/", StaticFiles(directory=STATIC, html=True)),
        ],
        middleware=[Middleware(Guard, token=token, hosts=hosts, asked=asked)],
        exception_handlers={HTTPException: _http_refusal, Exception: _broken},
    )


async def _given(request: Request) -> dict[str, Any]:
    """The object a request carries: its query, or its body as JSON."""
    if request.method == "GET":
        return dict(request.query_params)
    kind = request.headers.get("content-type", "").partition(";")[0].strip()
    if kind != "application/json":
        raise HTTPException(415, "a request must carry application/json")
    try:
        given = json.loads(await request.body(), parse_constant=_no_constant)
        _check_depth(given)
    except (ValueError, RecursionError):
        raise HTTPException(400, "a request must carry well-formed JSON") from None
    if not isinstance(given, dict):
        raise HTTPException(400, "a request must carry a JSON object")
    return given


def _no_constant(name: str) -> None:
    raise ValueError(name)  # NaN and Infinity are no JSON


def _check_depth(value: object, depth: int = 0) -> None:
    if depth > _DEEPEST_JSON:
        raise ValueError
    if isinstance(value, Mapping):
        value = list(value.values())
    if isinstance(value, list):
        for part in value:
            _check_depth(part, depth + 1)


def _speaking(
    answer: Callable[[Request], Awaitable[Response]],
) -> Callable[[Request], Awaitable[Response]]:
    """The endpoint with every refusal told in its sentence."""

    async def told(request: Request) -> Response:
        try:
            return await answer(request)
        except RefusedError as error:
            more = {"refused": error.reasons, "instead": error.instead}
            return refusal(422, str(error), error.code, **more, state=error.facts.get("state"))
        except ConflictError as error:
            return refusal(409, str(error), error.code, **error.facts)
        except DrawingError as error:
            return refusal(503, str(error), error.code)
        except HeadfitError as error:
            return refusal(422, str(error), error.code)

    return told


async def _http_refusal(_request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    said = {404: "there is nothing at this address", 405: "this address is not asked this way"}
    return refusal(error.status_code, said.get(error.status_code, error.detail), "http")


async def _broken(_request: Request, _error: Exception) -> Response:
    return refusal(500, "headfit met a mistake of its own; nothing was changed", "broken")


def _model(_office: Office, given: dict[str, Any]) -> dict[str, Any]:
    age = given.get("age", "adult")
    try:
        return model_data(float(age))
    except ValueError:
        return model_data(age)


def _chair(office: Office, _given: dict[str, Any]) -> dict[str, Any]:
    """The steps at the chair, with their drawings."""
    from headfit.output.chair_page import chair_data  # loaded when somebody sits down
    from headfit.output.chair_steps import chair_of

    now = office.standing()
    chair = chair_of(now.view.solved)
    drawings = {key: asdict(drawing) for key, drawing in chair.drawings.items()}
    return {"revision": now.desk.revision, **chair_data(chair), "drawings": drawings}


def _cases(office: Office, _given: dict[str, Any]) -> dict[str, Any]:
    folder = office.standing().desk.path.parent
    return {"cases": [asdict(entry) for entry in listed_cases(folder)]}


def _picture(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    """A small drawing of a case of the folder, for the list; nothing that it names is read."""
    name = _name(given)
    desk = office.standing().desk
    if name not in case_names(desk.path.parent):
        raise unknown_name("case of this folder", name[:60], case_names(desk.path.parent))
    return {"svg": case_picture(newest_text(desk.path.parent / name)[0])}


@lru_cache(maxsize=64)
def case_picture(text: str) -> str:
    """The head of a case from the left, with its sites, as SVG."""
    case = case_of_text(text, Path(), measured=False, may_read=_read_nothing)
    return line_drawing(CaseView(solve_case(case)).bare_scene, "left")


def _read_nothing(path: Path) -> None:
    raise InputError(sentence(path.name, "be opened with its case", "a list"), code="case-name")


def _drawings(_office: Office, given: dict[str, Any]) -> dict[str, Any]:
    """How the landmarks are felt and each measurement is taken, on a head of an age."""
    age = given.get("age", "adult")
    try:
        return _drawn_at(float(age))
    except ValueError:
        return _drawn_at(age)


@lru_cache(maxsize=8)
def _drawn_at(age: str | float) -> dict[str, str]:
    from headfit.output.measuring_page import all_drawings

    return all_drawings(age)


def _change(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    """Accept a change, or refuse it with nothing half done.

    `quick` is a slider that moves, `unfinished` a number that is still typed: all of it is one
    step, and a refusal goes back to where the step began.
    """
    _only(given, "revision", "change", "quick", "unfinished")
    quick = given.get("quick") is True
    unfinished = quick or given.get("unfinished") is True
    stood = office.standing(_revision(given))
    desk, change = stood.desk, given.get("change")
    entries = change if isinstance(change, dict) else {}
    touched = tuple(
        name for part in ("tape", "shape") for name in entries.get(part) or () if len(entries) == 1
    )
    step = ",".join(sorted(map(str, touched)))
    allowed = desk.check_reading
    charted = entries.keys() == {"record"}
    try:
        case = changed_case(
            desk.case, change, desk.path.parent, quick=quick or charted, may_read=allowed
        )
        if charted:  # all else stays as it is, and nothing of it is computed anew
            case = replace(desk.case, record=case.record)
        if quick:
            _refuse_invented(desk.case, touched, entries)
        office.change(stood, case, quick=quick, touched=touched, step=step, finished=not unfinished)
    except RefusedError as error:
        went_back = office.take_back(desk.revision, step)
        error.instead = likely_meant(office.standing().desk.case, change, error.reasons)
        error.facts["state"] = office.state() if went_back else None
        raise
    if not quick:
        return office.state()
    now = office.standing()
    return quick_data(now.desk, now.view)


def _refuse_invented(case: Case, touched: tuple[str, ...], entries: dict[str, Any]) -> None:
    """A slider moves a reading that was taken; it makes none."""
    taken = {} if case.tape is None else case.tape.readings_mm
    made = [name for name in touched if name in (entries.get("tape") or ()) and name not in taken]
    if made:
        raise RefusedError(
            {
                name: sentence(
                    MEASUREMENTS[name].title, "be typed as it was read", "a slider that was moved"
                )
                for name in made
                if name in MEASUREMENTS
            }
        )


def _trial(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    """The head as it would be with values that nobody measured; nothing of it is kept."""
    _only(given, "revision", "tape")
    desk = office.standing(_revision(given)).desk
    change = {"tape": given.get("tape")}
    allowed = desk.check_reading
    tried = changed_case(desk.case, change, desk.path.parent, quick=True, may_read=allowed)
    try:
        view = shown(tried, quick=True)
    except HeadfitError as error:
        raise RefusedError(dict.fromkeys(map(str, given["tape"]), str(error))) from error
    data = quick_data(desk, view)
    # A site that must move stays away from its own place in a trial too.
    return data | {"scene": scene_data(view.scene)} if desk.case.free else data


def _undo(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    _only(given, "revision")
    office.step(_revision(given), "undo")
    return office.state()


def _redo(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    _only(given, "revision")
    office.step(_revision(given), "redo")
    return office.state()


def _marks(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    _only(given, "revision", "files")
    stood = office.standing(_revision(given))
    case = stood.desk.case
    with checked_marks(given.get("files")) as (folder, name):
        marks = read_marks(folder / name)
        _ = solve_case(case.with_marks(marks)).comparison  # refused before it is kept
        kept = keep_marks(folder, name, stood.desk.path)
    office.change(stood, case.with_marks(marks, kept))
    return office.state()


def _save(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    _only(given, "revision", "name")
    office.save(given.get("revision"), _name(given) if given.get("name") is not None else None)
    return office.state()


def _open(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    _only(given, "name")
    office.take(office.standing().desk.opened(_name(given)))
    return office.state()


def _new(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    _only(given)
    office.take(office.standing().desk.began())
    return office.state()


def _discard(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    _only(given, "revision")
    office.discard(_revision(given))
    return office.state()


def _allow(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    _only(given, "revision")
    office.allow(_revision(given))
    return office.state()


# Drawing keeps to itself: a graphics driver need not bear two pictures at once.
_drawing = threading.Lock()


def _export(office: Office, given: dict[str, Any]) -> Response:
    now = office.standing()
    if now.problem is not None:
        raise now.problem
    name = now.desk.path.name
    paper = str(given.get("paper", "A4"))
    with _drawing:
        made = export(str(given.get("kind", "")), now.view, plain_text(name), paper)
    file = "".join(
        c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in Path(name).stem
    )
    return Response(
        made.contents,
        media_type=made.media_type,
        headers={"content-disposition": f'attachment; filename="{file}{made.ending}"'},
    )


def _solved(office: Office) -> SolvedCase:
    """The open case, whatever is measured; a problem of it is told."""
    now = office.standing()
    if now.problem is not None:
        raise now.problem
    return now.view.solved


def _lessons(office: Office, _given: dict[str, Any]) -> dict[str, Any]:
    desk = office.standing().desk
    found = [built_in_lesson(name) for name in lesson_names()]
    return {
        "head_label": desk.case.label,
        "command": f"headfit lesson NAME {shlex.quote(plain_text(desk.path.name))} -o NAME.html",
        "lessons": [{"name": of.name, "title": of.title, "about": of.about} for of in found],
    }


def _lesson(office: Office, given: dict[str, Any]) -> dict[str, Any]:
    lesson = built_in_lesson(str(given.get("name", "")))
    return lesson_data(stage_lesson(lesson, _solved(office)))


def _quiz(office: Office, _given: dict[str, Any]) -> dict[str, Any]:
    return quiz_data(make_quiz(_solved(office)))


def _revision(given: dict[str, Any]) -> object:
    """The revision a request was made on; without one it is refused like a wrong one."""
    revision = given.get("revision")
    return "none" if revision is None else revision


def _only(given: dict[str, Any], *known: str) -> None:
    for name in given:
        if name not in known:
            raise unknown_name("entry of a request", name, known)


def _name(given: dict[str, Any]) -> str:
    name = given.get("name")
    if not isinstance(name, str):
        raise InputError(
            sentence("the name of a case file", "be text", repr(name)[:60]), code="case-name"
        )
    return name
