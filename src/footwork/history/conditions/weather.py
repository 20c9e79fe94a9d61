"""Weather of runs: typed, from METAR lines, or from a table for many runs, matched by time and place."""

from __future__ import annotations

import datetime as dt
import math
import re
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import select

from footwork.errors import NotARecording, UnreadableFile, UsageError
from footwork.formats import delimited, metar
from footwork.history.log import entries
from footwork.history.log.entries import Told
from footwork.physics.terrain import step_distance
from footwork.store import schema

if TYPE_CHECKING:
    from footwork.history.book import History

NEAREST_S = 5400  # a report further off in time says too little; our convention


NEAREST_M = 50_000.0  # the same in space


LIMITS = {
    "temperature_c": (-50.0, 55.0, "°C"),
    "humidity": (0.0, 1.0, "(0 to 1)"),
    "wind_mps": (0.0, 35.0, "m/s"),
    "wind_from_deg": (0.0, 360.0, "degrees"),
    "pressure_pa": (50_000.0, 109_000.0, "Pa"),
}


_COLUMNS = {
    "time": "time",
    "temperature": "temperature_c",
    "humidity": "humidity",
    "wind_speed": "wind_mps",
    "wind_direction": "wind_from_deg",
    "pressure": "pressure_pa",
    "latitude": "latitude",
    "longitude": "longitude",
}


_STAMP = re.compile(r"\s*(\d{4})-?(\d{2})-?(\d{2})")


def tell(library: History, run_id: int, source: str = "typed", **values: float | None) -> dict[str, Any]:
    """Keep the weather of a run: ``temperature_c``, ``humidity`` (0 to 1), ``wind_mps`` at 10 m, ``wind_from_deg``,
    ``pressure_pa`` at sea level. Typed values join what was told before. Raises UsageError for the impossible."""
    entries.library_row(library, run_id)
    kept = _checked(values)
    if not kept:
        raise UsageError("say at least a temperature or a wind")
    before = entries.told(library).get(run_id, Told()).weather or {}
    if source == "typed":  # what was said before and not again stays; a report stands alone
        kept = {**{k: v for k, v in before.items() if k in LIMITS}, **kept}
    payload = {**kept, "source": source}
    entries.write(library, "weather", run_id, payload)
    return payload


def _checked(values: dict[str, float | None]) -> dict[str, float]:
    kept = {}
    for name, value in values.items():
        if value is None:
            continue
        low, high, unit = LIMITS[name]
        if not math.isfinite(value) or not low <= value <= high:
            plain = name.rsplit("_", 1)[0].replace("_", " ")
            raise UsageError(f"{plain} {value:g} {unit} cannot be: give {low:g} to {high:g}")
        kept[name] = float(value)
    return kept


def from_metar(library: History, run_id: int, line: str) -> dict[str, Any]:
    """Keep the weather of a METAR line for a run; the line's day and hour must be near the run's middle.

    Raises UsageError for another line or another time.
    """
    row = entries.library_row(library, run_id)
    seen = metar.parse(line)
    middle = _middle(row)
    near = min(moments(seen, middle), key=lambda m: abs(m - middle), default=None)
    if near is None or abs(near - middle) > NEAREST_S:
        at = dt.datetime.fromtimestamp(middle, dt.UTC)
        raise UsageError(
            f"the report is of day {seen.day}, {seen.hour:02}:{seen.minute:02} UTC; the middle of run "
            f"{run_id} was on day "
            f"{at.day}, {at:%H:%M} UTC: take the report nearest to it, at most {NEAREST_S // 60} minutes off"
        )
    return tell(library, run_id, "METAR", **_values(seen))


def moments(seen: metar.Observation, near: float) -> list[float]:
    """Times [Unix s] around another that the report's day, hour and minute may mean."""
    out = []
    for shift in (-1, 0, 1):
        day = dt.datetime.fromtimestamp(near, dt.UTC).date() + dt.timedelta(days=shift)
        if day.day == seen.day:
            out.append(dt.datetime.combine(day, dt.time(seen.hour, seen.minute), dt.UTC).timestamp())
    return out


def _values(seen: metar.Observation) -> dict[str, float | None]:
    return {
        "temperature_c": seen.temperature,
        "humidity": seen.humidity,
        "wind_mps": seen.wind,
        "wind_from_deg": seen.wind_from,
        "pressure_pa": seen.pressure,
    }


def _middle(row: Any) -> float:
    return float(dt.datetime.fromisoformat(row.start).timestamp() + row.elapsed_s / 2)


def from_file(library: History, path: Path) -> dict[str, Any]:
    """Weather for many runs from a CSV (`docs/formats.md`) or from METAR lines that each begin with a date.

    Each run takes the report nearest to its middle in time, at most 90 minutes off and, where both places are known, at
    most 50 km away. Returns ``runs`` (numbers), ``reports`` read and ``unmatched`` reports.

    Raises
    ------
    UnreadableFile
        No table and no METAR lines; the first line that cannot be read is named, and nothing is kept.
    """
    reports = read_reports(path)
    places = _places(library)
    order = np.argsort([r["time"] for r in reports])
    ordered = [reports[i] for i in order]
    moments = [r["time"] for r in ordered]
    payloads: dict[int, dict[str, Any]] = {}
    used: set[int] = set()
    for row in reversed(library.runs()):
        middle = _middle(row)
        span = range(bisect_left(moments, middle - NEAREST_S), bisect_right(moments, middle + NEAREST_S))
        inside = [i for i in span if is_near(ordered[i], places.get(row.id))]
        if inside:
            best = min(inside, key=lambda i: abs(moments[i] - middle))
            values = {k: v for k, v in ordered[best].items() if k in LIMITS}
            payloads[row.id] = {**_checked(values), "source": ordered[best]["source"]}
            used.add(best)
    entries.write_all(library, "weather", payloads)
    return {"runs": list(payloads), "reports": len(reports), "unmatched": len(reports) - len(used)}


