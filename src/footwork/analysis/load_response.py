"""Whether a runner's tests tell how capacity follows load: no model, one response, and one with fatigue, compared by
what each foresees of the next test.

`M0` is a local level alone. `M1` adds ``k·g(a)``, a the exponential mean of load, g concave: each further unit does
less. `M2` takes off the same with a shorter memory. Published time constants and their intervals span 6 to 60 days
(Hellard et al. 2006, J Sports Sci 24:509), and a Bayesian re-analysis found no gain from a second component (Marchal et
al. 2025, Sci Rep 15), hence wide priors and no default.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

METHOD_VERSION = 1
DRIFT, NOISE = 0.0016, 0.02  # of ln CP: a root day, as capacity is followed; and of one test
FLOOR = 0.25  # of usual load, within the logarithm
TAU, TAU_SPREAD, K, K_SD = 35.0, 0.46, 0.06, 0.03  # memory [d], SD of its ln (14 to 85 d), gain and its SD
TAU_2, TAU_2_SPREAD, K_2, K_2_SD = 9.0, 0.54, 0.015, 0.015  # of fatigue (3 to 25 d)
START_DAYS = 21  # whose mean load stands for what was before
START_SD = 0.15  # of the first level about the first test
Model = Literal["M0", "M1", "M2"]


@dataclass(frozen=True)
class Fitted:
    """What a model made of tests: log densities of each test from those before it and their sum, root mean square error
    of these forecasts [ln], and weights of the grid's points with their memory [d] and gain [ln]."""

    score: float
    error: float
    weights: Floats
    tau: Floats
    gain: Floats
    scores: Floats


def smoothed(load: Floats, tau: float) -> Floats:
    """Exponential mean of load with a memory, known on the morning of each day, shape (d,); begins at the mean of the
    first weeks, for what was before them is not known.

    ``tau`` [d].
    """
    out = np.empty(len(load))
    keep = np.exp(-1.0 / tau)
    now = float(np.mean(load[:START_DAYS]))
    for day, value in enumerate(load):
        out[day] = now
        now = keep * now + (1.0 - keep) * value
    return out


def gained(mean_load: Floats, usual: float) -> Floats:
    """``g``: what a mean load does to ln CP for a gain of one; 0 at the usual load, concave."""
    return np.asarray(np.log((mean_load + FLOOR * usual) / ((1.0 + FLOOR) * usual)))


def _normal(values: Floats, middle: float, sd: float) -> Floats:
    return np.asarray(-0.5 * ((values - middle) / sd) ** 2)


def fit(model: Model, days: npt.NDArray[np.int64], outcomes: Floats, load: Floats) -> Fitted:
    """Follow a runner's tests with one model.

    Parameters
    ----------
    model : str
    days : ndarray of int, shape (n,)
        Days of tests, rising; places in ``load``.
    outcomes : ndarray, shape (n,)
        ln of the CP that each test implies alone.
    load : ndarray, shape (d,)
        All-sport load by day [CP-min].
    """
    usual = max(float(np.mean(load)), 1e-9)
    taus = TAU * np.exp(TAU_SPREAD * np.linspace(-2.5, 2.5, 13)) if model != "M0" else np.array([TAU])
    gains = np.linspace(0.0025, 0.15, 25) if model != "M0" else np.array([0.0])
    slow = np.array([gained(smoothed(load, t), usual)[days] for t in taus])  # (τ, n)
    prior = np.add.outer(_normal(np.log(taus), np.log(TAU), TAU_SPREAD), _normal(gains, K, K_SD))
    effect = gains[None, :, None] * slow[:, None, :]
    tau, gain = np.broadcast_to(taus[:, None], prior.shape), np.broadcast_to(gains[None, :], prior.shape)
    if model == "M2":
        taus_2 = TAU_2 * np.exp(TAU_2_SPREAD * np.linspace(-2.0, 2.0, 7))
        gains_2 = np.linspace(0.001, 0.05, 9)
        fast = np.array([gained(smoothed(load, t), usual)[days] for t in taus_2])
        second = (gains_2[None, :, None] * fast[:, None, :]).reshape(-1, len(days))
        prior_2 = np.add.outer(_normal(np.log(taus_2), np.log(TAU_2), TAU_2_SPREAD), _normal(gains_2, K_2, K_2_SD))
        effect = effect.reshape(-1, 1, len(days)) - second[None, :, :]
        prior = np.add.outer(prior.ravel(), prior_2.ravel())
        tau = np.broadcast_to(tau.reshape(-1, 1), prior.shape)
        gain = np.broadcast_to(gain.reshape(-1, 1), prior.shape)
    flat = effect.reshape(-1, len(days))
    return _followed(days, outcomes, flat, prior.ravel(), tau.ravel(), gain.ravel())


