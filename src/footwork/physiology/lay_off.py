"""What days without running take from capacity, and how it comes back. Days are proleptic ordinals."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

import numpy as np

METHOD_VERSION = 1
# VO2max after stopping altogether, of runners and riders who trained for years (Coyle et al. 1984: −7 % at 12 days,
# −16 % at 84). That critical power follows it is assumed.
MOST, DAYS = 0.165, 22.0
# How much of that befalls this runner, with its 95 %; our convention. 0.61 is what Houmard et al. 1992 saw at 14 days.
SHARE, SHARE_ENDS = 0.75, (0.45, 1.1)
SHARE_SD = (SHARE_ENDS[1] - SHARE_ENDS[0]) / 3.92
# Of the usual training, with hard minutes among it, from which on nothing is lost (Spiering et al. 2021: volume may
# fall by 33 to 66 % where intensity stays).
KEPT = 0.4
EASED = 3  # days over which the loss sets in; our convention
LEAST_GAP = 3  # days without running that are nothing unusual for anybody; our convention
RECENT, LEAST_RUNS = 84, 4  # days before a gap that tell the usual ones, and how many runs it takes; our convention
MANY_GAPS = 4  # of which the longest may be chance; our convention
USUAL_WEEKS, BACK = 8, 0.8  # weeks that tell the usual one, and the share of it at which it is back; our convention


@dataclass(frozen=True)
class Other:
    """A day's rides, swims and the like: how long they were [min], and whether hard ones were among them."""

    minutes: float
    hard: bool


@dataclass(frozen=True)
class LayOff:
    """Days without running that are more than this runner usually leaves out.

    ``since`` is the day of the last run before, ``until`` that of the first after (None while there is none), ``back``
    the one on which a usual week had been run again, ``again`` the one on which the next lay-off began. ``usual_gap``
    [d]; ``spared`` is for each day from the one after ``since`` on how much of it other training spared [1]; ``left``
    what an earlier lay-off had left of its loss [1].
    """

    since: int
    until: int | None
    usual_gap: int
    back: int | None = None
    again: int | None = None
    spared: tuple[float, ...] = ()
    left: float = 0.0

    def days_off(self, day: int) -> int:
        """Days without running so far on a day. [d]"""
        return min(day, day if self.until is None else self.until - 1) - self.since

    def loss(self, day: int) -> float:
        """Share of capacity that is lost on a day [1], with an `error`; from the next lay-off on that one tells it."""
        off = self.days_off(day)
        if off < 0 or (self.again is not None and day > self.again):
            return 0.0
        before = days_of(self.left)
        counted = before + off - sum(self.spared[: max(off, 0)])
        eased = min(1.0, max(off - self.usual_gap, 0) / EASED)
        lost = self.left + max(SHARE * whole_loss(counted) - self.left, 0.0) * eased
        if self.back is not None and day > self.back:
            lost *= max(0.0, 1.0 - (day - self.back) / (off + before))
        return lost


def whole_loss(days: float) -> float:
    """Share of VO2max [1] that so many days [d] without training cost somebody who loses as the published ones did."""
    return float(MOST * -np.expm1(-days / DAYS))


def days_of(lost: float) -> float:
    """Days [d] after which so much [1] is lost."""
    return float(-DAYS * np.log1p(-min(lost / (SHARE * MOST), 0.999)))


def lost_on(lay_offs: Sequence[LayOff], day: int) -> float:
    """Share of capacity [1] that lay-offs, the earliest first, took on a day."""
    return max((found.loss(day) for found in lay_offs), default=0.0)


def error(lost: float) -> float:
    """Standard error [1] of a share of capacity that weeks without running took [1]."""
    return lost * SHARE_SD / SHARE


def usual_gap(before: Sequence[int]) -> int:
    """The longest gap that is usual [d], from days that had a run, the earliest first; of many the second longest, for
    one is no habit; at least `LEAST_GAP`."""
    gaps = sorted(b - a - 1 for a, b in pairwise(before))
    return max([LEAST_GAP, *(gaps[:-1] if len(gaps) >= MANY_GAPS else gaps)])


def found(running: Mapping[int, float], other: Mapping[int, Other], day: int) -> list[LayOff]:
    """The lay-offs of a runner up to a day, the earliest first.

    Parameters
    ----------
    running : mapping
        Minutes run by day [min].
    other : mapping
        Rides, swims and the like by day.
    day : int
    """
    days = sorted(d for d in running if d <= day)
    out: list[LayOff] = []
    for at, since in enumerate(days):
        until = days[at + 1] if at + 1 < len(days) else None
        if (until or day + 1) - since - 1 <= LEAST_GAP:
            continue
        before = days[bisect_left(days, since - RECENT) : at + 1]
        gap = usual_gap(before)
        if len(before) < LEAST_RUNS or (until or day + 1) - since - 1 <= gap:
            continue
        left = lost_on(out, since)
        if out:
            out[-1] = replace(out[-1], again=since)
        usual = _usual_week(running, since)
        everything = usual + _usual_week({d: o.minutes for d, o in other.items()}, since)
        spared = tuple(_spared(other, d, since, everything) for d in range(since + 1, until or day + 1))
        out.append(LayOff(since, until, gap, _back(days, running, until, usual, day), None, spared, left))
    return out


def _spared(other: Mapping[int, Other], day: int, since: int, usual: float) -> float:
    """How much of a day's loss [1] the other training of its last seven days spares, of a usual week of all sports
    [min]: all of it from `KEPT` of that week on, with a hard one among it; none without."""
    week = [o for d in range(max(day - 6, since + 1), day + 1) if (o := other.get(d)) is not None]
    if not usual or not any(o.hard for o in week):
        return 0.0
    return min(sum(o.minutes for o in week) / (KEPT * usual * min(day - since, 7) / 7.0), 1.0)


def _usual_week(minutes: Mapping[int, float], since: int) -> float:
    """Median minutes of the weeks that end with a day [min]; weeks before the first day known do not count."""
    known = min(minutes, default=since)
    weeks = range(1, min(USUAL_WEEKS, max((since - known + 7) // 7, 1)) + 1)
    return median(sum(minutes.get(since - 7 * w + k, 0.0) for k in range(1, 8)) for w in weeks)


def _back(days: Sequence[int], running: Mapping[int, float], until: int | None, usual: float, day: int) -> int | None:
    """The first day on which the last seven held a usual week again; None while none did."""
    if until is None:
        return None
    for at in range(bisect_left(days, until), bisect_right(days, day)):
        first = bisect_right(days, max(days[at] - 7, until - 1))
        if sum(running[d] for d in days[first : at + 1]) >= BACK * usual:
            return days[at]
    return None
