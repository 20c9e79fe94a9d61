"""Power at speed of one scale, as the runner reads it: flat watts with their band, slopes, wind, warmth, the data
behind."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import speed
from footwork.analysis.quantiles import chi_square, student
from footwork.analysis.summary import AT
from footwork.errors import NotEnoughData
from footwork.history.scales import conversions, scale_keys
from footwork.history.scales.scale_rows import StreamRows
from footwork.quantities import Estimate, Floats, plain, round_paces
from footwork.questions import capacity
from footwork.results.whose_watts import PowerOfScale
from footwork.wording.device_words import NO_ECONOMY

if TYPE_CHECKING:
    from footwork.history.book import History


RARE = 0.03  # of the level minutes at either end, whose paces are not told; our convention
_WORDS = {
    **{
        f"{way} {100 * g:.0f} %": (f"watts {way} at {100 * g:.0f} %, as a share of what {what}", "share")
        for way, what in (("uphill", "climbing costs"), ("downhill", "descending saves"))
        for g in speed.SLOPES
    },
    "wind": ("watts for wind, as a share of its drag", "share"),
    "warmth": ("watts per 10 °C of warmth", "%"),
}


def power_at_speed(library: History, date: dt.date | None = None, scale: str | None = None) -> PowerOfScale:
    """Power at speed as of a date (the newest run's by default), the same that plans use.

    Raises
    ------
    UsageError
        An unknown scale.
    NotEnoughData
        Too little steady running on the scale, and no mass for what sensors usually show.
    """
    found: PowerOfScale = library.cached(
        ("power-at-speed", date, scale), lambda: PowerOfScale(**plain(_answer(library, date, scale)))
    )
    return found


def _answer(library: History, date: dt.date | None, scale: str | None) -> dict[str, Any]:
    held = capacity.estimate_capacity(library, date=date, scale=scale)
    known = held.power_at_speed
    if not held.scale_key:
        raise NotEnoughData(f"there are no runs with power by {held.date}, so no device's power at speed")
    if known is None or held.date is None:
        raise NotEnoughData(
            "power at speed needs ten steady, flat minutes on this scale, or the runner's mass: footwork "
            "athlete --mass KG"
        )
    rows = [r for r in capacity.near(library, held.scale_key, held.date) if not r.indoor]
    points = _points(rows)
    low, high = _run_between(points)
    paces = round_paces(low, high, library.setting("units") == "imperial", 9) or [low, high]
    return {
        "date": held.date,
        "scale": held.scale,
        "mass_kg": held.mass,
        "source": known.source,
        "runs": known.runs,
        "minutes": known.minutes,
        "day_spread": known.day_sd,
        "at": [_at(known, float(v), held.mass) for v in paces],
        "effects": [_effect(name, known) for name in speed.EFFECTS] if known.effects else [],
        "held_out": _held_out(library, held.scale_key, held.date),
        "points": points,
        "sentence": NO_ECONOMY,
    }


def _run_between(points: list[dict[str, Any]]) -> tuple[float, float]:
    """Speeds between which nearly all level minutes lie; nobody's paces are told from a few of them. [m/s]"""
    if not points:
        return 2.2, 4.5
    order = sorted(points, key=lambda p: p["speed_mps"])
    share = np.cumsum([p["minutes"] for p in order]) / sum(p["minutes"] for p in order)
    low, high = (order[int(np.searchsorted(share, q))]["speed_mps"] for q in (RARE, 1.0 - RARE))
    return float(low), float(high)


def _points(rows: list[StreamRows]) -> list[dict[str, Any]]:
    """Level, steady minutes of each run by quarters of a metre a second: the data behind the line."""
    out = []
    for row in rows:
        kept = speed.steady(row.blocks)
        kept = kept[np.abs(np.nan_to_num(kept[:, AT["grade"]])) < 0.02]
        band = np.rint(kept[:, AT["speed"]] * 4)
        for value in np.unique(band):
            mine = kept[band == value]
            out.append(
                {
                    "run": row.run,
                    "speed_mps": float(mine[:, AT["speed"]].mean()),
                    "power_w": float(mine[:, AT["power"]].mean()),
                    "minutes": len(mine),
                }
            )
    return out


def _at(known: speed.PowerAtSpeed, v: float, mass: float | None) -> dict[str, Any]:
    watts = float(known.power(v))
    sd = float(np.hypot(known.level_sd, known.slope_sd * (v - known.centre)))
    n, of = (known.runs, "runs") if known.runs else (0, "observations")

    def estimate(error: float, unit: str = "W", by: float = 1.0) -> Estimate:
        ends = [watts / by * float(np.exp(z * error)) for z in (-1.96, 0.0, 1.96)]
        return Estimate(ends[1], ends[0], ends[2], unit, n, "power-at-speed", of)

    return {
        "speed_mps": v,
        "power": estimate(sd),
        "one_day": estimate(float(np.hypot(sd, known.day_sd))),
        "specific_power": estimate(sd, "W/kg", mass)
        if mass
        else Estimate.withheld("W/kg", "power-at-speed", "the mass is not known"),
    }


def _effect(name: str, known: speed.PowerAtSpeed) -> dict[str, Any]:
    words, unit = _WORDS[name]
    value, sd = known.effects[name]
    by = 1000.0 if unit == "%" else 1.0
    mean, prior_sd = speed.EFFECTS[name]
    told = max(1.0 - (sd / prior_sd) ** 2, 0.0)
    return {
        "name": name,
        "what": words,
        "learned_share": told,
        "prior": {"value": mean * by, "low": (mean - 1.96 * prior_sd) * by, "high": (mean + 1.96 * prior_sd) * by},
        "effect": Estimate(
            value * by,
            (value - 1.96 * sd) * by,
            (value + 1.96 * sd) * by,
            "%" if unit == "%" else "",
            known.runs,
            "power-at-speed",
            "runs",
        ),
    }


def _held_out(library: History, key: str, asked: dt.date) -> dict[str, Any]:
    """Errors of modelled power on measured runs that it was not learned from."""
    told = conversions.calibration(library, scale_keys.plain_key(key), asked) if key else None
    if told is None:
        reason = "fewer than five measured runs on this scale"
        return {k: Estimate.withheld("%", "power-at-speed", reason) for k in ("run_error", "run_bias", "minute_error")}
    errors = told.of_runs
    n = len(errors)
    sd, bias = 100 * told.run_sd, 100 * float(np.mean(errors))
    ends = [sd * float(((n - 1) / chi_square(q, n - 1)) ** 0.5) for q in (0.975, 0.025)]
    half = student(0.975, n - 1) * sd / n**0.5
    return {
        "run_error": Estimate(sd, ends[0], ends[1], "%", n, "power-at-speed", "runs held out"),
        "run_bias": Estimate(bias, bias - half, bias + half, "%", n, "power-at-speed", "runs held out"),
        "minute_error": _spread(told.of_minutes, n),
    }


def _spread(minutes: Floats, runs_: int) -> Estimate:
    """Robust spread of single minutes, its interval by runs, since minutes of one run are alike."""
    sd = 148.26 * float(np.median(np.abs(minutes - np.median(minutes))))
    half = 1.96 * sd / (2 * runs_) ** 0.5
    return Estimate(sd, sd - half, sd + half, "%", runs_, "power-at-speed", "runs held out")
