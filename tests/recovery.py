"""Recovery on simulated runners: does the truth lie in the interval as often as the interval says?

`python -m tests.recovery` runs 300 runners a check and prints the table that is committed as docs/recovery.md.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
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
    signs,
    trial_statistics,
    worthwhile,
)
from footwork.analysis.capacity_days import CapacityDays
from footwork.demo.simulate import Device, device_watts, draw_runner
from footwork.physiology import critical, curve, habitual, tracking
from footwork.planning import even_power, pacing, race_days, season_weeks, week_days
from tests import devices, heartfaults, planned, raceday, seasons, sessions, wellbeing
from tests.everyday import KINDS, Months

SEASONS, HALF_YEARS = 500, 2000
HELD_S = (180, 720, 2400)  # powers that are looked at beside CP


@dataclass
class Outcome:
    """One check over many runners: how often CP and the powers for `HELD_S` were inside, CP's median half-width and the
    mean biases in percent."""

    name: str
    runners: int
    withheld: int
    inside: list[float]
    half_width: float
    bias: list[float]

    @property
    def share(self) -> float:
        return self.inside[0]

    def row(self) -> str:
        powers = " | ".join(f"{100 * i:.1f} %, {b:+.1f} %" for i, b in zip(self.inside[1:], self.bias[1:], strict=True))
        return (
            f"| {self.name} | {self.runners} | {self.withheld} | {100 * self.share:.1f} % | {self.half_width:.1f} % | "
            f"{self.bias[0]:+.1f} % | {powers} |"
        )


def check(name: str, simulate: Callable[[int], Months], runners: int, first_seed: int) -> Outcome:
    """Coverage of 95 % intervals over seeded runners."""
    found, widths = [], []
    for seed in range(first_seed, first_seed + runners):
        months = simulate(seed)
        made = CapacityDays(months.bests, lay_offs=months.lay_offs).on(months.day).posterior
        if made is None:
            continue
        rows = []
        for duration in (None, *HELD_S):
            truth = months.truth(duration)
            draws = made.draws()[0] if duration is None else made.held(duration)
            low, middle, high = np.quantile(draws, [0.025, 0.5, 0.975])
            rows.append((low <= truth <= high, middle / truth - 1))
            if duration is None:
                widths.append(50 * (high - low) / truth)
        found.append(rows)
    inside, bias = np.array(found, float).mean(axis=0).T
    width = float(np.median(widths))
    return Outcome(name, len(found), runners - len(found), inside.tolist(), width, (100 * bias).tolist())


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


def _planned_rows(races: int) -> list[str]:
    found = raceday.planned_races(races)
    return [
        f"| between P10 and P90 of the plan's race days | {100 * found['inside']:.1f} % |",
        f"| over 1 % later than planned (the plan's risk is 20 %) | {100 * found['late']:.1f} % |",
        f"| mean error of the middle race day | {found['error']:+.1f} % |",
    ]


def _drift_row(seasons: int, jump: float) -> str:
    found = [f"{100 * share:.1f} %" for share in devices.drifts(seasons, jump).values()]
    if not jump:
        found[:3] = ["-"] * 3
    return f"| {100 * jump:.0f} % | " + " | ".join(found) + " |"


def _hard_rows(runners: int) -> list[str]:
    """Harder sessions: how well work is found, and how often a run of one level is cut."""
    each = runners // 3
    return [
        f"Harder sessions ({each} of each of {len(sessions.KINDS)} kinds, every other on hills: repeats by time, "
        "distance and feel, ladders, pyramids, floats, runs that get harder, sprints, walked and standing rests, over "
        "and under, two sets, one long piece; effort wanders by 2 % within a minute and within ten, power swings with "
        "the hills, rows are 1 to 10 s apart): F1 with both ends within 5 s or one row; and how many of as many steady "
        "hilly runs, and of those with 2 to 7 stops of 10 to 60 s, are cut.",
        "",
        "| signal | F1 | with laps, pressed up to 3 s late | without steps and over-unders | steady runs cut | "
        "with a lap each five minutes | runs with stops cut |",
        "|---|---|---|---|---|---|---|",
        *(
            f"| {signal} | {sessions.f1_hard(signal, each):.3f} | {sessions.f1_hard(signal, each, laps=True):.3f} "
            f"| {sessions.f1_hard(signal, each, kinds=PLAIN):.3f} | "
            f"{sessions.cut('steady', signal, runners)} of {runners} | "
            f"{sessions.cut('steady', signal, runners, lap=300)} of {runners} | "
            f"{sessions.cut('lights', signal, runners)} of {runners} |"
            for signal in ("power", "speed")
        ),
        "",
        f"What is told as not sure, since another division fits nearly as well ({each} of each kind, of steady runs "
        "and of those with stops; a run is divided wrongly where a piece is missed, added or over 20 s off).",
        "",
        "| signal | divided wrongly | told as not sure | of the wrong, told | of the told, wrong | of these, the other "
        "one is right |",
        "|---|---|---|---|---|---|",
        *(
            f"| {signal} | " + " | ".join(f"{100 * v:.0f} %" for v in sessions.doubts(signal, each).values()) + " |"
            for signal in ("power", "speed")
        ),
    ]


PLAIN = tuple(k for k in sessions.KINDS if k not in ("progressive", "over-unders"))


def table(runners: int) -> str:
    rows = [check(name, simulate, runners, seed).row() for name, (simulate, seed) in KINDS.items()]
    return "\n".join(
        [
            "# Recovery on simulated runners",
            "",
            "Printed by `make recovery`. The simulated runner (`footwork.demo.simulate`) has other equations "
            "than the estimator",
            "and truths that are not drawn from its prior. Inside: how often the truth lies in the 95 % interval;",
            "half-width and bias are of CP, then inside and bias of the power for three durations. A spike is a file",
            "whose watts read a fifth to a third too high, for some minutes or as a whole; where a whole file is and",
            "speed is known, it is clipped.",
            "",
            f"Method versions: critical power {critical.METHOD_VERSION}, mean maximal power {curve.METHOD_VERSION}, "
            f"tracking {tracking.METHOD_VERSION}, everyday runs {habitual.METHOD_VERSION}, evidence "
            f"{efforts.METHOD_VERSION}.",
            "",
            "| runners | n | withheld | CP inside | median half-width | mean bias | 3 min | 12 min | 40 min |",
            "|---|---|---|---|---|---|---|---|---|",
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
            f"Races run by the plan ({runners} simulated, 5 km to the half marathon, flat to hilly courses, with the "
            f"simulator's own cost of slopes, fatigue and device; pacing {pacing.METHOD_VERSION}, race days "
            f"{race_days.METHOD_VERSION}).",
            "",
            "| what | share |",
            "|---|---|",
            *_planned_rows(runners),
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
            *_hard_rows(runners),
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
            f"{screening.METHOD_VERSION}; hearts wander by 3.5 bpm within a minute and 3 within a quarter of an hour). "
            "Sensitivity: of the seconds 8 bpm or",
            "more off, missing or stuck, those classed doubtful or wrong. Specificity: of untouched seconds, "
            "those classed sound.",
            "",
            "| fault | sensitivity | specificity |",
            "|---|---|---|",
            *heartfaults.rows(runners),
            "",
            f"Seasons followed as people do ({SEASONS} simulated, 10 km to marathon: a tenth of sessions missed, the "
            "rest 12 % off, illness as published, trips; the plan is solved again weekly and on every ill day; season "
            f"{season_weeks.METHOD_VERSION}, days {week_days.METHOD_VERSION}): how",
            "often it asked what it must not.",
            "",
            *planned.rows(SEASONS),
            "",
            f"Signs ({HALF_YEARS} simulated healthy half-years a row, channels with a memory of a day to weeks, a "
            f"weekly rhythm, a season, 15 % of days missing; signs {signs.METHOD_VERSION}). Seen: an illness of 6 "
            "days, or an overload of 14, that lifts",
            "every channel by 1.5 of a day's spreads at its peak.",
            "",
            *wellbeing.rows(HALF_YEARS),
            "",
        ]
    )


if __name__ == "__main__":
    text = table(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
    print(text)
    if len(sys.argv) < 2:
        Path(__file__).parent.parent.joinpath("docs", "recovery.md").write_text(text, encoding="utf-8")
