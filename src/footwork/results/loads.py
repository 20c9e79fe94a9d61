"""Time in domains and CP-minutes."""

from __future__ import annotations

from dataclasses import dataclass

from footwork.quantities import Estimate
from footwork.results.base import Result


@dataclass(frozen=True, kw_only=True)
class SpanLoad(Result):
    """Time in domains and CP-minutes of some runs together."""

    runs: int
    runs_without_cp: int
    cp_minutes: float
    load: Estimate
    seconds_in_domains: dict[str, float]
    seconds_in_domains_range: dict[str, list[float]]
    critical_power: str


@dataclass(frozen=True, kw_only=True)
class RunLoad(Result):
    """Time in domains and CP-minutes of one run."""

    cp_minutes: float
    load: Estimate
    seconds_in_domains: dict[str, float]
    seconds_in_domains_range: dict[str, list[float]]
    edges_w: list[float]
    critical_power: str
