"""What running and walking cost on a slope, and the classical oxygen equations."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

GRADE_LIMIT = 0.45  # Minetti measured from -0.45 to +0.45; never extrapolate
# Polynomials of Minetti et al. 2002, J Appl Physiol 93:1039, highest power first [J/kg/m].
_RUN = (155.4, -30.4, -43.3, 46.3, 19.5, 3.6)
# The same for walking.
_WALK = (280.5, -58.7, -76.8, 51.9, 19.6, 2.5)


def running_cost(grade: npt.ArrayLike) -> Floats:
    """Net metabolic cost of running on a slope.

    Parameters
    ----------
    grade : array_like
        Rise over run; clipped to ±0.45, the measured range.

    Returns
    -------
    numpy.ndarray
        [J/kg/m]

    References
    ----------
    .. [1] Minetti A.E. et al. (2002), J Appl Physiol 93:1039-1046.
    """
    return np.asarray(np.polyval(_RUN, np.clip(grade, -GRADE_LIMIT, GRADE_LIMIT)), dtype=float)


def walking_cost(grade: npt.ArrayLike) -> Floats:
    """Net metabolic cost of walking on a slope [J/kg/m]; same source and limits as `running_cost`."""
    return np.asarray(np.polyval(_WALK, np.clip(grade, -GRADE_LIMIT, GRADE_LIMIT)), dtype=float)


def oxygen_uptake(speed: npt.ArrayLike, grade: npt.ArrayLike = 0.0, gait: str = "run") -> Floats:
    """Gross oxygen uptake by the ACSM equations.

    Parameters
    ----------
    speed : array_like
        [m/s]; running from 2.2 m/s, walking 0.8 to 1.7 m/s.
    grade : array_like
        Rise over run, not for outdoor downhill.
    gait : {'run', 'walk'}

    Returns
    -------
    numpy.ndarray
        [ml/kg/min]

    References
    ----------
    .. [1] Bushman B.A. (2020), ACSM's Health & Fitness Journal 24(3), doi:10.1249/FIT.0000000000000577.
    """
    per_minute = np.asarray(speed, dtype=float) * 60.0
    level, climb = {"run": (0.2, 0.9), "walk": (0.1, 1.8)}[gait]
    return np.asarray(3.5 + level * per_minute + climb * per_minute * np.asarray(grade, dtype=float), dtype=float)
