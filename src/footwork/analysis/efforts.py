"""Which efforts of the recorded runs say something about capacity, and how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from footwork.analysis.summary import AT
from footwork.physiology.critical import implied_critical_power
from footwork.quantities import Floats

METHOD_VERSION = 4
SHORTEST_S = 120
LEAST_WATTS = 30.0  # less is standing, not an effort
TEST_TOLERANCE = 0.14  # a test's further efforts imply a CP within this share of its best
CLIP_FREE = 0.06  # of a run's level above the others' that may be wind, shoes or warmth; our convention
CLIP_DAYS, FEWEST_OTHERS = 84, 5  # the other runs it is compared with; our convention
FLAT, FLAT_MINUTES, RUNNING_MPS = 0.02, 5, 1.8
SLOPE = 5.4  # rise of ln cost per unit of grade on the flat (Minetti et al. 2002: 19.5 of 3.6 J/kg/m)
LONE_LEAST = 0.005  # less disagreement with the next runs is not worth a word; our convention
RACE_BIN_S, MOST_BINS = 10, 720
SHORTEST_WARM_UP_S = 120.0
WARM_UP_SHARE, COOL_DOWN_SHARE = 0.875, 0.72  # of the race's power, at most; our convention


@dataclass(frozen=True)
class Best:
    """Stored best efforts of one run on one scale: durations [s], powers [W] and where each window starts [s]; ``day``
    is a date's proleptic ordinal, ``level`` its own of `flat_levels`, ``widening`` an added relative error of converted
    watts."""

    run: int
    day: int
    label: str
    maximal: bool
    durations: npt.NDArray[np.int64]
    powers: Floats
    starts: npt.NDArray[np.int64]
    level: float = float("nan")
    widening: float = 0.0


def binding_effort(durations: npt.ArrayLike, powers: npt.ArrayLike) -> int:
    """Index of the effort of two minutes or longer that implies the highest CP, or -1 where there is none.

    Parameters
    ----------
    durations, powers : array_like, shape (m,)
        [s], [W]; NaN where the run is too short.
    """
    t, p = np.asarray(durations, dtype=float), np.asarray(powers, dtype=float)
    implied = np.where(
        (t >= SHORTEST_S) & (np.nan_to_num(p) > LEAST_WATTS), implied_critical_power(np.maximum(t, 1), p), -np.inf
    )
    index = int(implied.argmax()) if len(implied) else -1
    return index if index >= 0 and np.isfinite(implied[index]) else -1


def maximal_efforts(best: Best, most: int = 4) -> list[tuple[float, float]]:
    """The efforts of a run marked as race or test, as (duration [s], power [W]).

    The one that implies the highest CP first; then others that do not overlap it and imply nearly as much, so that a
    test of several trials gives several efforts and a race one.
    """
    t, p, s = best.durations.astype(float), best.powers, best.starts
    usable = (t >= SHORTEST_S) & (np.nan_to_num(p) > LEAST_WATTS)
    implied = np.where(usable, implied_critical_power(np.maximum(t, 1), p), -np.inf)
    taken: list[int] = []
    top = -np.inf
    while len(taken) < most and len(implied):
        index = int(implied.argmax())
        if not np.isfinite(implied[index]) or implied[index] < top * (1 - TEST_TOLERANCE):
            break
        top = max(top, float(implied[index]))
        taken.append(index)
        overlap = (s < s[index] + t[index]) & (s + t > s[index])
        implied = np.where(overlap, -np.inf, implied)
    return [(float(t[i]), float(p[i])) for i in taken]


def flat_levels(blocks: Sequence[Floats], indoor: Sequence[bool]) -> Floats:
    """ln of each run's watts by speed on the flat: the level at which its device read.

    Parameters
    ----------
    blocks : sequence of numpy.ndarray, shape (n, 13)
        One-minute rows a run, columns `summary.BLOCK_COLUMNS`: power [W], speed [m/s], grade [1].
    indoor : sequence of bool
        A belt's speed is not known well enough: no level.

    Returns
    -------
    numpy.ndarray, one a run
        Median over at least five minutes of running flatter than 2 %, their slopes taken off; else NaN.
    """
    levels = np.full(len(blocks), np.nan)
    if not blocks:
        return levels
    every, of_run = np.concatenate(blocks), np.repeat(np.arange(len(blocks)), [len(b) for b in blocks])
    power, speed, grade = (every[:, AT[name]] for name in ("power", "speed", "grade"))
    with np.errstate(invalid="ignore"):
        flat = (np.abs(grade) < FLAT) & (speed > RUNNING_MPS) & (power > LEAST_WATTS)
    flat &= ~np.asarray(indoor, dtype=np.bool_)[of_run]
    level, of_run = np.log(power[flat] / speed[flat]) - SLOPE * grade[flat], of_run[flat]
    level = level[np.lexsort((level, of_run))]
    # The median of each run's sorted minutes: the middle one, or the mean of the two.
    count = np.bincount(of_run, minlength=len(blocks))
    first, told = np.cumsum(count) - count, count >= FLAT_MINUTES
    low, high = (first + (count - 1) // 2)[told], (first + count // 2)[told]
    levels[told] = (level[low] + level[high]) / 2
    return levels


def clips(days: npt.NDArray[np.int64], levels: Floats, until: int, since: int, before: Floats) -> Floats:
    """What each run's log watts are clipped by: as far as its level lies over 6 % above that of the other runs.

    The others are those of twelve weeks that contain the run, known on day ``until``; later ones are left out, and
    once the weeks are over nothing changes any more. A run without a level, or with fewer than five others, is left as
    it is.

    Parameters
    ----------
    days : numpy.ndarray, shape (n,)
        In order. [proleptic ordinal]
    levels : numpy.ndarray, shape (n,)
        `flat_levels`. [1]
    until : int
    since : int
        The day of which ``before`` is the result, 0 at first.
    before : numpy.ndarray, shape (n,)

    Returns
    -------
    numpy.ndarray, shape (n,)
        0 or more [1].
    """
    out = before.copy()
    # Older runs, and the others they were compared with, are settled.
    begin, end = np.searchsorted(days, [since - 2 * CLIP_DAYS, until + 1])
    known = begin + np.flatnonzero(np.isfinite(levels[begin:end]))
    kept, value = days[known], levels[known]
    ends = np.searchsorted(kept, kept + CLIP_DAYS - 1, side="right")
    starts = np.searchsorted(kept, kept[np.maximum(ends - 1, 0)] - CLIP_DAYS, side="right")
    sorted_of: tuple[int, int] = (-1, -1)
    others = value
    for i in range(int(np.searchsorted(kept, since - CLIP_DAYS, side="right")), len(kept)):
        if sorted_of != (starts[i], ends[i]):
            sorted_of, others = (starts[i], ends[i]), np.sort(value[starts[i] : ends[i]])
        count = len(others) - 1
        if count < FEWEST_OTHERS or value[i] <= others[(count - 1) // 2] + CLIP_FREE:
            out[known[i]] = 0.0
            continue
        mine = int(np.searchsorted(others, value[i]))
        middle = [others[k + (k >= mine)] for k in ((count - 1) // 2, count // 2)]
        out[known[i]] = max(0.0, float(value[i]) - float(middle[0] + middle[1]) / 2 - CLIP_FREE)
    return out


def hard_part(signal: npt.ArrayLike) -> tuple[int, int]:
    """Where a race begins and ends in a run that may hold a warm-up and a cool-down.

    Parameters
    ----------
    signal : array_like, shape (n,)
        Power or speed at 1 Hz; NaN counts as standing.

    Returns
    -------
    begin, end : int
        Seconds, end not included: the stretch that with what is before and after it makes the least squared error as
        three levels. What is before must be an eighth easier to be a warm-up, what is after must be easier still, for a
        race may fade.
    """
    x = np.nan_to_num(np.asarray(signal, dtype=float))
    width = max(RACE_BIN_S, -(-len(x) // MOST_BINS))
    n = len(x) // width
    if n < 12:
        return 0, len(x)
    bins = x[: n * width].reshape(n, width).mean(axis=1)
    s, q = (np.concatenate([[0.0], np.cumsum(v)]) for v in (bins, bins**2))

    def error(a: npt.NDArray[np.int64], b: npt.NDArray[np.int64]) -> Floats:
        size = np.maximum(b - a, 1)
        return np.asarray(q[b] - q[a] - (s[b] - s[a]) ** 2 / size, dtype=float)

    a, b = np.triu_indices(n + 1, 6)
    total = error(np.zeros_like(a), a) + error(a, b) + error(b, np.full_like(b, n))
    harder = (s[b] - s[a]) / (b - a) > (s[n] / n)
    best = int(np.argmin(np.where(harder, total, np.inf)))
    begin, end = int(a[best]), int(b[best])
    inner = (s[end] - s[begin]) / (end - begin)
    # What is before or after and not easy enough, or too short, belongs to the race.
    if begin * width < SHORTEST_WARM_UP_S or s[begin] / max(begin, 1) > WARM_UP_SHARE * inner:
        begin = 0
    if (n - end) * width < SHORTEST_WARM_UP_S or (s[n] - s[end]) / max(n - end, 1) > COOL_DOWN_SHARE * inner:
        end = n
    return begin * width, len(x) if end == n else end * width
