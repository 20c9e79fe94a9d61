"""The stores along a course and race days, on runs of a few segments whose numbers are worked by hand."""

import numpy as np
import pytest

from footwork.physiology.endurance import time_to_exhaustion
from footwork.planning import pacing
from footwork.planning.course import Course

CP, WP, TAIL = 250.0, 20_000.0, 0.065
ENGINE = pacing.Engine(CP, WP, TAIL, lambda v: 70.0 * np.asarray(v, float))


def course(n, length=1000.0, stops=None):
    zero = np.zeros(n)
    made = Course(np.full(n, length), zero, zero, np.full(n, 1.2))
    return (
        made
        if stops is None
        else Course(np.full(n, length), zero, zero, np.full(n, 1.2), None, 1.0, 1.0, np.array(stops))
    )


def test_stores_spend_and_come_back():
    # 120 s at 350 W cost 12 kJ; 300 s at 100 W bring the deficit down by exp(-150 x 300 / 20000) to 1264.8 J.
    run = pacing.stores(ENGINE, np.array([350.0, 100.0]), np.array([120.0, 300.0]))
    assert run.w_prime == pytest.approx([8000.0, 20_000 - 12_000 * np.exp(-2.25)])
    lasting = [float(time_to_exhaustion(p, CP, WP, TAIL)) for p in (350.0, 100.0)]
    assert run.endurance == pytest.approx([1 - 120 / lasting[0], 1 - 120 / lasting[0] - 300 / lasting[1]])
    assert lasting[0] == pytest.approx(200.0)  # W′ over 100 W
    # Standing 40 s after the first: its deficit falls by exp(-250 x 40 / 20000) before the second begins.
    stood = pacing.stores(ENGINE, np.array([350.0, 100.0]), np.array([120.0, 300.0]), np.array([40.0, 0.0]))
    assert stood.w_prime == pytest.approx([8000.0, 20_000 - 12_000 * np.exp(-0.5) * np.exp(-2.25)])
    assert stood.clock.tolist() == [120.0, 460.0] and stood.time == 460.0


def test_what_is_spare_is_the_scarcer_store_above_the_reserve():
    run = pacing.stores(ENGINE, np.array([350.0]), np.array([120.0]))  # 40 % of W′, 40 % of endurance left
    assert pacing.spare(ENGINE, run, 0.1) == pytest.approx(0.3)
    tired = pacing.stores(ENGINE, np.array([200.0]), np.array([10_000.0]))
    assert pacing.spare(ENGINE, tired, 0.0) == pytest.approx(float(tired.endurance[-1]))


def test_the_hardest_and_the_fastest_of_a_plan():
    assert ENGINE.hardest == pytest.approx(CP + WP / 120)
    # 70 J/m: 3.571 m/s at CP, 5.952 m/s at the hardest; downhill 1.3 times the former is less than the latter.
    assert ENGINE.fastest() == pytest.approx(ENGINE.hardest / 70, abs=0.001)
    strong = pacing.Engine(CP, 2000.0, TAIL, ENGINE.flat_power)
    assert strong.fastest() == pytest.approx(1.3 * CP / 70, abs=0.001)
    shown = pacing.Engine(CP, 2000.0, TAIL, ENGINE.flat_power, descent=5.5)
    assert shown.fastest() == 5.5


def test_a_descent_that_was_shown():
    speed, grade = np.linspace(3.0, 5.0, 101), np.full(101, -0.05)
    assert pacing.shown_descent(speed, grade) == pytest.approx(1.05 * 4.96)  # the 98th of a hundred, a twentieth faster
    assert pacing.shown_descent(speed[:19], grade[:19]) is None
    assert pacing.shown_descent(speed[:20], grade[:20]) is not None
    assert pacing.shown_descent(speed, np.full(101, -0.029)) is None


def test_even_power_and_even_pace_on_a_flat_road_are_one():
    # Ten flat kilometres: the power that lasts as long as it takes, T(P) = 10000 x 70 / P.
    flat = course(10)
    run, pace = pacing.even_power(ENGINE, flat), pacing.even_pace(ENGINE, flat)
    power = float(run.power[0])
    assert run.time == pytest.approx(10_000 * 70 / power, rel=1e-6) == pytest.approx(pace.time, rel=1e-5)
    assert float(time_to_exhaustion(power, CP, WP, TAIL)) == pytest.approx(run.time, rel=1e-4)
    kept = pacing.even_power(ENGINE, flat, 0.2)
    assert float(kept.endurance[-1]) == pytest.approx(0.2, abs=1e-4)
    assert pacing.in_time(ENGINE, flat, 3000.0).power == pytest.approx(10_000 * 70 / 3000.0, rel=1e-5)
    assert pacing.in_time(ENGINE, flat, 3000.0, even_speed=True).speed == pytest.approx(10_000 / 3000.0)


def test_race_days_run_dry_when_and_only_when_a_store_is_empty():
    # Three kilometres at 350 W and 5 m/s take 200 s each: W′ of 20 kJ is gone exactly at the first kilometre, one of
    # 61 kJ holds to the end. From there the first goes on at 0.8 CP = 200 W, at 200 / 350 of the speed.
    flat, one = course(3), np.ones(2)
    days = pacing.futures(
        np.full(3, 350.0),
        flat,
        np.full(3, 5.0),
        np.full(2, CP),
        np.array([20_000.0, 61_000.0]),
        np.full(2, TAIL),
        one,
        one,
    )
    assert days.dry.tolist() == [0.5, 0.5, 0.5]
    assert days.times == pytest.approx([200 + 2 * 200 * 350 / 200, 600.0])


def test_a_day_that_costs_more_is_slower_and_one_that_holds_more_is_spent_sooner():
    flat, one = course(4), np.ones(1)
    plan = (np.full(4, 300.0), flat, np.full(4, 4.0))
    held = (np.array([CP]), np.array([200_000.0]), np.array([TAIL]))
    assert pacing.futures(*plan, *held, one, one).times == pytest.approx([1000.0])
    assert pacing.futures(*plan, *held, 1.05 * one, one).times == pytest.approx([1050.0])
    assert pacing.futures(*plan, *held, one, 1.1 * one).times == pytest.approx([1000 / 1.1])


def test_a_stop_is_time_and_spares_no_endurance():
    one = np.ones(1)
    plan = (np.array([350.0, 350.0]), course(2, stops=[60.0, 0.0]), np.full(2, 5.0))
    # Twice 200 s at 100 W over CP spend 20 / 39 of endurance each, which no stop brings back: over 1 with 39 kJ, under
    # it with 41 kJ.
    days = pacing.futures(*plan, np.array([CP]), np.array([39_000.0]), np.array([TAIL]), one, one)
    assert days.dry.tolist() == [0.0, 1.0] and days.times == pytest.approx([460.0])
    more = pacing.futures(*plan, np.array([CP]), np.array([41_000.0]), np.array([TAIL]), one, one)
    assert more.dry.tolist() == [0.0, 0.0]
