"""The filter through time."""

from itertools import pairwise

import numpy as np
import pytest

from footwork.physiology import tracking
from footwork.physiology.critical import Evidence, posterior
from footwork.physiology.endurance import power_at


def trial(day, cp=260.0, wp=15_000.0, durations=(180.0, 720.0), run=None):
    powers = tuple(float(power_at(t, cp, wp, 0.065)) for t in durations)
    return tracking.Dated(day, Evidence("maximal", durations, powers, 0.0, "", run))


def bound(day, implied):
    return tracking.Dated(day, Evidence("bound", (1200.0,), (float(power_at(1200.0, implied, 60 * implied, 0.065)),)))


def width(state):
    return state.critical_power[2] - state.critical_power[0]


def test_the_first_day_agrees_with_the_joint_posterior():
    track = tracking.follow([trial(1000)])
    plain = posterior([trial(1000).evidence]).estimates()[0]
    assert track.states[0].critical_power[1] == pytest.approx(plain.value, rel=0.005)


def test_the_interval_widens_when_nothing_informs_it_and_the_median_stays():
    track = tracking.follow([trial(1000), trial(1003, durations=(420.0,))])
    later = [tracking.widened(track.states[-1], 1003 + d) for d in (0, 30, 120, 365)]
    assert all(width(a) < width(b) for a, b in pairwise(later))
    assert len({s.critical_power[1] for s in later}) == 1
    # The shortcut for days without evidence and the diffused grid say the same.
    low, value, high = later[2].critical_power
    made = track.posterior(1003 + 120, 3).estimates()[0]
    assert (made.low, made.value, made.high) == pytest.approx((low, value, high), rel=0.02)


def test_going_on_from_a_track_equals_following_it_all():
    evidence = [trial(1000), trial(1040, 265), bound(1050, 240.0), trial(1090, 270)]
    whole = tracking.follow(evidence)
    start = tracking.follow(evidence[:2])
    # The grid is laid around the first evidence, so only its cells may differ.
    went_on = tracking.follow(evidence[2:], start)
    assert went_on.states[-1].critical_power == pytest.approx(whole.states[-1].critical_power, rel=0.005)
    assert len(start.steps) == 2


def test_a_trend_is_followed():
    track = tracking.follow([trial(1000 + 30 * i, 250 * 1.004**i) for i in range(12)])
    truth = 250 * 1.004**11
    low, value, high = track.states[-1].critical_power
    assert low < truth < high and value == pytest.approx(truth, rel=0.02)


def test_bounds_do_not_ratchet():
    start = tracking.follow([trial(1000)])
    # One bound in six weeks, as the timeline gives them, for a year: each a little below what was tested.
    same = tracking.follow([bound(1042 + 42 * i, 0.94 * 260 * np.exp(0.01 * np.sin(i))) for i in range(9)], start)
    assert same.states[-1].critical_power[1] < 1.025 * start.states[-1].critical_power[1]


def test_one_spiky_file_does_not_move_cp():
    start = tracking.follow([trial(1000), trial(1010)])
    spiky = tracking.follow([bound(1012, 400.0)], start)
    assert spiky.states[-1].critical_power[1] == pytest.approx(start.states[-1].critical_power[1], rel=0.01)


def test_what_moved_it_is_told():
    track = tracking.follow([trial(1000, 250, run=1), trial(1030, 275, run=2)])
    assert track.steps[0].before is None
    assert track.steps[1].evidence.run == 2 and track.steps[1].after > track.steps[1].before * 1.02


def test_evidence_has_a_name_for_so_long():
    steps = tracking.follow([trial(1000), bound(1100, 200.0)]).steps
    assert tracking.kind_on(steps, 1120) == "tested"
    assert tracking.kind_on(steps, 1121) == "lower bound"


def test_a_longer_test_narrows_more():
    made = tracking.follow([trial(1000)]).posterior(1200, 2)
    now = made.estimates()[0]
    one, three = (tracking.half_width_after(made, d) for d in ((180.0,), (180.0, 420.0, 720.0)))
    assert three < one < 0.5 * (now.high - now.low) * 1.02
