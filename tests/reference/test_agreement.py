"""Agreement statistics against published figures."""

import numpy as np
import pytest

from footwork.analysis import agreement as ag
from footwork.errors import NotEnoughData

# Bland and Altman 1986 (Lancet i:307), peak expiratory flow of 17 people by two meters, l/min.
LARGE = np.array(
    [
        [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427],
        [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421],
    ],
    float,
)
MINI = np.array(
    [
        [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451],
        [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443],
    ],
    float,
)


def test_bland_and_altmans_limits_and_their_intervals():
    found = ag.agreement(MINI[0], LARGE[0], "l/min", ordered=False)  # large minus mini, as in the paper
    assert found.bias.value == pytest.approx(-2.117647, abs=1e-6)
    assert found.low.value == pytest.approx(-78.0959, abs=1e-3) and found.high.value == pytest.approx(73.8606, abs=1e-3)
    assert (found.bias.low, found.bias.high) == pytest.approx((-22.0, 17.8), abs=0.1)  # the paper's interval
    # The paper: limits -79.7 and 75.5 with 2 SD, standard error 16.3, interval of the lower one -114.3 to -45.1.
    assert found.low.high - found.low.value == pytest.approx(2.12 * 16.3, rel=0.03)
    assert found.correlation == pytest.approx(0.943279, abs=1e-6)


def test_lin_and_deming_on_the_same_people():
    # Computed with an independent statistics program; see reference-values of the project's makers.
    assert ag.concordance(LARGE[0], MINI[0]) == pytest.approx(0.942742, abs=1e-6)
    assert ag.deming(LARGE[0], MINI[0]) == pytest.approx((0.9708808, 15.23156), rel=1e-6)


def test_deming_is_orthogonal_regression_by_an_independent_library():
    from scipy.odr import ODR, Model, RealData

    rng = np.random.default_rng(3)
    truth = rng.uniform(150, 350, 200)
    x, y = truth + rng.normal(0, 6, 200), 1.08 * truth - 9 + rng.normal(0, 12, 200)
    made = ODR(RealData(x, y, sx=6.0, sy=12.0), Model(lambda b, v: b[0] * v + b[1]), beta0=[1.0, 0.0]).run()
    assert ag.deming(x, y, error_ratio=4.0) == pytest.approx(tuple(made.beta), rel=1e-4)


def test_effective_number_of_an_autoregressive_series():
    # For AR(1) with coefficient f the mean's variance grows by (1+f)/(1-f), a textbook result.
    rng = np.random.default_rng(1)
    for f in (0.0, 0.5, 0.9):
        found = []
        for _ in range(20):
            z = rng.standard_normal(4000)
            x = np.empty(4000)
            x[0] = z[0]
            for i in range(1, 4000):
                x[i] = f * x[i - 1] + z[i]
            found.append(ag.effective_number(x))
        assert np.median(found) == pytest.approx(4000 * (1 - f) / (1 + f), rel=0.2)


def test_too_little_is_no_number():
    with pytest.raises(NotEnoughData, match="too few"):
        ag.agreement([1, 2, 3], [1, 2, 4], "W")
    with pytest.raises(NotEnoughData, match="does not vary"):
        ag.agreement(np.ones(50), np.arange(50.0), "W")


def test_repeatability():
    # 2 sqrt(sum d^2 / n), computed; the paper prints 43.2 and 56.4 (from memory).
    assert ag.repeatability(*LARGE) == pytest.approx(43.29, abs=0.01)
    assert ag.repeatability(*MINI) == pytest.approx(56.32, abs=0.01)


def test_shrout_and_fleiss_six():
    # Shrout and Fleiss 1979, table 2: four judges, six targets; the paper prints .17 .29 .71 .44 .62 .91.
    table = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    found = ag.intraclass(table)
    assert [found[n] for n in ("1,1", "2,1", "3,1", "1,k", "2,k", "3,k")] == pytest.approx(
        [0.1657, 0.2898, 0.7148, 0.4428, 0.6201, 0.9093], abs=5e-5
    )


def test_intraclass_against_analysis_of_variance_of_a_library():
    # The same mean squares by SciPy's one-way analysis of variance: F = between over within.
    from scipy.stats import f_oneway

    table = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float)
    f = float(f_oneway(*table).statistic)
    assert ag.intraclass(table)["1,1"] == pytest.approx((f - 1) / (f + 3), abs=1e-12)
    assert ag.intraclass(table)["1,k"] == pytest.approx(1 - 1 / f, abs=1e-12)
