"""Power at speed, per scale: what a device shows at a pace, uphill, downhill, in wind and warmth, learned from steady
minutes.

It describes the device and the runner's pace, not economy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from footwork.analysis import mixed
from footwork.analysis.summary import AT, even
from footwork.analysis.usual_watts import Sky, extra_drag
from footwork.physics import power as power_model
from footwork.quantities import Floats
from footwork.signals import Bools

METHOD_VERSION = 3
MODEL_DAY_SD = 0.01  # wind, surface and course measurement on modelled power; our convention
FASTEST, STEP = 12.0, 0.05
LEAST_MINUTES = 10
_MINUTE_SD, _PRIOR_DAY_SD = (
    0.04,
    0.02,
)  # spread of steady minutes and of days; our conventions until the data say otherwise
STEEPEST = 0.15  # steeper minutes are hiked or braked
LEAST_CADENCE = 130.0  # of running [steps/min]; slower minutes are walked; our convention
GRADE_SD = 0.004  # error of a minute's grade, which makes any response to slopes look weaker; our convention
SLOPES = (0.03, 0.06, 0.10)  # up and down, where a device's response is learned; plans take a line between them
_APART_SD = 0.15  # how much the response at one of them may differ from all; our convention
_UP, _DOWN = (tuple(f"{way} {100 * g:.0f} %" for g in SLOPES) for way in ("uphill", "downhill"))
# What else goes with a device's watts at a speed: prior mean and SD, our conventions. Responses to slopes are multiples
# of Minetti's, the wind's share a multiple of the drag model's, warmth a share per degree above 15 °C.
_SLOPE = (1.0, float(np.hypot(0.3, _APART_SD)))
EFFECTS = {**dict.fromkeys(_UP + _DOWN, _SLOPE), "wind": (0.5, 0.5), "warmth": (0.0, 0.002)}


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
    effects: dict[str, tuple[float, float]] = field(default_factory=dict)  # value and SD by names of `EFFECTS`
    reliable: float = 1.0  # share of the measured grades that is no error

    def power(self, speed: Floats | float) -> Floats:
        """Flat, windless power at a speed [m/s], in W of this scale."""
        return np.asarray(np.interp(speed, self.speeds, self.watts), dtype=float)

    def speed(self, power: Floats | float) -> Floats:
        """Flat, windless speed [m/s] at a power [W]."""
        return np.asarray(np.interp(power, self.watts, self.speeds), dtype=float)

    def shown(self, block: Floats, sky: Sky | None = None) -> Floats:
        """What the device would show in each minute of a run, slopes, wind and warmth included, shape (n,). [W]

        ``block`` has the columns `summary.BLOCK_COLUMNS`; what is not known has no effect.
        """
        known = [self.effects.get(name, EFFECTS[name])[0] for name in EFFECTS]
        v = block[:, AT["speed"]]
        others = _others(block, sky, self.reliable) @ np.array(known)
        return np.asarray(self.power(v) * np.maximum(1.0 + others, 0.2), dtype=float)

    def slope_response(self, grade: Floats) -> tuple[Floats, Floats]:
        """What the device shows of a slope as a multiple of Minetti's extra share, and its SD; 1 and 0 where nothing
        was learned.

        ``grade`` has shape (n,) [1]; returns two of shape (n,).
        """
        out = []
        for which in (0, 1):
            up, down = (
                np.interp(np.abs(grade), SLOPES, [self.effects.get(n, (1.0, 0.0))[which] for n in names])
                for names in (_UP, _DOWN)
            )
            out.append(np.where(grade > 0, up, down))
        return out[0], out[1]

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
    """What foot sensors usually show for that mass [kg], 1.0 J/kg/m with 5 % between devices; for use until runs say
    more."""
    speeds = np.arange(0.0, FASTEST + STEP, STEP)
    return PowerAtSpeed(speeds, mass * power_model.FLAT_COST * speeds, 3.5, 0.05, 0.02, _PRIOR_DAY_SD, 0, 0, "prior")


def _others(block: Floats, sky: Sky | None, reliable: float = 1.0) -> Floats:
    """Design columns of `EFFECTS` for each minute."""
    return np.column_stack([_on_slopes(block, reliable), _of_weather(block, sky)])


def _on_slopes(block: Floats, reliable: float) -> Floats:
    """Minetti's extra share by grade, uphill and downhill; grades are drawn to the level by the share of them that is
    no error."""
    grade = reliable * np.clip(np.nan_to_num(block[:, AT["grade"]]), -0.45, 0.45)
    extra = power_model.slope_factor(grade) - 1.0
    # Each minute tells of the slope nearest to it: a line between them would lean on the errors of grades.
    nearest = np.argmin(np.abs(np.abs(grade)[:, None] - np.array(SLOPES)), axis=1)
    near = np.eye(len(SLOPES))[nearest]
    return np.column_stack([near * np.where(side, extra, 0.0)[:, None] for side in (grade > 0, grade < 0)])


def _of_weather(block: Floats, sky: Sky | None) -> Floats:
    """Extra drag, and degrees above 15 °C."""
    warm = 0.0 if sky is None or sky.temperature is None else sky.temperature - 15.0
    return np.column_stack([extra_drag(block, sky), np.full(len(block), warm)])


# The responses at the slopes are one for all, up and down, and what each differs from it by.
_MIX = np.zeros((len(EFFECTS), len(EFFECTS) + 2))
_MIX[:3, 0] = _MIX[3:6, 1] = 1.0
_MIX[:, 2:] = np.eye(len(EFFECTS))
_MIX_SD = [0.3, 0.3, *[_APART_SD] * 6, *(EFFECTS[n][1] for n in ("wind", "warmth"))]
_MIX_MEAN = [1.0, 1.0, *[0.0] * 6, *(EFFECTS[n][0] for n in ("wind", "warmth"))]


def is_steady(block: Floats) -> Bools:
    """Which minutes tell power at speed: running by their cadence, of even power, no steeper than 15 %.

    ``block`` has shape (n, 13): power over 30 [W]; returns a mask of shape (n,).
    """
    v, grade = block[:, AT["speed"]], block[:, AT["grade"]]
    running = ~(block[:, AT["cadence"]] < LEAST_CADENCE)  # a minute without cadence may be one
    return even(block) & running & (np.abs(np.nan_to_num(grade)) < STEEPEST) & (v > 1.2) & (v < 8.0)


def steady(block: Floats) -> Floats:
    """The minutes that `is_steady` keeps.

    ``block`` has shape (n, 13), power [W]; so has what is returned, of fewer rows.
    """
    return block[is_steady(block)]


def fit(blocks: Sequence[Floats], mass: float | None, skies: Sequence[Sky | None] | None = None) -> PowerAtSpeed | None:
    """Learn power at speed from one-minute rows of several runs on one scale.

    Joules per metre are a line on speed, times what slopes, wind and warmth add; each is drawn towards the literature's
    shape or to nothing as far as the runs do not tell it.

    Parameters
    ----------
    blocks : sequence of numpy.ndarray, shape (n, 13)
        One array a run, columns `summary.BLOCK_COLUMNS`.
    mass : float or None
        Centres the prior on 1 J/kg/m; without it the level is free. [kg]
    skies : sequence of Sky or None, optional
        Weather of each run where it is known.

    Returns
    -------
    PowerAtSpeed or None
        None without at least ten steady minutes within 2 % of level. Runs differ from day to day; the level's error
        counts runs, not minutes.
    """
    if not blocks:
        return None
    every, of_run = np.concatenate(blocks), np.repeat(np.arange(len(blocks)), [len(b) for b in blocks])
    kept = is_steady(every)
    every, of_run = every[kept], of_run[kept]
    v = every[:, AT["speed"]]
    level = np.abs(np.nan_to_num(every[:, AT["grade"]])) < 0.02
    minutes = int(level.sum())
    if minutes < LEAST_MINUTES:
        return None
    centre, guess = float(v[level].mean()), float(np.median(every[level, AT["power"]] / v[level]))
    spread = float(np.nanvar(every[:, AT["grade"]])) if np.isfinite(every[:, AT["grade"]]).any() else 0.0
    reliable = max(1.0 - GRADE_SD**2 / spread, 0.5) if spread > 0 else 1.0
    runs, first = np.unique(of_run, return_index=True)
    weather = np.zeros((len(v), 2))
    for run, mine in zip(runs, np.split(np.arange(len(v)), first[1:]), strict=True):
        if skies and skies[run] is not None:
            weather[mine] = _of_weather(every[mine], skies[run])
    others = np.column_stack([_on_slopes(every, reliable), weather])
    design = np.column_stack([np.ones(len(v)), v - centre, others @ _MIX])
    response = every[:, AT["power"]] / v / guess
    pairs = list(zip(np.split(design, first[1:]), np.split(response, first[1:]), strict=True))
    about, sure = (mass / guess, 0.15 * mass / guess) if mass is not None else (1.0, 10.0)
    made = mixed.fit(
        pairs, [sure, 0.03, *_MIX_SD], [about, 0.0, *_MIX_MEAN], start=(_MINUTE_SD, _PRIOR_DAY_SD), robust=True
    )
    flat, tilt = float(made.coefficients[0]), float(made.coefficients[1])
    speeds = np.arange(0.0, FASTEST + STEP, STEP)
    # Outside the speeds seen, joules per metre stay what they were at the edge: the line is not extrapolated.
    inside = np.clip(speeds, v[level].min() - 0.5, v[level].max() + 0.5)
    watts = np.maximum.accumulate(guess * np.maximum(flat + tilt * (inside - centre), 0.2) * speeds)
    watts = watts + np.arange(len(watts)) * 1e-9  # strictly rising, so that it can be inverted
    values = _MIX @ made.coefficients[2:] / flat
    sds = np.sqrt(np.diag(_MIX @ made.covariance[2:, 2:] @ _MIX.T)) / flat
    effects = {name: (float(values[i]), float(sds[i])) for i, name in enumerate(EFFECTS)}
    return PowerAtSpeed(
        speeds,
        watts,
        centre,
        made.sd(0) / flat,
        made.sd(1) / flat,
        made.between / flat,
        minutes,
        len(runs),
        "steady minutes",
        effects,
        reliable,
    )


def held_out(
    blocks: Sequence[Floats], mass: float | None, skies: Sequence[Sky | None] | None = None, folds: int = 5
) -> tuple[Floats, Floats]:
    """Errors of modelled power on runs that it was not learned from.

    Returns
    -------
    runs, minutes : numpy.ndarray
        Modelled over measured minus 1: of each run's mean over its running minutes, and of the minutes.

    ``mass`` [kg]; both are relative errors [1].
    """
    known = list(skies or [None] * len(blocks))
    of_runs: list[float] = []
    of_minutes: list[Floats] = [np.zeros(0)]
    for fold in range(folds):
        kept = [i for i in range(len(blocks)) if i % folds != fold]
        made = fit([blocks[i] for i in kept], mass, [known[i] for i in kept])
        if made is None:
            continue
        for i in range(fold, len(blocks), folds):
            block = blocks[i]
            running = block[(block[:, AT["speed"]] > 1.2) & (block[:, AT["power"]] > 30)]
            if len(running) < 5:
                continue
            ratio = made.shown(running, known[i]) / running[:, AT["power"]]
            of_runs.append(float(made.shown(running, known[i]).mean() / running[:, AT["power"]].mean()) - 1)
            of_minutes.append(ratio - 1)
    return np.array(of_runs), np.concatenate(of_minutes)
