"""Work and recovery in any run, without laps: where power (or speed, or heart rate) changes level, and which repeats
belong together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

METHOD_VERSION = 1
BIN_S = 5
SHORTEST_S = 20  # a change that lasts shorter is no effort; our convention
LONG_STOP_S = 300
REGULAR = 0.3  # spread of what comes again and again, as rests and repeats do and lights do not; our convention
# Standing shorter than this between two efforts of one level is a traffic light, unless it comes again and again.
LIGHT_S = 40
STANDING = {"power": 40.0, "speed": 0.6}
# Least contrast of work over recovery, and how much of the spread of levels the two must explain; our conventions.
CONTRAST = {"power": 0.09, "speed": 0.09, "heart_rate": 0.05}
EXPLAINED, PLAIN = 0.7, 0.2
HEART_RISE_S = 180  # a heart that comes from rest rises this long; it tells no warm-up
SLOW_SHARE = 0.55
OWN_LENGTH = 1.3  # of a piece of work: what a run begins or ends with lasts longer, or is a repeat; our convention
LEAST_FLOATED, FLOAT_EXPLAINED = (
    3,
    0.85,
)  # repeats with floats between: how many at least, and how much of the spread two levels explain
WALKED = 0.62  # of what a run begins or ends with: rests this easy are walked; our convention
RAMP_S = 3  # devices smooth over about three seconds, so a step is seen as a ramp
HEART_S, HEART_SMOOTH_S = (
    32.0,
    8.0,
)  # first-order lag of the heart, which is undone; 38 to 132 s published for ramps, less for steps
ALIKE = 0.12  # durations within this share are the same repeat
Signal = Literal["power", "speed", "heart_rate"]
Kind = Literal["warm-up", "work", "recovery", "cool-down"]


@dataclass(frozen=True)
class Part:
    """A stretch of a run: seconds from the start (end not included), what it is, and the group of repeats that it
    belongs to."""

    start: int
    end: int
    kind: Kind
    group: str = ""

    @property
    def seconds(self) -> int:
        """How long it lasts [s]."""
        return self.end - self.start


def change_points(values: Floats, penalty: float, shortest: int = 4) -> list[int]:
    """Where the mean of a series changes, by exact penalised least squares; the end is the last.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
    penalty : float
        What a further change must be worth in squared error.
    shortest : int
        Least number of values between changes.
    """
    import ruptures

    if len(values) < 2 * shortest:
        return [len(values)]
    found = ruptures.KernelCPD(kernel="linear", min_size=shortest).fit(values[:, None]).predict(pen=penalty)
    return [int(v) for v in found]


def find(values: npt.ArrayLike, signal: Signal = "power") -> list[Part]:
    """Parts of a run that cover it without gaps; neighbours never share a kind.

    Parameters
    ----------
    values : array_like, shape (n,)
        The signal at 1 Hz; NaN where it is missing. [W], [m/s] or [bpm]
    signal : {'power', 'speed', 'heart_rate'}

    Returns
    -------
    list of Part
        A run of one level is one piece of work.
    """
    raw = np.asarray(values, dtype=float)
    n = len(raw)
    if n == 0:
        return []
    whole = [Part(0, n, "work")]
    standing = np.nan_to_num(raw, nan=np.inf) < STANDING.get(signal, -1.0)
    moving = np.isfinite(raw) & ~standing & (raw > 0)
    if moving.sum() < 3 * SHORTEST_S:
        return whole
    level = np.log(np.interp(np.arange(n), np.flatnonzero(moving), raw[moving]))
    if signal == "heart_rate":
        level = _unlagged(level)
    else:  # a few steps at the turn are no level of their own
        level = np.maximum(level, np.log(SLOW_SHARE * float(np.median(raw[moving]))))
    bins = level[: n // BIN_S * BIN_S].reshape(-1, BIN_S).mean(axis=1)
    noise = max(float(np.median(np.abs(np.diff(bins)))) / 0.954, 0.01)
    penalty = max(2.0 * CONTRAST[signal] ** 2, 4.0 * noise**2 * float(np.log(len(bins))))
    # The end of the bins is no change; the end of the run is an edge of its own.
    edges = _with_stops([BIN_S * e for e in change_points(bins, penalty)[:-1]], standing, n)
    for ends in (True, False):
        parts = _divided(level, edges, standing, signal, ends)
        if len(parts) > 1 and _explained(level, parts, standing, signal):
            return _named(parts)
    return whole


def _divided(
    level: Floats, edges: Sequence[int], standing: npt.NDArray[np.bool_], signal: Signal, ends: bool
) -> list[tuple[int, int, bool]]:
    """Work and what is none, refined and joined; ``ends``: whether what a run begins and ends with is held against the
    work alone."""
    hard = _hard(level, edges, standing, signal, ends)
    if hard is None:
        return []
    parts = _refined(
        _joined([(a, b, bool(h)) for (a, b), h in zip(pairwise(edges), hard, strict=True)], standing),
        level,
        standing,
        signal,
    )
    if signal == "heart_rate" and len(parts) > 1 and not parts[0][2] and parts[0][1] < HEART_RISE_S:
        parts[0] = (parts[0][0], parts[0][1], True)
    return _joined(parts, standing)


def _with_stops(changes: Sequence[int], standing: npt.NDArray[np.bool_], n: int) -> list[int]:
    """Edges at changes of level and where the runner stops and goes on; a change next to a stop is the stop."""
    turns = np.flatnonzero(np.diff(np.concatenate([[0], standing.astype(np.int8), [0]])))
    stops = [(int(a), int(b)) for a, b in zip(turns[::2], turns[1::2], strict=True) if b - a >= SHORTEST_S // 2]
    near = 2 * BIN_S
    kept = [c for c in changes if 0 < c < n and all(not a - near <= c <= b + near for a, b in stops)]
    return sorted({0, n, *kept, *(e for stop in stops for e in stop)})


def _explained(
    level: Floats, parts: Sequence[tuple[int, int, bool]], standing: npt.NDArray[np.bool_], signal: Signal
) -> bool:
    """Whether work and recovery explain most of how the run's level varies, as they do not where it only wanders;
    standing explains itself."""
    from scipy.ndimage import uniform_filter1d

    smooth = uniform_filter1d(level, 15)
    works = [k for k, (_, _, h) in enumerate(parts) if h]
    kind = np.zeros(len(level), dtype=np.int8)  # work, between, before and after
    for k, (a, b, h) in enumerate(parts):
        kind[a:b] = 0 if h else 1 if works[0] < k < works[-1] else 2
    moving = ~standing
    easy = moving & (kind > 0)
    if not easy.any():  # only stops: rests come again, one alone is a gate or a drink unless it is long
        stops = [b - a for a, b, h in parts if not h]
        return len(stops) >= 2 or max(stops) >= LONG_STOP_S
    groups = [smooth[moving & (kind == 0)], smooth[easy]]
    within = sum(float(((g - g.mean()) ** 2).sum()) for k in range(3) if len(g := smooth[moving & (kind == k)]))
    total = float(((smooth[moving] - smooth[moving].mean()) ** 2).sum())
    gap = float(groups[0].mean() - groups[1].mean())
    # Few short sprints explain little of a long run and are plain to see all the same.
    return bool(total - within >= EXPLAINED * total or gap >= max(PLAIN, 4 * float(groups[1].std())))


def _unlagged(level: Floats) -> Floats:
    """What drives the heart: the lag of first order undone on a smoothed trace."""
    from scipy.ndimage import gaussian_filter1d

    smooth = gaussian_filter1d(level, HEART_SMOOTH_S, mode="nearest")
    return np.asarray(smooth + HEART_S * np.gradient(smooth), dtype=float)


def _hard(
    level: Floats, edges: Sequence[int], standing: npt.NDArray[np.bool_], signal: Signal, ends: bool
) -> npt.NDArray[np.bool_] | None:
    """Which stretches between edges are work: the two levels that explain the stretches best, or None where they are
    one."""
    spans = list(pairwise(edges))
    still = np.array([standing[a:b].mean() > 0.6 for a, b in spans])
    means = np.array(
        [float(np.median(level[a:b][~standing[a:b]])) if (~standing[a:b]).any() else -np.inf for a, b in spans]
    )
    size = np.array([b - a for a, b in spans], dtype=float) * ~still
    told = size > 0
    if told.sum() < 2 and not (told.any() and still.any()):
        return None
    cut = _cut(means[told], size[told], CONTRAST[signal])
    if cut is None:
        return np.asarray(~still) if still.any() and size[~still].sum() > 0 and _rests(spans, still) else None
    hard = (means > cut) & ~still
    # Where rests are walked, the warm-up is nearer to the work than to them: what the run begins and ends with is held
    # against the work alone.
    second = _cut(means[hard], size[hard], CONTRAST[signal]) if ends else None
    if second is not None:
        work = hard & (means > second)
        rests = [m for m, h, s in zip(means, hard, still, strict=True) if not h and not s]
        for way in (slice(None), slice(None, None, -1)):
            end = int(np.argmin((hard & ~work)[way]))
            # As long as a repeat is a repeat.
            if (
                end
                and size[way][:end].sum() >= OWN_LENGTH * np.median(size[work])
                and (work[way][end] or (rests and np.median(rests) < np.median(means[way][:end]) + np.log(WALKED)))
            ):
                hard[way][:end] = False
    return _floated(np.asarray(hard), means, size, CONTRAST[signal])


def _floated(hard: npt.NDArray[np.bool_], means: Floats, size: Floats, contrast: float) -> npt.NDArray[np.bool_]:
    """Repeats with steady running between, which a much easier warm-up hides: what was taken for one long work goes up
    and down again and again between two levels."""
    turns = np.flatnonzero(np.diff(np.concatenate([[0], hard.astype(np.int8), [0]])))
    for a, b in zip(turns[::2], turns[1::2], strict=True):
        if b - a < 2 * LEAST_FLOATED - 1:
            continue
        x, w = means[a:b], size[a:b]
        cut = _cut(x, w, contrast)
        if cut is None:
            continue
        high = x > cut
        pieces = int((np.diff(np.concatenate([[0], high.astype(np.int8)])) == 1).sum())
        low_level, high_level = np.average(x[~high], weights=w[~high]), np.average(x[high], weights=w[high])
        level = np.average(x, weights=w)
        total = float((w * (x - level) ** 2).sum())
        within = float((w * (x - np.where(high, high_level, low_level)) ** 2).sum())
        turns_in = np.flatnonzero(np.diff(np.concatenate([[0], high.astype(np.int8), [0]])))
        lasts = np.array([w[i:j].sum() for i, j in zip(turns_in[::2], turns_in[1::2], strict=True)])
        gaps = np.array([w[j:k].sum() for j, k in zip(turns_in[1:-1:2], turns_in[2::2], strict=True)])
        regular = any(len(v) > 1 and v.std() <= REGULAR * v.mean() for v in (lasts, gaps))
        if (
            pieces >= LEAST_FLOATED
            and regular
            and total - within >= FLOAT_EXPLAINED * total
            and high_level - low_level >= contrast
        ):
            hard[a:b] = high
    return hard


def _cut(means: Floats, size: Floats, contrast: float) -> float | None:
    """Between the two levels that explain stretches of some sizes best; None where no two are that far apart."""
    order = np.argsort(means)
    x, w = means[order], size[order]
    best, cut = -np.inf, None
    for k in range(1, len(x)):
        low, high = np.average(x[:k], weights=w[:k]), np.average(x[k:], weights=w[k:])
        # Time counts by its root, so that a long easy run does not drown a few repeats.
        between = float(np.sqrt(w[:k].sum() * w[k:].sum()) * (high - low) ** 2)
        within = float((w[:k] * (x[:k] - low) ** 2).sum() + (w[k:] * (x[k:] - high) ** 2).sum())
        worth = between / (within + 1e-3 * w.sum())
        if high - low >= contrast and worth > best:
            best, cut = worth, float(0.5 * (low + high))
    return cut


def _rests(spans: Sequence[tuple[int, int]], still: npt.NDArray[np.bool_]) -> bool:
    """Whether standing lasts, or comes again and again after work that is alike, as between repeats, and is no
    light."""
    stops = np.array([b - a for (a, b), s in zip(spans, still, strict=True) if s], dtype=float)
    if max(stops) >= LONG_STOP_S:
        return True
    if len(stops) < 2:
        return False
    at = [k for k, s in enumerate(still) if s]
    pieces = np.array([spans[j][0] - spans[i][1] for i, j in pairwise(at)], dtype=float)
    if len(stops) == 2:  # what lies before and after must be alike too
        pieces = np.concatenate([[spans[at[0]][0] - spans[0][0]], pieces, [spans[-1][1] - spans[at[1]][1]]])
    alike = all(v.std() <= REGULAR * v.mean() for v in (stops, pieces))
    return bool(max(stops) >= LIGHT_S and alike)


def _joined(parts: Sequence[tuple[int, int, bool]], standing: npt.NDArray[np.bool_]) -> list[tuple[int, int, bool]]:
    """Neighbours of a kind as one; what is too short, or a traffic light, joins what is about it."""
    out = list(parts)
    while True:
        merged: list[tuple[int, int, bool]] = []
        for a, b, h in out:
            if merged and merged[-1][2] == h:
                merged[-1] = (merged[-1][0], b, h)
            else:
                merged.append((a, b, h))
        out = merged
        inner = [
            k
            for k in range(1, len(out) - 1)
            if out[k][1] - out[k][0] < SHORTEST_S or (not out[k][2] and _light(out, k, standing))
        ]
        ends = [k for k in {0, len(out) - 1} if len(out) > 1 and out[k][1] - out[k][0] < SHORTEST_S]
        if not inner and not ends:
            return out
        k = min(inner + ends, key=lambda i: out[i][1] - out[i][0])
        out[k] = (out[k][0], out[k][1], not out[k][2])


def _light(parts: Sequence[tuple[int, int, bool]], k: int, standing: npt.NDArray[np.bool_]) -> bool:
    """A single short stop in the middle of work: rests between repeats are more than one, or longer."""
    a, b, _ = parts[k]
    if b - a >= LIGHT_S or standing[a:b].mean() < 0.5:
        return False
    alike = sum(1 for c, d, h in parts[1:-1] if not h and standing[c:d].mean() >= 0.5 and abs((d - c) - (b - a)) <= 10)
    return alike < 3


def _refined(
    parts: Sequence[tuple[int, int, bool]], level: Floats, standing: npt.NDArray[np.bool_], signal: Signal
) -> list[tuple[int, int, bool]]:
    """Edges moved to the second where a step, seen through the device's smoothing, fits best."""
    edges = [parts[0][0], *(b for _, b, _ in parts)]
    # Some devices smooth and some do not: whichever ramp fits an edge better.
    reach, ramps = (25, (1,)) if signal == "heart_rate" else (12, (1, RAMP_S))
    drawn = np.where(standing, np.nan, level)
    for k in range(1, len(edges) - 1):
        low, high = max(edges[k - 1] + 5, edges[k] - 2 * reach), min(edges[k + 1] - 5, edges[k] + 2 * reach)
        stop = standing[low:high]
        if (
            stop.any()
            and not stop.all()
            and (standing[edges[k - 1] : edges[k]].mean() > 0.5) != (standing[edges[k] : edges[k + 1]].mean() > 0.5)
        ):
            turn = np.flatnonzero(np.diff(stop.astype(np.int8)))
            edges[k] = int(low + 1 + turn[np.argmin(np.abs(low + 1 + turn - edges[k]))])
            continue
        y = drawn[low:high]
        known = np.isfinite(y)
        if known.sum() < 10:
            continue
        before, after = (
            drawn[max(edges[k - 1], edges[k] - 60) : edges[k] - 3],
            drawn[edges[k] + 4 : min(edges[k + 1], edges[k] + 60)],
        )
        if not (np.isfinite(before).any() and np.isfinite(after).any()):
            continue
        one, two = float(np.nanmedian(before)), float(np.nanmedian(after))
        at = np.arange(max(low, edges[k] - reach), min(high, edges[k] + reach + 1))
        best = np.inf
        for ramp in ramps:
            rise = np.clip((np.arange(low, high)[None, :] - at[:, None] + 1) / ramp, 0.0, 1.0)
            miss = np.abs(np.where(known, np.where(known, y, 0.0) - (one + (two - one) * rise), 0.0)).sum(axis=1)
            if miss.min() < best:
                best, edges[k] = float(miss.min()), int(at[np.argmin(miss)])
    return [(a, b, h) for (a, b), (_, _, h) in zip(pairwise(edges), parts, strict=True) if b > a]


def _named(parts: Sequence[tuple[int, int, bool]]) -> list[Part]:
    works = [k for k, (_, _, h) in enumerate(parts) if h]
    out = []
    for k, (a, b, h) in enumerate(parts):
        kind: Kind = "work" if h else "warm-up" if k < works[0] else "cool-down" if k > works[-1] else "recovery"
        out.append(Part(a, b, kind))
    return out