def read_reports(path: Path) -> list[dict[str, Any]]:
    """Weather reports of a file: ``time`` in Unix seconds, ``source`` and what `LIMITS` names.

    Raises
    ------
    UnreadableFile
        As `from_file`.
    """
    try:
        text = delimited.decode(path.read_bytes())
    except OSError as error:
        raise UnreadableFile(f"{path}: cannot be read ({error.strerror or error})") from None
    lines = [(n, line) for n, line in enumerate(text.split("\n"), start=1) if line.strip()]
    dated = bool(lines) and _STAMP.match(lines[0][1]) is not None
    reports = _metar_reports(path.name, lines) if dated else _table(path.name, text)
    if not reports:
        raise UnreadableFile(f"{path.name} holds no report")
    return reports


def of_metars(lines: Sequence[str], near: dt.datetime) -> list[dict[str, Any]]:
    """Reports of undated METAR lines, as `read_reports`; each is of the day nearest to a moment that it can mean.

    Raises
    ------
    UsageError
        A line that is no METAR, or is of another day.
    """
    out = []
    for line in lines:
        seen = metar.parse(line)
        found = moments(seen, near.timestamp())
        if not found:
            raise UsageError(f"'{line.strip()[:40]}' is of day {seen.day}, the race is on day {near.day}")
        best = min(found, key=lambda m: abs(m - near.timestamp()))
        out.append({"time": best, "source": "METAR", **_checked(_values(seen))})
    return out


def _metar_reports(name: str, lines: list[tuple[int, str]]) -> list[dict[str, Any]]:
    out = []
    for number, line in lines:
        stamp = _STAMP.match(line)
        if stamp is None:
            raise UnreadableFile(f"{name}, line {number}: a METAR line here begins with its date, as 2026-04-14")
        try:
            seen = metar.parse(line)
            day = dt.date(*(int(v) for v in stamp.groups()))
        except (UsageError, ValueError) as error:
            raise UnreadableFile(f"{name}, line {number}: {error}") from None
        if day.day != seen.day:
            raise UnreadableFile(f"{name}, line {number}: its date and the report's day {seen.day} differ")
        moment = dt.datetime.combine(day, dt.time(seen.hour, seen.minute), dt.UTC).timestamp()
        try:
            out.append({"time": moment, "source": "METAR", **_checked(_values(seen))})
        except UsageError as error:
            raise UnreadableFile(f"{name}, line {number}: {error}") from None
    return out


def _table(name: str, text: str) -> list[dict[str, Any]]:
    try:
        header, rows, _ = delimited.split(text)
    except NotARecording:
        header, rows = [], []
    names = [_COLUMNS.get(cell.strip().lower().replace(" ", "_")) for cell in header]
    if "time" not in names or not set(names) & set(LIMITS):
        raise UnreadableFile(
            f"{name}: the first line must name columns: time, and any of {', '.join(list(_COLUMNS)[1:])}"
        )
    out = []
    for number, cells in enumerate(rows, start=2):
        found: dict[str, Any] = {}
        try:
            for key, cell in zip(names, cells, strict=False):
                if key == "time":
                    moment = dt.datetime.fromisoformat(cell.strip().replace("Z", "+00:00"))
                    found["time"] = (moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)).timestamp()
                elif key and cell.strip():
                    value = float(cell)
                    percent, hecto = key == "humidity" and value > 1, key == "pressure_pa" and value < 2000
                    found[key] = value / 100 if percent else value * 100 if hecto else value
            _checked({k: v for k, v in found.items() if k in LIMITS})
        except (ValueError, UsageError) as error:
            raise UnreadableFile(f"{name}, row {number}: {error}") from None
        if "time" in found:
            out.append({**found, "source": name})
    return out


def _places(library: History) -> dict[int, tuple[float, float]]:
    """Where runs began, for those that know it."""
    table = schema.result
    with library.reading() as connection:
        found = connection.execute(
            select(table.c.run_id, table.c.latitude, table.c.longitude).where(table.c.latitude.is_not(None))
        ).all()
    return {r.run_id: (r.latitude, r.longitude) for r in found if r.longitude is not None}


def is_near(report: dict[str, Any], place: tuple[float, float] | None) -> bool:
    """Whether a report is of within 50 km of a place, or one of them is not known.

    ``place`` is latitude and longitude [deg].
    """
    if place is None or "latitude" not in report or "longitude" not in report:
        return True
    return float(step_distance([place[0], report["latitude"]], [place[1], report["longitude"]])[1]) <= NEAREST_M
