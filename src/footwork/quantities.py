"""Numbers with their uncertainty, and the words and units in which people give and read them."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from footwork.errors import UsageError

Day = dt.date | str  # a date, or text as 2026-04-14
Span = float | str  # a number in SI units, or text as 5:00 or 10km
Floats = npt.NDArray[np.float64]

MILE_M = 1609.344
RACE_DISTANCES_M = {"marathon": 42195.0, "half marathon": 21097.5, "half": 21097.5, "mile": MILE_M}
_DISTANCE_UNITS_M = {"m": 1.0, "km": 1000.0, "k": 1000.0, "mi": MILE_M, "miles": MILE_M, "mile": MILE_M}


# Fastest times run, rounded, from memory: a goal below them is a typing error. Distance [m], time [s].
_FASTEST = (
    (400, 43.0),
    (800, 100.9),
    (1500, 206.0),
    (5000, 755.0),
    (10_000, 1571.0),
    (21_097.5, 3400.0),
    (42_195, 7195.0),
    (100_000, 21_900.0),
    (500_000, 150_000.0),
)


def fastest_time(distance: float) -> float:
    """About the fastest anyone has run a distance [m], in s; log-log between known marks."""
    x, y = np.log(np.array(_FASTEST)).T
    return float(np.exp(np.interp(np.log(distance), x, y)))


@dataclass(frozen=True)
class Estimate:
    """An inferred number with its 95 % interval, or the reason why it is withheld.

    Parameters
    ----------
    value, low, high : float or None
        Central value and ends of the 95 % interval, in ``unit``. All None when withheld.
    unit : str
        SI unit of the value.
    n : int
        How many things were counted (``n_of``) to get it.
    method : str
        Key into the methods page.
    reason : str
        Why the value is withheld; empty otherwise.
    """

    value: float | None
    low: float | None
    high: float | None
    unit: str
    n: int
    method: str
    n_of: str = "efforts"
    reason: str = ""

    def __post_init__(self) -> None:
        numbers = (self.value, self.low, self.high)
        if any(x is None or not math.isfinite(x) for x in numbers):
            for name in ("value", "low", "high"):
                object.__setattr__(self, name, None)
            if not self.reason:
                object.__setattr__(self, "reason", "the data do not determine it")

    @classmethod
    def withheld(cls, unit: str, method: str, reason: str, n: int = 0, n_of: str = "efforts") -> Estimate:
        """An estimate that says why there is no number."""
        return cls(None, None, None, unit, n, method, n_of, reason)

    @classmethod
    def from_draws(cls, draws: npt.ArrayLike, unit: str, n: int, method: str, n_of: str = "efforts") -> Estimate:
        """Median and 2.5 to 97.5 % quantiles of equally likely draws (1-D array in ``unit``).

        In ``unit``, for example [W].
        """
        low, value, high = (float(x) for x in np.quantile(np.asarray(draws, dtype=float), [0.025, 0.5, 0.975]))
        return cls(value, low, high, unit, n, method, n_of)

    @classmethod
    def from_json(cls, found: Mapping[str, Any]) -> Estimate:
        """The estimate behind `to_json`."""
        return cls(**{"reason": "", **found})

    def scaled(self, factor: float, unit: str) -> Estimate:
        """The same estimate in another unit; a negative or zero factor is an error.

        ``factor`` [1].
        """
        if not factor > 0:
            raise ValueError("factor must be positive")
        if self.value is None or self.low is None or self.high is None:
            return Estimate(None, None, None, unit, self.n, self.method, self.n_of, self.reason)
        return Estimate(
            self.value * factor, self.low * factor, self.high * factor, unit, self.n, self.method, self.n_of
        )

    def to_json(self) -> dict[str, Any]:
        """The form of a number in every JSON answer (``models`` section 9); never NaN."""
        out: dict[str, Any] = {
            "value": self.value,
            "low": self.low,
            "high": self.high,
            "unit": self.unit,
            "n": self.n,
            "n_of": self.n_of,
            "method": self.method,
        }
        if self.reason:
            out["reason"] = self.reason
        return out

    def __str__(self) -> str:
        size = abs(self.value or 0.0)
        return describe(self, 0 if size >= 100 else 1 if size >= 10 else 2)


@dataclass(frozen=True)
class Effort:
    """A maximal effort as stated or found: how long, and power, speed or a distance covered.

    ``power`` [W], ``distance`` [m], ``duration`` [s]; ``kind`` is ``trial``, ``race``, ``all-out`` or ``found``.
    """

    duration: float
    power: float | None = None
    distance: float | None = None
    kind: str = "trial"
    date: dt.date | None = None
    label: str = field(default="", compare=False)


def parse_duration(text: str) -> float:
    """Seconds from ``3:00``, ``1:05:00``, ``90``, ``90s``, ``20 min``, ``2h``, ``1h30``, ``1h30m``. Raises
    UsageError.

    Returns [s].
    """
    raw = text.strip().lower().replace(",", ".")
    if re.fullmatch(r"\d+(:[0-5]?\d(\.\d+)?){1,2}", raw):
        seconds = 0.0
        for part in raw.split(":"):
            seconds = seconds * 60 + float(part)
    elif match := re.fullmatch(r"(?:(\d+(?:\.\d+)?)\s*h)?\s*(?:(\d+(?:\.\d+)?)\s*(?:min|m)?)?", raw):
        hours, minutes = match.groups()
        if hours is None and (minutes is None or raw == minutes):
            seconds = float(raw) if minutes is not None else math.nan
        else:
            seconds = float(hours or 0) * 3600 + float(minutes or 0) * 60
    elif match := re.fullmatch(r"(\d+(?:\.\d+)?)\s*s(?:ec)?", raw):
        seconds = float(match.group(1))
    else:
        seconds = math.nan
    if not (math.isfinite(seconds) and 0 < seconds <= 7 * 86400):
        raise UsageError(f"'{text}' is not a duration: write 3:00, 1:05:00, 90s or 20min")
    return seconds


def parse_distance(text: str) -> float:
    """Metres from ``10km``, ``5 mi``, ``1500m``, ``1500``, ``half``, ``marathon``. Raises UsageError.

    Returns [m].
    """
    raw = " ".join(text.strip().lower().replace(",", ".").split())
    if raw in RACE_DISTANCES_M:
        return RACE_DISTANCES_M[raw]
    match = re.fullmatch(r"(\d+(?:\.\d+)?) ?(m|km|k|mi|miles|mile)?", raw)
    metres = float(match.group(1)) * _DISTANCE_UNITS_M[match.group(2) or "m"] if match else math.nan
    if not (math.isfinite(metres) and 0 < metres <= 500_000):
        raise UsageError(f"'{text}' is not a distance: write 10km, 5mi, 1500m, half or marathon (at most 500 km)")
    if match and match.group(2) is None and metres < 100:
        raise UsageError(f"'{text}' has no unit: write {raw}km or {raw}m")
    return metres


def parse_pace(text: str) -> float:
    """Speed [m/s] of a pace as ``5:30/km``, ``8:50/mi`` or ``5:30`` (a kilometre). Raises UsageError."""
    clock, slash, unit = text.strip().lower().partition("/")
    if slash and unit.strip() not in ("km", "mi"):
        raise UsageError(f"pace '{text}' is a time per km or mi: write 5:30/km")
    return (MILE_M if unit.strip() == "mi" else 1000.0) / parse_duration(clock)


def parse_effort(text: str) -> Effort:
    """A stated effort: ``3:00=361`` (watts), ``5km=20:30`` (a race result) or ``all-out=305`` (3 minutes all-out).

    A date may follow: ``12:00=278@2026-03-01``. Raises UsageError.
    """
    body, _, day = text.partition("@")
    left, equals, right = (part.strip().lower() for part in body.partition("="))
    if not equals or not left or not right:
        raise UsageError(f"'{text}' is not an effort: write 3:00=361, 5km=20:30 or all-out=305")
    date = parse_date(day) if day else None
    if left in ("all-out", "allout", "3min-all-out"):
        return Effort(180.0, power=_parse_watts(right), kind="all-out", date=date, label=text)
    looks_like_distance = re.fullmatch(
        r"\d{3,} ?m|\d+([.,]\d+)? ?(km|k|mi|miles?)|mile|half|half marathon|marathon", left
    )
    distance = parse_distance(left) if looks_like_distance else None
    if distance is not None:
        duration = parse_duration(right)
        if distance < 400:
            raise UsageError(f"'{text}': a race under 400 m says nothing about critical power")
        _check_race_speed(distance, duration, text)
        return Effort(duration, distance=distance, kind="race", date=date, label=text)
    duration = parse_duration(left)
    if not 10 <= duration <= 86400:
        raise UsageError(f"'{text}': an effort lasts from 10 seconds to 24 hours")
    return Effort(duration, power=_parse_watts(right), kind="trial", date=date, label=text)


def _parse_watts(text: str) -> float:
    match = re.fullmatch(r"(\d+(?:[.,]\d+)?) ?w?", text.strip().lower())
    watts = float(match.group(1).replace(",", ".")) if match else math.nan
    if not 30 <= watts <= 1500:
        raise UsageError(f"'{text}' is not a running power: give watts from 30 to 1500")
    return watts


def _check_race_speed(distance: float, duration: float, text: str) -> None:
    speed = distance / duration
    if duration < fastest_time(distance) or speed < 1.0:  # slower than 1 m/s is not running
        raise UsageError(f"'{text}' means {format_pace(speed)}: check distance and time")


def parse_date(text: str) -> dt.date:
    """A calendar date from ISO 8601 ``YYYY-MM-DD``. Raises UsageError."""
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(f"'{text}' is not a date: write it as 2026-04-14") from None


_COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


def parse_wind(text: str | float) -> tuple[float | None, float | None]:
    """Metres a second at 10 m and the degrees it comes from, from ``5@240`` or ``5@SW``, or ``3`` without a direction;
    ``@240`` is a direction for a speed that is told elsewhere. Raises UsageError.

    Returns [m/s] and [deg].
    """
    speed, at, source = str(text).replace(",", ".").partition("@")
    point = source.strip().upper()
    try:
        degrees = 22.5 * _COMPASS.index(point) if point in _COMPASS else float(source) if at else None
        if degrees is not None and not 0 <= degrees <= 360:
            raise ValueError
        return None if at and not speed.strip() else float(speed), None if degrees is None else degrees % 360
    except ValueError:
        raise UsageError(f"'{text}' is not a wind: write 5@240 (m/s from degrees), 5@SW or 3") from None


def as_number(value: float | str, what: str) -> float:
    """A number, also as text with a decimal comma. Raises UsageError, which names ``what``."""
    try:
        return float(value.replace(",", ".") if isinstance(value, str) else value)
    except (TypeError, ValueError):
        raise UsageError(f"{what} '{value}' is not a number") from None


def as_share(value: float | str, what: str) -> float:
    """A share of one, also as text in per cent: ``20 %``. Raises UsageError."""
    if isinstance(value, str) and value.strip().endswith("%"):
        share = as_number(value.strip()[:-1].strip(), what) / 100
        if not 0 <= share <= 1:
            raise UsageError(f"{what} {100 * share:g} % cannot be: give 0 to 100")
        return share
    return as_number(value, what)


def as_distance(value: float | str) -> float:
    """Metres, also as text (`parse_distance`). Raises UsageError.

    Returns [m].
    """
    return parse_distance(value) if isinstance(value, str) else as_number(value, "a distance")


def as_duration(value: float | str) -> float:
    """Seconds, also as text (`parse_duration`). Raises UsageError.

    Returns [s].
    """
    return parse_duration(value) if isinstance(value, str) else as_number(value, "a duration")


def as_speed(value: float | str) -> float:
    """A speed [m/s], as text a pace (`parse_pace`). Raises UsageError."""
    return parse_pace(value) if isinstance(value, str) else as_number(value, "a speed")


def as_date(value: dt.date | str) -> dt.date:
    """A calendar date, also as text (`parse_date`). Raises UsageError."""
    if isinstance(value, str):
        return parse_date(value)
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    raise UsageError(f"{value!r} is not a date: write it as 2026-04-14")


def as_day(value: Day | None) -> dt.date | None:
    """A date where one is given. Raises UsageError."""
    return None if value is None else as_date(value)


def as_seconds(value: Span | None) -> float | None:
    """A duration [s] where one is given. Raises UsageError."""
    return None if value is None else as_duration(value)


def as_moment(value: dt.datetime | str) -> dt.datetime:
    """A date and time, also as text. Raises UsageError."""
    if isinstance(value, dt.datetime):
        return value
    try:
        return dt.datetime.fromisoformat(str(value).strip())
    except ValueError:
        raise UsageError(f"the start '{value}' is no time: write 2026-10-04T09:00") from None


def format_duration(seconds: float) -> str:
    """``h:mm:ss`` or ``m:ss``, rounded to the second.

    ``seconds`` [s].
    """
    total = round(seconds)
    hours, rest = divmod(total, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def format_lost(seconds: float) -> str:
    """Time lost as ``+1:05``, won as ``−1:05``.

    ``seconds`` [s].
    """
    return f"{'+' if seconds >= 0 else '−'}{format_duration(abs(seconds))}"


def format_pace(speed: float, imperial: bool = False) -> str:
    """Pace for a speed in m/s, ``4:10 /km`` or ``6:42 /mi``.

    ``speed`` [m/s].
    """
    if not (math.isfinite(speed) and speed > 0.05):
        return "standing"
    return f"{format_duration((MILE_M if imperial else 1000.0) / speed)} /{'mi' if imperial else 'km'}"


def round_paces(slowest: float, fastest: float, imperial: bool = False, most: int = 9) -> list[float]:
    """Speeds of round paces between two speeds, the slowest first: every 5 seconds of pace, or coarser up to two
    minutes, so that there are no more than ``most``.

    ``slowest`` and ``fastest`` [m/s]; returns [m/s], empty where no round pace lies between.
    """
    metres = MILE_M if imperial else 1000.0
    low, high = metres / fastest, metres / slowest
    for step in (5, 10, 15, 30, 60, 120):
        paces = [step * k for k in range(math.ceil(low / step), math.floor(high / step) + 1)]
        if len(paces) <= most:
            return [metres / pace for pace in reversed(paces)]
    return []


def format_distance(metres: float, imperial: bool = False) -> str:
    """``12.40 km`` or ``7.71 mi``.

    ``metres`` [m].
    """
    return f"{metres / MILE_M:.2f} mi" if imperial else f"{metres / 1000:.2f} km"


def describe(estimate: Estimate, digits: int = 0, evidence: str = "") -> str:
    """The whisker numeral as text: ``276 W  267–286, tested``."""
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return f"withheld: {estimate.reason}"
    tail = f", {evidence}" if evidence else ""
    to = "–" if estimate.low >= 0 else " to "
    return f"{estimate.value:.{digits}f} {estimate.unit}  {estimate.low:.{digits}f}{to}{estimate.high:.{digits}f}{tail}"


def signed(value: float, digits: int = 1) -> str:
    """A change with its sign; what rounds to nothing is +0."""
    return f"{round(value, digits) + 0.0:+.{digits}f}"


def describe_weather(told: dict[str, Any]) -> str:
    """Weather in words; keys in SI units as in a run's JSON, and its source."""
    parts = []
    if "temperature_c" in told:
        parts.append(f"{told['temperature_c']:.0f} °C")
    if "humidity" in told:
        parts.append(f"{100 * told['humidity']:.0f} % humidity")
    if "wind_mps" in told:
        source = f" from {told['wind_from_deg']:.0f} degrees" if "wind_from_deg" in told else ""
        parts.append(f"wind {told['wind_mps']:.1f} m/s{source}")
    if "pressure_pa" in told:
        parts.append(f"{told['pressure_pa'] / 100:.0f} hPa")
    return ", ".join(parts) + f" ({told['source']})"


def quick_median(values: Floats) -> float:
    """Median of some finite numbers, as `numpy.median` gives it without looking for others; in their unit."""
    half = len(values) // 2
    if len(values) % 2:
        return float(np.partition(values, half)[half])
    low, high = np.partition(values, (half - 1, half))[half - 1 : half + 1]
    return float((low + high) / 2)


_AS_IT_IS = frozenset({str, int, bool, type(None)})  # most of what an answer holds


def plain(value: Any) -> Any:
    """Turn results into what JSON can hold: no NaN, no NumPy types, estimates in their documented form.

    Raises TypeError for what JSON cannot hold.
    """
    if type(value) in _AS_IT_IS:
        return value
    if hasattr(value, "to_json"):
        return value.to_json()
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return [plain(item) for item in value.tolist()]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, (dt.date, dt.datetime)):
        return value.isoformat()
    if value is None or isinstance(value, (str, int, bool)):
        return value
    raise TypeError(f"no JSON form for {type(value).__name__}")
