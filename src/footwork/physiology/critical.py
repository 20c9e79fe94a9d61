"""Critical power, W′ and the tail from efforts: one joint posterior for all evidence."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from footwork.physiology.endurance import TAIL_LOG_SD, TAIL_MEDIAN, power_at
from footwork.quantities import Estimate, Floats, format_duration

METHOD_VERSION = 3
DAY_SD = 0.02  # day form shared by a day's efforts, as a share of power; our convention
EFFORT_SD = 0.010  # scale of an effort's own error (Student t, 4 degrees of freedom); our convention
WIDENING_PER_DAY = 0.0035  # diffusion of log CP per square root of a day without evidence; our convention
SHORTEST_S, LONGEST_HYPERBOLA_S = 120.0, 900.0
# Prior of W′/CP: median [s] and SD of its logarithm (Vanhatalo, Doust & Burnley 2007: 16.0 ± 3.8 kJ at 287 ± 56 W).
RESERVE_SECONDS = (48.0, 0.27)
ALL_OUT_BIAS, ALL_OUT_SD = 0.05, 0.06  # three-minute all-out end power against CP (Hunter et al. 2023)
# The hyperbola reads CP above the asymptote of Morton's form, W′ below (Morton 1996); by how much is our convention.
# More tests of the same lengths do not lessen that error.
FORM_BIAS, FORM_SD = 0.01, 0.009
FORM_PIVOT_S = 420.0  # where the hyperbola is pinned by tests whatever its CP


@dataclass(frozen=True)
class Evidence:
    """Efforts that share one error: those of a test day or a race.

    ``kind`` is ``maximal`` or ``all-out``. ``widening`` is an added relative SD for age or a conversion; ``label`` and
    ``run`` say where it comes from. Durations [s], powers [W].
    """

    kind: str
    durations: tuple[float, ...]
    powers: tuple[float, ...]
    widening: float = 0.0
    label: str = ""
    run: int | None = None


LOG_RATIO = np.log(RESERVE_SECONDS[0]) + np.linspace(-1.17, 1.17, 37)  # ln of W′/CP [s] in a grid
RATIO_CELL = float(LOG_RATIO[1] - LOG_RATIO[0])
LOG_TAIL = np.log(TAIL_MEDIAN) + TAIL_LOG_SD * np.linspace(-2.4, 2.4, 9)  # ln of γ in a grid
RATIO_PRIOR = np.asarray(-0.5 * ((LOG_RATIO - np.log(RESERVE_SECONDS[0])) / RESERVE_SECONDS[1]) ** 2, dtype=float)
TAIL_PRIOR = np.asarray(-0.5 * ((LOG_TAIL - np.log(TAIL_MEDIAN)) / TAIL_LOG_SD) ** 2, dtype=float)
SHAPE_PRIOR = RATIO_PRIOR[:, None] + TAIL_PRIOR  # log weights of the shapes, W′/CP by tails
LEAST_TAIL = 0.012  # the flattest tail that a long run can make believe; our convention
LEVEL_CELL = 0.006  # of ln CP in a grid
_FEW_DRAWS = 400
_FEW = np.linspace(0, 1, _FEW_DRAWS)  # their shares
_NODES, _NODE_SHARES = np.polynomial.hermite_e.hermegauss(5)
_ERROR, _ERROR_SHARE = FORM_SD * _NODES - FORM_BIAS, _NODE_SHARES / _NODE_SHARES.sum()  # of the form, in five values
# Steps of an additive recurrence that fills five dimensions evenly: powers of the root of x^6 = x + 1.
_GOLDEN = 1.1347241384015194 ** -np.arange(1.0, 6.0)


@dataclass(frozen=True)
class Grid:
    """Cells of ln CP (an axis of its own, evenly spaced), ln W′/CP and ln γ (`LOG_TAIL`), in that order.

    ln W′/CP [ln s] is `LOG_RATIO`, or a stretch of it that carries all weight.
    """

    log_cp: Floats
    log_ratio: Floats = field(default_factory=lambda: LOG_RATIO)

    @classmethod
    def around(cls, evidence: Sequence[Evidence]) -> Grid:
        """A grid wide enough for this evidence."""
        implied = [
            implied_critical_power(max(t, 60.0), p)
            for e in evidence
            for t, p in zip(e.durations, e.powers, strict=True)
        ]
        # Both ends snap to a coarse lattice, so that one more effort hardly ever moves the grid.
        low, high = (0.06 * np.round(np.log(float(end)) / 0.06) for end in (min(implied), max(implied)))
        return cls(np.arange(low + np.log(0.55), high + np.log(1.9), LEVEL_CELL))

    def holds(self, evidence: Evidence) -> bool:
        """Whether these efforts lie well inside."""
        return all(
            self.log_cp[0] + 0.4 < np.log(implied_critical_power(max(t, 60.0), p)) < self.log_cp[-1] - 0.4
            for t, p in zip(evidence.durations, evidence.powers, strict=True)
        )

    @property
    def shape(self) -> tuple[int, int, int]:
        """Numbers of cells along the three axes."""
        return len(self.log_cp), len(self.log_ratio), len(LOG_TAIL)

    @property
    def runners(self) -> tuple[Floats, Floats, Floats]:
        """CP [W], W′ [J] and γ [1] of the cells; the three broadcast to `shape`."""
        cp = np.exp(self.log_cp)[:, None, None]
        return cp, cp * np.exp(self.log_ratio)[None, :, None], np.exp(LOG_TAIL)[None, None, :]

    @property
    def prior(self) -> Floats:
        """Log weights before any evidence: CP flat, W′/CP and γ by their priors."""
        return np.broadcast_to(SHAPE_PRIOR, (len(self.log_cp), *SHAPE_PRIOR.shape))

    def log_likelihood(self, evidence: Evidence, scale: float = 1.0) -> Floats:
        """Log likelihood of one piece of evidence in every cell; ``scale`` widens the error of maximal efforts.

        Powers [W] over durations [s]; returns the grid's shape.
        """
        cp, _, gamma = self.runners
        if evidence.kind == "all-out":
            return np.broadcast_to(_log_likelihood(evidence, [np.log(cp)], scale), self.shape)
        # Power is CP times what a runner of CP 1 holds: one plane of shapes serves all levels.
        ratio = np.exp(self.log_ratio)[None, :, None]
        held = [np.log(power_at(t, 1.0, ratio, gamma)) + self.log_cp[:, None, None] for t in evidence.durations]
        return _log_likelihood(evidence, held, scale)

    def median(self, log_weight: Floats) -> float:
        """Median of CP. [W]"""
        top = log_weight.max(axis=(1, 2))
        known = np.isfinite(top)  # rows without weight are minus infinity
        weight = np.zeros(len(top))
        weight[known] = np.exp(log_weight[known] - top.max()).sum(axis=(1, 2))
        return float(np.exp(self.log_cp[0] + _quantiles(weight, 0.0, [0.5])[0]))

    def posterior(self, log_weight: Floats, n: int) -> Posterior:
        """The distribution behind log weights of the grid's shape (CP [W], W′/CP, tail); ``n`` efforts behind it."""
        weight = np.exp(log_weight - log_weight.max())
        return Posterior(self, weight.sum(axis=0), weight, n)


