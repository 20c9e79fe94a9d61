"""The device check: three steady speeds run twice, three minutes each at known times. What it says of a device."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from footwork.analysis.agreement import repeatability
from footwork.analysis.quantiles import chi_square, student
from footwork.errors import NotEnoughData
from footwork.quantities import Estimate, Floats
from footwork.signals import Signals

METHOD_VERSION = 2
STEP_S, SETTLE_S, LEGS_S = 180, 45, 12
LEAST_WATTS, LEAST_SPEED = 30.0, 1.0  # less is standing
LEVELS, ROUNDS = 3, 2
TOTAL_S = STEP_S * LEVELS * ROUNDS
RISE = 0.05  # each level is at least so much faster than the one before
EVEN = 0.035  # spread of speed within a step, as a share
REPEAT = 0.03  # speeds of the two rounds agree within this share
_LATEST_S = 5400


@dataclass(frozen=True)
class Check:
    """Result of one check: where its steps began [s of the run], mean speed [m/s] and power [W] of each step, shape
    (rounds, levels), and what follows."""

    start: int
    speed: Floats
    power: Floats
    typical_error: Estimate
    coefficient_of_variation: Estimate
    repeatability: Estimate
    response: Estimate
    slope: Estimate
    intercept: Estimate
    bend: Estimate


def find(signals: Signals) -> int | None:
    """Second at which the six steps begin, or None where the run holds no check.

    Speed decides; a belt that no device sees (speed missing) leaves the device's own power to show the steps.
    """
    v = signals.get("speed")
    slack = 1.0
    if not np.isfinite(v).mean() > 0.8:
        v, slack = signals.get("power"), 2.0
    running = np.where(signals.timer, v, np.nan)
    n = min(len(running), _LATEST_S + TOTAL_S)
    known = np.isfinite(running[:n])
    if n < TOTAL_S or known.mean() < 0.7:
        return None
    filled = np.interp(np.arange(n), np.flatnonzero(known), running[:n][known])
    smooth = np.convolve(filled, np.ones(5) / 5, mode="same")
    total = np.concatenate([[0.0], np.cumsum(smooth)])
    square = np.concatenate([[0.0], np.cumsum(smooth**2)])
    starts = np.arange(n - TOTAL_S + 1)
    means, spreads = [], []
    for step in range(LEVELS * ROUNDS):
        a, b = starts + step * STEP_S + SETTLE_S, starts + (step + 1) * STEP_S - 5
        mean = (total[b] - total[a]) / (b - a)
        means.append(mean)
        spreads.append(np.sqrt(np.maximum((square[b] - square[a]) / (b - a) - mean**2, 0)) / np.maximum(mean, 0.1))
    level, spread = np.array(means).reshape(ROUNDS, LEVELS, -1), np.array(spreads).max(axis=0)
    rises = (level[:, 1:] / np.maximum(level[:, :-1], 0.1)).min(axis=(0, 1)) >= 1 + RISE
    alike = (np.abs(level[1] / np.maximum(level[0], 0.1) - 1)).max(axis=0) <= REPEAT * slack
    fits = rises & alike & (spread <= EVEN * slack) & (level.min(axis=(0, 1)) > 1.0)
    if not fits.any():
        return None
    # Of the starts that fit, the one whose steps, less their first seconds, are the most even: the change then falls
    # there.
    costs = []
    candidates = np.flatnonzero(fits)
    for at in candidates:
        cost = 0.0
        for step in range(LEVELS * ROUNDS):
            low, high = int(at) + step * STEP_S + LEGS_S, int(at) + (step + 1) * STEP_S
            cost += float(square[high] - square[low] - (total[high] - total[low]) ** 2 / (high - low))
        costs.append(cost)
    return int(candidates[int(np.argmin(costs))])


def measure(signals: Signals, column: str = "power", start: int | None = None) -> Check:
    """What a check says of the device that wrote ``column``.

    Parameters
    ----------
    signals : Signals
    start : int, optional
        Second at which the steps began, where it is known better than it can be found.

    Raises
    ------
    NotEnoughData
        No check in the run, or steps without power.
    """
    begin = find(signals) if start is None else start
    if begin is None:
        raise NotEnoughData(
            "this run holds no device check: three speeds, each 5 % or more faster than the one before, "
            "three minutes each, twice"
        )
    power, v = signals.get(column), signals.get("speed")
    if begin < 0 or begin + TOTAL_S > len(power):
        raise NotEnoughData("the run ends before the six steps of three minutes do")
    steps = [slice(begin + k * STEP_S + SETTLE_S, begin + (k + 1) * STEP_S - 5) for k in range(LEVELS * ROUNDS)]
    if any(np.isfinite(power[s]).mean() < 0.8 for s in steps):
        raise NotEnoughData("a step of the check has no power")
    watts = np.array([float(np.nanmean(power[s])) for s in steps]).reshape(ROUNDS, LEVELS)
    speeds = np.array([float(np.nanmean(v[s])) if np.isfinite(v[s]).any() else np.nan for s in steps]).reshape(
        ROUNDS, LEVELS
    )
    # The rounds are hardly ever run at exactly one speed: the second is brought to the first's.
    ratio = np.where(np.isfinite(speeds).all(), speeds[0] / speeds[1], 1.0)
    if watts.min() < LEAST_WATTS or (speeds < LEAST_SPEED).any():
        raise NotEnoughData("a step of the check was not run")
    level = float(watts.mean())
    repeat = _with_interval(repeatability(watts[0], watts[1] * ratio), LEVELS)
    error = repeat.scaled(1 / 8**0.5, "W")  # 2 √2 within-step standard deviations
    slope, intercept, bend = _linearity(speeds, watts)
    return Check(
        begin,
        speeds,
        watts,
        error,
        error.scaled(100 / level, "%"),
        repeat,
        _response(power, begin, watts),
        slope,
        intercept,
        bend,
    )


def _with_interval(value: float, pairs: int) -> Estimate:
    """The interval of a standard deviation from so many differences about zero (chi-squared)."""
    low, high = (value * float((pairs / chi_square(q, pairs)) ** 0.5) for q in (0.975, 0.025))
    return Estimate(value, low, high, "W", pairs, "device-check", "repeats")


def _estimate(value: float, half: float, unit: str, n: int) -> Estimate:
    return Estimate(value, value - half, value + half, unit, n, "device-check", "steps")


def _linearity(speeds: Floats, watts: Floats) -> tuple[Estimate, Estimate, Estimate]:
    """Slope [W per m/s] and intercept [W] of power on speed, and how far the middle level lies off the line through the
    outer two, in percent."""
    x, y = speeds.ravel(), watts.ravel()
    if not np.isfinite(x).all() or np.ptp(x) <= 0:
        reason = "speed is not known"
        return tuple(Estimate.withheld(unit, "device-check", reason) for unit in ("W s/m", "W", "%"))  # type: ignore[return-value]
    n = len(x)
    design = np.column_stack([np.ones(n), x])
    line, *_ = np.linalg.lstsq(design, y, rcond=None)
    variance = float(((y - design @ line) ** 2).sum()) / (n - 2)
    covariance = variance * np.linalg.inv(design.T @ design)
    q = student(0.975, n - 2)
    v, p = speeds.mean(axis=0), watts.mean(axis=0)
    share = (v[1] - v[0]) / (v[2] - v[0])
    off = 100 * (p[1] / (p[0] + share * (p[2] - p[0])) - 1)
    spread = float(np.std(watts[1] - watts[0], ddof=1)) / 2**0.5 / 2**0.5  # of a mean of two
    half = student(0.975, LEVELS - 1) * 100 * spread * (1 + share**2 + (1 - share) ** 2) ** 0.5 / float(p[1])
    return (
        _estimate(float(line[1]), q * covariance[1, 1] ** 0.5, "W s/m", n),
        _estimate(float(line[0]), q * covariance[0, 0] ** 0.5, "W", n),
        _estimate(float(off), half, "%", n),
    )


def _response(power: Floats, begin: int, watts: Floats) -> Estimate:
    """Seconds from the known time of a step until the device has shown 63 % of it, the legs' own time to change
    included: a delay and a first-order lag fitted to the mean of the steps, its interval by leaving each step out in
    turn."""
    flat = watts.ravel()
    found = []
    for k in range(1, len(flat)):
        at = begin + k * STEP_S
        shown, size = power[at : at + SETTLE_S], flat[k] - flat[k - 1]
        if abs(size) >= 0.04 * flat[k] and np.isfinite(shown).all():
            found.append((shown - flat[k - 1]) / size)
    n = len(found)
    if n < 3:
        return Estimate.withheld("s", "device-check", f"only {n} clear steps", n, "steps")
    steps = np.array(found)
    seconds = np.arange(steps.shape[1]) + 1.0  # a sample stands for the second that it ends
    delay, lag = (v.ravel() for v in np.meshgrid(np.arange(0.0, 12.5, 0.5), np.arange(0.5, 30.5, 0.5)))
    shapes = 1 - np.exp(-np.maximum(seconds[None, :] - delay[:, None], 0.0) / lag[:, None])

    def reached(mean: Floats) -> float:
        best = int(np.argmin(((shapes - mean) ** 2).sum(axis=1)))
        return float(delay[best] + lag[best])

    middle = reached(steps.mean(axis=0))
    others = np.array([reached(np.delete(steps, k, axis=0).mean(axis=0)) for k in range(n)])
    error = float(np.sqrt((n - 1) / n * ((others - others.mean()) ** 2).sum()))
    half = student(0.975, n - 1) * max(error, 0.3)  # the grid's own step
    if half > middle + 5.0:
        return Estimate.withheld("s", "device-check", "the steps are too noisy to tell", n, "steps")
    return Estimate(middle, max(middle - half, 0.0), middle + half, "s", n, "device-check", "steps")
