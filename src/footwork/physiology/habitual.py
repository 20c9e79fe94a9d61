"""Capacity from everyday runs: the level first, the shape afterwards, so that a better best never reads as worse.

A run's best powers say how high the power-duration relationship must lie, for every shape (W′/CP and tail) it may
have. The three strongest runs set the level; that runners train below what they could is a one-sided gap. Only then
W′ and the tail follow, given the level. All powers are natural logarithms of watts here; days are proleptic ordinals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from footwork.physiology import lay_off
from footwork.physiology.critical import (
    LEVEL_CELL,
    LOG_RATIO,
    LOG_TAIL,
    RATIO_PRIOR,
    RESERVE_SECONDS,
    SHAPE_PRIOR,
    TAIL_PRIOR,
    Grid,
    Posterior,
)
from footwork.physiology.curve import stored_durations
from footwork.physiology.endurance import power_at
from footwork.physiology.lay_off import LayOff
from footwork.quantities import Floats

METHOD_VERSION = 2
DURATIONS = (180, 300, 420, 600, 720, 900, 1200, 1800, 2400, 3600)
# Evidence ages by the square of its days, later by a constant share a day; our convention.
AGEING, AGEING_DAYS, AGEING_SQUARE_DAYS = 0.02, 42, 84
SECOND, THIRD = 0.02, 0.028  # what the strongest run may say beyond the second and the third; our convention
SHARPNESS = 60.0  # of the mean over shapes: the higher, the nearer to the least level that any shape asks; convention
BIAS, LEVEL_SD = 0.021, 0.031  # of ln CP about the front; our convention, near Hunter et al. 2023 (281 of 290 W)
GAP, YOUNG_GAP, YOUNG_DAYS = 0.06, 0.12, 18.0  # scale of the one-sided gap, and what a young history adds to it
DEFICIT_SD, DEFICIT_SCALE = 0.052, 0.02  # of the best three minutes below what the runner can hold for them
HOUR_SD = 0.045  # of the best hour as a lower bound
COUPLING = -0.15  # of W′/CP with the gap: what lifts CP leaves less for W′; our convention, tuned on simulated runners
LEAST_RUNS, LEAST_WITH_SHORTEST = 5, 3
TOLD_DAYS, EARLY_DAYS = 21, 28
PAUSE_DAYS = 84
OWN_GAP_DAYS = 28  # of history before a test can tell the runner's own gap
OWN_GAP_SD = 0.04  # of the front from week to week about the runner's own gap
WIDE_SHARE, WIDE_GAP = 0.2, 0.25  # some runners hardly ever run hard: their gap can be far wider; our convention
LONG_DURATIONS = tuple(int(t) for t in stored_durations(21600) if t > DURATIONS[-1])
FLAT_TAIL = 0.035  # lower end of the tail's prior
LEAST_LOG_WEIGHT = -12.0  # shapes of less weight than the best shape's say nothing
_FLOOR = -1e9

_RATIO, _TAIL = np.meshgrid(np.exp(LOG_RATIO), np.exp(LOG_TAIL), indexing="ij")


def shape_levels(durations: Sequence[int] = DURATIONS) -> Floats:
    """ln of the power for each duration [s] at CP 1 in every shape, shape (len(durations), ratios, tails)."""
    return np.log(np.stack([power_at(t, 1.0, _RATIO, _TAIL) for t in durations]))


_LEVELS = shape_levels()
_FLATTEST = np.log(power_at(LONG_DURATIONS, 1.0, RESERVE_SECONDS[0], FLAT_TAIL))


def ageing(days: npt.ArrayLike) -> Floats:
    """How much evidence of so many days ago [d] counts less, as a difference of logarithms [1]."""
    d = np.maximum(np.asarray(days, dtype=float), 0.0)
    square = AGEING * (np.minimum(d, AGEING_SQUARE_DAYS) / AGEING_DAYS) ** 2
    slope = 2 * AGEING * AGEING_SQUARE_DAYS / AGEING_DAYS**2
    return np.asarray(square + slope * np.maximum(d - AGEING_SQUARE_DAYS, 0), dtype=float)


@dataclass(frozen=True)
class Lacking:
    """What is missing: ``runs``, ``three minutes``, ``days``, or a run since a ``pause``; how many runs there are since
    which day, and whether that was a return."""

    what: str
    runs: int
    since: int
    returned: bool


@dataclass(frozen=True)
class Everyday:
    """Runs of a scale in order of days; arrays of n rows.

    Run ids, days, whether each is marked as maximal, ln of the best power [ln W] for each of `DURATIONS` and of
    `LONG_DURATIONS` (minus infinity where a run is too short), and ln of watts by speed on the flat (NaN where not
    known), and an added relative error of converted watts [1].
    """

    run: npt.NDArray[np.int64]
    day: npt.NDArray[np.int64]
    marked: npt.NDArray[np.bool_]
    log_best: Floats
    log_long: Floats
    level: Floats
    widening: Floats

    def unmarked(self, day: int) -> npt.NDArray[np.int64]:
        """Indices of the runs up to a day [proleptic ordinal] that nobody called maximal."""
        known, days, _ = self._of_unmarked
        return known[: np.searchsorted(days, day, side="right")]

    @cached_property
    def _of_unmarked(self) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        """Indices and days of all unmarked runs, and how many so far have a best three minutes."""
        known = np.flatnonzero(~self.marked)
        return known, self.day[known], np.cumsum(np.isfinite(self.log_best[known, 0]))

    def lacking(self, day: int) -> Lacking | None:
        """What the runs up to a day [proleptic ordinal] lack to tell critical power without a test; None if nothing.

        Five runs, three of them of three minutes, over 21 days; none after 84 days without a run, and after such a
        pause the same again.
        """
        known = self.unmarked(day)
        days = self.day[known]
        if not len(days):
            return Lacking("runs", 0, day, False)
        pauses = np.flatnonzero(np.diff(days) > PAUSE_DAYS)
        back = int(pauses[-1]) + 1 if len(pauses) else 0
        of = (len(days) - back, int(days[back]), bool(len(pauses)))
        if day - days[-1] > PAUSE_DAYS:
            return Lacking("pause", of[0], int(days[-1]), of[2])
        if of[0] < LEAST_RUNS:
            return Lacking("runs", *of)
        if not self.enough(day):
            return Lacking("three minutes", *of)
        return Lacking("days", *of) if day - of[1] < TOLD_DAYS else None

    def enough(self, day: int) -> bool:
        """Whether a front exists on a day: five runs, three of them of three minutes or longer; dimensionless [1]."""
        count = len(self.unmarked(day))
        return count >= LEAST_RUNS and int(self._of_unmarked[2][count - 1]) >= LEAST_WITH_SHORTEST


@dataclass(frozen=True)
class Front:
    """What the strongest runs say on a day.

    ``level`` is F, ln of the CP they ask for; ``uncapped`` the same without the caps on a lone run; ``best`` ln of the
    aged, capped best for each of `DURATIONS`, ``long`` for each of `LONG_DURATIONS`; ``strongest`` indices of the three
    runs that set the level, strongest first, and ``at`` the index of the duration where each does; ``history`` days
    since the first run; ``widening`` the added error of converted watts that the strongest carry; ``lost`` what weeks
    without running took from them [1].
    """

    level: float
    uncapped: float
    best: Floats
    long: Floats
    strongest: tuple[int, ...]
    at: tuple[int, ...]
    history: int
    widening: float = 0.0
    lost: float = 0.0

    @property
    def floors(self) -> tuple[tuple[float, float], ...]:
        """Bests over an hour as (duration [s], power [W]), without those that a longer one says as well."""
        later = np.maximum.accumulate(np.append(self.long[1:], -np.inf)[::-1])[::-1]
        kept = np.flatnonzero((self.long > 0) & (later < self.long - 1e-4))
        return tuple((float(LONG_DURATIONS[i]), float(np.exp(self.long[i]))) for i in kept)


def capped(values: Floats) -> Floats:
    """The largest of the first axis, but at most 2 % above the second and 2.8 % above the third, in logarithms [1]."""
    if len(values) < 3:
        filler = np.full((3 - len(values), *values.shape[1:]), -np.inf)
        values = np.concatenate([values, filler])
    third, second, first = np.sort(values, axis=0)[-3:]
    return np.asarray(np.minimum(first, np.minimum(second + SECOND, third + THIRD)), dtype=float)


def soft_least(levels: Floats, log_prior: Floats) -> float:
    """The level [ln W] that the shapes ask for together: a mean that leans to the least; arrays of one shape."""
    weight = log_prior - log_prior.max()
    norm = np.log(np.exp(weight).sum())
    lowest = levels.min()
    if not np.isfinite(lowest):  # fewer than three runs: no level
        return _FLOOR
    return float(lowest - (np.log(np.exp(weight - SHARPNESS * (levels - lowest)).sum()) - norm) / SHARPNESS)


class Fronts:
    """The front of a runner's everyday runs, day by day."""

    def __init__(self, runs: Everyday, lay_offs: Sequence[LayOff] = ()) -> None:
        self.runs, self._lay_offs = runs, lay_offs
        # ln of what was left of capacity on each run's own day.
        self._left_then = np.log1p([-lay_off.lost_on(lay_offs, int(d)) for d in (runs.day if lay_offs else ())])
        # A longer best bounds the shorter ones.
        both = np.concatenate([runs.log_best, runs.log_long], axis=1)
        both = np.maximum.accumulate(both[:, ::-1], axis=1)[:, ::-1]
        self._best, self._long = both[:, : len(DURATIONS)], both[:, len(DURATIONS) :]
        self._needs = np.full((len(runs.day), SHAPE_PRIOR.size), np.nan)  # filled where asked for

    def _fill(self, which: npt.NDArray[np.int64]) -> None:
        new = which[np.isnan(self._needs[which, 0])]
        if len(new):
            needs = np.full((len(new), SHAPE_PRIOR.size), -np.inf)
            for best, levels in zip(self._best[new].T, _LEVELS, strict=True):
                np.maximum(needs, best[:, None] - levels.ravel()[None], out=needs)
            self._needs[new] = needs

    def on(
        self,
        day: int,
        clip: Floats,
        log_prior: Floats = SHAPE_PRIOR,
        among: Sequence[int] | npt.NDArray[np.int64] | None = None,
    ) -> Front:
        """The front on a day, of its unmarked runs up to it or of those ``among`` [indices], less ``clip`` [1] each.

        ``log_prior`` weighs the shapes, as the tests do where there are tests; ``clip`` has a value a run. Powers are
        ln of [W].
        """
        which = self.runs.unmarked(day) if among is None else np.asarray(among, dtype=np.int64)
        if not len(which):
            short, long = (np.full(len(d), -np.inf) for d in (DURATIONS, LONG_DURATIONS))
            return Front(_FLOOR, _FLOOR, short, long, (), (), 0)
        # The strongest of many converted runs owe part of it to the conversion: each counts by its lower end.
        aged, lost = self._aged(day, which)
        less = (clip[which] + aged + self.runs.widening[which])[:, None]
        weight = (log_prior - log_prior.max()).ravel()
        shapes = np.flatnonzero(weight > LEAST_LOG_WEIGHT)
        self._fill(which)
        needs = np.take(self._needs[which], shapes, axis=1)
        asked = np.concatenate([needs, self._best[which], self._long[which]], axis=1) - less
        top = asked.max(axis=0)
        # Most runs lie below three others everywhere: they need no sorting.
        three = np.argsort(asked[:, : len(shapes)].mean(axis=1))[-3:]
        counted = (asked > asked[three].min(axis=0)).any(axis=1)
        counted[three] = True
        caps = capped(asked[counted])
        needs = asked[:, : len(shapes)]
        of_shapes, of_best, of_long = np.split(caps, [len(shapes), len(shapes) + len(DURATIONS)])
        top, _, long = np.split(top, [len(shapes), len(shapes) + len(DURATIONS)])
        level, uncapped = soft_least(of_shapes, weight[shapes]), soft_least(top, weight[shapes])
        binding = int(np.argmax(weight[shapes] - SHARPNESS * top))
        order = np.argsort(-needs[:, binding], kind="stable")[:3]
        at = (self._best[which[order]] - _LEVELS.reshape(len(DURATIONS), -1)[:, shapes[binding]]).argmax(axis=1)
        return Front(
            level,
            uncapped,
            of_best,
            # One long run alone is believed as far as a runner of this level with the flattest usual tail can go.
            np.maximum(of_long, np.minimum(long, level + _FLATTEST)),
            tuple(int(i) for i in which[order]),
            tuple(int(i) for i in at),
            day - int(self.runs.day[0]),
            float(self.runs.widening[which[order]].mean()),
            float(lost[order].mean()),
        )

    def _aged(self, day: int, which: npt.NDArray[np.int64]) -> tuple[Floats, Floats]:
        """How much runs [indices] count less on a day, as differences of logarithms [1], and how much of it weeks
        without running took [1]: since these it is the larger of their loss and of age, never both."""
        days = self.runs.day[which]
        aged, lost = ageing(day - days), np.zeros(len(days))
        weighing = [o for o in self._lay_offs if o.loss(day) > 0.0]
        if weighing:
            taken = self._left_then[which] - np.log1p(-lay_off.lost_on(weighing, day))
            with_loss = ageing(weighing[-1].since - days) + taken
            ruled = (taken > 0.0) & (with_loss > aged)
            aged[ruled], lost[ruled] = with_loss[ruled], -np.expm1(-taken[ruled])
        return aged, lost

    def leading(self, among: Sequence[int], clip: Floats, settled: int) -> list[int]:
        """Of these runs [indices, in order of days] those that can still matter.

        Runs up to day ``settled`` [proleptic ordinal], whose ``clip`` [1] changes no more, are left out where three
        later ones of them are at least as strong at every duration: later ones age less.
        """
        which = np.asarray(among, dtype=np.int64)
        days = self.runs.day[which]
        # A lay-off after a run keeps its distance to later ones as it was when the lay-off began.
        seen = np.full(len(days), settled)
        for found in self._lay_offs[::-1]:
            seen[days <= found.since] = min(found.since, settled)
        less = clip[which] + self.runs.widening[which] + ageing(seen - days)
        asked = np.concatenate([self._best[which], self._long[which]], axis=1) - less[:, None]
        kept: list[int] = []
        end = int(np.searchsorted(self.runs.day[which], settled, side="right"))
        for i in range(end - 1, -1, -1):
            if len(kept) < 3 or int((asked[kept] >= asked[i]).all(axis=1).sum()) < 3:
                kept.append(i)
        return [int(which[i]) for i in (*kept[::-1], *range(end, len(which)))]


