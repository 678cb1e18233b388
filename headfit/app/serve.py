"""Start the app: listen on loopback, print the address with its key, open the browser."""

from __future__ import annotations

import secrets
import socket
import threading
import time
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from headfit.app.cases import NEW_NAME
from headfit.app.desk import Desk
from headfit.app.server import make_app
from headfit.errors import InputError, sentence

if TYPE_CHECKING:
    import uvicorn

_LOOPBACK = "127.0.0.1"


class Idleness:
    """How long nobody has asked.

    >>> Idleness().seconds < 1.0
    True
    """

    def __init__(self) -> None:
        self.asked()

    def asked(self) -> None:
        """Somebody asks now."""
        self._last_s = time.monotonic()

    @property
    def seconds(self) -> float:
        """Seconds since somebody asked."""
        return time.monotonic() - self._last_s


def serve(
    case: Path | None,
    *,
    port: int = 0,
    open_browser: bool = True,
    end_after_s: float | None = None,
    say: Callable[[str], None],
) -> None:
    """Serve one case until interrupted.

    Parameters
    ----------
    case : Path or None
        The case file; None begins a new case in the current folder.
    port : int
        0 takes a free one.
    open_browser : bool
    end_after_s : float, optional
        End when no page has asked for so long; what is not saved is kept as always.
    say : callable
        Told the address, one line.

    Raises
    ------
    FileFormatError, InputError
        The case cannot be read, or the port is taken.
    """
    import uvicorn

    from headfit.app.patience import PatientProtocol

    desk = Desk.open(case) if case is not None else Desk(Path(NEW_NAME).absolute()).began()
    # Listening before the address is told: an early browser waits and is not refused.
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((_LOOPBACK, port))
    except (OSError, OverflowError) as error:
        listening.close()
        raise InputError(
            sentence(
                "--port",
                "be a free port from 1024 to 65535",
                str(port),
                "leave it out and a free one is taken",
            ),
            code="port",
            port=port,
        ) from error
    listening.listen(64)
    port = listening.getsockname()[1]
    token = secrets.token_urlsafe(24)
    idle = Idleness()
    app = make_app(desk, token, (f"{_LOOPBACK}:{port}", f"localhost:{port}"), idle.asked)
    # A fragment is never sent to a server, so the key stands in no log.
    address = f"http://{_LOOPBACK}:{port}/#key={token}"
    say(address)
    if open_browser:
        threading.Timer(0.3, webbrowser.open, [address]).start()
    config = uvicorn.Config(
        app,
        http=PatientProtocol,
        log_level="error",
        ws="none",
        lifespan="off",
        server_header=False,
        access_log=False,
        proxy_headers=False,
    )
    server = uvicorn.Server(config)
    if end_after_s is not None:
        watch = threading.Thread(target=_end_when_idle, args=(server, idle, end_after_s))
        watch.daemon = True
        watch.start()
    server.run(sockets=[listening])


def _end_when_idle(server: uvicorn.Server, idle: Idleness, after_s: float) -> None:
    while idle.seconds < after_s:
        time.sleep(min(max(after_s - idle.seconds, 0.01), 60.0))
    server.should_exit = True
