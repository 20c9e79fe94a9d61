"""Write FIT files for a watch: a workout of steps with a power band, a course with points along it (the public device
protocol)."""

from __future__ import annotations

import struct
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from footwork.errors import UnreadableFile
from footwork.formats.fit import EPOCH
from footwork.formats.fit_structure import crc
from footwork.quantities import Floats

POWER_OFFSET = 1000  # the protocol stores watts plus 1000; less is a share of a threshold
_TYPE_WORKOUT, _TYPE_COURSE, _RUNNING, _DISTANCE, _TIME, _OPEN, _POWER, _NO_TARGET, _ACTIVE = 5, 6, 1, 1, 0, 5, 4, 2, 0
_REST, _REPEAT = 1, 6
# Target type, and offset and scale of its values: the protocol stores watts plus 1000, beats plus 100, millimetres a
# second.
_TARGETS = {"power": (_POWER, POWER_OFFSET, 1), "heart_rate": (1, 100, 1), "speed": (0, 0, 1000)}
MOST_STEPS = 200
LONGEST_NOTES = 240  # bytes
LONGEST_NAME = 15  # bytes, what watches show of a step


@dataclass(frozen=True)
class Step:
    """One step: its name, how far [m] or how long [s] (neither: until pressed), and its band (none: as felt) of power
    [W], heart rate [bpm] or speed [m/s]; whether it is rest."""

    name: str
    metres: float | None = None
    seconds: float | None = None
    low: float | None = None
    high: float | None = None
    of: Literal["power", "heart_rate", "speed"] = "power"
    rest: bool = False


def message(local: int, number: int, fields: list[tuple[int, str, int, int]], *texts: tuple[int, str, int]) -> bytes:
    """A definition and its data; fields are (number, struct code, base type, value), texts (number, text, bytes at
    most) come last, cut to what fits."""
    kinds = [(field, struct.calcsize("<" + code), base) for field, code, base, _ in fields]
    data = b"".join(struct.pack("<" + code, value) for _, code, _, value in fields)
    for text in texts:
        raw = text[1].encode()[: text[2]].decode("utf-8", "ignore").encode() + b"\0"
        kinds.append((text[0], len(raw), 0x07))
        data += raw
    head = struct.pack("<BBBHB", 0x40 | local, 0, 0, number, len(kinds))
    return head + b"".join(struct.pack("<BBB", *kind) for kind in kinds) + bytes([local]) + data


def wrapped(body: bytes) -> bytes:
    """A whole file around its messages: header, checksums."""
    head = struct.pack("<BBHI4s", 14, 0x20, 2195, len(body), b".FIT")
    whole = head + struct.pack("<H", crc(head)) + body
    return whole + struct.pack("<H", crc(whole))


def _file_id(kind: int) -> bytes:
    return message(
        0,
        0,
        [
            (0, "B", 0x00, kind),
            (1, "H", 0x84, 255),
            (2, "H", 0x84, 1),
            (3, "I", 0x8C, 1),
            (4, "I", 0x86, int(time.time()) - EPOCH),
        ],
    )


def workout(name: str, steps: Sequence[Step], notes: str = "") -> bytes:
    """The bytes of a FIT workout for running; ``notes`` stand at its first step.

    Raises
    ------
    ValueError
        No step, more than 200, or a band that is none.
    """
    if not 1 <= len(steps) <= MOST_STEPS:
        raise ValueError(f"a workout has 1 to {MOST_STEPS} steps, not {len(steps)}")
    body = _file_id(_TYPE_WORKOUT)
    body += message(1, 26, [(4, "B", 0x00, _RUNNING), (6, "H", 0x84, len(steps))], (8, name, 40))
    for index, step in enumerate(steps):
        if (step.low is None) != (step.high is None) or (
            step.low is not None and not 0 <= step.low <= (step.high or 0)
        ):
            raise ValueError(f"step {index + 1} has no band")
        if step.metres is not None:
            kind, value = _DISTANCE, round(100 * step.metres)
        elif step.seconds is not None:
            kind, value = _TIME, round(1000 * step.seconds)
        else:
            kind, value = _OPEN, 0
        target, offset, scale = _TARGETS[step.of] if step.low is not None else (_NO_TARGET, 0, 0)
        low, high = (offset + round(scale * (v or 0.0)) for v in (step.low, step.high))
        fields = [
            (254, "H", 0x84, index),
            (1, "B", 0x00, kind),
            (2, "I", 0x86, value),
            (3, "B", 0x00, target),
            (4, "I", 0x86, 0),
            (5, "I", 0x86, low),
            (6, "I", 0x86, high),
            (7, "B", 0x00, _REST if step.rest else _ACTIVE),
        ]
        said = [(8, notes, LONGEST_NOTES)] if notes and not index else []
        body += message(2 if said else 3, 27, fields, (0, step.name, LONGEST_NAME), *said)
    return wrapped(body)


