"""A served library and a real browser."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys

import pytest


@pytest.fixture(scope="session")
def served(season_library, tmp_path_factory):
    """Address of a served copy of the season's library, and its folder."""
    season_library.close()
    folder = tmp_path_factory.mktemp("served") / "season"
    shutil.copytree(season_library.folder, folder)
    child = subprocess.Popen(
        [sys.executable, "-m", "footwork", "--library", str(folder), "serve", "--port", "0"],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "CI": "true"},
    )
    assert child.stdout is not None
    line = child.stdout.readline()
    address = re.search(r"http://127\.0\.0\.1:\d+", line)
    assert address, line
    yield address.group(), folder
    child.terminate()
    child.wait(10)


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
