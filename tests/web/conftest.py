"""A served library and a real browser."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys

import pytest


def serving(*words):
    """Address of a server that python runs, until the test is done."""
    child = subprocess.Popen(
        [sys.executable, *map(str, words)], stdout=subprocess.PIPE, text=True, env={**os.environ, "CI": "true"}
    )
    assert child.stdout is not None
    line = child.stdout.readline()
    address = re.search(r"https?://(?:127\.0\.0\.1|localhost):\d+", line)
    assert address, line
    yield address.group()
    child.terminate()
    child.wait(10)


@pytest.fixture(scope="session")
def served(season_library, tmp_path_factory):
    """Address of a served copy of the season's library, and its folder."""
    season_library.close()
    folder = tmp_path_factory.mktemp("served") / "season"
    shutil.copytree(season_library.folder, folder)
    for address in serving("-m", "footwork", "--library", folder, "serve", "--port", "0"):
        yield address, folder


SLOW = """
import asyncio, pathlib, sys, time
real = asyncio.to_thread

async def slow(work, *given, **named):
    def late():
        time.sleep(1.5)
        return work(*given, **named)
    return await real(late)

asyncio.to_thread = slow
from footwork.web.server import serve
serve([pathlib.Path(sys.argv[1])], 0)
"""


BROKEN = """
import asyncio, pathlib, sys, time
from footwork.web.pages import today_page, numbers_page

def at_once(*_):
    raise RuntimeError("a fault of the program")

def later(*_, **__):
    time.sleep(1.0)
    raise RuntimeError("a fault of the program")

today_page.data = at_once
numbers_page.data = later
from footwork.web.server import serve
serve([pathlib.Path(sys.argv[1])], 0)
"""


@pytest.fixture(scope="session")
def slow_server(season_library, tmp_path_factory):
    """Address of a server every answer of which takes seconds."""
    folder = tmp_path_factory.mktemp("slow") / "season"
    shutil.copytree(season_library.folder, folder)
    yield from serving("-c", SLOW, folder)


@pytest.fixture(scope="session")
def broken_server(season_library, tmp_path_factory):
    """Address of a server whose first page and usual watts fail."""
    folder = tmp_path_factory.mktemp("broken") / "season"
    shutil.copytree(season_library.folder, folder)
    yield from serving("-c", BROKEN, folder)


@pytest.fixture
def empty_server(tmp_path):
    """Address of a server that was started where nothing is, and the folder."""
    folder = tmp_path / "mine"
    for address in serving("-m", "footwork", "--library", folder, "serve", "--port", "0"):
        yield address, folder


def chromium_path() -> str:
    found = os.environ.get("FOOTWORK_CHROMIUM") or next(
        (p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), ""
    )
    mac = "/Applications/Chromium.app/Contents/MacOS/Chromium"
    return found or (mac if os.path.exists(mac) else "")


@pytest.fixture(scope="session")
def browser():
    from playwright.sync_api import sync_playwright

    path = chromium_path()
    if not path:
        pytest.fail("no Chromium: install it or set FOOTWORK_CHROMIUM to its path")
    quiet = [
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
    ]
    with sync_playwright() as driver:
        made = driver.chromium.launch(executable_path=path, args=quiet)
        yield made
        made.close()


@pytest.fixture
def page(browser, served):
    address, _ = served
    context = browser.new_context(base_url=address, viewport={"width": 1280, "height": 900})
    made = context.new_page()
    made.problems = []
    made.on("console", lambda m: made.problems.append(m.text) if m.type == "error" else None)
    made.on("pageerror", lambda e: made.problems.append(str(e)))
    go = made.goto

    def there(address, **given):
        """A page that takes longer stands as a shell first; what is tested is the page."""
        answer = go(address, **given)
        made.wait_for_function("!document.querySelector('.fw-working')")
        return answer

    made.goto = there
    yield made
    context.close()
