"""Find runs by what is known of them, and add them up by week or month."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from footwork.errors import UsageError
from footwork.history.catalogue import RunRow
from footwork.history.log.entries import MARKS
from footwork.quantities import as_day, plain
from footwork.questions import load

if TYPE_CHECKING:
    from footwork.history.book import History


@dataclass(frozen=True)
class Wanted:
    """What runs must have: text in marks, shoe, surface, note or whose watts; dates; and bounds, each None for any.

    Distances in metres, power in watts, temperature in °C, wind in m/s; bounds on weather leave out runs without it.
    """

    text: str = ""
    since: dt.date | None = None
    until: dt.date | None = None
    mark: str = ""
    shoe: str = ""
    distance: tuple[float | None, float | None] = (None, None)
    power: tuple[float | None, float | None] = (None, None)
    temperature: tuple[float | None, float | None] = (None, None)
    wind: tuple[float | None, float | None] = (None, None)

    @classmethod
    def of(cls, **told: Any) -> Wanted:
        """What is wanted, dates also as text; None is not asked. Raises UsageError."""
        unknown = set(told) - {f.name for f in fields(cls)}
        if unknown:
            raise UsageError(f"runs cannot be found by {', '.join(sorted(unknown))}")
        given = {name: value for name, value in told.items() if value is not None}
        for name in ("since", "until"):
            if name in given:
                given[name] = as_day(given[name])
        return cls(**given)


def find_runs(rows: Iterable[RunRow], wanted: Wanted) -> list[RunRow]:
    """Runs that have all that is wanted, in the order they came. Raises UsageError for an unknown mark."""
    if wanted.mark and wanted.mark not in MARKS:
        raise UsageError(f"'{wanted.mark}' is not a mark: use {', '.join(MARKS)}")
    if wanted.since and wanted.until and wanted.since > wanted.until:
        raise UsageError(f"the span ends before it starts: {wanted.since} to {wanted.until}")
    words = wanted.text.lower().split()
    return [row for row in rows if _fits(row, wanted, words)]


def _fits(row: RunRow, wanted: Wanted, words: list[str]) -> bool:
    day, weather = row.local.date(), row.weather or {}
    if (wanted.since and day < wanted.since) or (wanted.until and day > wanted.until):
        return False
    if (wanted.mark and wanted.mark not in row.marks) or (wanted.shoe and wanted.shoe.lower() not in row.shoe.lower()):
        return False
    said = " ".join((row.date[:16], *row.marks, row.surface, row.shoe, row.note, row.power_scale or "")).lower()
    bounds = (
        (row.distance_m, wanted.distance),
        (row.power_w, wanted.power),
        (weather.get("temperature_c"), wanted.temperature),
        (weather.get("wind_mps"), wanted.wind),
    )
    return all(w in said for w in words) and all(_inside(value, ends) for value, ends in bounds)


def _inside(value: float | None, ends: tuple[float | None, float | None]) -> bool:
    low, high = ends
    if low is None and high is None:
        return True
    return value is not None and (low is None or value >= low) and (high is None or value <= high)


def totals_of(library: History, rows: list[RunRow], by: str) -> list[dict[str, Any]]:
    """Runs added up by ``week`` (from Monday) or ``month``, the newest first; plain JSON.

    Each has ``start`` (date), ``runs``, ``duration_s``, ``distance_m``, ``climb_m``, ``load`` (CP-minutes with their
    interval), ``seconds_in_domains`` and ``runs_without_load``.

    Raises UsageError for another span.
    """
    if by not in ("week", "month"):
        raise UsageError(f"runs are added up by week or month, not by '{by}'")
    groups: dict[dt.date, list[RunRow]] = {}
    for row in rows:
        day = row.local.date()
        start = day - dt.timedelta(days=day.weekday()) if by == "week" else day.replace(day=1)
        groups.setdefault(start, []).append(row)
    out = []
    for start, group in sorted(groups.items(), reverse=True):
        spent = load.load_of_runs(library, group)
        out.append(
            {
                "start": start,
                "runs": len(group),
                "duration_s": sum(r.duration_s for r in group),
                "distance_m": sum(r.distance_m or 0.0 for r in group),
                "climb_m": sum(r.climb_m or 0.0 for r in group),
                "load": spent["load"],
                "seconds_in_domains": spent["seconds_in_domains"],
                "runs_without_load": spent["runs_without_load"],
            }
        )
    made: list[dict[str, Any]] = plain(out)
    return made
