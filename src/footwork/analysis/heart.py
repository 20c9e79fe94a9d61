"""Heart rate at a power, for the lower two domain borders."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from footwork.analysis.summary import BLOCK_COLUMNS
from footwork.quantities import Estimate, Floats

METHOD_VERSION = 1
LEAST_MINUTES = 30
SETTLING_MINUTES = 3  # heart rate lags power by 1 to 2 minutes; a minute counts after three alike


def heart_rate_at(blocks: Sequence[Floats], power: Floats, unit: str = "bpm") -> Estimate:
    """Heart rate [bpm] at a power given as draws [W], from steady minutes of several runs on one scale.

    Parameters
    ----------
    blocks : sequence of numpy.ndarray, shape (n, 13)
        One array a run, columns `summary.BLOCK_COLUMNS`.
    power : numpy.ndarray, shape (k,)
        Joint draws of the power asked about.

    Returns
    -------
    Estimate
        A straight line of heart rate on power with the spread between runs in its interval; withheld with fewer than 30
        settled minutes in three runs, or where the power lies far outside them.
    """
    p_at, h_at = BLOCK_COLUMNS.index("power"), BLOCK_COLUMNS.index("heart_rate")
    powers, rates, owners = [], [], []
    for run, block in enumerate(blocks):
        if len(block) <= SETTLING_MINUTES:
            continue
        p, h, at = block[:, p_at], block[SETTLING_MINUTES:, h_at], block[:, 0]
        before = np.lib.stride_tricks.sliding_window_view(p, SETTLING_MINUTES + 1)
        now = p[SETTLING_MINUTES:]
        settled = (
            (at[SETTLING_MINUTES:] - at[:-SETTLING_MINUTES] == 60 * SETTLING_MINUTES)
            & np.isfinite(before).all(axis=1)
            & np.isfinite(h)
            & (np.ptp(before, axis=1) < 0.08 * now)
            & (at[SETTLING_MINUTES:] >= 480)
        )
        powers += now[settled].tolist()
        rates += h[settled].tolist()
        owners += [run] * int(settled.sum())
    n, runs = len(powers), len(set(owners))
    if n < LEAST_MINUTES or runs < 3:
        return Estimate.withheld(
            unit, "heart-rate-borders", f"only {n} settled minutes with heart rate in {runs} runs", n, "minutes"
        )
    x, y, owner = np.array(powers), np.array(rates), np.array(owners)
    asked = float(np.median(power))
    spread = float(np.percentile(x, 97.5) - np.percentile(x, 2.5))
    if spread < 0.1 * float(np.median(x)):
        return Estimate.withheld(unit, "heart-rate-borders", "all settled minutes are at one power", n, "minutes")
    if not np.percentile(x, 2.5) - 0.5 * spread <= asked <= np.percentile(x, 97.5) + 0.5 * spread:
        return Estimate.withheld(
            unit, "heart-rate-borders", "that power is far from what was run steadily", n, "minutes"
        )
    slope, level = np.polyfit(x - x.mean(), y, 1)
    residual = y - (level + slope * (x - x.mean()))
    between = np.array([residual[owner == r].mean() for r in np.unique(owner)])
    # Minutes of one run are alike: the run is the unit of error.
    day_sd = float(between.std(ddof=1))
    level_sd = day_sd / np.sqrt(runs)
    slope_sd = day_sd / max(float(x.std()) * np.sqrt(runs), 1e-9)
    rng = np.random.default_rng(1)
    z = rng.standard_normal((3, len(power)))
    draws = level + z[0] * level_sd + (slope + z[1] * slope_sd) * (power - x.mean()) + z[2] * day_sd
    return Estimate.from_draws(draws, unit, n, "heart-rate-borders", "minutes")