def _followed(
    days: npt.NDArray[np.int64], outcomes: Floats, effect: Floats, prior: Floats, tau: Floats, gain: Floats
) -> Fitted:
    """A level for each point of the grid, which is known exactly; the points weigh by what they foresaw."""
    weight = np.exp(prior - prior.max())
    weight /= weight.sum()
    level = outcomes[0] - effect[:, 0]
    variance = np.full(len(weight), 1.0 / (1.0 / START_SD**2 + 1.0 / NOISE**2))
    scores, errors = [], []
    for k in range(1, len(days)):
        variance = variance + DRIFT**2 * (days[k] - days[k - 1])
        spread = variance + NOISE**2
        off = outcomes[k] - level - effect[:, k]
        density = np.exp(-0.5 * off**2 / spread) / np.sqrt(2.0 * np.pi * spread)
        scores.append(float(np.log((weight * density).sum())))
        errors.append(float((weight * off).sum()))
        weight = weight * density
        weight /= weight.sum()
        share = variance / spread
        level, variance = level + share * off, variance * (1.0 - share)
    rms = float(np.sqrt(np.mean(np.square(errors)))) if errors else float("nan")
    return Fitted(float(np.sum(scores)), rms, weight, tau, gain, np.array(scores))


# What must hold before anything is shown; our conventions.
LEAST_TESTS, LEAST_WEEKS, LEAST_SPREAD = 10, 26, 0.20
LEAST_NATS, MOST_SHARE, MOST_CORRELATION = 2.0, 0.6, 0.9
MORE, WEEKS = 0.20, 8  # the answer given: so much more load for so many weeks
COVERED = (0.90, 0.99)


def answer(tau: Floats, gain: Floats) -> Floats:
    """ln CP after a fifth more load for eight weeks, over that at the usual load.

    ``tau`` [d], ``gain`` [ln].
    """
    more = 1.0 + MORE * (1.0 - np.exp(-7.0 * WEEKS / tau))
    return np.asarray(gain * np.log((more + FLOOR) / (1.0 + FLOOR)))


def spread(values: Floats, weights: Floats) -> tuple[float, float, float]:
    """Ends and middle of a weighted distribution: 2.5, 50 and 97.5 %."""
    order = np.argsort(values)
    run, ordered = np.cumsum(weights[order]), values[order]
    at = [min(int(np.searchsorted(run, q)), len(run) - 1) for q in (0.025, 0.5, 0.975)]
    return float(ordered[at[0]]), float(ordered[at[1]]), float(ordered[at[2]])


def beats(better: Fitted, plain: Fitted) -> float:
    """By how many nats a model foresees held-out tests better than a plainer one, whichever test is left out."""
    apart = better.scores - plain.scores
    return float(apart.sum() - max(float(apart.max(initial=0.0)), 0.0))


def _moments(values: Floats, weights: Floats) -> tuple[float, float]:
    middle = float((weights * values).sum())
    return middle, float(np.sqrt((weights * (values - middle) ** 2).sum()))


