"""The one sentence on two devices says no more than the pair carries."""

import numpy as np
import pytest

from footwork.analysis import pairing
from footwork.quantities import Estimate
from footwork.wording.device_words import agreement_verdict


def estimate(value, half, unit="W"):
    return Estimate(value, value - half, value + half, unit, 100, "agreement")


def found(slope, half, bias=0.5, intensity=()):
    rows = {
        "bias": estimate(bias, 1.0),
        "deming": {"slope": estimate(slope, half, ""), "intercept": estimate(250 * (1 - slope), 250 * half)},
        "typical_error": estimate(4.0, 0.5),
    }
    splits = [
        {"part": part, "bias": estimate(b, h), "bias_share": estimate(b / 2.5, h / 2.5, "%")}
        for part, b, h in intensity
    ]
    return {
        "power": {"first_mean": 250.0, **rows},
        "levels": {"30 s": {"power": rows}},
        "splits": {"intensity": splits} if splits else {},
        "reasons": {},
    }


@pytest.mark.parametrize(
    ("made", "begins"),
    [
        (found(1.01, 0.05), "The same within error: the second shows"),
        (found(1.7, 1.41), "The same at 250 W, the second shows"),  # a slope of 0.29 to 3.11 tells of no other watts
        (found(1.02, 0.3), "The same at 250 W"),
        (found(0.9, 0.15), "The same at 250 W"),  # flatter than a tenth is no other than steeper
        (found(0.95, 0.09, intensity=[("over 278 W", -9.6, 3.0)]), "The same on the whole, the second shows"),
    ],
)
def test_the_same_only_as_far_as_the_line_tells(made, begins):
    said = agreement_verdict(made)
    assert said.startswith(begins)
    assert ("other intensities are not told" in said) == ("at 250 W" in begins)
    assert ("-9.6 W over 278 W" in said) == bool(made["splits"])


@pytest.mark.parametrize("slow", [0.0, 4.0])
def test_a_lag_holds_what_quick_and_slow_changes_say(slow):
    rng = np.random.default_rng(3)
    n = 3000
    drive = np.repeat(rng.uniform(180, 320, n // 30), 30) + rng.normal(0, 5, n)
    late = np.roll(drive, 2)
    if slow:
        for i in range(1, n):
            late[i] = late[i - 1] + (late[i] - late[i - 1]) / slow
    lag = pairing.lag_between(drive, late + rng.normal(0, 5, n), "power").lag
    # A first-order lag of four seconds moves slow changes by its mean delay, three seconds at 1 Hz.
    assert lag.low <= 2.0 + max(slow - 1, 0.0) <= lag.high
    assert lag.high - lag.low < 4
