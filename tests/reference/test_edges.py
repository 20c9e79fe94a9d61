"""Edges at which something else is said or counted, each with its two sides, and small sums by hand."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest

from footwork.analysis import agreement, capacity_days, cleaning, editing, efforts, trial_statistics
from footwork.analysis.efforts import Best
from footwork.analysis.summary import BLOCK_COLUMNS
from footwork.api import Library
from footwork.charts import Chart, Mark, Pane, interactive
from footwork.errors import UsageError
from footwork.history.conditions.race_weather import Weather
from footwork.physics import air
from footwork.physiology import population
from footwork.planning import course, even_power, session_words
from footwork.questions.capacity import evidence
from footwork.questions.load import activities
from footwork.questions.race import course_laid, race_plan
from footwork.questions.race.race_question import RaceQuestion, parsed
from footwork.questions.season import doubts, wishes
from footwork.questions.sessions import asked_and_run, recognising
from footwork.questions.squad import prescribing, row_of_many
from footwork.questions.today import weeks
from footwork.questions.trials import trial_design
from footwork.signals import Signals

TODAY = dt.date(2026, 9, 1)


def ran(days_ago, **more):
    told = {"marks": (), "duration_s": 3600.0, "distance_m": 10_000.0, "left_out": False, "entered_by_hand": False}
    at = dt.datetime.combine(TODAY - dt.timedelta(days=days_ago), dt.time(9))
    return SimpleNamespace(**{**told, "local": at, "id": 1, **more})


def test_what_runners_share_by_a_worked_random_effects_mean():
    """DerSimonian and Laird 1986 by hand: own values 1, 2, ..., of variance v each. Q of equal weights is the sum of
    squares over v, and the spread between is the values' variance less v."""
    n = population.LEAST
    own = np.arange(1.0, n + 1)
    v, spread = 4.0, 1e4
    s = np.sqrt(1 / (1 / v + 1 / spread**2))
    made = population.learn(own, np.full(n, s), (0.0, spread))
    assert made.own_mean == pytest.approx(own.mean(), rel=1e-5)
    assert made.own_sd == pytest.approx(np.sqrt(own.var(ddof=1) - v), rel=1e-5) and made.n == n
    share = n / (n + population.WORTH)
    assert made.mean == pytest.approx(share * own.mean(), rel=1e-5)
    assert made.sd == pytest.approx(np.sqrt(share * (own.var(ddof=1) - v) + (1 - share) * spread**2), rel=1e-5)


