"""The guard: foreign hosts, foreign origins, oversized bodies."""

import asyncio
import contextlib
import socket
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.middleware.base import BaseHTTPMiddleware
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from uvicorn.protocols.http.auto import AutoHTTPProtocol

from footwork.web.guard import Guard, patient


def apart(work):
    """The result of a coroutine, in a thread of its own: the browser tests leave a loop running in this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, work).result()


async def echo(scope, receive, send):
    body = b""
    while True:
        message = await receive()
        body += message.get("body", b"")
        if not message.get("more_body"):
            break
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": str(len(body)).encode()})


def ask(method="GET", host="127.0.0.1:8383", origin=None, body=b"", chunked=False, most=1000):
    headers = {"host": host, **({"origin": origin} if origin else {})}

    async def run():
        transport = httpx.ASGITransport(Guard(echo, 8383, most))
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8383") as client:

            async def parts():
                for i in range(0, len(body), 100):
                    yield body[i : i + 100]

            return await client.request(method, "/x", headers=headers, content=parts() if chunked else body)

    return apart(run())


@pytest.mark.parametrize("host", ["127.0.0.1:8383", "localhost:8383", "[::1]:8383", "localhost"])
def test_our_own_hosts_are_answered(host):
    found = ask(host=host)
    assert found.status_code == 200
    assert found.headers["x-frame-options"] == "DENY"


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example:8383", "127.0.0.1:9999", ""])
def test_foreign_hosts_are_refused(host):
    assert ask(host=host).status_code == 403


@pytest.mark.parametrize("origin", [None, "http://evil.example", "null", "http://127.0.0.1:9999"])
def test_writes_from_foreign_pages_are_refused(origin):
    assert ask("POST", origin=origin).status_code == 403


def test_writes_from_our_page_pass():
    assert ask("POST", origin="http://127.0.0.1:8383", body=b"a" * 900).text == "900"


@pytest.mark.parametrize("chunked", [False, True])
def test_oversized_bodies_are_cut_off(chunked):
    assert ask("POST", origin="http://127.0.0.1:8383", body=b"a" * 5000, chunked=chunked).status_code == 413


@pytest.mark.parametrize(
    ("host", "origin", "passes"),
    [
        ("127.0.0.1:8383", "http://127.0.0.1:8383", True),
        ("127.0.0.1:8383", "http://evil.example", False),
        ("127.0.0.1:8383", None, False),
        ("evil.example", "http://evil.example", False),
    ],
)
def test_sockets_need_our_host_and_origin(host, origin, passes):
    reached, sent = [], []

    async def app(scope, receive, send):
        reached.append(scope)

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    headers = [(b"host", host.encode()), *([(b"origin", origin.encode())] if origin else [])]
    apart(Guard(app, 8383)({"type": "websocket", "headers": headers}, receive, send))
    assert bool(reached) is passes
    assert passes or sent == [{"type": "websocket.close", "code": 1008}]


def test_the_served_app_is_guarded(served):
    address, _ = served
    assert httpx.get(address + "/", headers={"host": "evil.example"}).status_code == 403
    assert httpx.post(address + "/x", content=b"a").status_code == 403
    upgrade = {
        "connection": "upgrade",
        "upgrade": "websocket",
        "sec-websocket-version": "13",
        "sec-websocket-key": "dGhlIHNhbXBsZSBub25jZQ==",
        "origin": "http://evil.example",
    }
    found = httpx.get(address + "/_nicegui_ws/socket.io/?EIO=4&transport=websocket", headers=upgrade)
    assert found.status_code == 403


async def reading(request):
    return PlainTextResponse(str(len(await request.body())))


def framework(most=1000, patience=0.5):
    """A whole application with the middleware that turns what goes wrong into a 500."""
    inside = Starlette(routes=[Route("/x", reading, methods=["POST"])])
    inside.add_middleware(BaseHTTPMiddleware, dispatch=lambda request, call: call(request))
    return Guard(inside, 8383, most, patience=patience)


def raw(app, request, pieces=(), apart_s=0.0, patience=0.5):
    """What a real server answers to bytes that come in pieces, and how many seconds it took."""
    config = uvicorn.Config(app, http=patient(AutoHTTPProtocol, patience), log_level="critical", lifespan="off")
    server = uvicorn.Server(config)
    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    listener.listen()
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    try:
        begun = time.monotonic()
        with socket.create_connection(listener.getsockname()) as visitor:
            visitor.settimeout(20)
            visitor.sendall(request)
            out = b""
            with contextlib.suppress(OSError):
                for piece in pieces:
                    time.sleep(apart_s)
                    visitor.sendall(piece)
            with contextlib.suppress(ConnectionError):
                while piece := visitor.recv(65536):
                    out += piece
        return out, time.monotonic() - begun
    finally:
        server.should_exit = True
        thread.join(10)


HEAD = b"POST /x HTTP/1.1\r\nHost: 127.0.0.1:8383\r\nOrigin: http://127.0.0.1:8383\r\nConnection: close\r\n"


def test_a_body_over_the_cap_is_413_whatever_stands_between():
    pieces = [b"64\r\n" + b"a" * 100 + b"\r\n"] * 30 + [b"0\r\n\r\n"]
    out, _ = raw(framework(), HEAD + b"Transfer-Encoding: chunked\r\n\r\n", pieces)
    assert out.startswith(b"HTTP/1.1 413") and b"At most" in out and out.count(b"HTTP/1.1") == 1
    out, _ = raw(framework(), HEAD + b"Transfer-Encoding: chunked\r\n\r\n", [*pieces[:5], b"0\r\n\r\n"])
    assert out.startswith(b"HTTP/1.1 200") and out.endswith(b"500")


def test_who_never_ends_a_request_is_not_waited_for():
    out, took = raw(framework(), b"POST /x HTTP/1.1\r\nHost: 127.0.0.1:8383\r\nX-Slow: a")
    assert out == b"" and 0.4 < took < 10
    out, took = raw(framework(), b"", [b"GET /"] + [b"x"] * 8, apart_s=0.2)  # a byte now and then is no request either
    assert out == b"" and took < 10
    out, took = raw(framework(), HEAD + b"Content-Length: 500\r\n\r\nabc")
    assert out.startswith(b"HTTP/1.1 408") and took < 10
    slowly = [b"a" * 100] * 5
    out, _ = raw(framework(), HEAD + b"Content-Length: 500\r\n\r\n", slowly, apart_s=0.2)  # slow, but it goes on
    assert out.startswith(b"HTTP/1.1 200")


def test_a_length_that_is_no_number_is_refused():
    for length in (b"\xb2", b"-5", b"1e3"):
        sent = []

        async def send(message, sent=sent):
            sent.append(message)

        head = [(b"host", b"localhost"), (b"content-length", length)]
        apart(Guard(echo, 8383)({"type": "http", "headers": head, "method": "GET"}, None, send))
        assert sent[0]["status"] == 400 and (b"x-frame-options", b"DENY") in sent[0]["headers"]


def test_a_foreign_page_reads_nothing_either():
    assert ask("GET", origin="http://evil.example").status_code == 403
    assert ask("OPTIONS", origin="http://evil.example").status_code == 403
    assert ask("GET", origin="http://127.0.0.1:8383").status_code == 200

    async def open_handed(scope, receive, send):
        allowed = [(b"Access-Control-Allow-Origin", b"*"), (b"access-control-allow-credentials", b"true")]
        await send({"type": "http.response.start", "status": 200, "headers": [*allowed, (b"x-own", b"1")]})
        await send({"type": "http.response.body", "body": b""})

    async def run():
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(Guard(open_handed, 8383)), base_url="http://127.0.0.1:8383"
        ) as client:
            return await client.get("/socket")

    headers = apart(run()).headers
    assert headers["x-own"] == "1" and not [name for name in headers if name.startswith("access-control")]


def test_what_goes_wrong_in_the_application_still_does():
    async def broken(scope, receive, send):
        raise ZeroDivisionError

    async def run():
        with pytest.raises(ZeroDivisionError):
            await Guard(broken, 8383)(
                {"type": "http", "headers": [(b"host", b"localhost")], "method": "GET"}, None, None
            )

    apart(run())


def test_an_application_that_was_answered_for_says_nothing_more():
    sent, bodies = [], iter([b"a" * 600, b"a" * 600])

    async def app(scope, receive, send):
        while (await receive())["type"] != "http.disconnect":
            pass
        await send({"type": "http.response.start", "status": 500, "headers": []})
        raise ConnectionError("the visitor has gone")

    async def receive():
        return {"type": "http.request", "body": next(bodies), "more_body": True}

    async def send(message):
        sent.append(message)

    head = [(b"host", b"localhost"), (b"origin", b"http://localhost")]
    apart(Guard(app, 8383, 1000)({"type": "http", "headers": head, "method": "POST"}, receive, send))
    assert [m["status"] for m in sent if m["type"] == "http.response.start"] == [413]
