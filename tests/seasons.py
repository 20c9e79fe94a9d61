"""Simulated seasons of heart rate at power: a known gain or none, heat waves, colds, bad nights, devices that
wander."""

from __future__ import annotations

from typing import Any

import numpy as np

from footwork.analysis import response, worthwhile
from footwork.analysis import trial_statistics as trials
from footwork.analysis.summary import AT, BLOCK_COLUMNS
from footwork.analysis.usual_watts import Sky
from footwork.demo import simulate
from footwork.physics import climate

FIRST_DAY = 739_600


def season(
    rng: np.random.Generator, gain: float = 0.0, weeks: int = 20, warmth: list[float] | None = None
) -> tuple[list[response.RunRows], float]:
    """Runs of a season and about the runner's critical power [W]; ``gain`` is the share by which power at a heart rate
    grows evenly. The true temperatures of its runs, known to the estimator or not, are added to ``warmth``."""
    base = simulate.draw_runner(rng)
    device = simulate.Device(rng.uniform(0.95, 1.1), rng.uniform(0.5, 1.0), rng.uniform(0.02, 0.06), rng.uniform(1, 6))
    per_week, day_sd = int(rng.integers(3, 6)), rng.uniform(1.0, 3.5)
    middle, swing, phase = rng.uniform(8, 18), rng.uniform(3, 10), rng.uniform(0, 6.3)
    wave = int(rng.integers(0, weeks * 7 - 10)) if rng.random() < 0.7 else -99
    known = rng.random() < 0.8
    # Places differ from their latitude's climate in mean and swing; the year begins on any day of it.
    latitude, wide, begin = 35.0 + 25.0 * phase / 6.3, np.cos(7 * phase), FIRST_DAY + 7 * int(52 * swing / 10)
    out = []
    for week in range(weeks):
        for day in sorted(rng.choice(7, per_week, replace=False)):
            at = week * 7 + int(day)
            runner = base.fitter(gain * at / (weeks * 7))
            hot = 10.0 if wave <= at < wave + 10 else 0.0
            usual = (
                climate.usual_temperature(begin + at, latitude) + (middle - 13) + 3 * wide * climate.season(begin + at)
            )
            temperature = usual + hot + rng.normal(0, 3)
            if warmth is not None:
                warmth.append(float(temperature))
            kind = rng.random()
            minutes = int(rng.integers(35, 80))
            shares = np.repeat(rng.uniform(0.64, 0.80) * np.exp(rng.normal(0, 0.02, minutes)), 60)
            if kind < 0.2:  # intervals
                shares = np.concatenate(
                    [
                        np.full(720, 0.68),
                        *[np.r_[np.full(200, 1.04), np.full(110, 0.6)] for _ in range(6)],
                        np.full(500, 0.66),
                    ]
                )
            hills = rng.uniform(0, 0.02) if kind < 0.8 else 0.05
            grade = hills * np.sin(np.arange(len(shares)) / rng.uniform(40, 150) + rng.uniform(0, 6))
            speed = shares * base.speed_cp * simulate.slope_effort(grade) / simulate.slope_cost(grade)
            power = np.exp(rng.normal(0, 0.012)) * simulate.device_watts(base, device, speed, grade, rng)
            ill, sleep = bool(rng.random() < 0.02), float(np.clip(rng.normal(7.2, 0.8), 4, 9))
            rate = simulate.heart_rate(runner, speed, grade, temperature, rng)
            rate = rate + rng.normal(0, day_sd) + 6 * ill + 1.2 * max(6.5 - sleep, 0)
            out.append(
                response.RunRows(
                    begin + at,
                    _minutes(power, speed, grade, rate),
                    Sky(temperature if known else None),
                    ill,
                    sleep if rng.random() < 0.7 else None,
                    latitude=latitude,
                )
            )
    return out, base.critical_power(device)


def _minutes(power: np.ndarray, speed: np.ndarray, grade: np.ndarray, rate: np.ndarray) -> np.ndarray:
    whole = len(power) // 60
    block = np.full((whole, len(BLOCK_COLUMNS)), np.nan)
    block[:, 0] = 60.0 * np.arange(whole)
    for name, values in (("power", power), ("speed", speed), ("grade", grade), ("heart_rate", rate)):
        block[:, AT[name]] = values[: whole * 60].reshape(whole, 60).mean(axis=1)
    block[:, AT["power_sd"]] = power[: whole * 60].reshape(whole, 60).std(axis=1)
    return block


