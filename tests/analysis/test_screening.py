"""Heart-rate screening on traces that can be checked by eye, and on the real recording."""

from pathlib import Path

import numpy as np
import pytest

from footwork.analysis import screening
from footwork.analysis.cleaning import clean

REAL = Path(__file__).parents[3] / "shared" / "recordings" / "run-with-power-2017.fit"
N = 2400


def steady(seed=1):
    rng = np.random.default_rng(seed)
    power = 240 + 5 * rng.standard_normal(N)
    rate = np.rint(145 - 60 * np.exp(-np.arange(N) / 45) + 4 * np.arange(N) / 3600 + 1.5 * np.sin(np.arange(N) / 17))
    return rate, power, np.full(N, 172.0), np.ones(N, dtype=bool)


def test_a_sound_trace_stays_sound():
    assert (screening.screen(*steady()).quality == 0).mean() > 0.99


def test_each_second_gets_a_class_and_what_is_missing_is_wrong():
    rate, power, cadence, timer = steady()
    rate[500:540] = np.nan
    rate[900:903] = 0
    found = screening.screen(rate, power, cadence, timer)
    assert found.quality.shape == (N,) and set(np.unique(found.quality)) <= {0, 1, 2}
    assert (found.quality[500:540] == 2).all() and (found.quality[900:903] == 2).all()
    assert found.faults["drop-outs"] == 40 and found.faults["impossible values"] == 3


def test_a_lock_on_the_cadence_is_told_from_a_heart_that_beats_as_often():
    rate, power, cadence, timer = steady()
    rate[1000:1400] = 172
    locked = screening.screen(rate, power, cadence, timer)
    assert (locked.quality[1000:1400] == 2).mean() > 0.95 and "locked to the cadence" in locked.faults
    fast, power, _, timer = steady()
    alike = np.full(N, float(np.median(fast))) + np.rint(np.random.default_rng(3).normal(0, 1, N))
    assert (screening.screen(fast, power, alike, timer).quality == 0).mean() > 0.95


def test_without_power_jumps_still_tell():
    rate, _, cadence, timer = steady()
    rate[1000:1030] += 45
    found = screening.screen(rate, np.full(N, np.nan), cadence, timer)
    assert (found.quality[1000:1030] > 0).all() and (found.quality == 0).mean() > 0.97


@pytest.mark.parametrize("offset", [-20.0, 20.0])
def test_without_power_half_an_hour_at_another_level_is_no_fault(offset):
    rate, _, cadence, timer = steady()
    rate[600:2400] += offset
    found = screening.screen(rate, np.full(N, np.nan), cadence, timer)
    assert (found.quality[700:2300] == 0).mean() > 0.9


def test_a_hard_session_is_not_taken_for_a_fault():
    power = np.concatenate([np.full(600, 200.0), *[np.concatenate([np.full(180, 320.0), np.full(120, 150.0)])] * 6])
    rate, level = np.empty(len(power)), 90.0
    for i, p in enumerate(power):
        level += (60 + 0.36 * p - level) / 40
        rate[i] = level
    rate = np.rint(rate + 1.2 * np.sin(np.arange(len(power)) / 9))
    found = screening.screen(rate, power, np.full(len(power), 176.0), np.ones(len(power), dtype=bool))
    assert (found.quality == 0).mean() > 0.97


def test_standing_still_is_not_ruled_out():
    power = np.concatenate([np.full(1200, 240.0), np.full(240, 0.0), np.full(1200, 240.0)])
    rate, level = np.empty(len(power)), 90.0
    for i, p in enumerate(power):
        aim, lag = (145.0, 40) if p else (100.0, 75)  # a standing heart slows down later and less
        level += (aim - level) / lag
        rate[i] = level
    rate = np.rint(rate + 1.2 * np.sin(np.arange(len(power)) / 9))
    found = screening.screen(rate, power, np.where(power > 0, 176.0, 0.0), np.ones(len(power), dtype=bool))
    assert (found.quality == 0).mean() > 0.99


@pytest.mark.skipif(not REAL.exists(), reason="the real recording is not beside the project")
def test_the_real_recording_is_sound_and_its_values_stay():
    from footwork.api import read

    recording = read(REAL)[0]
    signals, _ = clean(recording)
    assert np.array_equal(signals["heart_rate"], recording.columns["heart_rate"])
    assert (signals["heart_rate_quality"] == 0).mean() > 0.99
