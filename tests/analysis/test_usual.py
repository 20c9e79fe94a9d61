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


def test_slopes_that_were_not_learned_are_not_compared():
    rng = np.random.default_rng(5)
    steep = run(rng)
    steep[:, BLOCK_COLUMNS.index("grade")] += 0.17  # an uphill of 17 % was once called 48 W less than usual
    assert usual.compare(learned(rng), steep, None) is None


def test_a_run_is_not_judged_by_itself():
    rng = np.random.default_rng(6)
    blocks = [run(rng) for _ in range(8)]
    blocks.append(run(rng, factor=1.10))
    made = usual.fit(blocks, [None] * 9)
    taken_off = made.without(blocks[-1], None)
    # As a fit of the others alone at the same spreads: its coefficients follow in closed form.
    kept = [usual.steady(b) for b in blocks[:-1]]
    left, right = np.diag(1 / np.square(usual.PRIORS["power"])), np.zeros(7)
    within, between = made.made.spreads
    for k in kept:
        x, y = usual.power_design(k, None, made.centre)
        inverse = np.linalg.inv(within**2 * np.eye(len(y)) + between**2)
        left, right = left + x.T @ inverse @ x, right + x.T @ inverse @ y
    np.testing.assert_allclose(taken_off.coefficients, np.linalg.solve(left, right), rtol=1e-6, atol=1e-8)
    mine, without = (usual.compare(u, blocks[-1], None).excess for u in (made, taken_off))
    assert without > mine and taken_off.runs == 8


def test_what_the_conditions_ask_for_is_told_in_numbers():
    rng = np.random.default_rng(8)
    up = run(rng, day_sd=0.0)
    grade = BLOCK_COLUMNS.index("grade")
    up[:, grade] = 0.02
    made = usual.compare(learned(rng), up, None)
    assert made.reasons["hills"] == pytest.approx(float(np.log(slope_factor(0.02))), abs=0.02)
    assert made.reasons["wind"] == 0 and abs(made.reasons["time into the run"]) < 0.02
