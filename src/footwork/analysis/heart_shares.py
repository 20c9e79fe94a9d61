"""The share of capacity that a heart rate tells, by the runner's own line through recent runs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from footwork.analysis.summary import AT
from footwork.quantities import Floats

LAG_MIN = 3  # heart rate lags power by one to two minutes: a minute is held against the mean of three
BEGUN_S = 480  # a rested heart takes its time
DRIFT_BPM, MOST_HOURS = 7.0, 1.5  # a long run's drift in an hour, taken off; our conventions
RUNS, MINUTES = 3, 30  # that a line rests on at least
LEAST_SPREAD = 3.0  # bpm, of the minutes it rests on
RECENT_DAYS = 28


def settled(block: Floats, critical_power: float) -> Floats:
    """Minutes of a run whose heart rate has followed the effort, as shares of capacity [1] and heart rates without the
    run's drift [bpm], shape (m, 2).

    ``block`` has shape (n, 13), columns `summary.BLOCK_COLUMNS`; ``critical_power`` [W].
    """
    if len(block) < LAG_MIN:
        return np.zeros((0, 2))
    power = np.lib.stride_tricks.sliding_window_view(block[:, AT["power"]], LAG_MIN).mean(axis=1) / critical_power
    at = block[LAG_MIN - 1 :, AT["elapsed"]]
    rate = without_drift(block[LAG_MIN - 1 :, AT["heart_rate"]], at)
    kept = np.isfinite(power) & np.isfinite(rate) & (power > 0.3) & (at >= BEGUN_S)
    return np.column_stack([power[kept], rate[kept]])


def without_drift(rate: Floats, elapsed: Floats) -> Floats:
    """Heart rate [bpm] without what a run's length adds, of minutes that began so many seconds after its start [s]."""
    return rate - DRIFT_BPM * np.minimum(elapsed / 3600.0, MOST_HOURS)


def line(minutes: Sequence[Floats]) -> tuple[float, float] | None:
    """Share of capacity as a line of heart rate: level and slope [1/bpm], for `settled` minutes of several runs.

    None with fewer than thirty minutes in three runs, or where all are at one heart rate. The share is fitted on heart
    rate and not the other way round, for it is the share that is asked.
    """
    told = [m for m in minutes if len(m)]
    if len(told) < RUNS or sum(map(len, told)) < MINUTES:
        return None
    share, rate = np.concatenate(told).T
    if float(rate.std()) < LEAST_SPREAD:
        return None
    slope, level = np.polyfit(rate - rate.mean(), share, 1)
    return (float(level - slope * rate.mean()), float(slope)) if slope > 0 else None
