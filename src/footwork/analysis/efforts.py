"""Which efforts of the recorded runs say something about capacity, and how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from footwork.physiology.critical import (
    HABITUAL_DURATIONS,
    WIDENING_PER_DAY,
    Evidence,
    implied_critical_power,
    inverse_time,
)
from footwork.quantities import Floats

METHOD_VERSION = 1
SHORTEST_S = 120
TEST_TOLERANCE = 0.14  # a test's further efforts imply a CP within this share of its best
HABITUAL_RUNS = 5
HABITUAL_RESERVE_S = (20.0, 150.0)  # W′/CP of habitual bests that can pass for hard running [s]
WINDOW_DAYS = 120
HABITUAL_DAYS = 42


@dataclass(frozen=True)
class Best:
    """Stored best efforts of one run on one scale: durations [s], powers [W] and where each window starts [s]."""

    run: int
    age_days: float
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
    implied = np.where((t >= SHORTEST_S) & np.isfinite(p), implied_critical_power(np.maximum(t, 1), p), -np.inf)
    index = int(implied.argmax()) if len(implied) else -1
    return index if index >= 0 and np.isfinite(implied[index]) else -1


def maximal_efforts(best: Best, most: int = 4) -> list[tuple[float, float]]:
    """The efforts of a run marked as race or test, as (duration [s], power [W]).

    The one that implies the highest CP first; then others that do not overlap it and imply nearly as much, so that a
    test of several trials gives several efforts and a race one.
    """
    t, p, s = best.durations.astype(float), best.powers, best.starts
    usable = (t >= SHORTEST_S) & np.isfinite(p)
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


def evidence_from(bests: Sequence[Best]) -> list[Evidence]:
    """Turn the runs of one scale into evidence about capacity on the newest day.

    Parameters
    ----------
    bests : sequence of Best
        Runs of the last 120 days; age counts back from the day asked about.

    Returns
    -------
    list of Evidence
        Maximal efforts of marked runs; habitual bests over six weeks where at least five unmarked runs show hard
        running; else from every unmarked run of those weeks one lower bound. Nothing is used twice.
    """
    out: list[Evidence] = []
    for best in bests:
        if best.maximal and best.age_days <= WINDOW_DAYS and (found := maximal_efforts(best)):
            out.append(
                Evidence(
                    "maximal", tuple(t for t, _ in found), tuple(p for _, p in found),
                    WIDENING_PER_DAY * best.age_days**0.5, best.label, best.run,
                )
            )  # fmt: skip
    recent = [b for b in bests if not b.maximal and b.age_days <= HABITUAL_DAYS]
    habitual = _habitual(recent)
    if habitual is not None:
        # The bests were taken from all these runs: bounds from the same runs would count them twice.
        return [*out, habitual]
    for best in recent:
        index = binding_effort(best.durations, best.powers)
        if index >= 0:
            widening = WIDENING_PER_DAY * best.age_days**0.5
            t, p = float(best.durations[index]), float(best.powers[index])
            out.append(Evidence("bound", (t,), (p,), widening, best.label, best.run))
    return out


def _habitual(recent: Sequence[Best]) -> Evidence | None:
    if len(recent) < HABITUAL_RUNS:
        return None
    powers = []
    for duration in HABITUAL_DURATIONS:
        found = [float(b.powers[i]) for b in recent for i in np.flatnonzero(b.durations == duration)]
        if not np.isfinite(found).any():
            return None
        powers.append(float(np.nanmax(found)))
    form = inverse_time(HABITUAL_DURATIONS, powers)
    low, high = HABITUAL_RESERVE_S
    if form.critical_power <= 0 or not low <= form.w_prime / form.critical_power <= high:
        return None  # easy running only: a flat curve is a bound, not a measurement
    label = f"best 3, 7 and 12 min of {len(recent)} runs in six weeks"
    return Evidence("habitual", HABITUAL_DURATIONS, tuple(powers), 0.0, label)
