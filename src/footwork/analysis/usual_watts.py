"""What is usual for this runner on one scale: watts at pace, heart rate at watts, and how a new run compares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from footwork.analysis import mixed
from footwork.analysis.quantiles import student
from footwork.analysis.summary import AT, even
from footwork.physics.air import wind_at_height
from footwork.physics.power import slope_factor, weather_factor
from footwork.quantities import Estimate, Floats

METHOD_VERSION = 2
GRADE_BEYOND = 0.01  # slopes so far outside what was learned are compared still; our convention
LEAST_RUNS, LEAST_MINUTES = 5, 60
GROUP_MINUTES = 15  # of easy, steady or hard running before its mean is told; our convention
# Prior SDs of the coefficients (a normal prior around 0 keeps what the runs do not tell near nothing); our conventions.
_POWER_PRIOR = (10.0, 0.05, 0.8, 0.8, 0.02, 0.003, 0.6)
_RATE_PRIOR = (200.0, 0.5, 0.3, 0.3, 12.0, 1.0, 60.0)


PRIORS = {"power": _POWER_PRIOR, "heart_rate": _RATE_PRIOR}


@dataclass(frozen=True)
class Sky:
    """Weather of a run as it is known: temperature [°C]; wind at 10 m [m/s] and where it comes from [deg]."""

    temperature: float | None = None
    wind: float | None = None
    wind_from: float | None = None


def extra_drag(block: Floats, sky: Sky | None) -> Floats:
    """What the wind adds to a minute's flat power by the drag model, as a share of it, shape (n,); 0 where the wind or
    the direction of running is not known. Mass only sets the scale: 70 kg.

    ``block`` has shape (n, 13); ``sky`` wind [m/s] and direction [deg].
    """
    if sky is None or sky.wind is None or sky.wind_from is None:
        return np.zeros(len(block))
    against = sky.wind * float(wind_at_height(1.0))
    angle = np.radians(sky.wind_from)
    head = against * (np.sin(angle) * block[:, AT["east"]] + np.cos(angle) * block[:, AT["north"]])
    v = block[:, AT["speed"]]
    return np.nan_to_num(weather_factor(v, 70.0, head))


@dataclass(frozen=True)
class Usual:
    """A line with an effect for each run: coefficients, their covariance, spread between runs and within, and
    centres."""

    coefficients: Floats
    covariance: Floats
    between: float
    within: float
    centre: Floats
    runs: int
    minutes: int
    lowest: float
    highest: float
    grades: tuple[float, float]
    made: mixed.Mixed
    what: str = "power"

    def without(self, block: Floats, sky: Sky | None) -> Usual:
        """The same without a run that it was learned from, so that a run is not judged by itself."""
        kept = steady(block)
        x, y = (power_design if self.what == "power" else rate_design)(kept, sky, self.centre)
        if len(y) < 3:
            return self
        coefficients, covariance = self.made.without(x, y)
        return replace(
            self, coefficients=coefficients, covariance=covariance, runs=self.runs - 1, minutes=self.minutes - len(y)
        )

    def expect(self, design: Floats) -> tuple[float, float]:
        """Mean expected over the rows of a design and the SD of a new run's mean about it.

        Logarithms of [J/m] for power, [bpm] for heart rate.
        """
        row = design.mean(axis=0)
        variance = self.between**2 + self.within**2 / max(len(design), 1) * 3 + float(row @ self.covariance @ row)
        return float(row @ self.coefficients), float(variance**0.5)


def steady(block: Floats) -> Floats:
    """Rows of a run's minutes that were run steadily: speed over 1.2 m/s, spread within a quarter of the power.

    ``block`` has shape (n, 13); the result (k, 13), speed [m/s], power [W].
    """
    v = block[:, AT["speed"]]
    return block[even(block) & (v > 1.2) & (v < 8.0) & (block[:, AT["elapsed"]] >= 300)]


def _warmth(count: int, sky: Sky | None) -> Floats:
    """Degrees above 15 °C; 0 where the temperature is not known."""
    known = sky is not None and sky.temperature is not None
    return np.full(count, sky.temperature - 15.0 if known else 0.0)  # type: ignore[union-attr, operator]


def power_design(block: Floats, sky: Sky | None, centre: Floats) -> tuple[Floats, Floats]:
    """Design rows and the logarithm of joules per metre, slope taken off by Minetti's ratio, for steady minutes.

    Returns shapes (k, 7) and (k,), the latter ln of [J/m].
    """
    v, grade = block[:, AT["speed"]], np.nan_to_num(block[:, AT["grade"]])
    cost = np.log(block[:, AT["power"]] / v / np.maximum(slope_factor(grade), 0.2))
    warm = _warmth(len(block), sky)
    rows = [
        np.ones(len(block)),
        v - centre[0],
        np.maximum(grade, 0),
        np.minimum(grade, 0),
        block[:, AT["elapsed"]] / 3600,
        warm,
        extra_drag(block, sky),
    ]
    return np.column_stack(rows), cost


def rate_design(block: Floats, sky: Sky | None, centre: Floats) -> tuple[Floats, Floats]:
    """Design rows and heart rate, for steady minutes that hold one.

    Returns shapes (k, 7) and (k,), the latter [bpm].
    """
    kept = block[np.isfinite(block[:, AT["heart_rate"]])]
    p, grade = kept[:, AT["power"]], np.nan_to_num(kept[:, AT["grade"]])
    warm = _warmth(len(kept), sky)
    rows = [
        np.ones(len(kept)),
        p - centre[0],
        100 * np.maximum(grade, 0),
        100 * np.minimum(grade, 0),
        kept[:, AT["elapsed"]] / 3600,
        warm,
        extra_drag(kept, sky),
    ]
    return np.column_stack(rows), kept[:, AT["heart_rate"]]


def fit(blocks: Sequence[Floats], skies: Sequence[Sky | None], what: str = "power") -> Usual | None:
    """Learn what is usual from the minutes of several runs on one scale.

    Parameters
    ----------
    blocks : sequence of numpy.ndarray, shape (n, 13)
        One array a run, columns `summary.BLOCK_COLUMNS`.
    skies : sequence of Sky or None
        Weather of each run, from weather reports, not from the device.
    what : {'power', 'heart_rate'}

    Returns
    -------
    Usual or None
        None with fewer than five runs or sixty steady minutes.
    """
    design_of, prior_sd = power_design if what == "power" else rate_design, PRIORS[what]
    kept = [steady(b) for b in blocks]
    column = AT["speed"] if what == "power" else AT["power"]
    if not any(len(k) for k in kept):
        return None
    centre = np.array([float(np.mean(np.concatenate([k[:, column] for k in kept])))])
    pairs = [design_of(k, t, centre) for k, t in zip(kept, skies, strict=True)]
    pairs = [(x, y) for x, y in pairs if len(y) >= 3]
    minutes = sum(len(y) for _, y in pairs)
    if len(pairs) < LEAST_RUNS or minutes < LEAST_MINUTES:
        return None
    first, least = ((0.04, 0.02), (0.005, 0.004)) if what == "power" else ((4.0, 4.0), (0.5, 0.8))
    made = mixed.fit(pairs, prior_sd, start=first, floor=least)
    seen = np.concatenate([x[:, 1] for x, _ in pairs]) + centre[0]
    low, high = np.percentile(seen, [2, 98])
    return Usual(
        made.coefficients,
        made.covariance,
        made.between,
        made.within,
        centre,
        len(pairs),
        minutes,
        float(low),
        float(high),
        _learned_grades(kept),
        made,
        what,
    )


def _learned_grades(kept: Sequence[Floats]) -> tuple[float, float]:
    """Slopes between which most minutes lie, and a little beyond."""
    low, high = np.percentile(np.concatenate([np.nan_to_num(k[:, AT["grade"]]) for k in kept]), [1, 99])
    return float(low) - GRADE_BEYOND, float(high) + GRADE_BEYOND


@dataclass(frozen=True)
class Comparison:
    """A run against the usual: how much more (relative for power, bpm for heart rate), its SD, over how many minutes,
    and what its conditions added, in the same unit."""

    excess: float
    sd: float
    minutes: int
    level: float
    watts: float  # of the minutes compared
    reasons: dict[str, float] = field(default_factory=dict)

    @property
    def unusual(self) -> bool:
        """Beyond what nineteen in twenty usual runs show."""
        return abs(self.excess) > 1.96 * self.sd


def compare(usual: Usual, block: Floats, sky: Sky | None, what: str = "power") -> Comparison | None:
    """A run's steady minutes against the usual; None with fewer than five or outside what was run before.

    The excess is relative [1] for power, [bpm] for heart rate.
    """
    design_of = power_design if what == "power" else rate_design
    kept = steady(block)
    x, y = design_of(kept, sky, usual.centre)
    seen = x[:, 1] + usual.centre[0] if len(y) else np.zeros(0)
    used = kept if what == "power" else kept[np.isfinite(kept[:, AT["heart_rate"]])]
    grade = np.nan_to_num(used[:, AT["grade"]])
    learned = (grade >= usual.grades[0]) & (grade <= usual.grades[1])
    inside = (seen >= usual.lowest) & (seen <= usual.highest) & learned
    x, y = x[inside], y[inside]
    if len(y) < 5:
        return None
    expected, sd = usual.expect(x)
    level = float(np.exp(y).mean()) if what == "power" else float(y.mean())
    watts = float(np.mean(used[inside, AT["power"]]))
    return Comparison(float(y.mean()) - expected, sd, len(y), level, watts, _reasons(usual, x, used[inside], what))


def _reasons(usual: Usual, x: Floats, minutes: Floats, what: str) -> dict[str, float]:
    """What slopes, time, warmth and wind add to what is usual on the flat, fresh, at 15 °C and calm."""
    added = x.mean(axis=0) * usual.coefficients
    hills = float(added[2] + added[3])
    if what == "power":
        hills += float(np.log(np.maximum(slope_factor(np.nan_to_num(minutes[:, AT["grade"]])), 0.2)).mean())
    return {"hills": hills, "time into the run": float(added[4]), "warmth": float(added[5]), "wind": float(added[6])}


def mean_of_runs(values: Floats, unit: str, minutes: int) -> Estimate:
    """Mean of some runs with its 95 % interval, by Student's t over the runs.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        One mean a run, NaN where unknown, in ``unit``.
    minutes : int
        How many minutes they hold in all; withheld under ``GROUP_MINUTES`` and under three runs.
    """
    known = values[np.isfinite(values)]
    if len(known) < 3 or minutes < GROUP_MINUTES:
        return Estimate.withheld(
            unit, "usual", f"only {len(known)} runs and {minutes} minutes of it", len(known), "runs"
        )
    middle = float(known.mean())
    error = float(student(0.975, len(known) - 1) * known.std(ddof=1) / len(known) ** 0.5)
    return Estimate(middle, middle - error, middle + error, unit, len(known), "usual", "runs")
