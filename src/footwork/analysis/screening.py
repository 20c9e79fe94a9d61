"""Which seconds of a heart-rate trace are sound (0), doubtful (1) or wrong (2), and why; the values stay as
recorded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from footwork.analysis.heart_spells import Doubt, spells
from footwork.quantities import Floats, quick_median
from footwork.signals import Bools

METHOD_VERSION = 5
Classes = npt.NDArray[np.int8]
LOWEST, HIGHEST = 30.0, 235.0  # [bpm]
# Our conventions, tuned on simulated faults (docs/recovery.md).
JUMP_BPM, JUMP_S = 12.0, 3  # no heart changes by four beats a minute in each of three seconds
ERRATIC_BPM = 3.0  # mean change from second to second
FLAT_DOUBTFUL_S, FLAT_WRONG_S = 60, 120  # the same whole number for so long
LOCK_BPM, LOCK_S = 2.5, 21
# Of ten minutes so many seconds within a beat of the cadence: where that hardly changes, nothing else tells a lock.
# Sound traces of real runs have 0.27 at most.
SAME_BPM, SAME_S, SAME_SHARE, SAME_LEAST_S = 1.0, 601, 0.9, 300
MISFIT_BPM, MISFIT_SDS = 12.0, 3.5  # distance from what power lets expect
APART_S = 300  # of a run that is else locked to the cadence: from then on they tell what power lets expect
NEAR_BPM, BETWEEN_S = 5.0, 60  # so near and so short between two locked parts, a part is locked too
EDGE_BPM = 6.0
BIN_S = 5
LAGS_S = (20.0, 35.0, 55.0, 80.0)
LEAST_S, LEAST_BINS = 120, 60  # two minutes for any pattern, five for power to tell
RISE_BPM, RISE_SD = 80.0, 40.0  # heart rate from standing to the run's median power: a weak prior
DRIFT_BPM, DRIFT_SD = 5.0, 8.0  # rise over an hour at one power
START_S, BEGINNING_S = 900, 180
RUNNING_SHARE = 0.5  # of the run's median power, lately: below it the runner stands or walks
USABLE, SOUND = 0.5, 0.95
MINUTES = "minutes that do not follow the effort"
WHOLE_RUN = "the whole run: "  # how the kind of fault begins that doubts a whole run


@dataclass(frozen=True)
class Screened:
    """Class of each second, seconds by kind of fault, and why the whole run is doubted where it is."""

    quality: Classes
    faults: dict[str, int]
    whole: Doubt | None = None


def verdict(share: float) -> str:
    """What to think of a trace of which that share is sound."""
    return "sound" if share >= SOUND else "usable in part" if share >= USABLE else "not usable"


def screen(heart_rate: Floats, load: Floats, cadence: Floats, timer: Bools) -> Screened:
    """Class every second of a heart-rate trace.

    Parameters
    ----------
    heart_rate : numpy.ndarray, shape (n,)
        As recorded each second, NaN where nothing was. [bpm]
    load : numpy.ndarray, shape (n,)
        Power, or anything proportional to it; NaN where not known. [W]
    cadence : numpy.ndarray, shape (n,)
        [steps/min]
    timer : numpy.ndarray of bool, shape (n,)

    Returns
    -------
    Screened
        A second without a value is wrong: nothing was measured.
    """
    n = len(heart_rate)
    found: dict[str, Bools] = {}
    missing = ~np.isfinite(heart_rate)
    impossible = ~missing & ((heart_rate < LOWEST) | (heart_rate > HIGHEST))
    found["drop-outs"] = missing
    found["impossible values"] = impossible
    quality: Classes = np.where(missing | impossible, 2, 0).astype(np.int8)
    known = quality == 0
    if known.sum() < LEAST_S:
        return Screened(quality, _counted({kind: mask & timer for kind, mask in found.items()}))
    x = np.interp(np.arange(n), np.flatnonzero(known), heart_rate[known])
    jumps = _jumps(x)
    found["erratic"] = known & (_mean(np.abs(np.diff(x, prepend=x[0])), 9) > ERRATIC_BPM)
    flat = _flat(x, known)
    near = _mean((np.abs(x - cadence) <= LOCK_BPM).astype(float), LOCK_S) > 0.8
    # What looks like a fault already does not tell what power lets expect, as long as enough else does.
    telling = known & ~found["erratic"] & (flat < FLAT_DOUBTFUL_S)
    following = near & (_together(x, cadence) | _one_with(x, cadence))
    free, apart = telling & ~near, telling & ~following
    # A lock that fills most of a run would else be what power lets expect, and the sound rest the fault.
    enough = free.sum() > 0.4 * n
    expected, spread = _expected(x, load, timer, free if enough else apart if apart.sum() >= APART_S else telling)
    if expected is None:
        away = _islands(x, jumps, n)
        misfit = np.where(away > 0, MISFIT_BPM, 0.0)
    else:
        misfit = _median(x - np.clip(x, *expected), 9)
        away = _misfits(misfit, max(MISFIT_BPM, MISFIT_SDS * spread), jumps, n)
    locked = np.where(near & (np.abs(misfit) > EDGE_BPM), 2, np.where(following, 1, 0))
    locked = np.where(locked > 0, np.where(near & (away > 0), 2, locked), 0)
    between = _mean((np.abs(x - cadence) <= NEAR_BPM).astype(float), 61) > 0.8
    for begin, end in _spans(locked == 0):  # what lies between two locked parts is as near, with more scatter
        if 0 < begin and end < n and end - begin <= BETWEEN_S and between[begin:end].all():
            locked[begin:end] = 1
    spell = np.where(flat >= FLAT_WRONG_S, 2, np.where(flat >= FLAT_DOUBTFUL_S, 1, 0))
    spell = np.where((flat >= 20) & (np.abs(misfit) > EDGE_BPM), 2, spell)
    early = np.arange(n) < START_S
    first = away * (early & _from_start(away > 0))
    found["locked to the cadence"] = locked > 0
    found["flat stretches"] = spell > 0
    found["late start"] = (first > 0) & (misfit < 0)
    found["dry strap at the start"] = ((away > 0) & early & (misfit > 0)) | (found["erratic"] & early)
    found["values that power rules out" if expected is not None else "steps without a cause"] = away > 0
    found["jumps"] = jumps
    worst = np.maximum.reduce([locked, spell, away, np.where(found["erratic"], 2, 0), np.where(jumps, 1, 0), quality])
    slow = spells(x, load, cadence, timer, known & (locked == 0))
    doubted = known & (slow.doubted if slow.whole is None else True)
    found[MINUTES if slow.whole is None else f"{WHOLE_RUN}{slow.whole}"] = doubted
    # A pause is a pause: what is not measured then is no fault.
    found = {kind: mask & timer for kind, mask in found.items()}
    return Screened(np.maximum(worst, doubted).astype(np.int8), _counted(found), slow.whole)


def _counted(found: dict[str, Bools]) -> dict[str, int]:
    """Seconds by kind; a second counts for the first kind that names it."""
    out: dict[str, int] = {}
    taken: Bools | None = None
    for kind, mask in found.items():
        fresh = mask if taken is None else mask & ~taken
        if fresh.any():
            out[kind] = int(fresh.sum())
        taken = mask if taken is None else taken | mask
    return out


def _mean(values: Floats, width: int) -> Floats:
    """Centred moving mean; shorter at the ends."""
    kernel = np.ones(width)
    return np.asarray(
        np.convolve(values, kernel, mode="same") / np.convolve(np.ones(len(values)), kernel, mode="same"), dtype=float
    )


def _median(values: Floats, width: int) -> Floats:
    half = width // 2
    padded = np.pad(values, half, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1), dtype=float)


def _jumps(x: Floats) -> Bools:
    """Seconds inside a change that no heart makes."""
    out = np.zeros(len(x), dtype=np.bool_)
    far = np.flatnonzero(np.abs(x[JUMP_S:] - x[:-JUMP_S]) >= JUMP_BPM)
    for step in range(JUMP_S + 1):
        out[far + step] = True
    return out


def _flat(x: Floats, known: Bools) -> Floats:
    """Length of the stretch of one and the same value that each second lies in. [s]"""
    edges = np.flatnonzero((np.diff(x) != 0) | ~known[1:] | ~known[:-1]) + 1
    bounds = np.concatenate([[0], edges, [len(x)]])
    lengths = np.diff(bounds)
    return np.repeat(lengths, lengths).astype(float)


def _together(x: Floats, cadence: Floats) -> Bools:
    """Whether heart rate rises and falls with the cadence itself over the minute around."""
    y = np.nan_to_num(cadence, nan=0.0)
    width = 61
    mx, my = _mean(x, width), _mean(y, width)
    vx, vy = _mean(x * x, width) - mx**2, _mean(y * y, width) - my**2
    both = _mean(x * y, width) - mx * my
    strong = both > 0.7 * np.sqrt(np.maximum(vx * vy, 1e-9))
    return np.asarray(strong & (vy > 1.0) & (vx > 1.0) & np.isfinite(cadence), dtype=np.bool_)


def _one_with(x: Floats, cadence: Floats) -> Bools:
    """Whether heart rate is the cadence's number for most of the ten minutes around."""
    if len(x) < SAME_LEAST_S:
        return np.zeros(len(x), dtype=np.bool_)
    width = min(SAME_S, len(x) - 1 + len(x) % 2)  # odd
    return np.asarray(_mean((np.abs(x - cadence) <= SAME_BPM).astype(float), width) > SAME_SHARE, dtype=np.bool_)


