"""Strategies keep their reserve, instructions cover the course, and what cannot be planned is said."""

from dataclasses import replace
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest

from footwork.analysis import speed
from footwork.errors import UsageError
from footwork.planning import instructions, pacing, race_days
from footwork.questions import race
from footwork.questions.race import RaceDraws, StrategyBasis, Wishes
from tests.reference.test_pacing import MASS, course, engine

HILLY = course(0.06 * np.sin(np.arange(200) / 12), 4.0 * np.cos(np.arange(200) / 60))


@pytest.mark.parametrize("reserve", [0.0, 0.25])
def test_all_strategies_keep_the_same_reserve(reserve):
    runner = engine(MASS)
    best, _ = pacing.quickest(runner, HILLY, reserve)
    for run in (best, pacing.even_power(runner, HILLY, reserve), pacing.even_pace(runner, HILLY, reserve)):
        assert pacing.spare(runner, run, reserve) == pytest.approx(0, abs=2e-3)
        assert run.time >= best.time - 1e-6
        assert run.power.max() <= runner.hardest * (1 + 1e-9)
    assert pacing.even_pace(runner, HILLY, reserve).time > best.time + 10


def test_even_power_is_even_and_even_pace_is():
    runner = engine(MASS)
    assert np.ptp(pacing.even_pace(runner, HILLY).speed) < 1e-9
    run = pacing.even_power(runner, HILLY)
    level = float(runner.level_speed(run.power.max()))
    free = run.speed < HILLY.descent_limit * level - 0.01  # where no descent limits the speed
    assert free.mean() > 0.7 and np.ptp(run.power[free]) < 1e-3 * run.power.mean()


def device(up=(1.0, 0.0), down=(1.0, 0.0), wind=(1.0, 0.0)):
    """A device with one response to all climbs, one to all descents and one to the wind."""
    slopes = {n: up if "up" in n else down for n in speed.EFFECTS if "hill" in n}
    return replace(speed.prior(MASS), effects={**slopes, "wind": wind, "warmth": (0.0, 0.0)})


def test_instructions_cover_the_course_in_ten_or_fewer_and_cost_little():
    runner = engine(MASS)
    run = pacing.even_power(runner, HILLY)
    share, error = instructions.displayed_share(HILLY, run.speed, MASS, device((0.8, 0.1), (0.6, 0.1), (0.0, 0.1)))
    told, cost = instructions.with_bands(runner, HILLY, instructions.stretches(run, HILLY, share, (), error), 0.0)
    assert 2 <= len(told) <= 10 and 0 < cost < 0.003 * run.time
    # Run at any ends of the bands, at the same reserve, the course costs no more than was said.
    which = np.minimum(np.searchsorted([s.end for s in told], HILLY.ends - 25.0), len(told) - 1)
    effort = np.array([s.effort for s in told])[which]
    as_told = pacing.scaled(runner, HILLY, effort, 0.0).time
    rng = np.random.default_rng(3)
    for _ in range(30):
        off = np.array([rng.choice([-s.free[0], s.free[1]]) for s in told])
        assert pacing.scaled(runner, HILLY, effort * (1 + off[which]), 0.0).time - as_told <= 1.15 * cost + 0.5
    assert told[0].start == 0 and told[-1].end == pytest.approx(HILLY.distance)
    assert all(a.end == pytest.approx(b.start) for a, b in pairwise(told))
    assert all(s.low < s.power < s.high for s in told)
    simple = instructions.simplified(runner, HILLY, run, share, told, 0.0)
    assert 0 <= simple.time - run.time < 0.02 * run.time


