"""Simulated heart-rate traces with faults of stated kinds: how many faulty seconds the screening finds, how many it
spares."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from footwork.analysis import screening
from footwork.demo.simulate import Device, device_watts, draw_runner, heart_rate
from tests.sessions import wandering

TELLING_BPM = 8.0  # a fault nearer to the truth than this harms no one


def trace(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Heart rate as a device that averages five seconds writes it, power and cadence, of an easy, steady or hard
    run."""
    runner = draw_runner(rng)
    device = Device(rng.uniform(0.95, 1.25), 0.8, rng.uniform(0.02, 0.06), rng.uniform(1, 6))
    kind = int(rng.integers(0, 3))
    if kind == 1:
        length = int(rng.choice([60, 120, 180, 240]))
        rest = length // 2 + 30
        repeat = np.concatenate([np.full(length, 1.05), np.full(rest, 0.55)])
        shares = np.concatenate([np.full(900, 0.7), *[repeat] * (1500 // (length + rest)), np.full(600, 0.66)])
    else:
        level, spread, number = ((0.7, 0.03, 9), (0.0, 0.0, 0), (0.82, 0.04, 8))[kind]
        shares = np.repeat(level * np.exp(rng.normal(0, spread, number)), 300)
    speed, pace = np.empty(len(shares)), 0.0
    for i, share in enumerate(shares.tolist()):
        pace += (share * runner.speed_cp - pace) / 4
        speed[i] = pace
    knots = np.arange(0, len(speed) + 240, 120)
    grade = np.interp(np.arange(len(speed)), knots, rng.normal(0, 0.015, len(knots)))
    # Beside what the effort asks a real heart wanders, within a minute and within a quarter of an hour.
    slow = wandering(rng, len(speed), 3.5, 75) + wandering(rng, len(speed), 3.0, 900)
    rate = _averaged(heart_rate(runner, speed, grade, rng.uniform(8, 28), rng) + slow)
    cadence = 2 * np.rint(80 + 4 * (speed - 3) + rng.normal(0, 0.8, len(speed)))
    return rate, device_watts(runner, device, speed, grade, rng), cadence


def _averaged(values: np.ndarray) -> np.ndarray:
    return np.rint(np.convolve(np.pad(values, 2, mode="edge"), np.ones(5) / 5, mode="valid"))


def _span(rng: np.random.Generator, n: int, least: int, most: int) -> slice:
    length = int(rng.integers(least, most))
    begin = int(rng.integers(60, n - most - 60))
    return slice(begin, begin + length)


def _drop_outs(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    for _ in range(3):
        rate[_span(rng, len(rate), 15, 120)] = np.nan


def _flat(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    part = _span(rng, len(rate), 60, 300)
    rate[part] = rate[part.start]


def _jumps(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    for _ in range(4):
        rate[_span(rng, len(rate), 3, 40)] += rng.choice([-1, 1]) * rng.uniform(20, 60)


def _lock(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    part = _span(rng, len(rate), 120, 800)
    rate[part] = _averaged(cadence[part] + rng.normal(0, 1.0, part.stop - part.start))


def _late_start(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    length = int(rng.integers(60, 400))
    rate[:length] = np.rint(rng.uniform(65, 95) + np.cumsum(rng.normal(0, 0.3, length)))


def _dry_strap(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    length = int(rng.integers(60, 500))
    walk = np.cumsum(rng.normal(0, 2, length))
    wrong = rate[:length] + rng.uniform(25, 60) + walk - walk.mean() + rng.normal(0, 3, length)
    rate[:length] = np.rint(np.clip(wrong, 60, 230))


def _ruled_out(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    part = _span(rng, len(rate), 120, 600)
    length = part.stop - part.start
    ramp = np.minimum(1, np.minimum(np.arange(length), np.arange(length)[::-1]) / 20)
    rate[part] = np.rint(rate[part] + rng.choice([-1, 1]) * rng.uniform(20, 45) * ramp)


def _reads_low(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    rate[_span(rng, len(rate), 240, 1200)] -= np.rint(rng.uniform(8, 13))


def _reads_high(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    rate[: int(rng.integers(240, 1200))] += np.rint(rng.uniform(8, 19))


def _half_cadence(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    part = _span(rng, len(rate), 120, 600)
    rate[part] = _averaged(cadence[part] / 2 + rng.uniform(-3, 15) + rng.normal(0, 2.0, part.stop - part.start))


def _whole(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    n = len(rate)
    rate[:] = np.rint(rng.uniform(125, 150) + wandering(rng, n, 7.0, 300) + wandering(rng, n, 5.0, 60))


def _locked_throughout(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    cadence[:] = np.rint(cadence.mean())  # as of who runs on a treadmill, or by a beat
    rate[:] = cadence + np.rint(rng.normal(0, 0.5, len(rate)))


def _locked_after_a_while(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    cadence[:] = np.rint(cadence.mean())
    begin = int(rng.integers(420, 900))
    rate[begin:] = cadence[begin:] + np.rint(rng.normal(0, 0.5, len(rate) - begin))


def _locked_loosely(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    begin = int(rng.integers(420, 900))
    off = cadence[begin:] - 2 + rng.normal(0, 1.5, len(rate) - begin)
    rate[begin:] = _averaged(off)


def _near_the_cadence(rate: np.ndarray, cadence: np.ndarray, rng: np.random.Generator) -> None:
    """No fault: a hard run whose heart beats about as often as the feet fall, a little more of both with effort."""
    usual = float(np.median(rate[600:]))
    off = rng.uniform(-3, 3) + 0.15 * (np.convolve(rate, np.ones(61) / 61, mode="same") - usual)
    cadence[:] = 2 * np.rint((usual + off + rng.normal(0, 1.2, len(rate))) / 2)


FAULTS: dict[str, Callable[[np.ndarray, np.ndarray, np.random.Generator], None]] = {
    "none": lambda rate, cadence, rng: None,
    "none, near the cadence": _near_the_cadence,
    "drop-outs": _drop_outs,
    "flat stretches": _flat,
    "jumps": _jumps,
    "cadence lock": _lock,
    "cadence lock throughout": _locked_throughout,
    "cadence lock after a while": _locked_after_a_while,
    "loose cadence lock after a while": _locked_loosely,
    "late start": _late_start,
    "dry strap": _dry_strap,
    "ruled out by power": _ruled_out,
    "reads low for minutes": _reads_low,
    "reads high from the start": _reads_high,
    "near half the cadence": _half_cadence,
    "a whole run": _whole,
}


def measured(kind: str, runs: int, first_seed: int = 60_000) -> tuple[float, float]:
    """Sensitivity: of the seconds at fault (8 bpm or more off, missing, or stuck) those not classed sound; and
    specificity: of the untouched seconds those classed sound."""
    found = faulty = spared = sound = 0
    for seed in range(first_seed, first_seed + runs):
        rng = np.random.default_rng(seed)
        truth, power, cadence = trace(rng)
        rate = truth.copy()
        FAULTS[kind](rate, cadence, rng)
        quality = screening.screen(rate, power, cadence, np.ones(len(rate), dtype=np.bool_)).quality
        touched = ~(rate == truth)
        told = touched if kind == "flat stretches" else touched & ~(np.abs(rate - truth) < TELLING_BPM)
        found, faulty = found + int((quality[told] > 0).sum()), faulty + int(told.sum())
        spared, sound = spared + int((quality[~touched] == 0).sum()), sound + int((~touched).sum())
    return found / faulty if faulty else float("nan"), spared / sound


def rows(runs: int) -> list[str]:
    """Lines of the printed table."""
    out = []
    for kind in FAULTS:
        sensitivity, specificity = measured(kind, runs)
        shown = f"{100 * sensitivity:.1f} %" if not kind.startswith("none") else "no fault"
        out.append(f"| {kind} | {shown} | {100 * specificity:.1f} % |")
    return out