def gap_scale(history: int) -> float:
    """Scale of the one-sided gap [1] between front and capacity after so many days of history [d]."""
    return GAP + YOUNG_GAP * float(np.exp(-history / YOUNG_DAYS))


def log_gap_density(x: npt.ArrayLike, scale: float, sd: float = LEVEL_SD) -> Floats:
    """Log density of N(0, sd) + scale·|N(0, 1)| at x [1], up to a constant: a skew-normal."""
    total = float(np.hypot(sd, scale))
    z = np.asarray(x, dtype=float) / total
    return np.asarray(-0.5 * z**2 + log_ndtr(z * scale / sd), dtype=float)


@dataclass(frozen=True)
class OwnGap:
    """The runner's own gap between front and critical power, as a test showed it: mean and SD [1]."""

    mean: float
    sd: float


def own_gap(front: float, log_critical_power: float, sd: float) -> OwnGap:
    """The runner's own gap from a test.

    Parameters
    ----------
    front : float
        F on the test's day. [ln W]
    log_critical_power, sd : float
        ln of the CP that tests alone say on that day [ln W], and its SD.
    """
    gap = np.linspace(-0.15, 0.8, 1901)
    total = float(np.hypot(sd, OWN_GAP_SD))
    wide = np.log(WIDE_SHARE * GAP / WIDE_GAP) + log_gap_density(gap, WIDE_GAP)
    prior = np.logaddexp(np.log(1 - WIDE_SHARE) + log_gap_density(gap, GAP), wide)
    log_weight = prior - 0.5 * ((log_critical_power - front - BIAS - gap) / total) ** 2
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    mean = float((weight * gap).sum())
    return OwnGap(mean, float(np.sqrt((weight * (gap - mean) ** 2).sum())))


