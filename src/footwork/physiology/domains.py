"""Intensity domains and time spent in them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

METHOD_VERSION = 1
NAMES = ("moderate", "heavy", "severe", "extreme")
MODERATE_SHARE = (0.72, 0.80, 0.88)  # moderate-heavy border as a share of CP, low, middle, high; our convention
EXTREME_S = 120.0  # the severe-extreme border is the power for two minutes


def border_draws(critical_power: Floats, w_prime: Floats, seed: int = 1) -> tuple[Floats, Floats, Floats]:
    """Draws of the borders moderate-heavy, heavy-severe and severe-extreme from joint draws of CP and W′.

    Parameters
    ----------
    critical_power, w_prime : numpy.ndarray, shape (k,)
        [W] and [J], or for speeds [m/s] and [m].

    Returns
    -------
    tuple of three numpy.ndarray, shape (k,)
        In the unit of ``critical_power``.
    """
    low, middle, high = MODERATE_SHARE
    share = np.random.default_rng(seed).normal(middle, (high - low) / 3.92, len(critical_power))
    return critical_power * share, critical_power, critical_power + w_prime / EXTREME_S


def thirty_second_mean(power: npt.ArrayLike) -> Floats:
    """Trailing 30 s mean of a 1 Hz signal over what is known of the window; NaN where the second is missing.

    Parameters
    ----------
    power : array_like, shape (n,)
        [W]

    Returns
    -------
    numpy.ndarray, shape (n,)
        [W]
    """
    p = np.asarray(power, dtype=float)
    known = np.isfinite(p)
    total = np.concatenate([[0.0], np.cumsum(np.where(known, p, 0.0))])
    count = np.concatenate([[0], np.cumsum(known)])
    stop = np.arange(1, len(p) + 1)
    start = np.maximum(stop - 30, 0)
    held = count[stop] - count[start]
    return np.where(known, (total[stop] - total[start]) / np.maximum(held, 1), np.nan)


def histogram(power: npt.ArrayLike) -> npt.NDArray[np.int64]:
    """Seconds at each whole watt of the 30 s mean (index is W), from a 1 Hz signal with the timer running [W]."""
    mean = thirty_second_mean(power)
    whole = np.clip(np.rint(mean[np.isfinite(mean)]), 0, 3000).astype(np.int64)
    return np.bincount(whole)


def seconds_in_domains(seconds_by_watt: npt.ArrayLike, edges: list[float]) -> dict[str, float]:
    """Seconds in each domain, from `histogram` and three borders [W]."""
    seconds = np.asarray(seconds_by_watt, dtype=float)
    which = np.searchsorted(np.asarray(edges), np.arange(len(seconds)), side="right")
    totals = np.bincount(which, weights=seconds, minlength=4)
    return {name: float(totals[index]) for index, name in enumerate(NAMES)}
