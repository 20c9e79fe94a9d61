"""Minutes in which a heart rate does not follow the effort, as wrist sensors often have: doubted, not called wrong.

A fault of four to twenty minutes that stays within what a heart can do is seen in no second of its own, only in the
run: heart rate is held against a line on lagged effort and time that faults bend little.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from typing import Literal

import numpy as np

from footwork.quantities import Floats, quick_median
from footwork.signals import Bools

# Our conventions, tried on traces of wrist sensors in which a person had marked what was wrong.
BIN_S = 10
LAGS_S = (25.0, 40.0, 60.0, 90.0)
START_SHARE = 0.45  # of the median effort: what a run is begun with
RUNNING_SHARE = 0.55  # of it: below, the runner stands or walks
LEAST_BINS, LEAST_BPM = 30, 60.0
BEGUN_S = 150
GAIN_BPM, GAIN_SD = 45.0, 12.0  # rise of heart rate for an effort higher by its median: prior
DRIFT_BPM, DRIFT_SD = 7.0, 5.0  # in an hour: prior
MOST_HOURS = 1.5  # drift is taken to end
THINNED = 8.0  # bins that tell as much as one, so alike are neighbours
MEDIAN_S, EDGE_BPM, PEAK_BPM = 300, 6.0, 10.0  # a spell: beyond the first throughout, beyond the second somewhere
JOIN_S, WIDEN_S = 240, 60
WHOLE_S, WHOLE_CADENCE, WHOLE_RUNNING = 1200, 140.0, 0.8  # only long runs that were run are doubted whole
LEAST_GAIN, GAIN_KNOWN = 31.0, 8.0
MOST_SPELLS = 0.3
Doubt = Literal["answers power too little", "a third does not fit"]


@dataclass(frozen=True)
class Spells:
    """Seconds that do not follow the effort, and why the whole run is doubted where it is."""

    doubted: Bools
    whole: Doubt | None = None


def spells(heart_rate: Floats, load: Floats, cadence: Floats, timer: Bools, usable: Bools) -> Spells:
    """Stretches of some minutes, or a whole run, whose heart rate does not follow the effort.

    Parameters
    ----------
    heart_rate : numpy.ndarray, shape (n,)
        At 1 Hz. [bpm]
    load : numpy.ndarray, shape (n,)
        Effort: power, or anything proportional to it. [W]
    cadence : numpy.ndarray, shape (n,)
        [steps/min]
    timer, usable : numpy.ndarray of bool, shape (n,)
        Whether the watch ran, and whether the second is no fault for another reason.

    Returns
    -------
    Spells
        None doubted where there is too little to judge.
    """
    n = len(heart_rate)
    nothing = Spells(np.zeros(n, dtype=np.bool_))
    bins = n // BIN_S
    if bins < LEAST_BINS:
        return nothing
    shape = (bins, BIN_S)
    effort = np.where(timer, load, 0.0)[: bins * BIN_S].reshape(shape)
    seen = np.isfinite(effort).mean(axis=1) > 0.5
    running = timer[: bins * BIN_S].reshape(shape).mean(axis=1) > 0.5
    if seen.sum() < LEAST_BINS:
        return nothing
    demand = np.where(np.isfinite(effort), effort, 0.0).sum(axis=1) / np.maximum(np.isfinite(effort).sum(axis=1), 1)
    demand = np.interp(np.arange(bins), np.flatnonzero(seen), demand[seen])
    level = float(np.median(demand[running & (demand > 0)])) if (running & (demand > 0)).any() else 0.0
    if level <= 0:
        return nothing
    counted = (usable & np.isfinite(heart_rate))[: bins * BIN_S].reshape(shape)
    rate = np.where(counted, heart_rate[: bins * BIN_S].reshape(shape), 0.0).sum(axis=1) / np.maximum(
        counted.sum(axis=1), 1
    )
    hours = np.minimum(np.arange(bins) * BIN_S / 3600, MOST_HOURS) - 0.5
    best: tuple[float, Floats, Floats, Bools, Floats] | None = None
    for lag in LAGS_S:
        lagged = _lagged(demand, lag, START_SHARE * level)
        judged = running & (counted.mean(axis=1) > 0.5) & (rate > LEAST_BPM) & (lagged > RUNNING_SHARE * level)
        if judged.sum() < LEAST_BINS:
            continue
        x = lagged / level - 1
        design = np.column_stack([np.ones(bins), x, hours])
        line = _line(design[judged], rate[judged])
        miss = np.abs(rate - design @ line)[judged]
        worth = float(np.median(miss)) + 0.2 * float(np.mean(np.minimum(miss, 15.0)))
        if best is None or worth < best[0]:
            best = worth, line, x, judged, rate - design @ line
    if best is None:
        return nothing
    _, line, x, judged, residual = best
    # A rested heart takes its time at the start, as a sensor that begins late does not.
    judged = judged & ~((np.arange(bins) * BIN_S < BEGUN_S) & (residual < 0))
    mask, bare = _spell_bins(residual, judged)
    doubted = np.zeros(n, dtype=np.bool_)
    doubted[: bins * BIN_S] = np.repeat(mask, BIN_S)
    seconds = int(judged.sum()) * BIN_S
    run = bool(np.mean(np.nan_to_num(cadence[timer]) > WHOLE_CADENCE) >= WHOLE_RUNNING) if timer.any() else False
    if seconds < WHOLE_S or not run:
        return Spells(doubted)
    error = 6.0 / np.sqrt(seconds / 80) / max(float(x[judged].std()), 1e-9)
    if line[1] < LEAST_GAIN and error < GAIN_KNOWN:
        return Spells(doubted, "answers power too little")
    if bare[judged].mean() > MOST_SPELLS:
        return Spells(doubted, "a third does not fit")
    return Spells(doubted)


def _lagged(demand: Floats, lag: float, start: float) -> Floats:
    keep = float(np.exp(-BIN_S / lag))
    lagged = accumulate(((1 - keep) * demand).tolist(), lambda before, now: now + keep * before, initial=start)
    return np.array(list(lagged)[1:])


def _line(design: Floats, y: Floats) -> Floats:
    """Level, gain and drift: least absolute deviations by reweighting, then Tukey's biweight, with the priors."""
    prior = np.diag([0.0, 1 / GAIN_SD**2, 1 / DRIFT_SD**2])
    centre = np.array([0.0, GAIN_BPM, DRIFT_BPM])
    line = np.array([float(np.median(y - design[:, 1:] @ centre[1:])), *centre[1:]])
    for step in range(20):
        miss = y - design @ line
        scale = max(1.48 * quick_median(np.abs(miss)), 2.0)
        if step < 10:
            weight = 1 / np.maximum(np.abs(miss) / scale, 0.5)
        else:
            weight = np.where(np.abs(miss) < 4 * scale, (1 - (miss / (4 * scale)) ** 2) ** 2, 0.0)
        told = weight[:, None] * design / (THINNED * scale**2)
        line = np.linalg.solve(design.T @ told + prior, told.T @ y + prior @ centre)
    return np.asarray(line, dtype=float)


def _spell_bins(residual: Floats, judged: Bools) -> tuple[Bools, Bools]:
    """Bins of spells, joined and widened, and before that; by the running median of what is judged."""
    at = np.flatnonzero(judged)
    half = MEDIAN_S // BIN_S // 2
    padded = np.pad(residual[at], half, mode="edge")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)
    bare = np.zeros(len(residual), dtype=np.bool_)
    beyond = np.abs(middle) > EDGE_BPM
    edges = np.flatnonzero(np.diff(np.concatenate([[0], beyond.astype(np.int8), [0]])))
    found: list[tuple[int, int]] = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        if np.abs(middle[a:b]).max() <= PEAK_BPM:
            continue
        bare[at[a:b]] = True
        begin, end = int(at[a]), int(at[b - 1]) + 1
        if found and begin - found[-1][1] < JOIN_S // BIN_S:
            found[-1] = (found[-1][0], end)
        else:
            found.append((begin, end))
    mask = np.zeros(len(residual), dtype=np.bool_)
    wide = WIDEN_S // BIN_S
    for begin, end in found:
        mask[max(begin - wide, 0) : end + wide] = True
    return mask, bare