def log_level_density(log_cp: Floats, front: Front, gap: OwnGap | None, error: float = 0.0) -> Floats:
    """Log density of ln CP [ln W] given the front, up to a constant: one-sided, or about the runner's own gap;
    ``error`` [1] is one that the front has beside its own."""
    x = log_cp - front.level - BIAS
    beside = float(np.hypot(front.widening, error))
    if gap is not None:
        sd = np.hypot(np.hypot(OWN_GAP_SD, gap.sd), beside)
        return np.asarray(-0.5 * ((x - gap.mean) / sd) ** 2, dtype=float)
    return log_gap_density(x, gap_scale(front.history), float(np.hypot(LEVEL_SD, beside)))


def alone(front: Front) -> Posterior:
    """CP [W], W′ [J] and the tail from everyday runs alone.

    CP by `log_level_density`; W′/CP by its prior and the deficit of the best three minutes; the tail by its prior and
    the best hour as a lower bound.
    """
    at = front.level + BIAS
    log_cp = at + np.arange(-0.15, 0.85, LEVEL_CELL)
    deficit = at + _LEVELS[0][:, :1] - front.best[0]  # at 3 min the tail does not matter
    ratio = RATIO_PRIOR[:, None] + log_gap_density(deficit, DEFICIT_SCALE, DEFICIT_SD)
    tail = TAIL_PRIOR + np.zeros_like(_RATIO)
    if np.isfinite(front.best[-1]):
        tail = tail + log_ndtr((at + _LEVELS[-1] - front.best[-1]) / HOUR_SD)
    tail = np.exp(tail - tail.max(axis=1, keepdims=True))
    shapes = np.exp(ratio - ratio.max()) * tail / tail.sum(axis=1, keepdims=True)  # the hour leaves W′ alone
    levels = np.exp(log_level_density(log_cp, front, None))
    error = lay_off.error(front.lost)
    return Posterior(Grid(log_cp), shapes, levels, 0, "", error, form=False, coupling=COUPLING, floors=front.floors)


def with_level(tests: Posterior, front: Front, gap: OwnGap | None) -> Posterior:
    """What tests say, with the level of everyday runs: each shape keeps what tests gave it, CP [W] within it moves."""
    # What tests and runs lost alike is an error they share; what only the runs lost is theirs.
    alone = max(lay_off.error(front.lost) ** 2 - tests.scale_sd**2, 0.0) ** 0.5
    log_density = log_level_density(tests.grid.log_cp, front, gap, alone)
    density = np.exp(log_density - log_density.max())
    joined = tests.levels * density[:, None, None]
    total = joined.sum(axis=0)
    lost = total <= 0  # a shape whose levels lie nowhere near the front: it keeps them
    joined = np.where(lost, tests.levels, joined * (tests.shapes / np.where(lost, 1.0, total)))
    return replace(tests, levels=joined, floors=front.floors)
