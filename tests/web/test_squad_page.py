"""A coach's morning in the browser: the squad, runners side by side, a session for several, and what is withheld."""

import datetime as dt
import json
import shutil
import urllib.request
import zipfile

import pytest

from footwork import Library
from tests.conftest import library_of, write_weeks
from tests.web.conftest import serving

SECRET = "sciatica-word"


@pytest.fixture(scope="module")
def of_these_weeks(tmp_path_factory):
    """A library of seven weeks up to this one, so that today's questions have answers."""
    today = dt.date.today()
    files = write_weeks(tmp_path_factory.mktemp("weeks"), today - dt.timedelta(weeks=7, days=today.weekday()))
    made = library_of(files, tmp_path_factory.mktemp("now") / "library")
    made.close()
    return made.folder


@pytest.fixture
def club_server(of_these_weeks, tmp_path):
    """Address of a served folder of three runners, one of whom is ill and does not share it; and the folder."""
    folder = tmp_path / "club"
    for name in ("anna", "Ben Bo", "cleo"):
        shutil.copytree(of_these_weeks, folder / name)
    with Library.open(folder / "cleo") as cleo:
        cleo.tell(illness=SECRET)
        cleo.tell(run=cleo.runs()[0].id, note=SECRET)
    for address in serving("-m", "footwork", "serve", folder, "--port", "0"):
        yield address, folder


def read(address):
    with urllib.request.urlopen(address) as answer:
        return answer.read().decode()


COUNT = """addEventListener("click", (e) => {
    if (e.isTrusted) sessionStorage.setItem("clicks", 1 + Number(sessionStorage.getItem("clicks") || 0));
}, true)"""


def test_a_coachs_morning(club_server, browser):
    """The squad, two runners opened, a session for a group, a comment and three reports, in under forty clicks."""
    address, folder = club_server
    context = browser.new_context(base_url=address, viewport={"width": 1280, "height": 900}, accept_downloads=True)
    context.add_init_script(COUNT)
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.goto("/")
    page.wait_for_selector(".athlete")
    assert page.url.endswith("/squad")
    names = page.locator(".athlete .who a:not(.small)").all_inner_texts()
    assert names[0] == "cleo" and set(names) == {"anna", "Ben Bo", "cleo"}
    assert "not now" in page.locator(".athlete").first.inner_text()
    for name in ("anna", "Ben Bo"):
        page.get_by_label(f"Choose {name}").check()
    page.get_by_text("Put those chosen into a group").click()
    page.locator("[name=group]").fill("climbers")
    page.get_by_role("button", name="Put them in").click()
    page.wait_for_selector("a:has-text('climbers')")
    page.click("a:has-text('climbers')")
    page.wait_for_selector(".athlete")
    page.wait_for_function("document.querySelectorAll('.athlete').length === 2")
    for name in ("anna", "Ben Bo"):
        page.get_by_label(f"Choose {name}").check()
    page.get_by_role("button", name="Put side by side").click()
    page.wait_for_selector("td:has-text('critical power by mass')")
    page.click("a:has-text('Squad')")
    page.wait_for_selector(".athlete")
    for name in ("anna", "Ben Bo", "cleo"):
        page.get_by_label(f"Choose {name}").check()
    page.get_by_role("button", name="A session for those chosen").click()
    page.wait_for_selector("[name=words]")
    on = dt.date.today() + dt.timedelta(days=2)
    page.fill("[name=words]", "30 min easy")
    page.fill("[name=date]", on.isoformat())
    page.get_by_role("button", name="Keep it for each").click()
    page.wait_for_selector("text=Kept for 2 of 3")
    for name in ("anna", "Ben Bo", "cleo"):
        page.click("a:has-text('Squad')")
        page.wait_for_selector(".athlete")
        page.locator(".athlete", has=page.get_by_text(name, exact=True)).get_by_text("Report").click()
        page.wait_for_selector("textarea[name=report]")
        with page.expect_download() as taken:
            page.get_by_role("button", name="On paper").click()
        assert taken.value.suggested_filename.endswith(".pdf")
    page.click("a:has-text('Squad')")
    page.wait_for_selector(".athlete")
    page.locator(".athlete .who").get_by_text("anna", exact=True).click()
    page.wait_for_selector("text=Comments on this week")
    page.click("summary:has-text('Comments on this week')")
    week = page.locator("details", has_text="Comments on this week")
    week.locator("input").fill("A calm week, well run.")
    week.get_by_role("button", name="Write").click()
    page.wait_for_selector("text=A calm week, well run.")
    clicks = int(page.evaluate("sessionStorage.getItem('clicks')"))
    assert 15 < clicks < 40, clicks
    context.close()
    with Library.open(folder / "anna") as anna:
        assert [(c["about"], c["by"]) for c in anna.comments()] == [("week", "coach")]
    with Library.open(folder / "anna") as anna, Library.open(folder / "cleo") as cleo:
        assert [(s["date"], s["text"]) for s in anna.sessions()] == [(on.isoformat(), "30 min easy")]
        assert cleo.sessions() == []


def test_a_line_each_the_week_of_all_and_reports_to_those_chosen(club_server, browser):
    address, folder = club_server
    with Library.open(folder / "anna") as anna:
        anna.plan_session("40 min easy", dt.date.today())
    context = browser.new_context(base_url=address, viewport={"width": 1280, "height": 900}, accept_downloads=True)
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.goto("/squad")
    page.wait_for_selector(".athlete")
    page.get_by_text("a line each").click()
    page.wait_for_selector("th:has-text('last run')")
    assert page.locator("table.words tbody tr").count() == 3
    for name in ("anna", "Ben Bo"):
        page.get_by_label(f"Choose {name}").check()
    page.click("summary:has-text('Reports to those chosen')")
    with page.expect_download() as taken:
        page.get_by_role("button", name="On the week").click()
    with zipfile.ZipFile(taken.value.path()) as archive:
        assert sorted(archive.namelist()) == ["anna-week.pdf", "ben-bo-week.pdf"]
    page.click("a:has-text('The week of all')")
    page.wait_for_selector("text=40 min easy")
    row = page.locator("tr", has_text="40 min easy")
    assert row.count() == 1 and row.locator("td").first.inner_text() == "anna"
    page.goto("/squad/session?group=nobody")
    page.wait_for_selector("text=there is no group 'nobody'")
    context.close()


def test_no_page_of_the_squad_tells_what_is_not_shared(club_server, browser):
    address, _ = club_server
    base = address.rstrip("/")
    found = json.loads(read(f"{base}/squad.json"))
    assert [a["health"] for a in found["athletes"] if a["athlete"] == "cleo"] == ["Not now."]
    twins = [
        "/squad.json",
        "/squad/week.json",
        "/cleo/index.json",
        "/cleo/diary.json",
        "/cleo/runs.json",
        "/cleo/library.json",
    ]
    for twin in twins:
        try:
            said = read(base + twin)
        except urllib.error.HTTPError as error:
            assert error.code == 404, twin
            continue
        assert SECRET not in said and "illness since" not in said, twin
    context = browser.new_context(base_url=address)
    page = context.new_page()
    for place in ("/squad", "/squad?short=1", "/squad/week", "/cleo/", "/cleo/diary", "/cleo/library", "/cleo/runs"):
        page.goto(place)
        page.wait_for_function("!document.querySelector('.fw-working')", timeout=60_000)
        assert SECRET not in page.content() and "illness since" not in page.content(), place
    assert "does not share" in (page.goto("/cleo/diary") and page.inner_text("body"))
    context.close()
