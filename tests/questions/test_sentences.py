"""A week of asked and run sessions in one sentence, and a run against the usual ones in one."""

import datetime as dt

import pytest

from footwork.quantities import Estimate
from footwork.questions.season import week
from footwork.results.planned_season import AskedAndRun
from footwork.wording.season_words import week_sentence
from footwork.wording.usual_words import usual_sentence


def load(of):
    return Estimate(of, 0.9 * of, 1.1 * of, "CP-minutes", 7, "cp-minutes")


def row(day, state, of=None):
    session = None if state == "extra" else day
    known = None if of is None else load(of)
    return AskedAndRun(
        date=f"2026-05-0{day}",
        state=state,
        session=session,
        run=None if of is None else day,
        run_date=None,
        name="",
        text="",
        cp_minutes=None,
        load=known,
        verdict="",
    )


@pytest.mark.parametrize(
    ("rows", "asked", "said"),
    [
        ([row(4, "extra", 50.0)], 0.0, "Nothing was asked this week; 1 run, 80 CP-minutes, 72 to 88."),
        (
            [row(4, "run", 50.0), row(6, "missed"), row(8, "ahead")],
            120.0,
            "1 of 3 sessions run, 1 missed, 1 to come; 80 CP-minutes, 72 to 88 of 120 asked.",
        ),
        (  # a plan that begins on a Thursday asks nothing of Monday's run
            [row(4, "extra", 55.0), row(7, "run", 25.0), row(8, "ahead")],
            30.0,
            "1 of 2 sessions run, 1 extra, 1 to come; 80 CP-minutes, 72 to 88, 55 of them before the first session; "
            "30 asked.",
        ),
        (  # after the first session it was more than asked, and is told as that
            [row(4, "run", 25.0), row(7, "extra", 55.0)],
            30.0,
            "1 of 1 sessions run, 1 extra; 80 CP-minutes, 72 to 88 of 30 asked.",
        ),
    ],
)
def test_the_week_in_a_sentence(rows, asked, said):
    assert week_sentence(rows, asked, load(80.0), "", begins=True) == said
    later = said.replace(", 55 of them before the first session; 30 asked.", " of 30 asked.")
    assert week_sentence(rows, asked, load(80.0), "") == later


@pytest.mark.parametrize(
    ("bpm", "unusual", "said"),
    [
        (-3.4, False, "Heart rate as usual at this power (-3 bpm)."),
        (-6.6, False, "Heart rate 7 bpm below usual at this power, no more than single runs differ by."),
        (3.6, False, "Heart rate 4 bpm above usual at this power, no more than single runs differ by."),
        (
            -6.6,
            True,
            "Heart rate 7 bpm below usual at this power: rests between repeats, cool air or the strap, or "
            "fitness if it lasts.",
        ),
    ],
)
def test_seven_beats_are_not_called_usual_though_one_run_may_be_off_as_much(bpm, unusual, said):
    found = {
        "power_excess": Estimate.withheld("W", "usual", "no power"),
        "heart_rate_excess": Estimate(bpm, bpm - 7, bpm + 7, "bpm", 40, "usual", "minutes"),
        "heart_rate_unusual": unusual,
    }
    assert usual_sentence(found) == f"Watts are not compared: no power. {said}"


@pytest.mark.parametrize(
    ("kept", "begins"),
    [
        ([("2026-05-07", 9)], True),
        ([("2026-05-07", 9), ("2026-05-12", 9)], True),
        ([("2026-05-07", 9), ("2026-02-12", 4)], True),  # a season of the winter
        ([("2026-05-07", 9), ("2026-04-30", 9)], False),
        ([("2026-05-07", None)], False),  # by hand
        ([("2026-05-11", 9)], False),  # the week after
    ],
)
def test_a_season_begins_with_its_first_sessions(kept, begins, monkeypatch):
    listed = [{"date": day, **({"of_plan": {"season": of}} if of else {})} for day, of in kept]
    monkeypatch.setattr(week.sessions, "listed_sessions", lambda library: listed)
    assert week._begins(None, dt.date(2026, 5, 4)) is begins
