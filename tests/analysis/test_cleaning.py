"""Cleaning: each fault is mended or left missing, and counted."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from footwork.analysis.cleaning import clean
from footwork.errors import UnreadableFile
from footwork.signals import PowerStream, Recording

T0 = 1_770_000_000.0


def recording(time, **columns) -> Recording:
    made = {"time": np.asarray(time, float), **{n: np.asarray(v, float) for n, v in columns.items()}}
    return Recording("running", made, [PowerStream("power", "x")] if "power" in made else [])


def counts(changes):
    return {c.what: c.count for c in changes}


def test_clean_seconds_stay_untouched():
    power = np.arange(60) + 200.0
    signals, changes = clean(recording(T0 + np.arange(60), power=power))
    np.testing.assert_array_equal(signals["power"], power)
    assert not changes


def test_short_gaps_are_bridged_and_long_ones_left_missing():
    time = T0 + np.concatenate([np.arange(20), np.arange(28, 50), np.arange(80, 100)])
    signals, changes = clean(recording(time, power=np.full(len(time), 250.0)))
    assert counts(changes) == {"interpolated": 8, "missing": 30}
    assert np.isnan(signals["power"][50:80]).all()
    assert np.isfinite(signals["power"][:50]).all()


def test_a_timer_pause_is_zero_watts_and_no_gap():
    time = T0 + np.concatenate([np.arange(30), np.arange(90, 120)])
    made = recording(time, power=np.full(60, 250.0))
    made.pauses = [(T0 + 29, T0 + 90)]
    signals, changes = clean(made)
    assert (signals["power"][31:89] == 0).all()
    assert counts(changes) == {"paused": 60}
    assert signals.timer.sum() == 60


def test_seconds_between_a_sample_and_a_pause_are_running_time():
    time = T0 + np.concatenate([np.arange(600), np.arange(661, 1200)])
    made = recording(time, power=np.full(len(time), 250.0))
    made.pauses = [(T0 + 600, T0 + 660)]  # the last record a second before the stop, the next a second after the start
    signals, changes = clean(made)
    assert np.isfinite(signals["power"]).all()
    assert signals["power"][600] == signals["power"][660] == 250
    assert (signals["power"][601:660] == 0).all()
    assert "missing" not in counts(changes)


def test_a_lone_impossible_time_moves_nothing():
    time = T0 + np.arange(120.0)
    time[40] += 86400
    signals, changes = clean(recording(time, power=np.full(120, 200.0)))
    assert signals["time"][0] == T0 and len(signals) == 120
    assert counts(changes) == {"stray": 1, "interpolated": 1}


def test_zero_watts_while_running_is_a_drop_out_but_standing_is_not():
    power = np.full(60, 250.0)
    power[20:24] = 0
    power[40:44] = 0
    speed = np.full(60, 3.0)
    speed[40:44] = 0.2
    signals, changes = clean(recording(T0 + np.arange(60), power=power, speed=speed, cadence=np.full(60, 170.0)))
    assert counts(changes)["drop-outs"] == 4
    assert (signals["power"][20:24] == 250).all()
    assert (signals["power"][40:44] == 0).all()


def test_order_duplicates_spikes_and_limits():
    time = T0 + np.array([0, 1, 3, 2, 4, 5, 5, 6, 7, 8, 9, 10])
    power = [250, 250, 250, 250, 250, 250, 250, 1500, 250, 250, 9000, 250]
    signals, changes = clean(recording(time, power=power, heart_rate=[150] * 11 + [300]))
    found = counts(changes)
    assert found["order"] == 1 and found["duplicates"] == 1
    assert found["spike:power"] == 1 and found["range:power"] == 1 and found["heart rate:impossible values"] == 1
    assert (signals["power"] == 250).all()


@pytest.mark.parametrize(
    ("burst", "left_out"),
    [
        ([1900] * 2, 2),
        ([1900, 800, 1900], 3),
        ([1900] * 4, 0),  # longer it is not told from running; the watts of a minute are held against speed
        ([750] * 2, 0),  # 500 W above
        ([751] * 2, 2),
        ([600, 1900, 1900, 600], 2),  # of 250 to 600 W a runner may be capable
    ],
)
def test_a_burst_of_two_or_three_samples_is_no_running(burst, left_out):
    power = np.full(60, 250.0)
    power[20 : 20 + len(burst)] = burst
    signals, changes = clean(recording(T0 + np.arange(60), power=power))
    assert counts(changes).get("spike:power", 0) == left_out
    assert signals["power"].max() == (max(burst) if left_out == 0 else 600 if 600 in burst else 250)


@pytest.mark.parametrize(("step", "left_out"), [(1.0, 3), (5.0, 0)])
def test_three_samples_of_fifteen_seconds_may_be_a_sprint(step, left_out):
    power = np.full(60, 250.0)
    power[20:23] = 790
    _, changes = clean(recording(T0 + step * np.arange(60), power=power))
    assert counts(changes).get("spike:power", 0) == left_out


def test_a_burst_stays_where_one_side_does_not_tell():
    power = np.full(60, 250.0)
    power[30:32] = 1900
    power[32:50] = np.nan
    signals, changes = clean(recording(T0 + np.arange(60), power=power))
    assert counts(changes).get("spike:power") is None and (signals["power"] == 1900).sum() == 2


def test_a_jump_of_the_clock_is_closed():
    time = T0 + np.concatenate([np.arange(60), 86400 * 30 + np.arange(60)])
    signals, changes = clean(recording(time, power=np.full(120, 200.0)))
    assert len(signals) == 120 and counts(changes) == {"clock": 1}


def test_absurd_spans_are_refused():
    with pytest.raises(UnreadableFile, match="fewer than two"):
        clean(recording([np.nan, T0], power=[1, 2]))
    with pytest.raises(UnreadableFile, match="single second"):
        clean(recording([T0, T0], power=[1, 2]))


def test_altitude_is_smoothed_over_distance_before_it_becomes_grade():
    seconds = np.arange(1200)
    distance = 3.0 * seconds
    truth = 0.05 * distance
    noisy = truth + np.random.default_rng(1).normal(0, 1.0, len(seconds))
    signals, _ = clean(recording(T0 + seconds, altitude=noisy, distance=distance))
    inner = signals["grade"][100:-100]
    assert inner.mean() == pytest.approx(0.05, abs=0.002)
    assert inner.std() < 0.01


def test_power_is_modelled_only_with_a_mass_and_says_so():
    made = recording(T0 + np.arange(60), speed=np.full(60, 3.0))
    without, _ = clean(made)
    assert "power" not in without
    signals, _ = clean(made, mass=70.0)
    assert not signals.streams[0].measured and signals.streams[0].scale == "model"
    assert signals["power"].mean() == pytest.approx(70 * 3.0, rel=0.03)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-50, 4000), st.floats(-100, 5000), st.floats(-10, 400)), min_size=2, max_size=80),
    st.lists(st.tuples(st.integers(0, 4000), st.integers(1, 300)), max_size=3),
)
def test_any_samples_give_a_grid_without_impossible_values(rows, pauses):
    time, power, rate = (np.array(c) for c in zip(*rows, strict=True))
    made = recording(T0 + time, power=power, heart_rate=rate)
    made.pauses = [(T0 + a, T0 + a + b) for a, b in pauses]
    raw = {n: v.copy() for n, v in made.columns.items()}
    try:
        signals, _ = clean(made)
    except UnreadableFile:
        return
    assert (np.diff(signals["time"]) == 1).all()
    if "power" in signals:
        known = signals["power"][np.isfinite(signals["power"])]
        assert ((known >= 0) & (known <= 2000)).all()
    for name, values in raw.items():  # raw signals are never altered
        np.testing.assert_array_equal(values, made.columns[name])


def test_a_speed_that_the_distance_contradicts_is_worked_out_anew():
    run = np.concatenate([np.full(600, 3.0), *[np.concatenate([np.full(240, 4.1), np.full(120, 0.7)])] * 4])
    n = len(run)
    average = np.cumsum(run) / np.arange(1, n + 1)  # what was run so far, as somebody computed it
    columns = {"time": np.arange(n, dtype=float), "distance": np.cumsum(run), "speed": average}
    signals, changes = clean(Recording("running", columns))
    assert "speed" in {c.what for c in changes}
    np.testing.assert_allclose(signals["speed"][700:800], 4.1, atol=0.05)
    np.testing.assert_allclose(signals["speed"][870:930], 0.7, atol=0.05)
    for speed in (run, 1.1 * run):  # what the sensor says, or another scale of it, stays
        signals, changes = clean(Recording("running", {**columns, "speed": speed}))
        assert "speed" not in {c.what for c in changes}
        np.testing.assert_allclose(signals["speed"], speed)
