"""What moves heart rate, told by whoever wants to: what is withheld for it, and that no other answer names it."""

import datetime as dt
import json
import re

import pytest

from footwork.errors import UsageError
from footwork.questions import load
from footwork.questions.season import plan_basis, wishes
from footwork.wording.cautions import HEART_RATE_LEFT_OUT, PHYSICIAN_DECIDES
from tests.program import footwork, of_json, ok

NAMED = re.compile("pregnan|medic|period begins", re.IGNORECASE)


def rates(library, date=None):
    return [b["heart_rate"].value for b in library.capacity(date=date).domains.values()][:2]


@pytest.mark.parametrize("name", ["pregnancy", "heart_medication"])
def test_no_maximal_test_is_proposed_and_no_heart_rate_to_aim_for(library, name):
    newest = library.runs()[0].local.date()
    before = rates(library)
    assert None not in before and library.history()["tests"]
    library.tell(date=newest, **{name: "begins"})
    found = library.capacity()
    assert rates(library) == [None, None] and found.warnings[0] == PHYSICIAN_DECIDES
    assert found.domains["heavy_severe"]["heart_rate"].reason == HEART_RATE_LEFT_OUT
    assert found.domains["heavy_severe"]["power"].value and library.history()["tests"] == []
    assert all(
        s["heart_rate_bpm"] is None for s in library.session("3 x (6 min 101 % CP, 2 min easy)").to_json()["steps"]
    )
    assert not [d for d in library.today().due if "test" in d["what"].lower()]
    library.tell(date=newest + dt.timedelta(days=1), **{name: "over"})
    # Runs of those days tell no heart rate to aim for afterwards.
    later = newest + dt.timedelta(days=2)
    assert rates(library, later) == pytest.approx(before, abs=1.0) and library.history()["tests"]


def test_a_runner_without_a_test_is_asked_for_none(library):
    for row in library.runs():
        if "test" in row.marks:
            library.mark(row.id, "test", remove=True)
    asked = [d["what"] for d in library.today().due]
    assert "Run a test or mark a race" in asked
    assert any("only a test does" in w for w in library.capacity().warnings)
    library.tell(date=library.runs()[0].local.date(), pregnancy="begins")
    assert "Run a test or mark a race" not in [d["what"] for d in library.today().due]
    assert not any("only a test does" in w for w in library.capacity().warnings)


def test_a_plan_with_a_session_by_heart_rate_still_stands(library):
    newest = library.runs()[0].local.date()
    today = newest + dt.timedelta(days=6 - newest.weekday())
    wished = {"race": str(today + dt.timedelta(days=70)), "distance": "10km", "keep": ["tue 40 min at 140 bpm"]}
    library.new_season(today, **wished)
    library.accept_season(today)
    library.tell(date=newest, heart_medication="begins")
    assert library.season(today).state == "accepted"
    assert library.season_changes(today).state in ("stands", "changes wait")


def test_a_session_that_is_asked_meanwhile_names_the_physician(library):
    newest = library.runs()[0].local.date()
    library.plan_session("30 min easy", newest + dt.timedelta(days=1))
    assert "physician's to say" not in library.today(newest).caution
    library.tell(date=newest, heart_medication="begins")
    assert library.today(newest).caution.startswith(PHYSICIAN_DECIDES)


def test_what_is_taken_back_leaves_nothing_behind(library):
    newest = library.runs()[0].local.date()
    before = [e["sentence"] for e in library.edits()]
    library.tell(date=newest, pregnancy="begins", soreness=3.0)
    library.tell(date=newest, pregnancy=None)
    assert not library.context().spells
    told = [e["sentence"] for e in library.edits()]
    assert len(told) == len(before) + 1 and not NAMED.search(" ".join(told))


def test_an_end_needs_a_beginning_and_a_period_has_one_first_day(library):
    day = library.runs()[0].local.date()
    for name in ("pregnancy", "heart_medication"):
        with pytest.raises(UsageError, match="is known to have begun"):
            library.tell(date=day, **{name: "over"})
        library.tell(date=day - dt.timedelta(days=9), **{name: "begins"})
        library.tell(date=day - dt.timedelta(days=2), **{name: "over"})
        with pytest.raises(UsageError, match="is known to have begun"):
            library.tell(date=day, **{name: "over"})
    library.tell(date=day - dt.timedelta(days=10), period="begins")
    with pytest.raises(UsageError, match="less than 10 days"):
        library.tell(date=day - dt.timedelta(days=9), period="begins")
    library.tell(date=day, period="begins")
    library.tell(date=day, period="begins")  # the same day again says the same
    assert len(library.context().periods) == 2


