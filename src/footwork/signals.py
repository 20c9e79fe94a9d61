"""What a recording is: raw samples as they came (`Recording`) and named 1 Hz columns (`Signals`)."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace

import numpy as np

from footwork.quantities import Floats

_EARTH_RADIUS_M = 6_371_008.8  # mean radius, IUGG
Bools = np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True)
class Measure:
    """A measure of form that a device may record. One line in `FORM` is all that readers, cleaning, minute rows,
    trials, comparisons and pages need of it.

    Parameters
    ----------
    unit, low, high
        SI unit, and what no runner's sensor can truly show outside of.
    factor : float
        From the FIT record field of the same name, where the protocol has one, to the SI unit.
    shown, shown_factor
        The unit people read it in, and the factor to it.
    words : str
        What it is called.
    rows : bool
        Whether minute rows hold it; one that follows from others needs none.
    also : tuple of str
        Other names that developer fields give it, in lower case with underscores; their unit is what the file declares.
    """

    unit: str
    low: float
    high: float
    factor: float
    shown: str
    shown_factor: float
    words: str
    rows: bool = True
    also: tuple[str, ...] = ()


FORM = {
    "stance_time": Measure("s", 0.05, 1.0, 1e-3, "ms", 1000.0, "stance time"),
    "vertical_oscillation": Measure("m", 0.005, 0.4, 1e-3, "mm", 1000.0, "vertical oscillation"),
    "step_length": Measure("m", 0.1, 3.0, 1e-3, "m", 1.0, "step length", rows=False),  # speed over cadence
}
# Column name: SI unit (cadence in steps per minute, temperature in °C, by the trade's habit).
COLUMNS = {
    "time": "s",
    "power": "W",
    "heart_rate": "bpm",
    "heart_rate_quality": "",
    "speed": "m/s",
    "distance": "m",
    "altitude": "m",
    "grade": "",
    "cadence": "steps/min",
    "latitude": "deg",
    "longitude": "deg",
    "temperature": "°C",
    **{name: measure.unit for name, measure in FORM.items()},
}


@dataclass(frozen=True)
class PowerStream:
    """One full-power signal of a recording and who produced it.

    ``column`` names it in the columns (``power``, ``power_2``); ``scale`` is the stable key of the scale its watts
    belong to; ``kind`` is what to call the producer until the user renames it. ``error`` is that of modelled power
    (`modelled_power.error_over`).
    """

    column: str
    scale: str
    kind: str = "device"
    measured: bool = True
    error: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Lap:
    """A lap of the device: start and end in Unix seconds."""

    start: float
    end: float


@dataclass
class Recording:
    """Raw samples of one leg of one file, as the file gave them, in SI units.

    ``columns['time']`` is Unix seconds, or seconds from zero when ``dated`` is false. ``pauses`` are timer pauses
    (start, end) in the same seconds. ``lost`` names data that the file should hold and does not.
    """

    sport: str
    columns: dict[str, Floats]
    streams: list[PowerStream] = field(default_factory=list)
    pauses: list[tuple[float, float]] = field(default_factory=list)
    laps: list[Lap] = field(default_factory=list)
    dated: bool = True
    utc_offset_minutes: int | None = None
    serial: str = ""
    leg: int = 0
    legs_before: list[str] = field(default_factory=list)
    indoor: bool = False
    mass: float | None = None
    placed_by_start: bool = False
    lost: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def is_run(self) -> bool:
        """Whether the sport is running."""
        return self.sport == "running"

    @property
    def start(self) -> float:
        """First second, Unix time [s]."""
        return float(np.min(self.columns["time"]))

    @property
    def end(self) -> float:
        """Last second, Unix time [s]."""
        return float(np.max(self.columns["time"]))

    def dated_from(self, start: dt.datetime) -> Recording:
        """An undated recording placed in time; ``start`` is timezone-aware."""
        shift = start.timestamp() - self.start
        offset = start.utcoffset()
        return replace(
            self,
            columns={**self.columns, "time": self.columns["time"] + shift},
            pauses=[(a + shift, b + shift) for a, b in self.pauses],
            laps=[Lap(lap.start + shift, lap.end + shift) for lap in self.laps],
            dated=True,
            placed_by_start=True,
            utc_offset_minutes=None if offset is None else int(offset.total_seconds() // 60),
        )


def distance_along(latitude: Floats, longitude: Floats) -> Floats:
    """Cumulative great-circle distance of positions [deg] by the haversine formula, shape (n,). Readers, which may not
    reach up to physics, use it. [m]"""
    a, b = np.radians(latitude), np.radians(longitude)
    h = np.sin(np.diff(a) / 2) ** 2 + np.cos(a[:-1]) * np.cos(a[1:]) * np.sin(np.diff(b) / 2) ** 2
    return np.concatenate([[0.0], np.cumsum(2 * _EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(h, 0, 1))))])


@dataclass(frozen=True)
class Course:
    """A course without times: positions in degrees, cumulative distance and altitude in metres; named ``points`` beside
    it (latitude, longitude, name); ``recorded`` where the distance is that of a device that was run with."""

    latitude: Floats
    longitude: Floats
    distance: Floats
    altitude: Floats
    name: str = ""
    points: tuple[tuple[float, float, str], ...] = ()
    recorded: bool = False


@dataclass(frozen=True)
class Signals:
    """Named columns at 1 Hz, SI units; missing is NaN here and null in Parquet.

    ``heart_rate`` is as it was recorded, ``heart_rate_quality`` its class: 0 sound, 1 doubtful, 2 wrong.

    ``timer`` is 1 while the timer ran. During a timer pause power is 0 W: pauses count in elapsed-time questions.
    """

    columns: dict[str, Floats]
    timer: Bools
    streams: tuple[PowerStream, ...] = ()

    def __len__(self) -> int:
        return len(self.timer)

    def __contains__(self, name: str) -> bool:
        return name in self.columns

    def __getitem__(self, name: str) -> Floats:
        return self.columns[name]

    @property
    def sound_heart_rate(self) -> Floats:
        """Heart rate in its sound seconds, NaN elsewhere; what analyses use. [bpm]"""
        return np.where(self.get("heart_rate_quality") == 0, self.get("heart_rate"), np.nan)

    def get(self, name: str) -> Floats:
        """A column, or all NaN where the recording has none.

        In SI units, as power [W]; shape (n,).
        """
        found = self.columns.get(name)
        return found if found is not None else np.full(len(self), np.nan)
