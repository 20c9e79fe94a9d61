"""Calibrating one way of knowing load by another, and the error of sums."""

import numpy as np
import pytest

from footwork.analysis import load_sums
from footwork.analysis.load_sums import Calibration, Part


def test_without_days_that_tell_the_prior_speaks():
    made = load_sums.calibrate([30, 40], [20, 30], 0.3)
    assert (made.level, made.slope, made.pairs) == (0.0, 0.0, 2) and made.applied(50.0) == 50.0
    assert made.covariance[0, 0] ** 0.5 == pytest.approx(0.25)


def test_own_days_tell_how_a_way_reads():
    rng = np.random.default_rng(3)
    true = np.exp(rng.normal(3.8, 0.5, 40))
    read = true * np.exp(-0.3 + rng.normal(0, 0.28, 40))  # reads a quarter low
    made = load_sums.calibrate(true, read, 0.285)
    assert made.level == pytest.approx(0.3, abs=0.1) and made.covariance[0, 0] ** 0.5 < 0.06
    assert made.applied(float(np.exp(3.5))) == pytest.approx(float(np.exp(3.8)), rel=0.12)


def test_a_day_far_out_hardly_bends_it():
    rng = np.random.default_rng(4)
    true = np.exp(rng.normal(3.8, 0.5, 20))
    read = true * np.exp(rng.normal(0, 0.15, 20))
    before = load_sums.calibrate(true, read, 0.16).level
    read[0] *= 30
    assert abs(load_sums.calibrate(true, read, 0.16).level - before) < 0.08


def test_the_error_of_a_sum_holds_what_days_share():
    # Worked by hand: four days of 50, own error 10 %, a level known to 20 %: sqrt(4·5² + (200·0.2)²) = 41.2 of 200.
    of = Calibration(0.0, 0.0, float(np.log(50)), np.diag([0.04, 0.0]), 9)
    felt = (("felt", of.design(50.0)),)
    found = load_sums.summed([Part(50.0, 0.1, felt) for _ in range(4)], {"felt": of.covariance})
    spread = np.sqrt(np.log1p((41.23 / 200) ** 2))
    assert found.value == 200 and found.low == pytest.approx(200 * np.exp(-1.96 * spread), rel=1e-3)
    # Without it, errors of days even out: 10 of 200.
    alone = load_sums.summed([Part(50.0, 0.1) for _ in range(4)], {})
    assert alone.high == pytest.approx(200 * np.exp(1.96 * 0.05), rel=2e-3)
    # 2 % of critical power at 0.75 of it: 2 % · (1 + 1.9 · 0.75) = 4.85 % of every day alike.
    shared = (("critical power", load_sums.of_capacity(0.75)),)
    held = load_sums.summed([Part(50.0, 0.0, shared) for _ in range(4)], {"critical power": np.diag([0.02**2, 0.0])})
    assert held.high == pytest.approx(200 * np.exp(1.96 * 0.0485), rel=1e-3)
    assert load_sums.summed([], {}).value == 0.0


def test_weeks_of_mixed_ways_hold_the_truth_as_often_as_they_say():
    """Simulated weeks of which each day's load is known: three days by power, two by heart rate, two by exertion."""
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(400):
        bias = {"heart": rng.normal(0, 0.25), "felt": rng.normal(0, 0.25)}
        error = {"heart": 0.16, "felt": 0.28}
        made, past = {}, np.exp(rng.normal(3.8, 0.5, 15))
        for way in bias:
            read = past * np.exp(-bias[way] + rng.normal(0, error[way], 15))
            by_power = past * np.exp(rng.normal(0, 0.05, 15))
            made[way] = load_sums.calibrate(by_power, read, float(np.hypot(error[way], 0.05)))
        wrong = rng.normal(0, 0.015)
        true = np.exp(rng.normal(3.8, 0.5, 7))
        parts = []
        for k, load in enumerate(true):
            seen = load * np.exp(-wrong * (1 + 1.9 * 0.7))
            capacity = ("critical power", load_sums.of_capacity(0.7))
            if k < 3:
                parts.append(Part(float(seen * np.exp(rng.normal(0, 0.05))), 0.05, (capacity,)))
                continue
            way = "heart" if k < 5 else "felt"
            given = float(seen * np.exp(-bias[way] + rng.normal(0, error[way])))
            parts.append(Part(made[way].applied(given), error[way], (capacity, (way, made[way].design(given)))))
        known = {way: of.covariance for way, of in made.items()} | {"critical power": np.diag([0.015**2, 0.0])}
        found = load_sums.summed(parts, known)
        held += found.low <= true.sum() <= found.high
    assert 0.92 <= held / 400 <= 0.98
