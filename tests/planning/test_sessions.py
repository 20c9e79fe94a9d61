"""Sessions: the language, what a session asks of a known runner, and what is unknown in it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from footwork.errors import UsageError
from footwork.physiology import reserve
from footwork.planning import preview, session_steps, session_words, shelf
from footwork.planning.session_steps import DOMAINS, WORDS, Repeat, Session, Step, Target
from footwork.planning.session_words import parse

CERTAIN = preview.Runner(
    np.array([250.0]),
    np.array([20_000.0]),
    np.array([0.065]),
    250.0,
    lambda p: p / 70.0,
    lambda v: 70.0 * v,
    lambda bpm: 2.0 * bpm - 80,
)


@pytest.mark.parametrize(
    ("text", "canonical"),
    [
        (
            "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy",
            "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy",
        ),
        ("6x800m @ 4:00/km, 10 min easy", "6 x 800 m at 4:00/km, 10 min easy"),
        ("warm up 15 minutes, then 20' at threshold, cool down 10 min", "15 min easy, 20 min threshold, 10 min easy"),
        ("3 x (6 x (30 s at 120% CP, 30 s jog), 3 min easy)", "3 x (6 x (30 s at 120 % CP, 30 s jog), 3 min easy)"),
        ("1h30 steady", "90 min steady"),
        ("5 x 1 km at 3:50/km w/ 2 min rest", "5 x (1 km at 3:50/km, 2 min rest)"),
        ("4 x (5 min hard) with 3 min rest", "4 x (5 min hard, 3 min rest)"),
        ("Warm up 10 minutes. Run 5 km steady.", "10 min easy, 5 km steady"),
        ("20 min at CP", "20 min at 100 % CP"),
        ("5 min at 15 km/h", "5 min at 4:00/km"),
        ("5 * 3 min hard", "5 x 3 min hard"),
        ("4 min at 4:00/km to 3:50/km", "4 min at 4:00 to 3:50/km"),
        ("5 x (4 min at ? W, 2 min easy)", "5 x (4 min at ?, 2 min easy)"),
        ("20 min at 10k pace", "20 min at 96 to 99 % CP"),
        ("10 min easy,5 min steady+20 min easy", "10 min easy, 5 min steady, 20 min easy"),
        ("121.5 s easy", "2:02 easy"),
        ("2 km at 280-290W + 5 min rest", "2 km at 280 to 290 W, 5 min rest"),
        ("4 x 1 mile at 6:30/mile", "4 x 1 mi at 4:02/km"),
        ("1,5 km easy", "1.5 km easy"),
        ("8x400m at 4:30-4:20/km with 200 m jog", "8 x (400 m at 4:30 to 4:20/km, 200 m jog)"),
        ("4 min at 30 % of W'", "4 min spending 30 % of W′"),
        ("10 min in the heavy domain, 5 min RPE 7", "10 min in the heavy domain, 5 min at exertion 7"),
        ("until pressed easy; 3:00 all out", "until pressed easy, 3 min all out"),
        ("10 min at 150-155 bpm", "10 min at 150 to 155 bpm"),
        ("run 10 min easy then 5 x 3' at 105%CP + 2' jog", "10 min easy, 5 x 3 min at 105 % CP, 2 min jog"),
    ],
)
def test_free_wording_has_one_canonical_form(text, canonical):
    assert parse(text).text() == canonical and parse(canonical) == parse(text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty session"),
        ("5 x", "no duration"),
        ("5 x ()", "nothing to repeat"),
        ("0 x (1 min easy)", "0 repeats"),
        ("4 min at 900 % CP", "cannot be run"),
        ("0 min easy", "cannot be run"),
        ("10m easy", "write 10 min"),
        ("run easy", "no duration"),
        ("5 x (4 min hard", "never closed"),
        ("10 min at 80 %", "per cent of what"),
        ("until tired easy", "has no end"),
        ("10 min wobbly", "no intensity"),
        ("10 min esy", "did you mean easy"),
        ("1 km fast", "'fast' is no intensity: write"),
        ("4 min hard)", "was not opened"),
        ("99999 x (1 min easy)", "cannot be run"),
        ("? min at ?", "only one"),
        ("100 x (100 x (1 min easy, 1 min hard))", "more than"),
        ("5 x (4 min at ?, ? min easy)", "only one"),
        ("a few x (1 min easy)", "no number of repeats"),
    ],
)
def test_what_cannot_be_read_is_one_clear_sentence(text, words):
    with pytest.raises(UsageError, match=words) as caught:
        parse(text)
    assert "\n" not in str(caught.value)


targets = st.one_of(
    st.sampled_from(sorted(WORDS)).map(lambda w: Target("cp", *WORDS[w], w)),
    st.sampled_from(DOMAINS).map(lambda d: Target("domain", *session_steps.DOMAIN_CP[d], d)),
    st.tuples(st.integers(20, 300), st.integers(0, 20)).map(
        lambda v: Target("cp", v[0] / 100, min(v[0] + v[1], 300) / 100)
    ),
    st.tuples(st.integers(30, 1400), st.integers(0, 60)).map(
        lambda v: Target("watts", float(v[0]), float(v[0] + v[1]))
    ),
    st.tuples(st.integers(60, 200), st.integers(0, 20)).map(
        lambda v: Target("heart_rate", float(v[0]), float(v[0] + v[1]))
    ),
    st.integers(1, 10).map(lambda v: Target("exertion", float(v), float(v))),
    st.integers(1, 100).map(lambda v: Target("w_prime", v / 100, v / 100)),
    st.tuples(st.integers(130, 600), st.integers(0, 60)).map(
        lambda v: Target("pace", 1000 / (v[0] + v[1]), 1000 / v[0])
    ),
)
steps = st.tuples(
    targets | st.none(),
    st.one_of(
        st.integers(1, 7200).map(lambda s: (float(s), None)),
        st.integers(50, 42_195).map(lambda m: (None, float(m))),
        st.just((None, None)),
    ),
).map(lambda v: Step(v[0], *v[1]))
items = st.recursive(
    steps,
    lambda inner: st.tuples(st.integers(1, 5), st.lists(inner, min_size=1, max_size=3)).map(
        lambda v: Repeat(v[0], tuple(v[1]))
    ),
    max_leaves=6,
)


@settings(max_examples=300, deadline=None)
@given(st.lists(items, min_size=1, max_size=5))
def test_reading_the_canonical_wording_is_the_identity(found):
    session = Session(tuple(found))
    if sum(1 for _ in session.steps()) <= session_words.MOST_STEPS:
        assert parse(session.text()) == session
        assert parse(session.text()).text() == session.text()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(10, 900), st.integers(100, 320)), min_size=1, max_size=8), st.integers(1, 4))
def test_duration_and_work_add_up(pieces, count):
    session = Session((Repeat(count, tuple(Step(Target("watts", float(p), float(p)), float(s)) for s, p in pieces)),))
    rows = preview.preview(session, CERTAIN)
    assert sum(r.seconds for r in rows) == pytest.approx(count * sum(s for s, _ in pieces))
    assert sum(r.seconds * r.power for r in rows) == pytest.approx(count * sum(s * p for s, p in pieces))


def test_folding_repeats_keeps_the_steps():
    session = parse("15 min easy, 5 x (4 min at 105 % CP, 2 min jog), 10 min easy")
    unrolled = [s for s, _ in session.steps()]
    assert Session(session_steps.folded(unrolled)) == session


# CP 250 W, W′ 20 kJ: 120 s at 350 W leaves 8000.0 J, then 300 s at 100 W 18735.21 J (computed check value of the
# differential form, Skiba et al. 2015); the same second by second with the balance along a run.
def test_w_prime_of_a_session_is_the_differential_form():
    rows = preview.preview(parse("120 s at 350 W, 300 s at 100 W"), CERTAIN)
    assert [r.w_prime[1] for r in rows] == pytest.approx([8000.0, 18_735.21], abs=0.01)
    power = np.repeat([200.0, 300.0, 150.0, 310.0, 150.0], [300, 240, 120, 240, 120])
    session = parse("5 min at 200 W, 4 min at 300 W, 2 min at 150 W, 4 min at 310 W, 2 min at 150 W")
    assert preview.preview(session, CERTAIN)[-1].w_prime[1] == pytest.approx(
        reserve.balance(power, 250.0, 20_000.0)[-1], abs=0.1
    )


def test_targets_as_watts():
    for text, low, high in (
        ("4 min at 105 % CP", 262.5, 262.5),
        ("4 min at 280 W", 280, 280),
        ("4 min at 4:10/km", 280, 280),
        ("4 min at 165 bpm", 250, 250),
        ("4 min at exertion 8", 250, 250),
        ("240 s spending 24 % of W'", 270, 270),
        ("4 min in the severe domain", 255, 280),
        ("4 min easy", 155, 195),
    ):
        row = preview.preview(parse(text), CERTAIN)[0]
        assert (row.low, row.high) == pytest.approx((low, high), abs=0.6), text
    ignorant = preview.Runner(CERTAIN.critical_power, CERTAIN.w_prime, CERTAIN.tail, 250.0)
    for text, words in (
        ("4 min at 4:10/km", "power at speed"),
        ("800 m at 280 W", "power at speed"),
        ("4 min at 150 bpm", "heart rate"),
        ("800 m spending 20 % of W'", "minutes"),
    ):
        with pytest.raises(UsageError, match=words):
            preview.preview(parse(text), ignorant)


def draws(k=1500):
    rng = np.random.default_rng(2)
    return preview.Runner(
        250 * np.exp(0.03 * rng.standard_normal(k)),
        20_000 * np.exp(0.15 * rng.standard_normal(k)),
        np.full(k, 0.065),
        250.0,
    )


def test_a_session_that_is_too_hard_has_a_kinder_version():
    hard = parse("6 x (4 min at 118 % CP, 1 min easy jog)")
    rows = preview.preview(hard, draws())
    assert rows[-1].dry_by > 0.9 and sorted(r.dry_by for r in rows) == [r.dry_by for r in rows]
    assert sum(r.dry_in for r in rows) == pytest.approx(rows[-1].dry_by)
    kinder, change = preview.eased(hard, draws())
    assert preview.preview(kinder, draws())[-1].dry_by <= preview.KINDER and "easier" in change
    assert preview.eased(parse("5 x (4 min at 103 % CP, 3 min easy jog)"), draws()) is None
    assert preview.preview(parse("5 h at 95 % CP"), draws())[-1].dry_by > 0.9  # no W′ is spent, and it cannot be held
    whole, cut, rested = (
        preview.preview(parse(t), draws())[-1].dry_by
        for t in ("90 min at 97 % CP", "9 x 10 min at 97 % CP", "9 x (10 min at 97 % CP, 3 min easy)")
    )
    assert whole == pytest.approx(cut, abs=0.02) and rested < 0.5 * whole
    test = preview.preview(parse("3 min all out"), draws())[0]
    assert (
        test.power == pytest.approx(250 + 20_000 / 180, rel=0.02)
        and preview.eased(parse("3 min all out"), draws()) is None
    )


def test_the_unknown_is_solved_for():
    session, share = preview.solve(parse("5 x (4 min at ?, 2 min easy jog)"), CERTAIN, 0.2)
    least = min(r.w_prime[1] for r in preview.preview(session, CERTAIN))
    assert 1.05 < share < 1.3 and least == pytest.approx(4000, abs=60)
    rested, rest = preview.solve(parse("5 x (4 min at 110 % CP, ? min easy jog)"), CERTAIN, 0.3)
    assert rest % 5 == 0 and min(r.w_prime[1] for r in preview.preview(rested, CERTAIN)) >= 6000
    longest, seconds = preview.solve(parse("10 min easy, ? min at 110 % CP"), CERTAIN, 0.2)
    assert seconds == pytest.approx(16_000 / 25, abs=5) and longest.text().startswith("10 min easy, 10:")
    _, share = preview.solve(parse("60 min at ?"), CERTAIN, 0.2)
    assert share < 1.0  # W′ is never touched: it is the tail that ends so long an effort
    many, count = preview.solve(parse("? x (2 min at 115 % CP, 30 s easy jog)"), CERTAIN, 0.1)
    one_more = parse(many.text().replace(f"{count:.0f} x", f"{count + 1:.0f} x"))
    assert (
        min(r.w_prime[1] for r in preview.preview(many, CERTAIN))
        >= 2000
        > min(r.w_prime[1] for r in preview.preview(one_more, CERTAIN))
    )
    for text, leave, words in (
        ("5 x (4 min easy)", 0.2, "put one"),
        ("? x (2 min easy, 1 min rest)", 0.2, "no limit"),
        ("? x (20 min at 130 % CP)", 0.5, "not even one"),
        ("4 min at ?", 1.5, "cannot be left"),
        ("3 x (10 min at 130 % CP, ? min easy)", 0.5, "nothing from a second"),
        ("? min easy, 5 x (4 min at 105 % CP, 2 min jog)", 0.2, "does not change"),
        ("3 x (4 min at 117 % CP, ? min easy)", 0.5, "nothing from a second"),
        ("5 x (3 min at 110 % CP, ? min at 85 % CP)", 0.5, "nothing from a second"),
        ("? min all out", 0.2, "all out leaves nothing"),
    ):
        with pytest.raises(UsageError, match=words):
            preview.solve(parse(text), CERTAIN, leave)


def test_the_shelf_parses_and_its_tests_carry_a_caution():
    for entry in shelf.SHELF:
        assert parse(entry.text).text() == entry.text, entry.name
        assert not entry.name.startswith("test") or (entry.protocol and entry.tells and "physician" in entry.caution)
        assert shelf.find(entry.name.upper()) is entry


@pytest.mark.parametrize("first", range(100, 1200, 90))
def test_what_is_solved_is_finished(first):
    filled, _ = preview.solve(parse(f"{first} s at ?, 20 min at 101 % CP"), CERTAIN, 0.1)
    assert preview.preview(filled, CERTAIN)[-1].dry_by == 0


def test_all_out_over_a_distance_is_what_can_be_held_for_so_long():
    runner = replace(CERTAIN, speed=lambda p: p / 70, accepted=250.0)
    (row,) = preview.preview(parse("5 km all out"), runner)
    assert row.power == pytest.approx(
        250 + 20_000 / row.seconds, rel=0.01
    ) and row.seconds * row.power / 70 == pytest.approx(5000, rel=1e-3)
    (row,) = preview.preview(parse("until pressed all out"), runner)
    assert row.power == pytest.approx(250 + 20_000 / preview.OPEN_S, rel=0.01)
    with pytest.raises(UsageError, match="standing covers no way"):
        preview.preview(parse("400 m rest"), runner)


def test_a_kinder_version_cuts_the_hard_repeats_only():
    kinder, change = preview.eased(
        parse("4 x (20 s at 90 % CP, 1 min easy), 3 x (6 x (1 min at 160 % CP, 30 s jog), 6 min easy)"), CERTAIN
    )
    assert kinder.text().startswith("4 x (20 s") and "3 x (" in kinder.text() and "fewer in each set" in change


@pytest.mark.parametrize(
    "text",
    [
        "5 min 0 km/h",
        "5 min at 0:00/km",
        "9" * 400 + " min easy",
        "9" * 5000 + " x 5 min",
        "5 min 4:00/km to 3:50/mi",
        "x" * 9000,
    ],
)
def test_odd_numbers_are_one_sentence(text):
    with pytest.raises(UsageError):
        parse(text)


@pytest.mark.parametrize(
    "text",
    [
        "10 x (40 metres strides, 1 min walk)",
        "12.07 km easy",
        "0.01 mi strides",
        "24.14 km easy",
        "5 min at 1302.995 W",
        "4 h 9.0 km/h",
    ],
)
def test_odd_sizes_are_read_back(text):
    assert parse(parse(text).text()) == parse(text)


def test_a_clock_may_say_min_and_an_error_is_told_whole():
    assert (
        session_words.parse("2 x (10 min at 260 W, 2:30 min easy jog)").text() == "2 x (10 min at 260 W, 2:30 easy jog)"
    )
    assert session_words.parse("5 x 1 km at 4:30 min/km").text() == session_words.parse("5 x 1 km at 4:30/km").text()
    with pytest.raises(
        UsageError, match=r"'2:30 foo bar': 'foo bar' is no intensity: write .*exertion 7, .*or one of rest"
    ):
        session_words.parse("2:30 foo bar")
    with pytest.raises(UsageError, match="…'"):
        session_words.parse(f"2:30 {'foo ' * 60}")
