"""Strategies, reviews and predictions of races."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NotRequired, TypedDict

from footwork.results.base import EstimateJson, Result


class StrategiesSegment(TypedDict):
    start_m: float
    end_m: float
    power_w: float
    shown_w: float
    speed_mps: float
    grade: float
    headwind_mps: float
    w_prime_j: float
    endurance_spent: float
    clock_s: float


class StrategiesByName(TypedDict):
    time_s: float
    behind_quickest_s: float
    mean_power_w: float
    dry_at_m: float | None
    limited_at_m: float | None
    segments: list[StrategiesSegment]


class Quantiles(TypedDict):
    p10: float
    p50: float
    p90: float


class StrategiesFinishCurve(TypedDict):
    share: float
    time_s: float


class StrategiesUnknown(TypedDict):
    name: str
    what: str
    share: float
    sd_s: float


class StrategiesSolver(TypedDict):
    status: str
    iterations: int
    seconds: float
    residual: float


class StrategiesFuel(TypedDict):
    energy_kcal: float
    carbohydrate_low_g_per_h: int
    carbohydrate_high_g_per_h: int
    sentence: str


class StrategiesPass(TypedDict):
    at_m: float
    name: str


class StrategiesInstruction(TypedDict):
    start_m: float
    end_m: float
    watch_end_m: float
    clock_s: float
    duration_s: float
    power_w: float
    low_w: float
    high_w: float
    effort_w: float
    effort_low_w: float
    effort_high_w: float
    feels: str
    speed_mps: float
    grade: float
    headwind_mps: float
    where: str
    watch: str
    until: str
    passes: list[StrategiesPass]
    walked: bool
    why: str


class StrategiesDescent(TypedDict):
    grade: float
    cost_share: float
    saved_share: float
    saved_sd: float
    effort_share: float
    effort_sd: float
    speed_share: float | None
    speed_share_low: float | None
    speed_share_high: float | None
    fastest_share: float
    fastest_shown: bool
    minutes: int


class RaceReviewRow(TypedDict):
    distance_m: float
    length_m: float
    time_s: float
    planned_s: float
    power_w: float
    planned_power_w: float
    effort_s: float
    other_s: float


class RaceReviewProfile(TypedDict):
    end_m: float
    w_prime_j: float
    endurance_spent: float
    dry: float


class RaceReviewStores(TypedDict):
    w_prime_least_j: float
    w_prime_least_at_m: float
    endurance_spent: float
    dry_probability: float
    dry_from_m: float | None
    profile: list[RaceReviewProfile]


class PastPredictionsRace(TypedDict):
    run: int
    date: str
    distance_m: float
    time_s: float
    predicted: Quantiles | None
    error_share: NotRequired[float]
    faster_days: NotRequired[float]
    reason: str | None


@dataclass(frozen=True, kw_only=True)
class Strategies(Result):
    """Ways to run a race on one reserve, what race days make of the chosen one, and how to run it."""

    chosen: str
    descents: list[StrategiesDescent]
    reserve: float
    risk: float | None
    w_prime_j: float
    strategies: dict[str, StrategiesByName]
    finish_time: Quantiles
    late_probability: float
    run_dry_probability: float
    in_hand_share: float
    hundred_days_s: list[float]
    finish_curve: list[StrategiesFinishCurve]
    easing_by_segment: list[float]
    unknowns: list[StrategiesUnknown]
    solver: StrategiesSolver
    fuel: StrategiesFuel
    why: str
    instructions: list[StrategiesInstruction]
    bands_cost_s: float
    simplifying_costs_s: float
    negative_split_costs_s: float | None
    cautions: list[str]


@dataclass(frozen=True, kw_only=True)
class RaceReview(Result):
    """A race as it was run against the plan of the day before."""

    run: int
    date: str
    distance_m: float
    scale: str
    evidence_until: str
    time_s: float
    predicted: Quantiles
    error_share: float
    faster_days: float
    counts: bool
    tail_before: EstimateJson
    tail_after: EstimateJson | None
    planned_s: float
    lost_s: float
    stops_planned_s: float
    effort_s: float
    other_s: float
    hills_s: float
    wind_s: float
    rows: list[RaceReviewRow]
    stores: RaceReviewStores
    fade_share: float
    sentence: str


@dataclass(frozen=True, kw_only=True)
class PastPredictions(Result):
    """Predictions of past races against their results."""

    races: list[PastPredictionsRace]
    inside_share: float | None
    error: EstimateJson
    sentence: str


@dataclass(frozen=True, kw_only=True)
class ChangedPlan(Result):
    """A plan at even power after one change."""

    time_s: float
    power_w: float
    w_prime_least_j: float
    endurance_spent: float
    dry_probability: float
    gives_way_probability: float
