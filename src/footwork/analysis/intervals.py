"""Work and recovery in any run, without laps: where power (or speed, or heart rate) changes level, and which repeats
belong together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from footwork.analysis.change_points import change_points
from footwork.analysis.run_blocks import BIN_S, EARLY_S, Stretch, Whole, described, same
from footwork.quantities import Floats

METHOD_VERSION = 5
SHORTEST_S = 20  # a change that lasts shorter is no effort; our convention
LEAST_WORK_S = 10  # but for strides; our convention
STANDING = {"power": 40.0, "speed": 0.6}
# Least contrast of work over recovery; our convention.
CONTRAST = {"power": 0.09, "speed": 0.09, "heart_rate": 0.05}
SLOW_SHARE = 0.55
RAMP_S = 3  # devices smooth over about three seconds, so a step is seen as a ramp
# First-order lag of the heart, which is undone; 38 to 132 s published for ramps, less for steps.
HEART_S, HEART_SMOOTH_S = 32.0, 8.0
HEART_RISE_S = 180  # a heart that comes from rest rises this long; it tells no warm-up
HEART_GAIN = 2.5  # a heart changes by less than the effort does
HEART_WANDER, HEART_MOST = 0.03, 12.0  # how a heart's level wanders, and what one stretch out of line costs at most
MOST_SLOPE = 2.5  # of ln watts by grade: more would be hills run as repeats; our convention
LATE_S = 4  # a lap is pressed so many seconds late at most, to be taken for the edge; our convention
STARTS_S = 60  # after a stop devices take so long to show the effort; our convention
JUMP_S, MOST_JUMP = (15, 3), 16.0  # how a step is seen, and what the sharpest is worth at most; our convention
MOST_STRETCHES, MOST_STOPS = 90, 40
Signal = Literal["power", "speed", "heart_rate"]
Kind = Literal["warm-up", "work", "recovery", "cool-down"]


LONG_EASY_S = 180  # an easy piece that long tells what is easy in this run; our convention, as the next two
EASY_MORE, HARDER = 1.15, 1.18  # times the easy level that still is easy; times it that the work passes
ALIKE = 0.22  # of ln duration: pieces so alike are a set, however hard each is


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


@dataclass(frozen=True)
class Division:
    """A run divided into parts, and how else it may be divided that fits nearly as well: nothing where that is
    plain."""

    parts: list[Part]
    otherwise: list[Part]

    def sure(self, part: Part) -> bool:
        """Whether a part is one in either division."""
        alike = [p for p in self.otherwise if p.kind == part.kind and same((p.start, p.end), (part.start, part.end))]
        return not self.otherwise or bool(alike)


def find(
    values: npt.ArrayLike, signal: Signal = "power", grade: npt.ArrayLike | None = None, laps: Sequence[float] = ()
) -> list[Part]:
    """The parts of `divided`."""
    return divided(values, signal, grade, laps).parts


def divided(
    values: npt.ArrayLike, signal: Signal = "power", grade: npt.ArrayLike | None = None, laps: Sequence[float] = ()
) -> Division:
    """Parts of a run that cover it without gaps; neighbours share a kind only where a run gets harder step by step.

    Parameters
    ----------
    values : array_like, shape (n,)
        The signal at 1 Hz; NaN where it is missing. [W], [m/s] or [bpm]
    signal : {'power', 'speed', 'heart_rate'}
    grade : array_like, shape (n,), optional
        Slope [1]: what it explains of the signal is no change of effort.
    laps : sequence of float, optional
        Where the runner pressed a button [s]: evidence for an edge that the signal shows too.

    Returns
    -------
    Division
        A run of one level is one piece of work.
    """
    raw = np.asarray(values, dtype=float)
    n = len(raw)
    if n == 0:
        return Division([], [])
    whole = [Part(0, n, "work")]
    standing = np.asarray(np.nan_to_num(raw, nan=np.inf) < STANDING.get(signal, -1.0), dtype=np.bool_)
    moving = np.asarray(np.isfinite(raw) & ~standing & (raw > 0), dtype=np.bool_)
    if moving.sum() < 3 * SHORTEST_S:
        return Division(whole, [])
    level = np.log(np.interp(np.arange(n), np.flatnonzero(moving), raw[moving]))
    if signal == "heart_rate":
        level = HEART_GAIN * _unlagged(level)
        if n > 3 * HEART_RISE_S:  # from rest it rises whatever the effort
            level[:HEART_RISE_S] = np.maximum(level[:HEART_RISE_S], np.median(level[HEART_RISE_S : 2 * HEART_RISE_S]))
    else:  # a few steps at the turn are no level of their own
        level = np.maximum(level, np.log(SLOW_SHARE * float(np.median(raw[moving]))))
        if grade is not None:
            level = _as_on_the_flat(level, np.asarray(grade, dtype=float), moving)
    fine = _stretches(level, standing, moving, CONTRAST[signal])
    # The lag of a heart, undone by one figure for all, over- and undershoots: its turns are no evidence of their own.
    heart = signal == "heart_rate"
    jumps = {} if heart else _jumps(level, moving, [e.end for e in fine[:-1]])
    run = Whole(
        n,
        HEART_WANDER if heart else _wander(level, moving),
        CONTRAST[signal],
        tuple(laps),
        HEART_MOST if heart else np.inf,
    )
    made = []
    for parts in described(fine, run, jumps):
        refined = _refined(_tidied(parts), level, standing, signal) if len(parts) > 1 else []
        named = _named(_tidied(_at_laps(refined, laps))) if refined else []
        made.append(_easy_ends(named, level, moving) or whole)
    return Division(made[0], next((parts for parts in made[1:] if not _same_work(made[0], parts)), []))


def _same_work(one: Sequence[Part], two: Sequence[Part]) -> bool:
    """Whether two divisions of a run hold the same pieces of work."""
    works = [[(p.start, p.end) for p in parts if p.kind == "work"] for parts in (one, two)]
    return len(works[0]) == len(works[1]) and all(map(same, *works))


def _as_on_the_flat(level: Floats, grade: Floats, moving: npt.NDArray[np.bool_]) -> Floats:
    """The level without what slope explains of how it changes from half a minute to the next."""
    known = moving & np.isfinite(grade)
    if known.sum() < 20 * SHORTEST_S:
        return level
    g = np.interp(np.arange(len(level)), np.flatnonzero(known), grade[known])
    width = 3 * BIN_S
    cut = len(level) // width * width
    x, y = (v[:cut].reshape(-1, width).mean(axis=1) for v in (g, level))
    whole = np.asarray(known[:cut].reshape(-1, width).all(axis=1), dtype=np.bool_)
    dx, dy = np.diff(x), np.diff(y)
    told = whole[1:] & whole[:-1] & (np.abs(dx) > 0.004)
    if told.sum() < 12:
        return level
    # The weighted median of slopes: what jumps at the edges of repeats does not drag it along.
    slopes, weight = dy[told] / dx[told], np.abs(dx[told])
    order = np.argsort(slopes)
    middle = slopes[order][np.searchsorted(np.cumsum(weight[order]), 0.5 * weight.sum())]
    return np.asarray(level - float(np.clip(middle, -MOST_SLOPE, MOST_SLOPE)) * (g - np.median(g[known])), dtype=float)


def _wander(level: Floats, moving: npt.NDArray[np.bool_]) -> float:
    """SD of a level that wanders within a minute: from its calmer steps over 15 s, less what noise adds to them."""
    square = [_calm(level, moving, width) ** 2 for width in (BIN_S, 3 * BIN_S)]
    # Steps of means over 5 and 15 s hold 0.16 and 0.44 of the variance of a wander of a minute, noise twice and two
    # thirds.
    return float(np.clip(np.sqrt(max(square[1] - square[0] / 3, 0.0) / 0.387), 0.01, 0.12))


def _calm(level: Floats, moving: npt.NDArray[np.bool_], width: int) -> float:
    """SD of the steps between neighbouring means over so many seconds, from the calmer third of them."""
    cut = len(level) // width * width
    whole = np.asarray(moving[:cut].reshape(-1, width).all(axis=1), dtype=np.bool_)
    steps = np.abs(np.diff(level[:cut].reshape(-1, width).mean(axis=1)))[whole[1:] & whole[:-1]]
    return float(np.quantile(steps, 0.35)) / 0.454 if len(steps) >= 8 else 0.02


def _jumps(level: Floats, moving: npt.NDArray[np.bool_], edges: Sequence[int]) -> dict[int, float]:
    """What each edge's sharpness says against a level that only wanders [log density]."""
    sums = np.concatenate([[0.0], np.cumsum(level)])
    width, gap = JUMP_S

    def step(at: npt.NDArray[np.int64]) -> Floats:
        after = sums[np.minimum(at + gap + width, len(level))] - sums[np.minimum(at + gap, len(level) - width)]
        before = sums[np.maximum(at - gap, width)] - sums[np.maximum(at - gap - width, 0)]
        return np.asarray(after - before, dtype=float) / width

    every = np.arange(gap + width, len(level) - gap - width, BIN_S)
    every = every[moving[every]]
    if len(every) < 8:
        return {}
    scale = max(float(np.quantile(np.abs(step(every)), 0.35)) / 0.454, 0.01)
    at = np.array(edges, dtype=np.int64)
    worth = 0.5 * np.clip((step(at) / scale) ** 2 - 9.0, 0.0, MOST_JUMP)
    # After a stop devices take their time.
    stopped = np.array([not moving[max(k - STARTS_S, 0) : k].all() for k in edges], dtype=np.bool_)
    worth[stopped] = 0.0
    return dict(zip(edges, map(float, worth), strict=True))


