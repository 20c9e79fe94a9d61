"""The season's page by hand: laid out, accepted, changed."""

import datetime as dt
import re

import numpy as np
import pytest

from footwork import Library
from footwork.demo.write import course_text
from tests.conftest import fit_of, library_of, simulate, write_weeks
from tests.program import ok
from tests.web.conftest import serving


def course():
    """Twelve kilometres straight north at one height."""
    latitude = 46.0 + np.linspace(0.0, 12_000.0 / 111_195.0, 600)
    return course_text("Loop", latitude, np.full(600, -21.0), np.full(600, 10.0)).encode()


@pytest.fixture(scope="module")
def season_served(tmp_path_factory):
    """A library of its own whose last week is the one before today: a season is planned from now on."""
    today = dt.date.today()
    files = write_weeks(tmp_path_factory.mktemp("weeks"), today - dt.timedelta(days=today.weekday() + 49))
    folder = tmp_path_factory.mktemp("season-page") / "library"
    library_of(files, folder).close()
    for address in serving("-m", "footwork", "--library", folder, "serve", "--port", "0"):
        yield address, folder


def test_a_season_is_laid_out_accepted_its_change_taken_and_an_import_says_what_waits(browser, season_served, tmp_path):
    address, folder = season_served
    context = browser.new_context(base_url=address, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto("/season")
    page.wait_for_selector("text=There is no season yet")
    day = dt.date.today() + dt.timedelta(days=120)
    page.locator("input[name=season-race]").fill(day.isoformat())
    page.locator('summary:has-text("The race\'s course")').click()
    page.locator("input[type=file]").set_input_files(
        files=[{"name": "loop.gpx", "mimeType": "application/gpx+xml", "buffer": course()}]
    )
    page.wait_for_selector("text=loop.gpx is taken as the course")
    page.locator("input[name=season-days]").fill("someday")
    page.locator("button:has-text('Lay out the season')").click()
    page.wait_for_selector("text=is no day of the week")
    page.locator("input[name=season-days]").fill("tue,thu,sat,sun")
    page.locator("button:has-text('Lay out the season')").click()
    page.wait_for_selector("text=It waits to be accepted")
    page.wait_for_selector("text=/12.0. km/")  # as long as the course
    page.wait_for_selector("text=The course has no heights")
    assert page.locator("svg.season .asked").count() > 15
    page.locator("button:has-text('Accept this season')").click()
    page.wait_for_selector("text=/taper. Accepted/")
    with Library.open(folder) as library:
        kept = library.sessions()
    assert len(kept) > 30 and all(s["of_plan"]["purpose"] for s in kept)
    with Library.open(folder) as library:
        library.tell(illness="a cold")
    page.goto("/season")
    page.wait_for_selector("text=the diary tells of illness")
    with page.expect_download() as got:
        page.locator("button:has-text('Season as PDF')").click()
    assert got.value.suggested_filename == "season.pdf"
    page.goto("/")
    page.wait_for_selector("text=/session|Nothing was asked/")
    assert re.search(r"\d+ of \d+ sessions run", page.locator(".fw-main").inner_text())
    context.close()
    with Library.open(folder) as library:
        assert library.season_changes().changes
    path = tmp_path / "run.fit"
    path.write_bytes(fit_of(simulate(dt.date.today() - dt.timedelta(days=1), [(600, 0.7), (900, 0.72)], hour=17)))
    assert re.search(r"Season: \d+ changes? waits? to be accepted\.", ok("add", path, library=folder).stdout)
    assert "Season" not in ok("add", path, library=folder).stdout  # nothing new
