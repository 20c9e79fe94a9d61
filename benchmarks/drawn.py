"""Pages as a reader meets them: until they are drawn whole in a browser, on a library of many runs."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from benchmarks.timing import command

PAGES = (
    "/",
    "/runs",
    "/numbers",
    "/capacity",
    "/sessions",
    "/progress",
    "/race?distance=half",
    "/devices",
    "/power-at-speed",
    "/diary",
    "/library",
    "/settings",
    "/methods",
)
# When the page last drew anything: it tells that itself, for what drives the browser adds tens of milliseconds to each
# question of its own.
DRAWN = """
new MutationObserver(() => {
  const now = performance.now();
  clearTimeout(window.still);
  window.drawn = undefined;
  if (document.querySelector(".fw-main h1") && !document.querySelector(".fw-working, .ag-overlay-loading-center"))
    window.still = setTimeout(() => { window.drawn = now; }, 300);
}).observe(document, { childList: true, subtree: true, characterData: true });
"""
SETTLED_S = 15.0  # after a new run, until what was opened has been worked out again


@contextmanager
def served(library: Path) -> Iterator[str]:
    """Address of the pages of a library, served by another process."""
    child = subprocess.Popen(
        command("--library", str(library), "serve", "--port", "0"),
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "CI": "1"},
    )
    try:
        assert child.stdout is not None
        found = re.search(r"http://[\d.:]+", child.stdout.readline())
        assert found
        yield found.group()
    finally:
        child.terminate()
        child.wait(10)


def bench_drawn(library: Path, new: Path, count: int) -> list[tuple[str, str, str]]:
    """Each page at first, again, right after one new run, and when that has settled."""
    from playwright.sync_api import sync_playwright

    browser = next(p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n)))
    with served(library) as address, sync_playwright() as driver:
        page = driver.chromium.launch(executable_path=browser, args=["--no-sandbox"]).new_page(base_url=address)
        page.add_init_script(DRAWN)

        def look() -> list[float]:
            taken = []
            for path in PAGES:
                page.goto(path)
                page.wait_for_function("typeof window.drawn === 'number'", timeout=120_000)
                taken.append(page.evaluate("window.drawn") / 1000)
            return taken

        first, again = look(), look()
        begin = time.perf_counter()
        subprocess.run(
            command("--library", str(library), "add", str(new), "--json"), stdout=subprocess.DEVNULL, check=True
        )
        added = time.perf_counter() - begin
        right_after = look()
        time.sleep(SETTLED_S)
        settled = look()
    rows = [
        (
            f"page {path}, {count} runs, drawn whole",
            f"{b:.2f} s",
            f"first {a:.2f} s; right after one new run {c:.2f} s, when that has settled {d:.2f} s; budget 0.5 s",
        )
        for path, a, b, c, d in zip(PAGES, first, again, right_after, settled, strict=True)
    ]
    return [
        *rows,
        (
            f"all {len(PAGES)} pages, one after the other",
            f"{sum(again):.1f} s",
            f"first {sum(first):.1f} s; right after one new run {sum(right_after):.1f} s, "
            f"settled {sum(settled):.1f} s; budget 2 s",
        ),
        (f"footwork add, one new run on {count}", f"{added:.2f} s", "a process of its own"),
    ]
