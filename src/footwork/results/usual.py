"""What is usual for the runner, and how the newest runs compare."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypedDict

from footwork.results.base import EstimateJson, Result


class UsualRunningGroup(TypedDict):
    name: str
    power: EstimateJson
    speed: EstimateJson
    heart_rate: EstimateJson
    spread_w: float | None
    minutes: int
    runs: int


class UsualRunningAtPace(TypedDict):
    speed_mps: float
    power: EstimateJson
    spread_w: float
    one_day_w: float


class UsualRunningEffect(TypedDict):
    of: str
    change: str
    effect: EstimateJson


class UsualRunningWeather(TypedDict):
    temperature_c: float
    humidity: float
    wind_mps: float
    wind_from_deg: float
    source: str


class UsualRunningNewest(TypedDict):
    run: int
    date: str
    weather: UsualRunningWeather | None
    power_excess: EstimateJson
    power_unusual: bool
    usual_power_w: float | None
    conditions_w: dict[str, float]
    heart_rate_excess: EstimateJson
    heart_rate_unusual: bool
    sentence: str


@dataclass(frozen=True, kw_only=True)
class UsualRunning(Result):
    """Usual watts for easy, steady and hard running and at pace, and the newest runs against them."""

    date: str
    scale: str
    measured: bool
    reason: str
    groups: list[UsualRunningGroup]
    at_pace: list[UsualRunningAtPace]
    effects: list[UsualRunningEffect]
    newest: UsualRunningNewest
    runs: list[UsualRunningNewest]
