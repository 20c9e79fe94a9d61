"""Strategies keep their reserve, instructions cover the course, and what cannot be planned is said."""

from itertools import pairwise

import numpy as np
import pytest

from footwork.errors import UsageError
from footwork.planning import instructions, pacing
from footwork.questions import race
from footwork.questions.race import RaceDraws, StrategyBasis, Wishes
from tests.reference.test_pacing import MASS, course, engine

HILLY = course(0.06 * np.sin(np.arange(200) / 12), 4.0 * np.cos(np.arange(200) / 60))


@pytest.mark.parametrize("reserve", [0.0, 0.25])
def test_all_strategies_keep_the_same_reserve(reserve):
    runner = engine(MASS)
    best, _ = pacing.best(runner, HILLY, reserve)
    for run in (best, pacing.even_power(runner, HILLY, reserve), pacing.even_pace(runner, HILLY, reserve)):
        assert pacing.spare(runner, run, reserve) == pytest.approx(0, abs=2e-3)
        assert run.time >= best.time - 1e-6
        assert run.power.max() <= runner.hardest * (1 + 1e-9)
    assert pacing.even_pace(runner, HILLY, reserve).time > best.time + 10


def test_even_power_is_even_and_even_pace_is():
    runner = engine(MASS)
    assert np.ptp(pacing.even_pace(runner, HILLY).speed) < 1e-9
    run = pacing.even_power(runner, HILLY)
    free = run.speed < runner.fastest() - 0.01  # where no descent limits the speed
    assert free.mean() > 0.7 and np.ptp(run.power[free]) < 1e-3 * run.power.mean()


def test_instructions_cover_the_course_in_at_most_a_dozen_and_cost_little():
    runner = engine(MASS)
    run = pacing.even_power(runner, HILLY)
    share = instructions.displayed_share(
        HILLY, run.speed, MASS, {"uphill": (0.8, 0.1), "downhill": (0.6, 0.1), "wind": (0.0, 0.1)}
    )
    told = instructions.stretches(run, HILLY, share)
    assert 2 <= len(told) <= 12
    assert told[0].start == 0 and told[-1].end == pytest.approx(HILLY.distance)
    assert all(a.end == pytest.approx(b.start) for a, b in pairwise(told))
    assert all(s.low < s.power < s.high for s in told)
    simple = instructions.simplified(runner, HILLY, run, share, told, 0.0)
    assert 0 <= simple.time - run.time < 0.02 * run.time


def test_a_device_blind_to_the_wind_shows_less_into_it_for_the_same_effort():
    windy = course(np.zeros(10), 6.0)
    blind = instructions.displayed_share(windy, np.full(10, 4.0), MASS, {"wind": (0.0, 0.1)})
    full = instructions.displayed_share(windy, np.full(10, 4.0), MASS, {})
    assert (blind < 0.95).all() and full == pytest.approx(1.0)
    up = course(np.full(10, 0.05))
    dull = instructions.displayed_share(up, np.full(10, 3.0), MASS, {"uphill": (0.5, 0.1)})
    assert (dull < 0.95).all()


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


def test_a_risk_sets_the_reserve_and_more_of_it_is_slower():
    from footwork.analysis import speed

    relation = speed.prior(MASS)
    basis = StrategyBasis(HILLY, relation, MASS, draws())
    found = {r: race.strategies_for(basis, Wishes(risk=r)) for r in (None, 0.3, 0.1)}
    for r in (0.3, 0.1):
        assert found[r]["run_dry_probability"] == pytest.approx(r, abs=0.03)
    assert (
        found[None]["strategies"]["best"]["time_s"]
        < found[0.3]["strategies"]["best"]["time_s"]
        < found[0.1]["strategies"]["best"]["time_s"]
    )
    told = found[0.1]
    assert told["finish_time"]["p10"] < told["finish_time"]["p50"] < told["finish_time"]["p90"]
    assert told["dry_by_segment"] == sorted(told["dry_by_segment"])
    assert sum(u["share"] for u in told["unknowns"]) == pytest.approx(1) and told["unknowns"][0]["name"] == "capacity"
    for row in told["strategies"].values():
        assert row["segments"][-1]["end_m"] == pytest.approx(10_000) and len(row["segments"]) == 200


@pytest.mark.parametrize(
    ("strategy", "risk", "words"),
    [("fast", None, "no strategy"), ("best", 0.0, "cannot be planned"), ("best", float("nan"), "cannot be planned")],
)
def test_what_cannot_be_planned_is_said(strategy, risk, words):
    from footwork.analysis import speed

    with pytest.raises(UsageError, match=words):
        race.strategies_for(StrategyBasis(HILLY, speed.prior(MASS), MASS, draws()), Wishes(strategy, risk))


def test_descents_are_limited_by_what_the_runner_has_shown():
    rng = np.random.default_rng(1)
    speed, grade = rng.uniform(2.5, 3.9, 400), np.full(400, -0.05)
    shown = pacing.shown_descent(speed, grade)
    assert 3.9 < shown < 1.05 * 3.9
    assert pacing.shown_descent(speed[:19], grade[:19]) is None
    runner = pacing.Engine(280.0, 15_000.0, 0.065, engine().flat_power, MASS, 6.2)
    assert runner.fastest() == 6.2 and pacing.even_power(runner, HILLY).speed.max() <= 6.2 + 1e-9


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
    (told,) = plan.strategies["instructions"]
    with fitdecode.FitReader(io.BytesIO(data), check_crc=fitdecode.CrcCheck.RAISE) as reader:
        found = {f.name: f for f in reader if isinstance(f, fitdecode.FitDataMessage)}
    step = {f.name: f.value for f in found["workout_step"].fields}
    assert found["file_id"].get_value("type") == "workout" and found["workout"].get_value("wkt_name") == "Harbour ten"
    assert (step["duration_type"], step["target_type"]) == ("distance", "power")
    assert step["duration_distance"] == pytest.approx(10_000)
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


def test_a_plan_that_runs_dry_is_never_quicker_for_it():
    runner = engine(MASS)
    steep = course(np.where(np.arange(200) % 40 < 20, 0.15, -0.2))
    plan = pacing.even_power(runner, steep)
    k = np.ones(50)
    days = pacing.futures(
        plan.power, steep, plan.speed, 0.8 * runner.critical_power * k, 0.5 * runner.w_prime * k, runner.tail * k, k, k
    )
    assert days.dry[-1] == 1 and (days.times > plan.time).all()


def test_races_under_two_minutes_are_planned_as_hard_as_they_are():
    short = pacing.Engine(280.0, 15_000.0, 0.065, engine().flat_power, MASS, None, 50.0)
    assert short.hardest == pytest.approx(280 + 15_000 / 50) and engine(MASS).hardest < short.hardest
