"""The outermost layer of the web app: who may talk to it, from which page, with how many bytes."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping, Sequence
from typing import Any

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
MOST_BYTES = 512 * 2**20
_HOSTS = ("127.0.0.1", "localhost", "[::1]")
_HEADERS = [
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
]


class TooLarge(Exception):
    """The body grew past the cap while it streamed."""


class Guard:
    """ASGI middleware: Host allow-list for HTTP and WebSocket, Origin equal to Host for WebSocket and all but reads,
    and a cap on bodies by Content-Length and while they stream (answer 413)."""

    def __init__(self, app: Any, port: int, most_bytes: int = MOST_BYTES, names: Sequence[str] = _HOSTS) -> None:
        self._app = app
        self._hosts = {host for name in names for host in (name, f"{name}:{port}")}
        self._most = most_bytes

    @property
    def app(self) -> Any:
        """The guarded application."""
        return self._app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = {key.decode("latin-1").lower(): value.decode("latin-1") for key, value in scope.get("headers", [])}
        host, origin = headers.get("host", ""), headers.get("origin")
        writes = scope["type"] == "websocket" or scope.get("method") not in ("GET", "HEAD", "OPTIONS")
        if host not in self._hosts:
            return await _refuse(scope, receive, send, 403, "This is not served under that name.")
        if writes and origin not in (f"http://{host}", f"https://{host}"):
            return await _refuse(scope, receive, send, 403, "This page may not write here.")
        if (
            int(headers.get("content-length") or 0) > self._most
            if (headers.get("content-length") or "0").isdigit()
            else True
        ):
            return await _refuse(scope, receive, send, 413, f"At most {self._most // 2**20} MiB at once.")
        await self._counted(scope, receive, send)

    async def _counted(self, scope: Scope, receive: Receive, send: Send) -> None:
        taken, started = 0, False

        async def counting() -> MutableMapping[str, Any]:
            nonlocal taken
            message = await receive()
            if message["type"] == "http.request":
                taken += len(message.get("body", b""))
                if taken > self._most:
                    raise TooLarge
            return message

        async def adding(message: MutableMapping[str, Any]) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                message["headers"] = [*message.get("headers", []), *_HEADERS]
            await send(message)

        try:
            await self._app(scope, counting, adding)
        except TooLarge:
            if not started:
                await _refuse(scope, receive, send, 413, f"At most {self._most // 2**20} MiB at once.")


async def _refuse(scope: Scope, receive: Receive, send: Send, status: int, text: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})
        return
    body = text.encode()
    head = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": head})
    await send({"type": "http.response.body", "body": body})
