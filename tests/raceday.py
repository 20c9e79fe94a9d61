"""Simulated race days: does the true finish time lie in the interval that the plan gives?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from footwork.analysis.capacity_days import CapacityDays
from footwork.analysis.speed import FASTEST, STEP, PowerAtSpeed
from footwork.demo.simulate import Device, Runner, device_watts, draw_runner, trial
from footwork.physiology import critical
from footwork.planning import course, even_power
from footwork.questions.race import FORM_SD, RaceDraws, StrategyBasis, Wishes, strategies_for
from tests.everyday import best_of_run, trial_run


def _known(runner: Runner, device: Device, rng: np.random.Generator) -> tuple[critical.Posterior, PowerAtSpeed]:
    """Capacity from 3, 7 and 12 minute trials, and power at speed from easy runs on other days."""
    bests = []
    for index, duration in enumerate((180, 420, 720)):
        form = float(np.exp(rng.normal(0, runner.day_sd)))
        signal = trial_run([trial(runner, device, duration, form, rng)], 0.7 * runner.critical_power(device), rng)
        bests.append(best_of_run(index, 1000 + 3 * index, signal, True))
    posterior = CapacityDays(bests).on(bests[-1].day).posterior
    assert posterior is not None
    # Easy runs tell joules per metre; each day the device sits a little differently.
    runs = [
        float(np.exp(rng.normal(0, 0.01)))
        * float(device_watts(runner, device, np.full(1800, 0.72 * runner.speed_cp), np.zeros(1800), rng).mean())
        / (0.72 * runner.speed_cp)
        for _ in range(12)
    ]
    cost, day_sd = float(np.mean(runs)), float(np.std(runs, ddof=1) / np.mean(runs))
    speeds = np.arange(0.0, FASTEST + STEP, STEP)
    relation = PowerAtSpeed(
        speeds, cost * speeds, 0.72 * runner.speed_cp, day_sd / 12**0.5, 0.005, day_sd, 400, 12, "steady minutes"
    )
    return posterior, relation


def race_day(seed: int) -> tuple[float, np.ndarray, tuple[float, float, float]]:
    """True time of a flat race of 3 km to the half marathon [s], draws of the plan's time, and its P10, P50 and P90;
    capacity from 3, 7 and 12 minute trials, power at speed from easy runs on other days."""
    rng = np.random.default_rng(seed)
    runner = draw_runner(rng)
    device = Device(rng.uniform(0.95, 1.25), 0.8, rng.uniform(0.02, 0.06), rng.uniform(1, 6))
    metres = float(rng.choice([3000, 5000, 10_000, 21_097.5]))
    posterior, relation = _known(runner, device, rng)
    cp, wp, tail = posterior.long_draws(2000)
    day = np.exp(FORM_SD * np.random.default_rng(13).standard_normal(len(cp)))
    cp, wp = cp * day, wp * day
    table = even_power.tabulate(course.flat_course(metres), relation.power, None, float(np.median(cp)))
    nominal = float(np.median(even_power.sustainable(table, cp, wp, tail)[1]))
    _, times = even_power.sustainable(table, cp, wp, tail, relation.factors(metres / nominal, len(cp), 5))
    form = float(np.exp(rng.normal(0, runner.day_sd)))
    truth = metres / (runner.speed_cp * form)
    for _ in range(30):
        truth = metres / (runner.best_speed(truth) * form)
    p10, p50, p90 = (float(q) for q in np.quantile(times, [0.1, 0.5, 0.9]))
    return truth, times, (p10, p50, p90)


def finishes(days: int, first_seed: int = 90_000) -> dict[str, float]:
    """Shares of race days inside the 95 % interval and between P10 and P90, and the mean error of P50 in percent."""
    inside = between = 0
    errors = []
    for seed in range(first_seed, first_seed + days):
        truth, times, (p10, p50, p90) = race_day(seed)
        low, high = np.quantile(times, [0.025, 0.975])
        inside += bool(low <= truth <= high)
        between += p10 <= truth <= p90
        errors.append(100 * (p50 / truth - 1))
    return {
        "inside the 95 % interval": inside / days,
        "between P10 and P90": between / days,
        "mean error of P50, %": float(np.mean(errors)),
    }


# A race by the plan, with the simulator's own physics: its curve is a power law, its cost of slopes a quadratic of
# which a runner gets a share downhill, its fatigue a one-sided mean of two minutes, and its device shows slopes by
# itself.
FATIGUE_S = 120.0


def hilly_course(rng: np.random.Generator, metres: float) -> course.Course:
    """A course of 50 m segments with no, some or much climb."""
    n = int(metres / 50)
    x = (np.arange(n) + 0.5) * metres / n
    steep = float(rng.choice([0.0, 0.015, 0.03, 0.05]))
    waves = [
        rng.uniform(0.5, 1.0) * np.sin(2 * np.pi * x / rng.uniform(600, 4000) + rng.uniform(0, 6)) for _ in range(2)
    ]
    grade = steep * (waves[0] + waves[1]) / 1.5
    return course.Course(np.full(n, metres / n), grade - grade.mean(), np.zeros(n), np.full(n, 1.225))


def raced(
    runner: Runner,
    device: Device,
    road: course.Course,
    watts: np.ndarray,
    form: float,
    saved: float,
    rng: np.random.Generator,
) -> float:
    """True time of a runner who holds the watts that a device is to show, and eases when spent too fast [s].

    ``watts`` are displayed ones by segment; ``form`` is the day's factor on what can be held.
    """
    grade = road.grade
    shown = device.flat * runner.mass * np.maximum(1.0 + device.slope_response * (5.0 * grade + 17.0 * grade**2), 0.25)
    curve = 1.0 + 5.0 * grade + 17.0 * grade**2
    cost = np.where(grade < 0, 1.0 - saved * (1.0 - curve), curve)
    hold = float(np.exp(0.01 * rng.standard_normal()))
    grid = np.geomspace(60.0, 40_000.0, 400)
    best = np.array([runner.best_speed(t) for t in grid]) * form
    felt, spent, clock, eased = 0.0, 0.0, 0.0, 1.0
    total = float(road.length.sum())
    done, asked_at = 0.0, 0.1
    for watt, per, dear, length in zip(
        watts.tolist(), shown.tolist(), cost.tolist(), road.length.tolist(), strict=True
    ):
        speed = min(watt * hold * eased / per, 1.35 * runner.speed_cp)
        seconds = length / speed
        level = speed * dear  # as fast on the level, for the same effort
        blend = np.exp(-seconds / FATIGUE_S)
        felt = level if not clock else blend * felt + (1 - blend) * level
        spent += seconds / float(np.interp(-felt, -best, grid))
        clock, done = clock + seconds, done + length
        if spent >= 1.0:
            eased = min(eased, 0.85)
        elif done / total >= asked_at and done < total:
            asked_at += 0.06
            left = (total - done) / speed  # the road ahead is thought to be like the road behind
            can = float(np.interp(left / (1.0 - spent), grid, best)) / max(done / clock * float(np.mean(cost)), 0.1)
            can *= float(np.exp(0.02 * rng.standard_normal()))
            eased = min(1.0, eased * can) if can < 0.985 else min(1.0, eased * min(can, 1.03))
    return clock


def by_the_plan(seed: int) -> dict[str, float]:
    """A race run by the plan that four days in five keep: its true time over the planned, and where it lies among the
    race days that were foreseen."""
    rng = np.random.default_rng(seed)
    runner = draw_runner(rng)
    device = Device(rng.uniform(0.95, 1.25), rng.uniform(0.75, 1.05), rng.uniform(0.02, 0.06), rng.uniform(1, 6))
    posterior, relation = _known(runner, device, rng)
    metres = float(rng.choice([5000, 10_000, 21_097.5]))
    road = hilly_course(rng, metres)
    cp, wp, tail = posterior.long_draws(2000)
    form = np.exp(FORM_SD * np.random.default_rng(13).standard_normal(len(cp)))
    one = np.ones(len(cp))
    needs = relation.factors(0.97 * runner.speed_cp, len(cp), 5)
    basis = StrategyBasis(road, relation, runner.mass, RaceDraws(cp * form, wp * form, tail, one, form, needs))
    told = strategies_for(basis, Wishes(risk=0.2))
    segments = told["strategies"]["quickest"]["segments"]
    watts = np.zeros(len(segments))
    ends = np.array([s["end_m"] for s in segments])
    for row in told["instructions"]:
        watts[(ends > row["start_m"]) & (ends <= row["end_m"] + 1.0)] = row["power_w"]
    day = float(np.exp(rng.normal(0, runner.day_sd)))
    true = replace(device, flat=device.flat * float(np.exp(rng.normal(0, 0.01))))
    time = raced(runner, true, road, watts, day, rng.uniform(0.45, 0.7), rng)
    p, planned = told["finish_time"], told["strategies"]["quickest"]["time_s"]
    return {
        "inside": float(p["p10"] <= time <= p["p90"]),
        "late": float(time > 1.01 * planned),
        "error": 100 * (p["p50"] / time - 1),
        "in_hand": 100 * told["in_hand_share"],
        "metres": metres,
    }


def planned_races(races: int, first_seed: int = 95_000) -> dict[str, float]:
    """Shares of races run by the plan between P10 and P90 and over 1 % late, and the mean error of P50 in percent."""
    found = [by_the_plan(seed) for seed in range(first_seed, first_seed + races)]
    return {name: float(np.mean([f[name] for f in found])) for name in ("inside", "late", "error", "in_hand")}
