"""Time in domains and CP-minutes, of one run and of any span of dates."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np

from footwork.errors import NotEnoughData
from footwork.library import capacity, runs
from footwork.physiology import domains
from footwork.quantities import Estimate, Floats

BASIS = "today's proposal for all dates; none is accepted yet"


def span(library: Any, since: dt.date | None, until: dt.date | None) -> dict[str, Any]:
    """Time in domains and CP-minutes of all runs in a span; each run by the CP of its own scale.

    Until a CP is accepted, today's proposal serves for all dates. Runs of one scale share their CP's error, so their
    histograms are added first.
    """
    rows = [
        r
        for r in library.runs()
        if (since is None or r.local.date() >= since) and (until is None or r.local.date() <= until)
    ]
    parts, counted, without = [], 0, 0
    for key in {r.scale_key for r in rows}:
        mine = {r.id for r in rows if r.scale_key == key}
        borders = _borders(library, key)
        if borders is None:
            without += len(mine)
            continue
        histograms = [r.histogram for r in runs.scale_rows(library, key or "") if r.run in mine]
        counted += len(histograms)
        parts.append(_spent(_sum(histograms), borders, len(histograms)))
    return {"runs": counted, "runs_without_cp": without, **_together(parts), "critical_power": BASIS}


def run(library: Any, row: runs.RunRow) -> dict[str, Any] | None:
    """Time in domains and CP-minutes of one run, or None where its scale has no CP."""
    borders = _borders(library, row.scale_key)
    if borders is None:
        return None
    mine = next((r for r in runs.scale_rows(library, row.scale_key or "") if r.run == row.id), None)
    if mine is None:
        return None
    return {
        **_together([_spent(mine.histogram, borders, 1)]),
        "edges_w": [b.value for b in borders],
        "critical_power": BASIS,
    }


def _borders(library: Any, scale_key: str | None) -> list[Estimate] | None:
    if scale_key is None:
        return None
    try:
        made = capacity.answer(library, scale=scale_key)
    except NotEnoughData:
        return None
    found = [made.domains[b]["power"] for b in capacity.BORDERS]
    return found if all(b.value is not None for b in found) else None


def _sum(histograms: list[Floats]) -> Floats:
    total = np.zeros(max((len(h) for h in histograms), default=0))
    for histogram in histograms:
        total[: len(histogram)] += histogram
    return total


def _spent(histogram: Floats, borders: list[Estimate], count: int) -> dict[str, Any]:
    """Load and seconds at the middle and at both ends of the borders' intervals."""
    at = {end: [float(getattr(b, end) or 0.0) for b in borders] for end in ("value", "low", "high")}
    minutes = {end: domains.cp_minutes(histogram, edges[1]) for end, edges in at.items()}
    return {
        "load": (minutes["value"], minutes["high"], minutes["low"], count),  # a higher CP makes the load smaller
        "seconds": {end: domains.seconds_in_domains(histogram, edges) for end, edges in at.items()},
    }


def _together(parts: list[dict[str, Any]]) -> dict[str, Any]:
    value, low, high, count = (sum(p["load"][i] for p in parts) for i in range(4))
    seconds = {
        end: {n: sum(p["seconds"][end][n] for p in parts) for n in domains.NAMES} for end in ("value", "low", "high")
    }
    ends = {n: sorted(seconds[end][n] for end in ("value", "low", "high")) for n in domains.NAMES}
    return {
        "cp_minutes": value,
        "load": Estimate(value, low, high, "CP-min", count, "cp-minutes", "runs"),
        "seconds_in_domains": seconds["value"],
        "seconds_in_domains_range": {n: [ends[n][0], ends[n][-1]] for n in domains.NAMES},
    }
