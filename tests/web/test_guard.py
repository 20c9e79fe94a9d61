"""The guard: foreign hosts, foreign origins, oversized bodies."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest

from footwork.web.guard import Guard


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
