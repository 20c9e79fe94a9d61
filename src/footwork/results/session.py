"""What a session asks, and what a run made of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NotRequired, TypedDict

from footwork.results.base import ABSENT, EstimateJson, Result


class SessionPreviewStep(TypedDict):
    text: str
    repeat: list[int]
    start_s: float
    duration_s: float
    power_w: float
    low_w: float
    high_w: float
    speed_mps: float | None
    distance_m: float | None
    heart_rate_bpm: float | None
    domain: str
    w_prime_j: float
    w_prime_low_j: float
    w_prime_high_j: float
    dry_by: float
    dry_in: float


class SessionPreviewKinder(TypedDict):
    text: str
    change: str


class SessionMatchStep(TypedDict):
    index: int
    text: str
    work: bool
    found: bool
    asked_s: float
    asked_m: Any
    open: bool
    all_out: bool
    banded: bool
    ends: list[float]
    low_w: float
    high_w: float
    of: str
    low: float
    high: float
    start_s: NotRequired[int]
    end_s: NotRequired[int]
    power_w: NotRequired[float]
    speed_mps: NotRequired[float]
    heart_rate_bpm: NotRequired[float]
    held: NotRequired[float]
    in_band: NotRequired[float | None]
    spread_w: NotRequired[float | None]
    fade_share: NotRequired[float | None]
    start_share: NotRequired[float | None]
    heart_rate_drop_bpm: NotRequired[float | None]
    heart_rate_end_bpm: NotRequired[float | None]
    w_prime_start_j: NotRequired[float]
    w_prime_end_j: NotRequired[float]


class SessionMatchExtra(TypedDict):
    start_s: float
    end_s: float
    kind: str
    group: str
    power: float
    heart_rate: float
    speed: float
    grade: float


class SessionMatchRests(TypedDict):
    asked_s: float
    run_s: float


class RecognisedEffortChecks(TypedDict):
    steady: bool
    paced: bool
    warmed_up: bool


class SessionsApartPair(TypedDict):
    first: SessionMatchExtra
    second: SessionMatchExtra


@dataclass(frozen=True, kw_only=True)
class SessionPreview(Result):
    """What a session asks of a runner, step by step; ``solved`` and ``leave`` where it was solved for an unknown."""

    text: str
    duration_s: float
    w_prime_j: float
    cp_minutes: float
    w_prime_minimum_j: float
    run_dry_probability: float
    steps: list[SessionPreviewStep]
    seconds_in_domains: dict[str, float]
    hardest: int
    kinder: SessionPreviewKinder | None
    scale: str
    critical_power_w: float
    accepted: bool
    held_back: str | None
    warnings: list[str]
    of_capacity: list[str]
    solved: float = ABSENT
    leave: float = ABSENT


@dataclass(frozen=True, kw_only=True)
class SessionMatch(Result):
    """A run against a session: each step beside what was run, the verdict, and what to ask the next time."""

    run: int
    text: str
    steps: list[SessionMatchStep]
    extra: list[SessionMatchExtra]
    done: int
    asked: int
    scale: str
    critical_power_w: float
    rests: SessionMatchRests | None
    verdict: str
    next: str


@dataclass(frozen=True, kw_only=True)
class RecognisedEffort(Result):
    """A test or race that nobody marked, and whether it would be a valid one."""

    run: int
    kind: str
    start_s: int
    end_s: int
    power_w: float
    distance_m: float
    limit_share: float
    checks: RecognisedEffortChecks
    valid: bool
    sentence: str


@dataclass(frozen=True, kw_only=True)
class SessionsApart(Result):
    """The same session on two days."""

    first: int
    second: int
    dates: list[str]
    scale: str
    pairs: list[SessionsApartPair]
    power: EstimateJson
    speed: EstimateJson
    speed_at_power: EstimateJson
    heart_rate_at_power: EstimateJson
    differed: list[str]
    sentence: str
