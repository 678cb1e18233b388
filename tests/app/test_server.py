"""The running app: who is answered, what is refused, that it survives, and that nothing is lost."""

import asyncio
import json
import os
import socket
import threading
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from http.client import HTTPException
from importlib.metadata import distribution
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from demo_case import TEXT
from dirty_marks import EXCHANGED, OFF, OFF_MM, dirty_marks
from running_app import RunningApp, running

from headfit.app.desk import Desk
from headfit.fitting.fit import fit_head
from headfit.fitting.shape import shape_model
from headfit.fitting.tape import Tape
from headfit.output.page import packed

API = ("start", "state", "revision", "model", "cases", "export?kind=case")
POSTS = ("change", "marks", "save", "open", "new", "discard")


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningApp]:
    case = tmp_path_factory.mktemp("case") / "demo.toml"
    case.write_text(TEXT, encoding="utf-8")
    with running(case) as started:
        yield started


@pytest.fixture
def own_app(app: RunningApp) -> RunningApp:
    """The app with the demo case on the desk as if just started; starting it takes seconds."""
    return app.restarted(TEXT)


# --- Who is answered ----------------------------------------------------------------------------


@pytest.mark.parametrize("path", [f"/api/{path}" for path in (*API, *POSTS, "nowhere")])
@pytest.mark.parametrize(
    "key", ["", "Bearer ", "Bearer wrong", "Basic {key}", "{key}", "Bearer {key}x"]
)
def test_without_the_key_nothing_is_answered(app: RunningApp, path: str, key: str) -> None:
    method = "POST" if path.rpartition("/")[2] in POSTS else "GET"
    status, body, _ = app.ask(method, path, Authorization=key.format(key=app.key))
    assert status == 401
    assert json.loads(body)["error"] == "open the address that headfit printed, with its key"


@pytest.mark.parametrize("path", ["/", "/view.js", "/api/state"])
@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example", "[::1]"]
)
def test_a_foreign_host_is_refused(app: RunningApp, path: str, host: str) -> None:
    assert app.ask("GET", path, Host=host)[0] == 400


def test_localhost_is_the_same_place(app: RunningApp) -> None:
    assert app.ask("GET", "/api/state", Host=f"localhost:{app.port}")[0] == 200


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1"])
def test_a_request_from_another_page_is_refused(app: RunningApp, origin: str) -> None:
    assert app.ask("POST", "/api/new", b"{}", Origin=origin)[0] == 400
    assert app.ask("GET", "/api/state", Origin=f"http://127.0.0.1:{app.port}")[0] == 200


@pytest.mark.parametrize("path", ["/", "/view.js", "/view.css", "/api/state", "/nothing"])
def test_every_answer_carries_a_strict_policy_and_no_cookie(app: RunningApp, path: str) -> None:
    _, _, headers = app.ask("GET", path)
    policy = headers["content-security-policy"]
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    assert headers["cache-control"] == "no-store"
    assert headers["x-content-type-options"] == "nosniff"
    assert "set-cookie" not in headers
    assert "server" not in headers


def test_a_path_that_climbs_out_of_the_page_finds_nothing(app: RunningApp) -> None:
    for path in ("/../pyproject.toml", "/%2e%2e/server.py", "/..%2fserver.py", "//etc/passwd"):
        status, body, _ = app.ask("GET", path)
        assert status == 404, path
        assert json.loads(body)["error"] == "there is nothing at this address"


def listening_addresses(pid: int) -> set[str]:
    """Local addresses of the listening TCP sockets of a process, from Linux's /proc."""
    inodes = set()
    for entry in Path(f"/proc/{pid}/fd").iterdir():
        with suppress(FileNotFoundError):  # the folder was listed through one that is closed now
            target = str(entry.readlink())
            if target.startswith("socket:["):
                inodes.add(target[8:-1])
    found = set()
    for table, family in (("tcp", socket.AF_INET), ("tcp6", socket.AF_INET6)):
        for line in Path(f"/proc/{pid}/net/{table}").read_text(encoding="ascii").splitlines()[1:]:
            fields = line.split()
            if fields[3] == "0A" and fields[9] in inodes:
                raw = bytes.fromhex(fields[1].partition(":")[0])
                words = [raw[i : i + 4][::-1] for i in range(0, len(raw), 4)]
                found.add(socket.inet_ntop(family, b"".join(words)))
    return found


