"""Trials: orders, statistical power, mixed fits and curves against a general statistics library and published
designs."""

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.stats.power import TTestPower

from footwork.analysis import trial_statistics as trials
from footwork.analysis.worthwhile import decide, sure_enough


@pytest.mark.parametrize(("conditions", "repeats", "runs"), [(2, 1, 4), (2, 2, 3), (5, 1, 2), (3, 1, 6)])
def test_orders_balance_a_steady_drift(conditions, repeats, runs):
    for row in (made := trials.order(conditions, repeats, runs, 7)):
        assert len(row) == 2 * conditions * repeats
        at = np.arange(len(row)) - (len(row) - 1) / 2
        assert all(abs(sum(at[k] for k, c in enumerate(row) if c == one)) < 1e-9 for one in range(conditions))
    assert made == trials.order(conditions, repeats, runs, 7)
    if conditions == 2 and runs % 2 == 0:
        assert sum(row[0] for row in made) == runs // 2


# Power of the paired t-test against statsmodels' TTestPower.
@pytest.mark.parametrize(("effect", "sd", "runs"), [(2.0, 1.5, 4), (1.0, 2.0, 10), (3.0, 1.0, 3), (0.0, 1.0, 5)])
def test_power_is_the_reference_librarys(effect, sd, runs):
    reference = TTestPower().power(effect / sd, runs, 0.05, alternative="two-sided") if effect else 0.05
    assert trials.power_of(effect, sd, runs) == pytest.approx(reference, abs=1e-6)


def test_runs_needed_is_the_least_that_suffices():
    n = trials.runs_needed(4.0, 1.6, 2.0)
    chances = [trials.power_of(4.0, 1.6, k, 2.0, sure_enough(k)) for k in (n - 1, n)]
    assert chances[0] < 0.8 <= chances[1]
    assert trials.runs_needed(2.1, 5.0, 2.0) is None and trials.runs_needed(4.0, 1.6, 2.0, others=4) > n


@pytest.mark.parametrize("sd", [0.8, 1.0, 1.2, 1.44])
def test_chances_are_always_numbers_and_grow(sd):
    chances = [trials.power_of(4.0, sd, n, 2.0) for n in range(2, 25)]
    assert np.isfinite(chances).all() and bool((np.diff(chances) > -1e-6).all())


def test_the_chance_of_a_design_is_the_chance_of_its_verdict():
    block_sd, effect_sd, effect, least, runs = 1.0, 0.8, -4.0, 2.0, 7
    promised = trials.power_of(effect, trials.run_sd(block_sd, 4, effect_sd), runs, least, sure_enough(runs))
    kept = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        blocks = []
        for run, row in enumerate(trials.order(2, 1, runs, seed)):
            own, drift, today = rng.normal(150, 3), rng.normal(5, 3), effect + rng.normal(0, effect_sd)
            blocks += [
                trials.Block(run, c, k / 6, own + drift * k / 6 + today * c + rng.normal(0, block_sd))
                for k, c in enumerate(row)
            ]
        made = trials.effects(blocks, 2)
        kept += (
            decide(made.values[0], made.covariance[0, 0] ** 0.5, least, False, runs, 1, made.freedom[0]).word
            == "improved"
        )
    assert abs(kept / 200 - promised) < 0.12  # the fit knows a little more than a t-test over runs


@pytest.mark.parametrize("scores", [[5, 3, 3, 5], [5, 5, 5, 5]])
def test_scores_that_repeat_exactly_are_no_certainty(scores):
    made = trials.effects(
        [trials.Block(r, c, k / 6, scores[k]) for r in range(3) for k, c in enumerate([0, 1, 1, 0])], 2, resolution=1.0
    )
    told = trials.estimate(made, 0, "of 10")
    assert told.high - told.low > 0.3 and made.freedom[0] > 0.5


def test_three_conditions_lie_in_their_intervals_though_effects_differ():
    inside = 0
    for seed in range(120):
        rng = np.random.default_rng(seed)
        blocks = []
        for run, row in enumerate(trials.order(3, 1, 6, seed)):
            own = np.array([0.0, -2.0, 1.0]) + np.r_[0.0, rng.normal(0, 1.5, 2)]
            blocks += [trials.Block(run, c, k / 6, 150 + own[c] + rng.normal(0, 1.0)) for k, c in enumerate(row)]
        told = trials.estimate(trials.effects(blocks, 3), 0, "bpm")
        inside += told.low <= -2.0 <= told.high
    assert inside >= 106


