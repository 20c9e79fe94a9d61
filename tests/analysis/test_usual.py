"""Usual watts: what is unusual is found, and what is usual is left in peace."""

import numpy as np
import pytest

from footwork.analysis import usual_watts as usual
from footwork.analysis.summary import BLOCK_COLUMNS
from footwork.physics.power import slope_factor


def run(rng, day_sd=0.015, factor=1.0, beats=0.0, minutes=45, rate_sd=2.5, sky=None, felt=0.0):
    """Minutes of one run: 70 J/m on the flat, a day's own spread, hills by Minetti, heart rate from power with
    drift."""
    rows = np.full((minutes, len(BLOCK_COLUMNS)), np.nan)
    v, grade, at = rng.uniform(2.5, 3.6, minutes), rng.normal(0, 0.02, minutes), np.arange(minutes) * 60.0
    power = 70 * v * slope_factor(grade) * np.exp(rng.normal(0, day_sd) + rng.normal(0, 0.02, minutes)) * factor
    rate = 90 + 0.25 * power + 4 * at / 3600 + rng.normal(0, rate_sd) + rng.normal(0, 1.5, minutes) + beats
    for name, values in {
        "elapsed": at,
        "power": power,
        "speed": v,
        "grade": grade,
        "heart_rate": rate,
        "power_sd": 0.05 * power,
    }.items():
        rows[:, BLOCK_COLUMNS.index(name)] = values
    if sky is not None:
        heading = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, 0.2, minutes))
        rows[:, BLOCK_COLUMNS.index("east")], rows[:, BLOCK_COLUMNS.index("north")] = np.sin(heading), np.cos(heading)
        rows[:, BLOCK_COLUMNS.index("power")] *= 1 + felt * usual.extra_drag(rows, sky)
    return rows


def learned(rng, what="power", runs=20):
    return usual.fit([run(rng) for _ in range(runs)], [None] * runs, what)


def test_day_to_day_spread_is_recovered():
    found = [learned(np.random.default_rng(i)).between for i in range(12)]
    assert np.mean(found) == pytest.approx(0.015, rel=0.25)


def test_ordinary_runs_are_rarely_called_unusual():
    called = 0
    for seed in range(120):
        rng = np.random.default_rng(seed)
        called += usual.compare(learned(rng), run(rng), None).unusual
    assert called <= 14  # 5 % of 120 is 6; 15 or more would come less than once in a thousand


@pytest.mark.parametrize(("factor", "sign"), [(1.07, 1), (0.93, -1)])
def test_seven_percent_is_found_and_measured(factor, sign):
    rng = np.random.default_rng(3)
    made = usual.compare(learned(rng), run(rng, day_sd=0.0, factor=factor), None)
    assert made.unusual and np.sign(made.excess) == sign
    assert abs(made.excess - np.log(factor)) < 2 * made.sd


def test_heart_rate_above_usual_is_found():
    rng = np.random.default_rng(4)
    made = usual.compare(learned(rng, "heart_rate"), run(rng, beats=12, rate_sd=0.0), None, "heart_rate")
    assert made.unusual and made.excess == pytest.approx(12, abs=4)


def test_hills_alone_are_not_unusual():
    rng = np.random.default_rng(5)
    hilly = run(rng, day_sd=0.0)
    up = BLOCK_COLUMNS.index("grade")
    factor = slope_factor(hilly[:, up] + 0.05) / slope_factor(hilly[:, up])
    hilly[:, BLOCK_COLUMNS.index("power")] *= factor
    hilly[:, up] += 0.05
    assert not usual.compare(learned(rng), hilly, None).unusual


def test_too_little_is_declined():
    rng = np.random.default_rng(6)
    assert usual.fit([run(rng) for _ in range(4)], [None] * 4) is None
    assert usual.compare(learned(rng), run(rng, minutes=8), None) is None


@pytest.mark.parametrize("felt", [0.0, 1.0])
def test_how_much_of_the_wind_a_device_shows_is_learned(felt):
    found = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        skies = [usual.Sky(12.0, float(rng.uniform(0, 9)), float(rng.uniform(0, 360))) for _ in range(25)]
        made = usual.fit([run(rng, sky=s, felt=felt) for s in skies], skies)
        found.append(made.coefficients[-1])
    assert np.mean(found) == pytest.approx(felt, abs=0.2)


def test_the_wind_against_a_runner_costs_and_from_behind_helps():
    rng = np.random.default_rng(1)
    rows = run(rng, minutes=10)
    rows[:, BLOCK_COLUMNS.index("east")], rows[:, BLOCK_COLUMNS.index("north")] = 0.0, 1.0
    assert (usual.extra_drag(rows, usual.Sky(None, 6.0, 0.0)) > 0.01).all()  # a north wind, running north
    assert (usual.extra_drag(rows, usual.Sky(None, 6.0, 180.0)) < 0).all()
    assert np.abs(usual.extra_drag(rows, usual.Sky(None, 6.0, 90.0))).max() < 1e-9
    assert (usual.extra_drag(rows, usual.Sky(20.0, None, None)) == 0).all()


def test_a_hot_days_heart_rate_is_expected_once_the_temperature_is_told():
    called = {True: 0, False: 0}
    for seed in range(30):
        rng = np.random.default_rng(seed)
        warm = [float(rng.uniform(5, 22)) for _ in range(25)]
        blocks = [run(rng, beats=0.8 * (t - 15)) for t in warm]
        for told in (True, False):
            skies = [usual.Sky(t) if told else None for t in warm]
            made = usual.fit(blocks, skies, "heart_rate")
            hot = run(np.random.default_rng(1000 + seed), beats=0.8 * 15)
            called[told] += usual.compare(made, hot, usual.Sky(30.0) if told else None, "heart_rate").unusual
    assert called[True] <= 6 < 20 <= called[False]
