"""Mean maximal power: the best mean over every duration, from one run and from many."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

METHOD_VERSION = 1
_KEY_DURATIONS = (1, 5, 10, 30, 60, 120, 180, 240, 300, 420, 480, 600, 720, 900, 1200, 1800, 2400, 3600, 5400, 7200)


def stored_durations(longest: int) -> npt.NDArray[np.int64]:
    """Durations kept for each run: every 4 % and the usual ones, up to ``longest`` seconds. [s]"""
    every = _every_stored()
    return every[: np.searchsorted(every, longest, side="right")]


@functools.cache
def _every_stored() -> npt.NDArray[np.int64]:
    spaced = np.rint(np.geomspace(1, 86400, 290)).astype(np.int64)
    every = np.union1d(spaced, np.array(_KEY_DURATIONS, dtype=np.int64))
    every.flags.writeable = False  # shared by all who ask
    return every


def mean_maximal(
    power: npt.ArrayLike, durations: npt.ArrayLike | None = None
) -> tuple[npt.NDArray[np.int64], Floats, npt.NDArray[np.int64]]:
    """Highest mean of a 1 Hz power signal over windows of each duration.

    A window that touches missing data does not count; a timer pause is 0 W and does.

    Parameters
    ----------
    power : array_like, shape (n,)
        One value a second, NaN where missing. [W]
    durations : array_like of int, optional
        Window lengths; every whole second up to n by default. [s]

    Returns
    -------
    durations : numpy.ndarray, shape (m,)
        Those durations for which an unbroken window exists. [s]
    best : numpy.ndarray, shape (m,)
        [W], exact to 0.01 W.
    start : numpy.ndarray, shape (m,)
        Index of the first second of the best window.
    """
    p = np.asarray(power, dtype=float)
    known = np.isfinite(p)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], known.astype(np.int8), [0]])))
    pieces = list(zip(edges[::2], edges[1::2], strict=True))
    longest = max((int(stop - start) for start, stop in pieces), default=0)
    asked = np.arange(1, longest + 1) if durations is None else np.asarray(durations, dtype=np.int64)
    asked = np.unique(asked[(asked >= 1) & (asked <= longest)])
    best = np.full(len(asked), -1.0)
    first = np.zeros(len(asked), dtype=np.int64)
    for start, stop in pieces:
        # Whole hundredths of a watt in 32 bits keep the sums exact and twice as fast as floats.
        hundredths = np.rint(p[start:stop] * 100)
        small = float(np.abs(hundredths).sum()) < 2**31
        total = np.concatenate([[0], np.cumsum(hundredths)]).astype(np.int32 if small else np.int64)
        length = int(stop - start)
        room = np.empty(length, dtype=total.dtype)
        for index, duration in enumerate(asked.tolist()):
            if duration > length:
                break
            window = np.subtract(total[duration:], total[:-duration], out=room[: length - duration + 1])
            at = int(window.argmax())
            mean = float(window[at]) / (100 * duration)
            if mean > best[index]:
                best[index], first[index] = mean, start + at
    return asked, best, first


@dataclass(frozen=True)
class Curve:
    """Best mean power by duration over several runs, and which run set each point."""

    durations: npt.NDArray[np.int64]
    best: Floats
    run: npt.NDArray[np.int64]


def combine(durations: npt.NDArray[np.int64], rows: Floats, runs: npt.ArrayLike) -> Curve:
    """The upper envelope of many runs' stored curves.

    Parameters
    ----------
    durations : numpy.ndarray, shape (m,)
        [s]
    rows : numpy.ndarray, shape (k, m)
        One row a run, NaN where the run is too short. [W]
    runs : array_like of int, shape (k,)
        Run ids.

    Returns
    -------
    Curve
        Only durations that some run reached. A longer window of one run at a higher mean also bounds the shorter
        ones, so the envelope never rises with duration.
    """
    ids = np.asarray(runs, dtype=np.int64)
    if rows.size == 0:
        return Curve(durations[:0], np.zeros(0), ids[:0])
    filled = np.where(np.isfinite(rows), rows, -np.inf)
    which = filled.argmax(axis=0)
    best = filled[which, np.arange(rows.shape[1])]
    reached = np.isfinite(best)
    durations, best, which = durations[reached], best[reached], which[reached]
    # Running maximum from the long end: no sampling gap lets a short duration fall below a longer one.
    for i in range(len(best) - 2, -1, -1):
        if best[i] < best[i + 1]:
            best[i], which[i] = best[i + 1], which[i + 1]
    return Curve(durations, best, ids[which])
