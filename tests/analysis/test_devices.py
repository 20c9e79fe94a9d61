"""Conversion, drift and device check as functions of arrays."""

import numpy as np
import pytest

from footwork.analysis import check, conversion, drift, pairing
from footwork.errors import NotEnoughData
from footwork.signals import PowerStream, Signals
from tests import devices


def test_a_conversion_of_known_factor_bend_and_spread_comes_back():
    found = devices.conversions(40)
    # At a true 92 % fewer than 32 of 40 would come once in 200 times.
    assert min(found["factor at the centre"], found["watts a third above it"]) >= 0.8


def test_conversions_one_after_the_other_are_the_product_with_both_errors():
    rng = np.random.default_rng(1)
    pairs = [devices.pair(rng, 1.1, 0.0, 0.01, 30) for _ in range(8)]
    back = [(b, a, at) for a, b, at in pairs]
    out, home = conversion.learn(pairs), conversion.learn(back)
    both = out.then(home)
    assert both.apply(200.0) == pytest.approx(200, rel=0.01)
    assert both.error(200.0) > max(out.error(200.0), home.error(220.0)) and both.through == "modelled power"


def test_far_beyond_what_was_seen_the_factor_stays():
    rng = np.random.default_rng(2)
    made = conversion.learn([devices.pair(rng, 1.1, 0.1, 0.01, 30) for _ in range(8)])
    assert made.apply(1000.0) / 1000 == pytest.approx(made.apply(900.0) / 900)


def test_too_few_minutes_convert_nothing():
    assert conversion.learn([devices.pair(np.random.default_rng(3), 1.1, 0.0, 0.01, 19)]) is None


def test_jumps_are_found_and_quiet_seasons_stay_quiet():
    quiet, found = devices.drifts(40, 0.0), devices.drifts(40, 0.05)
    assert quiet["seasons with a false alarm"] <= 0.15
    assert found["jump found"] >= 0.9 and found["size inside"] >= 0.75


def test_a_short_series_raises_nothing():
    assert drift.jumps(np.concatenate([np.zeros(4), np.full(4, 0.1)])) == []


def steps(levels=(2.7, 3.0, 3.4), begin=600, repeat_error=0.0, bend=0.0):
    """A recording of the check on a treadmill: exact speeds, power of a device that follows in some seconds."""
    speed = np.concatenate([np.full(begin, 2.6), *[np.full(180, v) for v in levels * 2], np.full(200, 2.6)])
    power = 70.0 * speed
    power[begin + 540 : begin + 1080] += repeat_error
    middle = np.isclose(speed, levels[1])
    power[middle] *= 1 + bend
    for i in range(1, len(power)):
        power[i] = power[i - 1] + (power[i] - power[i - 1]) / 8.0
    columns = {"time": 1e9 + np.arange(len(speed)), "speed": speed, "power": power}
    return Signals(columns, np.ones(len(speed), dtype=bool), (PowerStream("power", "x"),))


def test_the_check_is_found_to_the_second_and_measures_what_was_put_in():
    made = check.measure(steps(repeat_error=6.0))
    assert made.start == pytest.approx(600, abs=2)
    # All three repeats differ by 6 W: the within-step SD is 6/sqrt(2), repeatability 2*6 (Bland and Altman 1986).
    assert made.typical_error.value == pytest.approx(6 / 2**0.5, abs=0.1)
    assert made.repeatability.value == pytest.approx(12, abs=0.2)
    assert made.response.value == pytest.approx(8, abs=2)
    assert made.slope.value == pytest.approx(70, rel=0.05)
    exact = check.measure(steps())
    assert exact.typical_error.value < 0.1 and abs(exact.bend.value) < 0.1


def test_a_bent_device_shows_it():
    made = check.measure(steps(bend=0.05))
    assert made.bend.value == pytest.approx(5, abs=0.6) and made.bend.low > 0


@pytest.mark.parametrize("levels", [(2.7, 2.72, 2.75), (3.4, 3.0, 2.7)])
def test_other_running_is_no_check(levels):
    assert check.find(steps(levels)) is None
    with pytest.raises(NotEnoughData, match="no device check"):
        check.measure(steps(levels))


def test_a_check_without_power_or_end_says_so():
    signals = steps()
    signals.columns["power"][1200:1300] = np.nan
    with pytest.raises(NotEnoughData, match="no power"):
        check.measure(signals)
    with pytest.raises(NotEnoughData, match="ends before"):
        check.measure(steps(), start=1500)


def test_a_response_is_found_through_noise():
    rng = np.random.default_rng(4)
    found = []
    for _ in range(20):
        signals = steps(levels=(2.7, 2.95, 3.25))
        signals.columns["power"] += rng.normal(0, 8, len(signals))
        found.append(check.measure(signals, start=600).response)
    told = [e for e in found if e.value is not None]
    truth = -1 / np.log(1 - 1 / 8)  # the lag of `steps`
    assert len(told) >= 15 and np.mean([e.value for e in told]) == pytest.approx(truth, abs=0.8)
    assert np.mean([e.low <= truth <= e.high for e in told]) >= 0.8


def test_a_check_that_was_not_run_says_so():
    signals = steps()
    signals.columns["power"][650:700], signals.columns["speed"][600:780] = 0.0, 0.0
    with pytest.raises(NotEnoughData, match="was not run"):
        check.measure(signals, start=600)


def test_the_peak_of_a_correlation_may_be_the_second_lag():
    lags = np.arange(-3, 4)
    rows = np.array([1.0 - 0.1 * (lags - at) ** 2 for at in (-2.0, 0.25, 2.0)])
    assert pairing._peak(rows, lags) == pytest.approx([-2.0, 0.25, 2.0])


def test_the_error_of_a_later_jump_is_that_of_its_own_two_stretches():
    noise = 0.015 * np.sin(np.linspace(0, 5 * np.pi, 31))[:30]  # its spread is more than neighbours tell
    values = np.concatenate([noise, 0.10 + noise, 0.20 + noise])
    first, second = drift.jumps(values)
    assert second.share == pytest.approx(first.share) == pytest.approx(0.10)
    assert second.error == pytest.approx(first.error)