def test_nothing_but_loopback_is_bound(app: RunningApp) -> None:
    assert listening_addresses(app.process.pid) == {"127.0.0.1"}
    with socket.socket() as everywhere:  # the check sees a socket that is not on loopback
        everywhere.bind(("0.0.0.0", 0))
        everywhere.listen()
        assert "0.0.0.0" in listening_addresses(os.getpid())


# --- What is refused ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "kind", "status"),
    [
        (b"{", "application/json", 400),
        (b"[]", "application/json", 400),
        (b'{"revision": NaN}', "application/json", 400),
        (b"\xff\xfe", "application/json", 400),
        (b"[" * 100_000, "application/json", 400),
        (b'{"a":' * 60 + b"1" + b"}" * 60, "application/json", 400),
        (b"{}", "text/plain", 415),
        (b"{}", "application/x-www-form-urlencoded", 415),
        (b"{}", "application/json", 422),
        (b'{"revision": 1, "chnage": {}}', "application/json", 422),
    ],
)
def test_a_malformed_request_is_refused_in_one_sentence(
    app: RunningApp, body: bytes, kind: str, status: int
) -> None:
    found, answer, _ = app.ask("POST", "/api/change", body, Content_Type=kind)
    assert found == status
    assert "\n" not in json.loads(answer)["error"].strip()


def test_more_than_a_request_may_hold_is_refused(app: RunningApp) -> None:
    body = b'{"revision": 1, "change": {"label": "' + b"x" * 5_000_000 + b'"}}'
    status, answer, _ = app.ask("POST", "/api/change", body)
    assert status == 413
    assert json.loads(answer)["error"] == "a request must be at most 4 MB long"
    # The same without saying so beforehand, in pieces.
    with socket.create_connection(("127.0.0.1", app.port), timeout=30) as line:
        head = (
            f"POST /api/change HTTP/1.1\r\nHost: 127.0.0.1:{app.port}\r\n"
            f"Authorization: Bearer {app.key}\r\nContent-Type: application/json\r\n"
            "Transfer-Encoding: chunked\r\n\r\n"
        )
        line.sendall(head.encode())
        piece = b"10000\r\n" + b"x" * 65536 + b"\r\n"
        try:
            for _ in range(100):
                line.sendall(piece)
        except OSError:
            pass  # it stopped listening, which is right too
        assert b" 413 " in line.recv(4096).splitlines()[0]


@pytest.mark.parametrize(
    ("name", "text", "sentence"),
    [
        ("ring", "5.6", "10 % ring must lie in 25 to 70 cm, got 5.6 cm"),
        ("nasion_inion", "999", "nasion-inion arc must lie in 15 to 48 cm, got 999 cm"),
        ("head_breadth", "wide", "head breadth must be a number"),
        ("cz_height", 12.5, "height of Cz must be text as typed"),
    ],
)
def test_a_value_out_of_range_is_refused_with_its_reason(
    app: RunningApp, name: str, text: object, sentence: str
) -> None:
    before = app.get("revision")["revision"]
    answer = app.change(422, tape={name: text})
    assert answer["refused"][name].startswith(sentence)
    assert app.get("revision")["revision"] == before


def test_a_sheet_that_no_head_has_is_refused_at_the_value_that_was_changed(app: RunningApp) -> None:
    answer = app.change(422, tape={"ring": "68.0", "nasion_inion": "17.0"})
    assert set(answer["refused"]) == {"ring", "nasion_inion"}


@pytest.mark.parametrize("kind", ["", "exe", "../state"])
def test_an_unknown_export_is_refused(app: RunningApp, kind: str) -> None:
    status, answer, _ = app.ask("GET", f"/api/export?kind={kind}")
    assert status == 422
    assert "unknown export" in json.loads(answer)["error"]


@pytest.mark.parametrize(
    ("files", "sentence"),
    [
        ([], "marks must be 1 to 4 files"),
        ([{"name": "../x.tsv", "text": ""}], "a file of marks must be sent with a plain name"),
        ([{"name": ".x.tsv", "text": ""}], "a file of marks must be sent with a plain name"),
        ([{"name": "x.exe", "text": ""}], "a file of marks must be sent with a plain name"),
        ([{"name": "x.tsv", "text": 5}], "a file of marks must be sent with a plain name"),
        ([{"name": "x.fif", "base64": "no!"}], "a file of marks must be sent with a plain name"),
        (["x"], "a file of marks must be sent with a plain name"),
    ],
)
def test_marks_that_are_no_files_are_refused(app: RunningApp, files: object, sentence: str) -> None:
    revision = app.get("revision")["revision"]
    answer = app.post("marks", {"revision": revision, "files": files}, 422)
    assert answer["error"].startswith(sentence)


