"""What is new and due."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NotRequired, TypedDict

from footwork.results.base import EstimateJson, Result


class DueWeather(TypedDict):
    temperature_c: float
    humidity: float
    wind_mps: float
    wind_from_deg: float
    source: str


class DueNewest(TypedDict):
    id: int
    start: str
    date: str
    duration_s: float
    distance_m: float
    climb_m: float
    power_w: float
    power_scale: str
    measured: bool
    heart_rate_bpm: float
    heart_rate_sound_s: float
    recordings: int
    marks: list[str]
    surface: str
    shoe: str
    left_out: bool
    entered_by_hand: bool
    note: str
    weather: DueWeather | None


class DueWeek(TypedDict):
    runs: int
    duration_s: float
    distance_m: float
    cp_minutes: float
    load: EstimateJson
    seconds_in_domains: dict[str, float]


class DueItem(TypedDict):
    what: str
    why: str
    page: str
    caution: NotRequired[str]


@dataclass(frozen=True, kw_only=True)
class Due(Result):
    """What is new and what is due."""

    planned: list[Any]
    scale: str
    runs: int
    newest: DueNewest
    week: DueWeek
    critical_power: EstimateJson
    due: list[DueItem]
    evidence: str
    kind: str
