"""Numbers and branches that once changed unseen when every formula was changed at random (docs/mutants.md)."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import t

from footwork.analysis import check, cleaning, intervals, trial_statistics
from footwork.analysis.summary import BLOCK_COLUMNS
from footwork.physics.terrain import EARTH_RADIUS_M
from footwork.quantities import Estimate
from footwork.questions.progress import circumstances
from footwork.questions.race import after_ride, course_laid, race_review
from footwork.questions.squad.side_by_side import _ratio
from footwork.questions.trials import trial_effects
from footwork.signals import Recording


def test_the_lowest_point_of_a_cadence_curve_is_the_vertex_of_its_parabola():
    rng = np.random.default_rng(1)
    cadence, groups = np.tile([160.0, 166, 172, 178, 184], 3), np.repeat([0, 1, 2], 5)
    hours = np.tile(rng.permutation(5) / 10, 3)
    rate = 150 + 0.05 * (cadence - 170) ** 2 + rng.normal(0, 0.1, 15)
    found, _ = trial_statistics.optimum(cadence, rate, groups, hours)
    assert found.value == pytest.approx(170, abs=0.3) and found.low < 170 < found.high


def positions(steps):
    """Degrees along a meridian for steps in metres."""
    return np.degrees(np.cumsum(steps) / EARTH_RADIUS_M)


def test_a_leap_of_the_satellite_fix_is_not_distance_run():
    steps = np.full(300, 3.0)
    steps[0], steps[150] = 0.0, 900.0
    columns = {
        "time": 1_770_000_000 + np.arange(300.0),
        "latitude": positions(steps),
        "longitude": np.zeros(300),
        "power": np.full(300, 220.0),
    }
    signals, _ = cleaning.clean(Recording("running", columns))
    assert np.nanmax(signals.get("distance")) == pytest.approx(3.0 * 298, rel=0.002)


@pytest.mark.parametrize(("told", "metres"), [(1.0, 1200.0), (0.5, 1000.0)])
def test_a_track_goes_by_the_devices_own_distance_where_that_is_known_nearly_always(told, metres):
    n = 101
    steps = np.full(n, 10.0)
    steps[0] = 0.0
    own = 12.0 * np.arange(n)
    own[int(told * n) :] = np.nan
    found = course_laid.track_of({"latitude": positions(steps), "longitude": np.zeros(n), "distance": own})
    assert found.distance[-1] == pytest.approx(metres, rel=0.001)


def test_the_log_of_predictions_tells_its_mean_error_by_students_t():
    errors = np.array([1.0, 2.0, -1.0, 3.0, 0.5, 1.5])
    found = race_review._error(errors)
    half = t.ppf(0.975, 5) * errors.std(ddof=1) / 6**0.5
    assert (found.low, found.value, found.high) == pytest.approx((7 / 6 - half, 7 / 6, 7 / 6 + half))
    assert race_review._error(errors[:1]).value is None


def test_a_ride_says_what_it_takes_in_per_cent():
    effect = after_ride.Effect((np.log(0.95), 0.02), (np.log(1.03), 0.01), 3, 2, after_ride.Ride(4200.0))
    assert "about 5 % less" in effect.sentence and "the same speed took +3.0 % watts" in effect.sentence
    # 95 % of 0.95 e^(0.02 z): 1.2 to 8.6 % less.
    assert "After the ride of 1:10:00" in effect.sentence and "(1 to 9 %)" in effect.sentence
    unseen = after_ride.Effect((np.log(0.95), 0.02), (0.0, 0.01), 0, 0, after_ride.Ride(4200.0))
    assert "of yours" not in unseen.sentence


def test_a_change_next_to_a_stop_is_the_stop():
    standing = np.zeros(600, bool)
    standing[300:400] = True
    edges = intervals._with_stops([100, 300 - 2 * intervals.BIN_S, 300 - 3 * intervals.BIN_S], standing, 600)
    assert edges == sorted({0, 100, 300 - 3 * intervals.BIN_S, 300, 400, 600})


def test_one_speed_alone_tells_no_line():
    speeds, watts = np.full((2, 3), 3.0), np.array([[200.0, 210, 220], [201, 211, 221]])
    assert {e.reason for e in check._linearity(speeds, watts)} == {"speed is not known"}
    speeds = np.tile([2.5, 3.0, 3.5], (2, 1))
    slope, intercept, _ = check._linearity(speeds, 60 * speeds)
    assert (slope.value, intercept.value) == pytest.approx((60, 0), abs=1e-6)


def test_two_sides_are_not_compared_before_they_were_run(season_library):
    runs = [r for r in season_library.runs() if r.power_scale]
    later, earlier = runs[0], runs[-1]
    before = later.local.date() - dt.timedelta(days=1)
    with pytest.raises(Exception, match="was not yet run"):
        season_library.compare_runs(str(earlier.id), str(later.id), date=before)


def test_shares_of_two_estimates_hold_the_errors_of_both():
    one, other = (Estimate(v, v / 1.1, v * 1.1, "W", 5, "m") for v in (300.0, 60.0))
    found = _ratio(one, other, "W/kg", 1.0)
    assert found.value == pytest.approx(5.0) and found.high / found.value == pytest.approx(1.1 ** (2**0.5))
    assert found.value / found.low == pytest.approx(found.high / found.value)
    nothing = Estimate.withheld("W", "m", "no test")
    assert _ratio(nothing, other, "", 1.0).reason == "no test"


@pytest.mark.parametrize(
    ("name", "least"),
    [
        ("temperature", 3.0),
        ("wind", 2.0),
        ("sleep", 0.7),
        ("climbing", 8.0),
        ("duration", 15.0),
        ("hour of the day", 3.0),
    ],
)
def test_what_was_not_the_same_is_told_from_its_least_difference_on(monkeypatch, name, least):
    monkeypatch.setattr(circumstances, "_hour", lambda _, run: run)
    monkeypatch.setattr(circumstances.entries, "told", lambda _: {})

    def side(more):
        of = dict.fromkeys(("temperature", "wind", "sleep", "climbing", "duration", "hour of the day"), 8.0)
        of[name] += more
        block = np.full((10, len(BLOCK_COLUMNS)), np.nan)
        block[:, BLOCK_COLUMNS.index("grade")] = of["climbing"] / 1000
        sky = SimpleNamespace(temperature=of["temperature"], wind=of["wind"])
        run = SimpleNamespace(run=of["hour of the day"], sky=sky, blocks=block, duration_s=60 * of["duration"])
        return [(run, SimpleNamespace(sleep=of["sleep"], ill=False))]

    for more, told in ((0.98 * least, False), (1.02 * least, True)):
        found = circumstances.conditions(None, side(0.0), side(more))
        assert any(line.startswith(f"{name}:") for line in found) == told
        assert len(found) == told


def test_what_moved_heart_rate_between_a_trials_runs_is_said(monkeypatch):
    row = SimpleNamespace(local=dt.datetime(2026, 4, 1, 8))
    monkeypatch.setattr(trial_effects.entries, "library_row", lambda *_: row)
    moved = SimpleNamespace(moved_within=lambda *_: True, physician_decides=lambda _: False, told=True)
    trial = {"joined": [{"run": 1}], "outcome": "heart_rate"}
    (said,) = trial_effects._heart_moved(SimpleNamespace(context=lambda: moved), trial)
    assert "ask by exertion too, and your physician" in said
    still = SimpleNamespace(**{**vars(moved), "moved_within": lambda *_: False})
    for context, of in ((still, trial), (moved, {**trial, "outcome": "exertion"}), (moved, {**trial, "joined": []})):
        assert trial_effects._heart_moved(SimpleNamespace(context=lambda c=context: c), of) == []


def test_a_cadence_curve_needs_two_runs_and_six_blocks():
    blocks = [
        {"cadence": c, "heart_rate": 150 + 0.05 * (c - 170) ** 2 + 0.01 * k, "speed": 3.0, "run": run, "hours": 0.1 * k}
        for run in (1, 2)
        for k, c in enumerate((160.0, 165.0, 170.0, 176.0, 182.0))
    ]
    found = trial_effects._cadence({}, blocks, "heart_rate", 0.0)
    assert found["optimum"].value == pytest.approx(170, abs=1.0) and len(found["points"]) == 10
    for few in (blocks[:5], [*blocks[:3], *blocks[5:7]]):
        assert (
            "two runs with cadence and six blocks"
            in trial_effects._cadence({}, few, "heart_rate", 0.0)["optimum"].reason
        )
