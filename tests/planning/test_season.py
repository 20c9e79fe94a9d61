"""Weeks and days of a season: what bounds them holds whatever is wished."""

import datetime as dt
import os
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from footwork.errors import UsageError
from footwork.planning import families, season_days, season_weeks, week_days
from footwork.planning.preview import Runner
from footwork.planning.season_days import Past, Wishes, lay_season
from footwork.planning.season_weeks import Race, Standing

DAY = dt.timedelta(days=1)
MONDAY = dt.date(2026, 11, 30)
RACE = Race(dt.date(2027, 3, 14), "A", 21_097.5, 100.0, 90.0, "half marathon")
STANDING = Standing(load=150.0, best=160.0, longest=80.0, hard_share=0.18, minutes=300.0, runs=4.0)


@pytest.fixture(scope="module")
def runner():
    rng = np.random.default_rng(0)
    return Runner(rng.normal(280, 5, 200), rng.normal(18_000, 1500, 200), np.full(200, 0.06), 280.0, lambda p: p / 84.0)


@pytest.fixture(scope="module")
def shelf(runner):
    wanted = [*families.EASY, families.LONG, families.STEADY_END, *families.HARD, families.race_family(0.93, 100.0)]
    return families.offers([*wanted, families.TEST], runner, 225.0)


def days_of(weeks):
    return {k.date: k.offer for w in weeks for k in w.laid.sessions}


@pytest.mark.parametrize("metres, days", [(5000, 7), (10_000, 7), (21_097.5, 14), (42_195, 21)])
def test_a_taper_takes_as_long_as_trials_say_and_half_the_volume(metres, days):
    """Bosquet et al. 2007 (MSSE 39:1358): two weeks, volume less by 41 to 60 %; Wang 2023: at most 21 days."""
    assert season_weeks.taper_days(metres) == days
    race = dt.date(2027, 3, 14)
    shares = [season_weeks.taper_share(race - k * DAY, race, days) for k in range(days, 0, -1)]
    assert np.mean(shares) == pytest.approx(0.5, abs=0.001)
    assert all(a > b for a, b in pairwise(shares))
    assert season_weeks.taper_share(race - (days + 1) * DAY, race, days) == 1.0


@pytest.mark.parametrize(
    "days, steps",
    [(3, ()), (4, (0.9,)), (13, (0.7, 0.85)), (14, (0.5, 0.65, 0.8, 0.95)), (60, (0.4, 0.55, 0.7, 0.8, 0.95))],
)
def test_after_days_off_the_weeks_come_back_by_steps(days, steps):
    assert season_weeks.return_steps(days) == steps


def test_phases_are_counted_back_from_the_race():
    mondays = [dt.date(2026, 12, 28) + 7 * k * DAY for k in range(11)]
    kinds = season_weeks.phases(mondays, RACE, 4)
    assert kinds[-2:] == ["taper", "race week"]
    assert kinds[-6:-2] == ["easier", "race-like", "race-like", "race-like"]
    assert kinds[-7] == "building"
    assert "easier" not in season_weeks.phases(mondays, RACE, 0)


def test_weeks_grow_from_what_was_achieved_and_no_further_than_the_bounds():
    weeks = season_weeks.season_weeks(MONDAY, RACE, STANDING, 4, 360.0)
    assert weeks[0].load <= 1.10 * 150.0 and weeks[-1].phase == "race week"
    for w in weeks:
        reference = 150.0 if w.of is None else weeks[w.of].load
        assert w.load <= w.share * reference + 1e-6
        assert w.load <= 360.0 * 0.5 + 1e-6  # hours: 150 CP-minutes take 300 min
    loading = [w.load for w in weeks if w.phase in ("building", "race-like")]
    assert loading[0] == pytest.approx(1.06 * 150.0, abs=1.0)  # six in a hundred, where nothing bounds
    assert max(loading) == pytest.approx(180.0, abs=1.0)  # the hours
    easier = next(w for w in weeks if w.phase == "easier" and w.of is not None)
    assert easier.load == pytest.approx(0.70 * weeks[easier.of].load, rel=0.01)


def test_the_ceiling_is_the_best_of_the_year():
    weeks = season_weeks.season_weeks(MONDAY, RACE, STANDING, 4, 600.0)
    assert max(w.load for w in weeks) == pytest.approx(1.15 * 160.0, rel=0.005)


def test_a_runner_without_a_usual_week_gets_one_sentence():
    with pytest.raises(UsageError, match="three complete weeks"):
        season_weeks.season_weeks(MONDAY, RACE, Standing(0.0, 0.0, 0.0, 0.1, 0.0, 0.0), 4, 360.0)


