"""Where the ground goes, on shapes whose answers are known in closed form."""

import numpy as np
import pytest

from footwork.physics import terrain


def test_a_degree_on_a_sphere():
    # Mean radius 6371.0088 km (IUGG): a degree of a great circle is 111.1951 km; at 60 degrees north a degree of
    # longitude is half of it by the parallel, a little less by the great circle.
    step = terrain.step_distance([0.0, 1.0, 1.0], [0.0, 0.0, 1.0])
    assert step[0] == 0.0 and step[1] == pytest.approx(111_195.08, abs=0.1)
    assert step[2] == pytest.approx(111_178.14, abs=0.5)  # cos(1 degree) of it, less 0.2 m for the great circle
    north = terrain.step_distance([60.0, 60.0], [10.0, 11.0])[1]
    half_chord = np.cos(np.radians(60)) * np.sin(np.radians(0.5))
    assert north == pytest.approx(2 * 6_371_008.8 * np.arcsin(half_chord), abs=0.01)


@pytest.mark.parametrize(
    ("to", "degrees"), [((1, 0), 0.0), ((0, 1), 90.0), ((-1, 0), 180.0), ((0, -1), 270.0), ((1e-3, 1e-3), 45.0)]
)
def test_bearings_are_clockwise_from_north(to, degrees):
    found = terrain.bearing([0.0, to[0]], [0.0, to[1]])
    assert found == pytest.approx([degrees, degrees], abs=1e-3)


def test_the_bearing_of_a_great_circle_at_50_degrees_north():
    # Equal latitudes: 90 - atan(tan(dlon / 2) sin(lat)) degrees; for 10 degrees at 50 N that is 90 - 3.8343.
    assert terrain.bearing([50.0, 50.0], [0.0, 10.0])[0] == pytest.approx(90 - 3.8343, abs=0.001)


def test_a_straight_climb_keeps_its_slope_to_both_ends():
    x = np.arange(0.0, 1000.1, 2.5)
    height, grade = terrain.smooth_altitude(x, 100 + 0.05 * x)
    assert height == pytest.approx(100 + 0.05 * x, abs=0.13)  # samples are put on a grid of 5 m
    assert grade[20:-20] == pytest.approx(0.05, abs=2e-3) and grade[[0, -1]] == pytest.approx(0.05, abs=5e-3)


def test_waves_shrink_as_a_gaussian_shrinks_them():
    # A sine of wavelength L under a Gaussian of SD s keeps exp(-2 (pi s / L)^2): 0.7345 for 40 m and 320 m.
    x = np.arange(0.0, 6400.1, 5.0)
    wave = 10 * np.sin(2 * np.pi * x / 320)
    height, grade = terrain.smooth_altitude(x, wave)
    middle = slice(200, -200)
    assert np.ptp(height[middle]) / 2 == pytest.approx(10 * np.exp(-2 * (np.pi * 40 / 320) ** 2), rel=0.005)
    assert np.abs(grade[middle]).max() == pytest.approx(7.345 * 2 * np.pi / 320, rel=0.01)
    wider, _ = terrain.smooth_altitude(x, wave, smoothing=80.0)
    assert np.ptp(wider[middle]) / 2 == pytest.approx(10 * np.exp(-2 * (np.pi * 80 / 320) ** 2), rel=0.02)


def test_what_cannot_be_smoothed_is_not_guessed():
    nothing = np.full(4, np.nan)
    assert np.isnan(terrain.smooth_altitude(np.arange(4.0), nothing)[0]).all()
    height, grade = terrain.smooth_altitude([0.0, 3.0, 6.0, 9.0], [5.0, 6.0, 7.0, np.nan])  # under ten metres of way
    assert height[:3].tolist() == [5.0, 6.0, 7.0] and np.isnan(height[3]) and grade[:3].tolist() == [0.0, 0.0, 0.0]
    steep = terrain.smooth_altitude(np.arange(0.0, 400.0, 5.0), np.arange(0.0, 400.0, 5.0))[1]
    assert steep.max() == 0.45  # never beyond what costs were measured on


def test_standing_counts_once():
    x = np.concatenate([np.arange(0.0, 200.0, 5.0), np.full(50, 200.0), np.arange(205.0, 400.0, 5.0)])
    z = np.where(x < 200, 10.0, 12.0)
    z[40:90] = 10.0 + 4.0 * (np.arange(50) % 2)  # while standing the barometer wanders by four metres
    height, _ = terrain.smooth_altitude(x, z)
    assert height[60] == pytest.approx(11.0, abs=0.15)


def test_spikes_go_and_the_course_says_how_many_metres():
    x = np.arange(0.0, 2000.1, 10.0)
    flat = np.full(len(x), 50.0)
    flat[100] += 6.5
    mended, found = terrain.clean_heights(x, flat)
    assert mended == pytest.approx(50.0) and found == {"spikes": 10.0}
    flat[100] = 54.9
    assert terrain.clean_heights(x, flat)[1] == {}  # a slope of 49 % can be ground


def test_a_bridge_is_run_straight_and_a_step_is_taken_off():
    x = np.arange(0.0, 6000.1, 10.0)
    valley = np.where((x > 2000) & (x < 2500), 20.0, 60.0)
    mended, found = terrain.clean_heights(x, valley)
    assert mended == pytest.approx(60.0) and found == {"bridges": 1.0}
    mended, found = terrain.clean_heights(x, np.where(x > 3000, 80.0, 60.0))
    assert mended == pytest.approx(60.0) and found == {"steps": 1.0}
    wide = np.where((x > 1000) & (x < 4500), 20.0, 60.0)  # no bridge is three and a half kilometres long
    assert terrain.clean_heights(x, wide)[1] == {"steps": 2.0}


@pytest.mark.parametrize(
    ("gap", "drift", "told"), [(59.0, 20.0, True), (61.0, 20.0, False), (0.0, 61.0, False), (0.0, 2.9, False)]
)
def test_a_closed_course_ends_where_it_began(gap, drift, told):
    x = np.arange(0.0, 5000.1, 10.0)
    mended, found = terrain.clean_heights(x, 100 + drift * x / 5000, gap)
    assert ("drift" in found) == told
    assert mended[-1] - mended[0] == pytest.approx(0.0 if told else drift, abs=1e-6)
    assert mended[0] == pytest.approx(100.0, abs=1e-6)  # it begins where it began


def test_climb_is_the_sum_of_rises():
    assert terrain.climb([0.0, 3.0, 1.0, np.nan, 4.5, 4.5]) == 6.5
