"""Physics against papers, standards and an independent library's table. Each value names its source."""

import numpy as np
import pytest

from footwork.physics import air, cost, power


# Minetti et al. 2002, J Appl Physiol 93:1039, abstract: measured mean and SD of running and walking cost [J/kg/m].
# Walking on the level (1.64 ± 0.50) is left out: the published curve itself gives 2.5 there.
@pytest.mark.parametrize(
    ("model", "grade", "mean", "sd"),
    [
        (cost.running_cost, 0.0, 3.40, 0.24),
        (cost.running_cost, 0.45, 18.93, 1.74),
        (cost.running_cost, -0.20, 1.73, 0.36),
        (cost.running_cost, -0.45, 3.92, 0.81),
        (cost.walking_cost, 0.45, 17.33, 1.11),
        (cost.walking_cost, -0.10, 0.81, 0.37),
        (cost.walking_cost, -0.45, 3.46, 0.95),
    ],
)
def test_costs_lie_within_one_sd_of_minettis_measurements(model, grade, mean, sd):
    assert abs(model(grade) - mean) <= sd


# Values of the published polynomials (coefficients from memory), computed once by hand.
def test_polynomials():
    grades = [-0.45, -0.30, -0.20, -0.10, -0.05, 0, 0.05, 0.10, 0.15, 0.20, 0.30, 0.45]
    run = [4.0323, 2.4622, 1.8000, 2.1517, 2.7459, 3.6, 4.6852, 5.9682, 7.4170, 9.0067, 12.5793, 19.4260]
    walk = [3.6051, 2.2075, 1.0867, 1.1271, 1.6589, 2.5, 3.5999, 4.8991, 6.3401, 7.8774, 11.1835, 17.6003]
    np.testing.assert_allclose(cost.running_cost(grades), run, atol=6e-5)
    np.testing.assert_allclose(cost.walking_cost(grades), walk, atol=6e-5)


def test_cost_is_never_extrapolated():
    assert cost.running_cost(0.9) == cost.running_cost(0.45)


# Minetti et al. 1994, J Exp Biol 195:211: the cheapest running slope is -10.6 ± 0.5 %; the 2002 curve puts its minimum
# lower.
def test_cheapest_slope_of_the_curve():
    grid = np.linspace(-0.45, 0.45, 90001)
    assert grid[np.argmin(cost.running_cost(grid))] == pytest.approx(-0.18135, abs=1e-4)
    assert grid[np.argmin(cost.walking_cost(grid))] == pytest.approx(-0.15253, abs=1e-4)


# ACSM equations: 93.8 m/min walking at 10 % -> 29.76 (published lecture example); 8 MET level running -> 122.5 m/min
# (published example); 200 m/min at 5 % -> 52.5 (computed from the equation).
def test_acsm():
    assert cost.oxygen_uptake(93.8 / 60, 0.10, "walk") == pytest.approx(29.76, abs=0.01)
    assert cost.oxygen_uptake(122.5 / 60) == pytest.approx(28.0, abs=1e-6)
    assert cost.oxygen_uptake(200 / 60, 0.05) == pytest.approx(52.5)


# Computed from the drag equation with ρ 1.225, CdA 0.45.
def test_drag_force():
    assert air.drag_force(5.0, 0.0, 1.225, 0.45) == pytest.approx(6.891, abs=1e-3)
    assert air.drag_force(10.0, 0.0, 1.225, 0.45) == pytest.approx(27.56, abs=5e-3)
    assert air.drag_force(3.0, -5.0, 1.225, 0.45) < 0


# Pugh 1970, J Physiol 207:823: still-air cost about 8 % of the total at 6 m/s. With Pugh's own drag area (0.48 m² times
# Cd 0.9, areas from memory), a runner of 65 kg, gross cost 4 J/kg/m and mechanical efficiency 0.25 of drag work.
def test_pugh_still_air_share():
    drag = float(air.drag_force(6.0, 0.0, 1.205, 0.48 * 0.9)) * 6.0
    metabolic = 4.0 * 65 * 6.0
    assert drag / 0.40 / (metabolic + drag / 0.40) == pytest.approx(0.08, abs=0.03)


# Pugh 1971, J Physiol 213:255: at 4.45 m/s an 18.5 m/s wind raised a 65 kg runner's oxygen uptake from 3.0 to 5.0
# l/min. At 20.9 J/ml that is 697 W; the force of that wind on Pugh's drag area does work at 4.45 m/s with efficiency
# near 0.6.
def test_pugh_wind():
    extra_metabolic = (5.0 - 3.0) * 1000 / 60 * 20.9
    work = (
        float(air.drag_force(4.45, 18.5 - 4.45, 1.205, 0.48 * 0.9) - air.drag_force(4.45, 0.0, 1.205, 0.48 * 0.9))
        * 4.45
    )
    assert 0.3 < work / extra_metabolic < 0.75


