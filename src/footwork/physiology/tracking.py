"""Capacity from tests through time: a grid filter over CP, W′ and the tail that diffuses from day to day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from footwork.physiology import lay_off
from footwork.physiology.critical import (
    DAY_SD,
    EFFORT_SD,
    FORM_SD,
    LEVEL_CELL,
    RATIO_CELL,
    Evidence,
    Grid,
    Posterior,
    bell,
)
from footwork.physiology.endurance import power_at
from footwork.quantities import Floats

METHOD_VERSION = 5
DRIFT_PER_DAY = 0.0016  # SD of the change of log CP in a day; 2.1 % in half a year; our convention
# The same for days of which nothing is known on the scale, no run and no test: 9 % in a year; our convention.
UNSEEN_DRIFT_PER_DAY = 0.0047
RESERVE_DRIFT_PER_DAY = 0.006  # the same of log W′/CP; our convention
TRIM = 18.0  # levels and shapes whose log weight lies so far below the best say nothing
TESTED_DAYS = 120  # how long a test gives today's value its name; our convention


@dataclass(frozen=True)
class Dated:
    """Evidence of one day; ``day`` is a date's proleptic ordinal, ``moved`` how capacity changed by weeks without
    running, or by the return from them, since the evidence before, as a difference of logarithms [1], ``unseen`` of how
    many days since then nothing is known [d]."""

    day: int
    evidence: Evidence
    moved: float = 0.0
    unseen: int = 0


@dataclass(frozen=True)
class Step:
    """What one piece of evidence did: CP [W] before and after (None before the first), on its day, how capacity had
    moved until then, and the days unseen (`Dated`)."""

    day: int
    evidence: Evidence
    before: float | None
    after: float
    moved: float = 0.0
    unseen: int = 0


@dataclass
class Track:
    """The filter's run through time: what moved it, and log weights on the grid to go on from."""

    grid: Grid
    log_weight: Floats
    day: int
    steps: list[Step]

    @classmethod
    def unknown(cls, evidence: Sequence[Dated]) -> Track:
        """The track before any of this evidence, on a grid wide enough for it."""
        grid = Grid.around([d.evidence for d in evidence])
        return cls(grid, grid.prior, evidence[0].day, [])

    def on(self, day: int, moved: float = 0.0, unseen: int = 0) -> Posterior:
        """What the tests say on a day at or after the last of them [proleptic ordinal], moved by what weeks without
        running did since [1, of ln CP], whose error is the posterior's ``scale_sd``; of ``unseen`` days since then
        nothing is known [d]."""
        spreads = _spreads(max(day - self.day, 0), 0.0, unseen)
        rows, ratios = (_with_room(ends, sd) for ends, sd in zip(self._ends, spreads, strict=True))
        carried = self.log_weight[rows, ratios]
        weight = _diffused(np.exp(carried - carried.max()), spreads)
        grid = Grid(self.grid.log_cp[rows] + moved, self.grid.log_ratio[ratios])
        return Posterior(grid, weight.sum(axis=0), weight, 0, scale_sd=lay_off.error(-np.expm1(-abs(moved))))

    @cached_property
    def _ends(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """The first and last cells of CP and of W′/CP that carry weight."""
        return _carried(self.log_weight, 0), _carried(self.log_weight, 1)


def level_of(tests: Posterior) -> tuple[float, float]:
    """ln of CP [ln W] as tests tell it: mean and SD [1]."""
    weight = tests.levels.sum(axis=(1, 2))
    weight = weight / weight.sum()
    mean = float((weight * tests.grid.log_cp).sum())
    return mean, float(np.sqrt((weight * (tests.grid.log_cp - mean) ** 2).sum()))


def follow(dated: Sequence[Dated], start: Track | None = None) -> Track:
    """Run the filter over evidence in order of days.

    Parameters
    ----------
    dated : sequence of Dated
        Sorted by day; with ``start`` only what came after its day.
    start : Track, optional
        Where to go on from; it is left as it is.

    Raises
    ------
    ValueError
        Without any evidence.
    """
    if start is None:
        if not dated:
            raise ValueError("no evidence")
        track = Track.unknown(dated)
    elif not all(start.grid.holds(d.evidence) for d in dated):
        return follow([*(Dated(s.day, s.evidence, s.moved, s.unseen) for s in start.steps), *dated])
    else:
        track = replace(start, steps=list(start.steps))
    for found in dated:
        if found.day > track.day:
            spreads = _spreads(found.day - track.day, found.moved, found.unseen)
            rows = _with_room(_carried(track.log_weight, 0), spreads[0])
            weight = _diffused(np.exp(track.log_weight[rows]), spreads)
            track.log_weight = track.log_weight.copy()
            track.log_weight[rows] = np.log(np.maximum(weight, 1e-300))
            track.grid = Grid(track.grid.log_cp + found.moved)
        track.day = found.day
        before = track.grid.median(track.log_weight) if track.steps else None
        rows = _with_room(_carried(track.log_weight, 0), 0.0)
        new = track.log_weight[rows] + Grid(track.grid.log_cp[rows]).log_likelihood(found.evidence)
        track.log_weight = np.full(track.grid.shape, -np.inf)
        track.log_weight[rows] = new - new.max()
        after = track.grid.median(track.log_weight)
        track.steps.append(Step(found.day, found.evidence, before, after, found.moved, found.unseen))
    return track


def _diffused(weight: Floats, spreads: tuple[float, float]) -> Floats:
    """Weights some days later, spread along CP and W′/CP by as much as both may have changed [cells]."""
    if not any(spreads):
        return weight
    from scipy.ndimage import convolve1d  # only where tests are followed

    for axis, sd in enumerate(spreads):
        # What would leave at an edge is reflected.
        weight = convolve1d(weight, bell(sd), axis=axis, mode="reflect")
    return np.asarray(weight, dtype=float)


def _spreads(days: int, moved: float, unseen: int) -> tuple[float, float]:
    """SD of what some days [d] add to ln CP and to ln W′/CP, in cells of each; to ln CP also by how little is known of
    how weeks without running moved it [1]."""
    squares = DRIFT_PER_DAY**2 * (days - unseen) + UNSEEN_DRIFT_PER_DAY**2 * unseen
    level = np.hypot(squares**0.5, lay_off.error(-np.expm1(-abs(moved))))
    return float(level) / LEVEL_CELL, RESERVE_DRIFT_PER_DAY * days**0.5 / RATIO_CELL


def _carried(log_weight: Floats, axis: int) -> tuple[int, int]:
    """The first and the last cell of CP, or of W′/CP, that carry weight."""
    of_cell = log_weight.max(axis=(1 - axis, 2))
    carried = np.flatnonzero(of_cell > of_cell.max() - TRIM)
    return int(carried[0]), int(carried[-1])


def _with_room(ends: tuple[int, int], sd: float) -> slice:
    """These cells and room for what spreads by so many [cells]."""
    margin = int(np.ceil(3 * sd)) + 1
    return slice(max(ends[0] - margin, 0), ends[1] + 1 + margin)


def half_width_after(posterior: Posterior, durations: Sequence[float], truths: int = 16, seed: int = 1) -> float:
    """Half the width of CP's 95 % interval [W] to be expected after a test of these durations [s] on one day.

    Runners are drawn from the posterior; each is given the test with a day form and effort errors as assumed, and the
    posterior is updated. The median over the runners is returned.
    """
    rng = np.random.default_rng(seed)
    cp, wp, gamma = posterior.draws(truths, seed)
    joint = posterior.levels
    if joint.ndim == 1:
        joint = joint[:, None, None] * posterior.shapes
    widths = []
    for truth in range(truths):
        form = DAY_SD * rng.standard_normal()
        powers = tuple(
            float(power_at(t, cp[truth], wp[truth], gamma[truth]) * np.exp(form + EFFORT_SD * rng.standard_normal()))
            for t in durations
        )
        likely = posterior.grid.log_likelihood(Evidence("maximal", tuple(durations), powers))
        share = np.cumsum((joint * np.exp(likely - likely.max())).sum(axis=(1, 2)))
        low, high = np.exp(np.interp([0.025, 0.975], share / share[-1], posterior.grid.log_cp))
        widths.append(float(np.hypot(0.5 * (high - low), 1.96 * FORM_SD * cp[truth])))
    return float(np.median(widths))
