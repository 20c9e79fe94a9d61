"""Load of one activity, against the values that its formulas were published or worked out with."""

import numpy as np
import pytest

from footwork.physiology import load_ways as loads


@pytest.mark.parametrize(("minutes", "share", "load"), [(60, 1.0, 60.0), (240, 0.55, 56.1), (60, 0.85, 38.4)])
def test_a_minute_at_critical_power_counts_one(minutes, share, load):
    # Worked by hand: 240 · 0.55 · e^(-0.855) and 60 · 0.85 · e^(-0.285).
    assert minutes * float(loads.weight(share)) == pytest.approx(load, abs=0.1)


def test_a_share_is_found_back_from_its_minute():
    for share in (0.2, 0.55, 0.8, 1.0, 1.2, 2.0):
        assert loads.share_of(float(loads.weight(share))) == pytest.approx(share, abs=1e-6)


def test_load_grows_by_one_and_1_9_x_with_intensity():
    # d ln w / d ln x = 1 + 1.9 x: at 0.75, 2 % of CP make 5 % of load.
    x, h = 0.75, 1e-5
    slope = (np.log(loads.weight(x * (1 + h))) - np.log(loads.weight(x))) / np.log(1 + h)
    assert float(slope) == pytest.approx(1 + 1.9 * x, abs=1e-3)


@pytest.mark.parametrize(("exertion", "minute"), [(0, 0.0), (2, 0.33), (5, 0.72), (7, 0.96), (10, 1.30)])
def test_exertion_tells_load(exertion, minute):
    assert loads.of_exertion(60, exertion) == pytest.approx(60 * minute, abs=0.5)


def test_four_hours_in_the_mountains_count_more_than_an_hour_of_hard_running():
    easy, hard = 240 * float(loads.weight(0.55)), 60 * float(loads.weight(0.85))
    assert easy * loads.terrain(40 * 25, 40 * 25, 25_000, 240) == pytest.approx(90, abs=1)  # 40 m a km both ways
    assert hard * loads.terrain(0, 0, 13_000, 60) == hard  # flat and short: its watts tell it all


def test_walking_counts_and_standing_does_not():
    histogram = np.zeros(400)
    histogram[0], histogram[100], histogram[250] = 600, 600, 600
    expected = 10 * (float(loads.weight(0.45)) + 1.0)
    assert loads.of_power(histogram, 250) == pytest.approx(expected, rel=1e-6)
    ridden = 10 * (float(loads.weight(0.4)) + 1.0)
    assert loads.of_power(histogram, 250, on_foot=False) == pytest.approx(ridden, rel=1e-6)


def test_modelled_watts_are_drawn_in_to_what_anybody_could_hold():
    histogram = np.zeros(3001)
    histogram[200], histogram[2900] = 2000, 900  # a quarter of an hour at 2,900 W: a position that jumps
    kept, drawn_in = loads.capped(histogram, 250.0)
    assert drawn_in == 900 and kept.sum() == 2900
    assert kept[int(1.15 * 250 * (1 + 75 / 900))] == 900
    sprint = np.zeros(900)
    sprint[200], sprint[600] = 2000, 30  # half a minute at 2.4 times critical power may be
    assert loads.capped(sprint, 250.0)[1] == 0
    jump = np.zeros(3001)
    jump[200], jump[2900] = 2000, 5
    assert loads.capped(jump, 250.0)[0][625] == 5  # 2.5 times it, however short


def test_heart_rate_tells_a_share_of_capacity():
    # At 88 % of the reserve a runner is at critical power (our convention): 50 + 0.88 · 140.
    assert loads.share_of_reserve(173.2, 50, 190) == pytest.approx(1.0, abs=1e-3)
    assert loads.of_heart_rate([30, 30], [1.0, 0.75]) == pytest.approx(30 + 30 * float(loads.weight(0.75)))
    assert loads.of_heart_rate([1], [9.0]) == pytest.approx(float(loads.weight(1.3)))


def test_a_swim_at_critical_speed_counts_its_minutes():
    assert loads.of_swimming(40, 1.2, 1.2) == pytest.approx(40)
    assert loads.of_swimming(40, 1.08, 1.2) == pytest.approx(40 * float(loads.weight(0.9**2.5)))