def prior_sd() -> float:
    """SD of the answer before any test."""
    rng = np.random.default_rng(3)
    tau, gain = drawn(rng, 4000)
    return float(np.std(answer(tau, gain)))


def drawn(rng: np.random.Generator, count: int) -> tuple[Floats, Floats]:
    """Runners of the prior: memory [d] and gain [ln], shape (n,)."""
    gain = K + K_SD * rng.standard_normal(4 * count)
    return TAU * np.exp(TAU_SPREAD * rng.standard_normal(count)), gain[gain > 0][:count]


def simulated(rng: np.random.Generator, days: npt.NDArray[np.int64], load: Floats, tau: float, gain: float) -> Floats:
    """Outcomes of tests of a runner who responds so, on these days and loads."""
    level = np.cumsum(DRIFT * np.sqrt(np.diff(days, prepend=days[0])) * rng.standard_normal(len(days)))
    effect = gain * gained(smoothed(load, tau), max(float(np.mean(load)), 1e-9))[days]
    return np.asarray(level + effect + NOISE * rng.standard_normal(len(days)))


def coverage(days: npt.NDArray[np.int64], load: Floats, runners: int = 200) -> float:
    """Share of simulated runners with these dates and loads whose true answer lies in its interval."""
    rng = np.random.default_rng(19)
    inside = 0
    for tau, gain in zip(*drawn(rng, runners), strict=True):
        made = fit("M1", days, simulated(rng, days, load, float(tau), float(gain)), load)
        low, _, high = spread(answer(made.tau, made.gain), made.weights)
        inside += low <= float(answer(np.array([tau]), np.array([gain]))[0]) <= high
    return inside / runners


def why_withheld(days: npt.NDArray[np.int64], outcomes: Floats, load: Floats) -> tuple[list[str], dict[str, Fitted]]:
    """What stands against showing a response, in words, and the models; nothing where it may be shown."""
    reasons = []
    weeks = (int(days[-1]) - int(days[0])) / 7.0 if len(days) else 0.0
    if len(days) < LEAST_TESTS or weeks < LEAST_WEEKS:
        reasons.append(
            f"{len(days)} test and race days in {weeks:.0f} weeks: it takes {LEAST_TESTS} over {LEAST_WEEKS} weeks"
        )
    if len(days) < 3:
        return reasons, {}
    whole = load[: 7 * (len(load) // 7)].reshape(-1, 7).sum(axis=1)
    if len(whole) < 4 or whole.std() < LEAST_SPREAD * whole.mean():
        reasons.append("your weeks are too much alike: only weeks that differ by a fifth and more tell what load does")
    names: tuple[Model, ...] = ("M0", "M1", "M2")
    models: dict[str, Fitted] = {name: fit(name, days, outcomes, load) for name in names}
    one = models["M1"]
    gain = beats(one, models["M0"])
    if gain < LEAST_NATS:
        reasons.append(
            f"held-out tests are foreseen no better by load than without it ({gain:+.1f} nats with any one test left "
            f"out, it takes {LEAST_NATS:g})"
        )
    if _moments(answer(one.tau, one.gain), one.weights)[1] > MOST_SHARE * prior_sd():
        reasons.append("what more load would do is hardly better known than before the tests")
    middle = [_moments(v, one.weights) for v in (np.log(one.tau), one.gain)]
    both = float((one.weights * (np.log(one.tau) - middle[0][0]) * (one.gain - middle[1][0])).sum())
    if abs(both) > MOST_CORRELATION * max(middle[0][1] * middle[1][1], 1e-12):
        reasons.append("memory and gain cannot be told apart")
    if not reasons and not COVERED[0] <= (share := coverage(days, load)) <= COVERED[1]:
        reasons.append(
            f"on simulated runners with your dates and weeks {100 * share:.0f} % are covered, not 90 to 99 %"
        )
    return reasons, models
