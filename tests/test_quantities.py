import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from footwork.errors import UsageError
from footwork.quantities import (
    Estimate,
    describe,
    format_duration,
    format_pace,
    parse_distance,
    parse_duration,
    parse_effort,
    parse_wind,
    plain,
    quick_median,
    round_paces,
)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("3:00", 180),
        ("1:05:00", 3900),
        ("90", 90),
        ("90s", 90),
        ("20 min", 1200),
        ("20min", 1200),
        ("2h", 7200),
        ("1h30", 5400),
        ("1h30m", 5400),
        ("0:59.5", 59.5),
    ],
)
def test_durations(text, seconds):
    assert parse_duration(text) == seconds


@pytest.mark.parametrize("text", ["", "abc", "1:75", "-3:00", "0", "1:2:3:4", "200h", "nan"])
def test_bad_durations(text):
    with pytest.raises(UsageError, match="duration"):
        parse_duration(text)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("10km", 10000),
        ("5 mi", 8046.72),
        ("1500m", 1500),
        ("half", 21097.5),
        ("Marathon", 42195),
        ("10k", 10000),
        ("21,1 km", 21100),
    ],
)
def test_distances(text, metres):
    assert parse_distance(text) == pytest.approx(metres)


@pytest.mark.parametrize("text", ["", "10", "0km", "900km", "km", "ten"])
def test_bad_distances(text):
    with pytest.raises(UsageError):
        parse_distance(text)


def test_efforts():
    assert (parse_effort("3:00=361").duration, parse_effort("3:00=361").power) == (180, 361)
    race = parse_effort("5km=20:30")
    assert (race.distance, race.duration, race.kind) == (5000, 1230, "race")
    assert parse_effort("half=1:35:00").distance == 21097.5
    assert parse_effort("1500m=5:00").distance == 1500
    assert parse_effort("20 min=280").duration == 1200
    assert parse_effort("all-out=305").kind == "all-out"
    assert parse_effort("12:00=278@2026-03-01").date.isoformat() == "2026-03-01"


@pytest.mark.parametrize(
    "text",
    [
        "3:00",
        "=300",
        "3:00=",
        "3:00=20",
        "3:00=9999",
        "5km=5:00",
        "5km=9:00:00",
        "100m=12s",
        "2s=700",
        "3:00=300@monday",
    ],
)
def test_bad_efforts(text):
    with pytest.raises(UsageError):
        parse_effort(text)


@given(st.floats(1, 86400 * 6))
def test_formatting_and_parsing_durations_agree(seconds):
    assert parse_duration(format_duration(seconds)) == pytest.approx(round(seconds), abs=0)


def test_estimates_never_hold_nan():
    made = Estimate(float("nan"), 1.0, 2.0, "W", 3, "x")
    assert made.value is None and made.low is None and made.reason
    assert plain({"a": made, "b": float("inf"), "c": np.float64(2), "d": np.array([1.0, np.nan])})["d"] == [1.0, None]
    assert describe(Estimate(276.2, 267.1, 286.0, "W", 3, "x"), evidence="tested") == "276 W  267–286, tested"


def test_paces():
    assert format_pace(1000 / 250) == "4:10 /km"
    assert format_pace(0) == format_pace(math.nan) == "standing"


@pytest.mark.parametrize(
    ("text", "wind"),
    [
        ("5@240", (5.0, 240.0)),
        ("3", (3.0, None)),
        ("-3", (-3.0, None)),
        ("3,5@240,5", (3.5, 240.5)),
        ("@90", (None, 90.0)),
        ("2@360", (2.0, 0.0)),
    ],
)
def test_winds_as_people_write_them(text, wind):
    assert parse_wind(text) == wind


@pytest.mark.parametrize("text", ["", "strong", "5@", "5@361", "5@nan", "@"])
def test_what_is_no_wind(text):
    with pytest.raises(UsageError, match="not a wind"):
        parse_wind(text)


def test_round_paces_are_round_and_run():
    assert [round(1000 / v) for v in round_paces(2.2, 4.2)] == [450, 420, 390, 360, 330, 300, 270, 240]
    assert [round(1609.344 / v) for v in round_paces(2.2, 4.2, imperial=True)] == [720, 660, 600, 540, 480, 420]
    assert [round(1000 / v) for v in round_paces(3.0, 3.2, most=3)] == [330, 320]
    assert round_paces(2.931, 2.939) == []


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=60))
def test_the_quick_median_is_the_median(values):
    assert quick_median(np.array(values)) == np.median(values)
