"""Quantiles that intervals of small samples need. From SciPy's special functions, since its statistics package takes
half a second to load, longer than most answers take."""

from __future__ import annotations

from scipy.special import chdtri, stdtrit


def student(share: float, freedom: float) -> float:
    """Quantile of Student's t at a ``share`` of its probability [1], with ``freedom`` degrees; Student 1908,
    Biometrika 6:1."""
    return float(stdtrit(freedom, share))


def chi_square(share: float, freedom: float) -> float:
    """Quantile of the chi-square distribution at a ``share`` of its probability [1], with ``freedom`` degrees; Pearson
    1900, Philosophical Magazine 50:157."""
    return float(chdtri(freedom, 1.0 - share))
