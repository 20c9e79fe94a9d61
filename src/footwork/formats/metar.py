"""METAR lines: the airport's hourly weather as text, by the WMO code (FM 15)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from footwork.errors import UsageError

KNOT = 1852 / 3600  # [m/s]
_TIME = re.compile(r"(\d{2})(\d{2})(\d{2})Z")
_WIND = re.compile(r"(\d{3}|VRB|///)P?(\d{2,3})(?:G(\d{2,3}))?(KT|MPS|KMH)")
_TEMPERATURE = re.compile(r"(M?\d{2})/(M?\d{2})?(?://)?")
_PRESSURE = re.compile(r"Q(\d{4})|A(\d{4})")


@dataclass(frozen=True)
class Observation:
    """One report: day of the month, hour and minute UTC; wind [m/s] and where it comes from [deg, None when variable],
    temperature [°C], relative humidity 0 to 1, sea-level pressure [Pa]; None where the report does not say."""

    day: int
    hour: int
    minute: int
    wind: float | None
    wind_from: float | None
    temperature: float | None
    humidity: float | None
    pressure: float | None


def relative_humidity(temperature: float, dew_point: float) -> float:
    """Relative humidity, 0 to 1, from temperature and dew point [°C] by the Magnus form (WMO guide coefficients)."""

    def vapour(t: float) -> float:
        return 6.112 * math.exp(17.62 * t / (243.12 + t))

    return min(vapour(dew_point) / vapour(temperature), 1.0)


def parse(line: str) -> Observation:
    """One METAR line. Trend groups after it are not the weather now and are left alone.

    Raises
    ------
    UsageError
        The line has no time group, or neither wind nor temperature.
    """
    now = re.split(r"\b(?:NOSIG|BECMG|TEMPO|RMK)\b", line.upper().rstrip("= \n"))[0]
    tokens = now.split()
    stamp = next((m for t in tokens if (m := _TIME.fullmatch(t))), None)
    if stamp is None:
        raise UsageError(f"'{line.strip()[:60]}' is no METAR: the time group, as 141750Z, is missing")
    day, hour, minute = (int(v) for v in stamp.groups())
    if not (1 <= day <= 31 and hour <= 23 and minute <= 59):
        raise UsageError(f"'{line.strip()[:60]}' has an impossible time: {stamp.group()}")
    speed = source = temperature = humidity = pressure = None
    for token in tokens:
        if (wind := _WIND.fullmatch(token)) and speed is None:
            unit = {"KT": KNOT, "MPS": 1.0, "KMH": 1 / 3.6}[wind.group(4)]
            speed = int(wind.group(2)) * unit
            source = float(int(wind.group(1)) % 360) if wind.group(1).isdigit() and speed else None
        elif (degrees := _TEMPERATURE.fullmatch(token)) and temperature is None:
            temperature = _celsius(degrees.group(1))
            humidity = relative_humidity(temperature, _celsius(degrees.group(2))) if degrees.group(2) else None
        elif (level := _PRESSURE.fullmatch(token)) and pressure is None:
            pressure = float(level.group(1)) * 100 if level.group(1) else float(level.group(2)) / 100 * 3386.389
    if speed is None and temperature is None:
        raise UsageError(f"'{line.strip()[:60]}' tells neither wind nor temperature")
    return Observation(day, hour, minute, speed, source, temperature, humidity, pressure)


def _celsius(text: str) -> float:
    return -float(text[1:]) if text.startswith("M") else float(text)
