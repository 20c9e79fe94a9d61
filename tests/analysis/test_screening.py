"""Heart-rate screening on traces that can be checked by eye, and on the real recording."""

from pathlib import Path

import numpy as np
import pytest

from footwork.analysis import screening, summary
from footwork.analysis.cleaning import clean
from footwork.signals import Signals

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


@pytest.mark.parametrize(("n", "scatter", "doubted"), [(N, 0.5, 1.0), (301, 0.5, 1.0), (299, 0.5, 0.0), (N, 1.5, 0.0)])
def test_a_heart_that_is_one_with_a_steady_cadence_throughout_is_doubted(n, scatter, doubted):
    """Of scatter s about the same number P(|x| < 1.5) is within a beat: 99.7 % at 0.5, but 68 % at 1.5."""
    rng = np.random.default_rng(7)
    power, timer = 240 + 5 * rng.standard_normal(n), np.ones(n, dtype=bool)
    cadence = np.full(n, 168.0)
    found = screening.screen(168 + np.rint(scatter * rng.standard_normal(n)), power, cadence, timer)
    assert (found.quality == 1).mean() == pytest.approx(doubted, abs=0.05)
    assert ("locked to the cadence" in found.faults) == bool(doubted)


def test_what_was_right_before_a_lock_stays_where_it_lasted_five_minutes():
    """The lock fills most of the run: what power lets expect is told by the rest."""
    rng = np.random.default_rng(11)
    n = 2700
    power, timer, cadence = 200 + 5 * rng.standard_normal(n), np.ones(n, dtype=bool), np.full(n, 168.0)
    rate = np.rint(138 + rng.normal(0, 1, n))
    rate[600:] = 168 + np.rint(rng.normal(0, 0.5, n - 600))
    found = screening.screen(rate, power, cadence, timer)
    assert (found.quality[600:] == 2).mean() > 0.97 and (found.quality[120:560] == 0).mean() > 0.95
    assert "late start" not in found.faults and found.whole is None


def test_what_lies_between_locked_seconds_is_as_locked():
    """Nine of ten seconds are the cadence's number; half a minute in between is four beats off."""
    rng = np.random.default_rng(12)
    n = 2700
    power, timer, cadence = 200 + 5 * rng.standard_normal(n), np.ones(n, dtype=bool), np.full(n, 148.0)
    rate = np.rint(144 + rng.normal(0, 1, n))  # a lock within six beats of what power lets expect
    rate[900:1800] = 148
    rate[1300:1330] = 144
    assert (screening.screen(rate, power, cadence, timer).quality[900:1800] > 0).mean() > 0.99


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


def pieces(seed=2, n=5400):
    """A run whose effort goes up and down by a fifth every five minutes, with a heart that answers."""
    rng = np.random.default_rng(seed)
    power = 230 * (1 + 0.2 * np.repeat(rng.uniform(-1, 1, n // 300), 300))
    lagged = np.empty(n)
    level = 0.45 * 230
    for i, p in enumerate(power):
        level += (p - level) / 40
        lagged[i] = level
    rate = 98 + 48 * lagged / 230 + 6 * np.arange(n) / 3600 + rng.normal(0, 0.7, n)
    return np.rint(rate), power + 5 * rng.standard_normal(n), np.full(n, 172.0), np.ones(n, dtype=bool)


def test_ten_minutes_that_read_low_are_doubted_and_nothing_else():
    rate, power, cadence, timer = pieces()
    assert screening.screen(rate, power, cadence, timer).quality.mean() < 0.01
    rate[2000:2700] -= np.minimum(11.0, np.minimum(np.arange(700), np.arange(700)[::-1]) / 10)
    rate = np.rint(rate)
    found = screening.screen(rate, power, cadence, timer)
    assert (found.quality[2000:2700] == 1).mean() > 0.85 and found.whole is None
    assert (found.quality[:1800] == 0).mean() > 0.98 and (found.quality[2900:] == 0).mean() > 0.98
    assert found.faults["minutes that do not follow the effort"] == pytest.approx(700, abs=90)


def test_a_heart_rate_that_does_not_answer_is_doubted_whole():
    rate, power, cadence, timer = pieces()
    still = np.rint(140 + 0.3 * (rate - rate.mean()) + 1.5 * np.sin(np.arange(len(rate)) / 7))
    found = screening.screen(still, power, cadence, timer)
    assert found.whole == "answers power too little" and (found.quality > 0).all()
    assert screening.screen(still, power, np.full(len(still), 100.0), timer).whole is None  # walked: nothing is asked
    assert screening.screen(still[:1100], power[:1100], cadence[:1100], timer[:1100]).whole is None  # too short
    waves = rate + 14 * np.sign(np.sin(np.arange(len(rate)) / 450))
    assert screening.screen(waves, power, cadence, timer).whole == "a third does not fit"


def test_a_pause_of_the_watch_is_no_fault_of_the_heart_rate():
    rate, power, cadence, timer = pieces()
    rate[3000:3600], timer[3000:3600] = np.nan, False
    found = screening.screen(rate, power, cadence, timer)
    assert "drop-outs" not in found.faults and (found.quality[3000:3600] == 2).all()


@pytest.mark.parametrize(("sound", "mean"), [(599, None), (600, 140.0), (1200, 140.0)])
def test_a_run_has_a_mean_heart_rate_where_half_of_its_trace_is_sound(sound, mean):
    quality = np.where(np.arange(1200) < sound, 0.0, 1.0)
    columns = {"time": np.arange(1200.0), "heart_rate": np.where(quality == 0, 140.0, 177.0)}
    columns["heart_rate_quality"] = quality
    made = summary.summarise(Signals(columns, np.ones(1200, dtype=np.bool_)))
    assert made.heart_rate_bpm == mean and made.heart_rate_sound_s == sound