def test_plan_response_and_shelf_name_the_physician(library, tmp_path):
    newest = library.runs()[0].local.date()
    today = newest + dt.timedelta(days=6 - newest.weekday())
    library.new_season(today, race=str(today + dt.timedelta(days=70)), distance="10km")
    library.accept_season(today)
    assert PHYSICIAN_DECIDES not in library.season_changes(today).cautions
    assert "12 and 3 minutes" in library.response(today).would_tell
    library.tell(date=newest, pregnancy="begins")
    assert PHYSICIAN_DECIDES in library.season_changes(today).cautions
    assert library.response(today).would_tell == PHYSICIAN_DECIDES
    assert PHYSICIAN_DECIDES in " ".join(ok("session", "shelf", library=library.folder).stdout.split())


def test_a_plan_has_no_test_meanwhile(library):
    newest = library.runs()[0].local.date()
    wished = wishes.read_wishes(newest, {"race": str(newest + dt.timedelta(days=112)), "distance": "10km"})
    assert plan_basis.basis_of(library, wished, newest).asked.tests
    library.tell(date=newest, pregnancy="begins")
    assert not plan_basis.basis_of(library, wished, newest).asked.tests


def test_heart_rates_of_before_and_after_are_not_compared(library):
    rows = library.runs()
    assert "moves your heart rate" not in library.progress().change.get("reason", "")
    middle = rows[len(rows) // 2].local.date()
    library.tell(date=middle, heart_medication="begins")
    ends = [r.local.date() for r in (rows[-1], rows[0])]
    periods = (f"{ends[0]}..{middle - dt.timedelta(days=1)}", f"{middle}..{ends[1]}")
    compared = {o["name"]: o["difference"] for o in library.compare_runs(*periods).to_json()["outcomes"]}
    assert "moves your heart rate" in compared["power_at_heart_rate"]["reason"]
    assert "moves your heart rate" in compared["heart_rate_at_power"]["reason"]
    found = library.progress()
    assert found.verdict == "cannot tell yet" and "moves your heart rate" in found.change["reason"]
    ways = {a.date: a.ways for a in load.loads_of(library).found}
    assert {("heart rate" in w) for d, w in ways.items() if d >= middle.isoformat()} == {False}
    assert any("heart rate" in w for d, w in ways.items() if d < middle.isoformat())


def test_a_hot_run_tells_nothing_of_how_well_one_is(library):
    newest = library.runs()[0]

    def days():
        channels = library.signs(newest.local.date()).patterns[0].channels
        return next(c for c in channels if c.name == "heart rate at power").days

    library.set_weather(newest.id, temperature_c=23.9)
    before = days()
    library.set_weather(newest.id, temperature_c=24.0)
    assert days() == before - 1


def test_no_answer_but_the_diary_names_it(library):
    newest = library.runs()[0].local.date()
    for of in ("pregnancy", "heart_medication", "period"):
        library.tell(date=newest, **{of: "begins"})
    for command in ("today", "capacity", "signs", "load", "progress", "usual", "week"):
        said = footwork(command, library=library.folder)
        assert not NAMED.search(said.stdout + said.stderr), command
        assert not NAMED.search(json.dumps(of_json(command, library=library.folder))), command
    assert "pregnancy begins" in ok("diary", library=library.folder).stdout


def test_it_is_told_of_a_day_in_its_words(library):
    run = library.runs()[0].id
    with pytest.raises(UsageError, match="'begins' or 'over'"):
        library.tell(pregnancy="yes")
    with pytest.raises(UsageError, match="of a day, not of a run"):
        library.tell(run=run, period="begins")
    assert library.context().spells == ()
    library.tell(date="2026-03-02", heart_medication="begins")
    library.tell(date="2026-03-20", heart_medication="over")
    decided = [library.context().physician_decides(dt.date(2026, 3, d)) for d in (1, 2, 20, 21)]
    assert decided == [False, True, True, False]
    moved = [library.context().moved_within(dt.date(2026, 3, a), dt.date(2026, 3, b)) for a, b in ((2, 19), (1, 2))]
    assert moved == [False, True]


def test_the_signs_leave_it_out_or_take_the_cycle_off(library):
    last = dt.date(2026, 6, 30)
    starts = [last - dt.timedelta(days=28 * k + 13) for k in range(6)]
    for back in range(170):
        day = last - dt.timedelta(days=back)
        into = (day - starts[-1]).days % 28
        library.tell(date=day, resting_heart_rate=48 + back % 3 + 5 * (into >= 14), soreness=2 + back % 2)

    def resting():
        return next(c for c in library.signs(last).patterns[0].channels if c.name == "resting heart rate")

    assert resting().recent - resting().usual < 0  # the first part of a cycle, before which the second lies
    last += dt.timedelta(days=3)  # three days into the second part
    for back in range(3):
        library.tell(date=last - dt.timedelta(days=back), resting_heart_rate=54.0, soreness=2.0 + back % 2)
    assert resting().recent - resting().usual > 2.0
    for day in starts:
        library.tell(date=day, period="begins")
    assert abs(resting().recent - resting().usual) < 0.8
    library.tell(date=last - dt.timedelta(days=200), heart_medication="begins")
    assert resting().recent is None and resting().days == 0