async def _storm(app: RunningApp, requests: list[bytes], lines: int) -> dict[int, int]:
    """Statuses of raw requests, sent over a few connections that are kept."""
    counts: dict[int, int] = {}
    waiting = iter(requests)

    async def one_line() -> None:
        reader = writer = None
        for request in waiting:
            if writer is None or writer.is_closing():
                reader, writer = await asyncio.open_connection("127.0.0.1", app.port)
            assert reader is not None
            writer.write(request)
            head = await reader.readuntil(b"\r\n\r\n")
            status = int(head.split()[1])
            counts[status] = counts.get(status, 0) + 1
            fields = head.lower().split(b"\r\n")
            length = next(int(f.split(b":")[1]) for f in fields if f.startswith(b"content-length"))
            await reader.readexactly(length)
            if b"connection: close" in fields:
                writer.close()
        if writer is not None:
            writer.close()

    await asyncio.gather(*(one_line() for _ in range(lines)))
    return counts


def test_ten_thousand_bad_requests_leave_it_as_it_was(app: RunningApp) -> None:
    rng = np.random.default_rng(3)
    before = app.get("state")
    good = f"Host: 127.0.0.1:{app.port}\r\nAuthorization: Bearer {app.key}\r\n"
    json_type = "Content-Type: application/json\r\n"

    def get(path: str, method: str = "GET") -> bytes:
        return f"{method} /api/{path} HTTP/1.1\r\n{good}\r\n".encode()

    def post(path: str, body: bytes, head: str = good + json_type) -> bytes:
        start = f"POST /api/{path} HTTP/1.1\r\n{head}Content-Length: {len(body)}\r\n\r\n"
        return start.encode() + body

    makers = [
        lambda: post("change", rng.bytes(int(rng.integers(0, 200)))),
        lambda: post("change", b'{"revision": 1, "change": {"tape": {"ring": "1e999"}}}'),
        lambda: post(
            "change",
            json.dumps(
                {
                    "revision": before["revision"],
                    "change": {"tape": {"ring": str(rng.integers(-9, 9))}},
                }
            ).encode(),
        ),
        lambda: post("open", json.dumps({"name": "../" * int(rng.integers(1, 9))}).encode()),
        lambda: post("marks", b'{"revision": 0, "files": 7}'),
        lambda: post("change", b"{}", json_type + f"Host: 127.0.0.1:{app.port}\r\n"),
        lambda: post("change", b"{}", good.replace("127.0.0.1", "10.0.0.1")),
        lambda: get(str(rng.integers(1e9))),
        lambda: get("state", "DELETE"),
        lambda: get(f"model?age={rng.integers(200, 999)}"),
    ]
    requests = [makers[i % len(makers)]() for i in range(10_000)]
    counts = asyncio.run(_storm(app, requests, 16))
    assert sum(counts.values()) == 10_000
    assert set(counts) <= {400, 401, 404, 405, 409, 415, 422}
    assert {400, 401, 404, 405, 422} <= set(counts)
    assert app.process.poll() is None
    assert app.get("state") == before


# --- What is answered ---------------------------------------------------------------------------


def test_the_page_is_told_the_head_that_python_fits(own_app: RunningApp) -> None:
    """The page's blend of the modes, done here in numpy, lands on the fitted head."""
    import base64

    state, model = own_app.get("state"), own_app.get("model")
    fit = state["fit"]
    parameters = np.array(fit["parameters"])

    def floats(text: str) -> np.ndarray:
        return np.frombuffer(base64.b64decode(text), "<f4").astype(float)

    template = floats(model["head"]["vertices_mm"]).reshape(-1, 3)
    modes = floats(model["modes"]).reshape(len(model["columns"]), -1, 3)
    origin = np.array(model["origin_mm"])
    blended = origin + (template - origin) * np.exp(parameters[:3])
    blended += np.tensordot(parameters[model["columns"]], modes, axes=1)
    in_head_frame = blended @ np.reshape(fit["rotation"], (3, 3)).T + fit["shift"]
    tape = Tape(**{f"{name}_mm": value for name, value in fit["measured_mm"].items()})
    fitted = fit_head(tape, sex="female", doubtful=("inion",))
    # The spreads of one tape differ, since its mean stands for two readings here: 0.3 mm.
    assert np.abs(in_head_frame - fitted.head.vertices_mm).max() < 0.5
    again = own_app.get("state")
    assert again == state
    assert packed(template) == model["head"]["vertices_mm"]