def test_unequal_runners_weigh_by_what_they_tell():
    # Two groups of halves: variances 1 and 9, values 0 and 6. w = 1, 1/9; fixed mean 0.6 of n/2 each; Q, C by hand.
    n = 2 * (population.LEAST // 2 + 1)
    own, v = np.tile([0.0, 6.0], n // 2), np.tile([1.0, 9.0], n // 2)
    half, spread = n / 2, 1e4
    w = half * (1 + 1 / 9)
    q = half * 0.6**2 + half * 5.4**2 / 9
    between = max((q - (n - 1)) / (w - half * (1 + 1 / 81) / w), 0.0)
    w1, w2 = 1 / (1 + between), 1 / (9 + between)
    made = population.learn(own, np.sqrt(1 / (1 / v + 1 / spread**2)), (0.0, spread))
    assert made.own_mean == pytest.approx(6 * w2 / (w1 + w2), rel=1e-4)
    assert made.own_sd == pytest.approx(np.sqrt(between), abs=1e-3)


def test_a_race_leaves_room_only_up_to_it(monkeypatch):
    race = {"date": TODAY.isoformat(), "name": "Harbour run"}
    monkeypatch.setattr(prescribing.season, "accepted_races", lambda library: [race])

    def said(days_before, hard=True):
        return prescribing._by_a_race(None, hard, TODAY - dt.timedelta(days=days_before))

    assert said(0) == said(0, hard=False) == "it is the day of the Harbour run"
    assert said(1) == "the Harbour run is 1 day later" and said(1, hard=False) == ""
    assert said(prescribing.RACE_DAYS) and not said(prescribing.RACE_DAYS + 1) and said(-1) == ""


def test_hard_is_a_run_of_today_or_yesterday(monkeypatch):
    severe = {"seconds_in_domains": {"moderate": 0.0, "heavy": 0.0, "severe": 3600.0, "extreme": 0.0}}
    monkeypatch.setattr(weeks.load, "load_of_run", lambda library, row: severe if row.id else None)

    def found(days_ago, **more):
        return weeks.was_hard(None, [ran(days_ago, **more)], TODAY)

    assert found(-1) is None and found(0) == "2026-09-01" and found(1) == "2026-08-31" and found(2) is None
    assert found(1, id=0) is None and found(1, id=0, marks=("race",)) == "2026-08-31"


def test_only_a_race_by_hand_of_before_with_a_distance_is_evidence(monkeypatch):
    monkeypatch.setattr(evidence, "relation", lambda near, key, mass: SimpleNamespace())
    monkeypatch.setattr(evidence, "_as_watts", lambda effort, day, known: (300.0, 0.05))
    athlete = SimpleNamespace(value=lambda what, day: 68.0)

    def count(days_ago, **more):
        row = ran(days_ago, **{"entered_by_hand": True, "marks": ("race",), "duration_s": 1200.0, **more})
        library = SimpleNamespace(runs=lambda: [row], athlete=athlete)
        return len(evidence._races_by_hand(library, "a", [], TODAY))

    assert count(0) == count(9) == 1
    assert 0 == count(-1) == count(9, left_out=True) == count(9, distance_m=None) == count(9, entered_by_hand=False)
    assert 0 == count(9, marks=("easy",)) == count(9, duration_s=evidence.critical.SHORTEST_S - 1)


def test_what_runners_of_no_test_show_is_not_learned_from():
    drawn = SimpleNamespace(draws=lambda: (np.full(9, 250.0), np.full(9, 20_000.0), np.full(9, 0.07)))
    library = SimpleNamespace()

    def shape(kind, posterior=drawn):
        made = SimpleNamespace(posterior=posterior, evidence={"kind": kind})
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(row_of_many.capacity, "prior_of", lambda library: None)
            return row_of_many._shape(library, made)

    assert shape("tested")["log_reserve"] == pytest.approx(np.log(80.0))
    assert shape("tested")["log_tail"] == pytest.approx(np.log(0.07))
    assert set(shape("habitual").values()) == set(shape("tested", None).values()) == {None}


def test_metres_down_follow_the_ways_own_up():
    block = np.zeros((4, len(BLOCK_COLUMNS)))
    at = BLOCK_COLUMNS.index("altitude")
    told = SimpleNamespace(climb_m=30.0)
    for heights, down in (
        ((0, 10, 4, 4), 18.0),
        ((9, 9, 9, 9), 30.0),
        ((100, 0, 1, 1), 150.0),
        ((60, 0, 10, 7), 150.0),
    ):
        block[:, at] = heights
        assert activities._descent(SimpleNamespace(blocks=block), told) == pytest.approx(down)
    assert activities._descent(None, told) == 30.0


@pytest.mark.parametrize(("hard", "possible"), [(-1, False), (0, True), (3, True), (4, False)])
def test_a_week_has_none_to_three_hard_sessions(hard, possible):
    asked = {"race": "2026-12-13", "hard": hard}
    if possible:
        assert wishes.read_wishes(TODAY, asked).hard == hard
    else:
        with pytest.raises(UsageError, match="hard sessions a week"):
            wishes.read_wishes(TODAY, asked)


def test_days_of_the_week_are_known_by_three_letters():
    assert wishes._weekdays("Tuesday, thurs sat", ()) == (1, 3, 5)
    with pytest.raises(UsageError, match="is no day of the week"):
        wishes._weekdays("tu", ())


@pytest.mark.parametrize(("told", "share"), [("0", 0.0), ("100", 1.0), ("101", None), ("-1", None)])
def test_humidity_is_nothing_to_all(told, share):
    if share is None:
        with pytest.raises(UsageError, match="humidity"):
            parsed({"humidity": told})
    else:
        assert parsed({"humidity": told})["weather"].humidity == share


def test_a_distance_in_a_time_is_a_pace():
    (step, _), *_ = session_words.parse("400 m in 88 s").steps()
    assert step.target.quantity == "pace" and step.target.middle == pytest.approx(1000 / 220)


def test_splits_are_kilometres_or_miles():
    assert race_plan.splits_every(False) == 1000.0 and race_plan.splits_every(True) == pytest.approx(1609.344)


@pytest.mark.parametrize(
    ("given", "words"), [(("5km=20:30",), "1 race result"), (("5km=20:30", "10km=42:50"), "2 race results")]
)
def test_one_race_result_is_one(given, words):
    assert Library.from_nothing().capacity(given).evidence["sentence"] == words


def test_a_step_of_an_unknown_runner_goes_at_its_pace():
    (step, _), *_ = session_words.parse("1 km at 4:10/km").steps()
    assert asked_and_run._by_target(step, ()).seconds == pytest.approx(250.0)
    (step, _), *_ = session_words.parse("1 km at 250 W").steps()
    assert asked_and_run._by_target(step, ()).seconds == pytest.approx(1000 / 3)


def test_a_test_that_nothing_is_held_against_counts_whole():
    test = SimpleNamespace(durations=(600.0,), powers=(300.0,))
    assert capacity_days._share(test, None) == 1.0
    level = float(np.log(capacity_days.implied_critical_power(600.0, 300.0)))
    assert capacity_days._share(test, SimpleNamespace(level=level)) == pytest.approx(1.0)


def test_a_design_tells_the_chance_of_its_own_runs():
    told = {
        "runs_needed": 9, "blocks": 4, "block_s": 360.0, "speed_mps": 3.0, "rest_s": 120.0, "runs": 5,
        "length_s": 2400.0,
        "statistical_power": [{"runs": 4, "power": 0.31}, {"runs": 5, "power": 0.42}], "effect": 4.0, "unit": "bpm",
        "smallest_worthwhile_change": 2.0, "typical_error_freedom": 0, "typical_error": 2.5, "power_asked": 0.8,
    }  # fmt: skip
    assert "with a chance of 42 %" in trial_design.trial_told(told)
    assert "with a chance of 31 %" in trial_design.trial_told({**told, "runs": 4})


@pytest.mark.parametrize(
    ("values", "left"),
    [
        ([200.0] * 5 + [2000.0] + [200.0] * 5, [5]),
        ([200.0] * 5 + [700.0, 700.0] + [200.0] * 5, []),  # two are none; 500 W above are no burst
        ([200.0, 200.0, 200.0, 800.0, 200.0, 900.0, 200.0, 200.0, 200.0], []),  # either beside the other is not lone
        ([900.0] + [200.0] * 6, [0]),
    ],
)
def test_a_lone_value_is_one_beside_all_four_neighbours(values, left):
    made = np.array(values)
    cleaning._screen("power", made, np.arange(float(len(made))), {})
    assert np.isnan(made).nonzero()[0].tolist() == left


def test_a_way_of_one_value_is_no_way():
    n = 120
    way = np.full(n, np.nan)
    way[-1] = 0.0
    made = editing.rescale(Signals({"time": np.arange(n, dtype=float), "distance": way}, np.ones(n, bool)), 600.0)
    assert made["distance"][-1] == pytest.approx(600.0) and made["speed"][7] == pytest.approx(5.0)
    way[[0, -2, -1]] = 0.0, 0.0, 500.0  # the last is what counts
    made = editing.rescale(Signals({"time": np.arange(n, dtype=float), "distance": way}, np.ones(n, bool)), 600.0)
    assert made["distance"][-1] == pytest.approx(600.0) and "speed" not in made


def test_the_error_of_a_slope_needs_two_more_than_it_has():
    x, y = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 1.0, 2.0, 4.0])
    slope, few = agreement._line_slope(x, y, 1.5)  # under three effective pairs it is that of three
    assert slope == pytest.approx(1.3) and few == pytest.approx(agreement._line_slope(x, y, 3.0)[1])
    assert agreement._line_slope(x, y, 6.0)[1] == pytest.approx(few / 2)