def looks(
    runs: list[response.RunRows], border: float, first_week: int = 8
) -> tuple[list[worthwhile.Verdict], tuple[float, float, float] | None]:
    """Verdicts week by week, and the last change with its 95 % interval [%]."""
    from footwork.errors import NotEnoughData

    prepared = response.prepare(runs, border)
    begin = prepared.days[0]
    weeks = int((prepared.days[-1] - begin) // 7) + 1
    out, last = [], None
    for week in range(first_week, weeks + 1):
        upto = int(np.searchsorted(prepared.days, begin + 7 * week))
        try:
            model = response.fit(prepared, upto)
        except NotEnoughData:
            continue
        gains, why = response.gain(model, begin, model.days[-1])
        if why:
            continue
        out.append(worthwhile.decide(float(gains.mean()), float(gains.std()), worthwhile.WORTHWHILE["%"], looks=21))
        last = (float(gains.mean()), *(float(v) for v in np.percentile(gains, [2.5, 97.5])))
    return out, last


def one(seed: int, gain: float) -> dict[str, Any]:
    """One season: whether its gain and drift lie in their intervals, and what was said of it week by week."""
    rng = np.random.default_rng(seed)
    warmth: list[float] = []
    runs, border = season(rng, gain, warmth=warmth)
    prepared = response.prepare(runs, border)
    model = response.fit(prepared)
    first, last = model.days[0], model.days[-1]
    gains, why = response.gain(model, first, last)
    low, high = np.percentile(gains, [2.5, 97.5])
    begin = runs[0].day - (runs[0].day - FIRST_DAY) % 7  # a season begins weeks after that day
    true = 100 * ((1 - gain * (first - begin) / 140) / (1 - gain * (last - begin) / 140) - 1)
    drift, sd = model.drift()
    # As simulated: 0.05 bpm a minute, and 0.006 more for each degree over 14 °C.
    steep = 3.0 + 0.36 * float(np.mean(np.maximum(np.array(warmth) - 14.0, 0.0)))
    words = [v.word for v in looks(runs, border)[0]]
    return {
        "withheld": bool(why),
        "inside": bool(low <= true <= high),
        "half": float(high - low) / 2,
        "miss": float(gains.mean() - true),
        "drift": bool(abs(drift - steep) <= 1.96 * sd),
        "wrong": any(w == "worse" or (w == "improved" and not gain) for w in words),
        "last": words[-1] if words else "",
    }


def rows(count: int, processes: int = 2) -> list[str]:
    """The table of many seasons without and with a gain, and of trials."""
    from multiprocessing import get_context

    out = []
    with get_context("spawn").Pool(processes) as pool:
        for gain, first in ((0.0, 50_000), (0.03, 60_000)):
            found = pool.starmap(one, [(first + k, gain) for k in range(count)], chunksize=4)
            told = [f for f in found if not f["withheld"]]
            out.append(
                f"| {100 * gain:.0f} % | {len(found) - len(told)} | "
                f"{100 * np.mean([f['inside'] for f in told]):.1f} % | "
                f"{np.median([f['half'] for f in told]):.1f} % | {np.mean([f['miss'] for f in told]):+.1f} % "
                "| "
                f"{100 * np.mean([f['drift'] for f in found]):.1f} % | {sum(f['wrong'] for f in found)} | "
                f"{sum(f['last'] == 'improved' for f in found)} |"
            )
    return out


def shoe(seed: int, runs: int = 5) -> tuple[float, Any]:
    """True effect [bpm] of a change that costs more or less, or nothing, and what a trial of it says."""
    rng = np.random.default_rng(seed)
    base = simulate.draw_runner(rng)
    factor = float(rng.choice([1.0, rng.uniform(0.94, 0.985), rng.uniform(1.015, 1.06)]))
    share = rng.uniform(0.66, 0.8)
    truth = (base.max_rate - base.rest_rate) * 0.78 * share * (factor - 1)
    blocks = []
    for k, order in enumerate(trials.order(2, 1, runs, seed)):
        pieces, costs = [np.full(600, 0.66)], [np.ones(600)]
        # The effect differs from day to day, the runner's pace from block to block.
        today = 1 + (factor - 1) + rng.normal(0, 0.004)
        for i, c in enumerate(order):
            pieces.append(np.full(360, share * np.exp(rng.normal(0, 0.006))))
            costs.append(np.full(360, today if c else 1.0))
            if i + 1 < len(order):
                pieces.append(np.full(120, 0.6))
                costs.append(np.ones(120))
        speed, cost = np.concatenate(pieces) * base.speed_cp, np.concatenate(costs)
        rate = simulate.heart_rate(base, speed * cost, np.zeros(len(speed)), float(rng.uniform(8, 24)), rng)
        rate = rate + rng.normal(0, 2.5) + np.cumsum(rng.normal(0, 0.02, len(rate)))
        for i, c in enumerate(order):
            at = slice(600 + 480 * i + 180, 600 + 480 * i + 360)
            blocks.append(
                trials.Block(k, c, (at.start + at.stop) / 7200, float(rate[at].mean()), float(speed[at].mean()))
            )
    slope = (base.max_rate - base.rest_rate) * 0.78 / base.speed_cp
    return truth, trials.effects(blocks, 2, slope)


def trial_intervals(count: int, first_seed: int = 70_000) -> tuple[float, float]:
    """Share of trials whose true effect lies in its interval, and the median half-width [bpm]."""
    inside, halves = 0, []
    for seed in range(first_seed, first_seed + count):
        truth, found = shoe(seed)
        told = trials.estimate(found, 0, "bpm")
        inside += told.low <= truth <= told.high
        halves.append((told.high - told.low) / 2)
    return inside / count, float(np.median(halves))