def _expected(x: Floats, load: Floats, timer: Bools, usable: Bools) -> tuple[tuple[Floats, Floats] | None, float]:
    """Lowest and highest heart rate that the power before lets expect each second, and the robust spread about it; None
    where power is not known. A line on power with a first-order lag and a drift, fitted so that a faulty third of the
    trace does not bend it. At the start both a rested and a warm heart are allowed for."""
    whole = len(x) // BIN_S
    shape = (whole, BIN_S)
    p = np.where(timer, load, 0.0)[: whole * BIN_S].reshape(shape)
    seen = np.isfinite(p).mean(axis=1) > 0.5
    if whole < LEAST_BINS or seen.mean() < 0.5:
        return None, 0.0
    watts = np.where(np.isfinite(p), p, 0.0).sum(axis=1) / np.maximum(np.isfinite(p).sum(axis=1), 1)
    watts = np.interp(np.arange(whole), np.flatnonzero(seen), watts[seen])
    level = float(np.median(watts[watts > 0])) if (watts > 0).any() else 0.0
    fit = usable[: whole * BIN_S].reshape(shape).mean(axis=1) > 0.5
    if level <= 0 or fit.sum() < LEAST_BINS / 2:
        return None, 0.0
    rate = x[: whole * BIN_S].reshape(shape).mean(axis=1)
    at = np.arange(whole) * BIN_S / 3600
    best: tuple[float, Floats, float] | None = None
    for lag in LAGS_S:
        kernel = np.exp(-np.arange(int(5 * lag / BIN_S)) * BIN_S / lag)
        kernel /= kernel.sum()
        cold, warm = (
            np.convolve(np.concatenate([np.full(len(kernel), start), watts / level]), kernel)[len(kernel) :][:whole]
            for start in (0.1, 0.9)
        )
        settled = at * 3600 > 3 * lag
        used = fit & settled
        if used.sum() < LEAST_BINS / 2:
            continue
        design = np.column_stack([np.ones(whole), cold, at])
        line = _robust_line(design[used], rate[used])
        misses = np.abs(rate - design @ line)[used]
        scale = float(np.median(misses)) + 0.2 * float(np.mean(np.minimum(misses, 15.0)))
        if best is None or scale < best[0]:
            best = (scale, line, lag)
            shift, recent, middle = line[1] * (warm - cold), cold, design @ line
            rise = line[1]
        slowest = cold
    if best is None:
        return None, 0.0
    middles, seconds = np.arange(whole) * BIN_S + (BIN_S - 1) / 2, np.arange(len(x))
    # At the start the slowest rise of all is as good, and so is a heart that is warm already.
    least = np.where(at * 3600 < BEGINNING_S, np.minimum(middle, middle + rise * (slowest - recent)), middle)
    low, high = (np.interp(seconds, middles, v) for v in (least, middle + np.maximum(shift, 0.0)))
    # A standing heart comes to rest at its own pace, which running does not tell: there nothing is ruled out.
    begun = (at * 3600 < BEGINNING_S) & (watts > RUNNING_SHARE * level)
    judged = np.interp(seconds, middles, (recent > RUNNING_SHARE) | begun) > 0.5
    low, high = np.where(judged, low, -np.inf), np.where(judged, high, np.inf)
    misses = np.abs(rate - middle)[fit]
    return (low, high), float(np.clip(1.4826 * np.median(misses), 2.0, 8.0))


