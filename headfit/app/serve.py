"""Start the app: listen on loopback, print the address with its key, open the browser."""

from __future__ import annotations

import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

from headfit.app.desk import NEW_NAME, Desk
from headfit.app.server import make_app
from headfit.errors import InputError, sentence

_LOOPBACK = "127.0.0.1"


def serve(
    case: Path | None, *, port: int = 0, open_browser: bool = True, say: Callable[[str], None]
) -> None:
    """Serve one case until interrupted.

    Parameters
    ----------
    case : Path or None
        The case file; None begins a new case in the current folder.
    port : int
        0 takes a free one.
    open_browser : bool
    say : callable
        Told the address, one line.

    Raises
    ------
    FileFormatError, InputError
        The case cannot be read, or the port is taken.
    """
    import uvicorn

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
    app = make_app(desk, token, (f"{_LOOPBACK}:{port}", f"localhost:{port}"))
    # A fragment is never sent to a server, so the key stands in no log.
    address = f"http://{_LOOPBACK}:{port}/#key={token}"
    say(address)
    if open_browser:
        threading.Timer(0.3, webbrowser.open, [address]).start()
    config = uvicorn.Config(
        app,
        log_level="error",
        ws="none",
        lifespan="off",
        server_header=False,
        access_log=False,
        proxy_headers=False,
    )
    uvicorn.Server(config).run(sockets=[listening])
