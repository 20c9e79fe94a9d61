"""Critical power, W′ and the tail from efforts: the classical forms, and one joint posterior for all evidence."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from footwork.physiology.endurance import TAIL_LOG_SD, TAIL_MEDIAN, power_at
from footwork.quantities import Estimate, Floats, format_duration

METHOD_VERSION = 2
DAY_SD = 0.02  # day form shared by a day's efforts, as a share of power; our convention
EFFORT_SD = 0.010  # scale of an effort's own error (Student t, 4 degrees of freedom); our convention
ASSUMED_EFFORT_ERROR = 0.02  # the least error a stated effort is given by the forms; our convention
WIDENING_PER_DAY = 0.0035  # diffusion of log CP per square root of a day without evidence; our convention
SHORTEST_S, LONGEST_HYPERBOLA_S = 120.0, 900.0
RESERVE_SECONDS = (60.0, 0.6)  # prior of W′/CP: median [s] and SD of its logarithm; our convention
ALL_OUT_BIAS, ALL_OUT_SD = 0.05, 0.06  # three-minute all-out end power against CP (Hunter et al. 2023)
HABITUAL_BIAS, HABITUAL_SHARED_SD, HABITUAL_OWN_SD = -0.03, 0.045, 0.025  # habitual bests (Hunter et al. 2023)
# The hyperbola reads CP above the asymptote of Morton's form, W′ below (Morton 1996); by how much is our convention.
# More tests of the same lengths do not lessen that error.
FORM_BIAS, FORM_SD = 0.01, 0.008
FORM_PIVOT_S = 420.0  # where the hyperbola is pinned by tests whatever its CP
BOUND_SD, BOUND_OUTLIERS = 0.03, 0.05
HABITUAL_DURATIONS = (180.0, 420.0, 720.0)


@dataclass(frozen=True)
class Form:
    """A fitted form: its name, which variable carries the error, CP [W], W′ [J] and, with three parameters, Pmax
    [W]."""

    name: str
    error_in: str
    critical_power: float
    w_prime: float
    p_max: float | None = None


def work_time(duration: npt.ArrayLike, power: npt.ArrayLike) -> Form:
    """Least squares of work on time, ``W = W′ + CP·t``; durations [s] and powers [W], at least two."""
    t, p = _pairs(duration, power, 2)
    slope, intercept = np.polyfit(t, p * t, 1)
    return Form("work-time", "work", float(slope), float(intercept))


def inverse_time(duration: npt.ArrayLike, power: npt.ArrayLike) -> Form:
    """Least squares of power on one over time, ``P = CP + W′/t``; durations [s] and powers [W], at least two."""
    t, p = _pairs(duration, power, 2)
    slope, intercept = np.polyfit(1 / t, p, 1)
    return Form("1/time", "power", float(intercept), float(slope))


def time_power(duration: npt.ArrayLike, power: npt.ArrayLike) -> Form:
    """Least squares of time on power, ``t = W′/(P-CP)``; durations [s] and powers [W], at least two.

    Raises
    ------
    ValueError
        Where longer efforts are not weaker.
    """
    from scipy.optimize import least_squares

    t, p = _pairs(duration, power, 2)
    first = work_time(t, p)
    top = float(p.min()) * (1 - 1e-6)
    start = [min(first.critical_power, top * 0.999), max(first.w_prime, 100.0)]

    def miss(x: Floats) -> Floats:
        return np.asarray(x[1] / (p - x[0]) - t, dtype=float)

    fit = least_squares(miss, start, bounds=([0.0, 0.0], [top, np.inf]), x_scale=[10.0, 1000.0])
    return Form("time-power", "time", float(fit.x[0]), float(fit.x[1]))


def three_parameter(duration: npt.ArrayLike, power: npt.ArrayLike) -> Form:
    """Morton's form, ``P = CP + W′/(t-k)``, ``k = W′/(CP-Pmax)``; at least four efforts [s], [W], one under 2 min.

    Raises
    ------
    ValueError
        With fewer efforts, none under two minutes, or where no maximal power fits.

    References
    ----------
    .. [1] Morton R.H. (1996), Ergonomics 39:611-619.
    """
    from scipy.optimize import least_squares

    t, p = _pairs(duration, power, 4)
    if t.min() >= SHORTEST_S:
        raise ValueError("the three-parameter form needs an effort under 2 min")
    first = inverse_time(t[t >= SHORTEST_S], p[t >= SHORTEST_S]) if (t >= SHORTEST_S).sum() > 1 else inverse_time(t, p)

    def miss(x: Floats) -> Floats:
        cp, log_w, log_extra = x
        w = np.exp(log_w)
        return np.asarray(cp + w / (t + w / np.exp(log_extra)) - p, dtype=float)

    start = [first.critical_power, np.log(max(first.w_prime, 1e3)), np.log(max(p.max() - first.critical_power, 50) * 2)]
    fit = least_squares(miss, start, x_scale=[10.0, 0.1, 0.1], xtol=1e-14, ftol=1e-14, gtol=1e-14, max_nfev=5000)
    cp, w, extra = float(fit.x[0]), float(np.exp(fit.x[1])), float(np.exp(fit.x[2]))
    if not 0 < cp < p.min() or cp + extra > 20 * p.max():
        raise ValueError("these efforts do not show a maximal power")
    return Form("three-parameter", "power", cp, w, cp + extra)


def form_interval(
    form: Callable[[npt.ArrayLike, npt.ArrayLike], Form], made: Form, duration: Floats, power: Floats, count: int = 150
) -> tuple[Estimate, Estimate]:
    """CP [W] and W′ [J] of a fitted form with intervals, by refitting it to efforts with errors drawn anew.

    Parameters
    ----------
    form : callable
        The fitting function.
    made : Form
        Its result on these durations [s] and powers [W], shape (m,).
    count : int
        How many refits.

    Returns
    -------
    tuple of Estimate
        The error of an effort is the larger of the residual error and the assumed 2 %, so that efforts that happen to
        lie on a line do not pretend certainty.
    """
    k = 0.0 if made.p_max is None else made.w_prime / (made.critical_power - made.p_max)
    predicted = made.critical_power + made.w_prime / (duration - k)
    freedom = len(power) - (2 if made.p_max is None else 3)
    residual = float(np.sqrt(np.sum((power / predicted - 1) ** 2) / freedom)) if freedom > 0 else 0.0
    rng = np.random.default_rng(1)
    found = []
    for _ in range(count):
        try:
            again = form(
                duration, predicted * (1 + max(residual, ASSUMED_EFFORT_ERROR) * rng.standard_normal(len(power)))
            )
        except ValueError:
            continue
        found.append((again.critical_power, again.w_prime))
    draws = np.array(found)
    out = []
    for value, column, unit in ((made.critical_power, 0, "W"), (made.w_prime, 1, "J")):
        low, high = np.quantile(draws[:, column], [0.025, 0.975])
        out.append(Estimate(value, min(float(low), value), max(float(high), value), unit, len(power), "critical-power"))
    return out[0], out[1]


def _pairs(duration: npt.ArrayLike, power: npt.ArrayLike, least: int) -> tuple[Floats, Floats]:
    t, p = np.asarray(duration, dtype=float), np.asarray(power, dtype=float)
    if t.shape != p.shape or t.ndim != 1 or len(np.unique(t)) < least:
        raise ValueError(f"needs at least {least} efforts of different duration")
    return t, p


@dataclass(frozen=True)
class Evidence:
    """Efforts that share one error: those of a test day, a race, the habitual bests of six weeks, or one bound.

    ``kind`` is ``maximal``, ``all-out``, ``habitual`` or ``bound``. ``widening`` is an added relative SD for age or a
    conversion; ``label`` and ``run`` say where it comes from. Durations [s], powers [W].
    """

    kind: str
    durations: tuple[float, ...]
    powers: tuple[float, ...]
    widening: float = 0.0
    label: str = ""
    run: int | None = None


@dataclass(frozen=True)
class Posterior:
    """Joint distribution of CP [W], W′ [J] and the tail γ on a grid; arrays are flat and of one length."""

    critical_power: Floats
    w_prime: Floats
    tail: Floats
    weight: Floats
    cell: tuple[float, float, float]
    n: int
    scale_sd: float = 0.0  # relative error that all its watts share, as of a conversion between scales

    def draws(self, count: int = 2000, seed: int = 1) -> tuple[Floats, Floats, Floats]:
        """Equally likely joint draws of CP, W′ and γ, spread within their cells; the same for the same seed.

        Returns CP [W], W′ [J] and γ [1], each of shape (count,).
        """
        rng = np.random.default_rng(seed)
        # Systematic sampling: one uniform number places all, so the draws carry the weights almost exactly.
        edges = np.cumsum(self.weight)
        which = np.searchsorted(edges, (np.arange(count) + rng.random()) / count * edges[-1])
        which = rng.permutation(np.minimum(which, len(edges) - 1))
        jitter = rng.uniform(-0.5, 0.5, (3, count))
        cp = self.critical_power[which] * np.exp(jitter[0] * self.cell[0])
        wp = cp * self.w_prime[which] / self.critical_power[which] * np.exp(jitter[1] * self.cell[1])
        # The error of the form itself: a lower CP goes with a larger W′, so that efforts of some minutes stay as they
        # are.
        other = cp * np.exp(FORM_SD * rng.standard_normal(count) - FORM_BIAS)
        wp = np.maximum(wp + (cp - other) * FORM_PIVOT_S, 0.25 * wp)
        if self.scale_sd:
            factor = np.exp(self.scale_sd * rng.standard_normal(count))
            other, wp = other * factor, wp * factor
        return other, wp, self.tail[which] * np.exp(jitter[2] * self.cell[2])

    def estimates(self) -> tuple[Estimate, Estimate, Estimate]:
        """CP [W], W′ [J] and γ, each with its 95 % interval."""
        cp, wp, gamma = (
            self.draws()
        )  # the same draws that domains and plans use, so that one number is the same everywhere
        return (
            Estimate.from_draws(cp, "W", self.n, "critical-power"),
            Estimate.from_draws(wp, "J", self.n, "critical-power"),
            Estimate.from_draws(gamma, "", self.n, "tail"),
        )


@dataclass(frozen=True)
class Grid:
    """Cells of log CP, log W′/CP and log γ, flat arrays in that order, with the prior's log weight."""

    critical_power: Floats
    w_prime: Floats
    tail: Floats
    prior: Floats
    shape: tuple[int, int, int]
    cell: tuple[float, float, float]

    @classmethod
    def around(cls, evidence: Sequence[Evidence]) -> Grid:
        """A grid wide enough for this evidence: CP flat, W′/CP and γ by their priors."""
        centre = float(
            np.median(
                [
                    implied_critical_power(max(t, 60.0), p)
                    for e in evidence
                    for t, p in zip(e.durations, e.powers, strict=True)
                ]
            )
        )
        # The centre snaps to a coarse lattice, so that one more effort hardly ever moves the grid.
        log_cp = 0.06 * np.round(np.log(centre) / 0.06) + np.arange(np.log(0.55), np.log(1.9), 0.006)
        log_ratio = np.log(RESERVE_SECONDS[0]) + np.linspace(-1.9, 1.6, 57)
        log_gamma = np.log(TAIL_MEDIAN) + TAIL_LOG_SD * np.linspace(-2.4, 2.4, 9)
        a, b, c = np.meshgrid(log_cp, log_ratio, log_gamma, indexing="ij")
        prior = (
            -0.5 * ((b - np.log(RESERVE_SECONDS[0])) / RESERVE_SECONDS[1]) ** 2
            - 0.5 * ((c - np.log(TAIL_MEDIAN)) / TAIL_LOG_SD) ** 2
        ).ravel()
        cell = (0.006, float(log_ratio[1] - log_ratio[0]), float(log_gamma[1] - log_gamma[0]))
        return cls(np.exp(a).ravel(), np.exp(a + b).ravel(), np.exp(c).ravel(), prior, a.shape, cell)

    def log_likelihood(self, evidence: Evidence, scale: float = 1.0) -> Floats:
        """Log likelihood of one piece of evidence in every cell; ``scale`` widens the error of maximal efforts.

        Powers [W] over durations [s]; returns the grid's shape.
        """
        return log_likelihood(evidence, self.critical_power, self.w_prime, self.tail, scale)

    def posterior(self, log_weight: Floats, n: int) -> Posterior:
        """The distribution behind log weights, without cells that weigh nothing.

        ``log_weight`` has the grid's shape (CP [W], W′ [J]); ``n`` efforts stand behind it.
        """
        weight = np.exp(log_weight - log_weight.max())
        keep = weight > 1e-9
        return Posterior(
            self.critical_power[keep],
            self.w_prime[keep],
            self.tail[keep],
            weight[keep] / weight[keep].sum(),
            self.cell,
            n,
        )

    def median(self, log_weight: Floats) -> float:
        """Median of CP. [W]"""
        weight = np.exp(log_weight - log_weight.max()).reshape(self.shape).sum(axis=(1, 2))
        share = (np.cumsum(weight) - 0.5 * weight) / weight.sum()
        levels = self.critical_power.reshape(self.shape)[:, 0, 0]
        return float(np.exp(np.interp(0.5, share, np.log(levels))))


