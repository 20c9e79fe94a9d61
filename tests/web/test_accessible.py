"""Pages against the published accessibility rules of an open checker: nothing critical, nothing serious."""

import pytest
from axe_playwright_python.sync_playwright import Axe

PATHS = (
    "/",
    "/runs",
    "/runs?by=week",
    "/runs/3",
    "/runs/3/edit",
    "/numbers",
    "/capacity",
    "/sessions",
    "/trials",
    "/progress",
    "/race?distance=10km",
    "/devices",
    "/power-at-speed",
    "/diary",
    "/library",
    "/settings",
    "/methods",
)
MOST_HIGH_PX = 2600  # of a page at 1280 px, lists and Methods apart


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (400, "dark")])
def test_the_checker_finds_nothing_serious_and_nothing_is_cut_off(browser, served, width, scheme):
    context = browser.new_context(
        base_url=served[0], viewport={"width": width, "height": 900}, color_scheme=scheme, reduced_motion="reduce"
    )
    page = context.new_page()
    errors: list[str] = []
    page.on("console", lambda m: errors.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: errors.append(str(e)))
    found, wide, high = [], [], []
    for path in PATHS:
        page.goto(path)
        page.wait_for_selector(".fw-main h1")
        page.wait_for_function("!document.querySelector('.fw-working')")
        page.wait_for_timeout(150)
        for rule in Axe().run(page).response["violations"]:
            if rule["impact"] in ("critical", "serious"):
                found.append((path, rule["id"], [n["html"][:120] for n in rule["nodes"]][:3]))
        page.wait_for_function("document.querySelectorAll('h1').length === 1")  # a busy page may still change its shell
        size = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.scrollHeight]")
        wide += [(path, size[0])] if size[0] > width else []
        high += [(path, size[1])] if width == 1280 and path != "/methods" and size[1] > MOST_HIGH_PX else []
    context.close()
    assert not found and not wide and not high and not errors
