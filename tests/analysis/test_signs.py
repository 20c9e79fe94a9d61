"""Signs: two channels at least, one of them felt; a budget of false checks; words that diagnose nothing."""

from dataclasses import replace

import numpy as np
import pytest

from footwork.analysis import signs
from footwork.analysis.signs import Channel
from tests import wellbeing


def channel(values, name="soreness", bad=1, felt=True, sd=1.0):
    return Channel(name, bad, felt, sd, np.asarray(values, dtype=float))


def test_a_difference_is_the_last_days_less_the_median_of_the_month_before_a_gap():
    values = np.r_[np.full(28, 10.0), [50.0, 50.0], [13.0, 15.0]]  # the gap of two days counts nowhere
    assert signs.differences(values, 2)[-1] == pytest.approx(14.0 - 10.0)
    values[:22] = np.nan  # six of 28 days are too few
    assert np.isnan(signs.differences(values, 2)[-1])


def test_spread_is_the_runners_own_shrunk_to_a_usual_one():
    rng = np.random.default_rng(2)
    quiet, loud = (channel(spread * rng.standard_normal(180)) for spread in (0.5, 2.0))
    for one in (quiet, loud):
        one.values[-2:] = 3.0
    assert signs.standardised(quiet, 2)[-1] > 1.5 * signs.standardised(loud, 2)[-1] > 0
    first = signs.standardised(channel(rng.standard_normal(180)), 2)
    assert np.isnan(first[:20]).all() and np.isfinite(first[60:]).all()


def test_bad_is_upwards_for_every_channel():
    values = np.r_[np.tile([7.0, 7.5], 30), [4.0, 4.0]]
    assert signs.standardised(channel(values, bad=-1), 2)[-1] > 2
    assert signs.standardised(channel(values, bad=1), 2)[-1] < -2


def test_two_channels_one_of_them_felt_or_nothing_is_said():
    rng = np.random.default_rng(3)
    felt, measured = channel(rng.standard_normal(180)), channel(rng.standard_normal(180), felt=False)
    assert np.isnan(signs.scores([felt], 2)[0]).all()
    assert np.isnan(signs.scores([measured, measured], 2)[0]).all()
    score, count = signs.scores([felt, measured], 2)
    assert np.isfinite(score[90:]).all() and (count[90:] == 2).all()
    one, two = (signs.standardised(c, 2)[-1] for c in (felt, measured))
    assert score[-1] == pytest.approx((one + two) / np.sqrt(2 + 0.2 * 2))


def test_after_a_check_nothing_is_said_for_fourteen_days():
    score, count = np.full(60, 9.0), np.full(60, 2.0)
    assert signs.checks(score, count, {2: 2.0}) == [0, 15, 30, 45]
    assert signs.checks(score - 8.0, count, {2: 2.0}) == []


@pytest.mark.parametrize("pattern", ["unwell", "worn"])
def test_a_healthy_half_year_has_about_one_check(pattern):
    rng = np.random.default_rng(11)
    rates = [len(wellbeing.found(wellbeing.half_year(rng, 3), pattern)) for _ in range(250)]
    assert 0.7 < np.mean(rates) < 1.3  # 2,000 in `make recovery`


def test_an_illness_that_shows_in_several_channels_is_mostly_seen_and_more_of_them_see_more():
    seen = {}
    for count in (2, 4):
        rng = np.random.default_rng(7)
        hits = [
            any(
                0 <= d - 100 <= 6 for d in wellbeing.found(wellbeing.half_year(rng, count, lift=1.5, day=100), "unwell")
            )
            for _ in range(150)
        ]
        seen[count] = np.mean(hits)
    assert seen[4] > seen[2] > 0.25


def test_the_second_part_of_a_cycle_is_the_fourteen_days_before_a_period():
    second, first = signs.of_cycle([20, 50, 80], 100)
    assert np.flatnonzero(second).tolist() == [*range(6, 20), *range(36, 50), *range(66, 80), *range(96, 100)]
    assert np.flatnonzero(first).tolist() == [*range(20, 36), *range(50, 66), *range(80, 96)]
    # A cycle of four months is a gap in the diary: of its days only those before the next period are known.
    second, first = signs.of_cycle([10, 130], 150)
    assert np.flatnonzero(second).tolist() == [*range(10), *range(116, 130), *range(144, 150)]
    assert np.flatnonzero(first).tolist() == [*range(130, 144)]
    assert not np.any(signs.of_cycle([], 30))


def test_what_a_cycle_adds_is_the_runners_own_shrunk_to_a_usual_one():
    periods = [0, 28]
    second, first = signs.of_cycle(periods, 56)
    values = 50.0 + 6.0 * second
    taken = values - signs.without_cycle(values, periods, 3.0)
    assert taken[first] == pytest.approx(0.0)
    assert taken[second] == pytest.approx((28 * 6 + 14 * 3) / 42)
    # Months of which nothing was told teach nothing, whatever was measured in them.
    before = np.concatenate([np.full(100, np.nan), values])
    after = np.concatenate([np.full(86, 80.0), np.full(14, np.nan), values])
    one, other = (v - signs.without_cycle(v, [100, 128], 3.0) for v in (before, after))
    assert other[100:] == pytest.approx(one[100:]) and (other[:86] == 0.0).all()
    nothing = np.full(56, np.nan)
    nothing[20] = 50.0
    assert signs.without_cycle(nothing, periods, 3.0)[20] == 47.0
    assert (signs.without_cycle(values, [], 3.0) == values).all()


def test_a_cycle_that_is_told_hides_no_illness_and_raises_no_more_checks():
    """Told, the spread is the runner's own again: untold it hides what an illness adds."""
    checks, seen, runs = np.zeros(2), np.zeros(2), 250
    for seed in range(runs):
        for lift in (0.0, 1.5):
            rng = np.random.default_rng(seed)
            channels = wellbeing.half_year(rng, 2, lift, 100)
            periods = np.cumsum(rng.normal(27.3, 2.7, 16).round().astype(int)).tolist()  # Shilaih et al. 2017
            second, _ = signs.of_cycle(periods, len(channels[0].values))
            moved = channels[0].values + rng.uniform(2.0, 6.0) * second
            for k, values in enumerate((moved, signs.without_cycle(moved, periods, 3.0))):
                found = wellbeing.found([replace(channels[0], values=values), channels[1]], "unwell")
                checks[k] += 0 if lift else len(found)
                seen[k] += any(0 <= d - 100 <= 6 for d in found) if lift else 0
    assert (checks / runs <= 1.2).all() and checks[1] / runs > 0.5
    assert seen[1] / runs >= 0.45 and seen[1] > 1.1 * seen[0]
