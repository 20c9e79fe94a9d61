"""Simulated months of running with known capacity: what `capacity_days` is tried on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from footwork.analysis.efforts import Best
from footwork.demo.simulate import Device, Runner, device_watts, draw_runner, trial
from footwork.physiology import curve, lay_off


@dataclass(frozen=True)
class Months:
    """Runs in order of days, the day that is asked about, the runner and device of that day, and weeks without
    running."""

    bests: list[Best]
    day: int
    runner: Runner
    device: Device
    lay_offs: tuple[lay_off.LayOff, ...] = ()

    def truth(self, duration: float | None = None) -> float:
        """True CP, or the highest mean power for a duration [s], in the device's watts. [W]"""
        if duration is None:
            return self.runner.critical_power(self.device)
        return self.device.flat * self.runner.mass * self.runner.best_speed(duration)


def _device(rng: np.random.Generator) -> Device:
    return Device(rng.uniform(0.95, 1.25), 0.8, rng.uniform(0.02, 0.06), rng.uniform(1, 6))


def best_of_run(run: int, day: int, power: np.ndarray, maximal: bool, speed: np.ndarray | None = None) -> Best:
    durations, best, start = curve.mean_maximal(power, curve.stored_durations(len(power)))
    level = float("nan")
    if speed is not None:
        n = len(speed) // 60 * 60
        minutes = np.nanmean(power[:n].reshape(-1, 60), axis=1) / speed[:n].reshape(-1, 60).mean(axis=1)
        level = float(np.median(np.log(minutes)))
    return Best(run, day, f"day {day}", maximal, durations, best, start, level)


def trial_run(powers: list[np.ndarray], easy: float, rng: np.random.Generator) -> np.ndarray:
    """A recording: easy running, the trials with easy running between, and now and then a gap."""
    pieces = [easy * (1 + 0.05 * rng.standard_normal(900))]
    for power in powers:
        pieces += [power, easy * 0.8 * (1 + 0.05 * rng.standard_normal(1200))]
    signal = np.concatenate(pieces)
    if rng.random() < 0.3:
        at = int(rng.integers(0, 800))
        signal[at : at + 30] = np.nan
    return signal


def marked_efforts(seed: int) -> Months:
    """3, 7 and 12 minute trials, all on one day or on days of their own."""
    rng = np.random.default_rng(seed)
    runner = draw_runner(rng)
    device = _device(rng)
    durations = [180, 420, 720]
    if rng.random() < 0.3:
        durations.append(1200)
    days = [[d] for d in durations] if rng.random() < 0.6 else [durations[:2], durations[2:]]
    bests = []
    for index, day in enumerate(days):
        form = float(np.exp(rng.normal(0, runner.day_sd)))
        powers = [trial(runner, device, d, form, rng) for d in day]
        signal = trial_run(powers, 0.7 * runner.critical_power(device), rng)
        bests.append(best_of_run(index, 1000 + 3 * index, signal, True))
    return Months(bests, bests[-1].day, runner, device)


def _session(
    runner: Runner, duration: int, habit: float, before: int, after: int, rng: np.random.Generator
) -> np.ndarray:
    """Speeds of a run with one hard stretch, as near to the limit as this runner goes. [m/s]"""
    near = np.exp(habit + rng.normal(-0.01, 0.015))
    pieces = [0.7 * np.ones(before), np.zeros(duration), 0.6 * np.ones(after)]
    speed = runner.speed_cp * np.concatenate(pieces)
    speed[before : before + duration] = runner.best_speed(duration) * near
    return speed