def read_workout(data: bytes) -> tuple[str, list[Step]]:
    """Name and steps of a FIT workout, its repeats unrolled.

    Raises
    ------
    UnreadableFile
        No workout, or one whose repeats do not end.
    """
    import io

    import fitdecode

    rows: list[dict[str, Any]] = []
    name = ""
    try:
        with fitdecode.FitReader(io.BytesIO(data)) as reader:
            for frame in reader:
                if isinstance(frame, fitdecode.FitDataMessage) and frame.name in ("workout", "workout_step"):
                    raw = {f.name: f.raw_value for f in frame.fields if f.raw_value is not None}
                    if frame.name == "workout":
                        name = str(frame.get_value("wkt_name", fallback="") or "")
                    else:
                        rows.append({**raw, "name": str(frame.get_value("wkt_step_name", fallback="") or "")})
        if not rows:
            raise UnreadableFile("the file holds no workout")
        rows.sort(key=lambda r: int(r.get("message_index", 0)))
        out: list[Step] = []
        _unroll(rows, 0, len(rows), out)
    except UnreadableFile:
        raise
    except Exception as error:  # a decoder's own errors and those of damaged bytes
        raise UnreadableFile(f"the workout cannot be read ({type(error).__name__})") from None
    return name, out


def _unroll(rows: list[dict[str, Any]], begin: int, end: int, out: list[Step]) -> None:
    """Steps of rows in order; a repeat runs those from its first on again."""
    for index in range(begin, end):
        row = rows[index]
        if _REPEAT < int(row.get("duration_type", _OPEN)) <= 13:
            raise UnreadableFile(
                "the workout repeats until a time, distance or rate is reached, which has no number of repeats"
            )
        if int(row.get("duration_type", _OPEN)) == _REPEAT:
            first, count = (
                int(row.get("duration_value", row.get("duration_step", 0))),
                int(row.get("target_value", row.get("repeat_steps", 1))),
            )
            if not begin <= first < index or not 1 <= count <= 200 or len(out) > 400:
                raise UnreadableFile("a repeat of the workout does not end or begins nowhere")
            for _ in range(count - 1):
                _unroll(rows, first, index, out)
        else:
            out.append(_read_step(row))


def _read_step(row: dict[str, Any]) -> Step:
    def value(*names: str) -> float | None:
        return next((float(row[n]) for n in names if row.get(n) is not None), None)

    kind, target = int(row.get("duration_type", _OPEN)), int(row.get("target_type", _NO_TARGET))
    size = value("duration_time", "duration_distance", "duration_value")
    metres = size / 100 if kind == _DISTANCE and size is not None else None
    seconds = size / 1000 if kind == _TIME and size is not None else None
    of = next((n for n, (number, _, _) in _TARGETS.items() if number == target), None)
    names = {"power": "power", "heart_rate": "heart_rate", "speed": "speed"}
    low = value(f"custom_target_{names[of]}_low", "custom_target_value_low") if of else None
    high = value(f"custom_target_{names[of]}_high", "custom_target_value_high") if of else None
    rest = int(row.get("intensity", _ACTIVE)) in (_REST, 2, 3, 4)
    metres, seconds = metres or None, seconds or None  # nothing is until pressed
    if of is None or low is None or not high:
        return Step(row["name"], metres, seconds, rest=rest)
    _, offset, scale = _TARGETS[of]
    if of != "speed" and min(low, high) < offset:  # a share of a threshold that the watch keeps: as felt
        return Step(row["name"], metres, seconds, rest=rest)
    return Step(row["name"], metres, seconds, (low - offset) / scale, (high - offset) / scale, of, rest)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Point:
    """A point of a course: how far along [m], and what the watch says there."""

    at: float
    name: str


