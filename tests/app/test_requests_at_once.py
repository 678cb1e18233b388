"""Requests that come at once, late, half or never; files that a case from elsewhere names."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from demo_case import TEXT
from dirty_marks import dirty_marks
from running_app import running
from starlette.testclient import TestClient

from headfit.app import guard, office, patience
from headfit.app.desk import Desk
from headfit.app.server import make_app

HOST = "127.0.0.1:8000"
KEY = {"Authorization": "Bearer key"}


def client_on(case: Path) -> TestClient:
    app = make_app(Desk.open(case), "key", (HOST,))
    return TestClient(app, base_url=f"http://{HOST}", raise_server_exceptions=False)


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "cases" / "demo.toml"
    path.parent.mkdir()
    path.write_text(TEXT, encoding="utf-8")
    return path


def asked(client: TestClient, path: str, **entries: object) -> tuple[int, dict[str, Any]]:
    answer = client.post(f"/api/{path}", json=entries, headers=KEY)
    return answer.status_code, answer.json()


def state(client: TestClient) -> dict[str, Any]:
    found: dict[str, Any] = client.get("/api/state", headers=KEY).json()
    return found


# --- At once ------------------------------------------------------------------------------------


def test_no_request_waits_while_another_computes(
    case: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_on(case)
    revision = state(client)["revision"]
    real, go_on, computing = office.solve_case, threading.Event(), threading.Event()

    def slow(given: Any) -> Any:
        computing.set()
        assert go_on.wait(60)
        return real(given)

    monkeypatch.setattr(office, "solve_case", slow)
    answers: list[int] = []
    changing = threading.Thread(
        target=lambda: answers.append(
            asked(client, "change", revision=revision, change={"note": "slow"})[0]
        )
    )
    changing.start()
    assert computing.wait(60)
    # All of this is answered while the change is computed.
    assert state(client)["case"]["note"] != "slow"
    assert client.get("/api/revision", headers=KEY).json()["revision"] == revision
    (listed,) = client.get("/api/cases", headers=KEY).json()["cases"]
    assert listed["name"] == "demo.toml"
    assert asked(client, "save", revision=revision)[0] == 200
    assert changing.is_alive()
    go_on.set()
    changing.join(60)
    assert answers == [200]
    assert state(client)["case"]["note"] == "slow"


def test_of_two_changes_at_once_one_is_told_of_the_other(case: Path) -> None:
    client = client_on(case)
    revision = state(client)["revision"]
    answers: list[int] = []
    both = [
        threading.Thread(
            target=lambda note=note: answers.append(
                asked(client, "change", revision=revision, change={"note": note})[0]
            )
        )
        for note in ("first", "second")
    ]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join(60)
    assert sorted(answers) == [200, 409]
    assert state(client)["case"]["note"] in ("first", "second")


# --- Late, half, never --------------------------------------------------------------------------

APP = """
import sys
from headfit.app import guard, patience
guard.BODY_S = patience.SILENCE_S = 0.5
from headfit.cli import main
sys.argv[0] = "headfit"
main()
"""


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"GET /api/state HT",
        b"GET / HTTP/1.1\r\nHost: {host}\r\n\r\nGET / HT",  # half of a second request
        (
            b"POST /api/new HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {key}\r\n"
            b"Content-Type: application/json\r\nContent-Length: 9\r\n\r\n{"
        ),
    ],
    ids=["nothing", "half a head", "half a second head", "half a body"],
)
def test_who_says_nothing_or_half_of_something_is_not_waited_for(sent: bytes, case: Path) -> None:
    with running(case, program=["-c", APP]) as app:
        line = socket.create_connection(("127.0.0.1", app.port), timeout=20)
        with line:
            host = f"127.0.0.1:{app.port}".encode()
            line.sendall(sent.replace(b"{host}", host).replace(b"{key}", app.key.encode()))
            started, received = time.monotonic(), b""
            while more := line.recv(65536):
                received += more
        assert time.monotonic() - started < 10.0
        if b"{" in sent and b"Length" in sent:
            assert received.startswith(b"HTTP/1.1 408 ")
        assert app.ask("GET", "/api/revision")[0] == 200


def test_the_app_waits_long_enough_for_a_person() -> None:
    assert guard.BODY_S >= 10.0
    assert patience.SILENCE_S >= 10.0


def test_the_app_ends_by_itself_when_no_page_asks(case: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "headfit", "app", case, "--no-browser", "--end-after", "0.02"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")


# --- Files elsewhere ----------------------------------------------------------------------------


def naming(case: Path, table: str, path: str) -> None:
    case.write_text(f'{TEXT}\n[{table}]\nfile = "{path}"\n', encoding="utf-8")


def test_a_file_outside_the_folder_of_the_case_is_read_after_it_was_allowed(case: Path) -> None:
    elsewhere = case.parent.parent / "bids" / "marks.tsv"
    elsewhere.parent.mkdir()
    elsewhere.write_text(dirty_marks(), encoding="utf-8")
    naming(case, "marks", "../bids/marks.tsv")
    client = client_on(case)
    now = state(client)
    assert [Path(os.path.realpath(path)) for path in now["elsewhere"]] == [elsewhere]
    assert "lie in the folder of the case, or be allowed" in now["sentences"]["comparison"][0]
    status, now = asked(client, "change", revision=now["revision"], change={"note": "n"})
    assert (status, len(now["elsewhere"])) == (200, 1)  # a change does not read it either
    status, now = asked(client, "allow", revision=now["revision"])
    assert (status, now["elsewhere"]) == (200, [])
    assert now["tables"]["moves"]["rows"]
    # Asked once: changes and opening it again read it.
    status, now = asked(client, "change", revision=now["revision"], change={"note": "m"})
    assert (now["elsewhere"], now["case"]["note"]) == ([], "m")
    assert asked(client, "open", name="demo.toml")[1]["elsewhere"] == []


def test_a_link_out_of_the_folder_is_elsewhere_too(case: Path) -> None:
    (case.parent / "marks.tsv").symlink_to("/etc/passwd")
    naming(case, "marks", "marks.tsv")
    assert len(state(client_on(case))["elsewhere"]) == 1


SECRET = "s3cret"
FOREIGN = {
    "passwd": f"root:x:0:0:{SECRET}:/root:/bin/sh\n",
    "table": f"user,{SECRET},shell,uid\nroot,{SECRET},sh,0\n",
    "words": f"{SECRET} {SECRET}\n{SECRET}\n",
    "object": json.dumps({SECRET: SECRET, "password": SECRET}),
    "list": json.dumps([SECRET]),
    "text": json.dumps(SECRET),
    "broken": f'{{"{SECRET}": {SECRET}',
    "toml": f'{SECRET} = "{SECRET}"\n',
    "broken toml": f"{SECRET} {SECRET}\n[{SECRET}",
    "quotes": f'a,b,c,d\n"{SECRET}\n',
}


@pytest.mark.parametrize("kind", FOREIGN)
@pytest.mark.parametrize("name", ["f", "f.tsv", "f.csv", "f.json", "f.toml", "f_electrodes.tsv"])
@pytest.mark.parametrize("table", ["marks", "derivations"])
def test_nothing_of_a_file_that_is_no_such_file_is_quoted(
    kind: str, name: str, table: str, tmp_path: Path
) -> None:
    (tmp_path / name).write_text(FOREIGN[kind])
    naming(tmp_path / "case.toml", table, name)
    desk = Desk.open(tmp_path / "case.toml")
    said = "\n".join(str(problem) for problem in desk.case.problems.values())
    assert re.search(r"\w", said)
    assert SECRET not in said
    for problem in desk.case.problems.values():
        assert SECRET not in str(problem.facts)


# --- Half letters ---------------------------------------------------------------------------------


def test_half_letters_are_refused_or_replaced_and_never_a_mistake_of_ours(case: Path) -> None:
    client, half = client_on(case), "\ud800"

    def sent(path: str, **entries: object) -> int:
        body = json.dumps(entries).encode("ascii")
        headers = KEY | {"Content-Type": "application/json"}
        return client.post(f"/api/{path}", content=body, headers=headers).status_code

    revision = state(client)["revision"]
    assert sent("save", revision=revision, name=f"{half}.toml") == 422
    assert sent("open", name=f"{half}.toml") == 422
    assert sent("change", revision=revision, change={half: half}) == 422
    assert sent("change", revision=revision, change={"sex": half}) == 422
    files = [{"name": "m.json", "text": f'{{"unit": "mm", "{half}": [1, 2, 3]}}'}]
    assert sent("marks", revision=revision, files=files) == 422
    assert sent("change", revision=revision, change={"label": f"a{half}b"}) == 200
    assert state(client)["case"]["label"] == "a b"


def test_a_case_file_whose_name_is_no_text_is_shown(case: Path) -> None:
    odd = Path(os.fsdecode(os.fsencode(case.parent) + b"/K\xf6ln.toml"))
    odd.write_text(TEXT, encoding="utf-8")
    client = client_on(odd)
    assert state(client)["case"]["label"]
    assert (
        asked(client, "change", revision=state(client)["revision"], change={"note": "n"})[0] == 200
    )
    assert client.get("/api/export?kind=report", headers=KEY).status_code == 200