# Davies 1980, J Appl Physiol 48:702: in still air the air took 7.8 % of energy at 10 m/s, 4 % at 6 m/s, 2 % at 5 m/s.
# His own drag area is not known to us, so drag area over efficiency is set from the fastest speed (0.365 m², gross cost
# 4 J/kg/m); the square of speed must then give the others within his scatter.
def test_davies_shares():
    def share(speed):
        force = float(air.drag_force(speed, 0.0, 1.205, 0.365))
        return force / (4.0 * 65 + force)

    assert share(6.0) == pytest.approx(0.04, abs=0.012)
    assert share(5.0) == pytest.approx(0.02, abs=0.002)


# da Silva, Kram & Hoogkamer 2022: +6.13 % per 1 % of body weight.
def test_air_factor_is_six_percent_per_percent_of_body_weight():
    mass = 70.0
    speed = np.sqrt(0.01 * mass * air.GRAVITY / (0.5 * 1.225 * air.drag_area(mass)))
    assert power.air_factor(speed, mass) == pytest.approx(0.0613, rel=1e-9)


# Columns: t [°C], p [Pa], humidity, an independent real-gas library (CoolProp), CIPM-2007 (Picard et al. 2008), kg/m³.
@pytest.mark.parametrize(
    ("t", "p", "h", "real_gas", "cipm"),
    [
        (20, 101325, 0.5, 1.199359, 1.199314),
        (15, 101325, 0.0, 1.225567, 1.225521),
        (30, 95000, 0.4, 1.084666, 1.084627),
        (0, 101325, 0.8, 1.290743, 1.290696),
        (35, 101325, 0.6, 1.131424, 1.131382),
    ],
)
def test_air_density(t, p, h, real_gas, cipm):
    assert air.density(t, p, h) == pytest.approx(real_gas, rel=1e-3)
    assert air.density(t, p, h) == pytest.approx(cipm, rel=2e-5)


# ISO 2533 standard atmosphere: computed from the standard's formula, and tabled pressures and density ratios as
# printed.
def test_standard_atmosphere():
    np.testing.assert_allclose(
        air.standard_pressure([0, 500, 1000, 2000, 3000]), [101325, 95460.8, 89874.6, 79495.2, 70108.5], atol=0.1
    )
    np.testing.assert_allclose(
        air.standard_density([0, 500, 1000, 2000, 3000]), [1.22500, 1.16727, 1.11164, 1.00649, 0.90912], atol=1e-5
    )
    np.testing.assert_allclose(
        air.standard_pressure([500, 1000, 2000, 3000]) / 1e5, [0.9546, 0.8988, 0.7950, 0.7012], atol=2e-4
    )
    np.testing.assert_allclose(
        air.standard_density([500, 1000, 2000, 3000]) / 1.225, [0.9529, 0.9075, 0.8217, 0.7423], atol=3e-4
    )


# The Australian meteorological service's approximation, as a weather centre's Python library returns it.
def test_wet_bulb_globe_temperature():
    found = air.wet_bulb_globe_temperature([20, 25, 30, 30, 35], [0.5, 0.6, 0.5, 0.8, 0.4])
    np.testing.assert_allclose(found, [19.8629, 25.5623, 29.2594, 34.2451, 32.5908], atol=1e-3)


# The logarithmic profile with z0 = 0.03 m: ln(2/0.03)/ln(10/0.03) = 0.723 at 2 m (textbook formula, computed).
def test_wind_profile():
    assert air.wind_at_height(10.0, 2.0) == pytest.approx(7.2297, abs=1e-3)


# Flat sensor watts per mass and speed come out near 0.98 to 1.05 J/kg/m in published data (from memory).
def test_modelled_power_is_in_the_published_range():
    for speed in (2.5, 3.5, 4.5):
        assert 0.98 <= power.running_power(speed, 70.0) / (70.0 * speed) <= 1.07


@pytest.mark.parametrize("grade", [-0.2, -0.05, 0.0, 0.08, 0.3])
@pytest.mark.parametrize("wind", [-6.0, 0.0, 6.0])
def test_speed_inverts_power(grade, wind):
    watts = power.running_power(3.3, 64.0, grade, wind)
    if watts > 0:
        assert power.running_speed(watts, 64.0, grade, wind) == pytest.approx(3.3, abs=1e-4)
