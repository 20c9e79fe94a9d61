"""A season on paper, in a calendar and on the watch."""

import pytest

from footwork.errors import HeldBack, UsageError
from footwork.questions import season, sessions
from footwork.reports import season_sheet
from footwork.results.health import Health
from tests.questions.test_season import DAY, today, wished

__all__ = ["today"]  # the fixture


def events_of(told):
    """Events of a calendar by their id."""
    lines = told.decode().replace("\r\n ", "").split("BEGIN:VEVENT")[1:]
    return {e.split("UID:")[1].split("\r\n")[0]: e for e in lines}


def test_an_accepted_season_goes_to_paper_calendar_and_watch(library, today):
    made = library.new_season(today, **wished(today))
    with pytest.raises(UsageError, match="not accepted"):
        season.season_workouts(library, 4, today)
    plan = library.accept_season(today)
    assert season_sheet(made).startswith(b"%PDF") and season_sheet(plan, 4).startswith(b"%PDF")
    files = season.season_workouts(library, 2, today)
    near = [s for s in library.sessions() if today.isoformat() <= str(s["date"]) < (today + 14 * DAY).isoformat()]
    assert len(files) == len(near) and all(name.endswith(".fit") and data[8:12] == b".FIT" for name, data in files)
    row = near[0]
    before = sessions.calendar(library).decode()
    library.change_session(row["id"], date=today + 90 * DAY)
    after = sessions.calendar(library).decode()
    uid = f"UID:session-{row['first']}@footwork"
    assert before.count(uid) == after.count(uid) == 1  # moved, it stays the one event
    assert before.count("BEGIN:VEVENT") == after.count("BEGIN:VEVENT") == len(library.sessions())


def test_workouts_for_after_the_easy_days_of_a_return_are_written_and_no_others(library, today, monkeypatch):
    library.new_season(today, **wished(today))
    library.accept_season(today)
    every = [name for name, _ in season.season_workouts(library, 2, today)]

    def told(health):
        monkeypatch.setattr(library, "health", lambda day=None: health)
        return [name for name, _ in season.season_workouts(library, 2, today)]

    until = today + 5 * DAY
    later = told(Health("returning", today - DAY, until))
    assert later == [name for name in every if name[:10] > until.isoformat()] and 0 < len(later) < len(every)
    for health in (Health("returning", today, today + 14 * DAY), Health("ill", today), Health("injured", today)):
        with pytest.raises(HeldBack):
            told(health)


def standing(calendar):
    """Its events without those that are cancelled, as by a plan before."""
    return [e for e in calendar.split("BEGIN:VEVENT")[1:] if "STATUS:CANCELLED" not in e]


def test_the_calendar_holds_the_races_which_stay_one_event_through_every_plan(library, today):
    beside = (today + 35 * DAY).isoformat()
    for _ in range(2):
        library.new_season(today, **wished(today, also=[f"{beside} 5km B"]))
        plan = library.accept_season(today)
        told = season.season_calendar(library).decode()
        assert told.count(f"UID:race-{plan.race.date}@footwork") == 1
        assert told.count(f"UID:race-{beside}@footwork") == 1 and "SUMMARY:5 km" in told
        assert len(standing(told)) == len(library.sessions()) + 2
    alone = sessions.calendar(library).decode().replace("\r\n ", "")
    assert alone.count("UID:race") == 0
    kept = library.sessions()
    easy = [s for s in kept if s["of_plan"]["purpose"] in ("easy", "long") and "%" not in s["text"]]
    assert (
        0 < sum("Hard running" in e for e in standing(alone)) == len(kept) - len(easy)
    )  # an easy run is no reason to warn


def test_a_dropped_session_stands_as_cancelled_so_that_a_calendar_takes_it_out(library, today):
    number = library.plan_session("30 min easy", today + 3 * DAY)
    other = library.plan_session("40 min easy", today + 4 * DAY)
    library.change_session(other, date=today + 5 * DAY)
    library.undo(number)
    found = events_of(sessions.calendar(library, today=today))
    assert set(found) == {f"session-{number}@footwork", f"session-{other}@footwork"}
    dropped, moved = found[f"session-{number}@footwork"], found[f"session-{other}@footwork"]
    assert "STATUS:CANCELLED" in dropped and "SEQUENCE:1\r" in dropped
    assert "STATUS" not in moved and "SEQUENCE:2\r" in moved and f"{today + 5 * DAY:%Y%m%d}" in moved
    assert set(events_of(sessions.calendar(library, today=today + 4 * DAY))) == {f"session-{other}@footwork"}


def test_kept_rides_and_swims_are_in_the_calendar(library, today):
    library.new_season(today, **wished(today, keep=["sat ride 2 h", "sat swim 30 min"]))
    library.accept_season(today)
    found = [e for uid, e in events_of(season.season_calendar(library)).items() if uid.startswith("beside-")]
    assert sum("SUMMARY:ride 2 h" in e for e in found) == sum("SUMMARY:swim 30 min" in e for e in found) >= 9
    assert len({e for e in found}) == len(found)