# Restricted maximum likelihood against statsmodels' MixedLM, on the investment data that it ships (Grunfeld 1958): 11
# firms, 20 years.
def test_the_mixed_fit_is_the_reference_librarys():
    data = sm.datasets.grunfeld.load_pandas().data
    y = data["invest"].to_numpy(dtype=float)
    x = np.column_stack([data["value"], data["capital"], np.ones(len(y))]).astype(float)
    firms = data["firm"].astype("category").cat.codes.to_numpy()
    mine = trials.fit(y, x, np.ones(len(y)), firms, 2)
    theirs = sm.MixedLM(y, x, groups=firms).fit(reml=True)
    np.testing.assert_allclose(mine.values, theirs.fe_params[:2], rtol=2e-3)
    np.testing.assert_allclose(np.sqrt(np.diag(mine.covariance)), theirs.bse_fe[:2], rtol=0.01)
    assert mine.within**2 == pytest.approx(theirs.scale, rel=0.01)
    assert mine.between**2 == pytest.approx(float(np.asarray(theirs.cov_re)[0, 0]), rel=0.03)


def test_one_run_is_ordinary_least_squares():
    rng = np.random.default_rng(2)
    blocks = [
        trials.Block(0, c, k / 6, 150 - 2.0 * c + k + rng.normal(0, 0.5))
        for k, c in enumerate([0, 1, 1, 0, 1, 0, 0, 1])
    ]
    mine = trials.effects(blocks, 2)
    x = sm.add_constant(np.array([[b.condition, b.hours] for b in blocks], dtype=float))
    theirs = sm.OLS([b.value for b in blocks], x).fit()
    assert mine.values[0] == pytest.approx(theirs.params[1]) and mine.freedom[0] == pytest.approx(5, abs=1e-6)
    low, high = theirs.conf_int()[1]
    told = trials.estimate(mine, 0, "bpm")
    assert (told.low, told.high) == pytest.approx((low, high))


def test_an_effect_lies_in_its_interval_at_the_nominal_rate():
    inside = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        blocks = []
        for run, row in enumerate(trials.order(2, 1, 5, seed)):
            level, drift, effect = rng.normal(150, 4), rng.normal(5, 4), -2.0 + rng.normal(0, 1.0)
            blocks += [
                trials.Block(run, c, k / 6, level + drift * k / 6 + effect * c + rng.normal(0, 1.2))
                for k, c in enumerate(row)
            ]
        told = trials.estimate(trials.effects(blocks, 2), 0, "bpm")
        inside += told.low <= -2.0 <= told.high
    assert 182 <= inside <= 199


# The published design (Hunter & Smith 2007; Oregon State thesis): two minutes each at 0, ±4 and ±8 % of the preferred
# stride rate, quadratic, vertex. Preferred and optimal rates agree there (1.45 Hz): a curve with its vertex at 174
# steps/min is found there.
def test_the_optimum_of_a_published_cadence_design():
    rng = np.random.default_rng(4)
    base, hits = 174.0, 0
    for seed in range(60):
        cadence, rate, groups, hours = [], [], [], []
        for run, row in enumerate(trials.order(5, 1, 3, seed)):
            for k, level in enumerate(row):
                c = base * (1 + (-0.08, -0.04, 0.0, 0.04, 0.08)[level]) + rng.normal(0, 1)
                cadence.append(c)
                rate.append(150 + run + 0.02 * (c - base) ** 2 + 0.5 * k / 10 + rng.normal(0, 1.0))
                groups.append(run)
                hours.append(k / 20)
        found, _ = trials.optimum(*(np.array(v, dtype=float) for v in (cadence, rate, groups, hours)))
        hits += found.low <= base <= found.high
    assert hits >= 53
    # Fieller's ends lie nearly alike about a vertex that is told well, also one off the middle of what was run.
    steps, runs = np.tile(np.arange(160.0, 186.0, 2.0), 6), np.repeat(np.arange(6.0), 13)
    beats = 150 + 0.05 * (steps - 168) ** 2 + rng.normal(0, 0.3, 78)
    off, _ = trials.optimum(steps, beats, runs, rng.permutation(78) / 60)
    assert off.value == pytest.approx(168, abs=0.3) and off.high - off.value == pytest.approx(
        off.value - off.low, rel=0.3
    )
    flat, _ = trials.optimum(np.array(cadence), 150 + rng.normal(0, 1, len(cadence)), np.array(groups), np.array(hours))
    assert flat.value is None or flat.high - flat.low > 8


def test_what_cannot_be_told_is_said():
    with pytest.raises(ValueError, match="condition"):
        trials.effects([trials.Block(0, 1, k / 6, 150.0) for k in range(4)], 2)
    assert trials.typical_error([]) is None
    rng = np.random.default_rng(1)
    runs = [(200 + rng.normal(0, 2, 8), 150 + 0.4 * np.arange(8) + rng.normal(0, 1.5, 8)) for _ in range(20)]
    sd, free = trials.typical_error(runs)
    assert sd == pytest.approx(1.5, rel=0.2) and free == 100