def _shares(weight: Floats) -> Floats:
    """Cumulative shares at the edges of cells, of each row, shape (m, n + 1)."""
    total = np.cumsum(weight, axis=1)
    return np.concatenate([np.zeros((len(weight), 1)), total / np.maximum(total[:, -1:], 1e-300)], axis=1)


def _steps(weight: Floats) -> tuple[Floats, Floats]:
    """Cumulative shares at the edges of cells and the edges, counted in cells from the first."""
    return _shares(weight[None])[0] + 1e-15 * np.arange(len(weight) + 1), np.arange(len(weight) + 1.0)


def _quantiles(weight: Floats, sd: float, at: Sequence[float]) -> Floats:
    """Quantiles of weights of cells `LEVEL_CELL` apart, spread by a normal error of that SD [1]; from the first cell's
    middle, in the same unit."""
    kernel = bell(sd / LEVEL_CELL)
    weight = np.convolve(weight, kernel)
    return np.asarray(LEVEL_CELL * (np.interp(at, *_steps(weight)) - 0.5 - len(kernel) // 2), dtype=float)


@functools.lru_cache(maxsize=512)
def bell(sd: float) -> Floats:
    """A symmetric kernel of that SD in cells [1]; three points where it is narrower than the grid can show."""
    if sd < 0.9:
        return np.array([sd**2 / 2, 1 - sd**2, sd**2 / 2])
    reach = int(np.ceil(3.5 * sd))
    out = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sd) ** 2)
    return np.asarray(out / out.sum(), dtype=float)


