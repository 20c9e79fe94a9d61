"""A trial as designed, and its result."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypedDict

from footwork.results.base import EstimateJson, Result


class TrialDesignStatisticalPower(TypedDict):
    runs: int
    power: float


class TrialResultTrial(TypedDict):
    id: int
    date: str
    name: str
    conditions: list[str]
    cadences_percent: list[Any]
    outcome: str
    unit: str
    smallest_worthwhile_change: float
    effect: float
    block_s: float
    rest_s: float
    warm_s: float
    repeats: int
    blocks: int
    speed_mps: float
    course: str
    typical_error: float
    typical_error_freedom: int
    run_sd: float
    runs: int
    runs_needed: int
    power_asked: float
    seed: int
    orders: list[list[int]]
    length_s: float
    statistical_power: list[TrialDesignStatisticalPower]
    cautions: list[str]


class TrialResultBlock(TypedDict):
    run: int
    block: int
    condition: int
    start_s: float
    end_s: float
    hours: float
    heart_rate: float
    speed: float
    power: float
    cadence: float
    stance_time: float | None
    vertical_oscillation: float | None
    grade: float
    exertion: int | None
    oxygen_uptake: Any


class TrialResultEffect(TypedDict):
    condition: str
    difference: EstimateJson
    smallest_worthwhile_change: float
    probability_better: float
    probability_worse: float
    probability_trivial: float
    word: str


class TrialResultPrimary(TypedDict):
    outcome: str
    unit: str
    effects: list[TrialResultEffect]
    blocks: int
    needed: float


class TrialResultEffect2(TypedDict):
    condition: str
    difference: EstimateJson
    smallest_worthwhile_change: Any
    probability_better: Any
    probability_worse: Any
    word: str


class TrialResultSecondary(TypedDict):
    outcome: str
    unit: str
    effects: list[TrialResultEffect2]
    blocks: int
    needed: float


class TrialResultSpread(TypedDict):
    runs_that_tell: int
    within: float
    between_runs: float
    freedom: list[float]
    unit: str


class TrialResultSpeedSlope(TypedDict):
    value: float
    told: str


class CadenceHistoryGroup(TypedDict):
    cadence: str
    minutes: int
    heart_rate_bpm: float


@dataclass(frozen=True, kw_only=True)
class TrialDesign(Result):
    """A trial: conditions, blocks, orders, and how many runs it takes."""

    name: str
    conditions: list[str]
    cadences_percent: list[int]
    outcome: str
    unit: str
    smallest_worthwhile_change: float
    effect: float
    block_s: float
    rest_s: float
    warm_s: float
    repeats: int
    blocks: int
    speed_mps: float
    course: str
    typical_error: float
    typical_error_freedom: int
    run_sd: float
    runs: int
    runs_needed: int
    power_asked: float
    seed: int
    orders: list[list[int]]
    length_s: float
    statistical_power: list[TrialDesignStatisticalPower]
    cautions: list[str]


@dataclass(frozen=True, kw_only=True)
class TrialResult(Result):
    """What a trial's runs tell so far."""

    trial: TrialResultTrial
    runs: list[int]
    blocks: list[TrialResultBlock]
    primary: TrialResultPrimary
    secondary: list[TrialResultSecondary]
    spread: TrialResultSpread
    looks: int
    planned_runs: int
    cadence: Any
    speed_slope: TrialResultSpeedSlope
    corrected: str
    warnings: list[str]
    verdict: str
    sentence: str


@dataclass(frozen=True, kw_only=True)
class CadenceHistory(Result):
    """Heart rate against cadence in everyday runs, described only."""

    groups: list[CadenceHistoryGroup]
    runs: int
    sentence: str
