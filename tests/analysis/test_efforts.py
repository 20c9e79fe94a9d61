"""Which efforts count, and power at speed."""

import numpy as np
import pytest

from footwork.analysis import efforts, speed
from footwork.analysis.summary import BLOCK_COLUMNS
from footwork.physiology import curve


def best(power, maximal=False, day=1000, run=1):
    power = np.asarray(power, float)
    d, p, s = curve.mean_maximal(power, curve.stored_durations(len(power)))
    return efforts.Best(run, day, "day", maximal, d, p, s)


def test_a_test_of_two_trials_gives_two_efforts():
    power = np.concatenate(
        [np.full(900, 180.0), np.full(180, 350.0), np.full(1200, 150.0), np.full(720, 300.0), np.full(600, 150.0)]
    )
    found = efforts.maximal_efforts(best(power))
    assert [round(t / 60) for t, _ in found] == [12, 3] or [round(t / 60) for t, _ in found] == [3, 12]
    assert {round(p) for _, p in found} == {350, 300}


def test_a_race_with_warm_up_gives_the_race():
    power = np.concatenate([np.full(1200, 190.0), np.full(2400, 280.0), np.full(600, 150.0)])
    ((duration, watts),) = efforts.maximal_efforts(best(power))
    assert duration == pytest.approx(2400, rel=0.03) and watts == pytest.approx(280, rel=0.01)


def test_the_level_of_a_run_is_watts_by_speed_on_its_flat_minutes():
    rows = np.full((8, len(BLOCK_COLUMNS)), np.nan)
    rows[:, 1], rows[:, 2], rows[:, 3] = 210.0, 3.0, 0.0
    assert efforts.flat_level(rows) == pytest.approx(np.log(70))
    assert np.isnan(efforts.flat_level(rows, indoor=True))  # a belt's speed is not known well enough
    rows[:3, 3] = 0.05  # hills are left out
    assert efforts.flat_level(rows) == pytest.approx(np.log(70))
    rows[3:6, 2] = 1.5  # so is walking: two minutes are too few
    assert np.isnan(efforts.flat_level(rows))
    # A slight slope is taken off: 1 % costs 5.4 % (Minetti et al. 2002: 19.5 of 3.6 J/kg/m a unit of grade).
    rows[:, 1], rows[:, 2], rows[:, 3] = 210.0 * np.exp(0.054), 3.0, 0.01
    assert efforts.flat_level(rows) == pytest.approx(np.log(70))


def blocks(rng, speeds, cost, day):
    rows = np.full((len(speeds), len(BLOCK_COLUMNS)), np.nan)
    rows[:, 0] = 60 * np.arange(len(speeds))
    rows[:, 1] = cost * np.asarray(speeds) * day * np.exp(rng.normal(0, 0.02, len(speeds)))
    rows[:, 2], rows[:, 3], rows[:, 8] = speeds, 0.0, 8.0
    return rows


def test_power_at_speed_recovers_the_line_within_its_error():
    rng = np.random.default_rng(4)
    inside = 0
    for _ in range(60):
        cost = rng.uniform(60, 80)
        made = speed.fit(
            [blocks(rng, rng.uniform(2.6, 3.6, 40), cost, np.exp(rng.normal(0, 0.02))) for _ in range(12)], 70.0
        )
        miss = float(np.log(made.power(3.1) / (cost * 3.1)))
        inside += abs(miss) < 1.96 * made.level_sd
        assert made.speed(float(made.power(3.1))) == pytest.approx(3.1, abs=1e-6)
    assert inside >= 52  # 95 % of 60 is 57; fewer than 52 would be a fault with 99 % certainty


def test_power_at_speed_needs_minutes():
    assert speed.fit([blocks(np.random.default_rng(1), np.full(5, 3.0), 70, 1.0)], 70.0) is None
