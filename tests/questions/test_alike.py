"""The part of a season in which it was about as warm, to ask of it alone where heat came with the change."""

import datetime as dt

import numpy as np
import pytest

from footwork.analysis.response import RunRows
from footwork.analysis.settled import Sky
from footwork.analysis.summary import BLOCK_COLUMNS
from footwork.questions.progress.circumstances import alike_since

FIRST = dt.date(2026, 7, 1)


def runs(temperatures, every=4):
    """A run every four days, each so warm [°C]; None where it is not known."""
    nothing = np.zeros((0, len(BLOCK_COLUMNS)))
    skies = [Sky() if t is None else Sky(temperature=t) for t in temperatures]
    return [RunRows(FIRST.toordinal() + every * k, nothing, sky=sky) for k, sky in enumerate(skies)]


SUMMER, AUTUMN = [26.0, 24.0, 22.0, 19.0], [15.0, 14.0, 9.0, 4.0] * 4


@pytest.mark.parametrize(
    ("temperatures", "begins"),
    [
        (SUMMER + AUTUMN, 4),  # 15 °C is three over twelve, and below twelve all are alike
        ([*SUMMER[:3], 15.1, *AUTUMN], 4),
        (AUTUMN, None),  # all are
        (SUMMER + AUTUMN[:11], None),  # eleven runs
        (SUMMER + AUTUMN[:12], 4),
        ([*SUMMER, None, *AUTUMN], None),  # nothing known of one, without a place
        (AUTUMN + SUMMER, None),  # the warm ones come last
        ([], None),
    ],
)
def test_by_warmth_alone(temperatures, begins):
    found = alike_since(runs(temperatures)[::-1])
    assert found == (None if begins is None else FIRST + dt.timedelta(days=4 * begins))


def test_six_weeks_at_least():
    assert alike_since(runs(SUMMER + AUTUMN, every=2)) is None  # 15 times two days
    assert alike_since(runs(SUMMER + AUTUMN, every=3)) == FIRST + dt.timedelta(days=12)  # 45
