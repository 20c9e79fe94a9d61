"""Power at speed on the flat, per scale: what a device shows at a pace, learned from steady minutes.

It describes the device and the runner's pace, not economy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from footwork.analysis.summary import BLOCK_COLUMNS
from footwork.physics import power as power_model
from footwork.quantities import Floats

METHOD_VERSION = 1
MODEL_DAY_SD = 0.01  # wind, surface and course measurement on modelled power; our convention
FASTEST, STEP = 12.0, 0.05
_BAND = 0.25  # speed bands [m/s]
_MINUTE_SD = 0.04  # spread of a steady minute about the line; our convention until the data say otherwise
_PRIOR_DAY_SD = 0.02


@dataclass(frozen=True)
class PowerAtSpeed:
    """Flat power [W] on a grid of speeds [m/s], with the relative error of its level and of its slope.

    ``error(v)`` = level + slope·(v - centre), both normal with the given SDs, plus a day's own spread.
    """

    speeds: Floats
    watts: Floats
    centre: float
    level_sd: float
    slope_sd: float
    day_sd: float
    minutes: int
    runs: int
    source: str

    def power(self, speed: Floats | float) -> Floats:
        """Flat, windless power at a speed [m/s], in W of this scale."""
        return np.asarray(np.interp(speed, self.speeds, self.watts), dtype=float)

    def speed(self, power: Floats | float) -> Floats:
        """Flat, windless speed [m/s] at a power [W]."""
        return np.asarray(np.interp(power, self.watts, self.speeds), dtype=float)

    def factors(self, speed: float, count: int, seed: int) -> Floats:
        """Draws of the factor by which true power at ``speed`` [m/s] differs from `power`, a day's spread included."""
        rng = np.random.default_rng(seed)
        z = rng.standard_normal((3, count))
        relative = z[0] * self.level_sd + z[1] * self.slope_sd * (speed - self.centre) + z[2] * self.day_sd
        return np.asarray(np.exp(relative), dtype=float)


def modelled(mass: float) -> PowerAtSpeed:
    """The physics model's own relation for a runner of that mass [kg]."""
    speeds = np.arange(0.0, FASTEST + STEP, STEP)
    return PowerAtSpeed(speeds, power_model.running_power(speeds, mass), 3.5, 0.0, 0.0, MODEL_DAY_SD, 0, 0, "model")


def prior(mass: float) -> PowerAtSpeed:
    """What foot sensors usually show for that mass [kg], 1.0 J/kg/m with 5 % between devices; for use until runs say more."""
    speeds = np.arange(0.0, FASTEST + STEP, STEP)
    return PowerAtSpeed(speeds, mass * power_model.FLAT_COST * speeds, 3.5, 0.05, 0.02, _PRIOR_DAY_SD, 0, 0, "prior")


def fit(blocks: Sequence[Floats], mass: float | None) -> PowerAtSpeed | None:
    """Learn power at speed from one-minute rows of several runs on one scale.

    Parameters
    ----------
    blocks : sequence of numpy.ndarray, shape (n, 11)
        One array a run, columns `summary.BLOCK_COLUMNS`.
    mass : float or None
        Centres the prior on 1 J/kg/m; without it the level is free. [kg]

    Returns
    -------
    PowerAtSpeed or None
        None without at least ten steady flat minutes. Runs differ from day to day; the level's error counts runs, not
        minutes.
    """
    columns = {name: i for i, name in enumerate(BLOCK_COLUMNS)}
    rows: list[tuple[int, float, float, int]] = []  # run, speed, joules per metre, minutes
    for run, block in enumerate(blocks):
        v, p = block[:, columns["speed"]], block[:, columns["power"]]
        grade = np.nan_to_num(block[:, columns["grade"]])
        steady = (np.abs(grade) < 0.02) & (v > 1.2) & (v < 8.0) & (p > 30) & (block[:, columns["power_sd"]] < 0.25 * p)
        v, cost = v[steady], p[steady] / v[steady] / power_model.slope_factor(grade[steady])
        band = np.rint(v / _BAND)
        for value in np.unique(band):
            inside = band == value
            rows.append((run, float(v[inside].mean()), float(np.median(cost[inside])), int(inside.sum())))
    minutes = sum(r[3] for r in rows)
    if minutes < 10:
        return None
    owner = np.array([r[0] for r in rows])
    speed, cost, number = (np.array([r[i] for r in rows], dtype=float) for i in (1, 2, 3))
    centre = float(np.average(speed, weights=number))
    guess = float(np.average(cost, weights=number))
    prior_level = mass if mass is not None else guess
    prior_precision = np.diag([1 / (0.15 * prior_level) ** 2 if mass is not None else 0.0, 1 / (0.03 * guess) ** 2])
    design = np.column_stack([np.ones(len(speed)), speed - centre])
    noise, day = _MINUTE_SD * guess, _PRIOR_DAY_SD * guess
    same_run = owner[:, None] == owner[None, :]
    estimate, covariance = np.zeros(2), np.eye(2)
    for _ in range(4):
        v_matrix = np.diag(noise**2 / np.minimum(number, 20.0)) + day**2 * same_run
        solved = np.linalg.solve(v_matrix, np.column_stack([design, cost]))
        covariance = np.linalg.inv(design.T @ solved[:, :2] + prior_precision)
        estimate = covariance @ (design.T @ solved[:, 2] + prior_precision @ np.array([prior_level, 0.0]))
        residual = cost - design @ estimate
        means = np.array([np.average(residual[owner == r], weights=number[owner == r]) for r in np.unique(owner)])
        if len(means) >= 5:
            day = float(np.clip(1.4826 * np.median(np.abs(means)), 0.004 * guess, 0.08 * guess))
    speeds = np.arange(0.0, FASTEST + STEP, STEP)
    # Outside the speeds seen, joules per metre stay what they were at the edge: the line is not extrapolated.
    inside = np.clip(speeds, speed.min() - 0.5, speed.max() + 0.5)
    watts = np.maximum.accumulate(np.maximum(estimate[0] + estimate[1] * (inside - centre), 0.2 * guess) * speeds)
    watts = watts + np.arange(len(watts)) * 1e-9  # strictly rising, so that it can be inverted
    return PowerAtSpeed(
        speeds, watts, centre, float(np.sqrt(covariance[0, 0]) / estimate[0]),
        float(np.sqrt(covariance[1, 1]) / estimate[0]), float(day / estimate[0]), minutes, len(np.unique(owner)), "steady minutes",
    )  # fmt: skip
