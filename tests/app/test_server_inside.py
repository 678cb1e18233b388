"""The app in this process: every route once, so that coverage and debuggers see it."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest
from demo_case import TEXT
from dirty_marks import dirty_marks
from starlette.testclient import TestClient

from headfit import load_template, place_sites
from headfit.app import serve as serve_module
from headfit.app.desk import Desk
from headfit.app.guard import Guard
from headfit.app.server import make_app
from headfit.errors import DrawingError, InputError
from headfit.files.limits import REQUEST_BYTES

KEY = {"Authorization": "Bearer key"}


@pytest.fixture
def client(tmp_path: Path) -> TestClient:
    path = tmp_path / "demo.toml"
    path.write_text(TEXT, encoding="utf-8")
    app = make_app(Desk.open(path), "key", ("127.0.0.1:8000",))
    return TestClient(app, base_url="http://127.0.0.1:8000", raise_server_exceptions=False)


def post(client: TestClient, path: str, **entries: object) -> tuple[int, dict[str, Any]]:
    answer = client.post(f"/api/{path}", json=entries, headers=KEY)
    return answer.status_code, answer.json()


def revision(client: TestClient) -> int:
    return int(client.get("/api/revision", headers=KEY).json()["revision"])


def test_a_case_is_changed_compared_saved_left_and_opened_again(client: TestClient) -> None:
    assert client.get("/api/start", headers=KEY).json()["groups"]
    assert client.get("/api/model?age=5", headers=KEY).json()["columns"]
    status, state = post(
        client,
        "change",
        revision=revision(client),
        change={"free": [{"site": "C3", "radius_mm": 12}], "derivations": "longitudinal"},
    )
    assert status == 200
    assert state["scene"]["regions"]
    assert state["tables"]["derivations"]["rows"]
    files = [{"name": "marks.tsv", "text": dirty_marks()}]
    status, state = post(client, "marks", revision=state["revision"], files=files)
    assert status == 200
    # C3 and C4 are judged where they were moved to, and these marks stand at their own places.
    assert {arrow["site"] for arrow in state["scene"]["arrows"]} == {"C3", "C4", "Pz"}
    assert post(client, "save", revision=state["revision"])[0] == 200
    status, state = post(client, "new")
    assert state["fit"] is None
    assert client.get("/api/export?kind=report", headers=KEY).status_code == 422
    status, state = post(client, "open", name="demo.toml")
    assert state["case"]["marks"] == "marks.tsv"
    status, state = post(client, "change", revision=state["revision"], change={"label": "x"})
    status, state = post(client, "discard", revision=state["revision"])
    assert state["case"]["label"] != "x"
    (listed,) = client.get("/api/cases", headers=KEY).json()["cases"]
    assert (listed["name"], listed["saved"]) == ("demo.toml", True)


def test_what_was_moved_away_is_said_and_the_head_stays(client: TestClient) -> None:
    files = [{"name": "marks.tsv", "text": dirty_marks()}]
    _, state = post(client, "marks", revision=revision(client), files=files)
    folder = Path(state["folder"])
    (folder / "demo.marks" / "marks.tsv").unlink()
    _, state = post(client, "change", revision=state["revision"], change={"note": "n"})
    assert state["sentences"]["comparison"][0].startswith("The marks cannot be compared: ")
    assert state["fit"] is not None
    (folder / "own.toml").write_text(
        f'{TEXT}\n[derivations]\nfile = "gone.csv"\n', encoding="utf-8"
    )
    _, state = post(client, "open", name="own.toml")
    assert state["sentences"]["derivations"][0].startswith("The derivations cannot be shown: ")


@pytest.mark.parametrize(
    ("kind", "start"),
    [("sheet", b"%PDF-"), ("bids", b"PK"), ("case", b"[case]"), ("report", b"<!d")],
)
def test_every_kind_of_file_is_made(client: TestClient, kind: str, start: bytes) -> None:
    sites = client.get("/api/state", headers=KEY).json()["scene"]["sites"]
    at = {site["name"]: site["point_mm"] for site in sites}
    place = {"point_mm": at["F5"], "radius_mm": 8, "reason": "device"}
    corners = {"polygon_mm": [at["C4"], at["CP4"], at["C6"]], "reason": "scar"}
    change = {"free": [place, corners], "derivations": "transverse"}
    status, state = post(client, "change", revision=revision(client), change=change)
    assert (status, len(state["scene"]["regions"])) == (200, 2), state
    answer = client.get(f"/api/export?kind={kind}", headers=KEY)
    assert answer.status_code == 200
    assert answer.content.startswith(start)


@pytest.mark.parametrize(
    ("path", "entries", "sentence"),
    [
        ("open", {"name": 5}, "the name of a case file must be text, got 5"),
        ("open", {"name": "gone.txt"}, "the name of a case file must be a plain file name"),
        ("new", {"all": True}, "unknown entry of a request 'all'"),
        ("save", {"revision": 1, "name": "../x.toml"}, "the name of a case file must be a plain"),
        ("marks", {"revision": 1, "files": {}}, "marks must be 1 to 4 files"),
        ("marks", {"revision": 1, "files": [{"name": "a.exe", "text": ""}]}, "a file of marks"),
    ],
)
def test_a_wrong_entry_of_a_request_is_said(
    client: TestClient, path: str, entries: dict[str, object], sentence: str
) -> None:
    status, answer = post(client, path, **entries)
    assert status == 422
    assert answer["error"].startswith(sentence)


def test_marks_without_a_measurement_are_held_against_the_head_under_them(
    client: TestClient,
) -> None:
    _, state = post(client, "new")
    files = [{"name": "marks.tsv", "text": dirty_marks()}]
    status, state = post(client, "marks", revision=state["revision"], files=files)
    assert status == 200
    assert any("the head is guessed from" in said for said in state["sentences"]["marks"])
    assert any("found under the marks" in caption for caption in state["scene"]["captions"])
    assert state["fit"] is None  # no reading to drag


def test_marks_without_landmarks_and_a_measurement_have_no_head(client: TestClient) -> None:
    _, state = post(client, "new")
    sites = place_sites(load_template())
    rows = (
        f"{name}\t{x}\t{y}\t{z}\n"
        for name, (x, y, z) in zip(sites.names, sites.points_mm, strict=True)
    )
    table = "name\tx_mm\ty_mm\tz_mm\n" + "".join(rows)
    files = [{"name": "marks.tsv", "text": table}]
    status, answer = post(client, "marks", revision=state["revision"], files=files)
    assert status == 422
    assert "nasion and both preauricular points" in answer["error"]


def test_an_impossible_sheet_is_refused_where_it_was_changed_and_opens_with_a_reason(
    client: TestClient,
) -> None:
    tape = {"ring": "68.0", "nasion_inion": "17.0"}
    status, answer = post(client, "change", revision=revision(client), change={"tape": tape})
    assert status == 422
    assert set(answer["refused"]) == set(tape)
    state = client.get("/api/state", headers=KEY).json()
    odd = '[tape]\nunit = "cm"\nring = 68.0\nnasion_inion = 17.0\n'
    (Path(state["folder"]) / "odd.toml").write_text(odd, encoding="utf-8")
    _, state = post(client, "open", name="odd.toml")
    assert state["problem"]
    _, state = post(client, "change", revision=state["revision"], change={"label": "still odd"})
    assert state["problem"]
    _, state = post(
        client, "change", revision=state["revision"], change={"tape": {"nasion_inion": "40"}}
    )
    assert not state["problem"]


def test_a_picture_that_cannot_be_drawn_is_said(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_driver(*_: object) -> bytes:
        raise DrawingError("no graphics driver here", code="no-driver")

    monkeypatch.setattr("headfit.output.picture.png_bytes", no_driver)
    answer = client.get("/api/export?kind=picture", headers=KEY)
    assert answer.status_code == 503
    assert answer.json()["error"] == "no graphics driver here"


def test_a_mistake_of_our_own_changes_nothing_and_tells_nothing(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = client.get("/api/state", headers=KEY).json()

    def mistaken(*_: object, **__: object) -> None:
        raise RuntimeError("secret detail")

    monkeypatch.setattr("headfit.app.office.solve_case", mistaken)
    status, answer = post(client, "change", revision=revision(client), change={"note": "n"})
    assert status == 500
    assert "secret" not in str(answer)
    monkeypatch.undo()
    assert client.get("/api/state", headers=KEY).json() == before


def test_a_body_that_grows_beyond_its_word_is_stopped() -> None:
    """A client may announce nothing and send on and on."""
    sent: list[dict[str, Any]] = []

    async def app(_scope: object, receive: Any, _send: object) -> None:
        while True:
            await receive()

    async def endless() -> dict[str, Any]:
        return {"type": "http.request", "body": b"x" * 1_000_000, "more_body": True}

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {"type": "http", "method": "POST", "path": "/", "headers": [(b"host", b"h")]}
    asyncio.run(Guard(app, "key", ("h",))(scope, endless, send))
    assert sent[0]["status"] == 413
    assert REQUEST_BYTES > 1_000_000
    sent.clear()
    asyncio.run(Guard(app, "key", ("h",))({"type": "websocket"}, endless, send))
    assert sent == []


def test_a_port_that_is_taken_or_none_is_said(tmp_path: Path) -> None:
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        for port in (taken.getsockname()[1], 70_000):
            with pytest.raises(InputError, match="--port must be a free port"):
                serve_module.serve(tmp_path / "x.toml", port=port, open_browser=False, say=print)


def test_serving_listens_before_it_tells_its_address(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import socket

    import uvicorn

    opened: list[str] = []
    told: list[str] = []
    ran: list[object] = []

    def run(_server: uvicorn.Server, sockets: list[socket.socket]) -> None:
        ran.extend(sockets)
        for one in sockets:
            one.close()

    def say(address: str) -> None:
        told.append(address)
        port = int(address.split(":")[2].split("/", maxsplit=1)[0])
        socket.create_connection(("127.0.0.1", port), timeout=5).close()

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(uvicorn.Server, "run", run)
    monkeypatch.setattr(serve_module.webbrowser, "open", opened.append)
    serve_module.serve(None, say=say)
    assert len(told) == len(ran) == 1
    for _ in range(200):
        if opened:
            break
        asyncio.run(asyncio.sleep(0.01))
    assert opened == told


def read_tape(client: TestClient) -> dict[str, str]:
    return dict(client.get("/api/state", headers=KEY).json()["case"]["tape"])


def test_a_trial_is_shown_and_never_kept(client: TestClient) -> None:
    before = client.get("/api/state", headers=KEY).json()
    assert "head_length" not in before["case"]["tape"]
    status, tried = post(
        client, "trial", revision=before["revision"], tape={"head_length": "176 mm"}
    )
    assert status == 200
    assert tried["fit"]["measured_mm"]["head_length"] == 176.0  # the head of the trial
    assert tried["fit"]["parameters"] != before["fit"]["parameters"]
    assert client.get("/api/state", headers=KEY).json() == before
    assert not list(Path(before["folder"]).glob("*.unsaved"))
    status, answer = post(client, "trial", revision=before["revision"], tape={"head_length": "x"})
    assert (status, list(answer["refused"])) == (422, ["head_length"])


def test_a_slider_makes_no_reading(client: TestClient) -> None:
    """Seen: dragging the slider of head length saved 19.3 cm that nobody had read."""
    status, answer = post(
        client,
        "change",
        revision=revision(client),
        change={"tape": {"head_length": "19.3"}},
        quick=True,
    )
    assert status == 422
    assert "must be typed as it was read" in answer["error"]
    assert "head_length" not in read_tape(client)


def test_a_quick_answer_tells_the_case_as_it_stands(client: TestClient) -> None:
    status, answer = post(
        client, "change", revision=revision(client), change={"tape": {"ring": "55.5"}}, quick=True
    )
    assert status == 200
    assert answer["case"]["tape"]["ring"] == "55.5"
    assert answer["undo"] == "10 % ring"


def test_a_refused_value_takes_back_what_was_accepted_on_the_way(client: TestClient) -> None:
    """Seen: of 12.5 typed for 15.2 the program had taken 12 and kept it when 12.5 was refused."""
    before = client.get("/api/state", headers=KEY).json()
    start = before["case"]["tape"]["head_breadth"]
    for text, accepted in (("15", True), ("150", False)):
        status, answer = post(
            client,
            "change",
            revision=revision(client),
            change={"tape": {"head_breadth": text}},
            unfinished=True,
        )
        assert (status == 200) is accepted
    assert answer["refused"].keys() == {"head_breadth"}
    assert answer["instead"] == {"head_breadth": "15.0"}
    assert answer["state"]["case"]["tape"]["head_breadth"] == start
    assert read_tape(client) == before["case"]["tape"]
    after = client.get("/api/state", headers=KEY).json()
    assert after["fit"] == before["fit"]
    assert after["sentences"] == before["sentences"]
    assert after["saved"]
    assert post(client, "undo", revision=revision(client))[0] == 422  # nothing was done


def test_undo_and_redo_go_through_the_program(client: TestClient) -> None:
    before = read_tape(client)
    post(client, "change", revision=revision(client), change={"tape": {"ring": "55.5"}})
    status, state = post(client, "undo", revision=revision(client))
    assert (status, state["case"]["tape"], state["redo"]) == (200, before, "10 % ring")
    status, state = post(client, "redo", revision=revision(client))
    assert (status, state["case"]["tape"]["ring"]) == (200, "55.5")
    assert post(client, "redo", revision=revision(client))[1]["code"] == "no-step"


def test_a_newborn_is_offered_its_array_and_measured_round_the_head_first(
    client: TestClient,
) -> None:
    _, state = post(client, "new")
    assert state["offer"] is None
    assert state["groups"][0]["names"][0] == "nasion_inion"
    _, state = post(client, "change", revision=state["revision"], change={"age": "2 weeks"})
    assert state["case"]["age_words"] == "2 weeks"
    assert state["groups"][0]["names"][0] == "largest_circumference"
    assert state["offer"]["system"] == "newborn"
    change = {"system": "newborn", "derivations": "longitudinal"}
    _, state = post(client, "change", revision=state["revision"], change=change)
    assert state["offer"] is None
    assert [row["site"] for row in state["tables"]["sites"]["rows"] if row["site"]][:2]
    assert "its own set is used, Newborn, double distance" in state["sentences"]["derivations"][0]
    assert not any("cannot be recorded" in said for said in state["sentences"]["derivations"])


def test_the_sheet_is_made_for_the_paper_that_was_chosen(client: TestClient) -> None:
    made = {
        paper: client.get(f"/api/export?kind=sheet&paper={paper}", headers=KEY).content
        for paper in ("A4", "letter")
    }
    assert b"595.2" in made["A4"]  # 210 mm in points of 1/72 inch
    assert b"612" in made["letter"]  # 8.5 inch
    assert client.get("/api/export?kind=sheet&paper=B5", headers=KEY).status_code == 422


def test_a_moved_site_stays_away_from_its_place_in_a_trial(client: TestClient) -> None:
    change = {"free": [{"site": "P4", "radius_mm": 14, "reason": "wound"}]}
    _, state = post(client, "change", revision=revision(client), change=change)
    _, tried = post(client, "trial", revision=state["revision"], tape={"head_length": "198 mm"})
    site = next(each for each in tried["scene"]["sites"] if each["name"] == "P4")
    assert (site["state"], site["from_start_mm"]) == ("moved", None)
    assert tried["scene"]["regions"]