def _inverse(shares: Floats, u: Floats) -> Floats:
    """Where each row's cumulative share reaches u, in cells from the first edge."""
    rows = np.arange(len(u))
    after = np.clip((shares < u[:, None]).sum(axis=1), 1, shares.shape[1] - 1)
    low, high = shares[rows, after - 1], shares[rows, after]
    return np.asarray(after - 1 + np.clip((u - low) / np.maximum(high - low, 1e-300), 0, 1), dtype=float)


@dataclass(frozen=True)
class Posterior:
    """Joint distribution of CP [W], W′ [J] and the tail γ: weights on a grid.

    ``shapes`` weighs W′/CP by tail, ``levels`` ln CP: one row for all shapes, shape (n,), or for each shape, shape
    (n, ratios, tails).

    ``n`` efforts (or ``n_of``) stand behind it. ``scale_sd`` is a relative error that all watts share, as of a
    conversion between scales or of weeks without running. ``form`` says that the hyperbola's own error is still to be
    added, as for tests; ``coupling`` is the rank correlation of W′/CP with CP beyond the grid's. ``floors`` are bests
    over an hour (duration [s], power [W]) that `held` and `long_draws` do not fall below.
    """

    grid: Grid
    shapes: Floats
    levels: Floats
    n: int
    n_of: str = "efforts"
    scale_sd: float = 0.0
    form: bool = True
    coupling: float = 0.0
    floors: tuple[tuple[float, float], ...] = ()

    @property
    def all_shapes(self) -> Floats:
        """`shapes` over all of `LOG_RATIO`; weights [1]."""
        begin = int(np.searchsorted(LOG_RATIO, self.grid.log_ratio[0] - RATIO_CELL / 2))
        out = np.zeros(SHAPE_PRIOR.shape)
        out[begin : begin + len(self.shapes)] = self.shapes
        return out

    def sharing(self, error: float) -> Posterior:
        """The same with a further relative error [1] that all its watts share."""
        return replace(self, scale_sd=float(np.hypot(self.scale_sd, error)))

    def under(self, log_weight: Floats) -> Posterior:
        """The same with further log weights of the shapes, W′/CP (all of `LOG_RATIO`) by tails, as of another prior:
        exact, since a prior of shapes enters once."""
        begin = int(np.searchsorted(LOG_RATIO, self.grid.log_ratio[0] - RATIO_CELL / 2))
        part = np.exp(log_weight - log_weight.max())[begin : begin + len(self.shapes)]
        levels = self.levels if self.levels.ndim == 1 else self.levels * part
        return replace(self, shapes=self.shapes * part, levels=levels)

    def draws(self, count: int = 2000, seed: int = 1) -> tuple[Floats, Floats, Floats]:
        """Equally likely joint draws of CP, W′ and γ; the same for the same seed.

        The draws are quantiles at points that fill the cube evenly, so that they move smoothly and in one direction
        with the evidence. Returns CP [W], W′ [J] and γ [1], each of shape (count,).
        """
        u, normal = _points(count, seed)
        of_ratio = self.shapes.sum(axis=1)
        ratio_at = np.interp(u[0], *_steps(of_ratio))
        near = _neighbours(ratio_at, of_ratio)
        tails = _shares(self.shapes)
        tail_at = np.asarray(sum(share * _inverse(tails[i], u[1]) for i, share in near))
        score = self._score(normal)
        if self.levels.ndim == 1:
            level_at = np.interp(score, *_steps(self.levels))
        else:
            level_at = np.zeros(count)
            by_shape = _shares(self.levels.reshape(len(self.levels), -1).T)
            beside = _neighbours(tail_at, self.shapes.sum(axis=0))
            for i, share in near:
                for j, part in beside:
                    level_at += share * part * _inverse(by_shape[i * len(LOG_TAIL) + j], score)
        cp = np.exp(self.grid.log_cp[0] + LEVEL_CELL * (level_at - 0.5))
        ratio = np.exp(self.grid.log_ratio[0] + RATIO_CELL * (ratio_at - 0.5))
        gamma = np.exp(LOG_TAIL[0] + (LOG_TAIL[1] - LOG_TAIL[0]) * (tail_at - 0.5))
        wp = cp * ratio
        if self.form:
            # A lower CP goes with a larger W′, so that efforts of some minutes stay as they are.
            other = cp * np.exp(FORM_SD * normal[3] - FORM_BIAS)
            cp, wp = other, np.maximum(wp + (cp - other) * FORM_PIVOT_S, 0.25 * wp)
        if self.scale_sd:
            factor = np.exp(self.scale_sd * normal[4])
            cp, wp = cp * factor, wp * factor
        return cp, wp, np.asarray(gamma, dtype=float)

    def _score(self, normal: Floats) -> Floats:
        """Where each draw's level stands among its shape's, 0 to 1, from the draws' normal scores (5, count)."""
        mine = np.sqrt(1 - self.coupling**2) * normal[2]
        return np.asarray(ndtr(self.coupling * normal[0] + mine), dtype=float)

    def held(self, duration: float, draws: tuple[Floats, Floats, Floats] | None = None) -> Floats:
        """Power that can be held for a duration [s], of each draw: by the relationship, and beyond an hour not below
        what was shown. [W]"""
        power = power_at(duration, *(draws or self.draws()))
        return np.maximum(power, max((p for t, p in self.floors if t >= duration), default=0.0) * (duration > 3600))

    def long_draws(self, count: int = 2000, seed: int = 1) -> tuple[Floats, Floats, Floats]:
        """`draws` for efforts beyond an hour: CP [W], W′ [J] and a tail flat enough for the longest bests shown."""
        return _flattened(*self.draws(count, seed), self.floors)

    def quantiles(self) -> tuple[Floats, Floats]:
        """CP [W] and W′ [J] at 2.5, 50 and 97.5 %, shapes (3,): as `estimates` says them within 2 %, sooner."""
        at = [0.025, 0.5, 0.975]
        if self.levels.ndim == 1:
            log_cp = self.grid.log_cp[0] + _quantiles(self.levels, self.scale_sd, at)
            u, normal = _points(_FEW_DRAWS, 1)
            ratio = RATIO_CELL * (np.interp(u[0], *_steps(self.shapes.sum(axis=1))) - 0.5)
            level = LEVEL_CELL * (np.interp(self._score(normal), *_steps(self.levels)) - 0.5)
            log_wp = np.interp(at, _FEW, np.sort(level + ratio + self.scale_sd * normal[4]))
            return np.exp(log_cp), np.exp(self.grid.log_cp[0] + self.grid.log_ratio[0] + log_wp)
        joint = self.levels.sum(axis=2)
        error, share = (_ERROR, _ERROR_SHARE) if self.form else (np.zeros(1), np.ones(1))
        spread = float(np.hypot(FORM_SD if self.form else 0.0, self.scale_sd))
        log_cp = self.grid.log_cp[0] - FORM_BIAS * self.form + _quantiles(joint.sum(axis=1), spread, at)
        # ln W′ is that of a cell's CP and of its W′/CP, which the form's error moves the other way.
        ratio = np.exp(self.grid.log_ratio)[:, None]
        seconds = np.log(np.maximum(ratio - np.expm1(error) * FORM_PIVOT_S, 0.25 * ratio))
        shift = np.rint((seconds - seconds.min()) / LEVEL_CELL).astype(np.int64)
        cells = np.arange(len(joint))[:, None, None] + shift
        of_reserve = np.bincount(cells.ravel(), (joint[:, :, None] * share).ravel()).astype(float)
        log_wp = self.grid.log_cp[0] + float(seconds.min()) + _quantiles(of_reserve, self.scale_sd, at)
        return np.exp(log_cp), np.exp(log_wp)

    def estimates(self) -> tuple[Estimate, Estimate, Estimate]:
        """CP [W], W′ [J] and γ, each with its 95 % interval."""
        # the same draws that domains and plans use, so that one number is the same everywhere
        cp, wp, gamma = self.draws()
        return (
            Estimate.from_draws(cp, "W", self.n, "critical-power", self.n_of),
            Estimate.from_draws(wp, "J", self.n, "critical-power", self.n_of),
            Estimate.from_draws(gamma, "", self.n, "tail", self.n_of),
        )


