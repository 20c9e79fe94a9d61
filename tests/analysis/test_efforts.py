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
    assert efforts.flat_levels([rows], [False])[0] == pytest.approx(np.log(70))
    assert np.isnan(efforts.flat_levels([rows], [True])[0])  # a belt's speed is not known well enough
    rows[:3, 3] = 0.05  # hills are left out
    assert efforts.flat_levels([rows], [False])[0] == pytest.approx(np.log(70))
    rows[3:6, 2] = 1.5  # so is walking: two minutes are too few
    assert np.isnan(efforts.flat_levels([rows], [False])[0])
    # A slight slope is taken off: 1 % costs 5.4 % (Minetti et al. 2002: 19.5 of 3.6 J/kg/m a unit of grade).
    rows[:, 1], rows[:, 2], rows[:, 3] = 210.0 * np.exp(0.054), 3.0, 0.01
    assert efforts.flat_levels([rows], [False])[0] == pytest.approx(np.log(70))


def test_each_run_has_a_level_of_its_own():
    rng = np.random.default_rng(4)
    runs = []
    for minutes in (7, 0, 12, 4, 5):
        rows = np.full((minutes, len(BLOCK_COLUMNS)), np.nan)
        rows[:, 1], rows[:, 2], rows[:, 3] = rng.uniform(180, 300, minutes), 3.0, 0.0
        runs.append(rows)
    levels = efforts.flat_levels(runs, [False] * 4 + [True])
    expected = [np.median(np.log(runs[i][:, 1] / 3.0)) for i in (0, 2)]
    np.testing.assert_allclose(levels, [expected[0], np.nan, expected[1], np.nan, np.nan])
    assert len(efforts.flat_levels([], [])) == 0


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


def hilly(rng, runs, response, walked=0.0):
    """Runs over slopes whose device answers them by a share, up 0.7 of it at 10 %; grades are read with their error."""
    from footwork.analysis.summary import AT
    from footwork.physics.power import slope_factor

    out = []
    for _ in range(runs):
        rows = blocks(rng, np.full(60, 3.0), 70.0, 1.0)
        true = np.where(np.arange(60) % 3 == 0, 0.0, rng.choice([-0.06, -0.03, 0.03, 0.06, 0.10], 60))
        share = np.where(true >= 0.1, 0.7 * response, response)
        rows[:, AT["power"]] *= 1.0 + share * (slope_factor(true) - 1.0)
        rows[:, AT["grade"]] = true + rng.normal(0, speed.GRADE_SD, 60)
        rows[:, AT["cadence"]] = 165.0
        if walked:  # steep minutes on foot, of which the device shows little
            steep = true >= 0.06
            rows[steep, AT["cadence"]], rows[steep, AT["power"]] = 115.0, 120.0
        out.append(rows)
    return out


def test_a_devices_response_is_learned_by_grade_and_errors_of_grade_are_taken_out():
    rng = np.random.default_rng(9)
    runs = hilly(rng, 20, 0.9)
    made = speed.fit(runs, 70.0)
    told, sd = made.slope_response(np.array([0.03, 0.06, 0.10, -0.03, -0.06, 0.0]))
    assert told[:5] == pytest.approx([0.9, 0.9, 0.63, 0.9, 0.9], abs=0.05) and (sd[:5] < 0.15).all()
    # The share of the grades' variance that is no error of theirs: 1 - 0.004² / variance.
    spread = float(np.var(np.concatenate([r[:, 3] for r in runs])))
    assert made.reliable == pytest.approx(1 - 0.004**2 / spread, abs=1e-3)
    # Between the slopes it is a line, beyond them it stays.
    middle, far = made.slope_response(np.array([0.045, 0.08, 0.2]))[0][:2], made.slope_response(np.array([0.2]))[0][0]
    assert middle == pytest.approx([(told[0] + told[1]) / 2, (told[1] + told[2]) / 2]) and far == pytest.approx(told[2])


def test_walked_minutes_say_nothing_of_how_a_device_shows_running_up_hill():
    made = speed.fit(hilly(np.random.default_rng(10), 20, 0.9, walked=1.0), 70.0)
    up = made.slope_response(np.array([0.03, 0.06]))[0]
    assert up == pytest.approx([0.9, 0.95], abs=0.1)  # at 6 % none was run: the prior and the others tell


def test_a_new_run_is_held_against_the_weeks_before_it_also_where_they_are_settled():
    days = np.array([*range(24, 104, 8), 104], dtype=np.int64)
    levels = np.array([*[-0.02, 0.02] * 5, 0.2])
    before = efforts.clips(days, levels, 100, 0, np.zeros(11))
    assert not before.any()
    for since in (0, 100):
        assert efforts.clips(days, levels, 104, since, before)[-1] == pytest.approx(0.2 - efforts.CLIP_FREE)
