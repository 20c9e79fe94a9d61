"""The outermost layer of the web app: who may talk to it, from which page, with how many bytes."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, MutableMapping, Sequence
from typing import Any

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
MOST_BYTES = 512 * 2**20
_HOSTS = ("127.0.0.1", "localhost", "[::1]")
PATIENCE_S = 30.0  # for the head of a request, and for the next piece of its body
_HEADERS = [
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
]


class Guard:
    """ASGI middleware: Host allow-list for HTTP and WebSocket, Origin equal to Host for WebSocket and all but reads
    (a foreign one is refused for these too), a cap on bodies by Content-Length and while they stream (answer 413), and
    an end to waiting for a body (408)."""

    def __init__(
        self,
        app: Any,
        port: int,
        most_bytes: int = MOST_BYTES,
        names: Sequence[str] = _HOSTS,
        patience: float = PATIENCE_S,
    ) -> None:
        self._app = app
        self._patience = patience
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
        if (writes or origin is not None) and origin not in (f"http://{host}", f"https://{host}"):
            return await _refuse(scope, receive, send, 403, "This page may not write here.")
        length = headers.get("content-length") or "0"
        if not (length.isascii() and length.isdigit()):
            return await _refuse(scope, receive, send, 400, "That is no length.")
        if int(length) > self._most:
            return await _refuse(scope, receive, send, 413, f"At most {self._most // 2**20} MiB at once.")
        await self._counted(scope, receive, send)

    async def _counted(self, scope: Scope, receive: Receive, send: Send) -> None:
        taken, started, refused, whole = 0, False, False, scope["type"] != "http"

        async def refuse(status: int, text: str) -> MutableMapping[str, Any]:
            """Answer in the application's place, which then hears that its visitor has gone."""
            nonlocal refused
            refused = True
            if not started:
                await _refuse(scope, receive, send, status, text)
            return {"type": "http.disconnect"}

        async def counting() -> MutableMapping[str, Any]:
            nonlocal taken, whole
            if refused:
                return {"type": "http.disconnect"}
            try:  # once the body is here, waiting means to listen for the visitor's leaving
                message = await (receive() if whole else asyncio.wait_for(receive(), self._patience))
            except TimeoutError:
                return await refuse(408, "The rest did not come in time.")
            if message["type"] == "http.request":
                taken += len(message.get("body", b""))
                whole = whole or not message.get("more_body")
                if taken > self._most:
                    return await refuse(413, f"At most {self._most // 2**20} MiB at once.")
            return message

        async def adding(message: MutableMapping[str, Any]) -> None:
            nonlocal started
            if refused:
                return
            if message["type"] == "http.response.start":
                started = True
                kept = [h for h in message.get("headers", []) if not h[0].lower().startswith(b"access-control-")]
                message["headers"] = [*kept, *_HEADERS]
            await send(message)

        try:
            await self._app(scope, counting, adding)
        except Exception:
            if not refused:  # else it is the application's way to end without a visitor
                raise


def patient(protocol: Any, patience: float = PATIENCE_S) -> Any:
    """A server's protocol that ends a connection whose request does not come whole: the guard sees none before."""

    class Patient(protocol):  # type: ignore[misc]
        _waits: asyncio.TimerHandle | None = None

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            self._watch()

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            self._watch()

        def connection_lost(self, exc: Exception | None) -> None:
            if self._waits is not None:
                self._waits.cancel()
            super().connection_lost(exc)

        def _asked(self) -> bool:
            return self.cycle is not None and not self.cycle.response_complete

        def _watch(self) -> None:
            if self._asked() and self._waits is not None:
                self._waits.cancel()
                self._waits = None
            elif not self._asked() and self._waits is None:
                self._waits = self.loop.call_later(patience, self._give_up)

        def _give_up(self) -> None:
            self._waits = None
            if not self._asked() and self.transport.get_protocol() is self:
                self.transport.close()

    return Patient


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
        *_HEADERS,
    ]
    await send({"type": "http.response.start", "status": status, "headers": head})
    await send({"type": "http.response.body", "body": body})