@functools.lru_cache(maxsize=8)
def _points(count: int, seed: int) -> tuple[Floats, Floats]:
    """Points that fill the cube evenly, and their normal scores; shapes (5, count)."""
    start = np.random.default_rng(seed).random(len(_GOLDEN))
    u = np.clip((start[:, None] + np.outer(_GOLDEN, np.arange(1, count + 1))) % 1.0, 1e-6, 1 - 1e-6)
    return u, ndtri(u)


def _neighbours(at: Floats, weight: Floats) -> list[tuple[npt.NDArray[np.int64], Floats]]:
    """The two cells nearest to places counted in cells from the first edge, and their shares; none of a cell without
    weight."""
    middle = np.clip(at - 0.5, 0, len(weight) - 1)
    below = np.minimum(middle.astype(np.int64), len(weight) - 2)
    share = middle - below
    known = weight > 1e-12 * weight.max()
    share = np.where(known[below + 1], np.where(known[below], share, 1.0), 0.0)
    return [(below, 1 - share), (below + 1, share)]


def _flattened(
    cp: Floats, wp: Floats, gamma: Floats, floors: Sequence[tuple[float, float]]
) -> tuple[Floats, Floats, Floats]:
    """Runners whose power for each floor's duration [s] is not below its power [W]: by a flatter tail where one can
    hold it, else by a higher level."""
    for duration, power in floors:
        short = power_at(duration, cp, wp, gamma) < power
        if not short.any():
            continue
        low, high = np.full(int(short.sum()), min(LEAST_TAIL, float(gamma.min()))), gamma[short]
        for _ in range(14):
            middle = np.sqrt(low * high)
            holds = power_at(duration, cp[short], wp[short], middle) >= power
            low, high = np.where(holds, middle, low), np.where(holds, high, middle)
        gamma = gamma.copy()
        gamma[short] = low
        lift = np.maximum(power / power_at(duration, cp, wp, gamma), 1.0)
        cp, wp = cp * lift, wp * lift
    return cp, wp, gamma