def test_a_season_of_a_half_marathon_is_laid_out_on_its_days(shelf):
    weeks = lay_season(MONDAY, RACE, STANDING, Wishes(4, 2, 360.0, (1, 3, 5, 6), (6,)), shelf)
    sessions = days_of(weeks)
    assert {d.weekday() for d in sessions} == {1, 3, 5, 6}
    assert (
        all(w.laid.best for w in weeks)
        and [(w.week.monday, w.laid.gave_way, w.most) for w in weeks if w.laid.gave_way] == []
    )
    assert max(o.minutes for o in sessions.values()) == pytest.approx(120.0, abs=5.0)  # the goal of a half
    full = max(w.load for w in weeks)
    taper = weeks[-2].load + weeks[-1].load
    assert 0.41 <= 1 - taper / (2 * full) <= 0.60  # Bosquet et al. 2007
    assert len(weeks[-2].laid.sessions) == 4 and len(weeks[-1].laid.sessions) == 3  # and the race: as often as before
    assert any(k.offer.is_hard for k in weeks[-1].laid.sessions)  # as hard as before
    race_like = [k.offer.purpose for w in weeks if w.week.phase == "race-like" for k in w.laid.sessions]
    assert race_like.count("race") >= 3
    tests = [d for d, o in sessions.items() if o.purpose == "test"]
    assert tests and all((RACE.date - d).days > 14 for d in tests)


def test_the_same_question_has_the_same_answer(shelf):
    first, second = (lay_season(MONDAY, RACE, STANDING, Wishes(5, 2, 400.0), shelf) for _ in range(2))
    assert first == second


def _random_season(rng, shelf):
    first = MONDAY + int(rng.integers(0, 7)) * DAY
    metres = float(rng.choice([5000, 10_000, 21_097.5, 42_195]))
    race = Race(first + int(rng.integers(25, 130)) * DAY, "A", metres, metres / 210.0, metres / 230.0, "race")
    load = float(rng.uniform(60, 250))
    standing = Standing(
        load,
        load * rng.uniform(1.0, 1.3),
        float(rng.uniform(45, 140)),
        float(rng.uniform(0.02, 0.25)),
        2 * load,
        4,
        int(rng.choice([0, 0, 5, 20])),
    )
    closed = {first + int(d) * DAY for d in rng.integers(5, 100, 8)}
    trip = first + int(rng.integers(5, 60)) * DAY
    closed |= {trip + k * DAY for k in range(int(rng.integers(0, 15)))}
    kept = ()
    if rng.random() < 0.5:
        own = next(o for o in shelf if o.purpose == "threshold")
        kept = tuple(week_days.Kept(MONDAY + (7 * k + 2) * DAY, own) for k in range(20))
    weekdays = tuple(sorted(int(d) for d in rng.choice(7, int(rng.integers(2, 8)), replace=False)))
    wishes = Wishes(
        int(rng.integers(2, 8)),
        int(rng.integers(0, 4)),
        float(rng.uniform(120, 900)),
        weekdays,
        (6,),
        frozenset(closed),
        int(rng.choice([0, 3, 4, 5])),
        kept,
    )
    others = [Race(first + int(rng.integers(10, 24)) * DAY, str(rng.choice(["B", "C"])), 10_000, 45.0, 48.0, "ten")]
    yesterday = [first - DAY] if rng.random() < 0.5 else []
    past = Past({first - DAY: 30.0}, {first - k * DAY: standing.longest for k in (2, 9)}, yesterday)
    return first, race, standing, wishes, others, past


