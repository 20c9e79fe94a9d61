"""Numbers that decide what is said, each with the one right outcome, worked by hand beside it."""

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from footwork.analysis import conversion, load_response, matched_power, usual_watts, worthwhile
from footwork.history import dated
from footwork.physiology import curve, domains, habitual, lay_off
from footwork.planning import session_steps
from footwork.planning.families import Offer, race_family
from footwork.planning.season_weeks import Standing
from footwork.planning.week_days import Frame, Kept, stands
from footwork.quantities import Estimate
from footwork.questions.load.borders import Borders
from footwork.questions.runs import one_run
from footwork.questions.season import plan_basis, wishes
from footwork.questions.squad import prescribing


def test_beats_become_power_by_the_slope():
    # 4 bpm fewer at 0.2 bpm/W are 20 W, at 250 W 8 %.
    beats, gains = matched_power.gain_draws(-4.0, 0.5, 0.2, 1e-6, 250.0)
    assert np.mean(gains) == pytest.approx(8.0, abs=0.05) and np.std(gains) == pytest.approx(1.0, abs=0.03)
    assert np.mean(beats) == pytest.approx(-4.0, abs=0.03)
    # A slope that could be nothing is held at 0.02 bpm/W: no gain beyond 4 / 0.02 / 250 = 80 %.
    assert matched_power.gain_draws(-4.0, 1e-9, 0.0, 1e-9, 250.0)[1].max() == pytest.approx(80.0, abs=0.01)


@pytest.mark.parametrize(
    ("first", "second", "heat_sd", "gain", "warmer"),
    [
        ([15, 16, 17], [21, 24, 25], 0.1, -1.0, 1),  # warmer by over 3 degrees, worse, heat told to 2 x 0.1 x 7.3 bpm
        ([15, 16, 17], [21, 24, 25], 0.1, 1.0, None),  # better in spite of heat is better
        ([15, 16, 17], [19, 24, 25], 0.1, -1.0, None),  # the sides come within 3 degrees
        ([15, 16, 17], [21, 24, 25], 0.03, -1.0, None),  # 2 x 0.03 x 7.3 = 0.44 bpm: told well enough
        ([15, 16, 17], [21, 24, 25], 0.035, -1.0, 1),  # 0.51 bpm
        ([21, 24, 25], [15, 16, 17], 0.1, 1.0, 0),  # the first was warmer: the gain may be its heat
        ([21, 24, 25], [15, 16, 17], 0.1, -1.0, None),
    ],
)
def test_heat_may_explain_a_loss(first, second, heat_sd, gain, warmer):
    assert matched_power.heat_may_explain(np.array(first, float), np.array(second, float), heat_sd, gain) == warmer


def test_the_mean_of_runs_has_students_interval():
    # t(0.975, 3) = 3.182446 (any table of Student's t), SD of 200, 210, 220, 230 is 12.909944: half 20.542.
    made = usual_watts.mean_of_runs(np.array([200.0, 210.0, np.nan, 220.0, 230.0]), "W", 15)
    assert (made.value, made.n) == (215.0, 4)
    assert made.low == pytest.approx(215 - 20.5426, abs=0.001) and made.high == pytest.approx(215 + 20.5426, abs=0.001)
    assert usual_watts.mean_of_runs(np.array([200.0, 210.0, 220.0]), "W", 14).value is None
    assert usual_watts.mean_of_runs(np.array([200.0, 210.0]), "W", 30).value is None


def test_domain_borders_lie_where_they_are_said_to():
    # Two minutes at CP 250 W and W′ 20 kJ are 250 + 20000 / 120 = 416.67 W; moderate ends at 0.80 (0.72 to 0.88) CP.
    low, middle, high = domains.border_draws(np.full(20_000, 250.0), np.full(20_000, 20_000.0))
    assert np.median(low) == pytest.approx(200.0, abs=0.5)
    assert np.quantile(low, [0.025, 0.975]) == pytest.approx([180.0, 220.0], abs=1.0)
    assert np.all(middle == 250.0) and np.median(high) == pytest.approx(416.667, abs=0.001)


def test_load_follows_the_accepted_critical_power():
    borders = Borders(
        [Estimate(v, v - 5, v + 5, "W", 3, "domains") for v in (200.0, 250.0, 400.0)],
        [(dt.date(2026, 3, 1), 240.0), (dt.date(2026, 5, 1), 260.0)],
    )
    assert borders.factor(dt.date(2026, 2, 28)) == 1.0
    assert borders.factor(dt.date(2026, 3, 1)) == pytest.approx(0.96)
    assert borders.factor(dt.date(2026, 6, 1)) == pytest.approx(1.04)
    assert [b.value for b in borders.at(1.04)] == pytest.approx([208.0, 260.0, 410.0])