def implied_critical_power(duration: npt.ArrayLike, power: npt.ArrayLike) -> Floats:
    """CP [W] of a runner of the usual shape (W′ of 48 s of CP, usual tail) whose best for that duration [s] is
    ``power`` [W]."""
    return np.asarray(np.asarray(power) / power_at(duration, 1.0, RESERVE_SECONDS[0], TAIL_MEDIAN), dtype=float)


def posterior(evidence: Sequence[Evidence]) -> Posterior:
    """Joint posterior of CP, W′ and the tail from all evidence.

    Maximal efforts measure the power-duration relationship with a day form shared by a day's efforts and a heavy tail.
    Where they scatter more than assumed, the residual error takes the place of the assumed one.

    Raises
    ------
    ValueError
        Without any evidence.
    """
    if not evidence:
        raise ValueError("no evidence")
    grid = Grid.around(evidence)
    log_weight = grid.prior + sum(grid.log_likelihood(e) for e in evidence)
    scale = _residual_scale(evidence, grid, np.unravel_index(int(np.argmax(log_weight)), grid.shape))
    if scale > 1:
        log_weight = grid.prior + sum(grid.log_likelihood(e, scale) for e in evidence)
    return grid.posterior(log_weight, sum(len(e.durations) for e in evidence))


def log_likelihood(evidence: Evidence, cp: Floats, wp: Floats, gamma: Floats, scale: float = 1.0) -> Floats:
    """Log likelihood of evidence for runners of CP [W], W′ [J] and γ (arrays of one shape), up to a constant."""
    if evidence.kind == "all-out":
        return _log_likelihood(evidence, [np.log(cp)], scale)
    return _log_likelihood(evidence, [np.log(power_at(t, cp, wp, gamma)) for t in evidence.durations], scale)