@pytest.mark.parametrize("seed", range(12))
def test_no_plan_breaks_a_bound_whatever_is_wished(seed, shelf):
    first, race, standing, wishes, others, past = _random_season(np.random.default_rng(seed), shelf)
    weeks = lay_season(first, race, standing, wishes, shelf, past, others)
    sessions = days_of(weeks)
    raced = {o.date for o in others}
    kept = {k.date for k in wishes.kept}
    assert all(first <= d < race.date for d in sessions)
    for d in sessions:
        assert d in raced or d in kept or (d.weekday() in wishes.weekdays and d not in wishes.closed)
    demanding = sorted({d for d, o in sessions.items() if o.demanding} | set(past.demanding) | {race.date})
    for a, b in pairwise(demanding):
        assert (b - a).days >= 2, (a, b)
    for other in [race, *others]:
        for k in (1, 2) if other.rank != "C" else (1,):
            near = other.date - k * DAY
            assert near not in sessions or not sessions[near].demanding or near in kept | raced
    achieved = {d: past.longest.get(d, 0.0) for d in past.longest}
    for w in weeks:
        on_foot = [k for k in w.laid.sessions if k.on_foot]
        own_race = sum(k.offer.load for k in on_foot if k.race)
        assert sum(k.offer.load for k in on_foot) <= max(w.most, own_race) + 1e-6
        assert w.most <= 1.15 * standing.best + 1e-6
        assert w.most <= 1.10 * max([standing.load, *(v.load for v in weeks if v.week.monday < w.week.monday)]) + 1e-6
        assert sum(k.offer.minutes for k in on_foot if not k.race) <= max(wishes.minutes_most, 45.0) + 1e-6
        assert (
            sum(k.offer.is_hard and k.date not in kept | raced and k.offer.purpose != "long" for k in on_foot)
            <= wishes.hard_sessions
        )
    for d in sorted(sessions):
        before = max((m for e, m in achieved.items() if 0 < (d - e).days <= 30), default=0.0)
        limit = max(1.10 * before, season_days.LEAST_LONGEST)
        assert d in raced | kept or sessions[d].minutes <= limit + 1e-6, (d, sessions[d].minutes, limit)
        achieved[d] = max(achieved.get(d, 0.0), sessions[d].minutes)


def test_a_week_without_a_free_day_says_whether_it_is_over_or_the_runner_away():
    def reason(first, closed=()):
        return season_weeks.season_weeks(first, RACE, STANDING, 2, 360.0, closed=closed, weekdays=(0, 3))[0].reason

    assert reason(MONDAY + 5 * DAY) == "no free day is left of it"
    assert reason(MONDAY, {MONDAY, MONDAY + 3 * DAY}) == "away: no day is free"


@pytest.mark.parametrize(("days", "hard"), [(0, 2), (1, 1), (3, 1), (5, 0), (6, 0)])
def test_a_plan_that_begins_within_a_week_adds_fewer_hard_sessions_to_it(days, hard, shelf):
    """What was run of it may have been hard already; of five days four are left on Tuesday, three on Thursday, two on
    Saturday. A session that was planned for it before stands."""
    wishes, past = Wishes(4, 2, 360.0, (0, 2, 4, 5, 6), (6,)), Past(longest={MONDAY - 2 * DAY: 85.0})

    def begun(before=()):
        laid = lay_season(MONDAY + days * DAY, RACE, STANDING, wishes, shelf, past, before=before, wanted={})
        return {k.date: k.offer.is_hard for k in laid[0].laid.sessions}

    assert sum(begun().values()) == hard
    one = next(o for o in shelf if o.is_hard and o.minutes < 60)
    if days == 5:
        assert begun([season_days.Kept(MONDAY + 5 * DAY, one)])[MONDAY + 5 * DAY]


def test_what_cannot_be_had_is_named(shelf):
    weeks = lay_season(MONDAY, RACE, STANDING, Wishes(4, 1, 360.0, (1, 3, 5)), shelf)
    assert weeks[0].laid.gave_way == ("4 runs do not fit into 3 free days",)


def test_a_long_run_that_three_hard_sessions_leave_no_day_for_is_named(shelf):
    told = "a long run does not fit beside 3 hard sessions with 48 h between any two"
    three, two = (lay_season(MONDAY, RACE, STANDING, Wishes(4, n, 360.0, (1, 3, 5, 6)), shelf)[0] for n in (3, 2))
    assert three.laid.gave_way == (told,) and two.laid.gave_way == ()
    assert [k.offer.purpose for k in two.laid.sessions].count("long") == 1
    # Not where another day would do, or a kept run is as long.
    runs = lay_season(MONDAY, RACE, STANDING, Wishes(2, 2, 360.0), shelf, until=MONDAY)[0]
    assert runs.laid.gave_way == () and not any(k.offer.purpose == "long" for k in runs.laid.sessions)
    own = families.Offer("kept", "easy", "80 min easy", 40.0, 80.0, 0.0)
    wishes = Wishes(4, 3, 360.0, (1, 3, 5, 6), kept=(week_days.Kept(MONDAY + 6 * DAY, own),))
    asked = lay_season(MONDAY, RACE, STANDING, wishes, shelf, until=MONDAY)[0]
    assert asked.laid.gave_way == ("3 hard sessions do not fit, only 2",)  # 48 h from the kept one


