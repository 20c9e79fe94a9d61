"""Which efforts of the recorded runs say something about capacity, and how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from footwork.physiology.critical import HABITUAL_DURATIONS, Evidence, implied_critical_power, inverse_time
from footwork.physiology.tracking import Dated
from footwork.quantities import Floats

METHOD_VERSION = 3
SHORTEST_S = 120
LEAST_WATTS = 30.0  # less is standing, not an effort
TEST_TOLERANCE = 0.14  # a test's further efforts imply a CP within this share of its best
HABITUAL_RUNS = 5
HABITUAL_RESERVE_S = (20.0, 150.0)  # W′/CP of habitual bests that can pass for hard running [s]
HABITUAL_DAYS = 42
SPIKE = (
    1.10  # a run that implies so much more CP than the next best of its weeks is a fault of the device, or was maximal
)
SHORTEST_BLOCK_DAYS = 14
RACE_BIN_S, MOST_BINS = 10, 720
SHORTEST_WARM_UP_S = 120.0
WARM_UP_SHARE, COOL_DOWN_SHARE = 0.875, 0.72  # of the race's power, at most; our convention


@dataclass(frozen=True)
class Best:
    """Stored best efforts of one run on one scale: durations [s], powers [W] and where each window starts [s]; ``day``
    is a date's proleptic ordinal."""

    run: int
    day: int
    label: str
    maximal: bool
    durations: npt.NDArray[np.int64]
    powers: Floats
    starts: npt.NDArray[np.int64]


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
    while len(taken) < most:
        index = int(implied.argmax())
        if not np.isfinite(implied[index]) or implied[index] < top * (1 - TEST_TOLERANCE):
            break
        top = max(top, float(implied[index]))
        taken.append(index)
        overlap = (s < s[index] + t[index]) & (s + t > s[index])
        implied = np.where(overlap, -np.inf, implied)
    return [(float(t[i]), float(p[i])) for i in taken]


def timeline(bests: Sequence[Best], until: int) -> list[Dated]:
    """Turn the runs of one scale into dated evidence about capacity.

    Parameters
    ----------
    bests : sequence of Best
        In order of days.
    until : int
        The day asked about (proleptic ordinal); later runs are left out.

    Returns
    -------
    list of Dated
        Maximal efforts of marked runs. For each block of six weeks, counted from the first run, the habitual bests of
        its unmarked runs where at least five of them show hard running; else one lower bound from them. Nothing is
        used twice. The block that is still running is the six weeks up to the day asked about.
    """
    known = [b for b in bests if b.day <= until]
    out = [
        Dated(b.day, Evidence("maximal", tuple(t for t, _ in found), tuple(p for _, p in found), 0.0, b.label, b.run))
        for b in known
        if b.maximal and (found := maximal_efforts(b))
    ]
    blocks: dict[int, list[Best]] = {}
    for best in known:
        if not best.maximal:
            blocks.setdefault((best.day - known[0].day) // HABITUAL_DAYS, []).append(best)
    for number, runs in blocks.items():
        start = known[0].day + number * HABITUAL_DAYS
        end = min(start + HABITUAL_DAYS - 1, until)
        # The six weeks that are still running look back over whole ones: fewer days hold fewer occasions for a best.
        since = max(end - HABITUAL_DAYS + 1, known[0].day)
        habitual = _habitual([b for b in known if not b.maximal and since <= b.day <= end], end - since + 1)
        if habitual is not None:
            # The bests were taken from all these runs: bounds from the same runs would count them twice.
            out = [d for d in out if d.evidence.kind != "bound" or d.day < since]
            out.append(Dated(end, habitual))
            continue
        out += _bounds(runs)
    return sorted(out, key=lambda d: d.day)


def _bounds(runs: Sequence[Best]) -> list[Dated]:
    """The lower bound of a block: of its runs the one that binds second most, so that one spiky file says nothing; of
    one or two runs the one that binds most. More bounds of the same weeks would let chance ratchet CP upwards."""
    found = []
    for best in runs:
        index = binding_effort(best.durations, best.powers)
        if index >= 0:
            t, p = float(best.durations[index]), float(best.powers[index])
            bound = Dated(best.day, Evidence("bound", (t,), (p,), 0.0, best.label, best.run))
            found.append((float(implied_critical_power(t, p)), bound))
    ranked = [bound for _, bound in sorted(found, key=lambda f: -f[0])]
    return ranked[1:2] if len(ranked) >= 3 else ranked[:1]


def _without_spike(recent: Sequence[Best]) -> Sequence[Best]:
    """The runs without those whose best implies far more than the best of all others: one file must not make a
    habit."""
    implied = []
    for best in recent:
        index = binding_effort(best.durations, best.powers)
        implied.append(float(implied_critical_power(best.durations[index], best.powers[index])) if index >= 0 else 0.0)
    order = np.argsort(implied)[::-1]
    faulty = 0
    while faulty < len(order) - HABITUAL_RUNS and implied[order[faulty]] > SPIKE * implied[order[faulty + 1]]:
        faulty += 1
    return [recent[i] for i in sorted(order[faulty:].tolist())]


def _habitual(recent: Sequence[Best], days: int) -> Evidence | None:
    if len(recent) < HABITUAL_RUNS or days < SHORTEST_BLOCK_DAYS:
        return None
    recent = _without_spike(recent)
    powers = []
    for duration in HABITUAL_DURATIONS:
        found = [float(b.powers[i]) for b in recent for i in np.flatnonzero(b.durations == duration)]
        if not np.isfinite(found).any():
            return None
        powers.append(float(np.nanmax(found)))
    if min(powers) < LEAST_WATTS:
        return None
    form = inverse_time(HABITUAL_DURATIONS, powers)
    low, high = HABITUAL_RESERVE_S
    if form.critical_power <= 0 or not low <= form.w_prime / form.critical_power <= high:
        return None  # easy running only: a flat curve is a bound, not a measurement
    label = f"best 3, 7 and 12 min of {len(recent)} runs in {days} days"
    # A history shorter than six weeks has had fewer occasions for a best.
    widening = 0.03 * (1 - days / HABITUAL_DAYS)
    return Evidence("habitual", HABITUAL_DURATIONS, tuple(powers), widening, label)


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
