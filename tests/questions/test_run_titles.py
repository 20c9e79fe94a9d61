"""A run's title in words, from its efforts."""

import pytest

from footwork.wording.run_titles import division, not_sure, run_title


def efforts(*pieces, grade=(), watts=(), stood=()):
    at, out = 0, []
    for k, (seconds, kind, group) in enumerate(pieces):
        slope = grade[k] if grade else 0.0
        out.append({"start_s": at, "end_s": at + seconds, "kind": kind, "group": group, "grade": slope})
        out[-1] |= {"power": watts[k] if watts else None, "standing_s": stood[k] if stood else 0}
        at += seconds
    return out


WARM, REST, COOL = (900, "warm-up", None), (120, "recovery", None), (600, "cool-down", None)


@pytest.mark.parametrize(
    ("pieces", "title"),
    [
        ([(3600, "work", None)], "An even hour"),
        ([(5090, "work", None)], "An even 85 minutes"),
        ([(7190, "work", None)], "An even two hours"),
        ([(50, "work", None)], "One short effort"),
        ([WARM, *[(483, "work", "3 x 8:00"), REST] * 3, COOL], "Three times eight minutes"),
        ([WARM, *[(200, "work", "5 x 1000 m"), REST] * 5, COOL], "Five times 1000 m"),
        ([WARM, *[(24, "work", "14 x 0:25"), REST] * 14, COOL], "14 times 25 seconds"),
        ([WARM, (1800, "work", None), COOL], "30 minutes of work"),
        ([WARM, (900, "work", None), (900, "work", None)], "Harder in two steps"),
        ([WARM, *[(900, "work", "3 x 15:00")] * 3, COOL], "Harder in three steps of 15 minutes"),
        ([WARM, *[(600, "work", "2 x 10:00")] * 2, (240, "work", None)], "Harder in three steps"),
        (
            [WARM, (60, "work", None), REST, (120, "work", None), REST, (240, "work", None), COOL],
            "A ladder of three, one minute to four minutes",
        ),
        (
            [WARM, (60, "work", None), REST, (180, "work", None), REST, (61, "work", None), COOL],
            "A pyramid up to three minutes",
        ),
        ([WARM, (600, "work", None), REST, (700, "work", None), COOL], "Two times about eleven minutes"),
        (
            [WARM, *[(60, "work", "4 x 1:00"), REST] * 4, *[(1200, "work", "2 x 20:00"), REST] * 2],
            "Four times one minute, two times 20 minutes",
        ),
    ],
)
def test_a_title_says_what_was_run(pieces, title):
    assert run_title(efforts(*pieces)) == title


FOUR = [WARM, *[(360, "work", "4 x 6:00"), REST] * 4]


@pytest.mark.parametrize(
    ("pieces", "watts", "title"),
    [
        (FOUR, [190, *[218, 185] * 4], "Four times six minutes, a little harder"),
        (FOUR, [190, *[285, 185] * 4], "Four times six minutes"),
        (FOUR, [190, *[194, 200] * 4], "Four times six minutes"),
        ([(1080, "work", None), (4320, "cool-down", None)], [203, 203], "An even 90 minutes"),
        ([WARM, (1140, "work", None), COOL], [186, 299, 186], "19 minutes of work"),
        ([(1500, "work", None), REST, (4680, "work", None)], [204, 214, 204], "An even 105 minutes"),
        ([(1200, "work", "2 x 20:00"), REST, (1200, "work", "2 x 20:00")], [300, 180, 300], "Two times 20 minutes"),
        ([WARM, (900, "work", None), (900, "work", None)], [230, 245, 260], "Harder in two steps"),
        (
            [WARM, (120, "work", None), REST, (420, "work", None)],
            [175, 310, 175, 310],
            "Efforts of two minutes and seven minutes",
        ),
    ],
)
def test_a_title_calls_work_what_is_harder_than_the_other_running(pieces, watts, title):
    assert run_title(efforts(*pieces, watts=watts)) == title


def test_standing_is_a_break_and_no_part_of_an_even_run():
    parts = [(1500, "work", None), (300, "recovery", None), (4680, "work", None)]
    stood = efforts(*parts, watts=[204, 0, 204], stood=[0, 280, 0])
    assert run_title(stood) == "25 minutes and 78 minutes, with a break"
    jogged = [(300, "warm-up", None), (1800, "recovery", None), (3600, "work", None)]
    assert run_title(efforts(*jogged, watts=[200, 0, 204], stood=[0, 1800, 0])) == "An even 65 minutes"


def test_what_the_runner_calls_work_is_work():
    pieces = efforts(WARM, (1800, "work", None), COOL, watts=[203, 203, 203])
    assert run_title(pieces) == "An even 55 minutes" and run_title(pieces, by_hand=True) == "30 minutes of work"


def test_hills_are_named_where_the_efforts_climb_and_fall():
    pieces = [WARM, *[(60, "work", "3 x 1:00"), REST] * 3]
    rolling = efforts(*pieces, grade=[0, 0.03, 0, -0.02, 0, 0.03, 0])
    assert run_title(rolling) == "Three times one minute, up and down"
    assert (
        run_title(efforts(*pieces, grade=[0, 0.06, -0.06, 0.06, -0.06, 0.06, -0.06]))
        == "Three times one minute, uphill"
    )


def test_what_is_not_sure_is_said_in_a_sentence():
    three = efforts(WARM, *[(480, "work", "3 x 8:00"), REST] * 3, COOL)
    even = efforts((3600, "work", None))
    assert not_sure(three, []) == ""
    assert not_sure(three, even) == "Not sure: it may also be an even hour."
    slight = efforts((1800, "work", None), REST, (1680, "work", None), watts=(200, 195, 200))
    assert not_sure(slight, even) == "Not sure that it has parts: it may also be one even effort."
    assert not_sure(even, slight) == "Not sure that it was run evenly: it may also have 3 parts."
    late = [{**e, "sure": e["start_s"] < 1600} for e in three]
    assert not_sure(three, late) == "Not sure where its work lies: it may also be from 35:00 to 43:00."
    many = [{**e, "sure": False} for e in efforts(WARM, *[(480, "work", "4 x 8:00"), REST] * 4, COOL)]
    assert not_sure(many, many) == (
        "Not sure where its work lies: it may also be from 15:00 to 23:00 and from 25:00 to 33:00 and from 35:00 to "
        "43:00, and elsewhere."
    )
    assert not_sure(three, [{**e, "sure": True} for e in three]) == "Not sure where its work lies."
    assert division(three[:3]) == "0:00 warm-up, 15:00 work, 23:00 recovery"
