"""Changes of level against a general library of change points, and in cases by hand."""

import itertools

import numpy as np
import pytest
import ruptures

from footwork.analysis.change_points import change_points


def cost_of(values, ends, penalty):
    edges = [0, *ends]
    return sum(((values[a:b] - values[a:b].mean()) ** 2).sum() + penalty for a, b in itertools.pairwise(edges))


# The exact optimum of the same cost for that number of changes, by the library's dynamic programme.
@pytest.mark.parametrize("seed", range(6))
def test_change_points_agree_with_dynamic_programming(seed):
    rng = np.random.default_rng(seed)
    values = np.repeat(rng.normal(0, 1, 4), [20, 15, 30, 25]) + 0.1 * rng.standard_normal(90)
    shortest, penalty = (4, 0.5) if seed % 2 else (7, 2.0)
    found = change_points(values, penalty, shortest)
    exact = ruptures.Dynp(model="l2", min_size=shortest, jump=1).fit(values).predict(n_bkps=len(found) - 1)
    assert found == exact


# The library's penalised search prunes as if pieces of any length were allowed, so it may miss the optimum by a little.
@pytest.mark.parametrize("seed", range(30))
def test_no_division_found_by_a_penalised_search_is_cheaper(seed):
    rng = np.random.default_rng(seed)
    values = np.repeat(rng.normal(0, 1, 12), 25) + (0.1, 0.3, 1.0)[seed % 3] * rng.standard_normal(300)
    found = change_points(values, 2.0, 5)
    searched = ruptures.KernelCPD(kernel="linear", min_size=5).fit(values[:, None]).predict(pen=2.0)
    assert cost_of(values, found, 2.0) <= cost_of(values, searched, 2.0) + 1e-9
    assert min(np.diff([0, *found])) >= 5


def test_a_change_is_worth_its_price_and_no_less():
    values = np.array([0.0] * 6 + [1.0] * 6)  # one change takes the squared error from 3 to nothing
    assert change_points(values, 2.9) == [6, 12] and change_points(values, 3.1) == [12]
    assert change_points(values[3:], 0.1, 5) == [9] and change_points(values[:3], 0.1) == [3]
