"""Two recordings of one run: how far their clocks are apart, how fast they drift, and how the second's power
follows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from footwork.analysis.editing import cut
from footwork.errors import NotEnoughData
from footwork.quantities import Estimate, Floats
from footwork.signals import Signals

METHOD_VERSION = 2
LONGEST_LAG_S = 120
LEAST_COMMON_S = 600  # ten minutes together; less carries no comparison; our convention
BLOCKS = 24
DRAWS = 400
SLOW_S = 301
SMOOTHED_S = 15  # over which slow changes are looked at
# What tells the clocks apart, the best first: what both devices took from outside, then what each felt by itself.
CLOCKS = ("position", "heart_rate", "speed", "power")
LEAST_CORRELATION = 0.1


@dataclass(frozen=True)
class Offset:
    """How late the second device is [s], by which signal, and the correlation there."""

    lag: Estimate
    by: str
    correlation: float


def common(first: Signals, second: Signals) -> tuple[Signals, Signals]:
    """Both recordings on the seconds that both span.

    Raises
    ------
    NotEnoughData
        Less than ten minutes together.
    """
    start = max(first["time"][0], second["time"][0])
    end = min(first["time"][-1], second["time"][-1])
    if end - start + 1 < LEAST_COMMON_S:
        together = max(end - start + 1, 0) / 60
        raise NotEnoughData(f"the recordings share {together:.0f} minutes: ten or more are needed to compare them")
    return cut(first, start, end + 1), cut(second, start, end + 1)


def _curves(x: Floats, y: Floats, lags: np.ndarray) -> Floats:
    """Sums behind a correlation for each block of time and each lag, shape (blocks, lags, 6)."""
    n = len(x)
    edge = int(np.abs(lags).max())
    known = np.isfinite(x) & np.isfinite(y)
    centre_x, centre_y = float(np.mean(x[known])), float(np.mean(y[known]))
    a = np.where(np.isfinite(x), x - centre_x, 0.0)[edge : n - edge]
    here = np.isfinite(x)[edge : n - edge]
    starts = np.linspace(0, len(a), BLOCKS + 1).astype(int)[:-1]
    out = np.zeros((BLOCKS, len(lags), 6))
    for index, lag in enumerate(lags):
        moved = y[edge + lag : n - edge + lag]
        both = here & np.isfinite(moved)
        b = np.where(both, moved - centre_y, 0.0)
        a_ = np.where(both, a, 0.0)
        for column, values in enumerate((both.astype(float), a_, b, a_ * a_, b * b, a_ * b)):
            out[:, index, column] = np.add.reduceat(values, starts)
    return out


def _quick(x: Floats) -> Floats:
    """A signal less its mean of the five minutes around: what is quick tells time, what is slow blurs it."""
    known = np.isfinite(x)
    kernel = np.ones(SLOW_S)
    number = np.convolve(known, kernel, mode="same")
    return np.asarray(
        x - np.convolve(np.where(known, x, 0.0), kernel, mode="same") / np.maximum(number, 1), dtype=float
    )


def _correlations(sums: Floats) -> Floats:
    n, a, b, aa, bb, ab = np.moveaxis(sums, -1, 0)
    n = np.maximum(n, 1.0)
    spread = np.sqrt(np.maximum((aa - a * a / n) * (bb - b * b / n), 1e-12))
    return np.asarray((ab - a * b / n) / spread, dtype=float)


def _peak(curve: Floats, lags: np.ndarray) -> Floats:
    """Lag of the highest correlation of each row, between whole seconds by a parabola."""
    top = np.clip(curve.argmax(axis=-1), 1, len(lags) - 2)
    rows = np.arange(len(curve))
    left, middle, right = curve[rows, top - 1], curve[rows, top], curve[rows, top + 1]
    bend = left - 2 * middle + right
    shift = np.where(np.abs(bend) > 1e-15, 0.5 * (left - right) / np.where(bend == 0, 1, bend), 0.0)
    return np.asarray(lags[top] + np.clip(shift, -0.5, 0.5), dtype=float)


def lag_between(x: Floats, y: Floats, by: str) -> Offset | None:
    """How late the second signal is against the first [s], with a block bootstrap; None where neither follows the
    other.

    Parameters
    ----------
    x, y : numpy.ndarray, shape (n,)
        The same quantity each second, NaN where missing.
    by : str
        What to call it.
    """
    reach = int(min(LONGEST_LAG_S, len(x) // 6))
    lags = np.arange(-reach, reach + 1)
    known = np.isfinite(x) & np.isfinite(y)
    if known.sum() < LEAST_COMMON_S / 2 or np.ptp(x[known]) <= 0 or np.ptp(y[known]) <= 0:
        return None
    sums = _curves(_quick(x), _quick(y), lags)
    whole = _correlations(sums.sum(axis=0)[None])
    best = float(_peak(whole, lags)[0])
    height = float(whole.max())
    if height < LEAST_CORRELATION or abs(best) >= reach - 1:
        return None
    weights = np.random.default_rng(1).multinomial(BLOCKS, np.full(BLOCKS, 1 / BLOCKS), DRAWS)
    drawn = _peak(_correlations(np.einsum("db,bls->dls", weights, sums)), lags)
    low, high = np.percentile(drawn, [2.5, 97.5])
    if high - low > reach:
        return None
    # Devices smooth differently: what lags is not the same for quick and for slow changes, so both are inside.
    slow = _correlations(_curves(_quick(_smoothed(x)), _quick(_smoothed(y)), lags).sum(axis=0)[None])
    other = float(_peak(slow, lags)[0]) if float(slow.max()) >= LEAST_CORRELATION else best
    # Whole seconds of two clocks cannot tell a lag better than a quarter of one.
    low, high = min(float(low), best - 0.25, other - 0.25), max(float(high), best + 0.25, other + 0.25)
    return Offset(Estimate(best, low, high, "s", BLOCKS, "clock-offset", "blocks"), by, height)


def _smoothed(x: Floats) -> Floats:
    """Means over `SMOOTHED_S` seconds about each; NaN where a third of them is missing."""
    known = np.isfinite(x)
    kernel = np.ones(SMOOTHED_S)
    number = np.convolve(known, kernel, mode="same")
    total = np.convolve(np.where(known, x, 0.0), kernel, mode="same")
    return np.where(number > 2 / 3 * SMOOTHED_S, total / np.maximum(number, 1), np.nan)


def _series(signals: Signals, by: str) -> list[Floats]:
    if by == "position":
        return [signals.get("latitude"), signals.get("longitude")]
    return [running(signals, by)]


def running(signals: Signals, name: str) -> Floats:
    """A signal while the timer ran; pauses are missing.

    Returns shape (n,) in the signal's own unit, power [W], heart rate [bpm], speed [m/s].
    """
    return np.where(signals.timer, signals.sound_heart_rate if name == "heart_rate" else signals.get(name), np.nan)


def _best(first: Signals, second: Signals, by: str, part: slice) -> Offset | None:
    """The offset by the series of a kind that agrees best over a part of the run."""
    made = [lag_between(x[part], y[part], by) for x, y in zip(_series(first, by), _series(second, by), strict=True)]
    return max((m for m in made if m is not None), key=lambda m: m.correlation, default=None)


def clock_offset(first: Signals, second: Signals) -> Offset:
    """How late the second recording's clock is, by the best signal that both have.

    Raises
    ------
    NotEnoughData
        No common signal rises and falls together.
    """
    for by in CLOCKS:
        found = _best(first, second, by, slice(None))
        if found is not None:
            return found
    raise NotEnoughData(
        "no signal of the two recordings rises and falls together: they are not of one run, or one is flat"
    )


def drift(first: Signals, second: Signals, by: str) -> Estimate:
    """How much the second clock loses against the first over an hour [s/h], from the first and the last third."""
    n = len(first)
    parts = []
    for low, high in ((0, n // 3), (2 * n // 3, n)):
        found = _best(first, second, by, slice(low, high))
        if found is None:
            return Estimate.withheld(
                "s/h", "clock-offset", "a third of the run is too short or too even to tell", 0, "blocks"
            )
        parts.append(found.lag)
    hours = (2 * n / 3) / 3600
    early, late = parts
    value = ((late.value or 0) - (early.value or 0)) / hours
    half = float(np.hypot((late.high or 0) - (late.low or 0), (early.high or 0) - (early.low or 0))) / 2 / hours
    return Estimate(value, value - half, value + half, "s/h", BLOCKS, "clock-offset", "blocks")


def shifted(signals: Signals, lag: float) -> Signals:
    """The second recording as it would be with its clock put right, to the whole second; its ends become missing.

    ``lag`` [s], positive where the second's clock is ahead.
    """
    move = round(lag)
    if move == 0:
        return signals

    def moved(values: Floats, fill: float) -> Floats:
        out = np.full(len(values), fill)
        if move > 0:
            out[:-move] = values[move:]
        else:
            out[-move:] = values[:move]
        return out

    columns = {n: v if n == "time" else moved(v, np.nan) for n, v in signals.columns.items()}
    return Signals(columns, moved(signals.timer.astype(float), 0.0) > 0.5, signals.streams)
