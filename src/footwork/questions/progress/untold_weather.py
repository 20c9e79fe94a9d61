"""How much entering the weather would narrow what a season tells."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import response
from footwork.analysis.usual_watts import Sky
from footwork.errors import NotEnoughData
from footwork.physics import climate
from footwork.questions.progress.season_model import season

if TYPE_CHECKING:
    from footwork.history.book import History

MILD_C = 15.0  # taken where not even the place of a run is known; our convention


def worth_of_weather(library: History, date: dt.date | None = None, scale: str | None = None) -> dict[str, Any]:
    """Half the width of the season's change [% of power at a heart rate] now, and about what it would be were the
    temperature of every run told.

    For the second, each untold run is given what its climate has on average: a guess of the width, not of the change.

    Raises
    ------
    NotEnoughData
        Too few runs for a season, or none whose weather is not told.
    """
    of = season(library, date=date, scale=scale)
    untold = sum(r.sky.temperature is None for r in of.prepared.rows)
    if not untold:
        raise NotEnoughData("the temperature of every run is told: there is none to enter")
    given = [r if r.sky.temperature is not None else replace(r, sky=Sky(_climate(r))) for r in of.prepared.rows]
    first, last = of.since.toordinal(), of.until.toordinal()
    now, why = response.gain(of.model, first, last)
    then, _ = response.gain(response.fit(response.prepare(given, of.border)), first, last)
    half_now, half_then = (float(np.ptp(np.quantile(g, [0.025, 0.975]))) / 2 for g in (now, then))
    narrower = half_then < 0.95 * half_now
    told = f"{untold} of {len(given)} runs tell no temperature. The change is known to about ±{half_now:.1f} %"
    return {
        "runs": len(given),
        "untold": untold,
        "half_width_now": half_now,
        "half_width_told": half_then,
        "withheld": why or None,
        "sentence": f"{told}; with all temperatures entered to about ±{half_then:.1f} %."
        if narrower
        else f"{told}; entering the temperatures would hardly narrow it (about ±{half_then:.1f} %).",
    }


def _climate(run: response.RunRows) -> float:
    return MILD_C if run.latitude is None else climate.usual_temperature(run.day, run.latitude)
