"""Who may ask, and how much: token, host, origin, size; the same headers on every answer.

The page itself holds nothing of a case and needs no token. All under ``/api/`` does.
"""

from __future__ import annotations

import asyncio
import hmac
import json
import time
from collections.abc import Callable, MutableMapping
from typing import Any

from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from headfit.files.limits import REQUEST_BYTES

BODY_S = 10.0

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = [
    (b"content-security-policy", _POLICY.encode()),
    (b"cache-control", b"no-store"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
]


class AsciiJSON(JSONResponse):
    """JSON in ASCII: half a letter, as a name of a file may hold, is no reason not to answer."""

    def render(self, content: Any) -> bytes:
        """The body."""
        return json.dumps(content, allow_nan=False, separators=(",", ":")).encode("ascii")


def refusal(status: int, text: str, code: str, **more: object) -> JSONResponse:
    """An answer that says in one sentence why not."""
    return AsciiJSON({"error": text, "code": code, **more}, status)


class Guard:
    """Middleware around the whole app.

    Parameters
    ----------
    app : ASGIApp
    token : str
        Asked for as ``Authorization: Bearer TOKEN``.
    hosts : tuple of str
        Accepted values of the Host header. A page of another name that points at this computer
        carries that name here and is refused.
    asked : callable
        Told of every request that is answered.
    """

    def __init__(
        self,
        app: ASGIApp,
        token: str,
        hosts: tuple[str, ...],
        asked: Callable[[], None] = lambda: None,
    ) -> None:
        self.app = app
        self.asked = asked
        self.wanted = f"Bearer {token}".encode()
        self.hosts = {host.encode() for host in hosts}
        self.origins = {b"http://" + host for host in self.hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer or pass on."""
        if scope["type"] != "http":
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *_HEADERS]
            await send(message)

        answer = self._refused(scope)
        if answer is not None:
            await answer(scope, receive, guarded)
            return
        self.asked()
        try:
            await self.app(scope, _Limited(receive), guarded)
        except _TooLongError:
            await _too_long()(scope, receive, guarded)
        except _TooSlowError:
            late = refusal(408, f"a request must be whole within {BODY_S:.0f} s", "too-slow")
            late.headers["connection"] = "close"
            await late(scope, receive, guarded)

    def _refused(self, scope: MutableMapping[str, Any]) -> JSONResponse | None:
        given: dict[bytes, list[bytes]] = {}
        for name, value in scope["headers"]:
            given.setdefault(name.lower(), []).append(value)
        host = given.get(b"host", [])
        if len(host) != 1 or host[0].lower() not in self.hosts:
            return refusal(400, "this address is not the one headfit listens on", "host")
        origin = given.get(b"origin", [])
        if any(value.lower() not in self.origins for value in origin):
            return refusal(400, "this request comes from another page", "origin")
        if scope["path"].startswith("/api/"):
            # compare_digest takes the same time whatever is wrong.
            tokens = given.get(b"authorization", [b""])
            if len(tokens) != 1 or not hmac.compare_digest(tokens[0], self.wanted):
                return refusal(401, "open the address that headfit printed, with its key", "token")
        length = given.get(b"content-length", [b"0"])[0]
        if not length.isdigit() or int(length[:19]) > REQUEST_BYTES:
            return _too_long()
        return None


class _TooLongError(Exception):
    """More came than a request may hold."""


class _TooSlowError(Exception):
    """What was announced did not come."""


class _Limited:
    """Receives no more than a request may hold, whatever its headers say."""

    def __init__(self, receive: Receive) -> None:
        self.receive = receive
        self.left = REQUEST_BYTES
        self.until = time.monotonic() + BODY_S
        self.more = True

    async def __call__(self) -> Message:
        if not self.more:  # only the end of the connection can still come
            return await self.receive()
        try:
            message = await asyncio.wait_for(self.receive(), self.until - time.monotonic())
        except TimeoutError:
            raise _TooSlowError from None
        if message["type"] == "http.request":
            self.more = bool(message.get("more_body", False))
            self.left -= len(message.get("body", b""))
            if self.left < 0:
                raise _TooLongError
        return message


def _too_long() -> JSONResponse:
    return refusal(413, f"a request must be at most {REQUEST_BYTES // 2**20} MB long", "too-long")
