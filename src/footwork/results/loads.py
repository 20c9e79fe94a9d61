"""Time in domains and CP-minutes."""

from __future__ import annotations

from dataclasses import dataclass

from footwork.quantities import Estimate
from footwork.results.base import Result


@dataclass(frozen=True, kw_only=True)
class SpanLoad(Result):
    """Time in domains of some runs together, where their scales have a critical power, and their load."""

    runs: int
    runs_without_cp: int
    runs_without_load: int
    cp_minutes: float
    load: Estimate
    seconds_in_domains: dict[str, float]
    seconds_in_domains_range: dict[str, list[float]]
    critical_power: str


@dataclass(frozen=True, kw_only=True)
class RunLoad(Result):
    """Time in domains and load of one run, the way in which the load is known, and what is to be said of it."""

    cp_minutes: float
    load: Estimate
    way: str
    notes: list[str]
    seconds_in_domains: dict[str, float]
    seconds_in_domains_range: dict[str, list[float]]
    edges_w: list[float]
    critical_power: str


@dataclass(frozen=True, kw_only=True)
class ActivityLoad(Result):
    """Load of one activity: by the best way that is there (``way``), and what every way says (``ways``, CP-minutes on
    the measure of running). ``run`` is its number, None for another sport, whose ``recording`` it is."""

    run: int | None
    recording: int | None
    date: str
    sport: str
    duration_s: float
    distance_m: float | None
    climb_m: float | None
    descent_m: float | None
    load: Estimate
    way: str
    ways: dict[str, float]
    notes: list[str]


@dataclass(frozen=True, kw_only=True)
class LoadSpan(Result):
    """Load of a day, week or month: of running, and of all sports; hours, distance, climb and descent of runs beside
    it. ``ways`` counts how its activities' load is known; ``silent_days`` are days of which nothing is known."""

    first: str
    last: str
    running: Estimate
    all_sport: Estimate
    runs: int
    activities: int
    duration_s: float
    all_duration_s: float
    distance_m: float
    climb_m: float
    descent_m: float
    ways: dict[str, int]
    without_load: int
    silent_days: int


@dataclass(frozen=True, kw_only=True)
class UsualWeek(Result):
    """Running load of a usual week, its quartiles, and the median with all sports. [CP-min]"""

    cp_minutes: float
    low: float
    high: float
    all_sport: float
    weeks: int


@dataclass(frozen=True, kw_only=True)
class LoadResponse(Result):
    """Whether tests tell how critical power follows load. ``shown`` only where every condition holds; ``more_load`` is
    what a fifth more load for eight weeks does to it, ``memory`` of how many days it answers to; ``scores`` are sums of
    log densities of held-out tests by model, ``reasons`` what stands against it, ``would_tell`` what would help."""

    asked_on: str
    shown: bool
    sentence: str
    scale: str
    tests: int
    weeks: float
    scores: dict[str, float]
    more_load: Estimate
    memory: Estimate
    reasons: list[str]
    would_tell: str


@dataclass(frozen=True, kw_only=True)
class LoadBySpan(Result):
    """Load by day, week or month, the activities in it (the newest first), and how each way of knowing load reads
    against the better one."""

    by: str
    sentence: str
    spans: list[LoadSpan]
    usual_week: UsualWeek | None
    activities: list[ActivityLoad]
    calibrations: dict[str, dict[str, float]]