def test_a_device_blind_to_the_wind_shows_less_into_it_for_the_same_effort():
    windy = course(np.zeros(10), 6.0)
    blind, _ = instructions.displayed_share(windy, np.full(10, 4.0), MASS, device(wind=(0.0, 0.1)))
    full, _ = instructions.displayed_share(windy, np.full(10, 4.0), MASS, speed.prior(MASS))
    assert (blind < 0.95).all() and full == pytest.approx(1.0)
    up = course(np.full(10, 0.05))
    # At 5 % Minetti's extra is 0.301 (his polynomial, computed): half of it shown is 1.1505 over 1.301.
    dull, error = instructions.displayed_share(up, np.full(10, 3.0), MASS, device(up=(0.5, 0.1)))
    assert dull == pytest.approx(1.1506 / 1.3013, abs=1e-3)
    # Its error: of the response, and half of what is missing for the curve itself.
    assert error == pytest.approx(np.hypot(0.1, 0.25) * 0.3013 / 1.1506, abs=1e-3)


def draws(sd=0.03, k=1500):
    rng = np.random.default_rng(1)
    one = np.ones(k)
    return RaceDraws(
        280 * np.exp(sd * rng.standard_normal(k)),
        15_000 * one,
        0.065 * one,
        one,
        one,
        np.exp(0.01 * rng.standard_normal(k)),
    )


def test_a_risk_is_the_share_of_days_that_end_late_and_more_of_it_is_quicker():
    basis = StrategyBasis(HILLY, speed.prior(MASS), MASS, draws())
    found = {r: race.strategies_for(basis, Wishes(risk=r)) for r in (0.4, 0.2, 0.1)}
    for r, told in found.items():
        # So many days must ease by more than 1 %, and with what the time has in hand no more are late.
        run = told["strategies"]["quickest"]["segments"]
        power, speed_ = (np.array([s[k] for s in run]) for k in ("power_w", "speed_mps"))
        d = draws()
        seen = race_days.days(
            power,
            HILLY,
            speed_ * (1 + told["in_hand_share"]),
            d.critical_power,
            d.w_prime,
            d.tail,
            d.needs,
            d.execution,
        )
        assert seen.gave_way == pytest.approx(r, abs=0.05)
        assert told["late_probability"] == pytest.approx(r, abs=0.02)
        chosen = told["strategies"]["quickest"]
        assert told["in_hand_share"] >= 0 and told["finish_time"]["p10"] < chosen["time_s"]
    times = [found[r]["strategies"]["quickest"]["time_s"] for r in (0.4, 0.2, 0.1)]
    assert times == sorted(times) and found[0.4]["reserve"] < found[0.2]["reserve"] < found[0.1]["reserve"]
    told = found[0.1]
    assert told["finish_time"]["p10"] < told["finish_time"]["p50"] < told["finish_time"]["p90"]
    assert len(told["easing_by_segment"]) == 200 and max(told["easing_by_segment"]) < 0.3
    for told in found.values():
        assert sum(u["share"] for u in told["unknowns"]) == pytest.approx(1)
    # The bolder the plan, the more what can be held decides; a shy one leaves the device and the runner's hand.
    assert [found[r]["unknowns"][0]["name"] for r in (0.4, 0.1)] == ["capacity", "execution"]
    for row in told["strategies"].values():
        assert row["segments"][-1]["end_m"] == pytest.approx(10_000) and len(row["segments"]) == 200


@pytest.mark.parametrize(
    ("strategy", "risk", "words"),
    [
        ("fast", None, "no strategy"),
        ("quickest", 0.0, "cannot be planned"),
        ("quickest", float("nan"), "cannot be planned"),
    ],
)
def test_what_cannot_be_planned_is_said(strategy, risk, words):
    with pytest.raises(UsageError, match=words):
        race.strategies_for(StrategyBasis(HILLY, speed.prior(MASS), MASS, draws()), Wishes(strategy, risk))


