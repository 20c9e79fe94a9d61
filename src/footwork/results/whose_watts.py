"""Devices, their scales and agreement, and power at speed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NotRequired, TypedDict

from footwork.results.base import ABSENT, EstimateJson, Result


class DevicesJump(TypedDict):
    date: str
    earliest: str
    latest: str
    change: EstimateJson
    heart_rate: EstimateJson
    heart_rate_if_real_bpm: float
    says: str
    sentence: str


class DevicesPoint(TypedDict):
    run: int
    date: str
    share: float


class DevicesDrift(TypedDict):
    reason: str
    jumps: list[DevicesJump]
    points: list[DevicesPoint]


class DevicesStep(TypedDict):
    round: int
    step: int
    speed_mps: float
    power_w: float


class DevicesDevice(TypedDict):
    scale: str
    start_s: int
    grade: float
    steps: list[DevicesStep]
    typical_error: EstimateJson
    coefficient_of_variation: EstimateJson
    repeatability: EstimateJson
    response: EstimateJson
    slope: EstimateJson
    intercept: EstimateJson
    linearity: EstimateJson
    sentence: str


class DevicesCheck(TypedDict):
    run: int
    date: str
    devices: list[DevicesDevice]


class DevicesScale(TypedDict):
    name: str
    measured: bool
    main: bool
    runs: int
    first: str
    last: str
    duration_s: float
    accepted: Any
    drift: DevicesDrift | None
    checks: list[DevicesCheck]


class DeviceComparisonReasons(TypedDict):
    power: str


class DeviceComparisonLimitsOfAgreement(TypedDict):
    low: EstimateJson
    high: EstimateJson


class DeviceComparisonDeming(TypedDict):
    slope: EstimateJson
    intercept: EstimateJson


class SignalAgreement(TypedDict):
    bias: EstimateJson
    limits_of_agreement: DeviceComparisonLimitsOfAgreement
    proportional_bias: EstimateJson
    concordance: EstimateJson
    deming: DeviceComparisonDeming
    typical_error: EstimateJson
    correlation: float
    intraclass: dict[str, float]
    n: int
    n_effective: float
    first_mean: float
    second_mean: float


class DeviceComparisonLevels(TypedDict):
    power: NotRequired[SignalAgreement]
    heart_rate: NotRequired[SignalAgreement]
    speed: NotRequired[SignalAgreement]
    distance: NotRequired[SignalAgreement]


class DeviceComparisonIntensity(TypedDict):
    part: str
    seconds: int
    bias: EstimateJson
    bias_share: EstimateJson
    limits_of_agreement: DeviceComparisonLimitsOfAgreement


class DeviceComparisonSplits(TypedDict):
    intensity: list[DeviceComparisonIntensity]
    slope: list[DeviceComparisonIntensity]
    phase: list[DeviceComparisonIntensity]


class DeviceComparisonErrorRatio(TypedDict):
    value: float
    source: str


class DeviceComparisonDemingSlope(TypedDict):
    error_ratio: float
    slope: float


class PowerAgreement(SignalAgreement):
    error_ratio: DeviceComparisonErrorRatio
    deming_slopes: list[DeviceComparisonDemingSlope]


class PowerOfScaleAt(TypedDict):
    speed_mps: float
    power: EstimateJson
    one_day: EstimateJson
    specific_power: EstimateJson


class PowerOfScalePrior(TypedDict):
    value: float
    low: float
    high: float


class PowerOfScaleEffect(TypedDict):
    name: str
    what: str
    learned_share: float
    prior: PowerOfScalePrior
    effect: EstimateJson


class PowerOfScaleHeldOut(TypedDict):
    run_error: EstimateJson
    run_bias: EstimateJson
    minute_error: EstimateJson


class PowerOfScalePoint(TypedDict):
    run: int
    speed_mps: float
    power_w: float
    minutes: int


@dataclass(frozen=True, kw_only=True)
class Devices(Result):
    """Every scale with its use, drift and checks, and the conversions to the main one."""

    main: str
    scales: list[DevicesScale]
    conversions: list[dict[str, EstimateJson | float | str | None]]
    sentence: str


@dataclass(frozen=True, kw_only=True)
class DeviceCheck(Result):
    """What a device check says of each device in the run."""

    run: int
    date: str
    devices: list[DevicesDevice]


@dataclass(frozen=True, kw_only=True)
class DeviceComparison(Result):
    """Two devices on one run: clocks, agreement by signal and at several means, and a verdict."""

    first: str
    second: str
    common_s: int
    lag_s: float
    lag: EstimateJson
    lag_by: str
    clock_drift: EstimateJson
    response: EstimateJson
    reasons: DeviceComparisonReasons
    levels: dict[str, DeviceComparisonLevels]
    splits: DeviceComparisonSplits
    power: PowerAgreement = ABSENT
    heart_rate: SignalAgreement = ABSENT
    speed: SignalAgreement = ABSENT
    distance: SignalAgreement = ABSENT
    verdict: str


@dataclass(frozen=True, kw_only=True)
class PowerOfScale(Result):
    """Power at speed of a scale: its band at flat speeds, what else goes with it, and its error on runs held out."""

    date: str
    scale: str
    mass_kg: float
    source: str
    runs: int
    minutes: int
    day_spread: float
    at: list[PowerOfScaleAt]
    effects: list[PowerOfScaleEffect]
    held_out: PowerOfScaleHeldOut
    points: list[PowerOfScalePoint]
    sentence: str
