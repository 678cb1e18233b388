"""The app as a process of its own, asked over loopback as a browser asks it."""

from __future__ import annotations

import http.client
import json
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ADDRESS = re.compile(r"http://[\d.]+:(\d+)/#key=([\w-]+)")


@dataclass
class RunningApp:
    """A started `headfit app`.

    Attributes
    ----------
    process : Popen
    address : str
        With its key, as printed.
    port : int
    key : str
    """

    process: subprocess.Popen[str]
    address: str
    port: int
    key: str

    def ask(
        self, method: str, path: str, body: bytes | None = None, **headers: str
    ) -> tuple[int, bytes, dict[str, str]]:
        """Status, body and headers of one request; underscores in header names become dashes."""
        given = {"Host": f"127.0.0.1:{self.port}", "Authorization": f"Bearer {self.key}"}
        if body is not None:
            given["Content-Type"] = "application/json"
        given |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.request(
                method, path, body, {name: value for name, value in given.items() if value}
            )
            answer = connection.getresponse()
            return answer.status, answer.read(), {k.lower(): v for k, v in answer.getheaders()}
        finally:
            connection.close()

    def get(self, path: str) -> Any:
        """The JSON of a good answer."""
        status, body, _ = self.ask("GET", f"/api/{path}")
        assert status == 200, (status, body)
        return json.loads(body)

    def fetch(self, path: str) -> bytes:
        """The body of a good answer."""
        status, body, _ = self.ask("GET", f"/api/{path}")
        assert status == 200, (status, body)
        return body

    def post(self, path: str, entries: object, expected: int = 200) -> Any:
        """The JSON of an answer with the expected status."""
        status, body, _ = self.ask("POST", f"/api/{path}", json.dumps(entries).encode())
        assert status == expected, (status, body)
        return json.loads(body)

    def change(self, expected: int = 200, **change: object) -> Any:
        """A change on the revision that stands."""
        revision = self.get("revision")["revision"]
        return self.post("change", {"revision": revision, "change": change}, expected)

    def restarted(self, text: str) -> RunningApp:
        """The same with nothing in its folder but demo.toml, which is on the desk."""
        folder = Path(self.get("state")["folder"])
        for path in folder.iterdir():
            shutil.rmtree(path) if path.is_dir() else path.unlink()
        (folder / "demo.toml").write_text(text, encoding="utf-8")
        self.post("open", {"name": "demo.toml"})
        return self

    def kill(self) -> None:
        """End it without a word, as a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10)
        if self.process.stdout is not None:
            self.process.stdout.close()


@contextmanager
def running(case: Path, program: Sequence[str] = ("-m", "headfit")) -> Iterator[RunningApp]:
    """The app on a case file, killed in the end whatever happens; it may be killed before."""
    app = start_app(case, program)
    try:
        yield app
    finally:
        app.kill()


def start_app(case: Path, program: Sequence[str] = ("-m", "headfit")) -> RunningApp:
    """Start the app on a case file and wait for its address."""
    process = subprocess.Popen(
        [sys.executable, *program, "app", str(case), "--no-browser"],
        stdout=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
        cwd=case.parent,
    )
    assert process.stdout is not None
    for line in process.stdout:
        if match := ADDRESS.search(line):
            return RunningApp(process, match[0], int(match[1]), match[2])
    raise AssertionError(f"the app ended with {process.wait(10)} and told no address")
