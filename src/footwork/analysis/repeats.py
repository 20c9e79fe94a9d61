"""Efforts as repeats: which are alike, and which of two runs belong together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from footwork.analysis.intervals import ALIKE, Part
from footwork.quantities import Floats, format_duration

ROUND_M = (
    100,
    150,
    200,
    250,
    300,
    400,
    500,
    600,
    800,
    1000,
    1200,
    1500,
    1600,
    1609,
    2000,
    2400,
    2500,
    3000,
    4000,
    5000,
)
SKIP_COST, EXTRA_COST = (
    1.0,
    0.8,
)  # of a piece that was asked and not run, and of one that was run unasked; our conventions


def grouped(parts: Sequence[Part], distance: Floats | None = None, power: Floats | None = None) -> list[Part]:
    """Repeats that belong together, by a name as ``6 x 800 m`` or ``5 x 4:00``.

    Parameters
    ----------
    parts : sequence of Part
    distance : numpy.ndarray, shape (n,), optional
        Cumulative distance at 1 Hz; repeats that agree better in distance than in time are named by it. [m]
    power : numpy.ndarray, shape (n,), optional
        Signal that repeats of one group agree in within a quarter.
    """
    works = [k for k, p in enumerate(parts) if p.kind == "work"]
    out = list(parts)

    def metres(p: Part) -> float:
        if distance is None:
            return float("nan")
        known = distance[p.start : p.end][np.isfinite(distance[p.start : p.end])]
        return float(known[-1] - known[0]) * p.seconds / max(len(known) - 1, 1) if len(known) > 1 else float("nan")

    def level(p: Part) -> float:
        return (
            float("nan")
            if power is None
            else float(np.nanmean(power[p.start : p.end]))
            if np.isfinite(power[p.start : p.end]).any()
            else float("nan")
        )

    def alike(a: Part, b: Part) -> bool:
        close = abs(a.seconds - b.seconds) <= max(ALIKE * max(a.seconds, b.seconds), 8)
        one, two = metres(a), metres(b)
        close = close or (
            np.isfinite(one) and np.isfinite(two) and min(one, two) > 50 and abs(one - two) <= 0.04 * max(one, two)
        )
        x, y = level(a), level(b)
        return bool(close and not (np.isfinite(x) and np.isfinite(y) and abs(x - y) > 0.25 * max(x, y)))

    at = 0
    while at < len(works):
        last = at
        while last + 1 < len(works) and alike(parts[works[at]], parts[works[last + 1]]):
            last += 1
        if last > at:
            members = [parts[works[i]] for i in range(at, last + 1)]
            name = f"{len(members)} x {size(members, [metres(p) for p in members])}"
            for i in range(at, last + 1):
                out[works[i]] = replace(parts[works[i]], group=name)
        at = last + 1
    return out


def size(members: Sequence[Part], metres: Sequence[float]) -> str:
    """What one repeat is, in the unit that they agree in.

    ``metres`` holds each member's way [m]; the result is in [m] or [s], with its word.
    """
    seconds, way = np.array([p.seconds for p in members], dtype=float), np.array(metres)
    near = None
    if np.isfinite(way).all():
        middle = float(np.median(way))
        near = min(ROUND_M, key=lambda m: abs(m - middle))
        by_way = float(way.std() / middle)
        rounded = 5.0 * round(float(np.median(seconds)) / 5)
        whole = rounded % 30 == 0 or rounded in (20.0, 40.0, 45.0)
        if abs(near - middle) <= 0.025 * near and (
            by_way < float(seconds.std() / seconds.mean()) or not whole or abs(float(np.median(seconds)) - rounded) > 2
        ):
            return f"{near} m"
    return format_duration(round_seconds(float(np.median(seconds))))


def round_seconds(value: float) -> float:
    """The nearest duration that people run: tens up to two minutes, quarters of a minute up to ten, else minutes.

    [s] to [s].
    """
    step = 10.0 if value < 120 else 15.0 if value < 600 else 60.0
    near = step * round(value / step)
    return near if abs(near - value) <= max(0.03 * value, 3.0) else round(value)


def align(asked: Sequence[tuple[float, float]], run: Sequence[tuple[float, float | None]]) -> list[tuple[int, int]]:
    """Which piece of work that was run is which that was asked, in order, with some skipped and some extra.

    Parameters
    ----------
    asked, run : sequence of (seconds, power [W])
        Power that is not known tells nothing.

    Returns
    -------
    list of (int, int)
        Pairs of indexes, by the least total cost: the logarithms of the ratios of duration and power, and a fixed cost
        for what is left over.
    """
    n, m = len(asked), len(run)

    def cost(i: int, j: int) -> float:
        (s, p), (t, q) = asked[i], run[j]
        # Small differences do not decide which repeat is which: the first run are then the first asked.
        size = max(abs(float(np.log(max(t, 1.0) / max(s, 1.0)))) - 0.1, 0.0)
        hard = 0.0 if q is None or p <= 0 or q <= 0 else 3.0 * max(abs(float(np.log(q / p))) - 0.05, 0.0)
        return size + hard

    total = np.full((n + 1, m + 1), np.inf)
    total[0, 0] = 0.0
    for i in range(n + 1):
        for j in range(m + 1):
            if i:
                total[i, j] = min(total[i, j], total[i - 1, j] + SKIP_COST)
            if j:
                total[i, j] = min(total[i, j], total[i, j - 1] + EXTRA_COST)
            if i and j:
                total[i, j] = min(total[i, j], total[i - 1, j - 1] + cost(i - 1, j - 1))
    out, i, j = [], n, m
    while i or j:
        if i and np.isclose(total[i, j], total[i - 1, j] + SKIP_COST):
            i -= 1
        elif j and np.isclose(total[i, j], total[i, j - 1] + EXTRA_COST):
            j -= 1
        else:
            i, j = i - 1, j - 1
            out.append((i, j))
    return out[::-1]
