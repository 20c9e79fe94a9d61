"""Numbers that the models rest on: none changes unseen, and those from the literature stand as printed."""

import math
import sys
from pathlib import Path

import pytest

from footwork.physics import cost

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "docs"))
import constants  # noqa: E402


def test_no_number_changes_unseen():
    assert (ROOT / "docs" / "constants.md").read_text(encoding="utf-8") == constants.text()


def test_the_cost_of_slopes_is_the_published_one():
    # Minetti et al. 2002, J Appl Physiol 93:1039: measured 18.93 +- 1.74 at +0.45, 1.73 +- 0.36 at -0.20, 3.92 +- 0.81
    # at -0.45 J/kg/m running; 17.33 +- 1.11 at +0.45 walking. The polynomials lie within one SD.
    for grade, mean, sd in ((0.45, 18.93, 1.74), (-0.20, 1.73, 0.36), (-0.45, 3.92, 0.81)):
        assert abs(float(cost.running_cost(grade)) - mean) < sd
    assert math.isclose(float(cost.walking_cost(0.45)), 17.6003, abs_tol=5e-5)
    assert float(cost.walking_cost(0.45)) == pytest.approx(17.33, abs=1.11)
