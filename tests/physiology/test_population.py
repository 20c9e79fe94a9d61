"""Priors learned from a squad: recovered, shrunk to the literature, and exact where they take its place."""

import numpy as np
import pytest

from footwork.physiology import critical, population
from footwork.physiology.critical import Evidence
from footwork.physiology.population import LITERATURE, WORTH, learn

RESERVE = LITERATURE["reserve"]


def squad(rng, n, mean, spread, error):
    """Posteriors of runners under the literature's prior: what tests of that error say of a drawn truth."""
    truth = mean + spread * rng.standard_normal(n)
    said = truth + error * rng.standard_normal(n)
    precision = 1 / error**2 + 1 / RESERVE[1] ** 2
    value = (said / error**2 + RESERVE[0] / RESERVE[1] ** 2) / precision
    return value, np.full(n, precision**-0.5)


def test_mean_and_spread_of_a_squad_are_recovered():
    rng = np.random.default_rng(4)
    mean, spread = RESERVE[0] + 0.3, 0.12
    found = [learn(*squad(rng, 200, mean, spread, 0.15), RESERVE) for _ in range(40)]
    assert np.mean([f.own_mean for f in found]) == pytest.approx(mean, abs=0.01)
    assert np.mean([f.own_sd for f in found]) == pytest.approx(spread, abs=0.01)
    assert all(f.n == 200 for f in found)


def test_what_is_used_lies_between_the_squads_and_the_literatures_by_numbers():
    rng = np.random.default_rng(5)
    found = learn(*squad(rng, 20, RESERVE[0] + 0.4, 0.1, 0.1), RESERVE)
    share = 20 / (20 + WORTH)
    assert found.mean == pytest.approx(share * found.own_mean + (1 - share) * RESERVE[0])
    assert found.sd**2 == pytest.approx(share * found.own_sd**2 + (1 - share) * RESERVE[1] ** 2)
    assert (found.literature_mean, found.literature_sd) == RESERVE


def test_runners_who_tell_nothing_do_not_count():
    rng = np.random.default_rng(6)
    value, error = squad(rng, 30, RESERVE[0], 0.2, 0.15)
    assert learn(value[:19], error[:19], RESERVE) is None
    idle = np.full(30, RESERVE[1] * 0.97)  # as wide as the prior itself
    assert learn(value, idle, RESERVE) is None
    both = learn(np.append(value, value), np.append(error, idle), RESERVE)
    assert both == learn(value, error, RESERVE)
    assert learn(np.append(value, np.nan), np.append(error, 0.1), RESERVE) == learn(value, error, RESERVE)


def test_a_prior_in_the_others_place_is_as_if_it_had_been_there_before(monkeypatch):
    tests = [Evidence("maximal", (180.0, 720.0), (340.0, 290.0), label="2026-04-01")]
    weights = population.instead({"reserve": (RESERVE[0] + 0.35, 0.1), "tail": (LITERATURE["tail"][0] - 0.2, 0.2)})
    under = critical.posterior(tests).under(weights)
    monkeypatch.setattr(critical, "SHAPE_PRIOR", critical.SHAPE_PRIOR + weights)
    direct = critical.posterior(tests)
    for one, two in zip(under.draws(), direct.draws(), strict=True):
        assert one == pytest.approx(two, rel=2e-3)
    back = critical.posterior(tests).under(-weights)
    monkeypatch.undo()
    for one, two in zip(back.draws(), critical.posterior(tests).draws(), strict=True):
        assert one == pytest.approx(two, rel=2e-3)
    assert not population.instead({}).any()
