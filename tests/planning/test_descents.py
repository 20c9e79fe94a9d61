"""Descents: what they cost, how fast they are run, and what a runner's minutes add."""

import numpy as np
import pytest

from footwork.physics.power import slope_factor
from footwork.planning import descents
from footwork.planning.course import Course
from footwork.planning.descents import UNKNOWN, learn
from tests.planning.test_stores import ENGINE


def test_the_prior_saves_a_bit_over_half_of_what_the_curve_does():
    # Minetti's polynomial at -5 %: 2.7459 of 3.6 J/kg/m, 0.7628 of the level; 0.55 of that saving leaves 0.8695.
    assert float(slope_factor(-0.05)) == pytest.approx(0.7628, abs=1e-4)
    assert UNKNOWN.factor([-0.05, 0.0]) == pytest.approx([1 - 0.55 * (1 - 0.7628), 1.0], abs=1e-4)
    assert UNKNOWN.factor(0.08) == pytest.approx(float(slope_factor(0.08)))
    # At equal effort 1.06 to 1.10 of level speed at -3 %, 1.10 to 1.15 at -5 % (sanity bounds of ours).
    assert 1.06 < 1 / float(UNKNOWN.factor(-0.03)) < 1.10 and 1.10 < 1 / float(UNKNOWN.factor(-0.05)) <= 1.1501
    assert UNKNOWN.error(-0.05) == pytest.approx(0.15 * (1 - 0.7628) / 0.8695, abs=1e-4)
    assert UNKNOWN.error(0.05) == 0 and UNKNOWN.easing([-0.06, -0.2, 0.05]) == pytest.approx([0.88, 0.88, 1.0])


def test_runners_go_down_as_a_field_study_found():
    """Townshend 2010: 14 % faster downhill than on the level at 79 against 89 % of the threshold's oxygen uptake. At
    the prior that is a descent of about 8 %."""
    fall = np.linspace(0.02, 0.12, 200)
    assert descents.EASED == pytest.approx(0.79 / 0.89, abs=0.01)
    speed = UNKNOWN.easing(-fall) / UNKNOWN.factor(-fall)
    at = float(np.interp(1.14, speed, fall))
    assert 0.075 < at < 0.11


def test_the_limit_is_the_convention_until_minutes_say_less():
    assert UNKNOWN.limit([-0.05, -0.10, 0.0, 0.03]) == pytest.approx([1.25, 1.35, np.inf, np.inf])
    level = float(ENGINE.level_speed(280.0))
    down = Course(np.full(4, 50.0), np.full(4, -0.10), np.zeros(4), np.full(4, 1.2))
    from footwork.planning import pacing

    run = pacing.at_power(ENGINE, down, np.full(4, 280.0))
    assert run.speed == pytest.approx(level / 0.7787, rel=1e-3)  # cost 0.7787 at -10 %, below the limit of 1.35
    steep = Course(np.full(4, 50.0), np.full(4, -0.20), np.zeros(4), np.full(4, 1.2))
    held = pacing.at_power(ENGINE, steep, np.full(4, 280.0))
    assert held.speed == pytest.approx(1.15 * level, rel=1e-6) and (held.power < 280).all()


def minutes(rng, runs, ratio, fall, noise=0.06):
    out = []
    for _ in range(runs):
        grade = np.where(np.arange(50) % 2 == 0, 0.0, -fall)
        out.append((3.0 * np.where(grade < 0, ratio, 1.0) * np.exp(noise * rng.standard_normal(50)), grade))
    return out


def test_minutes_teach_cost_and_effort_together():
    """Slow descents are cheaper than thought to nobody: they say both that the runner eases and that less is saved, in
    the proportion of what was uncertain."""
    rng = np.random.default_rng(5)
    slow = learn(minutes(rng, 12, 0.95, 0.06)).grades[1]
    assert slow.ratio[0] == pytest.approx(0.95, abs=0.02) and slow.ratio[1] < 0.95 < slow.ratio[2]
    assert slow.saved[0] < descents.SAVED and slow.effort[0] < descents.EASED
    # Effort over cost is what was seen, as nearly as so many minutes tell.
    cost = 1 - slow.saved[0] * (1 - float(slope_factor(-0.06)))
    assert slow.effort[0] / cost == pytest.approx(0.95, abs=0.015)
    moved = (
        np.log(slow.effort[0] / descents.EASED),
        np.log(cost / (1 - descents.SAVED * (1 - float(slope_factor(-0.06))))),
    )
    prior = 1 - descents.SAVED * (1 - float(slope_factor(-0.06)))
    wanted = (descents.EASED_SD / descents.EASED) ** 2 / (
        (1 - float(slope_factor(-0.06))) / prior * descents.SAVED_SD
    ) ** 2
    assert -moved[0] / moved[1] == pytest.approx(wanted, rel=0.1)
    assert slow.saved[1] < descents.SAVED_SD and slow.effort[1] < descents.EASED_SD
    assert slow.minutes == 12 * 25 and slow.fastest == pytest.approx(
        0.95 * np.exp(1.28 * 0.06) * slow.ratio[2] / slow.ratio[0], rel=0.02
    )


def test_minutes_of_one_grade_leave_the_others_alone_and_few_set_no_limit():
    rng = np.random.default_rng(6)
    few = learn(minutes(rng, 1, 1.0, 0.06)[:1])
    assert few.grades[0] == UNKNOWN.grades[0] and few.grades[2] == UNKNOWN.grades[2]
    short = [(v[:16], g[:16]) for v, g in minutes(rng, 1, 1.0, 0.06)]
    assert learn(short).grades[1].fastest is None and learn(short).grades[1].minutes == 8
    assert learn([]).grades == UNKNOWN.grades


def test_the_fastest_shown_limits_near_its_grade_only():
    rng = np.random.default_rng(7)
    known = learn(minutes(rng, 12, 0.95, 0.06))
    assert float(known.limit(-0.06)) == pytest.approx(known.grades[1].fastest)
    assert float(known.limit(-0.085)) == pytest.approx(known.grades[1].fastest)
    assert float(known.limit(-0.12)) == float(UNKNOWN.limit(-0.12))


def test_a_ratio_is_against_the_level_minutes_near():
    speed = np.concatenate([np.full(20, 3.0), [3.3], np.full(20, 3.0), np.full(30, 4.0), [4.4], np.full(20, 4.0)])
    grade = np.where(np.isin(np.arange(len(speed)), (20, 71)), -0.04, 0.0)
    fall, ratio = descents.ratios(speed, grade)
    assert fall == pytest.approx([0.04, 0.04]) and ratio == pytest.approx([1.1, 1.1])
    assert len(descents.ratios(speed[18:22], grade[18:22])[0]) == 1  # three level minutes are enough
    assert len(descents.ratios(speed[19:22], grade[19:22])[0]) == 0


def test_minutes_of_one_run_tell_less_than_as_many_of_many():
    """A run's ratio has an error of its own: sqrt(0.04² / runs + 0.08² / minutes), both conventions."""
    rng = np.random.default_rng(8)
    for runs, spread in ((1, np.hypot(0.04, 0.08 / 5)), (12, np.hypot(0.04 / 12**0.5, 0.08 / 300**0.5))):
        _, low, high = learn(minutes(rng, runs, 1.0, 0.06)).grades[1].ratio
        assert np.log(high / low) / (2 * 1.96) == pytest.approx(spread)
