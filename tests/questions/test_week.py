"""What to do next, six weeks as they were run and asked, and what the newest run was."""

import datetime as dt
import json
import re
import shutil

import numpy as np
import pytest

from footwork.api import Library
from footwork.charts.weeks_picture import six_weeks
from footwork.physiology.lay_off import SHARE_ENDS, whole_loss
from footwork.questions.runs import run_titles
from footwork.questions.runs import titles as kept_titles
from footwork.results.health import Health
from footwork.store import stamps
from footwork.wording.due_words import after_pause, ago, what_next
from footwork.wording.run_titles import short_title
from tests.conftest import kept_along
from tests.program import footwork, of_json, ok

TODAY = dt.date(2026, 4, 22)  # a Wednesday


@pytest.fixture
def library(season_library, tmp_path):
    season_library.close()
    with Library.open(shutil.copytree(season_library.folder, tmp_path / "library")) as copy:
        yield copy


def kept(days, name="Hill reps", text="6 x 2 min hard", hard=True):
    return [{"date": (TODAY + dt.timedelta(days=days)).isoformat(), "name": name, "text": text, "hard": hard}]


@pytest.mark.parametrize(
    ("newest", "state", "ahead", "hard", "said"),
    [
        (1, "ill", kept(1), None, "Rest until you are well"),
        (1, "injured", kept(0), None, "No running until you are well again"),
        (1, "returning", kept(2), None, "Easy running only"),
        (15, None, kept(0), None, "Begin again with easy runs"),
        (14, None, kept(0), None, "Today: Hill reps"),
        (1, None, kept(0, name=""), None, "Today: 6 x 2 min hard"),
        (1, None, kept(1), 1, "Tomorrow: Hill reps"),
        (1, None, kept(3), 1, "Saturday: Hill reps; until then easy or rest"),
        (1, None, kept(7), None, "Nothing is kept before Wednesday 29 April: Hill reps"),
        (0, None, [], 0, "Easy tomorrow"),
        (1, None, [], 1, "Easy today"),
        (1, None, [], None, "No session is kept for the days ahead"),
        (None, None, kept(0), None, "Today: Hill reps"),
    ],
)
def test_what_to_do_next(newest, state, ahead, hard, said):
    health = state and Health(state, TODAY, TODAY if state == "returning" else None, False)
    on = None if newest is None else TODAY - dt.timedelta(days=newest)
    head, why = what_next(
        TODAY, on, health, ahead, None if hard is None else (TODAY - dt.timedelta(days=hard)).isoformat()
    )
    assert head == said
    assert ("two days apart" in why) == (hard is not None)


def test_after_a_pause_the_kept_session_is_named_with_its_day():
    _, why = what_next(TODAY, TODAY - dt.timedelta(days=30), None, kept(3), None)
    assert "4 weeks ago, on Monday 23 March" in why and "Saturday 25 April is kept: Hill reps. Move it" in why
    easy = what_next(TODAY, TODAY - dt.timedelta(days=30), None, [*kept(2, "Easy", hard=False), *kept(3)], None)
    assert (
        easy[1] == why
        and "kept" not in what_next(TODAY, TODAY - dt.timedelta(days=30), None, kept(2, hard=False), None)[1]
    )
    assert [ago(d) for d in (0, 1, 13, 20, 119, 130)] == [
        "today",
        "yesterday",
        "13 days ago",
        "2 weeks ago",
        "17 weeks ago",
        "4 months ago",
    ]


@pytest.mark.parametrize(
    ("title", "short"),
    [
        ("Four times six minutes", "4 x 6 min"),
        ("Ten times 1:30, up and down", "10 x 1:30"),
        ("Six times 20 seconds", "6 x 20 s"),
        ("Five times 1000 m", "5 x 1000 m"),
        ("Two times about 46 minutes", "2 x 46 min"),
        ("An even 50 minutes", ""),
        ("Two efforts of two minutes to seven minutes", ""),
    ],
)
def test_titles_of_repeats_have_a_label(title, short):
    assert short_title(title) == short