def test_what_weeks_without_running_took_is_of_their_own_days():
    proposed = [Estimate(v, v - 5, v + 5, "W", 3, "domains") for v in (200.0, 250.0, 400.0)]
    since = dt.date(2026, 3, 1).toordinal()
    off = lay_off.found({since - 2 * k: 50.0 for k in range(30)}, {}, since + 40)
    lost = lay_off.lost_on(off, since + 40)
    borders = Borders(proposed, [(dt.date(2026, 4, 20), 240.0)], off, lost)
    assert lost > 0.03 and borders.factor(dt.date(2026, 2, 1)) == pytest.approx(1 / (1 - lost))
    assert borders.factor(dt.date(2026, 4, 10)) == pytest.approx(1.0)
    assert borders.factor(dt.date(2026, 4, 20)) == pytest.approx(0.96)  # an accepted one is of its day as it is


def test_few_common_runs_widen_a_conversion_as_students_t():
    # Three runs leave t(0.975, 4) = 2.776445 where many leave 1.96 (any table): the same scatter, seen in three runs
    # and told alike by each, is wider by 1.4166.
    rng = np.random.default_rng(4)
    pairs = []
    for _ in range(3):
        first = rng.uniform(180, 300, 40)
        second = first * 1.1 * np.exp(rng.normal(0, 0.01) + rng.normal(0, 0.02, 40))
        pairs.append((first, second, np.full(40, np.nan)))
    made = conversion.learn(pairs)
    from footwork.analysis import mixed

    centre, guess = (
        np.mean([p[0].mean() for p in pairs]),
        float(np.median(np.concatenate([b / a for a, b, _ in pairs]))),
    )
    groups = [(np.column_stack([np.ones(40), (0.5 * (a + b / guess) - centre) / centre]), b / a) for a, b, _ in pairs]
    plain = mixed.fit(
        groups,
        [0.5 * guess, conversion.BEND_SD * guess],
        [guess, 0.0],
        start=(conversion._MINUTE_SD * guess, conversion._RUN_SD * guess),
        floor=(0.003 * guess, 0.002 * guess),
        robust=True,
    )
    ratio = np.sqrt(np.diag(made.covariance) / np.diag(plain.covariance))
    assert ratio == pytest.approx([2.776445 / 1.959964] * 2, rel=0.02)


@pytest.mark.parametrize(
    ("change", "sd", "word"),
    [
        (2.4599, 1.0, "cannot tell yet"),  # better with Φ((2.4599 - 0.5) / 1) = 0.9750: just short of 1.959964
        (2.47, 1.0, "improved"),
        (-2.47, 1.0, "worse"),
        (0.0, 0.25, "no worthwhile change"),  # inside ±0.5 with 1 - 2 Φ(-2) = 0.9545 of 0.95 asked
        (0.0, 0.26, "cannot tell yet"),  # 1 - 2 Φ(-1.923) = 0.9455
    ],
)
def test_a_verdict_needs_its_probability(change, sd, word):
    assert worthwhile.decide(change, sd, 0.5).word == word


def test_two_conversions_in_a_row_by_hand():
    # 200 W times 1.1 are 220 W; times 0.9: 198 W, a factor of 0.99. Errors: 2 % of the first (0.02 x 0.9), 1 % of
    # the second (0.01 x 1.1); the spreads 3 and 4 % make 5 %; the third scale adds 2 %.
    none = np.zeros((2, 2))
    first = conversion.Conversion(1.1, 0.0, none + np.diag([0.02**2, 0]), 200.0, 0.03, 9, 300, 150.0, 300.0)
    second = conversion.Conversion(0.9, 0.0, none + np.diag([0.01**2, 0]), 220.0, 0.04, 7, 200, 176.0, 308.0)
    made = first.then(second)
    assert made.factor == pytest.approx(0.99) and made.apply(200.0) == pytest.approx(198.0)
    assert np.sqrt(made.covariance[0, 0]) == pytest.approx(np.hypot(0.02 * 0.9, 0.01 * 1.1))
    assert made.run_sd == pytest.approx(0.05) and (made.runs, made.minutes) == (7, 200)
    assert (made.low, made.high) == pytest.approx((160.0, 280.0))  # where both were seen, in watts of the first
    assert made.extra_sd == pytest.approx(0.02) and made.then(second).extra_sd == pytest.approx(np.hypot(0.02, 0.02))


def test_a_bent_conversion_by_hand():
    # Factor 1.1 at 200 W, 0.1 more per doubling: at 250 W 1.1 + 0.1 x 0.25 = 1.125; slope and offset of the line at the
    # centre are 1.2 and -20 W.
    made = conversion.Conversion(1.1, 0.1, np.diag([0.01**2, 0.03**2]), 200.0, 0.0, 9, 300, 150.0, 300.0)
    assert made.apply([200.0, 250.0]) == pytest.approx([220.0, 281.25])
    assert made.slope == pytest.approx((1.2, np.hypot(0.01, 0.03))) and made.offset == pytest.approx((-20.0, 6.0))
    # A third beyond what was seen the factor stays: 300 x 1.33 = 399 W.
    assert made.apply(500.0) / 500 == pytest.approx(made.apply(399.0) / 399)
    assert made.error(250.0) == pytest.approx(np.hypot(0.01, 0.03 * 0.25) / 1.125, rel=1e-6)


