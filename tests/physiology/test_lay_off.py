"""Weeks without running: what they take, against published figures, and when they count."""

import numpy as np
import pytest

from footwork.physiology import lay_off
from footwork.physiology.lay_off import SHARE, SHARE_ENDS, LayOff, Other, found, lost_on, usual_gap, whole_loss

FIRST = 739_000
# Three runs a week (Mon, Wed, Sat) of 40, 50 and 90 min for twelve weeks; the last on day 82.
REGULAR = {FIRST + 7 * week + day: minutes for week in range(12) for day, minutes in ((0, 40.0), (2, 50.0), (5, 90.0))}
LAST = max(REGULAR)


def test_the_whole_loss_is_that_of_published_runners():
    # Coyle et al. 1984, J Appl Physiol 57:1857: VO2max −7 % at 12 days, −16 % at 84; within 1.5 points.
    assert 100 * whole_loss(12) == pytest.approx(7.0, abs=0.5)
    assert 100 * whole_loss(56) == pytest.approx(14.0, abs=1.5)
    assert 100 * whole_loss(84) == pytest.approx(16.0, abs=0.5)
    # Houmard et al. 1992, doi:10.1055/s-2007-1024567: −4.7 % at 14 days lies in the interval that is told.
    low, high = (100 * end * whole_loss(14) for end in SHARE_ENDS)
    assert (low, 100 * SHARE * whole_loss(14), high) == pytest.approx((3.5, 5.8, 8.5), abs=0.05)
    assert low < 4.7 < high
    # Feely et al. 2023, Front Sports Act Living 4:1096124: marathons 5 to 8 % slower after a week and more without
    # running; the loss alone is of that size from 7 to 21 days.
    assert [round(100 * SHARE * whole_loss(d), 1) for d in (7, 14, 21)] == [3.4, 5.8, 7.6]


def test_a_gap_counts_once_it_is_longer_than_the_usual_ones():
    assert usual_gap(sorted(REGULAR)) == 3  # two days at most, and three are nothing for anybody
    assert found(REGULAR, {}, LAST + 3) == []
    (made,) = found(REGULAR, {}, LAST + 30)
    assert (made.since, made.until, made.usual_gap, made.back) == (LAST, None, 3, None)
    assert [made.loss(LAST + d) for d in (-1, 0, 3)] == [0.0, 0.0, 0.0]
    eased = [SHARE * whole_loss(d) * share for d, share in ((4, 1 / 3), (5, 2 / 3), (6, 1), (7, 1))]
    assert [made.loss(LAST + d) for d in (4, 5, 6, 7)] == pytest.approx(eased)
    assert max(np.diff([made.loss(LAST + d) for d in range(80)])) < 0.013  # no day jumps


def test_whoever_runs_once_a_week_has_no_lay_off_each_week():
    weekly = {FIRST + 7 * week: 60.0 for week in range(10)}
    assert found(weekly, {}, FIRST + 63 + 6) == []
    (made,) = found(weekly, {}, FIRST + 63 + 7)
    assert made.usual_gap == 6
    assert found({FIRST: 60.0, FIRST + 30: 60.0, FIRST + 60: 60.0}, {}, FIRST + 60) == []  # of three runs none is told


def test_one_gap_is_no_habit():
    again = REGULAR | {LAST + 20 + d: m for d, m in ((0, 40.0), (2, 50.0), (5, 90.0))}
    assert [o.usual_gap for o in found(again, {}, LAST + 40)] == [3, 3]


def test_it_comes_back_over_as_long_once_a_usual_week_was_run_again():
    back = LAST + 15  # 14 days off
    eased = {back + d: 20.0 for d in (0, 3, 6)}
    usual = {back + 10 + d: m for d, m in ((0, 40.0), (2, 50.0), (5, 90.0), (7, 40.0), (9, 50.0), (12, 90.0))}
    made = found(REGULAR | eased | usual, {}, back + 40)[0]
    assert (made.until, made.days_off(made.until)) == (back, 14)
    assert made.back == back + 15  # 180 min in seven days, where four fifths of 180 are needed
    whole = SHARE * whole_loss(14)
    assert made.loss(made.until) == made.loss(made.back) == pytest.approx(whole)
    assert [made.loss(made.back + d) for d in (7, 14, 20)] == pytest.approx([whole / 2, 0.0, 0.0])
    (known,) = found(REGULAR | eased | usual, {}, back + 14)
    assert known.back is None  # nobody knows it before the day


def test_rides_keep_it_where_hard_ones_are_among_them():
    # Spiering et al. 2021, JSCR 35:1449: held for 15 weeks at 33 to 66 % less volume where intensity stays.
    days, day = range(LAST + 1, LAST + 22), LAST + 21
    easy = {d: Other(60.0, False) for d in days}
    hard = {d: Other(60.0, d % 7 == (LAST + 1) % 7) for d in days}
    none, alone, with_hard = (found(REGULAR, other, day)[0] for other in ({}, easy, hard))
    assert none.loss(day) == alone.loss(day) == pytest.approx(SHARE * whole_loss(21))
    assert with_hard.loss(day) == 0.0  # 7 h of rides a week beside 3 of running, one of them hard
    rare = {d: Other(36.0, True) for d in days if d % 7 == (LAST + 1) % 7}  # a fifth of usual, where two keep all
    assert found(REGULAR, rare, day)[0].spared[7:] == pytest.approx([0.5] * 14)
    # Whoever rides as much in usual weeks keeps less of the usual by as many rides.
    before = {d: Other(60.0, False) for d in range(FIRST, LAST)} | rare
    assert found(REGULAR, before, day)[0].loss(day) > found(REGULAR, rare, day)[0].loss(day)


def test_one_hard_ride_stops_the_loss_for_a_week_and_undoes_nothing():
    easy = {d: Other(60.0, False) for d in range(LAST + 1, LAST + 21)}
    ride = easy | {LAST + 21: Other(180.0, True)}
    without, with_it = (found(REGULAR, other, LAST + 30)[0] for other in (easy, ride))
    assert [with_it.loss(LAST + d) for d in range(21)] == [without.loss(LAST + d) for d in range(21)]
    assert with_it.loss(LAST + 21) == with_it.loss(LAST + 27) == with_it.loss(LAST + 20)
    assert with_it.loss(LAST + 30) > with_it.loss(LAST + 27)


def test_a_second_lay_off_goes_on_from_what_the_first_left():
    back = LAST + 29
    week = {back + d: m for d, m in ((0, 60.0), (2, 60.0), (4, 60.0))}
    first, second = found(REGULAR | week, {}, back + 60)
    assert first.back == back + 4 == second.since == first.again
    whole = [lost_on([first, second], d) for d in range(back, back + 61)]
    assert whole[:5] == pytest.approx([SHARE * whole_loss(28)] * 5)
    assert (np.diff(whole) >= -1e-12).all()  # nobody recovers lying still
    assert whole[60] == pytest.approx(SHARE * whole_loss(28 + 56))
    # One short run in the middle of two months changes next to nothing.
    (_, jogged) = found(REGULAR | {back: 5.0}, {}, back + 27)
    assert lost_on([jogged], back + 27) == pytest.approx(SHARE * whole_loss(28 + 27))


def test_its_error_is_that_of_how_much_befalls_a_runner():
    assert pytest.approx(1.1 - 0.45, abs=1e-9) == 2 * 1.96 * lay_off.SHARE_SD
    assert LayOff(LAST, None, 3).loss(LAST + 84) == pytest.approx(0.121, abs=0.001)
