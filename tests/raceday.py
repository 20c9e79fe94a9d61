"""Simulated race days: does the true finish time lie in the interval that the plan gives?"""

from __future__ import annotations

import numpy as np

from footwork.analysis.capacity_days import CapacityDays
from footwork.analysis.speed import FASTEST, STEP, PowerAtSpeed
from footwork.demo.simulate import Device, device_watts, draw_runner, trial
from footwork.planning import course, even_power
from footwork.questions.race import FORM_SD
from tests.everyday import best_of_run, trial_run


def race_day(seed: int) -> tuple[float, np.ndarray, tuple[float, float, float]]:
    """True time of a flat race of 3 km to the half marathon [s], draws of the plan's time, and its P10, P50 and P90;
    capacity from 3, 7 and 12 minute trials, power at speed from easy runs on other days."""
    rng = np.random.default_rng(seed)
    runner = draw_runner(rng)
    device = Device(rng.uniform(0.95, 1.25), 0.8, rng.uniform(0.02, 0.06), rng.uniform(1, 6))
    metres = float(rng.choice([3000, 5000, 10_000, 21_097.5]))
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
