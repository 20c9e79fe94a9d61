"""The whole way of a new user from an empty folder to a pace card, and of a weekly user from a run to the next session,
by as few clicks as promised."""

import datetime as dt
import shutil

import pytest

from footwork.api import Library
from tests.conftest import fit_of, simulate
from tests.web.conftest import serving


@pytest.fixture
def own(season_library, tmp_path):
    """Address of a server of a copy of the season with a session kept for the day after tomorrow, and its folder."""
    season_library.close()
    folder = shutil.copytree(season_library.folder, tmp_path / "season")
    with Library.open(folder) as library:
        library.plan_session("50 min easy", dt.date.today() + dt.timedelta(2), "Hills")
    for address in serving("-m", "footwork", "--library", folder, "serve", "--port", "0"):
        yield address, folder


def screen(browser, address, width, scheme):
    page = browser.new_context(
        base_url=address, viewport={"width": width, "height": 900}, color_scheme=scheme, accept_downloads=True
    ).new_page()
    page.set_default_timeout(60_000)
    return page


def test_a_new_user_goes_from_an_empty_folder_to_a_card_in_the_pocket(browser, empty_server, season_files):
    page = screen(browser, empty_server[0], 400, "dark")
    page.goto("/")
    page.wait_for_selector("text=Three ways to begin")
    files = sorted(season_files.glob("*.fit"))
    page.locator("input[type=file]").set_input_files(files)
    page.wait_for_selector("text=Added just now")
    assert (
        page.locator(".note:has-text('Added just now') a[href*='/runs/']").count() == 12
    )  # the newest that came in, by what they were
    page.locator("nav >> text=Race").click()
    page.wait_for_selector("input[name=distance]")
    page.wait_for_selector(".num[data-key=power]")
    half = page.locator(".num[data-key=power]").get_attribute("data-value")
    page.locator("input[name=distance]").fill("10km")
    page.wait_for_function("v => document.querySelector('.num[data-key=power]')?.dataset.value !== v", arg=half)
    with page.expect_download() as given:
        page.get_by_role("button", name="Print a pace card").click()
    with open(given.value.path(), "rb") as card:
        assert card.read(5) == b"%PDF-"


def test_a_weekly_user_sees_the_new_run_its_verdict_and_the_next_session(browser, own, tmp_path):
    address, _ = own
    (tmp_path / "new.fit").write_bytes(
        fit_of(simulate(dt.date(2026, 4, 21), [(600, 0.7), *[(180.0, 1.05), (120.0, 0.6)] * 4, (300, 0.65)], seed=5))
    )
    page = screen(browser, address, 1280, "light")
    page.goto("/")
    page.locator("input[type=file]").set_input_files(tmp_path / "new.fit")
    page.wait_for_selector("text=Added just now: Four times three minutes on Tuesday 21 April")
    page.locator(".note:has-text('Added just now') a").first.click()  # the newest run: one click
    page.wait_for_selector("h1:has-text('Four times three minutes')")
    assert page.locator(".note:has-text('at this pace')").count() == 1
    assert page.locator("tr[data-span]").count() >= 9
    row = page.locator("tr[data-span]:has-text('Work')").first
    row.hover()
    left = page.locator(".pointed").bounding_box()
    chart = page.locator(".chart[data-plot]").bounding_box()
    assert 0.2 < (left["x"] - chart["x"]) / chart["width"] < 0.5 and left["width"] > 20
    page.get_by_role("button", name="a race").click()  # marked by two
    page.wait_for_selector("button[aria-pressed=true]:has-text('a race')")
    page.locator("nav >> text=This week").click()
    page.wait_for_selector("text=answers are of Tuesday 21 April 2026, the day of the newest")
    with page.expect_download() as given:
        page.get_by_role("button", name="To the watch").click()  # the next session: one click
    with open(given.value.path(), "rb") as made:
        assert made.read(12)[8:12] == b".FIT"
    page.get_by_role("link", name="I am ill or injured").click()  # one, to the word itself
    page.wait_for_function("document.activeElement?.name === 'illness'")
    page.locator("input[name=illness]").fill("a cold")
    page.get_by_role("button", name="Write").click()
    page.wait_for_selector("text=The diary tells of illness")
    page.locator("nav >> text=This week").click()
    page.wait_for_selector("h1:has-text('Rest until you are well')")
    assert page.get_by_role("button", name="To the watch").count() == 0


def test_a_session_is_kept_moved_and_undone_by_keyboard_and_mouse(browser, own):
    address, folder = own
    monday = dt.date.today() - dt.timedelta(days=dt.date.today().weekday()) + dt.timedelta(weeks=1)
    page = screen(browser, address, 1280, "light")
    page.goto(f"/sessions?week={monday}")
    page.wait_for_selector("h2.lead")
    page.locator("input[name=session]").fill("40 min easy")
    page.wait_for_selector("p:has-text('40 min easy')")
    put = page.locator(".day .put").nth(1)
    put.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".day:nth-child(2) .kept:has-text('40 min easy')")
    page.locator(".day:nth-child(2) .kept").drag_to(page.locator(".day").nth(4))
    page.wait_for_selector(".day:nth-child(5) .kept:has-text('40 min easy')")
    assert page.locator(".day:nth-child(2) .kept").count() == 0
    page.get_by_role("button", name="Undo the last change").click()
    page.wait_for_selector(".day:nth-child(2) .kept:has-text('40 min easy')")
    page.locator(".chip").drag_to(page.locator(".day").nth(6))
    page.wait_for_selector(".day:nth-child(7) .kept:has-text('40 min easy')")
    with Library.open(folder) as library:
        days = [str(r["date"]) for r in library.sessions() if r["text"] == "40 min easy"]
    assert sorted(days) == [str(monday + dt.timedelta(days=k)) for k in (1, 6)]