def implied_critical_power(duration: npt.ArrayLike, power: npt.ArrayLike) -> Floats:
    """CP [W] of a runner of the usual shape (W′ of 60 s of CP, usual tail) whose best for that duration [s] is
    ``power`` [W]."""
    return np.asarray(np.asarray(power) / power_at(duration, 1.0, RESERVE_SECONDS[0], TAIL_MEDIAN), dtype=float)


def posterior(evidence: Sequence[Evidence]) -> Posterior:
    """Joint posterior of CP, W′ and the tail from all evidence.

    Maximal efforts measure the power-duration relationship with a day form shared by a day's efforts and a heavy tail;
    habitual bests with a bias and their own spread; bounds only say that capacity was at least so much. Where maximal
    efforts scatter more than assumed, the residual error takes the place of the assumed one.

    Raises
    ------
    ValueError
        Without any evidence.
    """
    if not evidence:
        raise ValueError("no evidence")
    grid = Grid.around(evidence)
    log_weight = grid.prior + sum(grid.log_likelihood(e) for e in evidence)
    scale = _residual_scale(evidence, grid, int(np.argmax(log_weight)))
    if scale > 1:
        log_weight = grid.prior + sum(grid.log_likelihood(e, scale) for e in evidence)
    return grid.posterior(log_weight, sum(len(e.durations) for e in evidence if e.kind != "bound") or len(evidence))


