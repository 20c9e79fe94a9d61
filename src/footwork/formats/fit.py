"""FIT activities: chained files, damaged files, developer fields, every leg of a multisport recording."""

from __future__ import annotations

import io
import re
from array import array
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from footwork.errors import NotARecording, UnreadableFile
from footwork.formats.developer_fields import form_columns, power_columns, scale_key
from footwork.formats.fit_structure import MOST_BESIDE, USED, beside_records, crc, has_header, split
from footwork.native import silence
from footwork.quantities import Floats
from footwork.signals import FORM, Course, Lap, PowerStream, Recording, distance_along

_NAN = float("nan")
EPOCH = 631065600  # 1989-12-31T00:00Z in Unix seconds
UNDATED_BELOW = EPOCH + 0x10000000  # smaller stamps count from the device's start, not from a date
# Record fields used, with the factor to our unit. Later names win where both hold a value.
_FIELDS = (
    ("heart_rate", "heart_rate", 1.0),
    ("speed", "speed", 1.0),
    ("enhanced_speed", "speed", 1.0),
    ("distance", "distance", 1.0),
    ("altitude", "altitude", 1.0),
    ("enhanced_altitude", "altitude", 1.0),
    ("position_lat", "latitude", 1.0),
    ("position_long", "longitude", 1.0),
    ("temperature", "temperature", 1.0),
    *((name, name, measure.factor) for name, measure in FORM.items()),
)
NATIVE_FIELDS = {"timestamp", "power", "cadence", "fractional_cadence", *(name for name, _, _ in _FIELDS)}
_STOPS = {"stop", "stop_all", "stop_disable", "stop_disable_all"}


_INSTRUCTION = re.compile(r"\d+-\d+ W|walk")  # points of a course that we wrote: they are instructions, no places


def is_format(data: bytes, name: str) -> bool:
    """Whether a file is a FIT file, by its header."""
    return has_header(data)


@dataclass
class _Messages:
    """Decoded messages of one file of a chain: record columns by field name, the other messages as dictionaries."""

    records: dict[str, Floats] = field(default_factory=dict)
    others: dict[str, list[dict[Any, Any]]] = field(default_factory=dict)
    lost: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    cut: bool = False

    def get(self, name: str) -> list[dict[Any, Any]]:
        return self.others.get(name, [])


def read(data: bytes) -> list[Recording] | Course:
    """Every leg of every activity in the file, runs and other sports alike; or the course of a course file.

    Raises NotARecording or UnreadableFile.
    """
    parts, lost = split(data)
    out: list[Recording] = []
    problem = "the FIT file holds no records"
    kinds: set[str] = set()
    for part in parts:
        try:
            messages = _decode(part)
        except UnreadableFile as error:
            problem = str(error)
            lost = [*lost, str(error)]
            continue
        own = {str(m.get("type")) for m in messages.get("file_id")} - {"activity", "None"}
        if own == {"course"} and len(parts) == 1:
            if lost or messages.lost:
                raise UnreadableFile(f"the course is damaged: {[*lost, *messages.lost][0]}")
            return _course(messages)
        kinds |= own
        out += _legs(messages, len(out))
    if not out:
        if kinds:
            raise NotARecording(f"a FIT file of type {sorted(kinds)[0]}, not an activity")
        raise UnreadableFile(problem)
    for recording in out:
        recording.lost += [text for text in lost if text not in recording.lost]
    return out


def _course(messages: _Messages) -> Course:
    """A course file's records are a planned run: its times are not kept."""
    records = messages.records
    lat, lon = (records.get(name, np.zeros(0)) for name in ("position_lat", "position_long"))
    known = np.isfinite(lat) & np.isfinite(lon)
    if known.sum() < 2:
        raise NotARecording("a FIT course with fewer than two positions")
    lat, lon = lat[known], lon[known]
    missing = np.full(len(known), np.nan)
    altitude = records.get("enhanced_altitude", records.get("altitude", missing))[known]
    distance = records.get("distance", missing)[known]
    distance = distance_along(lat, lon) if not np.isfinite(distance).all() else distance - distance[0]
    points = tuple(
        (north * 180 / 2**31, east * 180 / 2**31, str(p["name"]))
        for p in messages.get("course_point")
        if (north := _number(p, "position_lat")) is not None
        and (east := _number(p, "position_long")) is not None
        and p.get("name") is not None
        and not _INSTRUCTION.fullmatch(str(p["name"]))
    )
    name = next((str(m["name"]) for m in messages.get("course") if m.get("name")), "")
    return Course(lat, lon, distance, altitude, name, points)


