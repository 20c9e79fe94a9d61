"""How a runner's heart answers power, through a season: first order in power, drift, heat, illness and sleep, a level
that moves from week to week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from footwork.analysis.settled import (
    COLUMNS,
    COOL_C,
    DRIFT_FROM_H,
    FLAT,
    LEAST_DAYS,
    LEAST_MINUTES,
    LEAST_RUNS,
    REFERENCE_H,
    C,
    Prepared,
    RunRows,
    TooFewRuns,
    answered,
    design,
    device_moved,
    prepare,
    shown,
    usable,
    warmth_of,
)
from footwork.quantities import Floats

__all__ = [
    "COLUMNS",
    "COOL_C",
    "DRIFT_FROM_H",
    "FLAT",
    "LEAST_DAYS",
    "LEAST_MINUTES",
    "LEAST_RUNS",
    "REFERENCE_H",
    "C",
    "Prepared",
    "Response",
    "RunRows",
    "TooFewRuns",
    "alike",
    "answered",
    "design",
    "device_moved",
    "fit",
    "gain",
    "prepare",
    "shown",
    "tangled",
    "usable",
]

METHOD_VERSION = 3
# Prior means and SDs, in bpm for each unit of its column: W, share of the reference squared, % of slope, hours, °C over
# 12 °C, °C hours, days of illness, hours of sleep short, a half swing of the year where only the climate is known (its
# swing errs by about 2.5 °C), a conversion, a year, and two
# sides that are held against each other. Heat: about 1/2 bpm a degree in the open air, more the longer it lasts, from
# memory; the rest are our conventions.
PRIOR_MEAN = (150.0, 0.35, 0.0, 0.0, 0.0, 4.0, 0.5, 0.2, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
PRIOR_SD = (60.0, 0.3, 15.0, 0.5, 0.5, 8.0, 0.4, 0.4, 6.0, 1.5, 1.2, 1.0, 20.0, 60.0, 60.0)
WALK_SD = 0.4  # bpm a week: how far a level moves by chance, the prior's scale of its SD
WEEK = 7.0
# Spreads from run to run [bpm], of drift [bpm/h] and of a week's step [bpm] where too few runs tell them; ours.
FEW = (3.0, 5.0, 0.1)
DRIFT_FLOOR = 0.08  # bpm/h: drift is no straight line, and hills lean on it as a device shows them; our convention
SPREADS_UNKNOWN = 6.0  # as Student's t widens; our convention
SURE_SLOPE = 3.0  # standard errors that the slope must be away from nothing
ONE_POWER = (
    "heart rate at hardly more than one power tells no slope, so a change cannot be told in power: vary the "
    "effort within runs"
)
MOST_TANGLED = 0.8  # posterior correlation above which a change is withheld
TANGLED = {
    "heat": "heat came with the change and cannot be told from it",
    "converted": "the device changed meanwhile, and the conversion cannot be told from a change of the runner",
    "season": "the season changed and the weather of many runs is not known, so heat cannot be told from a change of "
    "the runner: enter the weather",
}
_BOUNDS = (-5.0, 3.5)  # of the logarithms of the spreads
_FAR = 2.5  # runs further out than this many SDs lose weight


@dataclass(frozen=True)
class Response:
    """A fitted model. ``mean`` and ``covariance`` are of the coefficients (`COLUMNS` without the level) and then of the
    weekly levels [bpm] at ``knots`` (days); ``power`` [W] is the reference; ``run_sd`` the spread from run to run
    [bpm], ``drift_sd`` that of drift [bpm/h], ``walk`` the SD of a week's step [bpm], ``within`` that of a minute
    [bpm]; ``tau`` time constants [s] below and above ``border`` [W]; ``effects`` each run's own deviation [bpm] with
    its SD."""

    mean: Floats
    covariance: Floats
    knots: Floats
    power: float
    run_sd: float
    drift_sd: float
    walk: float
    within: float
    tau: tuple[float, float]
    border: float
    days: Floats
    effects: Floats
    effect_sds: Floats
    runs: int
    minutes: int
    lowest: float
    highest: float
    weather: float  # share of runs with a known temperature
    warmth: float  # mean degrees over 12 °C of all, by the climate where none was told

    def row(self, day: float, power: float | None = None) -> Floats:
        """Weights of the coefficients and levels in heart rate at a power on a day, at reference conditions.

        ``day`` [d], ``power`` [W]; shape (p,).
        """
        out = np.zeros(len(self.mean))
        if power is not None:
            x = power - self.power
            out[C["power"] - 1], out[C["curve"] - 1] = x, (x / self.power) ** 2
        out[C["trend"] - 1] = (day - self.knots[0]) / 365.25
        first, share = _between(self.knots, day)
        at = len(COLUMNS) - 1 + first
        out[at] += 1 - share
        if share:
            out[at + 1] += share
        return out

    def rate(self, day: float, power: float | None = None) -> tuple[float, float]:
        """Heart rate [bpm] at a power [W] (the reference by default) on a day, at reference conditions, and its SD."""
        row = self.row(day, power)
        return float(row @ self.mean), float(np.sqrt(row @ self.covariance @ row))

    def drift(self, heat: float | None = None) -> tuple[float, float]:
        """Drift [bpm/h] so many degrees over 12 °C (by default at the mean warmth of the runs), and its SD."""
        row = np.zeros(len(self.mean))
        row[C["drift"] - 1], row[C["heat_drift"] - 1] = 1.0, self.warmth if heat is None else heat
        variance = float(row @ self.covariance @ row) + self.drift_sd**2 / self.runs + DRIFT_FLOOR**2
        return float(row @ self.mean), float(np.sqrt(variance))

    def after(self, powers: Sequence[float], seconds: Sequence[float]) -> Floats:
        """Heart rate [bpm] at the end of steps that follow each other from a start at rest, on the last day, cool and
        flat; NaN at powers [W] far from what was run."""
        level = self.rate(self.days[-1])[0]
        drift, _ = self.drift(0.0)
        state, at, out = 0.5 * self.power, 0.0, []
        for p, t in zip(powers, seconds, strict=True):
            state = p + (state - p) * float(np.exp(-t / self.tau[int(p > self.border)]))
            at += t / 3600
            x = state - self.power
            rate = level + self.mean[C["power"] - 1] * x + self.mean[C["curve"] - 1] * (x / self.power) ** 2
            near = 0.6 * self.lowest <= state <= 1.1 * self.highest
            out.append(
                rate + drift * (max(at - DRIFT_FROM_H, 0.0) - (REFERENCE_H - DRIFT_FROM_H)) if near else float("nan")
            )
        return np.array(out)

    def draws(self, days: Sequence[float], rate: float, count: int = 4000, seed: int = 17) -> Floats:
        """Draws of power [W] at a heart rate [bpm] on some days, shape (count, len(days)), joint over the days."""
        rng = np.random.default_rng(seed)
        keep = [C["power"] - 1, C["curve"] - 1]
        rows = np.array([*(self.row(d) for d in days), *np.eye(len(self.mean))[keep]])
        middle, spread = rows @ self.mean, rows @ self.covariance @ rows.T
        made = rng.multivariate_normal(middle, spread + 1e-9 * np.eye(len(rows)), size=count, method="cholesky")
        level, slope, curve = made[:, :-2], np.maximum(made[:, -2:-1], 0.02) * self.power, made[:, -1:]
        # Heart rate is a quadratic of the share above the reference: its root near nothing.
        share = 2 * (rate - level) / (slope + np.sqrt(np.maximum(slope**2 + 4 * curve * (rate - level), 0.0)))
        return np.asarray(self.power * (1 + np.clip(share, -0.8, 2.0)), dtype=float)

    def correlation(self, row: Floats, column: str) -> float:
        """Posterior correlation of a combination of levels with a coefficient.

        Both of shape (p,); returns -1 to 1 [1].
        """
        k = C[column] - 1
        sd = float(np.sqrt(row @ self.covariance @ row * self.covariance[k, k]))
        return float(row @ self.covariance[:, k] / sd) if sd > 0 else 0.0


def _between(knots: Floats, day: float) -> tuple[int, float]:
    """Index of the knot before a day and how far the day is to the next; days outside take the nearest."""
    at = float(np.clip((day - knots[0]) / WEEK, 0, len(knots) - 1))
    first = min(int(at), len(knots) - 1)
    return first, at - first if first < len(knots) - 1 else 0.0


def gain(model: Response, since: float, until: float, rate: float | None = None) -> tuple[Floats, str]:
    """Draws of how much more power goes with a heart rate (the middle one by default) on one day than on another, in
    per cent; and why it is withheld, where what else changed meanwhile explains it as well.

    Days [d], ``rate`` [bpm]; returns draws of the gain [%].
    """
    level = model.rate(0.5 * (since + until))[0] if rate is None else rate
    drawn = model.draws([since, until], level)
    gained = 100 * (drawn[:, 1] / drawn[:, 0] - 1)
    k = C["power"] - 1
    if model.mean[k] < SURE_SLOPE * np.sqrt(model.covariance[k, k]):
        return gained, ONE_POWER
    return gained, tangled(model, model.row(until) - model.row(since))


def tangled(model: Response, moved: Floats) -> str:
    """What else changed with a combination of levels and explains it as well; empty where nothing does."""
    return next(
        (words for column, words in TANGLED.items() if abs(model.correlation(moved, column)) > MOST_TANGLED), ""
    )


def fit(prepared: Prepared, upto: int | None = None, held: tuple[float, float, float] | None = None) -> Response:
    """Variances by marginal likelihood and the posterior of coefficients and weekly levels.

    Parameters
    ----------
    prepared : Prepared
    upto : int, optional
        Take only the first runs.
    held : (float, float, float), optional
        Spread from run to run [bpm], of drift [bpm/h] and of a week's step [bpm] from an earlier fit, which are then
        not sought again.
    """
    from scipy.optimize import minimize

    count = len(prepared.n) if upto is None else upto
    system = _System(prepared, count)
    weights = np.ones(count)
    found = np.log(held) if held is not None else np.log([2.0, 3.0, 0.1])
    for turn in range(2):
        if held is None:
            simplex = found + np.array([[0.0, 0.0, 0.0], [0.5, 0.0, 0.0], [0.0, 0.5, 0.0], [0.0, 0.0, 0.8]])
            options: dict[str, Any] = {
                "xatol": 0.05,
                "fatol": 0.05,
                "maxfev": 80 - 40 * turn,
                "initial_simplex": simplex,
            }
            least = minimize(system.badness, found, args=(weights,), method="Nelder-Mead", options=options)  # type: ignore[call-overload]
            found = np.clip(np.asarray(least.x, dtype=float), *_BOUNDS)
        mean, covariance, effects, sds = system.posterior(found, weights)
        # A run far out, as after a bad night that nobody noted, loses weight: its spread grows to where it lies within
        # reach.
        weights = np.minimum(1.0, _FAR * float(np.exp(found[0])) / np.maximum(np.abs(effects), 1e-9)) ** 2
    mean, covariance, effects, sds = system.posterior(found, weights)
    rows = prepared.rows[:count]
    warm = [warmth_of(r)[0] for r in rows]
    run_sd, drift_sd, walk = (float(v) for v in np.exp(found))
    return Response(
        mean,
        _widened(mean, covariance, prepared.blur_sd, count),
        system.knots,
        prepared.power,
        run_sd,
        drift_sd,
        walk,
        prepared.within,
        prepared.tau,
        0.85 * prepared.border,
        prepared.days[:count],
        effects,
        sds,
        count,
        int(prepared.n[:count].sum()),
        prepared.lowest,
        prepared.highest,
        float(np.mean([r.sky.temperature is not None for r in rows])),
        float(np.mean(warm)),
    )


def _widened(mean: Floats, covariance: Floats, blur: float, runs: int) -> Floats:
    """Covariance with what is not known of the spreads, which few runs tell badly, and of the watts' error."""
    out = covariance * (1 + SPREADS_UNKNOWN / runs)
    k = C["power"] - 1
    out[k, k] += (mean[k] * blur) ** 2
    return out