def course(
    name: str,
    latitude: Floats,
    longitude: Floats,
    metres: Floats,
    altitude: Floats | None,
    seconds: Floats,
    begin: float,
    points: Sequence[Point],
) -> bytes:
    """The bytes of a FIT course for running.

    Parameters
    ----------
    latitude, longitude, metres, seconds : numpy.ndarray, shape (n,)
        Positions [deg], distance [m] and planned time [s] along the course.
    altitude : numpy.ndarray, shape (n,), or None
        [m]
    begin : float
        Planned start in Unix seconds.
    points : sequence of Point
        Their names are cut to what watches show.

    Raises
    ------
    ValueError
        Fewer than two positions, or a point beyond the end.
    """
    if len(latitude) < 2:
        raise ValueError("a course has two positions or more")
    if any(not -1 <= p.at <= metres[-1] + 1 for p in points):
        raise ValueError("a point of the course lies beyond its end")

    def position(values: Floats) -> list[int]:
        return [int(v) for v in np.rint(values * (2**31 / 180.0))]

    stamp = [int(v) for v in np.rint(begin + seconds)]
    lat, lon = position(latitude), position(longitude)
    body = _file_id(_TYPE_COURSE)
    body += message(1, 31, [(4, "B", 0x00, _RUNNING)], (5, name, 40))
    body += message(
        2,
        19,
        [
            (254, "H", 0x84, 0),
            (253, "I", 0x86, stamp[0] - EPOCH),
            (2, "I", 0x86, stamp[0] - EPOCH),
            (3, "i", 0x85, lat[0]),
            (4, "i", 0x85, lon[0]),
            (5, "i", 0x85, lat[-1]),
            (6, "i", 0x85, lon[-1]),
            (7, "I", 0x86, round(1000 * float(seconds[-1]))),
            (8, "I", 0x86, round(1000 * float(seconds[-1]))),
            (9, "I", 0x86, round(100 * float(metres[-1]))),
        ],
    )
    body += message(3, 21, [(253, "I", 0x86, stamp[0] - EPOCH), (0, "B", 0x00, 0), (1, "B", 0x00, 0)])
    for i, at in enumerate(stamp):
        height = [] if altitude is None else [(2, "H", 0x84, round(5 * (float(altitude[i]) + 500)))]
        body += message(
            4,
            20,
            [
                (253, "I", 0x86, at - EPOCH),
                (0, "i", 0x85, lat[i]),
                (1, "i", 0x85, lon[i]),
                (5, "I", 0x86, round(100 * float(metres[i]))),
                *height,
            ],
        )
    for index, point in enumerate(points):
        when, north, east = (np.interp(point.at, metres, v) for v in (begin + seconds, latitude, longitude))
        body += message(
            5,
            32,
            [
                (254, "H", 0x84, index),
                (1, "I", 0x86, round(float(when)) - EPOCH),
                (2, "i", 0x85, position(np.array([north]))[0]),
                (3, "i", 0x85, position(np.array([east]))[0]),
                (4, "I", 0x86, round(100 * point.at)),
                (5, "B", 0x00, 0),
            ],
            (6, point.name, LONGEST_NAME),
        )
    body += message(3, 21, [(253, "I", 0x86, stamp[-1] - EPOCH), (0, "B", 0x00, 0), (1, "B", 0x00, 9)])
    return wrapped(body)