def test_the_weather_of_a_race_as_metar():
    from footwork.history.conditions.race_weather import Weather

    # Dew point 15 at 24 degrees: relative humidity 57 % by the Magnus form; 10 knots are 5.144 m/s.
    seen = Weather(temperature=20.0).over("LPPT 251730Z 24010KT 9999 FEW020 24/15 Q1003")
    assert (seen.temperature, seen.wind_from, seen.pressure) == (20.0, 240.0, 100_300.0)
    assert seen.wind == pytest.approx(5.144, abs=1e-3) and seen.humidity == pytest.approx(0.57, abs=0.01)
    assert Weather(wind=3.0).over("LPPT 251730Z 24010KT 9999 24/15 Q1003").wind_from is None
    with pytest.raises(UsageError):
        Weather().over("fine and warm")


def test_fuel_as_published():
    from footwork.planning import fuel

    # Rapoport 2010: a 70 kg marathon takes 2,953.65 kcal at 1 kcal/kg/km.
    made = fuel.guidance(42_195.0, 3.5 * 3600, 70.0)
    assert made.energy == pytest.approx(2953.65)
    # Jeukendrup 2014: up to 60 g/h for two to three hours, 90 g/h of mixed sugars beyond; 30 g/h for one to two from
    # memory.
    assert (made.low, made.high) == (60, 90) and "mixed sugars" in made.sentence and "physician" in made.sentence
    assert fuel.guidance(30_000.0, 2.5 * 3600, 70.0).high == 60 and fuel.guidance(21_097.5, 1.6 * 3600, None).high == 30
    assert "needs no carbohydrate" in fuel.guidance(5000.0, 1200.0, 70.0).sentence


def plan_of(tmp_path):
    from footwork.api import Library

    with Library.from_nothing() as library:
        return library.race(distance=10_000.0, efforts=("3:00=361", "12:00=278"), mass=68.0)


def test_the_workout_is_read_back_by_two_decoders(tmp_path):
    import io

    import fitdecode
    import fitfast

    from footwork.questions import race

    plan = plan_of(tmp_path)
    data = race.race_workout(plan, "Harbour ten")
    told = plan.strategies["instructions"]
    assert len(told) == 3  # start, middle, finish of a course that is all alike
    with fitdecode.FitReader(io.BytesIO(data), check_crc=fitdecode.CrcCheck.RAISE) as reader:
        read = [f for f in reader if isinstance(f, fitdecode.FitDataMessage)]
    found = {f.name: f for f in read}
    step = {f.name: f.value for f in next(f for f in read if f.name == "workout_step").fields}
    assert found["file_id"].get_value("type") == "workout" and found["workout"].get_value("wkt_name") == "Harbour ten"
    told = told[0]
    assert (step["duration_type"], step["target_type"]) == ("distance", "power")
    assert step["duration_distance"] == pytest.approx(told["watch_end_m"], abs=0.01)
    # The protocol stores watts plus 1000 (FIT profile, workout_step custom_target_value; public protocol document).
    assert step["custom_target_power_low"] == 1000 + round(told["low_w"]) and step[
        "custom_target_power_high"
    ] == 1000 + round(told["high_w"])
    other = fitfast.parse(data, datetimes=False)["workout_step"][0]
    assert 1000 + round(told["low_w"]) in other.values() and other["wkt_step_name"] == step["wkt_step_name"]


def test_a_workout_refuses_what_no_watch_can_hold():
    from footwork.formats import watch

    for steps in ([], [watch.Step("x")] * 201, [watch.Step("x", low=200.0)], [watch.Step("x", low=300.0, high=200.0)]):
        with pytest.raises(ValueError):
            watch.workout("x", steps)


def test_the_card_is_a_pdf_and_names_are_never_source(tmp_path):
    from footwork.reports import race_card

    made = race_card(plan_of(tmp_path), 'A #panic("x") $ \\ "race"')
    assert made[:5] == b"%PDF-" and len(made) > 5000


def test_races_under_two_minutes_are_planned_as_hard_as_they_are():
    short = pacing.Engine(280.0, 15_000.0, 0.065, engine().flat_power, MASS, 50.0)
    assert short.hardest == pytest.approx(280 + 15_000 / 50) and engine(MASS).hardest < short.hardest