def habitual_running(seed: int, half_normal: bool = False) -> Months:
    """Six weeks of training in which sessions were hard but nothing was maximal."""
    rng = np.random.default_rng(seed)
    runner = draw_runner(rng)
    device = _device(rng)
    habit = _habit(rng, half_normal)
    bests = []
    for index in range(24):
        if index % 4 == 0:
            speed = _session(runner, (180, 420, 720)[index // 4 % 3], habit, 900, 600, rng)
        else:
            easy = rng.uniform(0.68, 0.85) * runner.speed_cp * np.ones(2400)
            speed = np.concatenate([0.7 * runner.speed_cp * np.ones(900), easy])
        power = device_watts(runner, device, speed, np.zeros(len(speed)), rng)
        bests.append(best_of_run(index, 1000 + int(1.7 * index), power, False, speed))
    return Months(bests, bests[-1].day, runner, device)


def _habit(rng: np.random.Generator, half_normal: bool) -> float:
    """How near to the limit a runner trains: such that the best of two sessions reads about 3 % low (Hunter 2023), or
    never above capacity, half-normal."""
    return -abs(float(rng.normal(0, 0.06))) if half_normal else float(rng.normal(-0.045, 0.045))


def _spiky(signal: np.ndarray, rng: np.random.Generator, whole: bool) -> np.ndarray:
    """A file of a device gone wrong: some minutes, or the whole run, read a fifth to a third too high."""
    out = signal.copy()
    at, length = int(rng.integers(0, max(len(out) - 900, 1))), int(rng.integers(200, 900))
    out[slice(None) if whole else slice(at, at + length)] *= rng.uniform(1.2, 1.35)
    return out


def season(
    seed: int, tests: tuple[int, ...] | None = None, half_normal: bool = False, last: int = 182, visible: bool = True
) -> Months:
    """Half a year of a runner whose capacity rises or falls smoothly: three runs a week, one a session, 3 % of them
    spiky (every second as a whole run, which its speed gives away where it is ``visible``); tests on given days, or
    every six weeks, the last within 28 days of the end."""
    rng = np.random.default_rng(seed)
    runner = draw_runner(rng)
    device = _device(rng)
    trend, wave, phase = rng.normal(0.0, 0.025), abs(rng.normal(0, 0.01)), rng.uniform(0, 2 * np.pi)
    final_test = last - int(rng.integers(1, 29))
    test_days = {final_test - 42 * k for k in range(5)} if tests is None else set(tests)
    habit = _habit(rng, half_normal)

    def on(day: int) -> Runner:
        level = float(np.exp(trend * day / last + wave * np.sin(phase + 2 * np.pi * day / 90)))
        return replace(runner, speed_cp=runner.speed_cp * level)

    bests: list[Best] = []
    for day in range(1, last + 1):
        weekday = day % 7
        if day not in test_days and weekday not in (1, 3, 5):
            continue
        today = on(day)
        if day in test_days:
            form = float(np.exp(rng.normal(0, runner.day_sd)))
            powers = [trial(today, device, d, form, rng) for d in (180, 420, 720)]
            signal = trial_run(powers, 0.7 * today.critical_power(device), rng)
            bests.append(best_of_run(day, 1000 + day, signal, True))
            continue
        if weekday == 3:
            speed = _session(today, (180, 420, 720)[day // 7 % 3], habit, 600, 300, rng)
        else:
            speed = np.concatenate([0.7 * np.ones(600), rng.uniform(0.68, 0.85) * np.ones(1200)]) * today.speed_cp
        signal = device_watts(today, device, speed, np.zeros(len(speed)), rng)
        if rng.random() < 0.03:
            signal = _spiky(signal, rng, rng.random() < 0.5)
        bests.append(best_of_run(day, 1000 + day, signal, False, speed if visible else None))
    return Months(bests, 1000 + last, on(last), device)


def laid_off(seed: int, tests: tuple[int, ...] | None = None) -> Months:
    """`season`, then one to nine weeks without running. What they take is not the model's: two parts, one fast, as of
    the published runners (Coyle et al. 1984: 7 % in 12 days, 16 % in 84), of which 45 to 110 % befall a runner."""
    before, rng = season(seed, tests), np.random.default_rng(seed + 7)
    off = int(rng.integers(7, 64))
    lost = rng.uniform(0.45, 1.1) * (0.07 * (1 - np.exp(-off / 6)) + 0.1 * (1 - np.exp(-off / 40)))
    runner = replace(before.runner, speed_cp=before.runner.speed_cp * float(1 - lost))
    found = lay_off.found({b.day: 40.0 for b in before.bests}, {}, before.day + off)
    return replace(before, day=before.day + off, runner=runner, lay_offs=tuple(found))


KINDS: dict[str, tuple[Callable[[int], Months], int]] = {
    "marked efforts (3, 7, 12, sometimes 20 min)": (marked_efforts, 1000),
    "habitual, six weeks": (habitual_running, 5000),
    "habitual, six weeks, never above capacity": (lambda seed: habitual_running(seed, True), 6000),
    "season with tests, the last within 28 days, 3 % of files spiky": (season, 20_000),
    "season with tests until day 100 only": (lambda seed: season(seed, (16, 58, 100)), 25_000),
    "season without tests, 3 % of files spiky": (lambda seed: season(seed, ()), 30_000),
    "season without tests, spikes that speed does not show": (lambda seed: season(seed, (), visible=False), 32_000),
    "season without tests, never above capacity": (lambda seed: season(seed, (), True), 34_000),
    "season with tests, then one to nine weeks without running": (laid_off, 36_000),
    "season without tests, then one to nine weeks without running": (lambda seed: laid_off(seed, ()), 38_000),
}
