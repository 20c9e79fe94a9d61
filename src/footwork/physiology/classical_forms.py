"""The classical forms of the power-duration relationship, fitted by least squares, and their intervals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from footwork.physiology.critical import SHORTEST_S
from footwork.quantities import Estimate, Floats

ASSUMED_EFFORT_ERROR = 0.02  # the least error a stated effort is given by the forms; our convention


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


FORMS = (work_time, inverse_time, time_power, three_parameter)