def test_the_bands_of_a_flat_course_are_counted_at_opposite_ends():
    """All stretches harder by one share is the same plan at another reserve: what costs is one harder, one easier."""
    runner, flat = engine(MASS), course(np.zeros(200))
    run = pacing.even_power(runner, flat)
    told, cost = instructions.with_bands(runner, flat, instructions.stretches(run, flat, np.ones(200)), 0.0)
    assert len(told) == 3 and [round(s.end / 50) for s in told] == [30, 160, 200]
    assert 0.001 * run.time < cost < 0.003 * run.time


def test_the_solvers_own_pattern_is_as_quick_as_even_effort_and_harder_up_hill():
    rolling = course(0.04 * np.sin(2 * np.pi * np.arange(400) * 50 / 1200))
    runner = engine(MASS)
    pattern, solved = pacing._pattern(runner, rolling, 0.0)
    assert solved.status == "converged" and pattern is not None
    found, even = pacing.scaled(runner, rolling, pattern, 0.0), pacing.even_power(runner, rolling)
    assert found.time - even.time < 1.0
    up, down = found.power[rolling.grade > 0.03].mean(), found.power[rolling.grade < -0.03].mean()
    assert up > 1.005 * found.power.mean() > 0.995 * found.power.mean() > down


def test_a_run_after_a_ride_is_told_to_its_end():
    flat = course(np.zeros(100))
    run = pacing.even_power(engine(MASS), flat)
    told = instructions.stretches(run, flat, np.ones(100), first=1000.0)
    assert told[0].end == 1000.0 and told[-1].end == flat.distance and len(told) <= 10
    short = course(np.zeros(16))
    brief = instructions.stretches(pacing.even_power(engine(MASS), short), short, np.ones(16), first=1000.0)
    assert brief[-1].end == short.distance
    longer = course(np.zeros(30))
    two = instructions.stretches(pacing.even_power(engine(MASS), longer), longer, np.ones(30), first=1000.0)
    assert [s.end for s in two] == [1000.0, 1500.0]


def test_on_one_constant_descent_all_ways_are_one():
    """Where a descent limits the speed throughout, no watts are quicker, and even pace is even power."""
    steep = course(np.full(100, -0.2))
    runner = replace(engine(MASS), level=270.0)
    even, pace = pacing.even_power(runner, steep), pacing.even_pace(runner, steep)
    quickest, _ = pacing.quickest(runner, steep)
    limit = 1.15 * float(runner.level_speed(270.0))
    for run in (even, pace, quickest):
        assert run.speed == pytest.approx(limit, rel=1e-4) and run.time == pytest.approx(even.time, rel=1e-5)
    assert pacing.at_power(runner, steep, np.full(100, 320.0)).time == pytest.approx(even.time, rel=1e-6)


def test_the_band_to_read_holds_the_freedom_and_the_devices_error():
    told = instructions.Stretch(0.0, 500.0, 120.0, 250.0, 260.0, 1.0, 250 / 260, 0.05, 0.0, 120.0, 0.03, (0.04, 0.04))
    assert (told.low, told.high) == pytest.approx((250 * 0.95, 250 * 1.05))  # 3 and 4 % together are 5 %


@pytest.mark.parametrize(("left", "grade", "told"), [(0.60, 0.05, 1), (0.505, 0.05, None), (0.60, -0.05, None)])
def test_a_climb_limits_where_less_of_w_prime_than_of_endurance_is_left(left, grade, told):
    of = SimpleNamespace(w_prime=np.array([90.0, 50.0, 80.0]), endurance=np.array([0.9, 0.8, left]))
    way = SimpleNamespace(grade=np.array([0.0, grade, 0.0]))
    assert pacing.limited_at(SimpleNamespace(w_prime=100.0), way, of) == told
