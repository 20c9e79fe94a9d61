"""Progress over a season, along a run and between two periods."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NotRequired, TypedDict

from footwork.results.base import EstimateJson, Result


class SeasonProgressDecision(TypedDict):
    probability_better: float | None
    probability_worse: float | None
    probability_trivial: float | None
    needed: float
    looks: int


class SeasonProgressSery(TypedDict):
    date: str
    heart_rate: EstimateJson
    power: EstimateJson


class SeasonProgressEach(TypedDict):
    run: int
    date: str
    heart_rate_bpm: float
    sd_bpm: float


class SeasonProgressEffect(TypedDict):
    name: str
    of: str
    effect: EstimateJson


class SeasonProgressSpread(TypedDict):
    run_sd_bpm: float
    minute_sd_bpm: float
    week_sd_bpm: float


class SeasonProgressResult(TypedDict):
    date: str
    critical_power: EstimateJson
    evidence: str


class SeasonProgressMonth(TypedDict):
    month: str
    speed: EstimateJson


class SeasonProgressSpeed(TypedDict):
    power_w: int
    months: list[SeasonProgressMonth]
    sentence: str


class SeasonProgressMonth2(TypedDict):
    month: str
    mean: float
    runs: int


class SeasonProgressMeasure(TypedDict):
    name: str
    unit: str
    speed_mps: float
    run_sd: float
    change: EstimateJson
    months: list[SeasonProgressMonth2]


class SeasonProgressForm(TypedDict):
    measures: list[SeasonProgressMeasure]
    sentence: str


class SeasonProgressDurability(TypedDict):
    from_kj: int
    to_kj: int
    rise: EstimateJson


class RunDriftPoint(TypedDict):
    elapsed_s: float
    heart_rate_bpm: float


class PeriodComparisonFirst(TypedDict):
    runs: list[int]
    since: str
    until: str
    minutes: int


class PeriodComparisonOutcome(TypedDict):
    name: str
    difference: EstimateJson
    smallest_worthwhile_change: float | None
    probability_worthwhile: float | None
    probability_worse: NotRequired[float | None]


class PeriodComparisonMatched(TypedDict):
    low_w: float
    high_w: float
    slopes: str
    temperature: str


class PeriodComparisonDecision(TypedDict):
    probability_better: float | None
    probability_worse: float | None
    probability_trivial: float | None
    needed: float
    more_runs: Any


@dataclass(frozen=True, kw_only=True)
class SeasonProgress(Result):
    """Heart rate at power through a season, apart from what else moves it, and one verdict."""

    verdict: str
    decision: SeasonProgressDecision
    date: str
    since: str
    until: str
    scale: str
    runs: int
    minutes: int
    heart_rate_sound: float
    reference_power_w: int
    reference_heart_rate_bpm: int
    smallest_worthwhile_change_percent: float
    conditions: str
    series: list[SeasonProgressSery]
    each: list[SeasonProgressEach]
    change: EstimateJson
    change_heart_rate: EstimateJson
    effects: list[SeasonProgressEffect]
    spread: SeasonProgressSpread
    time_constants_s: list[float]
    results: list[SeasonProgressResult]
    speed: SeasonProgressSpeed
    form: SeasonProgressForm
    durability: list[SeasonProgressDurability]
    warnings: list[str]
    prior: str
    differences_in_conditions: list[Any]
    alike_since: str | None
    sentence: str


@dataclass(frozen=True, kw_only=True)
class RunDrift(Result):
    """Heart rate against power along one run, beside what is usual."""

    run: int
    power_w: float
    drift: EstimateJson
    usual: EstimateJson
    points: list[RunDriftPoint]
    sentence: str


@dataclass(frozen=True, kw_only=True)
class PeriodComparison(Result):
    """Two runs or blocks of weeks at matched power."""

    first: PeriodComparisonFirst
    second: PeriodComparisonFirst
    scale: str
    outcomes: list[PeriodComparisonOutcome]
    matched: PeriodComparisonMatched
    smallest_worthwhile_change_percent: float
    differences_in_conditions: list[str]
    prior: str
    verdict: str
    decision: PeriodComparisonDecision
    heat_taken_off_bpm: float | None
    sentence: str