def test_six_weeks_hold_each_day_and_a_session_that_was_not_run(library):
    number = library.plan_session("6 x 2 min hard, 10 min easy", "2026-04-17", "Hill reps")
    library.plan_session("30 min easy", "2026-04-13", "")
    found = library.today("2026-04-15")
    assert [w["monday"] for w in found["weeks"]] == [
        f"2026-{d}" for d in ("03-09", "03-16", "03-23", "03-30", "04-06", "04-13")
    ]
    last = found["weeks"][-1]
    assert [len(d["runs"]) for d in last["days"]] == [1, 0, 1, 0, 0, 0, 0]  # as 15 April knew it
    assert [[a["name"] for a in d["asked"]] for d in last["days"]] == [[], [], [], [], ["Hill reps"], [], []]
    monday = found["weeks"][0]["days"][0]["runs"][0]
    assert sum(monday["seconds_in_domains"].values()) == pytest.approx(monday["duration_s"], abs=2)
    assert found["weeks"][0]["load"]["value"] == pytest.approx(library.load("2026-03-09", "2026-03-15")["cp_minutes"])
    [ahead] = found["next"]
    assert (ahead["id"], ahead["date"]) == (number, "2026-04-17") and ahead["power_w"] > 200
    assert found["headline"] == "Friday: Hill reps; until then easy or rest" and "physician" in found["caution"]
    assert found["days_since"] == 0 and found["runs"] == 21
    library.change_session(number, text="50 min easy")
    easy = library.today("2026-04-15")
    assert not easy["next"][0]["hard"] and easy["caution"] == ""  # an easy run is no reason to warn
    words = (
        library.session("50 min easy").to_json()["warnings"],
        library.session("5 x 3 min hard").to_json()["warnings"],
    )
    assert [any("Hard running" in w for w in told) for told in words] == [False, True]


def test_after_a_pause_a_hard_session_is_kept_and_not_asked_and_what_was_usual_stays(library, monkeypatch):
    newest = library.runs()[0].local.date()
    day = newest + dt.timedelta(days=40)
    library.plan_session("30 min easy", day + dt.timedelta(days=1), "Easy")
    library.plan_session("6 x 2 min hard, 10 min easy", day + dt.timedelta(days=1), "Hill reps")
    found = library.today(day)
    assert {s["name"]: (s["hard"], s["not_now"]) for s in found["next"]} == {
        "Easy": (False, False),
        "Hill reps": (True, True),
    }
    assert "is kept: Hill reps. Move it until easy" in found["reason"] and "is kept: Easy" not in found["reason"]
    assert not any(s["not_now"] for s in library.today(newest)["next"])
    shown = ok("today", "--date", day, library=library.folder).stdout
    assert re.search(r"Hill reps: .* Kept, but not now\.", shown) and "10 min easy. Kept" in shown
    # The weeks that were run last tell what is usual, on the first page as on Load, which goes on until the day asked.
    monkeypatch.setattr(type(library), "current_day", lambda self: day)
    spans = library.load_by("week")
    assert spans["spans"][-1]["first"] == str(day - dt.timedelta(days=day.weekday()))
    assert spans["usual_week"]["cp_minutes"] == pytest.approx(found["usual_week"]["cp_minutes"])


def test_after_illness_hard_sessions_wait_as_long_as_the_caution_says_and_no_longer(library):
    newest = library.runs()[0].local.date()
    day = newest + dt.timedelta(days=6)
    library.tell(date=newest + dt.timedelta(days=1), illness="cold")
    library.plan_session("30 min easy", newest + dt.timedelta(days=4), "while ill")
    assert [s["not_now"] for s in library.today(newest + dt.timedelta(days=3))["next"]] == [True]
    library.tell(date=newest + dt.timedelta(days=5), well="again")
    until = library.health(day).until
    library.plan_session("30 min easy", until, "easy")
    library.plan_session("6 x 2 min hard, 10 min easy", until, "hard")
    library.plan_session("6 x 2 min hard, 10 min easy", until + dt.timedelta(days=1), "hard, a day later")
    found = {s["name"]: s["not_now"] for s in library.today(day)["next"]}
    assert found == {"easy": False, "hard": True, "hard, a day later": False}


