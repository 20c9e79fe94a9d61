"""A fair trial of a change: orders that balance drift, how many runs it takes, the effect with its interval, the
optimum of a cadence curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from footwork.analysis.quantiles import student
from footwork.analysis.worthwhile import sure_enough
from footwork.quantities import Estimate, Floats

METHOD_VERSION = 1
BLOCK_SD_BPM = (
    1.2  # a block's mean heart rate about its run's own drift, where the runner's runs do not tell it; our convention
)
EFFECT_SD_BPM = 0.8  # how an effect differs from run to run; our convention
MOST_RUNS = 24
ALPHA, POWER = 0.05, 0.8


def order(conditions: int, repeats: int, runs: int, seed: int) -> list[list[int]]:
    """Orders of conditions for each run: random, then the same backwards, so that a steady drift favours none; ABBA
    where there are two.

    Parameters
    ----------
    conditions : int
        2 to 7.
    repeats : int
        How often a run holds the order and its mirror, 1 or more: each condition comes twice as often.
    runs : int
    seed : int
        0 or more; the same seed gives the same orders. Where there are two conditions, every other run, at random,
        begins with the other one.
    """
    rng = np.random.default_rng(seed)
    firsts = [k % 2 for k in range(runs)]
    rng.shuffle(firsts)
    out = []
    for run in range(runs):
        row: list[int] = []
        for part in range(repeats):
            half = [int(v) for v in rng.permutation(conditions)]
            if conditions == 2:
                first = (firsts[run] + part) % 2
                half = [first, 1 - first]
            row += half + half[::-1]
        out.append(row)
    return out


def power_of(effect: float, sd: float, runs: int, worthwhile: float = 0.0, needed: float = 1 - ALPHA / 2) -> float:
    """Chance that a t-test over runs surely finds a true effect to be more than a worthwhile one, on its own side.

    Parameters
    ----------
    effect, sd : float
        True effect and SD of one run's effect, in one unit.
    runs : int
        2 or more.
    worthwhile : float
        What it must surely pass; with 0 and 0.975 this is the two-sided paired t-test.
    needed : float
        Probability that the verdict asks for.
    """
    from scipy.special import nctdtr

    if runs < 2:
        return 0.0
    edge, root = student(needed, runs - 1), np.sqrt(runs) / sd
    right = 1.0 - float(nctdtr(runs - 1, (abs(effect) - worthwhile) * root, edge))
    if worthwhile:  # a verdict on the wrong side is no success
        return right
    return right + float(np.nan_to_num(nctdtr(runs - 1, abs(effect) * root, -edge)))


def runs_needed(effect: float, sd: float, worthwhile: float, others: int = 1, power: float = POWER) -> int | None:
    """Least number of runs, each of them a look, for a chance of a verdict; None where 24 are too few. ``others``:
    conditions that are held against the first.

    ``effect``, ``sd`` and ``worthwhile`` in one unit, [bpm] or [W].
    """
    return next(
        (n for n in range(2, MOST_RUNS + 1) if power_of(effect, sd, n, worthwhile, sure_enough(n, others)) >= power),
        None,
    )


def run_sd(block_sd: float, blocks: int, effect_sd: float = EFFECT_SD_BPM) -> float:
    """SD of the effect that one run of two conditions shows: half of its blocks against the other half, and the
    effect's own spread.

    All in one unit, [bpm] or [W].
    """
    return float(np.sqrt(4 * block_sd**2 / blocks + effect_sd**2))


def typical_error(blocks: Sequence[tuple[Floats, Floats]]) -> tuple[float, int] | None:
    """SD of a block's mean heart rate about what power and a straight drift explain, over runs, and its degrees of
    freedom.

    Parameters
    ----------
    blocks : sequence of (numpy.ndarray, numpy.ndarray)
        Of each steady run the mean power [W] and heart rate [bpm] of its blocks in order.
    """
    total, free = 0.0, 0
    for p, h in blocks:
        if len(h) < 5:
            continue
        x = np.column_stack([np.ones(len(h)), np.arange(len(h)), p - p.mean()])
        rest = h - x @ np.linalg.lstsq(x, h, rcond=None)[0]
        total, free = total + float(rest @ rest), free + len(h) - 3
    return (float(np.sqrt(total / free)), free) if free >= 10 else None


@dataclass(frozen=True)
class Fit:
    """A fitted effect: value, standard error and degrees of freedom of each fixed coefficient asked for; spread within
    and of the effect over runs."""

    values: Floats
    covariance: Floats
    freedom: Floats
    within: float
    between: float
    blocks: int
    runs: int


def fit(y: Floats, fixed: Floats, random: Floats, groups: Floats, keep: int, resolution: float = 0.0) -> Fit:
    """Restricted maximum likelihood of ``y = X·b + z·u(group) + e``, with Satterthwaite's degrees of freedom.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
    fixed : numpy.ndarray, shape (n, p)
        The first ``keep`` columns are those that are asked about.
    random : numpy.ndarray, shape (n,) or (n, q)
        Columns whose coefficients differ from group to group, all with one spread; zeros for none.
    groups : numpy.ndarray, shape (n,)
        Whole numbers.
    keep : int
    resolution : float
        The outcome is read to such steps: what it scatters is no less than theirs.

    Raises
    ------
    ValueError
        No degrees of freedom, or columns that say the same.
    """
    from scipy.optimize import minimize_scalar

    n, p = fixed.shape
    if n <= p or np.linalg.matrix_rank(fixed) < p:
        raise ValueError("too few blocks for what is asked")
    same = groups[:, None] == groups[None, :]
    columns = random.reshape(n, -1)
    outer = np.where(same, columns @ columns.T, 0.0)

    def solved(ratio: float) -> tuple[Floats, Floats, float, float, Floats]:
        v = np.eye(n) + ratio * outer
        inverse = np.linalg.inv(v)
        info = fixed.T @ inverse @ fixed
        inner = np.linalg.inv(info)
        b = inner @ (fixed.T @ inverse @ y)
        rest = y - fixed @ b
        s2 = max(float(rest @ inverse @ rest) / (n - p), resolution**2 / 12, 1e-9)
        badness = (
            (n - p) * np.log(s2)
            + float(rest @ inverse @ rest) / s2
            + np.linalg.slogdet(v)[1]
            + np.linalg.slogdet(info)[1]
        )
        return b, np.asarray(inner, dtype=float), s2, float(badness), np.asarray(inverse, dtype=float)

    ratio = 0.0
    if np.any(random) and len(np.unique(groups)) > 1:
        found = minimize_scalar(lambda r: solved(float(np.exp(r)))[3], bounds=(-12.0, 8.0), method="bounded")
        if found.fun < solved(0.0)[3]:
            ratio = float(np.exp(found.x))
    b, inner, s2, _, inverse = solved(ratio)
    covariance = s2 * inner[:keep, :keep]
    # Satterthwaite: the variance of an estimated variance, from the average information of both variances.
    projector = (inverse - inverse @ fixed @ inner @ fixed.T @ inverse) / s2
    parts = [np.eye(n)] if ratio == 0 else [np.eye(n), outer]
    information = np.array([[0.5 * float(np.trace(projector @ a @ projector @ c)) for c in parts] for a in parts])
    spread = np.linalg.pinv(information)
    weight = inverse / s2 @ fixed @ (s2 * inner)
    freedom = []
    for k in range(keep):
        slopes = np.array([float(weight[:, k] @ a @ weight[:, k]) for a in parts])
        freedom.append(2 * covariance[k, k] ** 2 / max(float(slopes @ spread @ slopes), 1e-30))
    return Fit(b[:keep], covariance, np.array(freedom), s2**0.5, (ratio * s2) ** 0.5, n, len(np.unique(groups)))


@dataclass(frozen=True)
class Block:
    """One block of a trial as run: its run, condition (from 0), middle in time [h], and the outcome; speed [m/s] beside
    it."""

    run: int
    condition: int
    hours: float
    value: float
    speed: float = 0.0


def effects(blocks: Sequence[Block], conditions: int, slope: float = 0.0, resolution: float = 0.0) -> Fit:
    """Effect of each condition against the first, with each run's own level and drift taken off; with two runs and
    more, at most as many degrees of freedom as runs less one.

    Parameters
    ----------
    slope : float
        Change of the outcome with 1 m/s, by which every block is brought to the trial's mean speed.

    Raises
    ------
    ValueError
        Too few blocks, or a condition that was never run.
    """
    groups = np.array([b.run for b in blocks])
    y = np.array([b.value for b in blocks])
    speeds = np.array([b.speed for b in blocks])
    y = y - slope * (speeds - speeds.mean())
    marks = np.array([[float(b.condition == k) for k in range(1, conditions)] for b in blocks])
    if any(not marks[:, k].any() for k in range(conditions - 1)) or all(b.condition for b in blocks):
        raise ValueError("a condition was not run")
    own = []
    for g in np.unique(groups):
        mine = groups == g
        own.append(mine.astype(float))
        hours = np.array([b.hours for b in blocks])
        if mine.sum() >= 3:
            own.append(np.where(mine, hours - hours[mine].mean(), 0.0))
    fixed = np.column_stack([marks, *own])
    made = fit(y, fixed, marks - marks.mean(axis=0), groups, conditions - 1, resolution)
    if made.runs > 1:  # the runs are what was drawn: blocks of one run cannot tell more than they about other days
        made = replace(made, freedom=np.minimum(made.freedom, made.runs - 1.0))
    return made


def estimate(found: Fit, k: int, unit: str, method: str = "trial") -> Estimate:
    """One effect with its 95 % interval."""
    half = student(0.975, max(found.freedom[k], 1.0)) * float(np.sqrt(found.covariance[k, k]))
    at = float(found.values[k])
    return Estimate(at, at - half, at + half, unit, found.blocks, method, "blocks")


def optimum(cadence: Floats, rate: Floats, groups: Floats, hours: Floats) -> tuple[Estimate, Floats]:
    """Cadence of least heart rate: the vertex of a quadratic over runs, each with its own level and drift; and the
    curve's coefficients about the mean cadence (linear, quadratic).

    Parameters
    ----------
    cadence, rate, groups, hours : numpy.ndarray, shape (n,)
        Of each block: steps a minute, heart rate [bpm] or oxygen uptake, its run, and its time in the run [h].

    Returns
    -------
    estimate, coefficients
        Fieller's interval; withheld where the curve does not bend upwards for sure, or the vertex lies outside what was
        run.
    """
    middle = float(cadence.mean())
    c = cadence - middle
    own = []
    for g in np.unique(groups):
        mine = groups == g
        own.append(mine.astype(float))
        if mine.sum() >= 4:
            own.append(np.where(mine, hours - hours[mine].mean(), 0.0))
    fixed = np.column_stack([c, c**2, *own])
    try:
        found = fit(rate, fixed, c, groups, 2)
    except ValueError:
        return Estimate.withheld(
            "steps/min", "cadence-curve", "too few blocks for a curve: run five cadences twice", len(rate), "blocks"
        ), np.zeros(2)
    b1, b2 = found.values
    v = found.covariance
    q = student(0.975, max(found.freedom[1], 1.0)) ** 2
    # Fieller: the ratio r = -b1 / (2 b2) solves (b1 + 2 r b2)² <= q Var(b1 + 2 r b2).
    a2, a1, a0 = 4 * (b2**2 - q * v[1, 1]), 4 * (b1 * b2 - q * v[0, 1]), b1**2 - q * v[0, 0]
    if b2 <= 0 or a2 <= 0:
        return Estimate.withheld(
            "steps/min",
            "cadence-curve",
            "the curve does not bend for sure: any of these cadences may be as good",
            len(rate),
            "blocks",
        ), found.values
    root = float(np.sqrt(max(a1**2 - 4 * a2 * a0, 0.0)))
    low, high = (middle + (-a1 - root) / (2 * a2), middle + (-a1 + root) / (2 * a2))
    at = middle - b1 / (2 * b2)
    if not cadence.min() - 2 <= at <= cadence.max() + 2:
        return Estimate.withheld(
            "steps/min",
            "cadence-curve",
            "the lowest point lies outside the cadences that were run",
            len(rate),
            "blocks",
        ), found.values
    return Estimate(float(at), float(low), float(high), "steps/min", len(rate), "cadence-curve", "blocks"), found.values