class _System:
    """Normal equations of the coefficients and weekly levels, with each run's own level and drift taken out in closed
    form."""

    def __init__(self, prepared: Prepared, count: int) -> None:
        self.within2 = prepared.within**2 * prepared.inflation
        self.xz, self.zz, self.xy, self.zy, self.n = (
            getattr(prepared, k)[:count] for k in ("xz", "zz", "xy", "zy", "n")
        )
        self.cross, self.total, self.yy = (
            prepared.xx[:count, 1:, 0],
            prepared.xx[:count].sum(axis=0),
            prepared.yy[:count].sum(),
        )
        days = prepared.days[:count]
        self.knots = np.arange(days.min(), days.max() + WEEK, WEEK)
        self.k, self.p = len(self.knots), len(COLUMNS) - 1
        at = np.clip((days - self.knots[0]) / WEEK, 0, self.k - 1)
        self.first = np.minimum(at.astype(int), max(self.k - 2, 0))
        self.share = at - self.first

    def _hat(self, values: Floats) -> Floats:
        """Sums of values of runs, shape (count, m), at the knots that each lies between."""
        out = np.zeros((self.k, values.shape[1]))
        np.add.at(out, self.first, values * (1 - self.share)[:, None])
        if self.k > 1:
            np.add.at(out, self.first + 1, values * self.share[:, None])
        return out

    def _equations(self, logs: Floats, weights: Floats) -> tuple[Floats, Floats, Floats, Floats, float]:
        """Matrix and right side of the posterior, the runs' own covariance, its products, and what does not hang on the
        coefficients."""
        run_sd, drift_sd, walk = np.exp(np.clip(logs, *_BOUNDS))
        s2, p, k = self.within2, self.p, self.k
        inner = self.zz.copy()
        inner[:, 0, 0] += s2 * weights / run_sd**2
        inner[:, 1, 1] += s2 / drift_sd**2
        det = inner[:, 0, 0] * inner[:, 1, 1] - inner[:, 0, 1] ** 2
        middle = np.empty_like(inner)
        middle[:, 0, 0], middle[:, 1, 1] = inner[:, 1, 1] / det, inner[:, 0, 0] / det
        middle[:, 0, 1] = middle[:, 1, 0] = -inner[:, 0, 1] / det
        xm = np.einsum("ipz,izw->ipw", self.xz, middle)
        flat, plain = xm.transpose(1, 0, 2).reshape(p + 1, -1), self.xz.transpose(1, 0, 2).reshape(p + 1, -1)
        a = (self.total - flat @ plain.T) / s2
        cross = (self.cross - np.einsum("ipz,iz->ip", xm[:, 1:], self.xz[:, 0])) / s2
        own = (self.n - np.einsum("iz,iz->i", xm[:, 0], self.xz[:, 0])) / s2
        b = (self.xy - np.einsum("ipz,iz->ip", xm, self.zy)) / s2
        c = float(self.yy - np.einsum("iz,izw,iw->", self.zy, middle, self.zy)) / s2
        left, right = np.zeros((p + k, p + k)), np.zeros(p + k)
        left[:p, :p] = a[1:, 1:] + np.diag(1 / np.square(PRIOR_SD[1:]))
        left[p:, :p] = self._hat(cross)
        left[:p, p:] = left[p:, :p].T
        near, far = own * (1 - self.share), own * self.share
        np.add.at(left, (p + self.first, p + self.first), near * (1 - self.share))
        if k > 1:
            np.add.at(left, (p + self.first + 1, p + self.first + 1), far * self.share)
            for one, two in ((0, 1), (1, 0)):
                np.add.at(left, (p + self.first + one, p + self.first + two), near * self.share)
            i = np.arange(p, p + k - 1)
            step = 1 / walk**2
            left[i, i] += step
            left[i + 1, i + 1] += step
            left[i, i + 1] -= step
            left[i + 1, i] -= step
        left[p, p] += 1 / PRIOR_SD[0] ** 2
        right[:p] = b[:, 1:].sum(axis=0) + np.divide(PRIOR_MEAN[1:], np.square(PRIOR_SD[1:]))
        right[p:] = self._hat(b[:, :1])[:, 0]
        right[p] += PRIOR_MEAN[0] / PRIOR_SD[0] ** 2
        determinant = float(self.n.sum() * np.log(s2) + np.log(det / s2**2 * run_sd**2 * drift_sd**2 / weights).sum())
        walks = 2 * (k - 1) * float(np.log(walk)) + (walk / WALK_SD) ** 2
        # Half-normal scales keep the spreads where runners are: some 6 bpm from run to run, 12 bpm/h of drift; our
        # conventions.
        return left, right, middle, b, c + determinant + walks + (run_sd / 6.0) ** 2 + (drift_sd / 12.0) ** 2

    def badness(self, logs: Floats, weights: Floats) -> float:
        """Minus twice the log of the variances' posterior density, but for a constant."""
        from scipy.linalg import cho_factor, cho_solve

        left, right, _, _, rest = self._equations(logs, weights)
        factor = cho_factor(left, lower=True, check_finite=False, overwrite_a=True)
        return (
            rest
            - float(right @ cho_solve(factor, right, check_finite=False))
            + 2 * float(np.log(np.diag(factor[0])).sum())
        )

    def posterior(self, logs: Floats, weights: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Mean and covariance of the coefficients and levels; each run's own deviation and its SD [bpm]."""
        left, right, middle, _, _ = self._equations(logs, weights)
        covariance = np.linalg.inv(left)
        covariance = 0.5 * (covariance + covariance.T)
        mean = covariance @ right
        level = mean[self.p + self.first] * (1 - self.share)
        if self.k > 1:
            level = level + mean[self.p + self.first + 1] * self.share
        rest = self.zy - np.einsum("ipz,p->iz", self.xz[:, 1:], mean[: self.p]) - self.xz[:, 0] * level[:, None]
        deviation = np.einsum("izw,iw->iz", middle, rest)
        return mean, covariance, deviation[:, 0], np.sqrt(self.within2 * middle[:, 0, 0])


def alike(y: Floats, design: Floats, precision: Floats, pull: Floats) -> tuple[Floats, Floats, float]:
    """Least squares of minutes that follow each other and are alike: first-order autocorrelation by restricted
    likelihood over a grid.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
    design : numpy.ndarray, shape (n, p)
    precision, pull : numpy.ndarray, shapes (p, p) and (p,)
        A normal prior of the coefficients: its precision, and that times its mean.

    Returns
    -------
    coefficients, covariance, freedom
    """
    n, p = design.shape
    best: tuple[float, Floats, Floats, float] | None = None
    for rho in np.arange(0.0, 0.99, 0.03):
        head = np.sqrt(1 - rho**2)
        u, x = (
            np.concatenate([[head * y[0]], y[1:] - rho * y[:-1]]),
            np.vstack([head * design[:1], design[1:] - rho * design[:-1]]),
        )
        info = x.T @ x
        rest = u - x @ np.linalg.lstsq(x, u, rcond=None)[0]
        s2 = max(float(rest @ rest) / (n - p), 1e-6)
        badness = (n - p) * np.log(s2) - np.log(1 - rho**2) + np.linalg.slogdet(info + 1e-9 * np.eye(p))[1]
        if best is None or badness < best[0]:
            covariance = np.linalg.inv(info / s2 + precision)
            best = (
                float(badness),
                covariance @ (x.T @ u / s2 + pull),
                covariance,
                max(n * (1 - rho) / (1 + rho) - 2, 2.0),
            )
    assert best is not None
    return best[1], best[2], best[3]
