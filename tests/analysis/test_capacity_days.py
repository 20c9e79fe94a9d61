"""What the evidence of a scale says on each day: better never reads as worse, and what else must hold."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from footwork.analysis import efforts
from footwork.analysis.capacity_days import CapacityDays
from footwork.analysis.efforts import Best
from footwork.physiology import curve, habitual
from footwork.physiology.endurance import power_at

POWERS_S = (120, 180, 300, 720, 1200, 2400, 3600, 5400, 7200)
LITTLE = 0.0005


def run(number, day, cp, ratio=45.0, tail=0.07, longest=3000, maximal=False, level=float("nan")):
    durations = curve.stored_durations(longest)
    powers = power_at(durations, cp, ratio * cp, tail)
    return Best(number, day, f"day {day}", maximal, durations, powers, np.zeros(len(durations), int), level)


def quantiles(bests, day):
    """CP and the powers for 2 to 120 min at their 2.5, 50 and 97.5 % quantiles; None where CP is withheld."""
    told = CapacityDays(bests).on(day)
    if told.posterior is None:
        return None
    rows = [told.posterior.draws()[0], *(told.posterior.held(t) for t in POWERS_S)]
    return np.array([np.quantile(r, [0.025, 0.5, 0.975]) for r in rows])


@st.composite
def months(draw, tested=False):
    """Everyday runs of some months: mostly easy, some hard and short or steady and long."""
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    span = draw(st.integers(30, 200))
    count = draw(st.integers(8, 40))
    days = np.sort(np.concatenate([[0], rng.integers(0, span, count - 1)]))
    cp, tail = rng.uniform(180, 380), rng.uniform(0.04, 0.1)
    bests = [
        run(
            i,
            1000 + int(day),
            cp * rng.uniform(0.7, 0.97),
            rng.uniform(5, 80),
            tail,
            int(rng.choice([900, 1800, 3000, 4500, 8000])),
        )
        for i, day in enumerate(days)
    ]
    if tested:
        at = int(rng.integers(0, span))
        bests.append(run(count, 1000 + at, cp, 48.0, tail, 720, True))
        bests.sort(key=lambda b: b.day)
    return bests, 1000 + int(days[-1]) + draw(st.integers(0, 20))


@settings(max_examples=60, deadline=None)
@given(months(), st.data())
def test_a_better_best_never_reads_as_worse(made, data):
    bests, day = made
    before = quantiles(bests, day)
    which = data.draw(st.integers(0, len(bests) - 1))
    factor = 1 + data.draw(st.floats(0.005, 0.3))
    at = data.draw(st.sampled_from([0, 180, 600, 1200, 3600]))
    short = data.draw(st.booleans())
    of = bests[which]
    lifted = np.where((of.durations <= at) == short, of.powers * factor, of.powers)
    lifted = np.maximum.accumulate(lifted[::-1])[::-1]  # a longer best is a shorter one too
    after = quantiles([*bests[:which], replace(of, powers=lifted), *bests[which + 1 :]], day)
    if before is not None:
        assert (after >= before * (1 - LITTLE)).all()


@settings(max_examples=25, deadline=None)
@given(months(tested=True), st.data())
def test_nor_does_it_with_tests(made, data):
    bests, day = made
    newest = max(b.day for b in bests if b.maximal)
    later = [i for i, b in enumerate(bests) if b.day > newest]
    before = quantiles(bests, day)
    if before is None or not later:
        return
    which = data.draw(st.sampled_from(later))
    of = replace(bests[which], powers=bests[which].powers * (1 + data.draw(st.floats(0.005, 0.3))))
    changed = [*bests[:which], of, *bests[which + 1 :]]
    assert (quantiles(changed, day) >= before * (1 - LITTLE)).all()
    # What tests say of W′/CP and the tail is theirs alone.
    one, other = (CapacityDays(b).on(day).posterior for b in (bests, changed))
    assert np.array_equal(one.shapes, other.shapes)


@settings(max_examples=20, deadline=None)
@given(st.booleans().flatmap(lambda tested: months(tested=tested)), st.sampled_from([0.0, 0.04]))
def test_a_days_row_of_the_history_says_what_the_day_says(made, shared):
    bests, day = made
    found = CapacityDays(bests)
    told = found.on(day)
    if told.posterior is None:
        return
    posterior = replace(told.posterior, scale_sd=shared)
    for quick, full in zip(posterior.quantiles(), posterior.estimates()[:2], strict=True):
        # Draws lie between the cells of shapes: where tests and everyday runs disagree, their ends differ a little.
        assert quick[1] == pytest.approx(full.value, rel=0.006 if full.unit == "W" else 0.02)
        assert quick == pytest.approx([full.low, full.value, full.high], rel=0.03)
    # A day asked after a later one, or after one in between, is the same.
    again = CapacityDays(bests)
    again.on(day - 3)
    assert [t.posterior and tuple(t.posterior.quantiles()[0]) for t in again.through(day - 2, day)] == [
        t.posterior and tuple(t.posterior.quantiles()[0]) for t in found.through(day - 2, day)
    ]


@settings(max_examples=25, deadline=None)
@given(months(), st.floats(0.5, 2.0))
def test_all_watts_times_k_are_all_answers_times_k(made, k):
    bests, day = made
    before = quantiles(bests, day)
    after = quantiles([replace(b, powers=b.powers * k) for b in bests], day)
    if before is not None:
        assert after == pytest.approx(before * k, rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(months(), st.data())
def test_one_run_alone_is_believed_by_two_percent_more_than_the_next(made, data):
    bests, day = made
    which = data.draw(st.integers(0, len(bests) - 1))
    changed = replace(bests[which], powers=bests[which].powers * data.draw(st.floats(0.3, 3.0)))
    days = CapacityDays([*bests[:which], changed, *bests[which + 1 :]])
    if not days.everyday.enough(day):
        return
    fronts, clip = habitual.Fronts(days.everyday), np.zeros(len(bests))
    others = [i for i in range(len(bests)) if i != which]
    alone = fronts.on(day, clip, among=others)
    assert fronts.on(day, clip).level <= alone.uncapped + 0.021


@settings(max_examples=40, deadline=None)
@given(months(), st.data())
def test_without_a_run_the_rest_never_says_more(made, data):
    bests, day = made
    before = quantiles(bests, day)
    which = data.draw(st.integers(1, len(bests) - 1))
    after = quantiles([*bests[:which], *bests[which + 1 :]], day)
    if before is not None and after is not None:
        assert after[0, 1] <= before[0, 1] * (1 + LITTLE)


@settings(max_examples=25, deadline=None)
@given(months())
def test_a_day_without_a_run_moves_it_by_little(made):
    bests, _ = made
    days = CapacityDays(bests)
    medians = [
        None if t.posterior is None else float(np.median(t.posterior.draws()[0]))
        for t in days.through(bests[-1].day, bests[-1].day + 100)
    ]
    for before, after in pairwise(medians):
        if before is not None and after is not None:
            assert -0.003 <= after / before - 1 <= 0.0001


@settings(max_examples=25, deadline=None)
@given(months(), st.randoms())
def test_an_easy_run_within_the_history_changes_nothing(made, random):
    bests, day = made
    before = quantiles(bests, day)
    if before is None:
        return
    easiest = min(float(b.powers[-1]) for b in bests)
    among = random.choice([b.day for b in bests[1:]])
    easy = run(999, among, 0.6 * easiest, 5.0)
    after = quantiles(sorted([*bests, easy], key=lambda b: b.day), day)
    assert after == pytest.approx(before, rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(months())
def test_the_lower_bound_is_not_below_what_was_shown(made):
    bests, day = made
    told = CapacityDays(bests).on(day)
    if told.posterior is None:
        return
    draws = told.posterior.draws()
    for t, best in zip(habitual.DURATIONS, told.front.best, strict=True):
        if np.isfinite(best):
            assert np.quantile(power_at(t, *draws), 0.025) >= 0.92 * np.exp(best)
    for t, best in zip(habitual.LONG_DURATIONS, told.front.long, strict=True):
        if np.isfinite(best) and best > 0:
            assert np.quantile(told.posterior.held(t), 0.025) >= np.exp(best) * (1 - 1e-6)
            assert np.quantile(power_at(t, *told.posterior.long_draws()), 0.025) >= np.exp(best) * (1 - 1e-3)


@settings(max_examples=15, deadline=None)
@given(months(tested=True), st.integers(0, 60))
def test_what_came_later_does_not_count(made, earlier):
    bests, day = made
    asked = day - earlier
    before = [b for b in bests if b.day <= asked]
    if not before:
        return
    one, other = CapacityDays(bests), CapacityDays(before)
    (walked,) = [t for t in one.through(bests[0].day, asked) if t.day == asked]
    for told in (one.on(asked), walked):
        again = other.on(asked)
        assert told.kind == again.kind
        if told.posterior is not None:
            for a, b in zip(told.posterior.draws(), again.posterior.draws(), strict=True):
                assert a == pytest.approx(b, rel=1e-9)
        assert told.lower_bound == pytest.approx(again.lower_bound) if again.lower_bound else not told.lower_bound


def weeks(days=60, cp=250.0, level=4.3):
    return [run(i, 1000 + 3 * i, 0.9 * cp, longest=2400, level=level) for i in range(days // 3)]


def test_told_from_three_weeks_on_and_early_for_one_more():
    bests = weeks()
    days = CapacityDays(bests)
    assert [days.on(1000 + d).kind for d in (20, 21)] == ["lower bound", "habitual"]
    assert [days.on(1000 + d).early for d in (21, 27, 28)] == [True, True, False]
    # Before, the best evidence of all runs is a bound, below what the runner can hold for the hour.
    bound = days.on(1010)
    assert 0.9 * 225 < bound.lower_bound <= 225 * 1.02 and bound.bound_run == 3


def test_easy_runs_take_nothing_from_what_a_hard_one_showed_while_they_are_few():
    hard, easy = run(0, 1000, 260.0, longest=2400), [run(k, 1000 + k, 200.0, longest=2400) for k in range(1, 5)]
    told = [CapacityDays([hard, *easy[:k]]).on(1005) for k in range(5)]
    bounds = [t.lower_bound for t in told]
    assert bounds == pytest.approx([bounds[0]] * 5) and 0.9 * 260 < bounds[0] <= 262
    # It is named where it is alone; years later one alone is not believed far beyond the others.
    assert told[0].lone is None and told[4].lone == (0, pytest.approx(260 / 200 / np.exp(0.02) - 1, abs=0.01))
    after = CapacityDays([hard, *easy]).on(1100)
    assert after.kind == "lower bound" and after.lone is None and after.lower_bound < 0.85 * bounds[0]


def test_after_a_pause_it_takes_five_runs_and_three_weeks_again():
    before = weeks(60)
    last = before[-1].day
    back = [run(100 + i, last + 130 + 4 * i, 150.0) for i in range(6)]
    days = CapacityDays([*before, *back])
    assert days.on(last + 84).kind == "habitual"
    assert days.on(last + 85).kind == "lower bound"
    assert days.on(last + 130).kind == "lower bound"  # one easy run does not make it sure again
    assert days.on(last + 130 + 20).kind == "lower bound"
    assert days.on(last + 130 + 21).kind == "habitual"
    assert days.on(last + 2 * 366 + 200).kind == "too old"
    assert CapacityDays([]).on(1000).kind == "none"


def test_a_test_tells_at_once_and_keeps_its_name_for_four_months():
    test = run(0, 1000, 260.0, 55.0, longest=720, maximal=True)
    days = CapacityDays([test])
    assert days.on(1000).kind == days.on(1120).kind == "tested"
    assert days.on(1121).kind == "lower bound"
    cp = days.on(1000).posterior.estimates()[0]
    assert cp.low < 260 < cp.high and cp.value == pytest.approx(260, rel=0.04)


def test_a_walk_marked_as_a_test_is_none():
    walk = run(500, 1045, 80.0, 30.0, longest=1800, maximal=True)
    bests = sorted([*weeks(), walk], key=lambda b: b.day)
    told = CapacityDays(bests).on(1059)
    plain = CapacityDays(weeks()).on(1059)
    assert told.kind == "habitual" and [t.evidence.run for t in told.beaten] == [500] and plain.beaten == ()
    assert told.posterior.estimates()[0].value == pytest.approx(plain.posterior.estimates()[0].value)


def test_a_weak_test_counts_and_is_named_with_its_share():
    front = CapacityDays(weeks()).on(1045).front
    for share, weak in ((0.99, False), (0.95, True)):
        test = run(500, 1045, share * float(np.exp(front.level)), 48.0, longest=720, maximal=True)
        told = CapacityDays(sorted([*weeks(), test], key=lambda b: b.day)).on(1046)
        assert told.kind == "tested" and not told.beaten
        assert [(t.evidence.run, round(s, 2)) for t, s in told.weak] == ([(500, share)] if weak else [])


def test_the_runners_own_gap_is_learned_from_a_test():
    # A runner who trains at nine tenths of what the test shows: months later the test's gap still stands.
    bests = [*weeks(120), run(900, 1060, 260.0, 48.0, longest=720, maximal=True)]
    bests.sort(key=lambda b: b.day)
    tested, untested = (CapacityDays(b).on(1119) for b in (bests, weeks(120)))
    assert tested.posterior.estimates()[0].value == pytest.approx(260, rel=0.02)
    assert untested.posterior.estimates()[0].value < 250
    gap = habitual.own_gap(np.log(225), np.log(260), 0.02)
    assert gap.mean == pytest.approx(np.log(260 / 225) - habitual.BIAS, abs=0.04) and 0.02 < gap.sd < 0.05
    # Who hardly ever runs hard has a far wider one, and the test is still believed.
    wide = habitual.own_gap(np.log(190), np.log(260), 0.02)
    assert wide.mean == pytest.approx(np.log(260 / 190) - habitual.BIAS, abs=0.02)


def test_a_device_that_reads_a_third_too_high_for_one_run_is_clipped():
    bests = weeks(60)
    faulty = replace(bests[8], powers=bests[8].powers * 1.33, level=bests[8].level + np.log(1.33))
    days = CapacityDays([*bests[:8], faulty, *bests[9:]])
    told = days.on(1059)
    assert told.clip[8] == pytest.approx(np.log(1.33) - efforts.CLIP_FREE)
    assert not told.clip[[i for i in range(20) if i != 8]].any()
    # Beyond 6 % nothing more happens.
    worse = replace(bests[8], powers=bests[8].powers * 2, level=bests[8].level + np.log(2.0))
    again = CapacityDays([*bests[:8], worse, *bests[9:]]).on(1059)
    assert again.posterior.estimates()[0].value == pytest.approx(told.posterior.estimates()[0].value, rel=1e-6)


def test_who_is_compared_and_when_a_clip_is_settled():
    days = np.array([0, 10, 20, 30, 40, 50, 60, 83, 84, 200])
    levels = np.array([1.2, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, np.nan, 1.3])
    nothing = np.zeros(10)
    assert efforts.clips(days, levels, 40, 0, nothing)[0] == 0  # four others only
    at_fifty = efforts.clips(days, levels, 50, 0, nothing)
    assert at_fifty[0] == pytest.approx(1.2 - 1.0 - efforts.CLIP_FREE)
    late = efforts.clips(days, levels, 200, 50, at_fifty)
    assert late == pytest.approx(efforts.clips(days, levels, 200, 0, nothing))
    assert late[0] == at_fifty[0] and late[9] == 0  # months later there is nobody to compare with


def test_a_lone_hard_run_is_named_with_what_it_says():
    bests = weeks(60)
    hard = replace(bests[10], powers=bests[10].powers * 1.08)
    told = CapacityDays([*bests[:10], hard, *bests[11:]]).on(1059)
    assert told.lone[0] == 10 and 0.04 < told.lone[1] < 0.08
    assert CapacityDays(bests).on(1059).lone is None


def test_ageing():
    # 2 % at six weeks, 8 % at twelve, then as steep as there for ever: 23 % (not 31) at 180 days.
    assert habitual.ageing([0, 42, 84]) == pytest.approx([0, 0.02, 0.08])
    assert 1 - np.exp(-habitual.ageing(180)) == pytest.approx(0.23, abs=0.005)
    assert habitual.ageing(85) - habitual.ageing(84) == pytest.approx(0.0019, abs=1e-4)


def test_the_level_is_that_of_the_three_strongest():
    values = np.array([[3.0, 1.0], [2.99, 2.0], [2.0, 5.0]])
    assert habitual.capped(values) == pytest.approx([2.028, 1.028])
    assert habitual.capped(np.array([[3.0], [2.95], [2.945], [0.0]])) == pytest.approx([2.97])
    assert habitual.capped(values[:2])[0] == -np.inf
    # Over shapes the least counts most: two equal shapes at 1 and 2 ask for 1, a little softened.
    assert habitual.soft_least(np.array([1.0, 2.0]), np.zeros(2)) == pytest.approx(1 + np.log(2) / 60)
    assert habitual.soft_least(np.array([1.0, 1.0]), np.array([0.0, -5.0])) == pytest.approx(1.0)


def test_the_gap_is_one_sided_and_wide_while_the_history_is_young():
    assert habitual.gap_scale(0) == pytest.approx(0.18) and habitual.gap_scale(18) == pytest.approx(0.06 + 0.12 / np.e)
    x = np.linspace(-1, 2, 6001)
    density = np.exp(habitual.log_gap_density(x, 0.06, 0.03))
    density /= density.sum()
    # Mean and variance of N(0, .03) + .06·|N(0, 1)|, by the half-normal's moments.
    mean = float((density * x).sum())
    assert mean == pytest.approx(0.06 * np.sqrt(2 / np.pi), rel=1e-3)
    assert float((density * (x - mean) ** 2).sum()) == pytest.approx(0.03**2 + 0.06**2 * (1 - 2 / np.pi), rel=1e-3)


def test_contradictory_tests_and_watts_of_nothing_give_an_answer():
    odd = run(0, 1000, 250.0, longest=720, maximal=True)
    powers = np.where(odd.durations > 600, 330.0, 240.0)  # 12 minutes above 3 minutes
    told = CapacityDays([replace(odd, powers=powers)]).on(1000)
    cp = told.posterior.estimates()[0]
    assert 240 < cp.low < cp.high < 345
    nothing = replace(odd, powers=np.zeros(len(odd.durations)), maximal=False)
    assert CapacityDays([nothing]).on(1000).kind == "too old"


def test_what_is_missing_is_named():
    bests = weeks(60)
    runs = CapacityDays(bests).everyday
    assert [getattr(runs.lacking(1000 + d), "what", None) for d in (3, 15, 21)] == ["runs", "days", None]
    short = [replace(b, durations=b.durations[:60], powers=b.powers[:60], starts=b.starts[:60]) for b in bests[:6]]
    assert CapacityDays(short).everyday.lacking(1030).what == "three minutes"
    assert runs.lacking(1057 + 85).what == "pause" and runs.lacking(999).runs == 0


def test_converted_watts_count_by_their_lower_end_and_widen():
    plain, noisy = weeks(60), [replace(b, widening=0.05) for b in weeks(60)]
    one, other = (CapacityDays(b).on(1059).posterior.estimates()[0] for b in (plain, noisy))
    assert other.value < one.value and (other.high - other.low) > 1.1 * (one.high - one.low)


def test_old_runs_bound_nothing_and_a_marked_run_within_fifteen_percent_is_a_test():
    bests = weeks(60)
    last = bests[-1].day
    days = CapacityDays(bests)
    assert [days.on(last + d).kind for d in (365, 366)] == ["lower bound", "too old"]
    kinds = []
    for share in (0.87, 0.83):  # of the level that everyday runs ask for
        level = np.exp(days.on(last).front.level)
        marked = run(900, last, share * level, 48.0, longest=720, maximal=True)
        kinds.append(CapacityDays([*bests, marked]).on(last).kind)
    assert kinds == ["tested", "habitual"]


def test_an_own_gap_is_learned_from_four_weeks_of_history_on():
    def gap_of(day):
        test = run(900, 1000 + day, 300.0, 48.0, longest=720, maximal=True)
        made = CapacityDays(sorted([*weeks(60), test], key=lambda b: b.day))
        cp = made.on(1000 + day).posterior.estimates()[0]
        return cp.value

    # Far above the front, a learned gap leaves the test alone; without one the front draws it down.
    assert gap_of(28) > gap_of(27) + 1


def test_a_run_that_three_later_ones_beat_no_longer_matters_and_two_do_not_suffice():
    def kept(count):
        bests = [run(0, 1000, 200.0), *(run(1 + k, 1001 + k, 250.0) for k in range(count))]
        days = CapacityDays(bests)
        return days._fronts.leading(list(range(count + 1)), np.zeros(count + 1), 1100)

    assert 0 in kept(2) and 0 not in kept(3)


def test_a_test_counts_without_what_its_own_speed_shows_to_be_the_devices_error():
    bests = [run(k, 1000 + 2 * k, 240.0, level=0.0) for k in range(30)]
    sound, high = (run(99, 1059, cp, 48.0, longest=720, maximal=True, level=lv) for cp, lv in ((260, 0.0), (325, 0.25)))
    found = []
    for test in (sound, high):
        (step,) = CapacityDays(sorted([*bests, test], key=lambda b: b.day)).on(1060).tests
        found.append(step.evidence.powers[0])
    as_shown = efforts.maximal_efforts(high)[0][1]
    assert found[0] == pytest.approx(efforts.maximal_efforts(sound)[0][1])
    assert found[1] == pytest.approx(as_shown * np.exp(efforts.CLIP_FREE - 0.25))


def test_of_no_best_effort_none_binds():
    assert efforts.binding_effort(np.zeros(0), np.zeros(0)) == -1
