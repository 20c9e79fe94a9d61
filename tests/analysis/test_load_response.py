"""Whether tests tell how capacity follows load: against a published series, and on simulated runners."""

import csv
from pathlib import Path

import numpy as np
import pytest

from footwork.analysis import load_response as response

SERIES = Path(__file__).parents[3] / "shared" / "series" / "load-and-tests.csv"


def season(seed, days=250, every=18, swing=0.5):
    """Loads that come and go, and days of tests."""
    rng = np.random.default_rng(seed)
    wave = 1 + swing * np.sin(2 * np.pi * np.arange(days) / rng.uniform(70, 120) + rng.uniform(0, 6))
    load = 30.0 * wave * rng.lognormal(0, 0.6, days) * (rng.random(days) > 0.3)
    return rng, load, np.arange(20, days, every)


@pytest.mark.skipif(not SERIES.exists(), reason="the published series is not beside the project")
def test_on_a_published_series_no_model_foresees_the_next_test_better_than_none():
    """Clarke and Skiba 2013, Adv Physiol Educ 37:134 (one rider, 165 d, 9 tests); scores computed by us before this was
    written: M0 12.35, M1 and M2 11.81."""
    rows = list(csv.DictReader(SERIES.open()))
    load = np.array([float(r["load"]) for r in rows])
    days = np.array([k for k, r in enumerate(rows) if r["mean_power_5min_w"]])
    outcomes = np.log([float(rows[k]["mean_power_5min_w"]) for k in days])
    found = {m: response.fit(m, days, outcomes, load) for m in ("M0", "M1", "M2")}
    assert found["M0"].score == pytest.approx(12.35, abs=0.1) and found["M0"].error == pytest.approx(0.0375, abs=5e-4)
    assert found["M1"].score == pytest.approx(11.81, abs=0.1) and found["M1"].error == pytest.approx(0.0385, abs=5e-4)
    assert found["M2"].score == pytest.approx(11.81, abs=0.1)
    reasons, _ = response.why_withheld(days, outcomes, load)
    assert any("no better by load" in r for r in reasons) and any("it takes 10" in r for r in reasons)


def test_more_is_not_always_better_and_rest_costs():
    """Busso 2003, MSSE 35:1188: the gain per unit falls with load. Full rest costs 1.6 times the gain."""
    at = response.gained(np.array([0.0, 1.0, 2.0, 3.0]) * 50.0, 50.0)
    assert at[1] == 0.0 and at[0] == pytest.approx(-1.609, abs=0.001)
    assert at[2] - at[1] > at[3] - at[2] > 0


def test_a_memory_forgets_by_its_constant_and_knows_nothing_of_the_day_itself():
    load = np.r_[np.zeros(40), 100.0, np.zeros(40)]
    mean = response.smoothed(load, 20.0)
    assert mean[40] == 0.0 and mean[41] == pytest.approx(100 * (1 - np.exp(-1 / 20)))
    assert mean[61] == pytest.approx(mean[41] * np.exp(-1.0), rel=1e-6)


def test_without_a_response_it_is_withheld():
    shown = 0
    for seed in range(40):
        rng, load, days = season(seed)
        reasons, _ = response.why_withheld(days, response.simulated(rng, days, load, 35.0, 0.0), load)
        shown += not reasons
    assert shown <= 2  # one in twenty


def test_a_strong_response_with_twelve_tests_beats_none_and_a_second_component_does_not_beat_it():
    better, second = 0, 0
    for seed in range(30):
        rng, load, days = season(seed, swing=0.8)
        outcomes = response.simulated(rng, days, load, 35.0, 0.12)
        none, one, two = (response.fit(m, days, outcomes, load) for m in ("M0", "M1", "M2"))
        better += response.beats(one, none) >= response.LEAST_NATS
        second += response.beats(two, one) >= response.LEAST_NATS
    assert better >= 20 and second <= 1


def test_the_answer_is_covered_where_the_tests_are_those_of_the_prior():
    _, load, days = season(3)
    assert 0.90 <= response.coverage(days, load, 120) <= 0.995


def test_why_nothing_is_told_counts_weeks_from_the_first_test_to_the_last():
    reasons, _ = response.why_withheld(np.array([0, 70], dtype=np.int64), np.zeros(2), np.ones(100))
    assert reasons[0].startswith("2 test and race days in 10 weeks: it takes ")
