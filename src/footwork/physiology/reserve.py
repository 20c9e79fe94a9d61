"""W′ balance: what is left of the work above critical power."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

METHOD_VERSION = 1


def balance(power: npt.ArrayLike, critical_power: float, w_prime: float, step: float = 1.0) -> Floats:
    """W′ balance in the differential form. Recovery was measured in cycling.

    Parameters
    ----------
    power : array_like, shape (n,)
        Mean power of each step; NaN is taken as rest at critical power (nothing lost, nothing gained). [W]
    critical_power, w_prime : float
        [W], [J]
    step : float
        [s]

    Returns
    -------
    numpy.ndarray, shape (n,)
        Balance at the end of each step, may fall below zero. [J]

    References
    ----------
    .. [1] Skiba P.F. et al. (2015), Eur J Appl Physiol 115:703-713; Skiba & Clarke (2021), IJSPP.
    """
    above = np.nan_to_num(np.asarray(power, dtype=float) - critical_power, nan=0.0)
    spent = np.maximum(above, 0.0) * step
    # Below CP the deficit decays exponentially within the step, which is exact for constant power.
    keep = np.exp(np.minimum(above, 0.0) * step / w_prime)
    out = np.empty(len(above))
    deficit = 0.0
    for index, (cost, factor) in enumerate(zip(spent.tolist(), keep.tolist(), strict=True)):
        deficit = deficit * factor + cost
        out[index] = deficit
    return w_prime - out


def recovery_time_constant(deficit_power: npt.ArrayLike, model: str = "skiba2012") -> Floats:
    """Time constant of W′ recovery in the integral form.

    Parameters
    ----------
    deficit_power : array_like
        CP minus the mean of all power below CP. [W]
    model : {'skiba2012', 'bartram2018'}
        ``546·e^(-0.01·D) + 316`` (recreational) or ``2287.2·D^-0.688`` (four elite cyclists).

    Returns
    -------
    numpy.ndarray
        [s]

    Raises ValueError for an unknown model.
    """
    d = np.asarray(deficit_power, dtype=float)
    if model == "skiba2012":
        return np.asarray(546.0 * np.exp(-0.01 * d) + 316.0, dtype=float)
    if model == "bartram2018":
        return np.asarray(2287.2 * np.maximum(d, 1e-9) ** -0.688, dtype=float)
    raise ValueError(f"unknown model '{model}': skiba2012 or bartram2018")


def balance_integral(
    power: npt.ArrayLike, critical_power: float, w_prime: float, step: float = 1.0, model: str = "skiba2012"
) -> Floats:
    """W′ balance in the integral form (Skiba et al. 2012, MSSE 44:1526); arguments and result as in `balance`."""
    p = np.asarray(power, dtype=float)
    above = np.nan_to_num(p - critical_power, nan=0.0)
    below = p[p < critical_power]
    tau = float(recovery_time_constant(critical_power - below.mean(), model)) if below.size else float("inf")
    factor = float(np.exp(-step / tau))
    # A constant rate over the step, decaying as it accrues: τ(1-e^(-dt/τ)) of it remains at the end.
    gain = step if not np.isfinite(tau) else tau * (1 - factor)
    out = np.empty(len(above))
    deficit = 0.0
    for index, rate in enumerate(np.maximum(above, 0.0).tolist()):
        deficit = deficit * factor + rate * gain
        out[index] = deficit
    return w_prime - out


EXHAUSTION_SD_J = 2000.0  # of the balance at exhaustion in the differential form (Townsend et al. 2017, 250 m)


def balance_interval(
    power: npt.ArrayLike, critical_power: Floats, w_prime: Floats, seed: int = 23, most: int = 400
) -> tuple[Floats, Floats, Floats]:
    """W′ balance at 1 Hz over joint draws: its 2.5 %, 50 % and 97.5 % quantiles, each of shape (n,), renewed every five
    seconds and where power falls below CP.

    Parameters
    ----------
    power : array_like, shape (n,)
        As `balance`. [W]
    critical_power, w_prime : numpy.ndarray, shape (k,)
        Joint draws; at most ``most`` are used. [W], [J]

    Returns
    -------
    low, middle, high : numpy.ndarray
        The model's own published error at exhaustion is part of them, in proportion to what is spent. [J]

    References
    ----------
    .. [1] Townsend N.E. et al. (2017), Front Physiol 8:180.
    """
    p = np.asarray(power, dtype=float)
    cp, wp = critical_power[:most], w_prime[:most]
    error = 1 + EXHAUSTION_SD_J / wp * np.random.default_rng(seed).standard_normal(len(cp))
    out = np.empty((3, len(p)))
    deficit = np.zeros(len(cp))
    above_cp = np.nan_to_num(p) > float(np.median(cp))
    turns = above_cp & ~np.append(above_cp[1:], False)
    for index, watts in enumerate(p.tolist()):
        if watts == watts:  # a missing second neither spends nor gives back
            above = watts - cp
            deficit = np.where(above > 0, deficit + above, deficit * np.exp(np.minimum(above, 0.0) / wp))
        out[:, index] = (
            np.quantile(wp - np.maximum(error, 0.2) * deficit, (0.025, 0.5, 0.975))
            if index % 5 == 0 or turns[index]
            else out[:, index - 1]
        )
    return out[0], out[1], out[2]