def log_likelihood(evidence: Evidence, cp: Floats, wp: Floats, gamma: Floats, scale: float = 1.0) -> Floats:
    """Log likelihood of evidence for runners of CP [W], W′ [J] and γ (arrays of one shape), up to a constant."""
    if evidence.kind == "all-out":
        sd = float(np.hypot(ALL_OUT_SD, evidence.widening)) * scale
        miss = np.log(evidence.powers[0] / cp) - np.log1p(ALL_OUT_BIAS)
        return np.asarray(-0.5 * (miss / sd) ** 2, dtype=float)
    misses = [
        np.log(p) - np.log(power_at(t, cp, wp, gamma)) for t, p in zip(evidence.durations, evidence.powers, strict=True)
    ]
    if evidence.kind == "bound":
        from scipy.special import ndtr

        sd = float(np.hypot(BOUND_SD, evidence.widening))
        return np.asarray(np.log((1 - BOUND_OUTLIERS) * ndtr(-misses[0] / sd) + BOUND_OUTLIERS), dtype=float)
    if evidence.kind == "habitual":
        # Normal errors, one shared: the covariance inverts in closed form.
        residual = np.stack(misses) - np.log1p(HABITUAL_BIAS)
        own, shared = HABITUAL_OWN_SD**2, HABITUAL_SHARED_SD**2 + evidence.widening**2
        total = residual.sum(axis=0)
        quadratic = (residual**2).sum(axis=0) / own - total**2 * shared / (own * (own + len(misses) * shared))
        return np.asarray(-0.5 * quadratic, dtype=float)
    # The day's form is set to its conditional mean; it and each effort's own error then have heavy tails (t, 4 d.f.),
    # so neither a bad day nor one bad effort drags the estimate along.
    shared, own = float(np.hypot(DAY_SD, evidence.widening)) * scale, EFFORT_SD * scale
    day = sum(misses) / len(misses) * (shared**2 / (shared**2 + own**2 / len(misses)))
    return np.asarray(
        -2.5 * np.log1p((day / shared) ** 2 / 4) - sum(2.5 * np.log1p(((m - day) / own) ** 2 / 4) for m in misses),
        dtype=float,
    )


def _residual_scale(evidence: Sequence[Evidence], grid: Grid, best: int) -> float:
    """How much larger the scatter of maximal efforts about the best fit is than assumed, 1 to 5."""
    misses = [
        float(np.log(p / power_at(t, grid.critical_power[best], grid.w_prime[best], grid.tail[best])))
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