def test_the_slopes_foresee_the_next_fit(own_app: RunningApp) -> None:
    before = own_app.get("state")["fit"]
    after = own_app.change(tape={"nasion_inion": "36.9"})["fit"]
    step = after["measured_mm"]["nasion_inion"] - before["measured_mm"]["nasion_inion"]
    foreseen = np.array(before["parameters"]) + step * np.array(before["gain"]["nasion_inion"])
    moved = np.array(after["parameters"]) - before["parameters"]
    assert np.linalg.norm(moved) > 0.1
    assert np.linalg.norm(np.array(after["parameters"]) - foreseen) < 0.2 * np.linalg.norm(moved)


# For a mode that was free, and for one that was set before beside another.
@pytest.mark.parametrize("before", [{}, {"vault_2_m2": 0.5, "vault_3_m1": -0.5}])
def test_the_slopes_foresee_a_mode_set_by_hand(
    own_app: RunningApp, before: dict[str, float]
) -> None:
    fit = own_app.change(shape=before)["fit"] if before else own_app.get("state")["fit"]
    assert fit["now_mm"]["vault_2_m2"] == pytest.approx(before.get("vault_2_m2", 0.0), abs=0.01)
    after = own_app.change(shape={"vault_2_m2": 1.2})
    assert after["case"]["shape"] == {**before, "vault_2_m2": 1.2}
    step = 1.2 - fit["now_mm"]["vault_2_m2"]
    foreseen = np.array(fit["parameters"]) + step * np.array(fit["gain"]["vault_2_m2"])
    start, wanted, reached = (
        shape_model().vertices_mm(np.array(parameters))
        for parameters in (fit["parameters"], foreseen, after["fit"]["parameters"])
    )
    moved = np.linalg.norm(reached - start, axis=1).max()
    assert moved > 1.0
    # What is left is of second order in the change, and the fit ends a little before the top.
    assert np.linalg.norm(reached - wanted, axis=1).max() < 0.35 * moved
    assert "flat on one side (right) 1.2 mm" in " ".join(after["scene"]["captions"])
    assert own_app.change(shape={"vault_2_m2": None})["case"]["shape"] == {
        name: value for name, value in before.items() if name != "vault_2_m2"
    }


def test_a_shape_no_head_has_is_refused_at_its_slider(own_app: RunningApp) -> None:
    own_app.change(shape={"vault_4_2": 6.0})
    answer = own_app.change(422, shape={"vault_4_4": 6.0})
    assert "a shape set by hand must leave a head" in answer["refused"]["vault_4_4"]
    assert own_app.get("state")["case"]["shape"] == {"vault_4_2": 6.0}


def test_a_quick_change_moves_sites_and_a_full_one_advises(own_app: RunningApp) -> None:
    revision = own_app.get("revision")["revision"]
    sent = {"revision": revision, "change": {"tape": {"ring": "57.5"}}, "quick": True}
    quick = own_app.post("change", sent)
    assert "sentences" not in quick
    assert quick["revision"] == revision + 1
    full = own_app.change(tape={"ring": "57.5"})
    assert full["sentences"]["advice"]
    assert full["scene"]["sites"] == quick["scene"]["sites"]


def test_two_windows_do_not_overwrite_each_other(own_app: RunningApp) -> None:
    revision = own_app.get("revision")["revision"]
    own_app.post("change", {"revision": revision, "change": {"label": "first"}})
    answer = own_app.post("change", {"revision": revision, "change": {"label": "second"}}, 409)
    assert "changed in another window" in answer["error"]
    assert own_app.get("state")["case"]["label"] == "first"
    for path in ("save", "discard"):
        own_app.post(path, {"revision": revision}, 409)


def test_a_killed_server_loses_nothing_that_it_accepted(tmp_path: Path) -> None:
    case = tmp_path / "demo.toml"
    case.write_text(TEXT, encoding="utf-8")
    rng = np.random.default_rng(11)
    for _ in range(3):
        accepted = sent = -1
        with running(case) as app, suppress(OSError, HTTPException):
            killer = threading.Timer(float(rng.uniform(0.0, 0.5)), app.process.kill)
            for sent in range(1000):
                app.change(note=f"change {sent}")
                accepted = sent
                if accepted == 0:
                    killer.start()
        assert 0 <= accepted < sent  # it was killed at work, not before and not after
        # The one on its way may have arrived or not; all that were answered have.
        assert Desk.open(case).case.note in (f"change {accepted}", f"change {sent}")
    with running(case) as app:
        state = app.get("state")
        assert "brought back" in state["found"]
        app.post("save", {"revision": state["revision"]})
    assert f'note = "{state["case"]["note"]}"' in case.read_text(encoding="utf-8")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["demo.toml"]


