"""Heart rate at power: the first-order response, the weekly level against a state-space library, decisions and their
bounds."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.signal import lfilter
from scipy.stats import t as t_dist

from footwork.analysis import form, response, worthwhile
from footwork.analysis.summary import AT, BLOCK_COLUMNS
from footwork.analysis.usual_watts import Sky
from footwork.errors import NotEnoughData
from tests import seasons


def test_answered_power_is_the_first_order_response():
    power = np.repeat([150.0, 250.0, 180.0, 300.0], 5)
    x, since = response.answered(power, 60.0 * np.arange(20), (40.0, 40.0), 1e9)
    # The same by a recursive filter at every hundredth of a second, from the same beginning.
    fine = np.repeat(power, 6000)
    keep = np.exp(-0.01 / 40.0)
    slow = lfilter([0.0, 1 - keep], [1, -keep], fine, zi=[0.5 * 150.0])[0]
    np.testing.assert_allclose(x, slow.reshape(20, 6000).mean(axis=1), rtol=2e-3)
    assert since[3] == 180.0
    _, since = response.answered(
        power, np.concatenate([60.0 * np.arange(10), 900 + 60.0 * np.arange(10)]), (40.0, 40.0), 1e9
    )
    assert since[10] == 0.0  # a gap begins anew


# A local level model against statsmodels' UnobservedComponents, on the Nile's yearly flow that it ships; knots a week
# apart stand for years.
def test_weekly_levels_are_the_reference_librarys_smoothed_states():
    flow = sm.datasets.nile.load_pandas().data["volume"].to_numpy(dtype=float)
    y = (flow - flow.mean()) / 20 + 150
    noise, walk = 6.0, 2.0
    n, p = len(y), len(response.COLUMNS)
    zeros = np.zeros((n, p, p))
    zeros[:, 0, 0] = 1.0
    xz, zz, xy, zy = np.zeros((n, p, 2)), np.zeros((n, 2, 2)), np.zeros((n, p)), np.zeros((n, 2))
    xz[:, 0, 0], zz[:, 0, 0], xy[:, 0], zy[:, 0] = 1.0, 1.0, y, y
    prepared = response.Prepared(
        [response.RunRows(0, np.zeros((0, len(BLOCK_COLUMNS))))] * n,
        [],
        200.0,
        250.0,
        (40.0, 40.0),
        7.0 * np.arange(n),
        zeros,
        xz,
        zz,
        xy,
        zy,
        y**2,
        np.ones(n),
        0.01,
        1.0,
        150.0,
        250.0,
        0.0,
        0.0,
    )
    made = response.fit(prepared, held=(noise, 1.0, walk))
    model = sm.tsa.UnobservedComponents(y, "local level")
    theirs = model.smooth([noise**2 + 0.01**2, walk**2])
    level, sd = theirs.smoothed_state[0], np.sqrt(theirs.smoothed_state_cov[0, 0])
    # Robust weights leave out what lies far out: without any the two agree to the digits of the priors.
    system = response._System(prepared, n)
    mean, covariance, _, _ = system.posterior(np.log([noise, 1.0, walk]), np.ones(n))
    np.testing.assert_allclose(mean[p - 1 :], level, atol=0.05)
    np.testing.assert_allclose(np.sqrt(np.diag(covariance))[p - 1 :], sd, rtol=0.01)
    assert len(made.knots) == n


# Pocock's constants for a two-sided 5 %: 1.960, 2.178, 2.289, 2.361, 2.413 for 1 to 5 looks, 2.555 for 10, 2.672 for 20
# (Pocock 1977 and tables after him, from memory).
@pytest.mark.parametrize(
    ("looks", "constant"), [(1, 1.960), (2, 2.178), (3, 2.289), (4, 2.361), (5, 2.413), (10, 2.555), (20, 2.672)]
)
def test_looking_often_asks_for_more(looks, constant):
    assert worthwhile.boundary(looks) == pytest.approx(constant, abs=0.002)


def test_decisions():
    assert worthwhile.decide(3.0, 1.0, 0.5).word == "improved" and worthwhile.decide(-3.0, 1.0, 0.5).word == "worse"
    assert worthwhile.decide(3.0, 1.0, 0.5, looks=20).word == "cannot tell yet"
    assert worthwhile.decide(-3.0, 0.4, 0.5, higher_is_better=False, outcomes=3).word == "improved"
    assert worthwhile.decide(0.05, 0.2, 0.5).word == "no worthwhile change"
    assert worthwhile.decide(2.5, 1.0, 0.5, freedom=2).word == "cannot tell yet"  # two degrees of freedom tell less
    v = worthwhile.decide(1.0, 1.0, 0.5)
    assert v.better + v.worse + v.trivial == pytest.approx(1) and v.needed == pytest.approx(0.975)
    assert (
        worthwhile.more_runs(1.0, 1.0, 0.5, 30) is None and worthwhile.more_runs(2.0, 1.0, 0.5, 30, fixed=0.9) is None
    )
    assert 0 < worthwhile.more_runs(2.0, 1.0, 0.5, 30) < 60


def test_a_season_tells_gain_drift_heat_and_time_constants():
    rng = np.random.default_rng(6)
    runs, border = seasons.season(rng, 0.03, weeks=24)
    model = response.fit(response.prepare(runs, border))
    gains, why = response.gain(model, model.days[0], model.days[-1])
    low, high = np.percentile(gains, [2.5, 97.5])
    assert not why and low < 3.05 < high
    # Published time constants of heart rate in running: 38 to 132 s (Gielen 2024); published drift begins after ten
    # minutes (Wingo 2012): simulated 3 bpm an hour.
    assert all(20 <= t <= 132 for t in model.tau)
    drift = model.mean[response.C["drift"] - 1]
    assert 1.5 < drift < 5
    draws = model.draws([model.days[0]], model.rate(model.days[0])[0])
    assert np.median(draws) == pytest.approx(model.power, rel=0.01)


def test_a_new_run_filters_forward_with_variances_held():
    runs, border = seasons.season(np.random.default_rng(3), 0.0, weeks=10)
    prepared = response.prepare(runs, border)
    before = response.fit(prepared, len(runs) - 1)
    after = response.fit(prepared, held=(before.run_sd, before.drift_sd, before.walk))
    assert after.runs == before.runs + 1 and after.run_sd == before.run_sd
    assert after.rate(after.days[-1])[0] == pytest.approx(before.rate(before.days[-1])[0], abs=2)


def test_it_declines_with_the_reason():
    runs, border = seasons.season(np.random.default_rng(1), weeks=8)
    with pytest.raises(NotEnoughData, match="3 runs"):
        response.prepare(runs[:3], border)
    silent = [
        response.RunRows(r.day, np.where(np.arange(len(BLOCK_COLUMNS)) == AT["heart_rate"], np.nan, r.blocks))
        for r in runs
    ]
    with pytest.raises(NotEnoughData, match="no run has sound heart rate"):
        response.prepare(silent, border)
    steep = [
        response.RunRows(r.day, np.where(np.arange(len(BLOCK_COLUMNS)) == AT["grade"], 0.08, r.blocks)) for r in runs
    ]
    with pytest.raises(NotEnoughData, match="one hill"):
        response.prepare(steep, border)


def test_unknown_weather_over_a_season_is_withheld():
    rng = np.random.default_rng(12)
    runs, border = seasons.season(rng, 0.03, weeks=24)
    dark = [response.RunRows(r.day, r.blocks, ill=r.ill, sleep=r.sleep) for r in runs]
    model = response.fit(response.prepare(dark, border))
    _, why = response.gain(model, model.days[0], model.days[-1])
    assert "weather" in why


def test_form_is_told_at_one_speed():
    rng = np.random.default_rng(5)
    blocks = []
    for k in range(12):
        b = np.full((30, len(BLOCK_COLUMNS)), np.nan)
        v = rng.uniform(2.6, 3.6, 30)
        b[:, AT["speed"]], b[:, AT["grade"]], b[:, AT["cadence"]] = v, 0.0, 165 + 8 * (v - 3) + 0.2 * k
        blocks.append(b)
    found, at, slope = form.at_speed(blocks, "cadence", 3.0)
    np.testing.assert_allclose(found, 165 + 0.2 * np.arange(12), atol=1e-6)
    assert at == 3.0 and slope == pytest.approx(8)
    told = form.answer([(dt.date(2026, 3, 1) + dt.timedelta(weeks=k), b) for k, b in enumerate(blocks)])
    cadence = next(m for m in told["measures"] if m["name"] == "cadence")
    assert cadence["change"].value == pytest.approx(2.2, abs=1e-3) and "target" in told["sentence"]
    assert {m["name"] for m in told["measures"]} == {"cadence", "step_length"}


def test_a_runner_of_one_speed_gets_no_change_in_power():
    rng = np.random.default_rng(2)
    runs = []
    for k in range(40):
        b = np.full((40, len(BLOCK_COLUMNS)), np.nan)
        b[:, 0] = 60.0 * np.arange(40)
        b[:, AT["power"]], b[:, AT["speed"]], b[:, AT["grade"]] = 200 + rng.normal(0, 1, 40), 3.0, 0.0
        b[:, AT["heart_rate"]] = 145 + rng.normal(0, 1, 40) + rng.normal(0, 2)
        runs.append(response.RunRows(739_600 + 3 * k, b))
    model = response.fit(response.prepare(runs, 260.0))
    gains, why = response.gain(model, model.days[0], model.days[-1])
    assert why == response.ONE_POWER and np.isfinite(gains).all()


# Errors of the watts that the heart does not answer flatten the slope of even runs: what is taken out brings the truth
# back into reach.
@pytest.mark.parametrize("noise", [0.0, 0.01, 0.02])
def test_the_slope_of_even_runs_is_not_flattened(noise):
    rng = np.random.default_rng(6)
    runs = []
    for k in range(60):
        true = rng.uniform(180, 220) * np.ones(45) + np.cumsum(rng.normal(0, 1.2, 45))
        b = np.full((45, len(BLOCK_COLUMNS)), np.nan)
        b[:, 0] = 60.0 * np.arange(45)
        b[:, AT["power"]], b[:, AT["speed"]], b[:, AT["grade"]] = (
            true * (1 + noise * rng.standard_normal(45)),
            true / 68,
            0.0,
        )
        x, _ = response.answered(true, b[:, 0], (40.0, 40.0), 1e9)
        b[:, AT["heart_rate"]] = 145 + 0.35 * (x - 200) + rng.normal(0, 1, 45) + rng.normal(0, 2)
        runs.append(response.RunRows(739_600 + 2 * k, b))
    model = response.fit(response.prepare(runs, 260.0))
    slope, sd = model.mean[response.C["power"] - 1], np.sqrt(model.covariance[0, 0])
    assert abs(slope - 0.35) < 2.5 * sd + 0.01 and sd < 0.08


def test_a_device_that_wanders_is_no_gain():
    runs, _ = seasons.season(np.random.default_rng(21), 0.0, weeks=20)
    last = runs[-1].day - runs[0].day
    wandering = []
    for r in runs:
        b = r.blocks.copy()
        b[:, AT["power"]] *= 1 + 0.05 * (r.day - runs[0].day) / last
        wandering.append(response.RunRows(r.day, b, r.sky))
    power = float(np.nanmedian(np.concatenate([r.blocks[:, AT["power"]] for r in runs])))
    assert "same speed" in response.device_moved(wandering, power, 5.0)
    assert response.device_moved(wandering, power, -5.0) == "" and response.device_moved(runs, power, 5.0) == ""


def test_minutes_that_are_alike_count_for_fewer():
    inside = {0.0: 0, 0.9: 0}
    for rho in inside:
        for seed in range(100):
            rng = np.random.default_rng(seed)
            noise = lfilter([np.sqrt(1 - rho**2)], [1, -rho], rng.standard_normal(260))[200:]
            hours = np.arange(60) / 60
            design = np.column_stack([np.ones(60), hours - hours.mean()])
            beta, covariance, free = response.alike(150 + 4 * hours + noise, design, np.zeros((2, 2)), np.zeros(2))
            inside[rho] += abs(beta[1] - 4) <= t_dist.ppf(0.975, free) * np.sqrt(covariance[1, 1])
    assert inside[0.0] >= 88 and inside[0.9] >= 82


# Even runs over rolling hills, without any error in the watts: nothing may be taken out that is not there.
@pytest.mark.parametrize(("spread", "hills"), [(0.7, 0.01), (1.5, 0.01), (1.5, 0.0)])
def test_even_runs_over_hills_break_nothing(spread, hills):
    rng = np.random.default_rng(3)
    runs = []
    for k in range(40):
        grade = hills * np.sin(np.arange(45) / 4 + rng.uniform(0, 6))
        true = 200 + spread * rng.standard_normal(45) + 100 * grade
        b = np.full((45, len(BLOCK_COLUMNS)), np.nan)
        b[:, 0] = 60.0 * np.arange(45)
        b[:, AT["power"]], b[:, AT["speed"]], b[:, AT["grade"]] = true, true / 68, grade
        x, _ = response.answered(true, b[:, 0], (40.0, 40.0), 1e9)
        b[:, AT["heart_rate"]] = 145 + 0.35 * (x - 200) + rng.normal(0, 1, 45) + rng.normal(0, 2)
        runs.append(response.RunRows(739_600 + 3 * k, b))
    model = response.fit(response.prepare(runs, 260.0))
    slope, sd = model.mean[response.C["power"] - 1], np.sqrt(model.covariance[0, 0])
    assert abs(slope - 0.35) < 3 * sd + 0.05


def test_a_longer_season_of_unknown_weather_tells_more_not_less():
    widths = {}
    for weeks in (20, 52):
        found = []
        for seed in range(6):
            runs, border = seasons.season(np.random.default_rng(900 + seed), 0.03, weeks)
            made = response.fit(response.prepare([replace(r, sky=Sky()) for r in runs], border))
            gains, _ = response.gain(made, runs[0].day, runs[-1].day)
            found.append(float(np.ptp(np.quantile(gains, [0.025, 0.975]))) / 2)
        widths[weeks] = float(np.median(found))
    assert widths[52] < widths[20] < 8.0
