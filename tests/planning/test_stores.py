"""The stores along a course and race days, on runs of a few segments whose numbers are worked by hand."""

import numpy as np
import pytest

from footwork.physiology.endurance import time_to_exhaustion
from footwork.planning import pacing
from footwork.planning.course import Course

CP, WP, TAIL = 250.0, 20_000.0, 0.065
ENGINE = pacing.Engine(CP, WP, TAIL, lambda v: 70.0 * np.asarray(v, float))


def course(n, length=1000.0, stops=None):
    zero = np.zeros(n)
    made = Course(np.full(n, length), zero, zero, np.full(n, 1.2))
    return (
        made
        if stops is None
        else Course(np.full(n, length), zero, zero, np.full(n, 1.2), None, 1.0, 1.0, np.array(stops))
    )


def test_stores_spend_and_come_back():
    # 120 s at 350 W cost 12 kJ; 300 s at 100 W bring the deficit down by exp(-150 x 300 / 20000) to 1264.8 J.
    run = pacing.stores(ENGINE, np.array([350.0, 100.0]), np.array([120.0, 300.0]))
    assert run.w_prime == pytest.approx([8000.0, 20_000 - 12_000 * np.exp(-2.25)])
    # Endurance takes the mean of 300 s of memory: 120 and 300 s, (350 - m) 120 = (m - n) 22500 / 210 = (n - 100) 300.
    flow = (350 - 100) / (1 / 120 + 210 / 22_500 + 1 / 300)
    lasting = [float(time_to_exhaustion(p, CP, WP, TAIL)) for p in (350 - flow / 120, 100 + flow / 300)]
    assert run.endurance == pytest.approx([1 - 120 / lasting[0], 1 - 120 / lasting[0] - 300 / lasting[1]])
    # Standing 40 s after the first: its deficit falls by exp(-250 x 40 / 20000) before the second begins.
    stood = pacing.stores(ENGINE, np.array([350.0, 100.0]), np.array([120.0, 300.0]), np.array([40.0, 0.0]))
    assert stood.w_prime == pytest.approx([8000.0, 20_000 - 12_000 * np.exp(-0.5) * np.exp(-2.25)])
    assert stood.clock.tolist() == [120.0, 460.0] and stood.time == 460.0


def test_what_is_spare_is_the_scarcer_store_above_the_reserve():
    run = pacing.stores(ENGINE, np.array([350.0]), np.array([120.0]))  # 40 % of W′, 40 % of endurance left
    assert pacing.spare(ENGINE, run, 0.1) == pytest.approx(0.3)
    tired = pacing.stores(ENGINE, np.array([200.0]), np.array([10_000.0]))
    assert pacing.spare(ENGINE, tired, 0.0) == pytest.approx(float(tired.endurance[-1]))


def test_the_hardest_of_a_plan_and_its_level_speed():
    assert ENGINE.hardest == pytest.approx(CP + WP / 120)
    assert ENGINE.level_speed([CP, 2 * CP]) == pytest.approx([CP / 70, 2 * CP / 70], abs=1e-6)


def test_endurance_takes_a_two_sided_mean_of_power():
    """Far from the ends a step is followed as the kernel exp(-|t| / a) / (2a), a half the memory, has it: at the step
    half of it, a time a later 1 - 1/(2e)."""
    seconds, power = np.full(4000, 1.0), np.where(np.arange(4000) < 2000, 200.0, 300.0)
    felt = pacing.mean_power(power, seconds, 300.0)
    assert 0.5 * (felt[1999] + felt[2000]) == pytest.approx(250.0, abs=0.01)
    assert 0.5 * (felt[2149] + felt[2150]) == pytest.approx(300 - 100 / (2 * np.e), abs=0.05)
    assert 0.5 * (felt[1849] + felt[1850]) == pytest.approx(200 + 100 / (2 * np.e), abs=0.05)
    # Segments of any length: the mean over the race stays, and what is constant stays constant.
    rng = np.random.default_rng(1)
    lasts, uneven = rng.uniform(5, 60, 300), rng.uniform(100, 400, 300)
    kept = pacing.mean_power(uneven, lasts, 300.0)
    assert (kept * lasts).sum() == pytest.approx((uneven * lasts).sum()) and kept.std() < 0.3 * uneven.std()
    assert pacing.mean_power(np.full(300, 250.0), lasts, 300.0) == pytest.approx(250.0)
    assert pacing.mean_power(uneven, lasts, 0.0) == pytest.approx(uneven)


@pytest.mark.parametrize("memory", [60.0, 300.0, 600.0])
def test_no_kick_at_the_end_and_no_fast_start_is_free(memory):
    engine = pacing.Engine(CP, WP, TAIL, ENGINE.flat_power, memory=memory)
    flat = course(211, 100.0)
    even = pacing.even_power(engine, flat)
    for share in (0.9, 1.05, 1.2):
        for here in (slice(-3, None), slice(-15, None), slice(0, 10)):
            pattern = even.power.copy()
            pattern[here] *= share
            assert pacing.scaled(engine, flat, pattern, 0.0).time >= even.time - 1e-3


def test_even_power_and_even_pace_on_a_flat_road_are_one():
    # Ten flat kilometres: the power that lasts as long as it takes, T(P) = 10000 x 70 / P.
    flat = course(10)
    run, pace = pacing.even_power(ENGINE, flat), pacing.even_pace(ENGINE, flat)
    power = float(run.power[0])
    assert run.time == pytest.approx(10_000 * 70 / power, rel=1e-6) == pytest.approx(pace.time, rel=1e-5)
    assert float(time_to_exhaustion(power, CP, WP, TAIL)) == pytest.approx(run.time, rel=1e-4)
    kept = pacing.even_power(ENGINE, flat, 0.2)
    assert float(kept.endurance[-1]) == pytest.approx(0.2, abs=1e-4)
    assert pacing.in_time(ENGINE, flat, 3000.0).power == pytest.approx(10_000 * 70 / 3000.0, rel=1e-5)
    assert pacing.in_time(ENGINE, flat, 3000.0, even_speed=True).speed == pytest.approx(10_000 / 3000.0)
