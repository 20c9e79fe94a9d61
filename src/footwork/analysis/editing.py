"""What a runner's corrections do to clean signals: cut, join, leave out, rescale, tilt. The inputs stay as they are."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from footwork.errors import UsageError
from footwork.quantities import Floats
from footwork.signals import PowerStream, Signals

METHOD_VERSION = 2
# What leaving seconds out takes away; where and when the runner was, and how far, stays.
_KEPT = {"time", "latitude", "longitude", "altitude", "distance"}


def cut(signals: Signals, start: float, end: float) -> Signals:
    """The seconds from ``start`` (included) to ``end`` (not included), Unix seconds; distance counts from 0 again."""
    inside = (signals["time"] >= start) & (signals["time"] < end)
    if inside.sum() < 2:
        raise UsageError("fewer than two seconds would be left")
    columns = {name: values[inside] for name, values in signals.columns.items()}
    if "distance" in columns and not inside[0]:
        known = columns["distance"][np.isfinite(columns["distance"])]
        columns["distance"] = columns["distance"] - (known[0] if len(known) else 0.0)
    return replace(signals, columns=columns, timer=signals.timer[inside])


def join(parts: Sequence[Signals]) -> Signals:
    """Signals one after the other as one; the time between counts as a pause.

    Watts of different scales stay in columns of their own, missing where the other device recorded.

    Raises
    ------
    UsageError
        The signals overlap in time.
    """
    ordered = sorted(parts, key=lambda s: float(s["time"][0]))
    for before, after in itertools.pairwise(ordered):
        if after["time"][0] <= before["time"][-1]:
            raise UsageError("the recordings overlap in time")
    first, last = float(ordered[0]["time"][0]), float(ordered[-1]["time"][-1])
    grid = np.arange(first, last + 1)
    streams: dict[str, PowerStream] = {}
    for part in ordered:
        for stream in part.streams:
            column = "power" if not streams else f"power_{len(streams) + 1}"
            streams.setdefault(stream.scale, replace(stream, column=column))
    names = {n for part in ordered for n in part.columns} - {s.column for part in ordered for s in part.streams}
    columns = {name: np.full(len(grid), np.nan) for name in (*names, *(s.column for s in streams.values()))}
    columns["time"] = grid
    timer = np.zeros(len(grid), dtype=np.bool_)
    between = np.ones(len(grid), dtype=np.bool_)
    way = 0.0
    if "heart_rate_quality" in columns:
        columns["heart_rate_quality"][:] = 2.0  # where no part has a heart rate
    for part in ordered:
        at = slice(int(part["time"][0] - first), int(part["time"][-1] - first) + 1)
        timer[at] = part.timer
        between[at] = False
        for name in names & set(part.columns) - {"time"}:
            columns[name][at] = part[name] + (way if name == "distance" else 0.0)
        for stream in part.streams:
            columns[streams[stream.scale].column][at] = part[stream.column]
        known = columns["distance"][at][np.isfinite(columns["distance"][at])] if "distance" in columns else []
        way = float(known[-1]) if len(known) else way
    for stream in streams.values():
        columns[stream.column][between] = 0.0  # a pause, as in every recording
    return Signals(columns, timer, tuple(streams.values()))


def leave_out(signals: Signals, start: float, end: float, only: str | None = None) -> Signals:
    """Values from ``start`` to ``end`` [Unix s] become missing: all that is analysed, or ``only`` one signal."""
    inside = (signals["time"] >= start) & (signals["time"] < end)
    powers = {s.column for s in signals.streams}
    gone = powers if only == "power" else {only} if only else set(signals.columns) - _KEPT
    columns: dict[str, Floats] = {
        name: np.where(inside, np.nan, values) if name in gone else values for name, values in signals.columns.items()
    }
    if "heart_rate" in gone and "heart_rate_quality" in columns:
        columns["heart_rate_quality"] = np.where(inside, 2.0, signals["heart_rate_quality"])
    return replace(signals, columns=columns)


def judge_heart_rate(signals: Signals, sound: bool) -> Signals:
    """The runner's word on a doubted heart rate.

    What is doubtful becomes sound, or what is sound doubtful; classes [1]. What is wrong stays so.
    """
    if "heart_rate_quality" not in signals.columns:
        return signals
    quality = signals["heart_rate_quality"]
    told = np.where(quality < 2, 0.0 if sound else 1.0, quality)
    return replace(signals, columns={**signals.columns, "heart_rate_quality": told})


def shift(signals: Signals, seconds: float) -> Signals:
    """The clock set forward by so many whole seconds.

    ``seconds`` [s]; recordings keep their length.
    """
    return replace(signals, columns={**signals.columns, "time": signals["time"] + round(seconds)})


def rescale(signals: Signals, metres: float) -> Signals:
    """Distance, speed, step length and grade as if the whole way had been ``metres``.

    ``metres`` [m].
    """
    way = signals.get("distance")
    known = way[np.isfinite(way)]
    if not len(known) or known[-1] - min(known[0], 0.0) <= 0:
        # A treadmill without a foot sensor: all that is known is the total, spread evenly over the running time.
        running = np.where(signals.timer, 1.0, 0.0)
        speed = metres / max(float(running.sum()), 1.0)
        return replace(
            signals, columns={**signals.columns, "distance": np.cumsum(running) * speed, "speed": running * speed}
        )
    factor = metres / float(known[-1] - min(known[0], 0.0))
    powers = {"distance": factor, "speed": factor, "step_length": factor, "grade": 1 / factor}
    return replace(signals, columns={n: v * powers.get(n, 1.0) for n, v in signals.columns.items()})


def tilt(signals: Signals, incline: float) -> Signals:
    """A treadmill's incline (a fraction) as the grade throughout; what the device took for altitude is dropped.

    ``incline`` [1].
    """
    columns = {n: v for n, v in signals.columns.items() if n not in ("altitude", "grade")}
    return replace(signals, columns={**columns, "grade": np.full(len(signals), incline)})
