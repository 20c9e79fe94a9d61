"""The race engine against published prediction laws and tables."""

import numpy as np
import pytest
from scipy.special import lambertw

from footwork.api import Library
from footwork.physiology.endurance import power_at, tail_start
from footwork.planning import course, even_power
from footwork.quantities import parse_duration


# Emig & Peltonen 2020, Nat Commun 11:4936: v = v_m(1 - γ ln(T/t_c)), closed form by Lambert's W; v_m 5, γ 0.06, t_c 360
# s gives these times (computed); the engine's tail is the same law with t_c at T* and must agree with the closed form
# there.
def closed_form(distance, v_m, gamma, t_c):
    x = -(distance / (gamma * v_m * t_c)) * np.exp(-1 / gamma)
    return float(np.real(-(distance / (gamma * v_m)) / lambertw(x, -1)))


@pytest.mark.parametrize(
    ("distance", "time"), [(5000, 1069.924), (10000, 2246.866), (21097.5, 5011.286), (42195, 10586.804)]
)
def test_closed_form_itself(distance, time):
    assert closed_form(distance, 5.0, 0.06, 360.0) == pytest.approx(time, abs=0.01)


@pytest.mark.parametrize("distance", [5000.0, 10_000.0, 21_097.5, 42_195.0])
def test_the_engine_solves_the_logarithmic_law(distance):
    cp, wp, gamma, joules_per_metre = 280.0, 12_000.0, 0.06, 70.0
    t_star, p_star, slope = (float(v) for v in tail_start(cp, wp, gamma))
    table = even_power.tabulate(course.flat_course(distance), lambda v: joules_per_metre * v, None, cp)
    power, time = even_power.sustainable(table, np.array([cp]), np.array([wp]), np.array([gamma]))
    wanted = closed_form(distance, p_star / joules_per_metre, slope, t_star)
    assert wanted > t_star
    assert time[0] == pytest.approx(wanted, rel=2e-4)
    assert power[0] == pytest.approx(power_at(time, cp, wp, gamma)[0], rel=1e-6)


# Daniels & Gilbert 1979: the oxygen cost and drop-dead formulas, from memory; the printed row of index 38 is a
# published table.
PRINTED_38 = {
    1500: "6:54",
    1609.344: "7:27",
    3000: "14:41",
    5000: "25:12",
    10_000: "52:17",
    15_000: "1:20:33",
    21_097.5: "1:55:55",
    42_195: "3:59:35",
}


def index(distance, time):
    v, t = distance / time * 60, time / 60
    uptake = -4.60 + 0.182258 * v + 0.000104 * v**2
    share = 0.8 + 0.1894393 * np.exp(-0.012778 * t) + 0.2989558 * np.exp(-0.1932605 * t)
    return uptake / share


def time_for(distance, wanted):
    low, high = distance / 9.0, distance / 1.2
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if index(distance, middle) > wanted else (low, middle)
    return 0.5 * (low + high)


@pytest.mark.parametrize(("distance", "printed"), PRINTED_38.items())
def test_the_tables_row_within_its_rounding(distance, printed):
    assert time_for(distance, 38.0) == pytest.approx(parse_duration(printed), rel=0.0015)


def test_published_index_examples():  # 10 km 40:00 and 5 km 24:34, as several pages print them
    assert index(10_000, 2400) == pytest.approx(51.94408, abs=1e-4)
    assert index(5000, 1474) == pytest.approx(39.11040, abs=1e-4)


@pytest.fixture(scope="module")
def empty():
    with Library.from_nothing() as library:
        yield library


# From 3,000 m, 5,000 m and 10,000 m of the row, the half marathon's printed time lies in our interval and near its
# middle, and the marathon's in the interval: the table is a population's mean, our tail is only a prior there.
def test_our_plan_for_the_rows_runner(empty):
    stated = [f"3000m={PRINTED_38[3000]}", f"5km={PRINTED_38[5000]}", f"10km={PRINTED_38[10_000]}"]
    half = empty.race(distance=21_097.5, efforts=tuple(stated), mass=70.0).best_time
    marathon = empty.race(distance=42_195.0, efforts=tuple(stated), mass=70.0).best_time
    assert half.low < parse_duration(PRINTED_38[21_097.5]) < half.high
    assert half.value == pytest.approx(parse_duration(PRINTED_38[21_097.5]), rel=0.03)
    assert marathon.low < parse_duration(PRINTED_38[42_195]) < marathon.high


