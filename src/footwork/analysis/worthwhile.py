"""Is it progress: a change against the smallest that is worthwhile, decided so that looking often finds no more than
chance should."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr, ndtri, stdtr

METHOD_VERSION = 1
# Smallest worthwhile changes for one runner, editable: half a per cent in power or pace, two beats; common practice, no
# source for runners alone.
WORTHWHILE = {"%": 0.5, "bpm": 2.0}
ONE_SIDED = 0.025
MOST_RUNS = 40


@dataclass(frozen=True)
class Verdict:
    """What can be said: ``word`` is improved, worse, no worthwhile change or cannot tell yet; probabilities that the
    change is worthwhile and better, worthwhile and worse, or too small; the probability that was needed, and after how
    many looks."""

    word: str
    better: float
    worse: float
    trivial: float
    needed: float
    looks: int


def decide(
    change: float,
    sd: float,
    worthwhile: float,
    higher_is_better: bool = True,
    looks: int = 1,
    outcomes: int = 1,
    freedom: float = math.inf,
) -> Verdict:
    """A verdict on a change that is known to lie about a value.

    Parameters
    ----------
    change, sd : float
        Middle and standard error of the change.
    worthwhile : float
        The smallest worthwhile change, in the same unit, above 0.
    looks : int
        How often the question has been asked of growing data: each look must be surer, so that all together err as
        seldom as one (Pocock).
    outcomes : int
        How many outcomes are judged at once: each must be surer (Bonferroni).
    freedom : float
        Degrees of freedom of the standard error.
    """
    good, width = change if higher_is_better else -change, max(sd, 1e-12)
    scores = [(way * good - worthwhile) / width for way in (1, -1)]
    better, worse = (float(ndtr(z) if math.isinf(freedom) else stdtr(max(freedom, 1.0), z)) for z in scores)
    trivial = max(1.0 - better - worse, 0.0)
    needed = sure_enough(looks, outcomes)
    if better >= needed:
        word = "improved"
    elif worse >= needed:
        word = "worse"
    elif trivial >= 1 - 2 * (1 - needed):  # both sides' chance to err, corrected alike
        word = "no worthwhile change"
    else:
        word = "cannot tell yet"
    return Verdict(word, better, worse, trivial, needed, looks)


def _normal(z: np.ndarray) -> np.ndarray:
    return np.asarray(np.exp(-0.5 * z**2) / math.sqrt(2 * math.pi))


def sure_enough(looks: int = 1, outcomes: int = 1) -> float:
    """Probability that one look at one outcome must reach; 0.975 for a single one.

    A probability [1]; looks after Pocock 1977, outcomes after Bonferroni.
    """
    return _phi(boundary(max(looks, 1), ONE_SIDED / max(outcomes, 1)))


def _phi(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


@lru_cache(maxsize=256)
def boundary(looks: int, one_sided: float = ONE_SIDED) -> float:
    """Pocock's constant: the standard score that equally spaced looks must each pass for a chance of 2·``one_sided`` to
    err in any of them.

    By numerical integration of the path's density between looks (Armitage, McPherson and Rowe 1969).

    ``one_sided`` is the chance to err on one side [1]; Pocock 1977, Biometrika 64:191.
    """
    from scipy.optimize import brentq

    if looks == 1:
        return float(-ndtri(one_sided))
    if looks > 60:  # grows as the root of the logarithm from there on
        a, b = boundary(30, one_sided), boundary(60, one_sided)
        return b + (b - a) * math.log(looks / 60) / math.log(2)

    def missed(c: float) -> float:
        # Density of the sum of increments while no look has passed; the bound grows with the root of the look's number.
        points = 200
        grid = np.linspace(-c, c, points)
        weight = np.full(points, grid[1] - grid[0])
        weight[[0, -1]] *= 0.5
        density = _normal(grid)
        for k in range(2, looks + 1):
            wide = c * math.sqrt(k)
            fresh = np.linspace(-wide, wide, points)
            density = _normal(fresh[:, None] - grid[None, :]) @ (density * weight)
            grid, weight = fresh, np.full(points, fresh[1] - fresh[0])
            weight[[0, -1]] *= 0.5
        return float(1 - (density * weight).sum()) - 2 * one_sided

    return float(brentq(missed, 1.5, 5.0, xtol=1e-3))


def more_runs(mean: float, sd: float, worthwhile: float, runs: int, fixed: float = 0.0) -> int | None:
    """About how many more runs would settle a change of this size; None where even forty would not.

    Parameters
    ----------
    mean, sd : float
        The change as it stands and its standard error.
    runs : int
        How many tell it.
    fixed : float
        The part of the standard error that does not fall with their number.
    """
    far = abs(mean) - worthwhile
    wanted = far / boundary(1) if far > 0 else -far / 1.96  # surely more, or surely too little
    if wanted <= fixed or sd <= fixed:
        return None
    more = math.ceil(runs * ((sd**2 - fixed**2) / (wanted**2 - fixed**2) - 1))
    return more if 0 < more <= MOST_RUNS else None
