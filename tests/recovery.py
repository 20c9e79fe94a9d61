"""Recovery on simulated runners: does the truth lie in the interval as often as the interval says?

`python -m tests.recovery` runs 300 runners a check and prints the table that is committed as docs/recovery.md.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from footwork.analysis import (
    agreement,
    conversion,
    drift,
    efforts,
    intervals,
    pairing,
    response,
    screening,
    trial_statistics,
    worthwhile,
)
from footwork.analysis.efforts import Best, timeline
from footwork.demo.simulate import Device, device_watts, draw_runner, trial
from footwork.physiology import critical, curve, tracking
from footwork.planning import even_power
from tests import devices, heartfaults, raceday, seasons, sessions


@dataclass
class Outcome:
    """One check over many runners: how often the truth was inside, the median half-width and the mean bias in
    percent."""

    name: str
    runners: int
    withheld: int
    inside: int
    half_width: float
    bias: float

    @property
    def share(self) -> float:
        return self.inside / self.runners

    def row(self) -> str:
        return (
            f"| {self.name} | {self.runners} | {self.withheld} | {100 * self.share:.1f} % | {self.half_width:.1f} "
            f"% | {self.bias:+.1f} % |"
        )


def _test_run(powers: list[np.ndarray], easy: float, rng: np.random.Generator) -> np.ndarray:
    """A recording: easy running, the trials with easy running between, and now and then a gap."""
    pieces = [easy * (1 + 0.05 * rng.standard_normal(900))]
    for power in powers:
        pieces += [power, easy * 0.8 * (1 + 0.05 * rng.standard_normal(1200))]
    signal = np.concatenate(pieces)
    if rng.random() < 0.3:
        at = int(rng.integers(0, 800))
        signal[at : at + 30] = np.nan
    return signal


def _today(bests: list[Best], day: int = 0) -> critical.Posterior | None:
    """What the product would say on a day, that of the last run by default; None where only bounds remain and CP is
    withheld."""
    day = day or bests[-1].day
    track = tracking.follow(timeline(bests, day))
    return None if tracking.kind_on(track.steps, day) == "lower bound" else track.posterior(day, len(track.steps))


def marked_efforts(seed: int) -> tuple[float, critical.Posterior | None]:
    """True CP and the posterior from 3, 7 and 12 minute trials, all on one day or on days of their own."""
    rng = np.random.default_rng(seed)
    runner = draw_runner(rng)
    device = Device(rng.uniform(0.95, 1.25), 0.8, rng.uniform(0.02, 0.06), rng.uniform(1, 6))
    truth = runner.critical_power(device)
    durations = [180, 420, 720]
    if rng.random() < 0.3:
        durations.append(1200)
    days = [[d] for d in durations] if rng.random() < 0.6 else [durations[:2], durations[2:]]
    bests = []
    for index, day in enumerate(days):
        form = float(np.exp(rng.normal(0, runner.day_sd)))
        powers = [trial(runner, device, d, form, rng) for d in day]
        signal = _test_run(powers, 0.7 * truth, rng)
        durations_, best, start = curve.mean_maximal(signal, curve.stored_durations(len(signal)))
        bests.append(Best(index, 1000 + 3 * index, f"day {index}", True, durations_, best, start))
    return truth, _today(bests)


def habitual_running(seed: int) -> tuple[float, critical.Posterior | None]:
    """True CP and the posterior from six weeks of training in which sessions were hard but nothing was maximal."""
    rng = np.random.default_rng(seed)
    runner = draw_runner(rng)
    device = Device(rng.uniform(0.95, 1.25), 0.8, rng.uniform(0.02, 0.06), rng.uniform(1, 6))
    truth = runner.critical_power(device)
    # How near to the limit this runner trains: such that the best of two sessions reads about 3 % low (Hunter 2023).
    habit = rng.normal(-0.045, 0.045)
    bests = []
    for index in range(24):
        pieces = [0.7 * runner.speed_cp * np.ones(900)]
        if index % 4 == 0:
            duration = (180, 420, 720)[index // 4 % 3]
            near = np.exp(habit + rng.normal(-0.01, 0.015))
            pieces += [runner.best_speed(duration) * near * np.ones(duration), 0.6 * runner.speed_cp * np.ones(600)]
        else:
            pieces += [rng.uniform(0.68, 0.85) * runner.speed_cp * np.ones(2400)]
        speed = np.concatenate(pieces)
        power = device_watts(runner, device, speed, np.zeros(len(speed)), rng)
        durations, best, start = curve.mean_maximal(power, curve.stored_durations(len(power)))
        bests.append(Best(index, 1000 + int(1.7 * index), "", False, durations, best, start))
    return truth, _today(bests)


def _spiky(signal: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A file of a device gone wrong: some minutes read a fifth to a third too high."""
    out = signal.copy()
    at, length = int(rng.integers(0, max(len(out) - 900, 1))), int(rng.integers(200, 900))
    out[at : at + length] *= rng.uniform(1.2, 1.35)
    return out