def _log_likelihood(evidence: Evidence, held: Sequence[Floats], scale: float) -> Floats:
    """The same from ln of the power [ln W] that each runner holds for each effort, or ln CP where it is all-out."""
    if evidence.kind == "all-out":
        sd = float(np.hypot(ALL_OUT_SD, evidence.widening)) * scale
        miss = np.log(evidence.powers[0]) - held[0] - np.log1p(ALL_OUT_BIAS)
        return np.asarray(-0.5 * (miss / sd) ** 2, dtype=float)
    misses = [np.log(p) - h for p, h in zip(evidence.powers, held, strict=True)]
    # The day's form is set to its conditional mean; it and each effort's own error then have heavy tails (t, 4 d.f.),
    # so neither a bad day nor one bad effort drags the estimate along.
    shared, own = float(np.hypot(DAY_SD, evidence.widening)) * scale, EFFORT_SD * scale
    day = sum(misses) / len(misses) * (shared**2 / (shared**2 + own**2 / len(misses)))
    return np.asarray(
        -2.5 * np.log1p((day / shared) ** 2 / 4) - sum(2.5 * np.log1p(((m - day) / own) ** 2 / 4) for m in misses),
        dtype=float,
    )


def _residual_scale(evidence: Sequence[Evidence], grid: Grid, best: tuple[np.intp, ...]) -> float:
    """How much larger the scatter of maximal efforts about the best fit is than assumed, 1 to 5."""
    runner = [np.broadcast_to(of, grid.shape)[best] for of in grid.runners]
    misses = [
        float(np.log(p / power_at(t, *runner)))
        for e in evidence
        if e.kind == "maximal"
        for t, p in zip(e.durations, e.powers, strict=True)
    ]
    if len(misses) < 3:
        return 1.0
    residual = float(np.sqrt(np.sum(np.square(misses)) / (len(misses) - 2)))
    return float(np.clip(residual / float(np.hypot(DAY_SD, EFFORT_SD * 1.4)), 1.0, 5.0))


def warnings_for(evidence: Sequence[Evidence], w_prime: Estimate, critical_power: Estimate) -> list[str]:
    """What a reader must know before trusting the estimate, in sentences."""
    out = []
    maximal = [(t, p) for e in evidence if e.kind == "maximal" for t, p in zip(e.durations, e.powers, strict=True)]
    if not maximal and any(e.kind == "all-out" for e in evidence):
        out.append("A three-minute all-out effort alone reads CP within about 12 %: add efforts of 3 to 12 minutes.")
    if maximal:
        durations = np.array([t for t, _ in maximal])
        ordered = sorted(maximal)
        for (short, less), (long, more) in pairwise(ordered):
            if more > less * 1.01 and long > short * 1.2:
                out.append(
                    f"{more:.0f} W for {format_duration(long)} is more than {less:.0f} W for "
                    f"{format_duration(short)}, so the shorter effort was not maximal: leave it out."
                )
        if len(maximal) < 3:
            out.append(
                f"Only {len(maximal)} maximal effort{'s' if len(maximal) > 1 else ''}: three or more, from 3 "
                "to 12 minutes, settle CP and W′ better."
            )
        if len(maximal) > 1 and durations.max() / durations.min() < 2.5:
            out.append(
                "The efforts are of similar length, so CP and W′ are hard to tell apart: add one of another length."
            )
        inside = (durations >= SHORTEST_S) & (durations <= LONGEST_HYPERBOLA_S)
        if (durations > LONGEST_HYPERBOLA_S).any() and inside.sum() < 2:
            out.append("An effort over 15 minutes informs the long tail more than CP.")
    if w_prime.value is not None and critical_power.value is not None:
        seconds = w_prime.value / critical_power.value
        if not 20 <= seconds <= 150:
            out.append(
                f"W′ of {w_prime.value / 1000:.1f} kJ is implausible for this CP: an effort was probably not maximal."
            )
    return out