def test_a_week_with_few_free_days_builds_on_nothing():
    away = {MONDAY + k * DAY for k in range(3)}
    weeks = season_weeks.season_weeks(MONDAY, RACE, STANDING, 4, 360.0, closed=away, easier_every=0)
    assert weeks[0].reason == "in proportion to its free days"
    assert weeks[0].load == pytest.approx(4 / 7 * weeks[0].whole * 150.0, abs=1.0)
    assert weeks[1].reason == "builds on the last full week"
    begun = season_weeks.season_weeks(MONDAY + 2 * DAY, RACE, STANDING, 4, 360.0, easier_every=0)
    assert begun[0].reason == "in proportion to the days that are left of it"
    # Another reason stands: a return from days away, a race beside.
    trip = {MONDAY + k * DAY for k in range(2, 11)}
    back = season_weeks.season_weeks(MONDAY, RACE, STANDING, 4, 360.0, closed=trip, easier_every=0)[1]
    assert back.phase == "return" and back.reason.startswith("back after days away: at most 70 %")
    town = [Race(MONDAY + 6 * DAY, "B", 10_000.0, 45.0, 50.0, "Town")]
    eased = season_weeks.season_weeks(MONDAY, RACE, STANDING, 4, 360.0, 0, {MONDAY + DAY}, others=town)[0]
    assert eased.reason.startswith("four easier days before Town")


def test_two_kept_sessions_too_near_do_not_both_stand(shelf):
    own = next(o for o in shelf if o.purpose == "threshold")
    kept = tuple(week_days.Kept(MONDAY + k * DAY, own) for k in (1, 2))
    weeks = lay_season(MONDAY, RACE, STANDING, Wishes(4, 1, 360.0, kept=kept), shelf, until=MONDAY)
    assert sum(k.offer == own for k in weeks[0].laid.sessions) == 1
    assert weeks[0].laid.gave_way[0] in (
        "threshold repeats on Tuesday does not fit",
        "threshold repeats on Wednesday does not fit",
    )


def test_a_hard_ride_keeps_two_days_and_weighs_nothing_in_running(shelf):
    ride = families.Offer("ride", "ride", "3 h ride", 150.0, 180.0, 40.0)
    kept = (week_days.Kept(MONDAY + 5 * DAY, ride, on_foot=False),)
    weeks = lay_season(MONDAY, RACE, STANDING, Wishes(5, 2, 360.0, kept=kept), shelf, until=MONDAY)
    days = days_of(weeks)
    assert not any(days[d].demanding for d in (MONDAY + 4 * DAY, MONDAY + 6 * DAY) if d in days)
    assert weeks[0].load == pytest.approx(weeks[0].week.load, rel=0.06)


def test_a_kept_hard_session_gives_way_before_a_race_and_is_named(shelf):
    own = next(o for o in shelf if o.purpose == "threshold")
    kept = (week_days.Kept(RACE.date - 2 * DAY, own),)
    weeks = lay_season(MONDAY, RACE, STANDING, Wishes(4, 1, 360.0, kept=kept), shelf)
    assert RACE.date - 2 * DAY not in {d for d, o in days_of(weeks).items() if o.is_hard}
    assert weeks[-1].laid.gave_way[0] == "threshold repeats on Friday does not fit"


def test_the_first_step_after_days_off_is_easy_and_what_is_left_of_a_week_is_no_step(shelf):
    off = Standing(150.0, 160.0, 80.0, 0.18, 300.0, 4.0, days_off=8)
    sunday = MONDAY - DAY
    past = Past({sunday - 8 * DAY: 30.0}, {sunday - 8 * DAY: 100.0})
    weeks = lay_season(sunday, RACE, off, Wishes(4, 2, 360.0), shelf, past)
    assert [w.week.share for w in weeks[1:3]] == [pytest.approx(0.7), pytest.approx(0.85)]
    for week in weeks[:2]:  # nothing hard, no steady end, and no run longer than the step lets it be
        assert not any(k.offer.is_hard for k in week.laid.sessions)
        assert max(k.offer.minutes for k in week.laid.sessions) <= 70.0
    assert weeks[2].laid.sessions and max(k.offer.minutes for k in weeks[2].laid.sessions) <= 85.0


def test_a_return_raises_no_race_week(shelf):
    race = Race(MONDAY + 13 * DAY, "A", 21_097.5, 100.0, 90.0, "half marathon")
    rested = lay_season(MONDAY, race, STANDING, Wishes(4, 1, 360.0), shelf)
    back = Standing(150.0, 160.0, 80.0, 0.18, 300.0, 4.0, days_off=10)
    returned = lay_season(MONDAY, race, back, Wishes(4, 1, 360.0), shelf)
    assert returned[-1].most <= rested[-1].most + 1e-6