def _stretches(
    level: Floats, standing: npt.NDArray[np.bool_], moving: npt.NDArray[np.bool_], contrast: float
) -> list[Stretch]:
    """The run cut finely: at every change of level and where the runner stops and goes on."""
    bins = level[: len(level) // BIN_S * BIN_S].reshape(-1, BIN_S).mean(axis=1)
    noise = max(float(np.median(np.abs(np.diff(bins)))) / 0.954, 0.01)
    penalty = max(2.0 * contrast**2, 4.0 * noise**2 * float(np.log(len(bins))))
    edges = [0, len(level)]
    for _ in range(12):
        changes = [BIN_S * e for e in change_points(bins, penalty)[:-1]]
        edges = _with_stops(changes, standing, len(level))
        if len(changes) <= MOST_STRETCHES:
            break
        penalty *= 1.5
    out = []
    for a, b in pairwise(edges):
        still = bool(standing[a:b].mean() > 0.6)
        known = level[a:b][moving[a:b]] if moving[a:b].any() else level[a:b]
        mean = float(known.mean())
        out.append(Stretch(a, b, mean, still, ((b - a, mean),)))
    return out


def _tidied(parts: Sequence[tuple[int, int, str]]) -> list[tuple[int, int, str]]:
    """Neighbours of a kind as one, steps apart; what is too short joins what is about it."""
    out = list(parts)
    while True:
        merged: list[tuple[int, int, str]] = []
        for a, b, kind in out:
            if merged and merged[-1][2] == kind != "step":
                merged[-1] = (merged[-1][0], b, kind)
            else:
                merged.append((a, b, kind))
        out = merged
        # Strides may be shorter than what lies between.
        short = [
            k for k, (a, b, kind) in enumerate(out) if b - a < (LEAST_WORK_S if kind else SHORTEST_S) and len(out) > 1
        ]
        if not short:
            return out
        k = min(short, key=lambda i: out[i][1] - out[i][0])
        out[k] = (out[k][0], out[k][1], out[k - 1 if k else 1][2])
        if out[k][2] == "step":
            j = k - 1 if k else 1
            out[min(j, k) : max(j, k) + 1] = [(out[min(j, k)][0], out[max(j, k)][1], "step")]


def _at_laps(parts: Sequence[tuple[int, int, str]], laps: Sequence[float]) -> list[tuple[int, int, str]]:
    """Edges where the runner pressed the button, where that is no more than some seconds off what the signal says."""
    edges = [parts[0][0], *(b for _, b, _ in parts)]
    for k in range(1, len(edges) - 1):
        near = [
            round(lap) for lap in laps if -EARLY_S <= lap - edges[k] <= LATE_S and edges[k - 1] < lap < edges[k + 1]
        ]
        edges[k] = min(near, key=lambda lap: abs(lap - edges[k]), default=edges[k])
    return [(a, b, kind) for (a, b), (_, _, kind) in zip(pairwise(edges), parts, strict=True)]


def _named(parts: Sequence[tuple[int, int, str]]) -> list[Part]:
    works = [k for k, (_, _, h) in enumerate(parts) if h]
    if not works:
        return []
    out = []
    for k, (a, b, h) in enumerate(parts):
        kind: Kind = "work" if h else "warm-up" if k < works[0] else "cool-down" if k > works[-1] else "recovery"
        out.append(Part(a, b, kind))
    return out


def _easy_ends(parts: list[Part], level: Floats, moving: npt.NDArray[np.bool_]) -> list[Part]:
    """Work at either end that is no harder than the run's long easy pieces is warm-up or cool-down: before a race a
    minute's walk to the line makes work of the jog before it."""

    def mean(p: Part) -> float:
        kept = moving[p.start : p.end]
        return float(level[p.start : p.end][kept].mean()) if kept.any() else -np.inf

    easy = [mean(p) for p in parts if p.kind != "work" and p.seconds >= LONG_EASY_S]
    works = [k for k, p in enumerate(parts) if p.kind == "work"]
    if not easy:
        return parts
    hardest = max(mean(parts[k]) for k in works)
    limit = min(max(easy) + np.log(EASY_MORE), hardest - np.log(HARDER))

    def counts(end: int, inner: int) -> bool:
        """Whether work at an end stays work: a step of a run that gets harder, or as long as the piece beside it."""
        alike = abs(np.log(parts[works[end]].seconds / parts[works[inner]].seconds)) < ALIKE
        return abs(works[end] - works[inner]) == 1 or bool(alike) or mean(parts[works[end]]) >= limit

    while len(works) > 1 and not counts(0, 1):
        works.pop(0)
    while len(works) > 1 and not counts(-1, -2):
        works.pop()
    first, last = works[0], works[-1]
    ends = [("warm-up", parts[:first]), ("cool-down", parts[last + 1 :])]
    before, after = ([Part(p[0].start, p[-1].end, kind)] if p else [] for kind, p in ends)  # type: ignore[arg-type]
    return [*before, *parts[first : last + 1], *after]


def _with_stops(changes: Sequence[int], standing: npt.NDArray[np.bool_], n: int) -> list[int]:
    """Edges at changes of level and where the runner stops and goes on; a change next to a stop is the stop."""
    turns = np.flatnonzero(np.diff(np.concatenate([[0], standing.astype(np.int8), [0]])))
    stops = [(int(a), int(b)) for a, b in zip(turns[::2], turns[1::2], strict=True) if b - a >= SHORTEST_S // 2]
    stops = sorted(sorted(stops, key=lambda s: s[1] - s[0])[-MOST_STOPS:])  # of very many, the short ones are steps
    near = 2 * BIN_S
    kept = [c for c in changes if 0 < c < n and all(not a - near <= c <= b + near for a, b in stops)]
    return sorted({0, n, *kept, *(e for stop in stops for e in stop)})


def _unlagged(level: Floats) -> Floats:
    """What drives the heart: the lag of first order undone on a smoothed trace."""
    from scipy.ndimage import gaussian_filter1d

    smooth = gaussian_filter1d(level, HEART_SMOOTH_S, mode="nearest")
    return np.asarray(smooth + HEART_S * np.gradient(smooth), dtype=float)


def _refined(
    parts: Sequence[tuple[int, int, str]], level: Floats, standing: npt.NDArray[np.bool_], signal: Signal
) -> list[tuple[int, int, str]]:
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
