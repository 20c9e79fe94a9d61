"""Two groups of runs at matched power: what a difference of beats is worth, and whether heat may explain it."""

from __future__ import annotations

import numpy as np

from footwork.analysis.response import COOL_C
from footwork.quantities import Floats

METHOD_VERSION = 1
LEAST_SLOPE = 0.02  # bpm/W below which heart rate does not follow power; our convention
NEAR_C = 3.0  # a temperature band ends so many degrees beyond the other side's; our convention
# Heat's own interval over the gap of warmth, from which on it may explain a loss: more than a worthwhile change of
# power; our convention.
HEAT_OPEN_BPM = 0.5


def gain_draws(
    beats: float, beats_sd: float, slope: float, slope_sd: float, power: float, seed: int = 11, count: int = 8000
) -> tuple[Floats, Floats]:
    """What a difference of heart rate at the same power is worth as power at the same heart rate.

    Parameters
    ----------
    beats, beats_sd : float
        Heart rate of the second group less the first's at the same power, and its SD. [bpm]
    slope, slope_sd : float
        How heart rate follows power, and its SD. [bpm/W]
    power : float
        Where it is told: the middle of the power both ran at. [W]

    Returns
    -------
    beats : numpy.ndarray, shape (count,)
        Draws of the difference. [bpm]
    gains : numpy.ndarray, shape (count,)
        Draws of the gain in power, in per cent of ``power``; fewer beats are a gain.
    """
    rng = np.random.default_rng(seed)
    draws = rng.normal(beats, beats_sd, count)
    slopes = np.maximum(rng.normal(slope, slope_sd, count), LEAST_SLOPE)
    return draws, -100 * draws / slopes / power


def heat_may_explain(first: Floats, second: Floats, heat_sd: float, gain: float) -> int | None:
    """Whether one side was wholly warmer, ran worse, and heat is told too roughly to be taken off.

    Parameters
    ----------
    first, second : numpy.ndarray
        Air temperature of the runs of either side. [°C]
    heat_sd : float
        SD of what a degree over the cool costs. [bpm/°C]
    gain : float
        Of the second side. [%]

    Returns
    -------
    int or None
        The warmer side, 0 or 1, where heat may explain the difference; else None.
    """
    heats = [np.maximum(np.asarray(side, dtype=float) - COOL_C, 0.0) for side in (first, second)]
    if heats[1].min() > heats[0].max() + NEAR_C:
        warmer = 1
    elif heats[0].min() > heats[1].max() + NEAR_C:
        warmer = 0
    else:
        return None
    left_open = 2 * heat_sd * abs(float(heats[1].mean() - heats[0].mean()))
    lost = gain < 0 if warmer == 1 else gain >= 0
    return warmer if lost and left_open >= HEAT_OPEN_BPM else None
