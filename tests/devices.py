"""Simulated devices for the recovery checks: pairs with a known conversion, seasons with a known jump."""

from __future__ import annotations

import numpy as np

from footwork.analysis import conversion, drift


def pair(
    rng: np.random.Generator,
    factor: float,
    bend: float,
    run_sd: float,
    minutes: int,
    noise: tuple[float, float] = (0.02, 0.03),
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Minutes of one run on two devices: speed wanders, each device has noise that lasts, the second a factor of the
    day."""
    speed = 3.0 * np.exp(rng.normal(0, 0.08) + np.cumsum(rng.normal(0, 0.02, minutes)))
    truth = 68.0 * speed

    def wander(sd: float) -> np.ndarray:
        out = sd * rng.standard_normal(minutes)
        for i in range(1, minutes):
            out[i] = 0.5 * out[i - 1] + (1 - 0.25) ** 0.5 * out[i]
        return out

    first = truth * np.exp(wander(noise[0]))
    second = truth * (factor + bend * (truth - 204.0) / 204.0) * np.exp(rng.normal(0, run_sd) + wander(noise[1]))
    return first, second, speed


def conversions(pairs: int, first_seed: int = 70_000) -> dict[str, float]:
    """How often the true factor lies in the interval of a conversion learned from 3 to 20 runs, at its centre and
    beyond."""
    inside = {"factor at the centre": 0, "watts a third above it": 0}
    for seed in range(first_seed, first_seed + pairs):
        rng = np.random.default_rng(seed)
        factor, bend, run_sd = rng.uniform(0.85, 1.2), rng.normal(0, 0.04), rng.uniform(0.004, 0.02)
        runs = [pair(rng, factor, bend, run_sd, int(rng.integers(20, 70))) for _ in range(int(rng.integers(3, 21)))]
        made = conversion.learn(runs)
        for name, watts in (("factor at the centre", made.centre), ("watts a third above it", 1.33 * made.centre)):
            true = factor + bend * (watts - 204.0) / 204.0
            half = 1.96 * made.error(watts)
            inside[name] += abs(float(made.apply(watts)) / watts / true - 1) <= half
    return {name: count / pairs for name, count in inside.items()}


def season(rng: np.random.Generator, jump: float) -> tuple[np.ndarray, int]:
    """Run means of a device at easy speed: days that differ and resemble their neighbours, some far out, a slow wave, a
    jump."""
    n = int(rng.integers(30, 160))
    values = rng.uniform(0.008, 0.02) * rng.standard_normal(n)
    alike = 0.0
    for i in range(n):
        alike = 0.6 * alike + 0.004 * rng.standard_normal()
        values[i] += alike
    values[rng.random(n) < 0.04] += rng.normal(0, 0.08)
    values += rng.normal(0, 0.006) * np.sin(np.arange(n) / n * 2 * np.pi * rng.uniform(0.3, 1))
    at = int(rng.integers(int(0.2 * n), int(0.8 * n)))
    values[at:] += jump
    return values, at


def drifts(seasons: int, jump: float, first_seed: int = 80_000) -> dict[str, float]:
    """Over seasons with one jump of that share up or down, or none: how often it is found within a tenth of the season,
    its date and size lie in their ranges, and something else is called a jump."""
    found = dated = sized = false = 0
    for seed in range(first_seed, first_seed + seasons):
        size = jump if seed % 2 else -jump
        values, at = season(np.random.default_rng(seed), size)
        made = drift.jumps(values)
        right = [j for j in made if jump and abs(j.index - at) <= max(5, 0.1 * len(values))][:1]
        false += len(made) > len(right)
        for j in right:
            found += 1
            dated += j.earliest <= at <= j.latest
            sized += abs(j.share - size) <= 1.96 * j.error
    return {
        "jump found": found / seasons,
        "date inside": dated / max(found, 1),
        "size inside": sized / max(found, 1),
        "seasons with a false alarm": false / seasons,
    }
