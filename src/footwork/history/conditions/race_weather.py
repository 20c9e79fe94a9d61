"""The weather of a race: as asked, of a report, or hour by hour, and what it is where and when a runner is there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from footwork.errors import UsageError
from footwork.formats import metar
from footwork.history.conditions import weather
from footwork.history.conditions.weather import NEAREST_S
from footwork.physics import air
from footwork.quantities import Floats

SHELTER = 0.7  # share of the open-field wind that houses and trees let through; our convention


LIMITS = {
    "wind": (-25, 25, "m/s"),
    "wind_from": (0, 360, "degrees"),
    "temperature": (-40, 50, "°C"),
    "humidity": (0, 1, "as a share, 0.6 for 60 %"),
    "altitude": (-430, 4000, "m"),
    "pressure": (85_000, 110_000, "Pa"),
}


@dataclass(frozen=True)
class Weather:
    """Race weather as asked: wind at 10 m [m/s] and where it comes from [deg], temperature [°C], humidity 0 to 1,
    altitude [m], pressure at sea level [Pa]; None is unknown and then has no effect; ``variable`` is a wind without a
    direction, which is left out. ``hours`` holds weather at seconds after the start in its place, and what lies between
    is a straight line."""

    wind: float | None = None
    wind_from: float | None = None
    temperature: float | None = None
    humidity: float | None = None
    altitude: float | None = None
    pressure: float | None = None
    variable: bool = False
    hours: tuple[tuple[float, Weather], ...] = ()

    def checked(self) -> Weather:
        """Itself. Raises UsageError for weather that cannot be raced in."""
        for one in (self, *(w for _, w in self.hours)):
            for name, (low, high, unit) in LIMITS.items():
                value = getattr(one, name)
                if value is not None and not low <= value <= high:  # also refuses what is not a number
                    words = {"wind_from": "wind direction"}.get(name, name)
                    raise UsageError(f"{words} {value:g} cannot be raced in: give {low:g} to {high:g} {unit}")
        return self

    def over(self, metar_line: str) -> Weather:
        """This weather where it is given, else that of a METAR line. Raises UsageError for a line that is none."""
        seen = metar.parse(metar_line)
        told = {name: getattr(seen, name) for name in ("wind", "wind_from", "temperature", "humidity", "pressure")}
        return self._over(told)

    def _over(self, told: dict[str, float | None]) -> Weather:
        own = {name: value for name in LIMITS if (value := getattr(self, name)) is not None}
        if self.wind is not None:  # a typed wind has its own direction, or none
            told = {**told, "wind_from": None}
        variable = self.wind is None and bool(told.get("wind")) and told.get("wind_from") is None
        return Weather(**{**{k: v for k, v in told.items() if v is not None}, **own}, variable=variable)

    def all(self) -> tuple[Weather, ...]:
        """The weather of each known hour, or the one there is."""
        return tuple(w for _, w in self.hours) or (self,)

    def along(
        self, reports: Sequence[dict[str, Any]], start: dt.datetime, place: tuple[float, float] | None = None
    ) -> Weather:
        """This weather where it is given, else that of dated reports along the hours from the start on; of those within
        50 km of a place (latitude, longitude), where both are known, the first of each moment.

        Raises
        ------
        UsageError
            No report within 90 minutes of the start.

        ``place`` [deg]; times in Unix seconds [s].
        """
        begin = start.timestamp()
        near = {
            r["time"]: r
            for r in reversed(reports)
            if -NEAREST_S <= r["time"] - begin <= 48 * 3600 and weather.is_near(r, place)
        }
        keep = [near[moment] for moment in sorted(near)]
        if not keep or keep[0]["time"] - begin > NEAREST_S:
            raise UsageError(
                f"no weather report is within {NEAREST_S // 60} minutes of the start at {start:%Y-%m-%d %H:%M}"
            )
        names = {
            "wind": "wind_mps",
            "wind_from": "wind_from_deg",
            "temperature": "temperature_c",
            "humidity": "humidity",
            "pressure": "pressure_pa",
        }
        points = tuple((r["time"] - begin, self._over({n: r.get(k) for n, k in names.items()})) for r in keep)
        return replace(self, hours=points)

    def value(self, name: str, seconds: Floats) -> Floats | None:
        """A quantity at seconds after the start; None where it is not known.

        ``seconds`` has shape (n,) [s]; the result is in the unit of `LIMITS`.
        """
        points = self.hours or ((0.0, self),)
        known = [(t, float(getattr(w, name))) for t, w in points if getattr(w, name) is not None]
        if not known:
            return None
        return np.asarray(np.interp(seconds, [t for t, _ in known], [v for _, v in known]), dtype=float)

    def wind_along(self, heading: Floats | None, seconds: Floats) -> tuple[Floats, Floats]:
        """Wind against a runner on a heading [deg], and across, at runner's height behind the usual shelter. [m/s]"""
        points = [(t, w) for t, w in (self.hours or ((0.0, self),)) if w.wind is not None and not w.variable]
        still = np.zeros(len(seconds))
        if not points:
            return still, still
        times = [t for t, _ in points]
        speed = np.interp(seconds, times, [w.wind or 0.0 for _, w in points])
        share = float(air.wind_at_height(1.0, shelter=SHELTER))
        if heading is None or not any(w.wind_from is not None for _, w in points):
            return share * speed, still
        north, east = (
            np.interp(
                seconds, times, [(w.wind or 0.0) * float(turn(np.radians(w.wind_from or 0.0))) for _, w in points]
            )
            for turn in (np.cos, np.sin)
        )
        ahead, aside = np.cos(np.radians(heading)), np.sin(np.radians(heading))
        return (
            np.asarray(share * (north * ahead + east * aside), dtype=float),
            np.asarray(share * np.abs(east * ahead - north * aside), dtype=float),
        )

    def density(self, altitude: Floats, seconds: Floats) -> Floats:
        """Air density by position and hour. [kg/m³]"""
        temperature, humidity, level = (self.value(n, seconds) for n in ("temperature", "humidity", "pressure"))
        pressure = np.array([air.standard_pressure(float(h)) for h in np.round(altitude, -1)])
        if level is not None:
            pressure = pressure * level / air.standard_pressure(0.0)
        whole = np.ones(len(altitude))
        return np.asarray(
            air.density(
                15.0 * whole if temperature is None else temperature,
                pressure,
                0.5 * whole if humidity is None else humidity,
            ),
            dtype=float,
        )

    def heat(self, seconds: Floats) -> Floats | None:
        """Wet-bulb globe temperature along the hours; None without a temperature. [°C]"""
        temperature, humidity = self.value("temperature", seconds), self.value("humidity", seconds)
        if temperature is None:
            return None
        return np.asarray(
            air.wet_bulb_globe_temperature(temperature, 0.5 if humidity is None else humidity), dtype=float
        )
