"""What is kept of each recording: totals, best efforts, a histogram of seconds, and rows of one-minute blocks."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from footwork.analysis.modelled_power import MOST_ERROR, error_over
from footwork.analysis.screening import USABLE
from footwork.physics.terrain import EARTH_RADIUS_M, climb
from footwork.physiology import curve, domains
from footwork.quantities import Floats
from footwork.signals import FORM, PowerStream, Signals

METHOD_VERSION = 6
BLOCK_S = 60
IN_ROWS = tuple(name for name, measure in FORM.items() if measure.rows)
BLOCK_COLUMNS = (
    "elapsed",
    "power",
    "speed",
    "grade",
    "heart_rate",
    "cadence",
    "temperature",
    "altitude",
    "power_sd",
    "east",
    "north",
    *IN_ROWS,
)
_MEANS = ("power", "speed", "grade", "heart_rate", "cadence", "temperature", "altitude", *IN_ROWS)

AT = {name: index for index, name in enumerate(BLOCK_COLUMNS)}


@dataclass(frozen=True)
class StreamSummary:
    """Results of one power stream: mean [W], best mean by stored duration, seconds by watt, and block rows."""

    stream: PowerStream
    mean_power: float | None
    best: npt.NDArray[np.float32]
    start: npt.NDArray[np.int32]
    histogram: npt.NDArray[np.int32]
    blocks: npt.NDArray[np.float32]


@dataclass(frozen=True)
class Summary:
    """Totals of a recording, SI units; None where the signal is missing."""

    duration_s: float
    elapsed_s: float
    distance_m: float | None
    climb_m: float | None
    heart_rate_bpm: float | None
    heart_rate_sound_s: float | None
    cadence_spm: float | None
    temperature_c: float | None
    altitude_m: float | None
    latitude: float | None
    longitude: float | None
    streams: list[StreamSummary] = field(default_factory=list)


def summarise(signals: Signals) -> Summary:
    """Totals and stored rows of a cleaned recording; means are over seconds with the timer running."""
    timer = signals.timer
    distance = signals.get("distance")
    known = distance[np.isfinite(distance)]
    heart = signals.sound_heart_rate[timer]
    # What a locked sensor left in between is no mean of a run.
    usable = np.isfinite(heart).sum() >= USABLE * np.isfinite(signals.get("heart_rate")[timer]).sum()
    return Summary(
        duration_s=float(timer.sum()),
        elapsed_s=float(len(timer)),
        distance_m=float(known[-1] - min(known[0], 0.0)) if len(known) else None,
        climb_m=climb(signals["altitude"]) if "altitude" in signals else None,
        heart_rate_bpm=mean_known(heart) if usable else None,
        heart_rate_sound_s=float(np.isfinite(heart).sum()) if "heart_rate" in signals else None,
        cadence_spm=mean_known(signals.get("cadence")[timer]),
        temperature_c=mean_known(signals.get("temperature")[timer]),
        altitude_m=mean_known(signals.get("altitude")[timer]),
        latitude=_first(signals.get("latitude")),
        longitude=_first(signals.get("longitude")),
        streams=[_stream(signals, stream) for stream in signals.streams],
    )


def mean_known(values: Floats) -> float | None:
    """Mean of what is known; None where nothing is.

    ``values`` of shape (n,); the result is in their unit, [W], [bpm] or [m/s].
    """
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else None


def _first(values: Floats) -> float | None:
    known = values[np.isfinite(values)]
    return float(known[0]) if len(known) else None


def _stream(signals: Signals, stream: PowerStream) -> StreamSummary:
    power, timer = signals[stream.column], signals.timer
    wanted = curve.stored_durations(len(power))
    durations, best, start = curve.mean_maximal(power, wanted)
    row, first = np.full(len(wanted), np.nan, dtype=np.float32), np.full(len(wanted), -1, dtype=np.int32)
    row[: len(durations)], first[: len(durations)] = best, start
    if not stream.measured:  # what noise of speed and heights may have made is no best
        row[error_over(wanted, stream.error) > MOST_ERROR] = np.nan
    return StreamSummary(
        stream,
        mean_known(power[timer]),
        row,
        first,
        domains.histogram(power[timer]).astype(np.int32),
        blocks(signals, stream.column),
    )


def blocks(signals: Signals, column: str = "power") -> npt.NDArray[np.float32]:
    """One row for each whole minute in which the timer ran throughout.

    Parameters
    ----------
    signals : Signals
    column : str
        Which power stream.

    Returns
    -------
    numpy.ndarray, shape (n, 13)
        Means of `BLOCK_COLUMNS`; elapsed is the start in seconds, power_sd the spread within [W], east and north the
        share of the minute's way that went there (-1 to 1); NaN where a third or more of the minute is missing.
    """
    whole = len(signals) // BLOCK_S
    if whole == 0:
        return np.zeros((0, len(BLOCK_COLUMNS)), dtype=np.float32)
    shape = (whole, BLOCK_S)
    out = np.full((whole, len(BLOCK_COLUMNS)), np.nan, dtype=np.float32)
    out[:, 0] = np.arange(whole) * BLOCK_S
    for name in _MEANS:
        index = AT[name]
        source = column if name == "power" else name
        if source not in signals:
            continue
        values = signals.sound_heart_rate if name == "heart_rate" else signals[source]
        values = values[: whole * BLOCK_S].reshape(shape)
        known = np.isfinite(values)
        number = known.sum(axis=1)
        total = np.where(known, values, 0.0).sum(axis=1)
        enough = number > BLOCK_S * 2 / 3
        mean = total / np.maximum(number, 1)
        out[:, index] = np.where(enough, mean, np.nan)
        if name == "power":
            spread = np.where(known, (values - mean[:, None]) ** 2, 0.0).sum(axis=1) / np.maximum(number, 1)
            out[:, AT["power_sd"]] = np.where(enough, np.sqrt(spread), np.nan)
    if "latitude" in signals and "longitude" in signals:
        out[:, [AT["east"], AT["north"]]] = _direction(signals, shape)
    running = signals.timer[: whole * BLOCK_S].reshape(shape).all(axis=1)
    return np.asarray(out[running], dtype=np.float32)


def _direction(signals: Signals, shape: tuple[int, int]) -> npt.NDArray[np.float64]:
    """Net way east and north over each minute, divided by the way run in it."""
    latitude, longitude = (signals[n][: shape[0] * shape[1]].reshape(shape) for n in ("latitude", "longitude"))
    with np.errstate(invalid="ignore"):
        north = np.radians(latitude[:, -1] - latitude[:, 0]) * EARTH_RADIUS_M
        east = np.radians(longitude[:, -1] - longitude[:, 0]) * EARTH_RADIUS_M * np.cos(np.radians(latitude[:, 0]))
        way = signals.get("distance")[: shape[0] * shape[1]].reshape(shape)
        run = np.maximum(way[:, -1] - way[:, 0], np.hypot(east, north))
        return np.column_stack([east, north]) / np.where(run > 1, run, np.nan)[:, None]


def even(block: npt.NDArray[np.floating]) -> npt.NDArray[np.bool_]:
    """Which minutes were run at even power: over 30 W, with a spread within a quarter of it.

    ``block`` has shape (n, 13), columns `BLOCK_COLUMNS` [W]; returns a mask of shape (n,).
    """
    power = block[:, AT["power"]]
    return np.asarray((power > 30) & (block[:, AT["power_sd"]] < 0.25 * power), dtype=np.bool_)
