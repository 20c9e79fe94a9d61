"""Priors learned from many runners: a random-effects mean and spread, shrunk to what the literature says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from footwork.physiology.critical import LOG_RATIO, LOG_TAIL, RESERVE_SECONDS
from footwork.physiology.endurance import TAIL_LOG_SD, TAIL_MEDIAN
from footwork.quantities import Floats

METHOD_VERSION = 1
LEAST = 20  # runners who tell something, under whom nothing is learned
WORTH = 20.0  # runners that the literature is worth; our convention
TELLS = 0.95  # of the prior's spread: a runner whose own is as wide as that tells nothing of themselves; our convention
# Natural logarithms, mean and SD: of W′/CP [ln s] and of the tail.
LITERATURE = {
    "reserve": (float(np.log(RESERVE_SECONDS[0])), RESERVE_SECONDS[1]),
    "tail": (float(np.log(TAIL_MEDIAN)), TAIL_LOG_SD),
}


@dataclass(frozen=True)
class Learned:
    """A prior of a logarithm: ``mean`` and ``sd`` as they would be used, those of the squad alone and of the
    literature, and how many runners told something."""

    mean: float
    sd: float
    own_mean: float
    own_sd: float
    literature_mean: float
    literature_sd: float
    n: int


def learn(values: npt.ArrayLike, errors: npt.ArrayLike, literature: tuple[float, float]) -> Learned | None:
    """A prior from runners' posteriors under the literature's; None with fewer than `LEAST` that tell something.

    Each posterior's own information is what is left when the prior's is taken out of it. Mean and spread between
    runners follow DerSimonian and Laird; both are then averaged with the literature's by numbers of runners.

    Parameters
    ----------
    values, errors : array_like, shape (n,)
        Means and SDs of the runners' posteriors, of the logarithm; NaN where not known.
    literature : (float, float)
        Mean and SD of the prior that they were found under.
    """
    y, s = np.asarray(values, dtype=float), np.asarray(errors, dtype=float)
    prior, spread = literature
    tells = np.isfinite(y) & np.isfinite(s) & (s > 0) & (s < TELLS * spread)
    if tells.sum() < LEAST:
        return None
    y, s = y[tells], s[tells]
    own = 1.0 / (1.0 / s**2 - 1.0 / spread**2)  # variance of what the runner's tests say
    y = own * (y / s**2 - prior / spread**2)
    w = 1.0 / own
    fixed = float((w * y).sum() / w.sum())
    q = float((w * (y - fixed) ** 2).sum())
    between = max((q - (len(y) - 1)) / float(w.sum() - (w**2).sum() / w.sum()), 0.0)
    w = 1.0 / (own + between)
    mean, n = float((w * y).sum() / w.sum()), len(y)
    share = n / (n + WORTH)
    return Learned(
        mean=share * mean + (1.0 - share) * prior,
        sd=float(np.sqrt(share * between + (1.0 - share) * spread**2)),
        own_mean=mean,
        own_sd=float(np.sqrt(between)),
        literature_mean=prior,
        literature_sd=spread,
        n=n,
    )


def instead(prior: dict[str, tuple[float, float]]) -> Floats:
    """Log weights that put other priors in the literature's place, W′/CP by tails (`LOG_RATIO`, `LOG_TAIL`).

    ``prior`` holds mean and SD of the logarithm of ``reserve`` and ``tail``; what it does not hold stays.
    """
    rows: list[Floats] = []
    for name, grid in (("reserve", LOG_RATIO), ("tail", LOG_TAIL)):
        mean, sd = prior.get(name, LITERATURE[name])
        old_mean, old_sd = LITERATURE[name]
        rows.append(0.5 * ((grid - old_mean) / old_sd) ** 2 - 0.5 * ((grid - mean) / sd) ** 2)
    return np.asarray(rows[0][:, None] + rows[1][None, :], dtype=float)