def test_the_usual_week_is_the_median_of_complete_weeks(library):
    loads = [
        library.load(monday, monday + dt.timedelta(days=6))["cp_minutes"]
        for monday in (dt.date(2026, 3, 2) + dt.timedelta(weeks=k) for k in range(5))
    ]
    usual = library.today("2026-04-08")["usual_week"]
    assert usual["weeks"] == 5 and usual["cp_minutes"] == pytest.approx(np.median(loads))
    assert (usual["low"], usual["high"]) == pytest.approx(tuple(np.quantile(loads, [0.25, 0.75])))
    assert library.today("2026-03-25")["usual_week"]["weeks"] == 3
    assert library.today("2026-03-18")["usual_week"] is None  # two complete weeks


def test_after_a_long_break_the_last_weeks_that_were_run_are_shown(library):
    found = library.today("2026-09-01")
    assert found["weeks"][-1]["monday"] == "2026-04-13" and found["headline"] == "Begin again with easy runs"
    library.tell(date="2026-04-18", illness="a cold")
    told = library.today("2026-04-19")
    assert told["headline"] == "Rest until you are well" and told["held"] and not told["caution"]


def test_titles_are_kept_until_something_about_the_run_changes(library, monkeypatch):
    rows = library.runs()
    first = run_titles(library, rows)
    assert first[rows[0].id] == library.run(rows[0].id).title
    asked = []
    monkeypatch.setattr(kept_titles, "efforts_of_run", lambda library, run: asked.append(run) or [])
    assert run_titles(library, rows) == first and not asked
    library.trim(rows[0].id, end="10:00")
    run_titles(library, library.runs())
    assert asked == [rows[0].id]
    (library.folder / kept_titles.FILE).write_text("{broken")
    run_titles(library, library.runs())
    kept = stamps.read_kept(library.folder / kept_titles.FILE)
    assert len(asked) == 1 + len(rows) and len(json.loads(kept)) == len(rows)


def test_the_picture_names_what_it_draws():
    run = {"id": 7, "title": "Four times six <b>", "duration_s": 3600, "marks": ["test"]}
    run["seconds_in_domains"] = {"moderate": 1800, "heavy": 0, "severe": 1800, "extreme": 0}
    asked = {"id": 1, "name": "A session with a long name", "text": "", "duration_s": 1800}
    days = [
        {"date": f"2026-04-{20 + k}", "runs": [run] if k == 1 else [], "asked": [asked] if k == 4 else []}
        for k in range(7)
    ]
    week = {"monday": "2026-04-20", "days": days, "runs": 1, "load": {"value": 80.0}}
    usual = {"cp_minutes": 90, "low": 70, "high": 100, "weeks": 8}
    drawn = six_weeks([week], usual, "2026-04-22", "/runs/")
    assert 'href="/runs/7"' in drawn and ">test<" in drawn and ">A session wit…<" in drawn and ">80<" in drawn
    assert "<b>" not in drawn and "f-severe" in drawn and "f-heavy" not in drawn
    [moderate, severe] = [p.split('width="')[1].split('"')[0] for p in drawn.split("<rect ")[1:] if "f-" in p[:20]]
    assert moderate == severe
    narrow = six_weeks([week], None, "2026-04-22", "/runs/", narrow=True)
    assert ">test<" not in narrow and "withheld" not in narrow
    week["load"]["value"] = None
    assert ">withheld<" in six_weeks([week], usual, "2026-04-22", "/runs/")


