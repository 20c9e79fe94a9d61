"""Race days on runs of a few segments whose numbers are worked by hand, and runners who ease."""

import numpy as np
import pytest

from footwork.analysis import speed
from footwork.planning import pacing, race_days
from tests.planning.test_stores import CP, TAIL, course
from tests.reference import test_pacing as reference

ONE = np.ones(1)


def test_race_days_run_dry_when_and_only_when_a_store_is_empty():
    # Three kilometres at 350 W and 5 m/s take 200 s each: W′ of 20 kJ is gone exactly at the first kilometre, one of
    # 61 kJ holds to the end. From there the first goes on at 0.8 CP = 200 W, at 200 / 350 of the speed.
    found = race_days.days(
        np.full(3, 350.0),
        course(3),
        np.full(3, 5.0),
        np.full(2, CP),
        np.array([20_000.0, 61_000.0]),
        np.full(2, TAIL),
        np.ones(2),
        np.ones(2),
        eases=False,
    )
    assert found.dry.tolist() == [0.5, 0.5, 0.5]
    assert found.times == pytest.approx([200 + 2 * 200 * 350 / 200, 600.0])
    assert found.eased == pytest.approx([900 / 600, 1.0])


def test_a_day_that_costs_more_is_slower_and_one_that_holds_more_is_spent_sooner():
    plan = (np.full(4, 300.0), course(4), np.full(4, 4.0))
    held = (np.array([CP]), np.array([200_000.0]), np.array([TAIL]))
    for needs, execution, time in ((1.0, 1.0, 1000.0), (1.05, 1.0, 1050.0), (1.0, 1.1, 1000 / 1.1)):
        found = race_days.days(*plan, *held, needs * ONE, execution * ONE)
        assert found.times == pytest.approx([time]) and found.eased == pytest.approx([1.0])
        assert found.late(1000.0) == float(time > 1010)


def test_a_stop_is_time_and_spares_no_endurance():
    plan = (np.array([350.0, 350.0]), course(2, stops=[60.0, 0.0]), np.full(2, 5.0))
    # Twice 200 s at 100 W over CP spend 20 / 39 of endurance each, which no stop brings back: over 1 with 39 kJ, under
    # it with 41 kJ.
    for joules, dry in ((39_000.0, [0.0, 1.0]), (41_000.0, [0.0, 0.0])):
        found = race_days.days(*plan, np.array([CP]), np.array([joules]), np.array([TAIL]), ONE, ONE, eases=False)
        assert found.dry.tolist() == dry and found.times == pytest.approx([460.0])


def test_a_weaker_day_eases_to_what_it_can_hold_instead_of_running_dry():
    """On the flat a day with 5 % less can hold 5 % less: easing as felt loses hardly more than that, running on until a
    store is empty loses far more."""
    flat, runner = reference.course(np.zeros(200)), reference.engine(reference.MASS)
    plan = pacing.even_power(runner, flat)
    k = np.ones(400)
    weak = (0.95 * runner.critical_power * k, 0.95 * runner.w_prime * k, runner.tail * k, k, k)
    eased, stubborn = (race_days.days(plan.power, flat, plan.speed, *weak, eases=eases) for eases in (True, False))
    able = pacing.Engine(
        0.95 * runner.critical_power, 0.95 * runner.w_prime, runner.tail, runner.flat_power, runner.mass
    )
    best = pacing.even_power(able, flat).time
    assert np.quantile(eased.times, 0.05) > 0.995 * best
    assert np.median(eased.times) == pytest.approx(best, rel=0.01) and eased.gave_way > 0.95
    assert np.median(stubborn.times) > 1.04 * best and eased.dry[-1] < 0.5


def test_a_stronger_day_keeps_to_the_plan():
    flat, runner = reference.course(np.zeros(100)), reference.engine(reference.MASS)
    plan = pacing.even_power(runner, flat)
    k = np.ones(300)
    found = race_days.days(
        plan.power, flat, plan.speed, 1.05 * runner.critical_power * k, runner.w_prime * k, runner.tail * k, k, k
    )
    assert np.median(found.times) == pytest.approx(plan.time, rel=1e-3) and found.gave_way < 0.2
    assert found.dry[-1] < 0.02


def test_a_plan_that_runs_dry_is_never_quicker_for_it():
    runner = pacing.Engine(280.0, 15_000.0, 0.065, speed.prior(68.0).power, 68.0)
    steep = reference.course(np.where(np.arange(200) % 40 < 20, 0.15, -0.2))
    plan = pacing.even_power(runner, steep)
    k = np.ones(50)
    for eases in (True, False):
        found = race_days.days(plan.power, steep, plan.speed, 0.8 * 280 * k, 7500 * k, 0.065 * k, k, k, eases=eases)
        assert (found.times > plan.time).all()