@pytest.mark.parametrize(
    ("off", "left", "doubt"),
    [
        (doubts.DOUBT_DAYS, 7 * doubts.DOUBT_WEEKS, True),
        (doubts.DOUBT_DAYS - 1, 10, False),
        (doubts.DOUBT_DAYS, 7 * doubts.DOUBT_WEEKS + 1, False),
        (doubts.DOUBT_DAYS, 0, True),
        (doubts.DOUBT_DAYS, -1, False),  # it is over
    ],
)
def test_a_race_soon_after_weeks_off_is_in_doubt(monkeypatch, off, left, doubt):
    broken = [SimpleNamespace(back=None, again=None, days_off=lambda day: off)]
    monkeypatch.setattr(doubts.capacity, "lay_offs", lambda library, today: broken)
    said = doubts.race_in_doubt(None, TODAY + dt.timedelta(days=left), TODAY)
    assert (f"After {off} days without running the race in {left} days is in doubt" in said) is doubt


def test_an_effort_is_checked_from_a_minute_on():
    made = recognising._checks(np.r_[np.full(30, 300.0), np.full(30, 300.0 * (1 + 0.9 * recognising.PACED))], 600)
    assert made == {"steady": None, "paced": True, "warmed_up": 600 >= recognising.WARM_S}
    assert recognising._checks(np.full(59, 300.0), 0)["paced"] is None
    assert recognising._checks(np.r_[np.full(60, 300.0), np.full(60, 900.0)], 0)["steady"] is False


@pytest.mark.parametrize(("speed", "possible"), [(0.49, False), (0.5, True), (8.0, True), (8.1, False)])
def test_a_companion_runs_as_people_do(speed, possible):
    if possible:
        assert RaceQuestion(distance=10_000.0, companion=speed).checked().companion == speed
    else:
        with pytest.raises(UsageError, match="companion's pace lies"):
            RaceQuestion(distance=10_000.0, companion=speed).checked()


