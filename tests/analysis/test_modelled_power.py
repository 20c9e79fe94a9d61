"""Modelled power on clean, noisy and jumping positions and heights."""

import numpy as np
import pytest

from footwork.analysis import modelled_power, summary
from footwork.analysis.cleaning import clean
from footwork.physics.power import running_power
from footwork.physiology import curve
from footwork.signals import Recording

N, MASS = 3342, 70.0
RNG = np.random.default_rng


def run(noise=0.0, heights=0.2, jumps=(), seed=3):
    """8.2 km in 55:42 over gentle hills, as a phone writes it: distance with noise and leaps, heights of a satellite;
    and its true power [W]."""
    rng = RNG(seed)
    speed = 2.46 + 0.15 * np.sin(np.arange(N) / 200)
    distance = np.cumsum(speed)
    ground = 50 + 10 * np.sin(distance / 400)
    shown = np.maximum.accumulate(distance + rng.normal(0, noise, N))
    for at, metres in jumps:
        shown[at:] += metres
    columns = {"time": np.arange(N, dtype=float), "distance": shown, "altitude": ground + rng.normal(0, heights, N)}
    return Recording("running", columns), running_power(speed, MASS, np.gradient(ground, distance))


def bests(recording):
    signals, _ = clean(recording, MASS)
    row = summary.summarise(signals).streams[0].best
    return dict(zip(curve.stored_durations(len(signals)).tolist(), row.tolist(), strict=True))


def truly(power, seconds):
    return float(np.convolve(power, np.ones(seconds) / seconds, mode="valid").max())


@pytest.mark.parametrize(
    ("made", "tolerance"),
    [
        ({}, 0.02),
        ({"noise": 2.0}, 0.06),
        ({"noise": 1.0, "jumps": ((900, 12.0), (901, 12.0), (902, 11.0), (2000, 300.0))}, 0.08),
        ({"heights": 5.0}, 0.06),
    ],
)
def test_the_best_of_some_minutes_is_what_was_run(made, tolerance):
    recording, true = run(**made)
    found = bests(recording)
    for seconds in (600, 1200):
        assert found[seconds] == pytest.approx(truly(true, seconds), rel=tolerance)
    for seconds in (60, 180):  # told within twice that, or not at all
        assert np.isnan(found[seconds]) or found[seconds] == pytest.approx(truly(true, seconds), rel=2 * tolerance)


def test_a_best_that_noise_may_have_made_is_none():
    clear, noisy = bests(run()[0]), bests(run(noise=3.0, heights=8.0)[0])
    assert np.isfinite(clear[60]) and np.isnan(noisy[60]) and np.isfinite(noisy[1200])


def test_noise_is_told_from_steps_and_bends():
    timer = np.ones(8000, dtype=bool)
    for sd in (0.2, 0.8):
        true = 50.0 + np.cumsum(RNG(5).normal(0, modelled_power.CHANGE_MPS, 8000))
        smooth, noise = modelled_power.smooth_speed(true + RNG(1).normal(0, sd, 8000), timer)
        assert noise == pytest.approx(np.hypot(sd, modelled_power.CHANGE_MPS / 2**0.5), rel=0.1)
        # The random walk's steady state leaves var = sd²/√(1 + 4 sd²/q²) (Kalman smoother of a local level).
        left = sd / (1 + 4 * (sd / modelled_power.CHANGE_MPS) ** 2) ** 0.25
        assert float(np.std(smooth - true)) == pytest.approx(left, rel=0.05)
        assert modelled_power.height_noise(100 + RNG(2).normal(0, 5 * sd, 5000)) == pytest.approx(5 * sd, rel=0.1)


def test_a_leap_is_not_followed_and_a_sprint_is():
    timer = np.ones(600, dtype=bool)
    steady = 3.0 + RNG(4).normal(0, 0.1, 600)
    leap = steady.copy()
    leap[300:303] = 12.0
    assert modelled_power.smooth_speed(leap, timer)[0][296:306].max() < 3.8
    sprint = steady.copy()
    sprint[300:330] = 6.0
    assert modelled_power.smooth_speed(sprint, timer)[0][305:325].min() > 5.5


def test_the_error_over_time():
    # Speed: 0.5 m/s a second at 2.5 m/s is 20 %, over 100 s 2 %; heights: 3.6·√2·0.5 m/2.5 m/s = 1.018 s, 1 % over it.
    assert modelled_power.error_over(100, (0.2, 1.018)) == pytest.approx(np.hypot(0.02, 0.01018))


def test_the_error_of_heights_is_not_told_from_a_few():
    rough = np.tile([100.0, 104.0], 40)
    assert modelled_power.height_noise(np.repeat(rough, 5)[:35]) == 0.0  # five bends
    assert modelled_power.height_noise(np.repeat(rough, 5)[:36]) > 1.0


def test_a_handful_of_speeds_is_left_as_it_is():
    speed = np.array([3.0, 3.6] * 10)
    for count, smoothed in ((9, False), (10, True)):
        known = np.where(np.arange(20) < count, speed, np.nan)
        found, _ = modelled_power.smooth_speed(known, np.ones(20, dtype=bool))
        assert np.array_equal(found[:9], speed[:9]) != smoothed
