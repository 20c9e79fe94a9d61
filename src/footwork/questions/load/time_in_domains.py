"""Time in domains and CP-minutes, of one run and of any span of dates."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.errors import NotEnoughData, UsageError
from footwork.history.catalogue import RunRow
from footwork.history.log import accepted
from footwork.history.scales import conversions
from footwork.history.scales.scale_rows import StreamRows
from footwork.physiology import domains
from footwork.quantities import Estimate, Floats
from footwork.questions import capacity
from footwork.questions.capacity import BORDERS
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
    for key in {r.scale_key for r in rows}:
        mine = [r.id for r in rows if r.scale_key == key]
        borders = _borders(library, key)
        if borders is None:
            without += len(mine)
            continue
        stored = _by_run(library, key or "")
        by_factor: dict[float, list[Floats]] = {}
        for run_id in mine:
            if run_id in stored:
                row = stored[run_id]
                by_factor.setdefault(borders.factor(row.date), []).append(row.histogram)
        for factor, histograms in by_factor.items():
            counted += len(histograms)
            parts.append(_spent(_sum(histograms), borders.at(factor), len(histograms)))
    return SpanLoad(runs=counted, runs_without_cp=without, **_together(parts), critical_power=_basis(library, rows))


def _by_run(library: History, key: str) -> dict[int, StreamRows]:
    found: dict[int, StreamRows] = library.cached(
        ("by run", key), lambda: {r.run: r for r in conversions.rows_on_scale(library, key)}
    )
    return found


def load_of_run(library: History, row: RunRow) -> RunLoad | None:
    """Time in domains and CP-minutes of one run, or None where its scale has no CP."""
    borders = _borders(library, row.scale_key)
    if borders is None:
        return None
    mine = _by_run(library, row.scale_key or "").get(row.id)
    if mine is None:
        return None
    there = borders.at(borders.factor(mine.date))
    return RunLoad(
        **_together([_spent(mine.histogram, there, 1)]),
        edges_w=[float(b.value or 0.0) for b in there],
        critical_power=_basis(library, [row]),
    )


def domains_of_runs(library: History, rows: list[RunRow]) -> dict[int, dict[str, float]]:
    """Seconds in each domain of runs by their numbers, each by the CP of its own scale and day; runs whose scale has
    none are left out."""
    out = {}
    of_scale = {key: _borders(library, key) for key in {r.scale_key for r in rows}}
    stored = {key: _by_run(library, key or "") for key, borders in of_scale.items() if borders is not None}
    for row in rows:
        borders = of_scale[row.scale_key]
        mine = stored[row.scale_key].get(row.id) if borders is not None else None
        if borders is not None and mine is not None:
            edges = [float(b.value or 0.0) for b in borders.at(borders.factor(mine.date))]
            out[row.id] = domains.seconds_in_domains(mine.histogram, edges)
    return out


def domains_of(library: History, row: RunRow, watts: list[float | None]) -> list[str | None]:
    """The domain that each mean power of a run lies in, two joined by 'or' where it lies within a border's interval.

    ``watts`` [W], None where unknown.
    """
    borders = _borders(library, row.scale_key)
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


@dataclass(frozen=True)
class Borders:
    """Domain borders by today's proposal, and what was accepted when; all in watts of one scale."""

    proposed: list[Estimate]
    accepted: list[tuple[dt.date, float]]

    def factor(self, day: dt.date) -> float:
        """Accepted CP of a day over today's proposal; 1 where none was accepted by then.

        [1].
        """
        entry = accepted.in_force(self.accepted, day)
        return 1.0 if entry is None else entry[1] / float(self.proposed[1].value or 1.0)

    def at(self, factor: float) -> list[Estimate]:
        """Borders for that CP; the lower two follow it, the last keeps its distance above.

        ``factor`` [1]; the borders [W].
        """
        lower, cp, upper = self.proposed
        moved = cp.scaled(factor, "W")
        shift = (moved.value or 0.0) - (cp.value or 0.0)
        top = Estimate(
            (upper.value or 0.0) + shift,
            (upper.low or 0.0) + shift,
            (upper.high or 0.0) + shift,
            "W",
            upper.n,
            upper.method,
        )
        return [lower.scaled(factor, "W"), moved, top]


def _basis(library: History, rows: list[RunRow]) -> str:
    entries = {key: accepted.entries(library, key) for key in {r.scale_key for r in rows if r.scale_key}}
    with_one = sum(1 for r in rows if r.scale_key and accepted.in_force(entries[r.scale_key], r.local.date()))
    if not with_one:
        return "today's proposal for all dates; none was accepted by then"
    return (
        "the accepted CP of each day" if with_one == len(rows) else "the accepted CP of each day, else today's proposal"
    )


def _borders(library: History, scale_key: str | None) -> Borders | None:
    found: Borders | None = library.cached(("borders", scale_key), lambda: _find_borders(library, scale_key))
    return found


def _find_borders(library: History, scale_key: str | None) -> Borders | None:
    if scale_key is None:
        return None
    try:
        made = capacity.estimate_capacity(library, scale=scale_key)
    except NotEnoughData:
        return None
    found = [made.domains[b]["power"] for b in BORDERS]
    if any(b.value is None for b in found):
        return None
    entries = accepted.entries(library, scale_key)
    if made.accepted is not None and made.critical_power.value:  # back from the accepted CP to the proposal
        plain = Borders(found, [])
        found = plain.at(made.critical_power.value / float(made.accepted["critical_power_w"]))
    return Borders(found, entries)


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
