"""Capacity through time: a grid filter over CP, W′ and the tail that diffuses from day to day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from footwork.physiology.critical import DAY_SD, EFFORT_SD, FORM_SD, Evidence, Grid, Posterior, log_likelihood
from footwork.physiology.endurance import power_at
from footwork.quantities import Floats

METHOD_VERSION = 2
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
    """Quantiles right after a day with evidence: (2.5 %, median, 97.5 %) of CP [W], W′ [J] and γ, and what came so
    far."""

    day: int
    critical_power: tuple[float, float, float]
    w_prime: tuple[float, float, float]
    tail: tuple[float, float, float]
    efforts: int


@dataclass
class Track:
    """The filter's run through time: a state for each day with evidence, what moved it, and the grid to go on from.

    ``log_weight`` knows everything but habitual bests. How near to the limit a runner trains is a habit, the same in
    every six weeks, so the newest habitual bests take the place of older ones: many of them know no more than one.
    """

    grid: Grid
    log_weight: Floats
    day: int
    states: list[State]
    steps: list[Step]
    habit: Dated | None = None

    @classmethod
    def unknown(cls, evidence: Sequence[Dated]) -> Track:
        """The track before any of this evidence, on a grid wide enough for it."""
        grid = Grid.around([d.evidence for d in evidence])
        return cls(grid, grid.prior, evidence[0].day, [], [])

    def weight_on(self, day: int) -> Floats:
        """Log weights of the grid on a day at or after the last evidence, habitual bests included.

        ``day`` is a proleptic ordinal [d]; the result has the grid's shape.
        """
        weight = _diffused(self.grid, self.log_weight, day - self.day)
        if self.habit is None:
            return weight
        widening = float(np.hypot(self.habit.evidence.widening, DRIFT_PER_DAY * max(day - self.habit.day, 0) ** 0.5))
        return np.asarray(
            weight + self.grid.log_likelihood(replace(self.habit.evidence, widening=widening)), dtype=float
        )

    def posterior(self, day: int, efforts: int) -> Posterior:
        """Joint distribution on a day at or after the last evidence, said to rest on so many efforts."""
        return self.grid.posterior(self.weight_on(day), efforts)


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
    else:
        track = replace(start, states=list(start.states), steps=list(start.steps))
    at = 0
    while at < len(dated):
        day = dated[at].day
        track.log_weight = _diffused(track.grid, track.log_weight, day - track.day)
        track.day = day
        median = track.grid.median(track.weight_on(day)) if track.steps else None
        while at < len(dated) and dated[at].day == day:
            evidence = dated[at].evidence
            if evidence.kind == "habitual":
                track.habit = dated[at]
            else:
                track.log_weight = track.log_weight + track.grid.log_likelihood(evidence)
                track.log_weight -= track.log_weight.max()
            after = track.grid.median(track.weight_on(day))
            track.steps.append(Step(day, evidence, median, after))
            median = after
            at += 1
        done = sum(len(s.evidence.durations) for s in track.steps if s.evidence.kind not in ("bound", "habitual"))
        done += len(track.habit.evidence.durations) if track.habit else 0
        track.states.append(_state(track, done or len(track.steps)))
    return track


def _state(track: Track, efforts: int) -> State:
    quantiles = [
        tuple(float(v) for v in np.quantile(draws, [0.025, 0.5, 0.975]))
        for draws in track.posterior(track.day, efforts).draws(800)
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
        widths.append(float(np.hypot(0.5 * (high - low), 1.96 * FORM_SD * cp[truth])))
    return float(np.median(widths))


def widened(state: State, day: int) -> State:
    """A state as it stands on a later day without evidence: the medians stay, the intervals widen."""
    gone = max(day - state.day, 0) ** 0.5
    reserve = float(np.hypot(DRIFT_PER_DAY, RESERVE_DRIFT_PER_DAY))
    return spread(replace(state, day=day), DRIFT_PER_DAY * gone, reserve * gone)


def spread(state: State, sd: float, reserve_sd: float | None = None) -> State:
    """A state with a further relative error of CP and of W′ (the same by default).

    ``sd`` and ``reserve_sd`` are relative [1]; the state keeps its shape.
    """

    def wider(quantiles: tuple[float, float, float], more: float) -> tuple[float, float, float]:
        low, value, high = quantiles
        down, up = (float(np.hypot(np.log(value / q), 1.96 * more)) for q in (low, high))
        return value * float(np.exp(-down)), value, value * float(np.exp(up))

    return replace(
        state,
        critical_power=wider(state.critical_power, sd),
        w_prime=wider(state.w_prime, sd if reserve_sd is None else reserve_sd),
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