def test_runs_that_do_not_differ_leave_the_freedom_of_all_blocks():
    """Without a variance between runs it is a regression: n - p degrees of freedom (any textbook)."""
    y = np.tile([1.0, -1.0, 2.0, -2.0], 5)  # each run's mean is nothing
    groups, fixed = np.repeat(np.arange(5), 4), np.tile([0.0, 1.0, 1.0, 0.0], 5)[:, None]
    found = trial_statistics.fit(y, np.column_stack([np.ones(20), fixed]), np.ones(20), groups, 2)
    assert found.freedom == pytest.approx([18.0, 18.0], rel=1e-6)


def test_the_first_split_has_the_work_of_its_own_way():
    made = even_power.splits(course.flat_course(2000.0), np.full(20, 4.0), np.full(20, 250.0), 1000.0)
    assert [s["power_w"] for s in made] == pytest.approx([250.0, 250.0])
    assert [s["time_s"] for s in made] == pytest.approx([250.0, 500.0])


def test_a_level_road_lies_where_it_is_said_to():
    road = course_laid.flat(1000.0)
    at_sea, high = (road.under(Weather(temperature=15.0, humidity=0.0), np.zeros(10), *a) for a in ((), (1500.0,)))
    assert at_sea.density[0] == pytest.approx(float(air.density(15.0, 101_325.0, 0.0)), rel=1e-5)  # at sea level
    assert at_sea.density[0] == pytest.approx(1.225, abs=0.001)  # ICAO standard atmosphere
    assert high.density[0] == pytest.approx(1.225 * np.exp(-1500 * 9.80665 / (287.05 * 288.15)), rel=0.02)


def test_a_test_of_five_trials_gives_its_four_highest():
    powers = np.array([300.0, 301.0, 302.0, 303.0, 304.0])
    made = Best(1, 1, "1", True, np.full(5, 600), powers, np.arange(5) * 700)
    assert [p for _, p in efforts.maximal_efforts(made)] == [304.0, 303.0, 302.0, 301.0]


def test_a_lay_off_is_found_from_minutes_run(monkeypatch):
    seen = {}
    monkeypatch.setattr(evidence.lay_off, "found", lambda running, other, day: seen.update(running) or [])
    monkeypatch.setattr(evidence.diary, "days", lambda library: [])
    rows = [ran(k, heart_rate_bpm=None) for k in (3, 3, 1)]
    library = SimpleNamespace(
        runs=lambda: rows, activities=lambda: [], context=lambda: None, cached=lambda key, make: make()
    )
    assert evidence.lay_offs(library, TODAY) == []
    assert seen == {TODAY.toordinal() - 3: 120.0, TODAY.toordinal() - 1: 60.0}


def test_a_chart_over_years_names_firsts_of_months():
    def ticks(first, last, count=9):
        x = np.linspace(first.toordinal(), last.toordinal(), count)
        made = interactive.options(Chart([Pane("watts", [Mark("points", x, x - x[0])], height=150)], "date", "watts"))
        [axis], [points] = made["xAxis"], [s for s in made["series"] if s["type"] == "scatter"]
        return [dt.date.fromordinal(int(v)) for v in axis["axisLabel"]["customValues"]], points

    named, few = ticks(dt.date(2016, 1, 1), dt.date(2025, 11, 9))
    assert named == [dt.date(y, 1, 1) for y in (2016, 2019, 2022, 2025)] and few["symbolSize"] == 8
    assert ticks(dt.date(2025, 2, 10), dt.date(2026, 2, 20))[0] == [dt.date(2025, m, 1) for m in (4, 7, 10)] + [
        dt.date(2026, 1, 1)
    ]
    many = ticks(dt.date(2016, 1, 1), dt.date(2025, 11, 9), interactive.MANY_POINTS)[1]
    assert many["symbolSize"] == 4 and many["large"] and many["largeThreshold"] == interactive.MANY_POINTS


@pytest.mark.parametrize(
    ("low", "high", "written"),
    [
        (19.8, 21.4, [20, 21]),
        (19.6, 22.2, [20, 21, 22]),
        (8.8, 10.4, [8.8, 9.5, 10]),
        (100.0, 300.0, [100, 150, 200, 250, 300]),
    ],
)
def test_no_two_labels_of_an_axis_read_alike(low, high, written):
    """From ten on they are whole numbers, so half a metre apart two of them would read alike."""
    ticks = interactive._round_ticks(Pane("altitude, m", [], height=150), low, high)
    assert [interactive._shown(tick) for tick in ticks] == written
