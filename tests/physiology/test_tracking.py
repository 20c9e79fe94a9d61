"""The filter over tests through time."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from footwork.physiology import tracking
from footwork.physiology.critical import Evidence, posterior
from footwork.physiology.endurance import power_at


def trial(day, cp=260.0, wp=15_000.0, durations=(180.0, 720.0), run=None):
    powers = tuple(float(power_at(t, cp, wp, 0.065)) for t in durations)
    return tracking.Dated(day, Evidence("maximal", durations, powers, 0.0, "", run))


def quantiles(track, day):
    return np.quantile(track.on(day).draws()[0], [0.025, 0.5, 0.975])


def test_the_first_day_agrees_with_the_joint_posterior():
    track = tracking.follow([trial(1000)])
    plain = posterior([trial(1000).evidence]).estimates()[0]
    assert quantiles(track, 1000) == pytest.approx([plain.low, plain.value, plain.high], rel=0.002)


def test_the_interval_widens_when_nothing_informs_it_and_the_median_stays():
    track = tracking.follow([trial(1000), trial(1003, durations=(420.0,))])
    later = [quantiles(track, 1003 + d) for d in (0, 30, 120, 365)]
    assert all(a[2] - a[0] < b[2] - b[0] for a, b in pairwise(later))
    assert [q[1] for q in later] == pytest.approx([later[0][1]] * 4, rel=0.002)
    # A random walk of 0.16 % a day: variances of the logarithm add.
    spread = [tracking.level_of(track.on(1003 + d))[1] for d in (0, 120)]
    assert spread[1] ** 2 - spread[0] ** 2 == pytest.approx(120 * tracking.DRIFT_PER_DAY**2, rel=0.02)


def test_days_of_which_nothing_is_known_widen_it_by_more_and_before_a_test_too():
    track = tracking.follow([trial(1000)])
    spread = [tracking.level_of(track.on(1365, 0.0, unseen))[1] for unseen in (0, 281)]
    # 9 % in a year of 365 of them; of 281 the rest is of days that were seen.
    more = 281 * (tracking.UNSEEN_DRIFT_PER_DAY**2 - tracking.DRIFT_PER_DAY**2)
    assert spread[1] ** 2 - spread[0] ** 2 == pytest.approx(more, rel=0.02)
    assert 365**0.5 * tracking.UNSEEN_DRIFT_PER_DAY == pytest.approx(0.09, abs=0.001)
    shown = trial(1365, 220.0)
    after = [tracking.follow([replace(shown, unseen=u)], track).steps[-1] for u in (0, 281)]
    assert after[0].before == pytest.approx(after[1].before, rel=0.001) and after[0].after > after[1].after + 1.0
    assert [s.unseen for s in after] == [0, 281]


def test_going_on_from_a_track_equals_following_it_all():
    evidence = [trial(1000), replace(trial(1040, 265), unseen=9), trial(1090, 270)]
    start = tracking.follow(evidence[:1])
    went_on = tracking.follow(evidence[1:], start)
    assert quantiles(went_on, 1100) == pytest.approx(quantiles(tracking.follow(evidence), 1100), rel=0.002)
    assert len(start.steps) == 1


def test_a_trend_is_followed():
    track = tracking.follow([trial(1000 + 30 * i, 250 * 1.004**i) for i in range(12)])
    truth = 250 * 1.004**11
    low, value, high = quantiles(track, 1330)
    assert low < truth < high and value == pytest.approx(truth, rel=0.02)


def test_a_test_far_from_the_first_is_not_cut_off_at_the_edge_of_the_grid():
    track = tracking.follow([trial(1001 + i, 300.0) for i in range(3)], tracking.follow([trial(1000, 90.0)]))
    assert quantiles(track, 1003)[1] == pytest.approx(300, rel=0.05)


def test_what_moved_it_is_told():
    track = tracking.follow([trial(1000, 250, run=1), trial(1030, 275, run=2)])
    assert track.steps[0].before is None
    assert track.steps[1].evidence.run == 2 and track.steps[1].after > track.steps[1].before * 1.02


def test_a_longer_test_narrows_more():
    made = tracking.follow([trial(1000)]).on(1200)
    now = made.estimates()[0]
    one, three = (tracking.half_width_after(made, d) for d in ((180.0,), (180.0, 420.0, 720.0)))
    assert three < one < 0.5 * (now.high - now.low) * 1.02


def test_without_evidence_there_is_no_track():
    with pytest.raises(ValueError, match="no evidence"):
        tracking.follow([])


def test_what_a_lay_off_took_is_as_uncertain_as_it_is_said():
    track, moved = tracking.follow([trial(1000)]), np.log(0.9)
    (mean, sd), (laid, same) = (tracking.level_of(track.on(1030, m)) for m in (0.0, moved))
    assert laid - mean == pytest.approx(np.log(0.9), abs=1e-6) and same == pytest.approx(sd)
    # 0.75, 95 % from 0.45 to 1.1 of the published loss: a tenth is 6.0 to 14.7 %.
    half = 0.1 * (1.1 - 0.45) / 3.92 / 0.75
    assert track.on(1030, moved).scale_sd == pytest.approx(half)
    # A test that shows 5 % less than expected is believed the more where days without running made that uncertain.
    pulled = []
    for m in (0.0, moved):
        shown = replace(trial(1030, 0.95 * np.exp(m) * 260.0, 0.95 * np.exp(m) * 15_000.0), moved=m)
        pulled.append(tracking.level_of(tracking.follow([shown], track).on(1030))[0] - mean - m)
    of_test = sd**2 * (np.log(0.95) / pulled[0] - 1)  # variance of a test's day, by the first
    spread = sd**2 + half**2
    # The tails of a test are heavy.
    assert pulled[1] == pytest.approx(np.log(0.95) * spread / (spread + of_test), rel=0.08)
    assert pulled[1] < 1.1 * pulled[0] < 0


def test_breaks_and_returns_leave_no_trace_over_the_years():
    """A runner of 260 W who breaks off each year, is tested after it and again in autumn as strong as before."""
    steps = []
    for year in range(12):
        spring, autumn = 1000 + 365 * year, 1000 + 365 * year + 180
        if year:
            steps.append(replace(trial(spring, 0.91 * 260.0, 0.91 * 15_000.0), moved=np.log(0.91)))
        steps.append(replace(trial(autumn), moved=-np.log(0.91) if year else 0.0))
    track = tracking.follow(steps)
    assert track.grid.median(track.log_weight) == pytest.approx(260.0, rel=0.02)
    assert track.grid.log_cp[-1] > np.log(1.5 * 260.0)
