"""A simulated runner whose equations are not the estimator's: three-parameter capacity with a power-law beyond a
quarter of an hour, a metabolic cost apart from what a device shows, day form, device filter and noise, heart rate with
lag."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

_LONG_S = 900.0


@dataclass(frozen=True)
class Device:
    """A power device: joules per kg and metre it shows on the flat, its response to slopes, noise share and smoothing
    [s]."""

    flat: float = 1.02
    slope_response: float = 0.85
    noise: float = 0.035
    smoothing: float = 3.0


@dataclass(frozen=True)
class Runner:
    """What is true of a simulated runner.

    ``speed_cp`` [m/s] is critical speed on the flat, ``reserve`` [m] the distance above it (D′), ``speed_max`` [m/s];
    ``fade`` is the exponent by which power falls beyond a quarter of an hour; ``cost`` [J/kg/m] is metabolic.
    """

    mass: float = 68.0
    speed_cp: float = 4.05
    reserve: float = 215.0
    speed_max: float = 8.8
    fade: float = 0.062
    cost: float = 4.0
    rest_rate: float = 48.0
    max_rate: float = 186.0
    day_sd: float = 0.02

    def best_speed(self, duration: float) -> float:
        """Fastest mean speed on the flat for a duration [s], in m/s; Morton's form, then a power law."""
        k = self.reserve / (self.speed_max - self.speed_cp)
        short = self.speed_cp + self.reserve / (min(duration, _LONG_S) + k)
        return float(short * (max(duration, _LONG_S) / _LONG_S) ** -self.fade)

    def critical_power(self, device: Device) -> float:
        """True CP in that device's watts on the flat. [W]"""
        return device.flat * self.mass * self.speed_cp

    def fitter(self, economy: float) -> Runner:
        """The same engine with a metabolic cost lower by a share: faster at the same oxygen."""
        return replace(self, cost=self.cost * (1 - economy), speed_cp=self.speed_cp / (1 - economy))


SAVED = 0.6  # of what the curve saves downhill, the share that a runner gets
UP, DOWN, FULL = 1.1, 0.88, 0.06  # effort on climbs and descents of 6 % and more, as shares of the level's


def slope_cost(grade: npt.ArrayLike) -> Floats:
    """Relative metabolic cost of a slope: a quadratic of our own uphill, near published curves up to 15 %; downhill
    runners get a part of what it saves."""
    slope = np.asarray(grade, dtype=float)
    curve = 1.0 + 5.0 * slope + 17.0 * slope**2
    saves = np.where(slope > -0.147, 1.0 - curve, 0.368)
    return np.asarray(np.where(slope < 0, 1.0 - SAVED * saves, curve), dtype=float)


def slope_effort(grade: npt.ArrayLike) -> Floats:
    """How hard runners run slopes against the level: harder up, easier down, as in the field."""
    share = np.clip(np.asarray(grade, dtype=float) / FULL, -1.0, 1.0)
    return np.asarray(1.0 + np.where(share > 0, UP - 1.0, 1.0 - DOWN) * share, dtype=float)


def device_watts(runner: Runner, device: Device, speed: Floats, grade: Floats, rng: np.random.Generator) -> Floats:
    """What the device writes each second: its formula, smoothed, with noise that lasts a few seconds. [W]"""
    slope = 1.0 + device.slope_response * (5.0 * grade + 17.0 * grade**2)
    clean = device.flat * runner.mass * speed * np.maximum(slope, 0.25)
    noise = rng.standard_normal(len(speed))
    blend = np.exp(-1.0 / device.smoothing)
    smooth, wander = np.empty(len(speed)), np.empty(len(speed))
    level, walk = float(clean[0]) if len(clean) else 0.0, 0.0
    spread = device.noise * np.sqrt(1 - blend**2)
    for i, (value, z) in enumerate(zip(clean.tolist(), noise.tolist(), strict=True)):
        level = blend * level + (1 - blend) * value
        walk = blend * walk + spread * z
        smooth[i], wander[i] = level, walk
    return np.maximum(smooth * (1 + wander), 0.0)


def heart_rate(runner: Runner, speed: Floats, grade: Floats, temperature: float, rng: np.random.Generator) -> Floats:
    """Heart rate each second [bpm]: first-order in metabolic power, slower at low effort, with drift and heat."""
    share = runner.cost * speed * slope_cost(grade) / (4.0 * runner.speed_cp * runner.cost / 4.0)
    target = runner.rest_rate + (runner.max_rate - runner.rest_rate) * np.clip(0.12 + 0.78 * share, 0, 1.02)
    out = np.empty(len(speed))
    level = runner.rest_rate + 25.0
    heat = max(temperature - 14.0, 0.0)
    for i, aim in enumerate(target.tolist()):
        minutes = max(i / 60.0 - 10.0, 0.0)
        aim = aim + minutes * (0.05 + 0.006 * heat) + 0.35 * heat
        lag = 40.0 if aim > 150 else 70.0
        level += (min(aim, runner.max_rate + 1) - level) / lag
        out[i] = level
    return out + rng.normal(0, 0.7, len(speed))


def trial(runner: Runner, device: Device, duration: int, form: float, rng: np.random.Generator) -> Floats:
    """Device watts of one maximal trial on the flat, a little fast at first; ``form`` is that day's factor. [W]"""
    execution = 1.0 - abs(rng.normal(0, 0.008))
    shape = 1.0 + 0.05 * np.exp(-np.arange(duration) / (0.08 * duration))
    speed = runner.best_speed(duration) * form * execution * shape / shape.mean()
    return device_watts(runner, device, speed, np.zeros(duration), rng)


def draw_runner(rng: np.random.Generator) -> Runner:
    """A runner unlike the estimator's prior: from a slow beginner to a national runner."""
    speed_cp = rng.uniform(2.8, 5.4)
    return Runner(
        mass=rng.uniform(48, 90),
        speed_cp=speed_cp,
        reserve=speed_cp * rng.uniform(32, 75),
        speed_max=speed_cp * rng.uniform(1.8, 2.4),
        fade=rng.uniform(0.04, 0.1),
        max_rate=rng.uniform(165, 200),
        day_sd=rng.uniform(0.01, 0.025),
    )
