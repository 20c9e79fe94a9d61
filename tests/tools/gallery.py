"""Pictures of every page of the demo, wide and narrow, light and dark, to leaf through: `make gallery`."""

from __future__ import annotations

import html
import sys
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tests.web.conftest import chromium_path, serving

DAY = "2026-08-17"  # of the demo's season, on the eve of a session
PAGES = {
    "this-week": f"/?date={DAY}",
    "runs": "/runs",
    "weeks": "/runs?by=week",
    "run": "/runs/128",
    "numbers": "/numbers",
    "capacity": "/capacity",
    "sessions": f"/sessions?week={DAY}",
    "progress": "/progress",
    "race": "/race?distance=half",
    "devices": "/devices",
    "power-at-speed": "/power-at-speed",
    "trials": "/trials",
    "how-it-felt": "/diary",
    "library": "/library",
    "settings": "/settings",
    "methods": "/methods",
}
LOOKS = ((1280, "light"), (1280, "dark"), (400, "light"), (400, "dark"))


def settled(page: Page) -> None:
    """Wait until a page stands with all that it works out."""
    page.wait_for_selector(".fw-main h1")
    page.wait_for_function("!document.querySelector('.fw-working')", timeout=60_000)
    page.wait_for_timeout(1200)


def take(library: Path, out: Path) -> list[str]:
    """Write the pictures of a library's pages into a folder; returns their names."""
    out.mkdir(parents=True, exist_ok=True)
    made = []
    for address in serving("-m", "footwork", "--library", library, "serve", "--port", "0"):
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=chromium_path(), args=["--no-sandbox"])
            for width, scheme in LOOKS:
                context = browser.new_context(
                    base_url=address,
                    viewport={"width": width, "height": 900},
                    color_scheme=scheme,  # type: ignore[arg-type]
                )
                page = context.new_page()
                for name, path in PAGES.items():
                    page.goto(path)
                    settled(page)
                    made.append(f"{name}-{width}-{scheme}.jpg")
                    page.screenshot(path=out / made[-1], full_page=True, type="jpeg", quality=72)
                context.close()
            browser.close()
    return made


def main() -> None:
    """Take the pictures of a library into a folder, with a page that shows them all."""
    library, out = (Path(word) for word in sys.argv[1:3])
    names = take(library, out)
    figures = "".join(
        f'<figure><figcaption>{html.escape(n)}</figcaption><img loading="lazy" src="{html.escape(n)}"></figure>'
        for n in names
    )
    style = "body{font:16px Georgia,serif;margin:24px}figure{display:inline-block;margin:8px}img{width:420px}"
    head = f'<!doctype html><html lang="en"><meta charset="utf-8"><title>Every page</title><style>{style}</style>'
    (out / "index.html").write_text(head + figures, "utf-8")
    print(f"{len(names)} pictures in {out}: open {out / 'index.html'}")


if __name__ == "__main__":
    main()
