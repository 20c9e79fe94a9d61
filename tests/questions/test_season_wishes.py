"""What is wished of a season, read from words."""

import datetime as dt

import pytest

from footwork.errors import UsageError
from footwork.questions.season import wishes


@pytest.mark.parametrize(
    "told, words",
    [
        ({"race": "2026-01-01"}, "is over"),
        ({"race": "2026-08-04"}, "in 3 days"),
        ({"race": "2030-08-01"}, "year and a half"),
        ({"race": "2026-11-01", "days": ""}, None),
        ({"race": "2026-11-01", "days": "someday"}, "no day of the week"),
        ({"race": "2026-11-01", "days": "tuex"}, "'tuex' is no day of the week"),
        ({"race": "2026-11-01", "days": "tue,tu"}, "'tu' is no day of the week"),
        ({"race": "2026-11-01", "hours": "40"}, "40 hours a week"),
        ({"race": "2026-11-01", "also": ["2026-10-04 10km A"]}, "a plan is for one race"),
        ({"race": "2026-11-01", "also": ["2026-12-04 10km B"]}, "does not lie between"),
        ({"race": "2026-11-01", "keep": ["60 min easy"]}, "kept to no day"),
        ({"race": "2026-11-01", "away": ["2026-09-10..2026-09-01"]}, "no absence"),
        ({"race": "2026-11-01", "long": "mon", "days": "tue,sun"}, "not one of the free days"),
        ({"race": "2026-11-01", "easier": "2"}, "too often"),
        ({"race": "2026-11-01", "runs": "9"}, "give 1 to 7"),
        ({"race": "2026-11-01", "distance": "400km"}, "cannot be planned"),
        ({}, "needs the day"),
        ({"race": "2026-11-01", "keep": ["wed ride -2 h"]}, "has no duration"),
        ({"race": "2026-11-01", "keep": ["fri ride"]}, "has no duration"),
        ({"race": "2026-11-01", "away": ["2026-10-28..2026-11-03"]}, "the day of the race"),
        ({"race": "2026-11-01", "away": ["2026-08-02..2026-10-31"]}, "no day until the race is free"),
    ],
)
def test_wishes_that_cannot_be_get_one_sentence(told, words):
    today = dt.date(2026, 8, 1)
    if words is None:
        assert wishes.read_wishes(today, told).days == tuple(range(7))
    else:
        with pytest.raises(UsageError, match=words):
            wishes.read_wishes(today, told)


def test_without_a_distance_it_is_a_half_marathon_and_said_so():
    made = wishes.read_wishes(dt.date(2026, 8, 1), {"race": "2026-11-01"})
    assert made.metres == 21_097.5 and made.said == ("No distance was said: planned for a half marathon.",)


def test_days_of_the_week_are_read_as_they_are_written():
    for said in ("tue,thu,sat,sun", "Tuesdays; Thurs.; Saturday; Sun", "tues thur sat suns"):
        made = wishes.read_wishes(dt.date(2026, 8, 1), {"race": "2026-11-01", "days": said})
        assert made.days == (1, 3, 5, 6)
    assert wishes.read_kept("Weds. ride 2 h").weekday == 2


def test_rides_and_swims_are_kept_with_their_hours():
    ride = wishes.read_kept("Sat ride 3 h hard")
    assert (ride.weekday, ride.minutes, ride.hard) == (5, 180.0, True)
    assert wishes.read_kept("wed swim 45 min").minutes == 45.0
    twice = {"race": "2026-12-01", "keep": ["wed swim 45 min", "wed swim 45 min"], "hours": "5:30"}
    once = wishes.read_wishes(dt.date(2026, 8, 1), twice)
    assert once.keep == ("wed swim 45 min",) and once.hours == 5.5
    run = wishes.read_kept("tue 6 x 800 m at 108 % CP")
    assert run.minutes == 0.0 and run.text.startswith("6 x 800 m")


def test_several_wishes_of_one_kind_can_stand_in_one_line():
    told = {"race": "2026-12-01", "keep": ["wed swim 45 min; sat ride 3 h hard", "mon strength 30 min"]}
    steps = wishes.read_wishes(dt.date(2026, 8, 1), {**told, "keep": "tue 15 min easy; 20 min threshold; 10 min easy"})
    assert steps.keep == ("tue 15 min easy; 20 min threshold; 10 min easy",)  # a ; parts steps as well
    away = wishes.read_wishes(dt.date(2026, 8, 1), {**told, "away": ["2026-09-01..2026-09-05; 2026-10-01"]})
    assert away.away == ("2026-09-01..2026-09-05", "2026-10-01")
    made = wishes.read_wishes(dt.date(2026, 8, 1), told)
    assert made.keep == ("wed swim 45 min", "sat ride 3 h hard", "mon strength 30 min")
