"""Wellness in FIT files: resting heart rate, sleep and overnight heart rate variability by day.

What devices write has traps, which half a year of real files showed (2,438 files of one runner): the field named
resting heart rate is a mean of seven days, `current_day_resting_heart_rate` is the day's, and is revised until ten in
the morning; a `sleep_level` stamp ends its stretch; a night stands in several files, of which the last holds. Scores
and sleep stages are not read: wrist sleep finds sleep well and wakefulness badly (Chinoy et al. 2021: specificity 0.18
to 0.54).
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from footwork.errors import UnreadableFile
from footwork.formats import delimited
from footwork.formats.fit import EPOCH

METHOD_VERSION = 1
FIXED_AT = dt.time(10, 0)  # from then on the day's resting heart rate is no longer revised
SLEEP_EVENT, AWAKE = 74, 1
BOUNDS = {"resting_heart_rate": (25.0, 120.0), "sleep": (0.5, 20.0), "overnight_hrv": (3.0, 300.0)}
CSV_FIELDS = {**BOUNDS, "sleep": (0.0, 24.0), "soreness": (0.0, 10.0)}
FAULTS_NAMED = 5  # of a table, so that they can be mended in one go
MOST_MESSAGES = 300_000  # of a file of days: a minute has a few
_USED = {"file_id", "event", "monitoring_info", "monitoring_hr_data", "sleep_level", "hrv_status_summary"}
OTHER_KINDS = {"course", "workout", "settings", "device", "segment", "schedules"}


@dataclass(frozen=True)
class Measured:
    """One value of a day: ``field`` of the diary, its value [bpm, h or ms], and the local time it was written at, by
    which later files revise earlier ones."""

    date: dt.date
    field: str
    value: float
    at: dt.datetime


def read(data: bytes, zone: dt.tzinfo | None = None) -> list[Measured]:
    """What a FIT file tells of days; empty where it tells nothing.

    Parameters
    ----------
    data : bytes
    zone : tzinfo, optional
        Of local days where the file does not tell it; UTC by default.
    """
    messages = _messages(data)
    if {str(m.get("type")) for m in messages.get("file_id", [])} & OTHER_KINDS:
        return []
    offset = _offset(messages)

    def local(stamp: float) -> dt.datetime:
        moment = dt.datetime.fromtimestamp(stamp, dt.UTC)
        if offset is not None:
            return moment.replace(tzinfo=None) + dt.timedelta(seconds=offset)
        return moment.astimezone(zone or dt.UTC).replace(tzinfo=None)

    found = [*_resting(messages, local), *_sleep(messages, local), *_variability(messages, local)]
    return [m for m in found if BOUNDS[m.field][0] <= m.value <= BOUNDS[m.field][1]]


def read_csv(data: bytes, columns: Mapping[str, str]) -> list[Measured]:
    """Values of days from a CSV file; an empty cell is missing, never zero.

    Parameters
    ----------
    data : bytes
    columns : mapping
        Column of ``date`` and of each field of `CSV_FIELDS` that the file has; sleep in hours, or as 7:35.

    Raises
    ------
    UnreadableFile
        A column that is not there, no date, or a value that cannot be; the rows are named.
    """
    head, rows, _ = delimited.split(delimited.decode(data))
    places = {}
    for field, column in columns.items():
        if field not in ("date", *CSV_FIELDS):
            raise UnreadableFile(f"'{field}' is no field of the diary: name date, {', '.join(CSV_FIELDS)}")
        if column not in head:
            raise UnreadableFile(f"there is no column '{column}': the file has {', '.join(head)}")
        places[field] = head.index(column)
    if "date" not in places or len(places) < 2:
        raise UnreadableFile("name the column of the date and of at least one value, as date=Day; sleep=Hours")
    out, wrong, told = [], [], set()
    for row_number, row in enumerate(rows, 2):
        cells = {field: row[k].strip() if k < len(row) else "" for field, k in places.items()}
        if not any(cells.values()):
            continue
        try:
            day = dt.date.fromisoformat(cells.pop("date")[:10])
        except ValueError:
            wrong.append(f"row {row_number} holds no date as 2026-04-14")
            continue
        values = {field: delimited.number(cell, comma=True) for field, cell in cells.items() if cell}
        for field, value in values.items():
            low, high = CSV_FIELDS[field]
            if not low <= value <= high:  # nor where it is no number
                what = field.replace("_", " ")
                hours = ", or hours as 7:35" if field == "sleep" else ""
                wrong.append(f"row {row_number}: {what} is a number from {low:g} to {high:g}{hours}")
            if (day, field) in told:
                wrong.append(f"row {row_number} tells {field.replace('_', ' ')} of {day} a second time")
            told.add((day, field))
            out.append(Measured(day, field, value, dt.datetime.combine(day, dt.time(12))))
    if wrong:
        more = len(wrong) - FAULTS_NAMED
        raise UnreadableFile("; ".join(wrong[:FAULTS_NAMED]) + (f"; and {more} more" if more > 0 else ""))
    return out


def _messages(data: bytes) -> dict[str, list[dict[Any, Any]]]:
    import fitdecode

    out: dict[str, list[dict[Any, Any]]] = {}
    count = 0
    try:
        with fitdecode.FitReader(
            io.BytesIO(data), check_crc=fitdecode.CrcCheck.DISABLED, error_handling=fitdecode.ErrorHandling.IGNORE
        ) as reader:
            for frame in reader:
                count += isinstance(frame, fitdecode.FitDataMessage)
                if count > MOST_MESSAGES:
                    return {}
                if isinstance(frame, fitdecode.FitDataMessage) and frame.name in _USED:
                    row = {f.name: f.value for f in frame.fields} | {("raw", f.name): f.raw_value for f in frame.fields}
                    out.setdefault(frame.name, []).append(row)
    except (KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except Exception:  # what was read before the damage stands
        pass
    return out


def _stamp(row: dict[Any, Any], name: str = "timestamp") -> float | None:
    raw = row.get(("raw", name))
    return None if raw is None else float(raw) + EPOCH


def _offset(messages: dict[str, list[dict[Any, Any]]]) -> float | None:
    """Seconds of local time over UTC, where a message tells both."""
    for row in messages.get("monitoring_info", []):
        there, here = _stamp(row), _stamp(row, "local_timestamp")
        if there is not None and here is not None and abs(here - there) <= 15 * 3600:
            return 900.0 * round((here - there) / 900.0)
    return None


def _resting(messages: dict[str, list[dict[Any, Any]]], local: Any) -> list[Measured]:
    last: dict[dt.date, Measured] = {}
    for row in messages.get("monitoring_hr_data", []):
        stamp, value = _stamp(row), row.get("current_day_resting_heart_rate")
        if stamp is None or value is None:
            continue
        at = local(stamp)
        if at.time() == dt.time(0, 0):  # belongs to the day that ends
            at -= dt.timedelta(seconds=1)
        if at.time() >= FIXED_AT and (at.date() not in last or at >= last[at.date()].at):
            last[at.date()] = Measured(at.date(), "resting_heart_rate", float(value), at)
    return list(last.values())


def _sleep(messages: dict[str, list[dict[Any, Any]]], local: Any) -> list[Measured]:
    """Hours from start to stop without those awake, on the day of waking."""
    starts: list[float] = []
    stops: list[float] = []
    for row in messages.get("event", []):
        stamp, event, kind = _stamp(row), row.get(("raw", "event")), row.get(("raw", "event_type"))
        if stamp is not None and event == SLEEP_EVENT and kind in (0, 1, 4):
            (starts if kind == 0 else stops).append(stamp)
    levels = sorted(
        (s, row.get(("raw", "sleep_level"))) for row in messages.get("sleep_level", []) if (s := _stamp(row))
    )
    if not starts or not stops or not levels or max(stops) <= min(starts):
        return []
    begin, end = min(starts), max(stops)
    awake, before = 0.0, begin
    for stamp, level in levels:
        inside = min(max(stamp, begin), end)
        if level == AWAKE:
            awake += inside - before
        before = max(inside, before)
    at = local(end)
    return [Measured(at.date(), "sleep", (end - begin - awake) / 3600.0, at)]


def _variability(messages: dict[str, list[dict[Any, Any]]], local: Any) -> list[Measured]:
    out = []
    for row in messages.get("hrv_status_summary", []):
        stamp, value = _stamp(row), row.get("last_night_average")
        if stamp is not None and value is not None:
            at = local(stamp)
            out.append(Measured(at.date(), "overnight_hrv", float(value), at))
    return out