def _season(seed: int, tests: bool) -> tuple[float, critical.Posterior | None]:
    """Half a year of a runner whose capacity rises or falls smoothly: three runs a week, one a session, 3 % of them
    spiky; a test every six weeks, the last within 28 days of the end, or none at all. The last day's true CP and what
    is said."""
    rng = np.random.default_rng(seed)
    runner = draw_runner(rng)
    device = Device(rng.uniform(0.95, 1.25), 0.8, rng.uniform(0.02, 0.06), rng.uniform(1, 6))
    trend, wave, phase = rng.normal(0.0, 0.025), abs(rng.normal(0, 0.01)), rng.uniform(0, 2 * np.pi)
    last = 182
    final_test = last - int(rng.integers(1, 29))
    test_days = {final_test - 42 * k for k in range(5)} if tests else set()
    habit = rng.normal(-0.045, 0.045)
    bests: list[Best] = []
    for day in range(1, last + 1):
        weekday = day % 7
        if day not in test_days and weekday not in (1, 3, 5):
            continue
        level = float(np.exp(trend * day / last + wave * np.sin(phase + 2 * np.pi * day / 90)))
        today = replace(runner, speed_cp=runner.speed_cp * level)
        if day in test_days:
            form = float(np.exp(rng.normal(0, runner.day_sd)))
            powers = [trial(today, device, d, form, rng) for d in (180, 420, 720)]
            signal = _test_run(powers, 0.7 * today.critical_power(device), rng)
        else:
            pieces = [0.7 * today.speed_cp * np.ones(600)]
            if weekday == 3:
                duration = (180, 420, 720)[day // 7 % 3]
                near = np.exp(habit + rng.normal(-0.01, 0.015))
                pieces += [today.best_speed(duration) * near * np.ones(duration), 0.6 * today.speed_cp * np.ones(300)]
            else:
                pieces += [rng.uniform(0.68, 0.85) * today.speed_cp * np.ones(1200)]
            speed = np.concatenate(pieces)
            signal = device_watts(today, device, speed, np.zeros(len(speed)), rng)
            if rng.random() < 0.03:
                signal = _spiky(signal, rng)
        durations, best, start = curve.mean_maximal(signal, curve.stored_durations(len(signal)))
        bests.append(Best(day, 1000 + day, f"day {day}", day in test_days, durations, best, start))
    end = replace(
        runner, speed_cp=runner.speed_cp * float(np.exp(trend + wave * np.sin(phase + 2 * np.pi * last / 90)))
    )
    return end.critical_power(device), _today(bests, 1000 + last)


def season_with_tests(seed: int) -> tuple[float, critical.Posterior | None]:
    """A season with a test every six weeks."""
    return _season(seed, tests=True)


def season_without_tests(seed: int) -> tuple[float, critical.Posterior | None]:
    """A season in which nothing is marked."""
    return _season(seed, tests=False)


def check(
    name: str, simulate: Callable[[int], tuple[float, critical.Posterior | None]], runners: int, first_seed: int
) -> Outcome:
    """Coverage of CP's 95 % interval over seeded runners."""
    inside, withheld = 0, 0
    widths, biases = [], []
    for seed in range(first_seed, first_seed + runners):
        truth, made = simulate(seed)
        if made is None:
            withheld += 1
            continue
        cp, _, _ = made.estimates()
        assert cp.low is not None and cp.high is not None and cp.value is not None
        inside += cp.low <= truth <= cp.high
        widths.append(50 * (cp.high - cp.low) / truth)
        biases.append(100 * (cp.value / truth - 1))
    return Outcome(name, runners - withheld, withheld, inside, float(np.median(widths)), float(np.mean(biases)))


def pair_of_devices(seed: int) -> dict[str, bool]:
    """Whether lag, bias, slope and intercept of two simulated devices lie in their intervals. Errors last seconds to
    half a minute and are of equal size in both."""
    rng = np.random.default_rng(seed)
    runner = draw_runner(rng)
    n = int(rng.integers(1800, 5400))
    speed = np.repeat(runner.speed_cp * rng.uniform(0.6, 1.05, n // 150 + 1), 150)[:n]
    truth = device_watts(runner, Device(1.0, 0.8, 0.02, 2.0), speed, np.zeros(n), rng)
    lasting, sd = rng.uniform(1, 30), rng.uniform(2, 8)
    slope, constant, late = rng.uniform(0.85, 1.2), rng.uniform(-15, 15), int(rng.integers(-20, 21))

    def error() -> np.ndarray:
        f = np.exp(-1 / lasting)
        out = sd * np.sqrt(1 - f * f) * rng.standard_normal(n)
        for i in range(1, n):
            out[i] += f * out[i - 1]
        return out

    first, second = truth + error(), slope * truth + constant + error()
    offset = pairing.lag_between(first, np.roll(second, late), "power")
    made = agreement.agreement(first, second, "W")
    bias = float(np.mean((slope - 1) * truth + constant))
    inside = {"bias": (made.bias, bias), "slope": (made.slope, slope), "intercept": (made.intercept, constant)}
    found = {name: bool(e.low <= true <= e.high) for name, (e, true) in inside.items()}
    return {"lag": offset is not None and offset.lag.low <= late <= offset.lag.high, **found}


def pairs(runners: int, first_seed: int = 40_000) -> dict[str, float]:
    """How often each lies inside, over simulated pairs."""
    found = [pair_of_devices(seed) for seed in range(first_seed, first_seed + runners)]
    return {name: float(np.mean([f[name] for f in found])) for name in found[0]}


def _race_rows(days: int) -> list[str]:
    found = raceday.finishes(days)
    error = found.pop("mean error of P50, %")
    return [
        *(f"| {name} | {100 * share:.1f} % |" for name, share in found.items()),
        f"| mean error of the middle time | {error:+.1f} % |",
    ]


def _drift_row(seasons: int, jump: float) -> str:
    found = [f"{100 * share:.1f} %" for share in devices.drifts(seasons, jump).values()]
    if not jump:
        found[:3] = ["-"] * 3
    return f"| {100 * jump:.0f} % | " + " | ".join(found) + " |"


CHECKS = {
    "CP from marked efforts (3, 7, 12, sometimes 20 min)": (marked_efforts, 1000),
    "CP from habitual best efforts of six weeks": (habitual_running, 5000),
    "CP after a season with a test every six weeks, 3 % of files spiky": (season_with_tests, 20_000),
    "CP after a season without tests, 3 % of files spiky": (season_without_tests, 30_000),
}


def table(runners: int) -> str:
    rows = [check(name, simulate, runners, seed).row() for name, (simulate, seed) in CHECKS.items()]
    return "\n".join(
        [
            "# Recovery on simulated runners",
            "",
            "Printed by `make recovery`. The simulated runner (`footwork.demo.simulate`) has other equations "
            "than the estimator",
            "and truths that are not drawn from its prior. Inside: how often the true CP lies in the 95 % interval.",
            "",
            f"Method versions: critical power {critical.METHOD_VERSION}, mean maximal power {curve.METHOD_VERSION}, "
            f"tracking {tracking.METHOD_VERSION}, evidence {efforts.METHOD_VERSION}.",
            "",
            "| check | runners | withheld | inside | median half-width | mean bias |",
            "|---|---|---|---|---|---|",
            *rows,
            "",
            f"Two devices on one run, {runners} simulated pairs with errors that last seconds to half a "
            f"minute (agreement {agreement.METHOD_VERSION}, "
            f"pairing {pairing.METHOD_VERSION}): how often the truth lies in the interval.",
            "",
            "| what | inside |",
            "|---|---|",
            *(f"| {name} | {100 * share:.1f} % |" for name, share in pairs(runners).items()),
            "",
            f"Conversions between two scales ({runners} simulated pairs, 3 to 20 common runs each, conversion "
            f"{conversion.METHOD_VERSION}): how often the truth",
            "lies in the interval.",
            "",
            "| what | inside |",
            "|---|---|",
            *(f"| {name} | {100 * share:.1f} % |" for name, share in devices.conversions(runners).items()),
            "",
            f"Drift watch ({runners} simulated seasons of 30 to 160 runs a row, drift {drift.METHOD_VERSION}).",
            "",
            "| jump | found | date inside | size inside | seasons with a false alarm |",
            "|---|---|---|---|---|",
            *(_drift_row(runners, jump) for jump in (0.0, 0.02, 0.03, 0.05)),
            "",
            f"Race days ({runners} simulated, 3 km to the half marathon on the flat, capacity from three "
            f"trials; race {even_power.METHOD_VERSION}).",
            "",
            "| what | share |",
            "|---|---|",
            *_race_rows(runners),
            "",
            f"Efforts found ({runners} simulated interval runs: 3 to 10 repeats of 1 to 6 min, 15 to 70 % "
            "harder than the rest between, 5 % noise, a device that",
            f"smooths over 3 s; intervals {intervals.METHOD_VERSION}): F1 of repeats with both ends within so "
            "many seconds.",
            "",
            "| signal | within | F1 |",
            "|---|---|---|",
            *(
                f"| {name.replace('_', ' ')} | {within} s | {sessions.f1(runners, name, within):.3f} |"
                for name, within in (("power", 5), ("heart_rate", 20))
            ),
            "",
            f"Progress ({runners} simulated seasons of 20 weeks a row, with heat waves, colds, bad nights and "
            "devices that err from day to day; every fifth runner tells no weather; response "
            f"{response.METHOD_VERSION}, progress {worthwhile.METHOD_VERSION}): how often",
            "the change of power at a heart rate and the drift lie in their intervals; in how many seasons "
            "any of thirteen weekly looks said something false; how many ended as improved.",
            "",
            "| true gain | withheld | change inside | median half-width | mean error | drift inside | "
            "seasons with a false verdict | improved at the end |",
            "|---|---|---|---|---|---|---|---|",
            *seasons.rows(runners),
            "",
            f"Trials ({runners} simulated, five runs of four blocks, effects of nothing to 6 % of cost that "
            f"differ from day to day; trials {trial_statistics.METHOD_VERSION}): the true effect on heart rate lies in "
            "its interval in",
            "{:.1f} % of them, median half-width {:.1f} bpm.".format(
                *[v * k for v, k in zip(seasons.trial_intervals(runners), (100, 1), strict=True)]
            ),
            "",
            f"Heart rate screened ({runners} simulated runs a kind of fault, screening "
            f"{screening.METHOD_VERSION}). Sensitivity: of the seconds 8 bpm or",
            "more off, missing or stuck, those classed doubtful or wrong. Specificity: of untouched seconds, "
            "those classed sound.",
            "",
            "| fault | sensitivity | specificity |",
            "|---|---|---|",
            *heartfaults.rows(runners),
            "",
        ]
    )


if __name__ == "__main__":
    text = table(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
    print(text)
    if len(sys.argv) < 2:
        Path(__file__).parent.parent.joinpath("docs", "recovery.md").write_text(text, encoding="utf-8")
