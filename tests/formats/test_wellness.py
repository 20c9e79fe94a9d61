"""Wellness in FIT files, with the traps that real files showed."""

import datetime as dt

import pytest

from footwork.formats import wellness
from footwork.formats.fit import EPOCH
from tests.fitfile import message, wrap

MIDNIGHT = 1_780_000_000 - 1_780_000_000 % 86400  # UTC
OFFSET = 2 * 3600  # of the device


def stamp(hour, minute=0, day=0):
    """Local time on the device as a FIT stamp in UTC."""
    return MIDNIGHT - OFFSET + day * 86400 + round(3600 * hour) + 60 * minute - EPOCH


def wellness_file(kind, *messages, told=True):
    start = message(0, [(0, "e", kind), (1, "H", 255), (2, "H", 1), (3, "z", 7), (4, "I", stamp(12))])
    zone = message(103, [(253, "I", stamp(12)), (0, "I", stamp(12) + OFFSET)]) if told else b""
    return wrap(start + zone + b"".join(messages))


def resting(hour, seven, day_s, day=0, minute=0):
    return message(211, [(253, "I", stamp(hour, minute, day)), (0, "B", seven), (1, "B", day_s)])


DAY = dt.datetime.fromtimestamp(MIDNIGHT, dt.UTC).date()


def test_the_days_resting_heart_rate_is_the_last_from_ten_on_and_never_the_mean_of_seven_days():
    data = wellness_file(32, resting(7, 51, 62), resting(10, 51, 49), resting(21, 51, 48), resting(9, 51, 55, day=1))
    assert [(m.date, m.field, m.value) for m in wellness.read(data)] == [(DAY, "resting_heart_rate", 48.0)]


def test_a_stamp_of_midnight_belongs_to_the_day_before():
    data = wellness_file(32, resting(11, 51, 49), resting(24, 51, 47))
    assert [(m.date, m.value) for m in wellness.read(data)] == [(DAY, 47.0)]


def test_without_a_local_stamp_days_are_those_of_the_zone_that_is_told():
    data = wellness_file(32, resting(23, 51, 49), told=False)
    assert [m.date for m in wellness.read(data, dt.timezone(dt.timedelta(hours=13)))] == [DAY + dt.timedelta(days=1)]
    assert [m.date for m in wellness.read(data)] == [DAY]


def night(*levels, start=-1.0, stop=6.0):
    """Sleep from 23:00 to 06:00; each level stands at the END of its stretch."""
    events = [message(21, [(253, "I", stamp(t)), (0, "e", 74), (1, "e", kind)]) for t, kind in ((start, 0), (stop, 1))]
    return wellness_file(49, *events, *(message(275, [(253, "I", stamp(t)), (0, "e", v)]) for t, v in levels))


def test_sleep_is_start_to_stop_without_what_was_awake_and_a_stamp_ends_its_stretch():
    # 23:00 light to 1:00, awake to 1:30, deep to 5:30, light to 6:00: half an hour awake of seven hours.
    data = night((1.0, 2), (1.5, 1), (5.5, 3), (6.0, 2))
    assert [(m.date, m.field, m.value) for m in wellness.read(data)] == [(DAY, "sleep", pytest.approx(6.5))]


def test_a_night_without_its_end_is_missing_and_never_zero():
    start = message(21, [(253, "I", stamp(-1)), (0, "e", 74), (1, "e", 0)])
    assert wellness.read(wellness_file(49, start, message(275, [(253, "I", stamp(1)), (0, "e", 2)]))) == []
    assert wellness.read(night()) == []


def test_variability_is_last_nights_mean_in_milliseconds():
    data = wellness_file(68, message(370, [(253, "I", stamp(7)), (0, "H", 60 * 128), (1, "H", 71 * 128 + 64)]))
    assert [(m.field, m.value) for m in wellness.read(data)] == [("overnight_hrv", 71.5)]


def test_what_cannot_be_is_not_read_nor_is_a_course_or_noise():
    assert wellness.read(wellness_file(32, resting(11, 51, 12))) == []
    assert wellness.read(wellness_file(6, resting(11, 51, 50))) == []
    assert wellness.read(b"no FIT file at all") == []


def test_a_file_that_was_cut_tells_what_was_before_the_cut():
    data = wellness_file(32, resting(11, 51, 49), resting(22, 51, 47))
    assert [m.value for m in wellness.read(data[:-8])] == [49.0]
