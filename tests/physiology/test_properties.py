"""Properties that the models promise for every runner."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from footwork.physiology import critical, curve, domains, endurance, reserve

cp = st.floats(120, 420)
wp = st.floats(3_000, 40_000)
gamma = st.floats(0.02, 0.2)


@given(cp, wp, gamma)
def test_power_falls_with_time_and_inverts(cp, wp, gamma):
    t = np.geomspace(60, 40_000, 200)
    p = endurance.power_at(t, cp, wp, gamma)
    assert (np.diff(p) < 0).all()
    held = p > 0
    np.testing.assert_allclose(endurance.time_to_exhaustion(p[held], cp, wp, gamma), t[held], rtol=1e-6)


@given(cp, wp, gamma)
def test_one_over_time_to_exhaustion_is_convex_in_power(cp, wp, gamma):
    _, p_star, _ = endurance.tail_start(cp, wp, gamma)
    p = np.linspace(0.5 * cp, 1.6 * float(p_star), 400)
    rate = 1 / endurance.time_to_exhaustion(p, cp, wp, gamma)
    assert (np.diff(rate, 2) > -1e-9 * rate.max()).all()


@given(cp, wp, gamma, st.floats(0.75, 1.3))
def test_constant_power_spends_all_endurance_at_exhaustion(cp, wp, gamma, share):
    limit = float(endurance.time_to_exhaustion(share * cp, cp, wp, gamma))
    if limit < 1e8:
        step = limit / 1000
        spent = endurance.spent_endurance(np.full(1000, share * cp), step, cp, wp, gamma)
        np.testing.assert_allclose(spent[-1], 1.0, rtol=1e-6)


@given(st.lists(st.floats(0, 600), min_size=1, max_size=200), cp, wp)
def test_w_prime_balance_never_exceeds_its_store(power, cp, wp):
    assert (reserve.balance(power, cp, wp) <= wp + 1e-6).all()


@settings(max_examples=60)
@given(st.lists(st.one_of(st.floats(0, 900), st.just(float("nan"))), min_size=1, max_size=120))
def test_mean_maximal_equals_brute_force(values):
    power = np.array(values)
    durations, best, start = curve.mean_maximal(power)
    brute = {}
    for d in range(1, len(power) + 1):
        means = [power[i : i + d].mean() for i in range(len(power) - d + 1)]
        known = [m for m in means if np.isfinite(m)]
        if known:
            brute[d] = max(known)
    assert dict.fromkeys(durations.tolist()) == dict.fromkeys(brute)
    np.testing.assert_allclose(best, list(brute.values()), atol=0.011)
    for d, b, s in zip(durations, best, start, strict=True):
        assert abs(np.mean(power[s : s + d]) - b) < 0.011


@given(st.lists(st.floats(0, 500), min_size=1, max_size=300), st.floats(150, 400))
def test_domain_seconds_add_up(values, border):
    seconds = domains.seconds_in_domains(domains.histogram(np.array(values)), [0.8 * border, border, 1.3 * border])
    assert sum(seconds.values()) == len(values)


def test_an_all_out_end_is_critical_power_itself():
    cp, flat = np.array([240.0, 270.0, 300.0]), np.ones(3)
    told = [critical.Evidence(kind, (180.0,), (270.0,)) for kind in ("all-out", "maximal")]
    out, most = (critical.log_likelihood(e, cp, 15_000.0 * flat, 0.06 * flat) for e in told)
    assert int(np.argmax(out)) == 1 and int(np.argmax(most)) == 0  # 270 W for three minutes asks for less than 240 W