def _decode(part: bytes) -> _Messages:
    import fitfast

    beside = beside_records(part)
    try:
        if beside is not None or len(part) < SMALL:
            with silence():
                others = fitfast.parse(beside or part, datetimes=False)
                others.pop("record", None)
                declared = [str(m.get("field_name", "")) for m in others.get("field_description", [])]
                if len(set(declared)) == len(declared) and not NATIVE_FIELDS & set(declared):
                    return _Messages(fitfast.records(part), others)
    except (KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException:  # fitfast refuses by an exception and panics with a bare BaseException
        pass
    return _decode_slowly(part)


SMALL = 4 * 2**20  # bytes of which all messages may be held
MOST_SLOWLY = 300_000  # records of a file that is read message by message, at a tenth of the speed: 83 hours


def _decode_slowly(part: bytes) -> _Messages:
    """The same by `fitdecode`, which reads up to the damage and keeps developer fields apart from native ones."""
    import fitdecode

    out = _Messages()
    columns: dict[str, array[float]] = {}
    count = beside = 0
    problem = ""
    try:
        with fitdecode.FitReader(
            io.BytesIO(part), check_crc=fitdecode.CrcCheck.DISABLED, error_handling=fitdecode.ErrorHandling.IGNORE
        ) as reader:
            for frame in reader:
                if not isinstance(frame, fitdecode.FitDataMessage):
                    continue
                if frame.name == "record":
                    for name, value in _record_row(frame).items():
                        column = columns.setdefault(name, array("d"))
                        column.extend([_NAN] * (count - len(column)))
                        column.append(value)
                    count += 1
                elif frame.name in USED:
                    out.others.setdefault(frame.name, []).append(_plain_fields(frame))
                    beside += 1
                if beside > MOST_BESIDE:
                    raise UnreadableFile("the FIT file holds more messages than any run has")
                if count == MOST_SLOWLY:
                    out.lost.append(f"everything after record {count}, more than can be read message by message")
                    break
    except (KeyboardInterrupt, SystemExit, MemoryError, UnreadableFile):
        raise
    except Exception as error:
        problem = f"{type(error).__name__}: {error}"
    if not count:
        if out.get("file_id") and not problem:
            return out
        raise UnreadableFile(f"nothing can be read from the FIT file ({problem or 'no records'})")
    for column in columns.values():
        column.extend([_NAN] * (count - len(column)))
    out.records = {name: np.array(columns[name]) for name in sorted(columns)}
    if problem:
        out.cut = True
        out.lost.append(f"everything after record {count} (damaged: {problem[:120]})")
    elif crc(part) != 0 and part[-2:] != b"\x00\x00":
        out.notes.append("the file's checksum does not hold, though all of it could be read")
    return out


def _record_row(frame: Any) -> dict[str, float]:
    row: dict[str, float] = {}
    for item in frame.fields:
        value = item.value
        if hasattr(value, "timestamp"):
            value = value.timestamp()
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            continue
        is_developer = type(item.field).__name__ == "DevField" if item.field is not None else False
        name = f"developer:{item.field.dev_data_index}:{item.field.def_num}" if is_developer else item.name
        if name in ("position_lat", "position_long"):
            value = value * 180.0 / 2**31
        if name == "timestamp" and value < EPOCH:
            value += EPOCH
        row.setdefault(name, float(value))
    return row


def _plain_fields(frame: Any) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for item in frame.fields:
        value = item.value
        if value is None:
            continue
        if hasattr(value, "timestamp"):
            value = int(value.timestamp())
        out.setdefault(item.name if isinstance(item.name, str) else str(item.name), value)
    return out


def _legs(messages: _Messages, first: int) -> list[Recording]:
    records = dict(messages.records)
    for name, values in form_columns(messages.get("field_description"), records).items():
        if name not in records or not np.isfinite(records[name]).any():
            records[name] = values / FORM[name].factor
    time = records.get("timestamp")
    if time is None or not np.isfinite(time).any():
        return []
    keep = np.isfinite(time)
    records = {name: column[keep] for name, column in records.items()}
    time = records["timestamp"]
    dated = bool(np.median(time) >= UNDATED_BELOW)
    early = int((time < UNDATED_BELOW).sum()) if dated else 0
    if early:  # the clock was not set yet: these records cannot be placed in time
        records = {name: column[time >= UNDATED_BELOW] for name, column in records.items()}
        time = records["timestamp"]
    told = [(at, m) for m in messages.get("session") if (at := _number(m, "start_time")) is not None]
    sessions = [{**m, "start_time": at} for at, m in sorted(told, key=lambda pair: pair[0])]
    notes, lost = list(messages.notes), list(messages.lost)
    if early:
        lost.append(f"{early} records from before the device's clock was set")
    if not sessions:
        sport, assumed = _sport_without_session(messages)
        lost.append("the session summary")
        if assumed:
            notes.append("nothing in the file names the sport: taken as a run")
        sessions = [{"start_time": float(time.min()), "sport": sport}]
    starts = np.array([float(m["start_time"]) for m in sessions])
    lasted = _number(sessions[-1], "total_elapsed_time")
    if messages.cut and lasted is not None:
        # A cut multisport file: records after the last session's end are a leg whose own summary is lost.
        end = starts[-1] + lasted
        if (time > end + 1).sum() > 10 and len(messages.get("sport")) > len(sessions):
            sport, _ = _sport_without_session(messages)
            sessions.append({"start_time": float(time[time > end + 1].min()), "sport": sport})
            starts = np.append(starts, float(sessions[-1]["start_time"]))
    owner = np.maximum(np.searchsorted(starts, time, side="right") - 1, 0)
    mass = next((w for m in messages.get("user_profile") if (w := _number(m, "weight"))), None)
    streams_for = power_columns(messages, records, mass, NATIVE_FIELDS)
    serial = _serial(messages)
    offset = _utc_offset(messages)
    out: list[Recording] = []
    for index, session in enumerate(sessions):
        mine = owner == index
        if mine.sum() < 2:
            continue
        sport = str(session.get("sport", "running"))
        part = {name: column[mine] for name, column in records.items()}
        columns, streams = _columns(part, sport, streams_for)
        lo, hi = float(columns["time"].min()), float(columns["time"].max())
        out.append(
            Recording(
                sport=sport,
                columns=columns,
                streams=streams,
                pauses=_pauses(messages, lo, hi),
                laps=_laps(messages, lo, hi),
                dated=dated,
                utc_offset_minutes=offset,
                serial=serial,
                leg=first + index,
                legs_before=[str(s.get("sport", "")) for s in sessions[:index]],
                indoor=str(session.get("sub_sport")) in ("treadmill", "indoor_running", "virtual_activity"),
                mass=mass,
                lost=list(lost),
                notes=list(notes),
            )
        )
    return out


def _number(message: dict[Any, Any], name: str) -> float | None:
    """A field that holds one number; None where it is missing, a list or a text."""
    value = message.get(name)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _sport_without_session(messages: _Messages) -> tuple[str, bool]:
    named = [str(m["sport"]) for m in messages.get("sport") if "sport" in m]
    return (named[-1], False) if named else ("running", True)


def _serial(messages: _Messages) -> str:
    who = next(iter(messages.get("file_id")), {})
    number = who.get("serial_number")
    return scale_key("serial", number) if number else ""


def _utc_offset(messages: _Messages) -> int | None:
    for m in messages.get("activity"):
        local, utc = m.get("local_timestamp"), m.get("timestamp")
        if isinstance(local, (int, float)) and isinstance(utc, (int, float)):
            minutes = round((float(local) - float(utc)) / 900) * 15
            # Some decoders leave the local time in FIT seconds.
            if abs(minutes) > 15 * 60:
                minutes = round((float(local) + EPOCH - float(utc)) / 900) * 15
            if abs(minutes) <= 15 * 60:
                return minutes
    return None


def _columns(
    part: dict[str, Floats], sport: str, powers: list[tuple[str, str, str]]
) -> tuple[dict[str, Floats], list[PowerStream]]:
    columns: dict[str, Floats] = {"time": part["timestamp"]}
    for name, ours, factor in _FIELDS:
        values = part.get(name)
        if values is None or not np.isfinite(values).any():
            continue
        before = columns.get(ours)
        values = values * factor
        columns[ours] = values if before is None else np.where(np.isfinite(values), values, before)
    if "cadence" in part and np.isfinite(part["cadence"]).any():
        cadence = part["cadence"] + np.nan_to_num(part.get("fractional_cadence", np.zeros(len(part["cadence"]))))
        columns["cadence"] = cadence * 2 if sport == "running" and np.nanmedian(cadence) < 120 else cadence
    streams: list[PowerStream] = []
    for source, scale, kind in powers:
        if np.isfinite(part[source]).any():
            name = "power" if not streams else f"power_{len(streams) + 1}"
            columns[name] = part[source]
            streams.append(PowerStream(name, scale, kind))
    return columns, streams


def _pauses(messages: _Messages, lo: float, hi: float) -> list[tuple[float, float]]:
    stopped: float | None = None
    out: list[tuple[float, float]] = []
    told = [m for m in messages.get("event") if str(m.get("event")) in ("timer", "0")]
    events = [(at, str(m.get("event_type"))) for m in told if (at := _number(m, "timestamp")) is not None]
    for at, kind in sorted(events, key=lambda pair: pair[0]):
        if not lo - 1 <= at <= hi + 1:
            continue
        if kind in _STOPS:
            stopped = at if stopped is None else stopped
        elif kind == "start" and stopped is not None:
            if at > stopped:
                out.append((stopped, at))
            stopped = None
    return out


def _laps(messages: _Messages, lo: float, hi: float) -> list[Lap]:
    out = []
    for m in messages.get("lap"):
        start, lasted, stamp = (_number(m, name) for name in ("start_time", "total_elapsed_time", "timestamp"))
        end = stamp if start is None or lasted is None else start + lasted
        if start is not None and end is not None and lo - 1 <= start < end <= hi + 2:
            out.append(Lap(start, end))
    return sorted(out, key=lambda lap: lap.start)