@pytest.mark.parametrize(
    ("runs", "share", "hard"), [(1, 0.3, 0), (2, 0.3, 1), (3, 0.3, 1), (4, 0.119, 1), (4, 0.12, 2), (6, 0.3, 2)]
)
def test_a_plan_asks_as_many_hard_sessions_as_are_run(runs, share, hard):
    standing = Standing(150.0, 160.0, 80.0, share, 300.0, float(runs))
    assert plan_basis._hard_sessions(standing, runs) == hard


def test_a_race_is_called_by_its_distance():
    assert [wishes.race_name(m) for m in (21_097.5, 42_195.0, 10_000.0, 12_345.0, 800.0)] == [
        "half marathon",
        "marathon",
        "10 km",
        "12.345 km",
        "800 m",
    ]


def test_sessions_near_a_races_power_grow_by_one_repeat():
    made = race_family(0.93, 100.0)
    assert made.sizes == (2, 3, 4, 5) and "10 min at 92 to 94 % CP, 3 min easy jog" in made.text


def test_a_planned_week_stands_only_with_nothing_hard_on_an_easy_day():
    day = dt.date(2026, 11, 30)
    hard = Kept(day, Offer("four minutes", "severe", "4 min", 40.0, 50.0, 12.0))
    easy = Kept(day, Offer("easy run", "easy", "30 min", 15.0, 30.0, 0.0))
    frame = Frame((day,), 50.0, 60.0, 10.0, 60.0, 80.0, 300.0, 1, 1, ("severe",))
    assert stands(frame, [hard]) and stands(frame, [easy])
    spared = replace(frame, no_demanding=frozenset({day}))
    assert not stands(spared, [hard]) and stands(spared, [easy])


@pytest.mark.parametrize(
    ("low", "high", "possible"), [(30, 1500, True), (29, 100, False), (100, 1501, False), (300, 200, False)]
)
def test_a_target_lies_within_what_is_run(low, high, possible):
    assert session_steps.possible(session_steps.Target("watts", low, high)) is possible


def test_a_longer_best_bounds_every_shorter_one():
    rows = np.array([[300.0, 310.0, 320.0, 250.0], [290.0, 280.0, 330.0, 260.0]])
    made = curve.combine(np.array([60, 120, 180, 600]), rows, [7, 8])
    assert made.best.tolist() == [330.0, 330.0, 330.0, 260.0] and made.run.tolist() == [8, 8, 8, 8]


def test_what_a_session_asks_is_finished_as_often_as_it_does_not_run_dry():
    assert prescribing._why(0.3) == "as it was asked it is finished 70 times in a hundred"


@pytest.mark.parametrize(("tests", "weeks", "few"), [(9, 40, True), (10, 25, True), (10, 26, False), (12, 40, False)])
def test_a_response_takes_ten_tests_over_half_a_year(tests, weeks, few):
    days = np.round(np.linspace(0, 7 * weeks, tests)).astype(np.int64)
    reasons, _ = load_response.why_withheld(days, np.full(tests, 5.6), np.full(7 * weeks + 1, 30.0))
    assert any("it takes 10 over 26 weeks" in r for r in reasons) is few


def test_a_break_ends_the_return_from_the_one_before():
    """Each of three breaks is ended by the next, before its return was through."""
    runs = {d: 50.0 for d in (*range(0, 60, 2), *range(80, 86, 2), *range(105, 111, 2))}
    first, second, third = lay_off.found(runs, {}, 140)
    assert (first.since, first.again) == (58, second.since) and (second.since, second.again) == (84, third.since)
    assert third.again is None


def test_a_long_pause_leaves_today_and_only_an_archive_stands_on_its_newest_run():
    today = dt.date(2026, 11, 28)

    def meant(run, archive):  # days ago
        return (today - dated.counts_as_today(today - dt.timedelta(days=run), archive, today)).days

    assert dated.ARCHIVE_DAYS == habitual.PAUSE_DAYS == 84
    assert not dated.old_on_arrival(today - dt.timedelta(days=84), today)
    assert dated.old_on_arrival(today - dt.timedelta(days=85), today)
    assert meant(0, False) == meant(85, False) == meant(4000, False) == 0 and meant(85, True) == 85
    assert meant(-1, False) == -1 and meant(-2, False) == 0  # tomorrow it is elsewhere; a clock that runs ahead


def test_a_distance_that_takes_far_too_long_is_named():
    def told(metres, seconds):
        return one_run._impossible(SimpleNamespace(id=3, distance_m=metres, duration_s=seconds))

    assert told(380.0, 3342.0) == [
        "0.38 km in 55:42 cannot be what was run: footwork edit distance 3 METRES corrects it"
    ]
    assert told(380.0, 599.0) == told(None, 3342.0) == told(8380.0, 3342.0) == []
