"""W′ along a run."""

from __future__ import annotations

from dataclasses import dataclass

from footwork.results.base import EstimateJson, Result


@dataclass(frozen=True, kw_only=True)
class BalanceAlong(Result):
    """W′ balance along a run with its interval."""

    run: int
    scale: str
    as_of: str
    minimum: EstimateJson
    minimum_at_s: int
    w_prime: EstimateJson
    critical_power: EstimateJson
    seconds: list[int]
    low_j: list[float]
    middle_j: list[float]
    high_j: list[float]
