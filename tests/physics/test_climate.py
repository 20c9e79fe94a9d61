"""The climate that stands in for weather nobody told."""

import datetime as dt

import numpy as np
import pytest

from footwork.physics import climate

YEAR = dt.date(2025, 12, 31).toordinal()


# Warmest and coldest month by day of cities on land (from memory, rounded): the zonal formula errs by about its SD.
@pytest.mark.parametrize(
    ("latitude", "july", "january"),
    [(52.5, 21, 2), (40.7, 27, 3), (30.0, 31, 16), (59.3, 20, -1), (-33.9, 15, 25), (0.0, 29, 29)],
)
def test_months_of_places(latitude, july, january):
    assert climate.usual_temperature(YEAR + 200, latitude) == pytest.approx(july, abs=2 * climate.PLACE_SD)
    assert climate.usual_temperature(YEAR + 15, latitude) == pytest.approx(january, abs=2 * climate.PLACE_SD + 2)


def test_the_zonal_formula():
    # P2(1/2) = -1/8 at 30 degrees: 14.9 + 3.5 = 18.4; half of 15.5 more on the warmest day, 6 by day.
    assert climate.usual_temperature(YEAR + climate.WARMEST_DAY, 30.0) == pytest.approx(18.4 + 7.75 + 6.0, abs=0.01)
    assert climate.usual_temperature(YEAR + climate.WARMEST_DAY, -30.0) == pytest.approx(
        18.4 - 0.6 * 7.75 + 6.0, abs=0.01
    )


def test_degrees_over_a_border_on_average():
    rng = np.random.default_rng(1)
    for mean in (0.0, 12.0, 20.0):
        drawn = np.maximum(rng.normal(mean, climate.DAY_SD, 400_000) - 12, 0).mean()
        assert climate.expected_over(12, mean) == pytest.approx(drawn, abs=0.02)
