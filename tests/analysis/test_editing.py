"""Corrections on signals so small that each outcome can be written down."""

import numpy as np
import pytest

from footwork.analysis import editing
from footwork.errors import UsageError
from footwork.signals import PowerStream, Signals


def signals(start=1000, n=6, power=200.0, scale="a", way=3.0):
    time = start + np.arange(float(n))
    columns = {
        "time": time,
        "power": np.full(n, power),
        "distance": way * (1 + np.arange(n)),
        "speed": np.full(n, way),
        "grade": np.full(n, 0.04),
        "step_length": np.full(n, 1.0),
        "altitude": 10.0 + np.arange(n),
        "heart_rate": np.full(n, 150.0),
        "heart_rate_quality": np.zeros(n),
    }
    return Signals(columns, np.ones(n, dtype=bool), (PowerStream("power", scale),))


def test_cut_keeps_the_first_second_and_not_the_last():
    made = editing.cut(signals(), 1002, 1005)
    assert made["time"].tolist() == [1002, 1003, 1004]
    assert made["distance"].tolist() == [0.0, 3.0, 6.0]  # counts from nothing again
    assert editing.cut(signals(), 1000, 1003)["distance"].tolist() == [3.0, 6.0, 9.0]  # unless nothing was cut before
    with pytest.raises(UsageError, match="fewer than two seconds"):
        editing.cut(signals(), 1005, 1009)


def test_join_takes_the_time_between_as_a_pause():
    made = editing.join([signals(1010, power=300.0), signals(1000)])
    assert len(made) == 16 and made.timer.tolist() == [True] * 6 + [False] * 4 + [True] * 6
    assert made["power"].tolist() == [200.0] * 6 + [0.0] * 4 + [300.0] * 6
    assert made["distance"][5] == 18.0 and made["distance"][10] == 21.0 and made["distance"][-1] == 36.0
    assert np.isnan(made["speed"][6:10]).all() and made["heart_rate_quality"][6:10].tolist() == [2.0] * 4
    with pytest.raises(UsageError, match="overlap"):
        editing.join([signals(1000), signals(1005)])


def test_joined_watts_of_two_scales_stay_apart():
    made = editing.join([signals(1000), signals(1010, power=300.0, scale="b")])
    assert [(s.column, s.scale) for s in made.streams] == [("power", "a"), ("power_2", "b")]
    assert np.isnan(made["power"][10:]).all() and np.isnan(made["power_2"][:6]).all()
    assert made["power"][6:10].tolist() == made["power_2"][6:10].tolist() == [0.0] * 4


def test_leaving_out_takes_values_and_not_where_the_runner_was():
    made = editing.leave_out(signals(), 1001, 1003)
    for name in ("power", "speed", "grade", "heart_rate", "step_length"):
        assert np.isnan(made[name]).tolist() == [False, True, True, False, False, False], name
    for name in ("time", "distance", "altitude"):
        assert np.isfinite(made[name]).all(), name
    assert made["heart_rate_quality"].tolist() == [0, 2, 2, 0, 0, 0]
    only = editing.leave_out(signals(), 1001, 1003, "power")
    assert np.isnan(only["power"][1:3]).all() and np.isfinite(only["heart_rate"]).all()
    assert only["heart_rate_quality"].tolist() == [0.0] * 6


def test_a_distance_scales_speed_and_steps_with_it_and_slopes_against_it():
    made = editing.rescale(signals(), 36.0)  # twice the 18 m
    assert made["distance"].tolist() == [6.0, 12.0, 18.0, 24.0, 30.0, 36.0]
    assert made["speed"].tolist() == [6.0] * 6 and made["step_length"].tolist() == [2.0] * 6
    assert made["grade"] == pytest.approx(0.02) and made["power"].tolist() == [200.0] * 6


def test_a_distance_without_any_is_spread_over_the_running_time():
    bare = signals()
    columns = {n: v for n, v in bare.columns.items() if n not in ("distance", "speed")}
    timer = np.array([True, True, False, True, True, True])
    made = editing.rescale(Signals(columns, timer, bare.streams), 20.0)
    assert made["speed"].tolist() == [4.0, 4.0, 0.0, 4.0, 4.0, 4.0]
    assert made["distance"].tolist() == [4.0, 8.0, 8.0, 12.0, 16.0, 20.0]


def test_clock_and_incline():
    assert editing.shift(signals(), 7.6)["time"][0] == 1008
    made = editing.tilt(signals(), 0.06)
    assert made["grade"].tolist() == [0.06] * 6 and "altitude" not in made.columns


def test_a_way_on_a_watch_that_never_ran_is_no_way():
    signals = Signals({"time": np.arange(5.0)}, np.zeros(5, dtype=bool), ())
    found = editing.rescale(signals, 400.0)
    assert np.array_equal(found["distance"], np.zeros(5)) and np.array_equal(found["speed"], np.zeros(5))
