"""Capacity through time: a grid filter over CP, W′ and the tail that diffuses from day to day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from footwork.physiology.critical import DAY_SD, EFFORT_SD, Evidence, Grid, Posterior, log_likelihood
from footwork.physiology.endurance import power_at
from footwork.quantities import Floats

METHOD_VERSION = 1
DRIFT_PER_DAY = 0.0016  # SD of the change of log CP in a day; 2.1 % in half a year; our convention
RESERVE_DRIFT_PER_DAY = 0.006  # the same of log W′/CP; our convention
STRONG_DAYS = {"tested": 120, "habitual": 84}  # how long evidence of a kind gives today's value its name


@dataclass(frozen=True)
class Dated:
    """Evidence of one day; ``day`` is a date's proleptic ordinal."""

    day: int
    evidence: Evidence


@dataclass(frozen=True)
class Step:
    """What one piece of evidence did: CP [W] before and after (None before the first), on its day."""

    day: int
    evidence: Evidence
    before: float | None
    after: float


@dataclass(frozen=True)
class State:
    """Quantiles right after a day with evidence: (2.5 %, median, 97.5 %) of CP [W], W′ [J] and γ, and what came so far."""

    day: int
    critical_power: tuple[float, float, float]
    w_prime: tuple[float, float, float]
    tail: tuple[float, float, float]
    efforts: int


@dataclass
class Track:
    """The filter's run through time: a state for each day with evidence, what moved it, and the grid to go on from."""

    grid: Grid
    log_weight: Floats
    day: int
    states: list[State]
    steps: list[Step]

    def posterior(self, day: int, efforts: int) -> Posterior:
        """Joint distribution on a day at or after the last evidence, said to rest on so many efforts."""
        return self.grid.posterior(_diffused(self.grid, self.log_weight, day - self.day), efforts)


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
        grid = Grid.around([d.evidence for d in dated])
        track = Track(grid, grid.prior, dated[0].day, [], [])
    else:
        track = Track(start.grid, start.log_weight, start.day, list(start.states), list(start.steps))
    first = not track.steps
    at = 0
    while at < len(dated):
        day = dated[at].day
        track.log_weight = _diffused(track.grid, track.log_weight, day - track.day)
        track.day = day
        while at < len(dated) and dated[at].day == day:
            evidence = dated[at].evidence
            before = None if first else track.grid.median(track.log_weight)
            track.log_weight = track.log_weight + track.grid.log_likelihood(evidence)
            track.log_weight -= track.log_weight.max()
            track.steps.append(Step(day, evidence, before, track.grid.median(track.log_weight)))
            first = False
            at += 1
        done = sum(len(s.evidence.durations) for s in track.steps if s.evidence.kind != "bound")
        track.states.append(_state(track, done or len(track.steps)))
    return track


def _state(track: Track, efforts: int) -> State:
    quantiles = [
        tuple(float(v) for v in np.quantile(draws, [0.025, 0.5, 0.975]))
        for draws in track.grid.posterior(track.log_weight, efforts).draws(800)
    ]
    return State(track.day, quantiles[0], quantiles[1], quantiles[2], efforts)  # type: ignore[arg-type]


def _diffused(grid: Grid, log_weight: Floats, days: int) -> Floats:
    """The grid some days later: spread along CP and W′/CP by as much as both may have changed."""
    if days <= 0:
        return log_weight
    weight = np.exp(log_weight - log_weight.max()).reshape(grid.shape)
    for axis, (per_day, cell) in enumerate(zip((DRIFT_PER_DAY, RESERVE_DRIFT_PER_DAY), grid.cell, strict=False)):
        kernel = _kernel(per_day * days**0.5 / cell)
        reach = len(kernel) // 2
        padded = np.pad(weight, [(reach, reach) if a == axis else (0, 0) for a in range(3)], mode="edge")
        size = weight.shape[axis]
        total = np.zeros_like(weight)
        for offset, share in enumerate(kernel):
            total += share * np.take(padded, np.arange(offset, offset + size), axis=axis)
        weight = total
    return np.asarray(np.log(np.maximum(weight.ravel(), 1e-300)), dtype=float)


def _kernel(sd: float) -> Floats:
    """A symmetric kernel of that SD in cells; three points where it is narrower than the grid can show."""
    if sd < 0.9:
        side = sd**2 / 2
        return np.array([side, 1 - 2 * side, side])
    reach = min(int(np.ceil(3.5 * sd)), 60)
    x = np.arange(-reach, reach + 1)
    out = np.exp(-0.5 * (x / sd) ** 2)
    return np.asarray(out / out.sum(), dtype=float)


def half_width_after(posterior: Posterior, durations: Sequence[float], truths: int = 16, seed: int = 1) -> float:
    """Half the width of CP's 95 % interval [W] to be expected after a test of these durations [s] on one day.

    Runners are drawn from the posterior; each is given the test with a day form and effort errors as assumed, and the
    posterior is updated. The median over the runners is returned.
    """
    rng = np.random.default_rng(seed)
    cp, wp, gamma = posterior.draws(truths, seed)
    order = np.argsort(posterior.critical_power)
    widths = []
    for truth in range(truths):
        form = DAY_SD * rng.standard_normal()
        powers = tuple(
            float(power_at(t, cp[truth], wp[truth], gamma[truth]) * np.exp(form + EFFORT_SD * rng.standard_normal()))
            for t in durations
        )
        test = Evidence("maximal", tuple(durations), powers)
        weight = posterior.weight * np.exp(
            log_likelihood(test, posterior.critical_power, posterior.w_prime, posterior.tail)
        )
        share = np.cumsum(weight[order])
        low, high = np.interp([0.025, 0.975], share / share[-1], posterior.critical_power[order])
        widths.append(0.5 * float(high - low))
    return float(np.median(widths))


def widened(state: State, day: int) -> State:
    """A state as it stands on a later day without evidence: the medians stay, the intervals widen."""
    days = max(day - state.day, 0)

    def wider(quantiles: tuple[float, float, float], per_day: float) -> tuple[float, float, float]:
        low, value, high = quantiles
        more = (1.96 * per_day) ** 2 * days
        down, up = (float(np.hypot(np.log(value / q), more**0.5)) for q in (low, high))
        return value * float(np.exp(-down)), value, value * float(np.exp(up))

    reserve = float(np.hypot(DRIFT_PER_DAY, RESERVE_DRIFT_PER_DAY))
    return State(
        day, wider(state.critical_power, DRIFT_PER_DAY), wider(state.w_prime, reserve), state.tail, state.efforts
    )


def kind_on(steps: Sequence[Step], day: int) -> str:
    """What a day's value rests on: ``tested``, ``habitual``, or ``lower bound``."""
    return kind_from({name_of(s.evidence): s.day for s in steps if s.day <= day}, day)


def name_of(evidence: Evidence) -> str:
    """The word for a kind of evidence."""
    return {"maximal": "tested", "all-out": "tested"}.get(evidence.kind, evidence.kind)


def kind_from(latest: Mapping[str, int], day: int) -> str:
    """The same from the newest day of each word of evidence."""
    for name, days in STRONG_DAYS.items():
        if name in latest and day - latest[name] <= days:
            return name
    return "lower bound"