def test_weeks_of_runs_without_a_load_tell_no_usual_week(tmp_path):
    with Library.open(tmp_path / "library") as bare:
        for week in range(6):
            day = dt.date(2026, 3, 2) + dt.timedelta(weeks=week)
            bare.enter_run(dt.datetime.combine(day, dt.time(8), dt.UTC), "40:00", "8km")
        found = bare.today("2026-04-08")
        assert found["usual_week"] is None and found["weeks"][0]["load"]["value"] is None
        assert found["newest"]["title"] == "" and "0 CP-min" not in footwork("today", library=bare.folder).stdout


def test_a_day_before_all_runs_is_no_beginning(library):
    found = library.today("2025-01-01")
    assert found["runs"] == 0 and found["newest"] is None and found["weeks"][-1]["monday"] == "2024-12-30"


def test_numbers_are_told_as_far_as_they_are_known(library, tmp_path):
    told = of_json("numbers", library=library.folder)
    assert told["domains"][0]["name"] == "moderate" and told["usual"][0]["flat"] and not told["withheld"]
    assert [r["pace"][-2:] for r in told["paces"]] == [
        p[-2:] for p in sorted((r["pace"] for r in told["paces"]), reverse=True)
    ]
    early = of_json("numbers", "--date", "2026-03-10", library=library.folder)
    assert early["withheld"] and early["domains"] == []
    done = footwork("numbers", "--date", "2026-03-10", "--card", tmp_path / "card.pdf", library=library.folder)
    assert done.returncode == 5 and "needs critical power" in done.stderr and not (tmp_path / "card.pdf").exists()


def test_a_pause_is_told_by_whether_capacity_is_lowered_for_it():
    assert after_pause(None, TODAY) == after_pause(TODAY - dt.timedelta(days=14), TODAY) == ""
    lowered = after_pause(TODAY - dt.timedelta(days=84), TODAY)
    assert "is told lower, by what published breaks of that length took, " in lowered
    unknown = after_pause(TODAY - dt.timedelta(days=85), TODAY)
    assert "is not known from before it; published breaks of twelve weeks took " in unknown
    archive = after_pause(TODAY - dt.timedelta(days=4000), TODAY, archive=True)
    told = [re.search(r"took,? (\d+) to (\d+) %", text).groups() for text in (lowered, unknown, archive)]
    low, high = (100 * end * whole_loss(84) for end in SHARE_ENDS)
    assert told == [(f"{low:.0f}", f"{high:.0f}")] * 3


def test_a_long_pause_is_said_wherever_something_is_promised(library):
    """The season ended long before the day the tests run on."""
    describing, promising = (
        (("capacity",), ("numbers",)),
        (
            ("race", "--distance", "10km"),
            ("session", "preview", "30 min easy"),
            ("session", "solve", "5 x (3 min at ?, 2 min easy)"),
        ),
    )
    for asked in (*describing, *promising):
        assert "the day of the newest, until a newer one comes in" in ok(*asked, library=library.folder).stdout, asked
    dated = footwork("capacity", "--date", "2026-04-19", library=library.folder).stdout
    stated = footwork("race", "--distance", "10km", "--effort", "5km=20:30", library=library.folder).stdout
    assert "such a pause" not in dated and "such a pause" not in stated
    told = of_json("numbers", library=library.folder)
    assert told["holds"].startswith("They held until") and "a test or race tells them anew" in told["holds"]
    kept_along(library)  # then it is no archive, and nothing is promised any more
    assert of_json("numbers", library=library.folder)["holds"].startswith("After weeks without")
    for asked in describing:
        assert "after such a pause is not known" in ok(*asked, library=library.folder).stdout, asked
    for asked in promising:
        done = footwork(*asked, library=library.folder)
        assert done.returncode == 5 and "no run on this scale since 2026-04-17" in done.stderr, asked
    assert what_next(TODAY, TODAY - dt.timedelta(days=14), None, [], None)[0] != "Begin again with easy runs"
