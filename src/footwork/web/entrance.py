"""The door for others than this machine: a passphrase before every page and twin, and a line in a log a visit."""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import os
import secrets
import time
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

from footwork.web.guard import Receive, Scope, Send

PLACE, COOKIE = "/enter", "footwork"
STAYS_S = 12 * 3600.0  # after which one is asked again
TRIES, WITHIN_S = 5, 60.0  # wrong passphrases of all visitors, after which nobody is let in for so long
MOST_BYTES = 4096
_SCRYPT = {"n": 2**14, "r": 8, "p": 1}


@dataclass(frozen=True)
class OpenToOthers:
    """What serving to more than this machine takes: where it listens, by which names others reach it, TLS files, the
    passphrase, and where visits are logged."""

    address: str
    names: tuple[str, ...]
    certificate: Path
    key: Path
    passphrase: str
    log: Path


class Entrance:
    """ASGI middleware: whoever has not said the passphrase gets the page that asks for it, a twin or a socket
    nothing."""

    def __init__(self, app: Any, passphrase: str, log: Path) -> None:
        self._app = app
        self._salt = os.urandom(16)
        self._hash = self._hashed(passphrase)
        self._until: dict[str, float] = {}  # hashes of tokens that were let in
        self._wrong: list[float] = []  # when a wrong one was said
        self._log = log

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        written = False

        async def seen(message: Any) -> None:
            """The line stands before the answer leaves: nobody holds a page of which the log doesn't tell."""
            nonlocal written
            if not written:
                written = True
                self._write(scope, int(message.get("status", 0)))
            await send(message)

        try:
            await self._let_in(scope, receive, seen)
        finally:
            if not written:
                self._write(scope, 0)

    async def _let_in(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = str(scope.get("path", ""))
        if path == PLACE and scope["type"] == "http":
            await self._asked(scope, receive, send)
        elif self._knows(scope):
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
        elif path.endswith(".json") or scope.get("method") != "GET":
            await _answer(send, 401, b'{"error": "say the passphrase first"}', "application/json")
        else:
            await _answer(send, 303, b"", "text/plain", [(b"location", PLACE.encode())])

    async def _asked(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope.get("method") != "POST":
            await _page(send, 200, "")
            return
        body = b""
        while True:
            message = await receive()
            body += message.get("body", b"")
            if len(body) > MOST_BYTES:
                await _page(send, 413, "That is too long.")
                return
            if not message.get("more_body"):
                break
        now = time.monotonic()
        self._wrong = [t for t in self._wrong if now - t < WITHIN_S]
        if len(self._wrong) >= TRIES:
            await _page(send, 429, "Too many wrong ones: wait a minute.")
            return
        said = parse_qs(body.decode("utf-8", "replace")).get("passphrase", [""])[0]
        if not hmac.compare_digest(self._hashed(said), self._hash):
            self._wrong.append(now)
            await _page(send, 401, "That is not it.")
            return
        token = secrets.token_urlsafe(32)
        self._until = {t: u for t, u in self._until.items() if u > now}
        self._until[_digest(token)] = now + STAYS_S
        cookie = f"{COOKIE}={token}; Path=/; Max-Age={STAYS_S:.0f}; Secure; HttpOnly; SameSite=Strict"
        await _answer(send, 303, b"", "text/plain", [(b"location", b"/"), (b"set-cookie", cookie.encode())])

    def _knows(self, scope: Scope) -> bool:
        for name, value in scope.get("headers", []):
            if name.lower() == b"cookie":
                try:
                    found = SimpleCookie(value.decode("latin-1")).get(COOKIE)
                except CookieError:
                    continue
                if found is not None and self._until.get(_digest(found.value), 0.0) > time.monotonic():
                    return True
        return False

    def _hashed(self, passphrase: str) -> bytes:
        return hashlib.scrypt(passphrase.encode(), salt=self._salt, **_SCRYPT)

    def _write(self, scope: Scope, status: int) -> None:
        """A line a visit: when, from where, what; never what stands after a question mark."""
        client = (scope.get("client") or ("?", 0))[0]
        at = dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
        method = str(scope.get("method", "socket"))
        path = "".join(c if c.isprintable() else "?" for c in str(scope.get("path", "")))[:300]
        with open(os.open(self._log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "a", encoding="utf-8") as out:
            out.write(f"{at} {client} {method} {path} {status or '-'}\n")


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


async def _page(send: Send, status: int, said: str) -> None:
    from footwork.web import layout

    await _answer(send, status, layout.entrance(PLACE, said).encode(), "text/html; charset=utf-8")


async def _answer(
    send: Send, status: int, body: bytes, kind: str, more: list[tuple[bytes, bytes]] | None = None
) -> None:
    head = [(b"content-type", kind.encode()), (b"content-length", str(len(body)).encode()), *(more or [])]
    await send({"type": "http.response.start", "status": status, "headers": [*head, (b"cache-control", b"no-store")]})
    await send({"type": "http.response.body", "body": body})
