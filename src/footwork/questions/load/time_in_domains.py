"""Time in domains and CP-minutes, of one run and of any span of dates."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.errors import UsageError
from footwork.history.catalogue import RunRow
from footwork.history.log import accepted
from footwork.physiology import domains
from footwork.quantities import Estimate, Floats
from footwork.questions.load.activities import loads_of
from footwork.questions.load.borders import borders_of, rows_by_run
from footwork.results.loads import RunLoad, SpanLoad

if TYPE_CHECKING:
    from footwork.history.book import History


def load_of_span(library: History, since: dt.date | None, until: dt.date | None) -> SpanLoad:
    """Time in domains and CP-minutes of all runs in a span; each run by the CP of its own scale.

    Until a CP is accepted, today's proposal serves for all dates. Runs of one scale share their CP's error, so their
    histograms are added first.

    Raises UsageError for a span that ends before it starts.
    """
    if since is not None and until is not None and since > until:
        raise UsageError(f"the span ends before it starts: {since} to {until}")
    rows = [
        r
        for r in library.runs()
        if (since is None or r.local.date() >= since) and (until is None or r.local.date() <= until)
    ]
    return load_of_runs(library, rows)


def load_of_runs(library: History, rows: list[RunRow]) -> SpanLoad:
    """The same of any runs."""
    parts, counted, without = [], 0, 0
    loads = loads_of(library)
    for key in {r.scale_key for r in rows}:
        mine = [r.id for r in rows if r.scale_key == key]
        borders = borders_of(library, key)
        if borders is None:
            without += len(mine)
            continue
        stored = rows_by_run(library, key or "")
        by_factor: dict[float, list[Floats]] = {}
        for run_id in mine:
            if run_id in stored:
                row = stored[run_id]
                by_factor.setdefault(borders.factor(row.date), []).append(row.histogram)
        for factor, histograms in by_factor.items():
            counted += len(histograms)
            parts.append(_spent(_sum(histograms), borders.at(factor)))
    places = loads.places({r.id for r in rows})
    load = loads.summed(places, running=True)
    return SpanLoad(
        runs=counted,
        runs_without_cp=without,
        runs_without_load=sum(k not in loads.parts for k in places),
        cp_minutes=load.value or 0.0,
        load=load,
        **_together(parts),
        critical_power=_basis(library, rows),
    )


def load_of_run(library: History, row: RunRow) -> RunLoad | None:
    """Time in domains and CP-minutes of one run, or None where its scale has no CP."""
    borders = borders_of(library, row.scale_key)
    if borders is None:
        return None
    mine = rows_by_run(library, row.scale_key or "").get(row.id)
    if mine is None:
        return None
    there = borders.at(borders.factor(mine.date))
    loads = loads_of(library)
    told = loads.found[loads.places({row.id})[0]]
    return RunLoad(
        cp_minutes=told.load.value or 0.0,
        load=told.load,
        way=told.way,
        notes=told.notes,
        **_together([_spent(mine.histogram, there)]),
        edges_w=[float(b.value or 0.0) for b in there],
        critical_power=_basis(library, [row]),
    )


def domains_of_runs(library: History, rows: list[RunRow]) -> dict[int, dict[str, float]]:
    """Seconds in each domain of runs by their numbers, each by the CP of its own scale and day; runs whose scale has
    none are left out."""
    out = {}
    of_scale = {key: borders_of(library, key) for key in {r.scale_key for r in rows}}
    stored = {key: rows_by_run(library, key or "") for key, borders in of_scale.items() if borders is not None}
    for row in rows:
        borders = of_scale[row.scale_key]
        mine = stored[row.scale_key].get(row.id) if borders is not None else None
        if borders is not None and mine is not None:
            edges = [float(b.value or 0.0) for b in borders.at(borders.factor(mine.date))]
            out[row.id] = domains.seconds_in_domains(mine.histogram, edges)
    return out


def above_moderate(spent: dict[str, float]) -> float:
    """Time above the moderate border [s] of seconds in domains."""
    return sum(seconds for name, seconds in spent.items() if name != domains.NAMES[0])


def domains_of(library: History, row: RunRow, watts: list[float | None]) -> list[str | None]:
    """The domain that each mean power of a run lies in, two joined by 'or' where it lies within a border's interval.

    ``watts`` [W], None where unknown.
    """
    borders = borders_of(library, row.scale_key)
    if borders is None:
        return [None] * len(watts)
    there = borders.at(borders.factor(row.local.date()))
    out: list[str | None] = []
    for value in watts:
        if value is None:
            out.append(None)
            continue
        lowest = sum(value > float(b.high or 0.0) for b in there)
        highest = sum(value >= float(b.low or 0.0) for b in there)
        out.append(" or ".join(dict.fromkeys((domains.NAMES[lowest], domains.NAMES[highest]))))
    return out


def _basis(library: History, rows: list[RunRow]) -> str:
    entries = {key: accepted.entries(library, key) for key in {r.scale_key for r in rows if r.scale_key}}
    with_one = sum(1 for r in rows if r.scale_key and accepted.in_force(entries[r.scale_key], r.local.date()))
    if not with_one:
        return "today's proposal for all dates; none was accepted by then"
    return (
        "the accepted CP of each day" if with_one == len(rows) else "the accepted CP of each day, else today's proposal"
    )


def _sum(histograms: list[Floats]) -> Floats:
    total = np.zeros(max((len(h) for h in histograms), default=0))
    for histogram in histograms:
        total[: len(histogram)] += histogram
    return total


def _spent(histogram: Floats, borders: list[Estimate]) -> dict[str, dict[str, float]]:
    """Seconds at the middle and at both ends of the borders' intervals."""
    at = {end: [float(getattr(b, end) or 0.0) for b in borders] for end in ("value", "low", "high")}
    return {end: domains.seconds_in_domains(histogram, edges) for end, edges in at.items()}


def _together(parts: list[dict[str, dict[str, float]]]) -> dict[str, Any]:
    seconds = {end: {n: sum(p[end][n] for p in parts) for n in domains.NAMES} for end in ("value", "low", "high")}
    ends = {n: sorted(seconds[end][n] for end in ("value", "low", "high")) for n in domains.NAMES}
    return {
        "seconds_in_domains": seconds["value"],
        "seconds_in_domains_range": {n: [ends[n][0], ends[n][-1]] for n in domains.NAMES},
    }