def test_a_change_makes_no_long_run_harder(shelf):
    easy = next(o for o in shelf if o.purpose == "long" and o.minutes == 80.0 and not o.is_hard)
    before = [week_days.Kept(MONDAY + 6 * DAY, easy)]
    weeks = lay_season(MONDAY, RACE, STANDING, Wishes(4, 2, 360.0), shelf, before=before, wanted={}, until=MONDAY)
    after = days_of(weeks).get(MONDAY + 6 * DAY)
    assert after is None or not (after.purpose == "long" and after.is_hard)


def test_a_plan_laid_out_again_changes_little(shelf):
    wishes = Wishes(4, 2, 360.0, (1, 3, 5, 6), (6,))
    before = lay_season(MONDAY, RACE, STANDING, wishes, shelf, until=MONDAY)
    again = lay_season(MONDAY, RACE, STANDING, wishes, shelf, before=before[0].laid.sessions, until=MONDAY)
    assert days_of(again) == days_of(before)
    closed = Wishes(4, 2, 360.0, (1, 3, 5, 6), (6,), frozenset({MONDAY + 3 * DAY}))
    moved = lay_season(MONDAY, RACE, STANDING, closed, shelf, before=before[0].laid.sessions, until=MONDAY)
    same = set(days_of(moved).items()) & set(days_of(before).items())
    assert len(same) >= 2


def test_an_offer_that_is_not_finished_becomes_kinder(runner):
    made = families.offer(
        "own", "severe", "15 min easy, 8 x (5 min at 112 % CP, 1 min easy jog), 5 min easy", runner, 225.0
    )
    assert made is not None and "112" not in made.text
    with pytest.raises(UsageError, match="holds no"):
        families.offer("own", "severe", "15 min easy, 3 x (5 min at ?, 1 min easy jog)", runner, 225.0)


@pytest.mark.parametrize(
    "rows, words",
    [
        ([{"name": "a", "text": "5 min easy"}], "'a' has no purpose"),
        ([{"name": "a", "purpose": "hills", "text": "x", "sizes": [1]}], "'a': 'x' has no duration"),
        ([{"name": "a", "purpose": "hills", "text": "{n} min easy", "sizes": [0]}], "whole numbers"),
        ({}, "list of sessions"),
    ],
)
def test_a_shelf_of_ones_own_is_read_or_refused_by_name(rows, words):
    with pytest.raises(UsageError, match=words):
        families.read_families(rows)


def test_a_shelf_of_ones_own_is_read():
    rows = [
        {
            "name": "club",
            "purpose": "severe",
            "text": "15 min easy, {n} x (800 m at 108 % CP, 2 min jog)",
            "sizes": [4, 6],
        }
    ]
    assert families.read_families(rows) == [families.Family("club", "severe", rows[0]["text"], (4, 6))]


def test_the_same_input_gives_the_same_plan_in_every_process():
    """Ties are broken alike whatever order Python's sets of words have in a process."""
    script = (
        "from tests import planned\n"
        "from tests.planning.test_season import MONDAY, RACE, STANDING, Wishes, lay_season\n"
        "for days in (7, 5):\n"
        "    wishes = Wishes(days - 1, 2, 360.0, tuple(range(days)))\n"
        "    weeks = lay_season(MONDAY, RACE, STANDING, wishes, planned.shelf())\n"
        "    print([(str(k.date), k.offer.text) for w in weeks for k in w.laid.sessions])\n"
    )
    told = {
        subprocess.run(
            [sys.executable, "-c", script],
            env={**os.environ, "PYTHONHASHSEED": seed},
            cwd=Path(__file__).parents[2],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2", "3")
    }
    assert len(told) == 1 and "min easy" in told.pop()


def test_tests_of_a_plan_go_once_none_is_wanted(shelf):
    wishes = Wishes(4, 2, 360.0)
    before = [k for w in lay_season(MONDAY, RACE, STANDING, wishes, shelf) for k in w.laid.sessions]
    assert any(k.offer.purpose == "test" for k in before)
    again = lay_season(MONDAY, RACE, STANDING, replace(wishes, tests=False), shelf, before=before)
    now = [k for w in again for k in w.laid.sessions]
    assert not any(k.offer.purpose == "test" for k in now)
    same = {(k.date, k.offer.text) for k in before} & {(k.date, k.offer.text) for k in now}
    assert len(same) > 0.7 * len(before)  # the weeks without one stand
