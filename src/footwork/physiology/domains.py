"""Intensity domains, time spent in them, and the CP-minute."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from footwork.quantities import Estimate, Floats

METHOD_VERSION = 1
NAMES = ("moderate", "heavy", "severe", "extreme")
MODERATE_SHARE = (0.72, 0.80, 0.88)  # moderate-heavy border as a share of CP, low, middle, high; our convention
EXTREME_S = 120.0  # the severe-extreme border is the power for two minutes
LOAD_EXPONENT = 1.9  # weighting of the training impulse, here on power


@dataclass(frozen=True)
class Domains:
    """Borders between the four domains in watts."""

    moderate_heavy: Estimate
    heavy_severe: Estimate
    severe_extreme: Estimate

    def edges(self) -> list[float] | None:
        """The three borders [W], or None where one is withheld."""
        values = [self.moderate_heavy.value, self.heavy_severe.value, self.severe_extreme.value]
        known = [v for v in values if v is not None]
        return known if len(known) == 3 else None


def borders(critical_power: Floats, w_prime: Floats, n: int, seed: int = 1) -> Domains:
    """Domain borders from joint draws of CP [W] and W′ [J] (1-D arrays of one length) from ``n`` efforts."""
    share = np.random.default_rng(seed).normal(
        MODERATE_SHARE[1], (MODERATE_SHARE[2] - MODERATE_SHARE[0]) / 3.92, len(critical_power)
    )
    return Domains(
        Estimate.from_draws(critical_power * share, "W", n, "domains"),
        Estimate.from_draws(critical_power, "W", n, "domains"),
        Estimate.from_draws(critical_power + w_prime / EXTREME_S, "W", n, "domains"),
    )


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


def cp_minutes(seconds_by_watt: npt.ArrayLike, critical_power: float) -> float:
    """Load of a run: ``Σ x·e^(1.9(x-1))`` minutes, x the 30 s mean over CP [W]; one minute at CP is 1.

    Parameters
    ----------
    seconds_by_watt : array_like, shape (w,)
        From `histogram`.
    critical_power : float
        [W]
    """
    seconds = np.asarray(seconds_by_watt, dtype=float)
    x = np.arange(len(seconds)) / critical_power
    return float((seconds * x * np.exp(LOAD_EXPONENT * (x - 1))).sum() / 60.0)
