"""What weeks without running, and months of which nothing is known, leave of the evidence of a scale."""

from dataclasses import replace

import numpy as np
import pytest

from footwork.analysis.capacity_days import CapacityDays
from footwork.physiology import habitual, tracking
from footwork.physiology.lay_off import LayOff
from tests.analysis.test_capacity_days import run, weeks

LAID = LayOff(1059, None, 3)


def test_a_lay_off_lowers_what_is_proposed_and_widens_it():
    for bests in (weeks(), [*weeks(), run(99, 1059, 250, 48.0, maximal=True)]):
        plain, laid = (CapacityDays(bests, lay_offs=o).on(1080) for o in ([], [LAID]))
        before, after = (np.quantile(t.posterior.draws()[0], [0.025, 0.5, 0.975]) for t in (plain, laid))
        aged = habitual.ageing(21) - habitual.ageing(0) if plain.kind == "habitual" else 0.0
        lost = -np.log1p(-LAID.loss(1080))
        # The larger of age and loss, never both.
        assert np.log(after[1] / before[1]) == pytest.approx(aged - lost, abs=0.004)
        assert np.log(after[2] / after[0]) > np.log(before[2] / before[0])
        assert laid.lay_off == LAID and plain.lay_off is None


def test_age_counts_alone_where_it_is_the_larger():
    short = LayOff(1059, 1064, 3)  # four days off take 0.7 %, ten weeks of age more
    assert 0.006 < short.loss(1080) == short.loss(1130) < 0.008
    for day, equal in ((1063, False), (1130, True)):
        plain, laid = (CapacityDays(weeks(), lay_offs=o).on(day).posterior.estimates()[0] for o in ([], [short]))
        assert (plain.value == laid.value) is equal


def test_runs_after_a_lay_off_say_what_they_say():
    returned = LayOff(1059, 1080, 3)
    after = [run(200 + k, 1080 + k, 250, 48.0) for k in range(3)]
    plain, laid = (CapacityDays([*weeks(), *after], lay_offs=o).on(1083) for o in ([], [returned]))
    assert plain.posterior.estimates()[0] == laid.posterior.estimates()[0]
    assert laid.front.strongest == plain.front.strongest and set(laid.front.strongest) <= set(range(len(weeks()), 99))


def test_what_a_test_measured_after_a_lay_off_needs_no_loss_taken_off():
    returned = LayOff(1059, 1080, 3)
    lost = 1 - returned.loss(1081)
    after = run(99, 1081, 250 * lost, 48.0, maximal=True)
    bests = [*weeks(), run(98, 1059, 250, 48.0, maximal=True), after]
    told = CapacityDays(bests, lay_offs=[returned]).on(1081)
    assert [s.moved for s in told.tests] == pytest.approx([0.0, np.log(lost)])
    assert told.posterior.scale_sd == 0.0  # the test measured it: nothing of the loss is left to doubt
    shown = np.quantile(told.posterior.draws()[0], [0.025, 0.5, 0.975])
    plain = np.quantile(CapacityDays(bests[:-1]).on(1081).posterior.draws()[0], [0.025, 0.5, 0.975])
    assert shown[1] == pytest.approx(lost * plain[1], rel=0.015)
    untold = np.quantile(CapacityDays(bests[:-1], lay_offs=[returned]).on(1081).posterior.draws()[0], [0.025, 0.975])
    assert np.log(shown[2] / shown[0]) < np.log(untold[1] / untold[0])
    # With the usual weeks it comes back, without another test.
    back = replace(returned, back=1085)
    later = [CapacityDays(bests, lay_offs=[o]).on(1085 + 20).posterior.estimates()[0].value for o in (returned, back)]
    assert later[1] / later[0] == pytest.approx(1 / lost, rel=0.015)


def test_a_lay_off_weighs_no_longer_once_nothing_of_before_it_counts():
    """Whoever never runs the old weeks again: after a year of new runs nothing rests on what was before."""
    returned = LayOff(1059, 1080, 3)
    after = [run(200 + k, 1080 + 4 * k, 245, 48.0, longest=2400) for k in range(90)]
    days = CapacityDays([*weeks(), *after], lay_offs=[returned])
    assert days.on(1084).lay_off is None or days.on(1084).front.lost > 0
    told = days.on(1430)
    assert told.lay_off is None and told.front.lost == 0.0


def test_a_day_within_a_lay_off_knows_nothing_of_its_end():
    ended = LayOff(1059, 1090, 3, 1095)
    for day in (1061, 1070, 1089):
        open_, closed = (CapacityDays(weeks(), lay_offs=[o]).on(day).posterior.estimates()[0] for o in (LAID, ended))
        assert open_ == closed


def test_an_old_test_says_little_after_months_of_which_nothing_is_known():
    test, now = run(1, 1000, 320.0, longest=1200, maximal=True), 1757 + 63
    lately = [run(10 + i, 1757 + 3 * i, 250.0 * (0.85 if i % 3 else 0.98)) for i in range(22)]
    between = [run(50 + i, 1000 + 50 * (i + 1), 200.0, longest=1800) for i in range(14)]
    made = CapacityDays([test, *lately])
    track = tracking.follow(made.tests[:1])
    assert made._unseen(track, 1084) == 0 and made._unseen(track, 1085) == 1
    assert made._unseen(track, now) == 757 - 84 and made._unseen(None, now) == 0
    assert CapacityDays([test, between[0], *lately])._unseen(track, now) == 707 - 84  # of 50 days and 707
    assert CapacityDays([test, *between, *lately])._unseen(track, now) == 0
    assert made._unseen(track, now + 100) == 757 - 84 + 16  # and since the newest run, with whose day the gap begins
    alone, told, followed = (
        float(np.median(CapacityDays(bests).on(now).posterior.draws()[0]))
        for bests in (lately, [test, *lately], [test, *between, *lately])
    )
    assert alone < told < alone + 0.25 * (320 - alone) < followed
