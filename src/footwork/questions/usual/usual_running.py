"""Usual watts: what is normal for this runner on one scale, and how each new run compares."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import usual_watts as model
from footwork.analysis.summary import AT
from footwork.errors import NotEnoughData
from footwork.history.log import entries
from footwork.history.log.entries import MAXIMAL_MARKS
from footwork.history.scales import conversions
from footwork.history.scales.scale_rows import StreamRows
from footwork.quantities import Estimate, plain, round_paces
from footwork.questions import capacity
from footwork.results.usual import UsualRunning
from footwork.wording import usual_words

if TYPE_CHECKING:
    from footwork.history.book import History

WINDOW_DAYS = 182


BANDS = {"easy": (0.0, 0.8), "steady": (0.8, 1.0), "hard": (1.0, 9.0)}  # share of CP; our convention


TOLD_SHARE = 0.7  # an effect is told once the runs narrow its prior to less than this; our convention


def usual_watts(library: History, date: dt.date | None = None, scale: str | None = None) -> UsualRunning:
    """Usual watts as of a date (the newest run's by default) on one scale.

    Raises
    ------
    UsageError
        An unknown scale.
    NotEnoughData
        No runs with power.
    """
    found: UsualRunning = library.cached(
        ("usual", date, scale), lambda: UsualRunning(**plain(_answer(library, date, scale)))
    )
    return found


def _answer(library: History, date: dt.date | None, scale: str | None) -> dict[str, Any]:
    held = capacity.estimate_capacity(library, date=date, scale=scale)
    asked = held.date
    if not held.scale_key or asked is None:
        raise NotEnoughData("no run has power yet: add runs with power, or a mass so that it can be modelled")
    rows = [
        r for r in conversions.rows_on_scale(library, held.scale_key, asked) if (asked - r.date).days <= WINDOW_DAYS
    ]
    rows = [r for r in rows if not r.indoor]
    before, newest = rows[:-1], rows[-1] if rows else None
    power, rate = (
        model.fit([r.blocks for r in before], [r.sky for r in before], what) for what in ("power", "heart_rate")
    )
    reason = (
        ""
        if power
        else (
            f"usual watts need {model.LEAST_RUNS} earlier runs and an hour of steady running; there are "
            f"{len(before)} runs"
        )
    )
    chosen = held.accepted["critical_power_w"] if held.accepted else held.critical_power.value
    return {
        "date": asked,
        "scale": held.scale,
        "measured": held.measured,
        "reason": reason,
        "groups": [_group(name, *ends, before, chosen) for name, ends in BANDS.items()] if chosen else [],
        "at_pace": _at_pace(power, library.setting("units") == "imperial") if power else [],
        "effects": _effects(power, rate),
        "newest": _compared(newest, power, rate) if newest is not None else None,
        # The newest is not among the runs that were learned from; each other is judged without itself.
        "runs": [_compared(r, *_without(r, r is not newest, power, rate)) for r in reversed(rows[-20:])]
        if power
        else [],
    }


def run_against_usual(library: History, run_id: int) -> dict[str, Any]:
    """A run against what was usual before it, as a row of `usual_watts`.

    Raises
    ------
    UsageError
        No such run.
    NotEnoughData
        An indoor run, one without power, or one of several of its day that was not the last.
    """
    row = entries.library_row(library, run_id)
    if row.scale_key is None:
        raise NotEnoughData(f"run {run_id} has no power")
    found = usual_watts(library, row.local.date(), row.power_scale).newest
    if not found or found["run"] != run_id:
        raise NotEnoughData(f"run {run_id} is not compared: it was indoors, or another run came later that day")
    return dict(found)


def _group(name: str, low: float, high: float, rows: list[StreamRows], cp: float) -> dict[str, Any]:
    """Run means of the steady minutes between two shares of CP: their middle with its interval, and their spread."""
    means: list[list[float]] = []
    minutes = 0
    for row in rows:
        kept = model.steady(row.blocks)
        share = kept[:, AT["power"]] / cp
        mine = kept[(share >= low) & (share < high)]
        if len(mine) >= 3:
            minutes += len(mine)
            means.append(
                [
                    float(np.nanmean(mine[:, AT[c]])) if np.isfinite(mine[:, AT[c]]).any() else np.nan
                    for c in ("power", "speed", "heart_rate")
                ]
            )
    table = np.array(means).reshape(-1, 3)
    power, speed, rate = (model.mean_of_runs(table[:, i], unit, minutes) for i, unit in enumerate(("W", "m/s", "bpm")))
    spread = float(np.std(table[:, 0], ddof=1)) if len(table) >= 3 else None
    return {
        "name": name,
        "power": power,
        "speed": speed,
        "heart_rate": rate,
        "spread_w": spread,
        "minutes": minutes,
        "runs": len(table),
    }


def _at_pace(power: model.Usual, imperial: bool) -> list[dict[str, Any]]:
    """Flat power at round paces that the runner runs, fresh, with the day-to-day spread."""
    out = []
    for v in round_paces(power.lowest, power.highest, imperial) or [power.lowest, power.highest]:
        row = np.array([[1.0, v - power.centre[0], 0.0, 0.0, 0.25, 0.0, 0.0]])
        expected, error = float((row @ power.coefficients)[0]), float((row[0] @ power.covariance @ row[0]) ** 0.5)
        low, value, high = (float(v * np.exp(expected + z * error)) for z in (-1.96, 0.0, 1.96))
        estimate = Estimate(value, low, high, "W", power.runs, "usual", "runs")
        one_day = 1.96 * value * float(np.hypot(error, power.between))
        out.append({"speed_mps": float(v), "power": estimate, "spread_w": value * power.between, "one_day_w": one_day})
    return out


def _effects(power: model.Usual | None, rate: model.Usual | None) -> list[dict[str, Any]]:
    """What else goes with more or fewer watts at a pace, or beats at a power: slopes, time into the run, warmth,
    wind."""
    out: list[dict[str, Any]] = []
    for fit, what, of, unit in (
        (power, "power", "watts at a pace", "%"),
        (rate, "heart_rate", "heart rate at a power", "bpm"),
    ):
        if fit is None:
            continue
        steps = {
            "1 % steeper uphill, beyond what a hill costs": (2, 0.01),
            "1 % steeper downhill, beyond what a hill saves": (3, -0.01),
            "an hour into the run": (4, 1.0),
            "10 °C warmer": (5, 10.0),
            "a headwind of 10 % more drag": (6, 0.1),
        }
        for name, (index, step) in steps.items():
            amount = step if unit == "%" or index not in (2, 3) else 100 * step
            middle = float(fit.coefficients[index]) * amount
            sd = float(fit.covariance[index, index]) ** 0.5
            half = 1.96 * abs(amount) * sd
            factor = 100.0 if unit == "%" else 1.0
            estimate = Estimate(
                factor * middle, factor * (middle - half), factor * (middle + half), unit, fit.runs, "usual", "runs"
            )
            if sd >= TOLD_SHARE * model.PRIORS[what][index]:
                estimate = Estimate.withheld(
                    unit, "usual", "the runs do not tell: too few differ in it", fit.runs, "runs"
                )
            out.append({"of": of, "change": name, "effect": estimate})
    return out


def _without(
    row: StreamRows, learned: bool, power: model.Usual | None, rate: model.Usual | None
) -> tuple[model.Usual | None, model.Usual | None]:
    if not learned:
        return power, rate
    return (power.without(row.blocks, row.sky) if power else None, rate.without(row.blocks, row.sky) if rate else None)


def _compared(row: StreamRows, power: model.Usual | None, rate: model.Usual | None) -> dict[str, Any]:
    made = model.compare(power, row.blocks, row.sky) if power else None
    beats = model.compare(rate, row.blocks, row.sky, "heart_rate") if rate else None
    out: dict[str, Any] = {"run": row.run, "date": row.date, "weather": row.weather, "conditions_w": {}}
    if made is None:
        why = "too little steady running at paces and on slopes run before" if power else "not enough earlier runs"
        out |= {"power_excess": Estimate.withheld("W", "usual", why), "power_unusual": False, "usual_power_w": None}
    else:
        usual_watts = made.watts / float(np.exp(made.excess))
        ends = [usual_watts * (float(np.exp(made.excess + z * made.sd)) - 1) for z in (-1.96, 0.0, 1.96)]
        out |= {
            "power_excess": Estimate(ends[1], ends[0], ends[2], "W", made.minutes, "usual", "minutes"),
            "power_unusual": made.unusual,
            "usual_power_w": usual_watts,
        }
        # Watts that the conditions ask for beside what is usual on the flat, fresh, at 15 °C and in calm air.
        out["conditions_w"] = {name: usual_watts * float(-np.expm1(-v)) for name, v in made.reasons.items()}
    if beats is None:
        out |= {
            "heart_rate_excess": Estimate.withheld("bpm", "usual", "too little heart rate at powers run before"),
            "heart_rate_unusual": False,
        }
    elif row.marks & MAXIMAL_MARKS:
        why = "a race or test asks more of a heart than the runs it is held against"
        out |= {"heart_rate_excess": Estimate.withheld("bpm", "usual", why), "heart_rate_unusual": False}
    else:
        ends = [beats.excess + z * beats.sd for z in (-1.96, 0.0, 1.96)]
        out |= {
            "heart_rate_excess": Estimate(ends[1], ends[0], ends[2], "bpm", beats.minutes, "usual", "minutes"),
            "heart_rate_unusual": beats.unusual,
        }
    out["sentence"] = usual_words.usual_sentence(out)
    return out
