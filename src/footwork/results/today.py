"""What is new and due."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NotRequired, TypedDict

from footwork.results.base import EstimateJson, Result
from footwork.results.loads import UsualWeek


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
    title: str
    against_usual: str
    against_session: str


class DueWeek(TypedDict):
    runs: int
    duration_s: float
    distance_m: float
    cp_minutes: float
    load: EstimateJson
    seconds_in_domains: dict[str, float]


class DueRun(TypedDict):
    id: int
    title: str
    duration_s: float
    seconds_in_domains: dict[str, float] | None
    marks: list[str]


class DueAsked(TypedDict):
    id: int
    name: str
    text: str
    duration_s: float | None


class DueDay(TypedDict):
    date: str
    runs: list[DueRun]
    asked: list[DueAsked]


class DueWeekRow(TypedDict):
    monday: str
    days: list[DueDay]
    runs: int
    duration_s: float
    distance_m: float
    load: EstimateJson


class DueNext(TypedDict):
    id: int
    date: str
    name: str
    text: str
    duration_s: float | None
    hard: bool
    not_now: bool
    power_w: float | None
    speed_mps: float | None
    run_dry_probability: float | None


class DueItem(TypedDict):
    what: str
    why: str
    page: str
    caution: NotRequired[str]


@dataclass(frozen=True, kw_only=True)
class Due(Result):
    """What is new, what is due and what to do next.

    ``headline`` says what to do next and ``reason`` why, as of ``asked_on``; ``weeks`` are six, each with its seven
    days, the runs and the sessions asked that were not run; ``usual_week`` the median and quartiles of the complete
    weeks before.
    """

    asked_on: str
    headline: str
    reason: str
    caution: str
    held: bool
    days_since: int | None
    weeks: list[DueWeekRow]
    usual_week: UsualWeek | None
    next: list[DueNext]
    planned: list[Any]
    scale: str
    runs: int
    newest: DueNewest
    week: DueWeek
    critical_power: EstimateJson
    due: list[DueItem]
    evidence: str
    kind: str
