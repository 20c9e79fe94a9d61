"""Measures of form at matched speed, described over time; science supports no target values, so none is given."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import numpy as np

from footwork.analysis.quantiles import student
from footwork.analysis.summary import AT, IN_ROWS
from footwork.quantities import Estimate, Floats
from footwork.signals import FORM

METHOD_VERSION = 1
LEAST_RUNS, LEAST_MINUTES = 6, 5
MEASURES = {
    "cadence": ("steps/min", 1.0),
    "step_length": ("m", 1.0),
    **{name: (FORM[name].shown, FORM[name].shown_factor) for name in IN_ROWS},
}
SENTENCE = "Described at the same speed, without target values: none is supported by science."


def values(block: Floats, name: str) -> Floats:
    """A measure of each minute, in the unit of `MEASURES`.

    ``block`` has shape (n, 13); returns shape (n,), NaN where it was not recorded.
    """
    if name == "step_length":
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(60 * block[:, AT["speed"]] / block[:, AT["cadence"]], dtype=float)
    return np.asarray(block[:, AT[name]] * MEASURES[name][1], dtype=float)


def at_speed(blocks: Sequence[Floats], name: str, speed: float | None = None) -> tuple[Floats, float, float]:
    """A measure of each run at one speed (the median of all by default), NaN where it has under five level minutes;
    that speed [m/s], and the change of the measure with 1 m/s, from within runs."""
    kept = []
    for b in blocks:
        y, v, g = values(b, name), b[:, AT["speed"]], np.nan_to_num(b[:, AT["grade"]])
        fine = np.isfinite(y) & (y > 0) & (v > 1.5) & (v < 7.5) & (np.abs(g) < 0.03)
        kept.append((v[fine], y[fine]))
    every = np.concatenate([v for v, _ in kept]) if kept else np.zeros(0)
    if not len(every):
        return np.full(len(blocks), np.nan), float("nan"), float("nan")
    at = float(np.median(every)) if speed is None else speed
    told = [(v, y) for v, y in kept if len(v) >= LEAST_MINUTES]
    inside = [(v - v.mean(), y - y.mean()) for v, y in told]
    size = sum(float(v @ v) for v, _ in inside)
    slope = sum(float(v @ y) for v, y in inside) / size if size > 1e-6 else 0.0
    out = [float(y.mean() - slope * (v.mean() - at)) if len(v) >= LEAST_MINUTES else float("nan") for v, y in kept]
    return np.array(out), at, slope


def answer(runs: Sequence[tuple[dt.date, Floats]]) -> dict[str, Any]:
    """Each measure by month at matched speed, and its change over the window by a straight line through the runs.

    Parameters
    ----------
    runs : sequence of (date, numpy.ndarray of shape (n, 13))
        The oldest first, columns `summary.BLOCK_COLUMNS`.
    """
    out: list[dict[str, Any]] = []
    for name, (unit, _) in MEASURES.items():
        found, speed, _ = at_speed([b for _, b in runs], name)
        known = np.isfinite(found)
        n = int(known.sum())
        if n < LEAST_RUNS:
            continue
        day = np.array([d.toordinal() for d, _ in runs], dtype=float)[known]
        y = found[known]
        months: dict[str, list[float]] = {}
        for (d, _), v, k in zip(runs, found, known, strict=True):
            if k:
                months.setdefault(f"{d:%Y-%m}", []).append(float(v))
        change = Estimate.withheld(unit, "form", "all runs are of a few days", n, "runs")
        if np.ptp(day) >= 28:
            x = (day - day.mean()) / np.ptp(day)
            slope = float(x @ y / (x @ x))
            rest = y - y.mean() - slope * x
            half = float(student(0.975, n - 2) * np.sqrt(rest @ rest / (n - 2) / (x @ x)))
            change = Estimate(slope, slope - half, slope + half, unit, n, "form", "runs")
        out.append(
            {
                "name": name,
                "unit": unit,
                "speed_mps": speed,
                "run_sd": float(y.std(ddof=1)),
                "change": change,
                "months": [{"month": m, "mean": float(np.mean(v)), "runs": len(v)} for m, v in sorted(months.items())],
            }
        )
    return {"measures": out, "sentence": SENTENCE}
