"""Do two devices agree? Bias, limits of agreement, concordance, Deming's line, typical error and intraclass
correlation.

Neighbouring seconds are not independent, so each interval rests on an effective number of observations; for independent
pairs that number is their count and the published formulas come back. A difference is second minus first.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from footwork.analysis.quantiles import chi_square, student
from footwork.errors import NotEnoughData
from footwork.quantities import Estimate, Floats

METHOD_VERSION = 2
LEAST_EFFECTIVE = 8  # fewer effective pairs carry no interval worth showing; our convention


def effective_number(values: npt.ArrayLike) -> float:
    """How many independent observations a series is worth, ``n / (1 + 2 Σ ρ_k)``.

    The autocorrelations are summed in pairs until a pair is no longer positive (Geyer's initial positive sequence).

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time.

    Returns
    -------
    float
        Between 1 and n.
    """
    x = np.asarray(values, dtype=float)
    n = len(x)
    x = x - x.mean()
    variance = float(x @ x)
    if n < 4 or variance <= 0:
        return float(n)
    size = 1 << (2 * n - 1).bit_length()
    spectrum = np.fft.rfft(x, size)
    rho = np.fft.irfft(spectrum * np.conj(spectrum), size)[: n // 2] / variance
    total = 1.0
    for k in range(1, len(rho) - 1, 2):
        pair = float(rho[k] + rho[k + 1])
        if pair <= 0:
            break
        total += 2 * pair
    return float(np.clip(n / total, 1.0, n))


def _t(n: float) -> float:
    return student(0.975, max(n - 1, 1))


@dataclass(frozen=True)
class Agreement:
    """Agreement of two measurements in one unit; estimates with their 95 % intervals."""

    bias: Estimate
    low: Estimate
    high: Estimate
    proportional: Estimate
    concordance: Estimate
    slope: Estimate
    intercept: Estimate
    typical_error: Estimate
    correlation: float
    intraclass: dict[str, float]
    n: int
    n_effective: float
    first_mean: float
    second_mean: float

    def to_json(self) -> dict[str, object]:
        """The documented form."""
        return {
            "bias": self.bias,
            "limits_of_agreement": {"low": self.low, "high": self.high},
            "proportional_bias": self.proportional,
            "concordance": self.concordance,
            "deming": {"slope": self.slope, "intercept": self.intercept},
            "typical_error": self.typical_error,
            "correlation": self.correlation,
            "intraclass": self.intraclass,
            "n": self.n,
            "n_effective": self.n_effective,
            "first_mean": self.first_mean,
            "second_mean": self.second_mean,
        }


def agreement(
    first: npt.ArrayLike, second: npt.ArrayLike, unit: str, ordered: bool = True, error_ratio: float = 1.0
) -> Agreement:
    """All measures of agreement of two devices.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Pairs without missing values, in order of time where ``ordered``.
    unit : str
    ordered : bool
        Whether neighbours may be alike; independent pairs otherwise.
    error_ratio : float
        Error variance of the second over the first, for Deming's line.

    Raises
    ------
    NotEnoughData
        Fewer than eight effective pairs, or a signal that does not vary.

    References
    ----------
    Bland and Altman 1986 (Lancet i:307); Lin 1989 (Biometrics 45:255); Deming 1943; Hopkins 2000 (Sports Med 30:1).
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    n = len(a)
    if n < LEAST_EFFECTIVE:
        raise NotEnoughData(f"only {n} common pairs: too few to compare")
    if np.ptp(a) <= 0 or np.ptp(b) <= 0:
        raise NotEnoughData("one of the signals does not vary: nothing can be compared")
    d, mean = b - a, 0.5 * (a + b)
    n_eff = effective_number(d) if ordered else float(n)
    if n_eff < LEAST_EFFECTIVE:
        raise NotEnoughData(
            f"the {n} common pairs are worth only {n_eff:.0f} independent ones: record longer or more varied running"
        )
    count = round(n_eff)

    def estimate(value: float, error: float, unit: str = unit, scale: float | None = None) -> Estimate:
        half = (_t(n_eff) if scale is None else scale) * error
        return Estimate(value, value - half, value + half, unit, count, "agreement", "effective pairs")

    bias, sd = float(d.mean()), float(d.std(ddof=1))
    z = 1.959964
    # Variance of a limit, bias ± z s: s²/n + z² s²/(2(n-1)), Bland and Altman's 3s²/n for z near 2.
    limit_error = sd * (1 / n_eff + z**2 / (2 * (n_eff - 1))) ** 0.5
    slope, intercept = deming(a, b, error_ratio)
    slope_error, intercept_error = _deming_errors(a, b, error_ratio, n_eff)
    return Agreement(
        bias=estimate(bias, sd / n_eff**0.5),
        low=estimate(bias - z * sd, limit_error),
        high=estimate(bias + z * sd, limit_error),
        proportional=estimate(*_line_slope(mean, d, n_eff), ""),
        concordance=_concordance(a, b, n_eff, count),
        slope=estimate(slope, slope_error, ""),
        intercept=estimate(intercept, intercept_error),
        typical_error=_typical(sd, n_eff, unit, count),
        correlation=float(np.corrcoef(a, b)[0, 1]),
        intraclass=intraclass(np.column_stack([a, b])),
        n=n,
        n_effective=n_eff,
        first_mean=float(a.mean()),
        second_mean=float(b.mean()),
    )


def _line_slope(x: Floats, y: Floats, n_eff: float) -> tuple[float, float]:
    """Least-squares slope of y on x and its error for an effective number of pairs."""
    centred = x - x.mean()
    slope = float(centred @ y / (centred @ centred))
    residual = y - y.mean() - slope * centred
    spread = float(np.sqrt(residual @ residual / len(x)))
    return slope, spread / (float(x.std()) * max(n_eff - 2, 1.0) ** 0.5)


def deming(first: npt.ArrayLike, second: npt.ArrayLike, error_ratio: float = 1.0) -> tuple[float, float]:
    """Slope and intercept of Deming's line of the second on the first, both with error of a known ratio of
    variances.

    Arrays of shape (n,) in one unit; ``error_ratio`` is the second's error variance over the first's [1]. Returns the
    slope [1] and the intercept in the unit of the second.
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    sxx, syy = float(a.var(ddof=1)), float(b.var(ddof=1))
    sxy = float(((a - a.mean()) * (b - b.mean())).sum() / (len(a) - 1))
    tilt = syy - error_ratio * sxx
    slope = (tilt + np.sqrt(tilt**2 + 4 * error_ratio * sxy**2)) / (2 * sxy)
    return float(slope), float(b.mean() - slope * a.mean())


def _deming_errors(a: Floats, b: Floats, error_ratio: float, n_eff: float, blocks: int = 20) -> tuple[float, float]:
    """Jackknife over blocks of neighbours: errors of slope and intercept that hold for autocorrelated pairs."""
    number = int(np.clip(n_eff, 4, min(blocks, len(a))))
    edges = np.linspace(0, len(a), number + 1).astype(int)
    kept = np.ones(len(a), dtype=bool)
    found = []
    for low, high in pairwise(edges):
        kept[low:high] = False
        found.append(deming(a[kept], b[kept], error_ratio))
        kept[low:high] = True
    lines = np.array(found)
    spread = np.sqrt((number - 1) / number * ((lines - lines.mean(axis=0)) ** 2).sum(axis=0))
    # The caller's quantile is that of n_eff pairs; so few blocks call for a wider one.
    wider = _t(number) / _t(n_eff)
    return float(spread[0] * wider), float(spread[1] * wider)


def concordance(first: npt.ArrayLike, second: npt.ArrayLike) -> float:
    """Lin's concordance correlation coefficient, variances over n.

    Arrays of shape (n,) in one unit; returns -1 to 1 [1]. Lin 1989, Biometrics 45:255.
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    shared = float(((a - a.mean()) * (b - b.mean())).mean())
    return float(2 * shared / (a.var() + b.var() + (a.mean() - b.mean()) ** 2))


def _concordance(a: Floats, b: Floats, n_eff: float, count: int) -> Estimate:
    """Lin's coefficient with his interval by Fisher's transformation."""
    value = concordance(a, b)
    r = float(np.corrcoef(a, b)[0, 1])
    shift = float((a.mean() - b.mean()) ** 2 / (a.std() * b.std()))
    if abs(value) >= 1 or abs(r) < 1e-9:
        return Estimate(value, value, value, "", count, "agreement", "effective pairs")
    v2, r2 = value**2, r**2
    inside = (
        (1 - r2) * v2 / ((1 - v2) * r2)
        + 2 * value**3 * (1 - value) * shift / (r * (1 - v2) ** 2)
        - value**4 * shift**2 / (2 * r2 * (1 - v2) ** 2)
    )
    half = 1.959964 * float(np.sqrt(max(inside, 0.0) / max(n_eff - 2, 1.0)))
    z = float(np.arctanh(value))
    return Estimate(
        value, float(np.tanh(z - half)), float(np.tanh(z + half)), "", count, "agreement", "effective pairs"
    )


def repeatability(first: npt.ArrayLike, second: npt.ArrayLike) -> float:
    """Bland and Altman's coefficient of repeatability of one device's repeats, ``2 √(Σ d²/n)``, in the unit given.

    Arrays of shape (n,) in one unit [W]; Bland and Altman 1986, Lancet i:307.
    """
    d = np.asarray(second, dtype=float) - np.asarray(first, dtype=float)
    return float(2 * np.sqrt(np.mean(d**2)))


def intraclass(ratings: npt.ArrayLike) -> dict[str, float]:
    """Shrout and Fleiss' six intraclass correlations (1979, Psychol Bull 86:420).

    Parameters
    ----------
    ratings : array_like, shape (n, k)
        What is measured in rows, devices or repeats in columns, nothing missing.

    Returns
    -------
    dict
        ``"1,1"``, ``"2,1"``, ``"3,1"`` of one device and ``"1,k"``, ``"2,k"``, ``"3,k"`` of the mean of k.
    """
    x = np.asarray(ratings, dtype=float)
    n, k = x.shape
    rows, columns, grand = x.mean(axis=1), x.mean(axis=0), x.mean()
    between = k * ((rows - grand) ** 2).sum() / (n - 1)
    within = ((x - rows[:, None]) ** 2).sum() / (n * (k - 1))
    judges = n * ((columns - grand) ** 2).sum() / (k - 1)
    error = ((x - rows[:, None] - columns[None, :] + grand) ** 2).sum() / ((n - 1) * (k - 1))
    out = {
        "1,1": (between - within) / (between + (k - 1) * within),
        "2,1": (between - error) / (between + (k - 1) * error + k * (judges - error) / n),
        "3,1": (between - error) / (between + (k - 1) * error),
        "1,k": (between - within) / between,
        "2,k": (between - error) / (between + (judges - error) / n),
        "3,k": (between - error) / between,
    }
    return {name: float(value) for name, value in out.items()}


def _typical(sd: float, n_eff: float, unit: str, count: int) -> Estimate:
    """Hopkins' typical error, SD of the differences over √2, with its chi-squared interval."""
    value, free = sd / np.sqrt(2), n_eff - 1
    low, high = (value * float(np.sqrt(free / chi_square(q, free))) for q in (0.975, 0.025))
    return Estimate(float(value), low, high, unit, count, "agreement", "effective pairs")
