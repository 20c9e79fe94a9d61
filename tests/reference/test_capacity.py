"""Critical power, the tail, W′ balance and load against published or computed check values."""

import numpy as np
import pytest

from footwork.analysis import efforts
from footwork.analysis.capacity_days import CapacityDays
from footwork.physiology import classical_forms, critical, curve, domains, endurance, reserve
from footwork.physiology.load_ways import of_power

# Exact points of CP 250 W, W′ 20 kJ (computed): 120, 180, 300, 420, 720, 1200 s.
T = np.array([120, 180, 300, 420, 720, 1200.0])
P = np.array([416.667, 361.111, 316.667, 297.619, 277.778, 266.667])


@pytest.mark.parametrize("form", [classical_forms.work_time, classical_forms.inverse_time, classical_forms.time_power])
def test_every_form_returns_the_exact_runner(form):
    made = form(T, P)
    assert made.critical_power == pytest.approx(250, abs=0.01)
    assert made.w_prime == pytest.approx(20000, rel=2e-4)


# Model choice matters: (180, 361), (420, 298), (720, 278); computed for each form.
@pytest.mark.parametrize(
    ("form", "cp", "wp"),
    [
        (classical_forms.work_time, 250.320, 19959.3),
        (classical_forms.inverse_time, 250.470, 19901.7),
        (classical_forms.time_power, 250.140, 20064.4),
    ],
)
def test_the_forms_differ_where_efforts_scatter(form, cp, wp):
    made = form([180, 420, 720], [361, 298, 278])
    assert made.critical_power == pytest.approx(cp, abs=2e-3)
    assert made.w_prime == pytest.approx(wp, abs=0.5)


# Morton 1996 with CP 250, W′ 20 kJ, Pmax 1000: k = -26.667 s; computed points.
def test_three_parameter_form():
    made = classical_forms.three_parameter([5, 60, 180, 720], [881.579, 480.769, 346.774, 276.786])
    assert made.critical_power == pytest.approx(250, abs=0.01)
    assert made.w_prime == pytest.approx(20000, rel=1e-3)
    assert made.p_max == pytest.approx(1000, rel=1e-3)


def test_three_parameter_form_needs_a_short_effort_and_four():
    with pytest.raises(ValueError, match="under 2 min"):
        classical_forms.three_parameter([180, 300, 420, 720], [361, 317, 298, 278])
    with pytest.raises(ValueError, match="at least 4"):
        classical_forms.three_parameter([5, 60, 180], [881, 480, 346])


# A record holder's bests (times from memory): 1500, 3000, 5000 m and with 10,000 m; speed form, computed.
def test_critical_speed_of_a_record_holder():
    t, d = np.array([211.76, 445.09, 759.36]), np.array([1500.0, 3000, 5000])
    made = classical_forms.work_time(t, d / t)
    assert (made.critical_power, made.w_prime) == (pytest.approx(6.38998, abs=1e-4), pytest.approx(150.149, abs=0.01))
    made = classical_forms.inverse_time(t, d / t)
    assert (made.critical_power, made.w_prime) == (pytest.approx(6.40249, abs=1e-4), pytest.approx(144.912, abs=0.01))
    longer = classical_forms.work_time(np.append(t, 1582.75), np.append(d, 10000) / np.append(t, 1582.75))
    assert (longer.critical_power, longer.w_prime) == (
        pytest.approx(6.18573, abs=1e-4),
        pytest.approx(237.313, abs=0.05),
    )


def test_the_posterior_agrees_with_the_forms_on_exact_efforts():
    made = critical.posterior([critical.Evidence("maximal", (t,), (p,)) for t, p in zip(T[1:5], P[1:5], strict=True)])
    cp, wp, _ = made.estimates()
    assert cp.low < 250 < cp.high
    assert cp.value == pytest.approx(250, rel=0.02)  # W′ of 80 s of CP is rare among runners: the prior draws a little
    assert wp.low < 20000 < wp.high


