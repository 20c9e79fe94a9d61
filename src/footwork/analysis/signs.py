"""Signs over days: several weak channels together against a runner's own usual, with few false checks by design.

A channel is one number a day, missing on many. What counts is how far the last days lie from the median of the month
before, over how much such a difference moves by itself in this runner. No channel decides alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

METHOD_VERSION = 1
BASE_DAYS, GAP_DAYS = 28, 2  # of the month that is usual, and between it and the last days
SCALE_DAYS, PRIOR_DAYS = 120, 28  # a runner's own spread, and the days that a prior one is worth
LEAST_DAYS = 21  # with a value, before a channel says anything
LEAST_RECENT = 1
CORRELATION = 0.2  # between channels, to which what is seen is shrunk; our convention
SILENT_DAYS = 14  # after a check
LUTEAL_DAYS, USUAL_CYCLE, CYCLES = 14, 28, (21, 45)  # days; Shilaih et al. 2017: 27.3 ± 2.7 in 274 cycles
# From `simulated_thresholds`: one false check in a half-year and pattern, by number of channels; see docs/recovery.md.
THRESHOLDS = {"unwell": {2: 2.38, 3: 2.19, 4: 2.05, 5: 1.94}, "worn": {2: 2.19, 3: 2.00, 4: 1.89, 5: 1.77}}
RECENT = {"unwell": 2, "worn": 7}  # days that are looked at


@dataclass(frozen=True)
class Channel:
    """One number a day: its name, sign of what is bad (1 for more, -1 for less), whether the runner felt it, the spread
    of one day that is usual in runners, and values by day, nan where missing, shape (d,)."""

    name: str
    bad: int
    felt: bool
    usual_sd: float
    values: Floats


def differences(values: Floats, recent: int) -> Floats:
    """Mean of the last days less the median of the month before them, for each day, shape (d,); nan where either holds
    too few values."""
    late, base = _before(values, recent, 0), _before(values, BASE_DAYS, recent + GAP_DAYS)
    told, known = np.isfinite(late).sum(axis=1), np.isfinite(base).sum(axis=1)
    mean = np.where(np.isfinite(late), late, 0.0).sum(axis=1) / np.maximum(told, 1)
    return np.where((told >= LEAST_RECENT) & (known >= BASE_DAYS // 4), mean - _medians(base), np.nan)


def standardised(channel: Channel, recent: int) -> Floats:
    """`differences` with bad upwards, over the runner's own robust spread of such differences in the days before,
    shrunk to a usual one; nan until enough days are there."""
    apart = channel.bad * differences(channel.values, recent)
    prior = channel.usual_sd * np.sqrt(1.0 / recent + np.pi / 2.0 / BASE_DAYS)
    before = _before(apart, SCALE_DAYS, 1)
    n = np.isfinite(before).sum(axis=1)
    own = 1.4826 * _medians(np.abs(before - _medians(before)[:, None]))
    spread = np.sqrt((n * np.where(n > 0, own, 0.0) ** 2 + PRIOR_DAYS * prior**2) / (n + PRIOR_DAYS))
    enough = np.cumsum(np.isfinite(channel.values)) >= LEAST_DAYS
    return np.where(enough, apart / spread, np.nan)


def _before(values: Floats, days: int, gap: int) -> Floats:
    """For each day the values of so many days that end ``gap`` days before it, nan where there are none, (d, days)."""
    padded = np.concatenate([np.full(days + gap - 1, np.nan), values])
    return np.lib.stride_tricks.sliding_window_view(padded, days)[: len(values)]


def _medians(rows: Floats) -> Floats:
    """Medians of what is there of each row; 0 where nothing is."""
    ordered = np.sort(rows, axis=1)  # what is missing comes last
    n = np.isfinite(rows).sum(axis=1)
    at = np.arange(len(rows))
    middle = 0.5 * (ordered[at, np.maximum(n - 1, 0) // 2] + ordered[at, np.minimum(n // 2, rows.shape[1] - 1)])
    return np.where(n > 0, np.nan_to_num(middle), 0.0)


def of_cycle(periods: Sequence[int], days: int) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Which of so many days lie in the second part of a cycle, and which in the first, shapes (d,): the fourteen before
    a period, of the one to come too, after the runner's own usual length, and those between. ``periods`` are places of
    their first days [d], the earliest first; of a gap of under 21 or over 45 days only the last fourteen are known."""
    lengths = [b - a for a, b in pairwise(periods) if CYCLES[0] <= b - a <= CYCLES[1]]
    usual = int(np.median(lengths)) if lengths else USUAL_CYCLE
    cycles = [(a, b) for a, b in pairwise([*periods, *(p + usual for p in periods[-1:])])]
    whole = [(a, b) for a, b in cycles if CYCLES[0] <= b - a <= CYCLES[1]]
    at, none = np.arange(days), np.zeros(days, dtype=np.bool_)
    second = [(b - LUTEAL_DAYS <= at) & (at < b) for b in (*periods, *(b for _, b in whole))]
    first = [(a <= at) & (at < b - LUTEAL_DAYS) for a, b in whole]
    return np.any([none, *second], axis=0), np.any([none, *first], axis=0)


def without_cycle(values: Floats, periods: Sequence[int], usual: float) -> Floats:
    """Values by day, shape (d,), less what the second part of a cycle adds in this runner: the difference of medians of
    the days whose part is known, shrunk to a ``usual`` one that is worth a cycle (of the values' unit).

    ``periods`` are places of their first days [d].
    """
    second, first = of_cycle(periods, len(values))
    two, one = values[np.isfinite(values) & second], values[np.isfinite(values) & first]
    n = min(len(two), len(one))
    own = float(np.median(two) - np.median(one)) if n else usual
    return values - second * (n * own + LUTEAL_DAYS * usual) / (n + LUTEAL_DAYS)


def scores(channels: Sequence[Channel], recent: int) -> tuple[Floats, Floats]:
    """Sum of the standardised channels of each day over its own spread, and how many there are, shape (d,); nan with
    fewer than two channels, or none that was felt."""
    rows = np.array([standardised(c, recent) for c in channels])
    there = np.isfinite(rows)
    count = there.sum(axis=0).astype(float)
    felt = there[[c.felt for c in channels]].any(axis=0) if channels else np.zeros(0, dtype=np.bool_)
    total = np.where(there, rows, 0.0).sum(axis=0)
    spread = np.sqrt(count + CORRELATION * count * (count - 1.0))
    return np.where((count >= 2) & felt, total / np.maximum(spread, 1e-9), np.nan), count


def checks(score: Floats, count: Floats, thresholds: Mapping[int, float]) -> list[int]:
    """Days on which a check is due; after each nothing for fourteen days."""
    out: list[int] = []
    for day in np.flatnonzero(np.isfinite(score)):
        most = max(thresholds)
        if score[day] >= thresholds[min(int(count[day]), most)] and (not out or day - out[-1] > SILENT_DAYS):
            out.append(int(day))
    return out