def test_files_are_handed_out_of_the_case_as_it_stands(own_app: RunningApp) -> None:
    own_app.change(label="handed <out>")
    starts = {"report": b"<!doctype html>", "sheet": b"%PDF-", "bids": b"PK", "case": b"[case]"}
    for kind, start in starts.items():
        status, body, headers = own_app.ask("GET", f"/api/export?kind={kind}")
        assert status == 200, (kind, body[:300])
        assert body.startswith(start)
        assert headers["content-disposition"].startswith('attachment; filename="demo')
    _, packed_files, _ = own_app.ask("GET", "/api/export?kind=bids")
    with zipfile.ZipFile(BytesIO(packed_files)) as archive:
        assert any(name.endswith("_electrodes.tsv") for name in archive.namelist())
    assert b"handed &lt;out&gt;" in own_app.ask("GET", "/api/export?kind=report")[1]


def test_marks_are_kept_beside_the_case_and_compared(own_app: RunningApp) -> None:
    revision = own_app.get("revision")["revision"]
    files = [{"name": "marks.tsv", "text": dirty_marks()}]
    state = own_app.post("marks", {"revision": revision, "files": files})
    assert "C3 and C4 look exchanged" in " ".join(state["sentences"]["comparison"])
    assert "taken as cm" in " ".join(state["sentences"]["marks"])
    sites = {site["name"]: site for site in state["scene"]["sites"]}
    assert sites["Pz"]["deviation_mm"] == pytest.approx(OFF_MM, abs=1.0)
    assert {arrow["site"] for arrow in state["scene"]["arrows"]} == {*EXCHANGED, OFF}
    assert state["commands"]["compare"] == (
        "headfit compare demo.toml demo.marks/marks.tsv -o demo-comparison"
    )
    bad = [{"name": "marks.tsv", "text": "nothing of use"}]
    refused = own_app.post("marks", {"revision": state["revision"], "files": bad}, 422)
    assert "marks.tsv" in refused["error"]
    again = own_app.get("state")  # the good ones are still there
    assert again["sentences"]["comparison"] == state["sentences"]["comparison"]
    gone = own_app.change(marks=None)
    assert "comparison" not in gone["sentences"]


def test_a_picture_is_handed_out(own_app: RunningApp) -> None:
    status, body, _ = own_app.ask("GET", "/api/export?kind=picture")
    assert status == 200
    assert body.startswith(b"\x89PNG")


def test_every_action_has_a_command_that_does_the_same(own_app: RunningApp) -> None:
    from headfit.cli import build_parser

    commands = own_app.get("state")["commands"]
    assert {"fit", "report", "picture", "bids", "app"} <= set(commands)
    for name in ("fit", "report", "picture", "bids", "app"):
        words = commands[name].split()
        assert words[0] == "headfit"
        assert build_parser().parse_args(words[1:]).command == words[1]


def test_a_case_that_cannot_be_fitted_opens_with_the_reason_and_can_be_mended(
    tmp_path: Path,
) -> None:
    case = tmp_path / "odd.toml"
    case.write_text('[tape]\nunit = "cm"\nring = 68.0\nnasion_inion = 17.0\n', encoding="utf-8")
    with running(case) as app:
        state = app.get("state")
        assert state["problem"]
        assert state["fit"] is None
        mended = app.change(tape={"nasion_inion": "40"})
        assert mended["problem"] == ""
        assert mended["fit"] is not None


def installed_bytes(name: str) -> int:
    found = distribution(name).files
    assert found
    return sum(
        path.stat().st_size
        for file in found
        if (path := Path(str(file.locate()))).is_file() and "__pycache__" not in path.parts
    )


def test_the_app_adds_less_than_three_megabytes_of_packages() -> None:
    # What starlette and uvicorn bring along on a plain installation; nothing else needs them.
    packages = ("starlette", "uvicorn", "anyio", "idna", "h11", "click", "typing_extensions")
    total = sum(installed_bytes(name) for name in packages)
    assert 500_000 < total <= 3_000_000