# Three efforts on a line do not pretend certainty: an assumed effort error of 2 % stays (our convention).
def test_an_exact_line_still_has_an_interval():
    cp, _, _ = critical.posterior(
        [critical.Evidence("maximal", (t,), (p,)) for t, p in zip(T[[1, 3, 4]], P[[1, 3, 4]], strict=True)]
    ).estimates()
    assert 0.03 * cp.value < cp.high - cp.low < 0.2 * cp.value


# Vanhatalo 2007: end power 287 ± 55 against CP 287 ± 56 in cycling; Hunter 2023 in running: 305 against 290 W.
def test_all_out_enters_with_hunters_bias():
    cp, _, _ = critical.posterior([critical.Evidence("all-out", (180.0,), (305.0,))]).estimates()
    assert cp.value == pytest.approx(290, rel=0.015)
    assert (cp.high - cp.low) / cp.value > 0.15


# Hunter 2023: CP from habitual bests 281 W where trials gave 290 W.
def test_habitual_bests_are_lifted_by_hunters_bias():
    durations = curve.stored_durations(720)
    best = 281 + 15_000 / durations
    runs = [efforts.Best(i, 1000 + 8 * i, "", False, durations, best, np.zeros(len(best), int)) for i in range(6)]
    told = CapacityDays(runs).on(1040)
    cp, _, _ = told.posterior.estimates()
    assert cp.low < 281 < 290 < cp.high and cp.value == pytest.approx(290, rel=0.04)


# Smyth & Muniz-Pumares 2020: marathon at 93.0 % of critical speed for 150 min finishers, 78.9 % for 360 min finishers.
@pytest.mark.parametrize(("minutes", "share"), [(150, 0.930), (360, 0.789)])
def test_marathon_fractions_lie_in_the_tails_prior(minutes, share):
    gamma = np.exp(np.log(endurance.TAIL_MEDIAN) + endurance.TAIL_LOG_SD * np.array([-1.96, 1.96]))
    ends = endurance.power_at(minutes * 60.0, 280.0, 15_000.0, gamma) / 280.0
    assert ends[1] < share < ends[0]


# Skiba: CP 250, W′ 20000; 120 s at 350 W, then 300 s at 100 W. Computed from both published forms.
def test_w_prime_balance_differential():
    found = reserve.balance(np.repeat([350.0, 100.0], [120, 300]), 250.0, 20_000.0)
    assert found[119] == pytest.approx(8000.0)
    assert found[-1] == pytest.approx(18735.21, abs=0.5)


def test_w_prime_balance_integral():
    found = reserve.balance_integral(np.repeat([350.0, 100.0], [120, 300]), 250.0, 20_000.0)
    assert found[119] == pytest.approx(9503.99, abs=1.0)
    assert found[-1] == pytest.approx(14710.12, abs=1.0)


# Skiba 2012 (constants from memory) and Bartram 2018 (abstract), computed.
def test_recovery_time_constants():
    np.testing.assert_allclose(
        reserve.recovery_time_constant([0, 50, 100, 150, 200]), [862, 647.17, 516.86, 437.83, 389.89], atol=0.01
    )
    np.testing.assert_allclose(
        reserve.recovery_time_constant([50, 100, 200], "bartram2018"), [155.03, 96.23, 59.73], atol=0.01
    )


def test_one_minute_at_cp_is_one_cp_minute():
    assert of_power(domains.histogram(np.full(60, 250.0)), 250.0, on_foot=False) == pytest.approx(1.0, rel=1e-3)


# Banister's weighting on power: an hour at 70 % of CP, 60 · 0.7 · e^(1.9 · -0.3) = 23.75 (computed).
def test_cp_minutes_of_easy_running():
    assert of_power(domains.histogram(np.full(3600, 175.0)), 250.0, on_foot=False) == pytest.approx(23.75, abs=0.02)