# Riegel 1981, Am Sci 69:285: T2 = T1 (D2/D1)^1.06; 5 km in 20:00 -> 10 km in 41:41.92, 10 km in 40:00 -> marathon
# 184.008 min.
def test_riegels_examples_lie_in_our_intervals(empty):
    assert 1200 * 2**1.06 == pytest.approx(2501.92, abs=0.01)
    ten = empty.race(distance=10_000.0, efforts=("5km=20:00",), mass=70.0).best_time
    assert ten.low < 2501.92 < ten.high
    assert ten.value == pytest.approx(2501.92, rel=0.025)
    marathon = empty.race(distance=42_195.0, efforts=("10km=40:00",), mass=70.0).best_time
    assert marathon.low < 184.008 * 60 < marathon.high


# Tables of the published altitude curves: Bassett 1999 acclimatised and (from memory) unacclimatised, percent of sea
# level.
def test_altitude_curves():
    from footwork.planning.conditions import altitude_capacity

    np.testing.assert_allclose(100 * altitude_capacity([1000, 2000, 3000], True), [96.88, 91.62, 84.12], atol=0.01)
    np.testing.assert_allclose(100 * altitude_capacity([1000, 2000, 3000], False), [94.68, 87.56, 79.73], atol=0.01)


# Mantzios 2022: best at 10 to 17.5 °C WBGT, then 0.3 to 0.4 % a degree. Ely 2007: men's top three slowed by 1.7 ± 1.5,
# 2.5 ± 2.1, 3.3 ± 2.0 and 4.5 ± 2.3 % in bands centred on 7.5 to 22.5 °C, here as differences to the coolest.
def test_heat_is_neutral_when_cool_and_costs_a_third_of_a_percent_a_degree_when_warm():
    from footwork.planning.conditions import heat_slowing

    assert heat_slowing(8.0, 5400.0)[0] < 0.0005 and heat_slowing(12.0, 5400.0)[0] < 0.002
    for warm in (18.0, 22.0, 27.0):
        degree = heat_slowing(warm + 1, 9000.0)[0] - heat_slowing(warm, 9000.0)[0]
        assert 0.003 <= degree <= 0.004
    for wbgt, slower, sd in ((12.5, 0.008, 0.021), (17.5, 0.016, 0.020), (22.5, 0.028, 0.023)):
        assert abs(heat_slowing(wbgt, 8100.0, 7.5)[0] - slower) < 0.5 * sd
    # About 4.6 % for a half at 28 °C against 8 °C (our reckoning from Mantzios); evidence as warm leaves nothing.
    assert heat_slowing(28.0, 5400.0, 8.0)[0] == pytest.approx(0.046, abs=0.002)
    assert heat_slowing(28.0, 5400.0, 28.0) == (0.0, 0.0) and heat_slowing(10.0, 5400.0, 25.0)[0] < -0.03
    assert heat_slowing(28.0, 1800.0)[0] == pytest.approx(heat_slowing(28.0, 3600.0)[0] / 2)


# da Silva 2022: 6.13 % of flat power for a drag of 1 % of body weight; 70 kg, 0.40 m², 3.7 m/s, air 1.225 kg/m³:
# ½·1.225·0.4·3.7·(√(3.7² + c²) - 3.7) N over 686.5 N.
def test_a_crosswind_costs():
    from footwork.physics import air
    from footwork.physics.power import weather_factor

    assert air.drag_force(3.7, 0.0, 1.225, 0.40, 5.0) == pytest.approx(0.5 * 1.225 * 0.4 * 3.7 * 38.69**0.5, rel=1e-4)
    assert air.drag_force(3.7, 0.0, 1.225, 0.40, -5.0) == air.drag_force(3.7, 0.0, 1.225, 0.40, 5.0)
    at_runner = float(weather_factor(3.7, 70.0, 0.0, 1.225, 1.0, 5.0))
    above = float(weather_factor(3.7, 70.0, 0.0, 1.225, 1.0, float(air.wind_at_height(5.0))))
    assert at_runner == pytest.approx(0.020, abs=0.001) and above == pytest.approx(0.0095, abs=0.0007)
    # With the wind along the path nothing changes: (v + w)|v + w|.
    assert air.drag_force(3.0, -5.0, 1.2, 0.4) == pytest.approx(-0.5 * 1.2 * 0.4 * 4.0)


def test_altitude_starts_smoothly_and_residents_lose_by_their_own_curve():
    from footwork.planning.conditions import altitude_capacity, capacity_factors

    def middle(race, home):
        return float(np.median(capacity_factors(None, race, home, 5400.0, 4000)))

    assert middle(300.0, 300.0) == 1.0
    steps = [middle(300.0 + h, 300.0) for h in (20, 60, 99, 101, 140)]
    assert steps == sorted(steps, reverse=True) and np.abs(np.diff(steps)).max() < 0.002
    own = float(altitude_capacity(2000.0, True) / altitude_capacity(1700.0, True))
    assert middle(2000.0, 1700.0) == pytest.approx(own) and middle(2000.0, 0.0) < middle(2000.0, 1700.0)