def _robust_line(design: Floats, y: Floats) -> Floats:
    """Least absolute deviations by reweighting, then Tukey's biweight; the slope on power has a weak prior."""
    prior = np.diag([0.0, 1 / RISE_SD**2, 1 / DRIFT_SD**2])
    centre = np.array([0.0, RISE_BPM, DRIFT_BPM])
    weight = np.ones(len(y))
    line = centre.copy()
    scale = 3.0
    for step in range(16):
        left = design.T @ (design * weight[:, None]) / scale**2 + prior
        line = np.linalg.solve(left, design.T @ (weight * y) / scale**2 + prior @ centre)
        miss = y - design @ line
        spread = max(1.4826 * quick_median(np.abs(miss)), 1.0)
        if step < 10:
            weight = 1 / np.maximum(np.abs(miss), 0.5)
        else:
            weight = np.where(np.abs(miss) < 5 * spread, (1 - (miss / (5 * spread)) ** 2) ** 2, 0.0)
    return np.asarray(line, dtype=float)


def _spans(mask: Bools) -> list[tuple[int, int]]:
    """Start and end (not included) of every stretch of true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _misfits(misfit: Floats, limit: float, jumps: Bools, n: int) -> Classes:
    """Stretches of ten seconds or more beyond the limit, out to where the misfit is small again: wrong beyond it and
    wherever a jump borders the stretch, else doubtful."""
    out: Classes = np.zeros(n, dtype=np.int8)
    beyond = np.abs(misfit) > limit
    for begin, end in _spans(np.abs(misfit) > EDGE_BPM):
        core = beyond[begin:end]
        near = slice(max(begin - 10, 0), min(end + 10, n))
        jumped = bool(jumps[near].any())
        strong = core.sum() >= 10 or (jumped and core.any())
        if jumped and np.median(np.abs(misfit[begin:end])) > EDGE_BPM + 2 and end - begin >= 5:
            out[begin:end] = 2
        elif strong:
            out[begin:end] = np.where(core, 2, 1)
    return out


def _islands(x: Floats, jumps: Bools, n: int) -> Classes:
    """Without power: stretches of up to five minutes between two jumps that leave the level on both sides the same
    way."""
    out: Classes = np.zeros(n, dtype=np.int8)
    calm = _spans(~jumps)
    for before, here, after in zip(calm[:-2], calm[1:-1], calm[2:], strict=True):
        level = float(np.median(x[slice(*here)]))
        left, right = (
            float(np.median(x[max(before[1] - 20, before[0]) : before[1]])),
            float(np.median(x[after[0] : min(after[0] + 20, after[1])])),
        )
        apart = level - left, level - right
        if here[1] - here[0] <= 300 and (min(apart) > EDGE_BPM or max(apart) < -EDGE_BPM):
            out[here[0] : here[1]] = 2
    return out


def _from_start(mask: Bools) -> Bools:
    """The stretch of true that begins within the first minute."""
    out = np.zeros(len(mask), dtype=np.bool_)
    for begin, end in _spans(mask):
        if begin < 60:
            out[begin:end] = True
    return out
