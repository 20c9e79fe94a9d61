"""Efforts without laps: edges, stops, groups, and runs in which there is nothing to find."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from footwork.analysis import intervals, repeats
from tests import sessions

RNG = np.random.default_rng(5)


def run(*pieces, noise=0.05):
    """Power of pieces (seconds, watts), with noise and the smoothing of a device."""
    true = np.concatenate([np.full(s, float(p)) for s, p in pieces])
    noisy = true * (1 + noise * RNG.standard_normal(len(true)))
    return np.convolve(np.concatenate([noisy[:1], noisy[:1], noisy]), np.ones(3) / 3, mode="valid")


def works(parts):
    return [(p.start, p.end) for p in parts if p.kind == "work"]


def covers(parts, n):
    assert parts[0].start == 0 and parts[-1].end == n
    # Only a run that gets harder step by step has work beside work.
    assert all(a.end == b.start and (a.kind != b.kind or a.kind == "work") for a, b in pairwise(parts))


def test_a_jog_before_a_race_is_no_work_though_a_walk_to_the_line_follows():
    raced = intervals.find(run((900, 193), (65, 120), (2450, 282), (480, 170)))
    assert [(p.kind, p.start) for p in raced] == [
        ("warm-up", 0),
        ("work", pytest.approx(965, abs=4)),
        ("cool-down", pytest.approx(3415, abs=4)),
    ]
    # A step test's first step is as easy as what was run before it, and as long as the next: it stays work.
    steps = intervals.find(run((300, 190), *[p for w in (200, 230, 260, 290) for p in ((270, w), (30, 0))]))
    assert len(works(steps)) == 4


@pytest.mark.parametrize("contrast", [1.15, 1.3, 1.6])
def test_repeats_are_found_to_the_second(contrast):
    parts = intervals.find(run((900, 200), *[(240, 200 * contrast), (90, 200)] * 5, (600, 190)))
    covers(parts, 3150)
    assert [p.kind for p in parts[:3]] == ["warm-up", "work", "recovery"] and parts[-1].kind == "cool-down"
    true = [(900 + 330 * k, 1140 + 330 * k) for k in range(5)]
    np.testing.assert_allclose(works(parts), true, atol=4)


@pytest.mark.parametrize(
    "power",
    [
        run((3600, 220)),
        run((5400, 220)) * np.linspace(1.04, 0.96, 5400),
        run((5400, 220)) * (1 + 0.04 * np.sin(np.arange(5400) / 200)),
        run((1000, 220), (75, 0), (2000, 222)),
        run((600, 220), (60, 200), (900, 225), (40, 195), (1200, 218)),
        np.full(30, 200.0),
        np.full(600, np.nan),
        np.zeros(900),
    ],
)
def test_a_run_of_one_level_is_one_piece_of_work(power):
    parts = intervals.find(power)
    assert [(p.start, p.end, p.kind) for p in parts] == [(0, len(power), "work")]


def test_nothing_is_no_run():
    assert intervals.find([]) == []


def test_traffic_lights_do_not_cut_an_effort_and_standing_rests_do():
    lights = run((3600, 220))
    for at in (400, 1300, 2500):
        lights[at : at + 25] = 0
    assert len(intervals.find(lights)) == 1
    rests = run((900, 180), *[(240, 280), (90, 0)] * 5, (600, 170))
    np.testing.assert_allclose(
        works(intervals.find(rests)), [(900 + 330 * k, 1140 + 330 * k) for k in range(5)], atol=3
    )
    light = run((900, 180), (600, 270), (20, 0), (600, 270), (600, 170))
    np.testing.assert_allclose(works(intervals.find(light)), [(900, 2120)], atol=3)


@pytest.mark.parametrize("stops", [((420, 50), (1860, 45)), ((420, 45), (700, 42))])
def test_two_long_lights_are_no_intervals(stops):
    steady = run((2400, 220))
    for at, lasts in stops:
        steady[at : at + lasts] = 0
    assert len(intervals.find(steady)) == 1


@pytest.mark.parametrize("rest", [60, 120, 180])
def test_three_repeats_with_standing_rests_need_no_warm_up(rest):
    assert len(works(intervals.find(run((300, 270), (rest, 0), (300, 270), (rest, 0), (300, 270))))) == 3


def test_a_pyramid_over_floats_is_found_after_an_easy_warm_up():
    pieces = [(900, 130)]
    for minutes in (1, 2, 3, 4, 3, 2, 1):
        pieces += [(60 * minutes, 290), (120, 220)]
    assert len(works(intervals.find(run(*pieces, (600, 130))))) == 7


def test_drop_outs_and_short_repeats():
    gappy = run((900, 180), *[(240, 280), (120, 150)] * 5, (600, 170))
    gappy[1000:1040] = np.nan
    gappy[1500:1505] = np.nan
    assert len(works(intervals.find(gappy))) == 5
    quick = intervals.find(run((900, 180), *[(30, 320), (30, 150)] * 12, (600, 170)))
    assert len(works(quick)) == 12
    strides = intervals.find(run((1800, 200), *[(20, 330), (70, 190)] * 6, (300, 190)))
    assert len(works(strides)) == 6


def test_a_warm_up_nearer_to_the_work_than_to_walked_rests_is_no_work():
    walked = run((900, 200), *[(180, 280), (90, 85)] * 6, (600, 190))
    np.testing.assert_allclose(
        works(intervals.find(walked)), [(900 + 270 * k, 1080 + 270 * k) for k in range(6)], atol=4
    )
    # A long effort with an easy start of its own stays one beside short hard ones.
    mixed = run((900, 190), (1200, 235), (180, 185), *[(60, 310), (60, 180)] * 5, (600, 180))
    assert works(intervals.find(mixed))[0] == pytest.approx((900, 2100), abs=4)


@pytest.mark.parametrize(
    ("pieces", "count"),
    [
        (((1800, 220), (90, 90), (1800, 250), (90, 90), (600, 215)), 3),
        (((900, 200), (1200, 240), (120, 90), *[(60, 320), (60, 90)] * 6, (600, 190)), 6),
        (((240, 240), (90, 85), (180, 270), (90, 85), (120, 300), (90, 85), (180, 270), (90, 85), (240, 240)), 5),
        (((300, 240), (120, 90), *[(300, 270), (120, 90)] * 4), 5),
    ],
)
def test_what_a_run_begins_with_hides_no_work(pieces, count):
    assert len(works(intervals.find(run(*pieces, noise=0.02)))) >= count


@pytest.mark.parametrize("seed", range(12))
def test_the_last_seconds_are_no_stretch_of_their_own(seed):
    rng = np.random.default_rng(seed)
    level = np.concatenate(
        [np.full(s, float(p)) for s, p in [(900, 200), *[(180, 280), (90, 85)] * 6, (600 + seed % 5, 190)]]
    )
    parts = intervals.find(level * (1 + 0.08 * rng.standard_normal(len(level))))
    assert len(works(parts)) == 6 and parts[-1].kind == "cool-down"


@pytest.mark.parametrize("easy", [225, 235, 245])
def test_repeats_with_floats_between_are_found(easy):
    power = run((900, 190), *[(300, 280), (180, easy)] * 5, (600, 185))
    found = works(intervals.find(power))
    assert found[0] == pytest.approx((900, 1200), abs=5) and len(found) == 5


def test_a_ladder_is_found_and_not_grouped():
    parts = repeats.grouped(
        intervals.find(
            run((900, 180), (60, 330), (60, 160), (120, 310), (90, 160), (240, 290), (120, 160), (480, 270), (900, 170))
        )
    )
    assert [p.seconds for p in parts if p.kind == "work"] == pytest.approx([60, 120, 240, 480], abs=4)
    assert not any(p.group for p in parts)


def test_repeats_are_named_by_what_they_agree_in():
    power = run((600, 200), *[(240, 290), (90, 180)] * 5, (600, 190))
    parts = repeats.grouped(intervals.find(power), power=power)
    assert {p.group for p in parts if p.kind == "work"} == {"5 x 4:00"}
    # The same distance at speeds that fall: times spread, metres do not.
    pieces = [(600, 2.6)]
    for v in (4.4, 4.3, 4.25, 4.15, 4.1, 4.0):
        pieces += [(round(800 / v), v), (120, 2.2)]
    speed = np.concatenate([np.full(s, v) for s, v in [*pieces, (600, 2.5)]])
    parts = repeats.grouped(intervals.find(speed, "speed"), np.cumsum(speed), speed)
    assert {p.group for p in parts if p.kind == "work"} == {"6 x 800 m"}


def test_heart_rate_from_rest_tells_no_warm_up():
    seconds = np.arange(3000)
    rate = 145 - 70 * np.exp(-seconds / 60) + np.convolve(RNG.normal(0, 1, 3000), np.ones(5) / 5, mode="same")
    assert len(intervals.find(rate, "heart_rate")) == 1


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(20, 400), st.integers(0, 450)), min_size=1, max_size=12))
def test_parts_always_cover_the_run(pieces):
    power = np.concatenate([np.full(s, float(p)) for s, p in pieces])
    covers(intervals.find(power), len(power))


def test_a_stop_of_some_steps_at_the_turn_of_a_hill_hides_nothing():
    power = run((900, 200), *[(75, 340), (20, 60), (120, 140)] * 8, (600, 190))
    np.testing.assert_allclose(works(intervals.find(power)), [(900 + 215 * k, 975 + 215 * k) for k in range(8)], atol=4)


@pytest.mark.parametrize("signal", ["power", "speed"])
def test_hard_sessions_on_hills_are_found(signal):
    assert sessions.f1_hard(signal, 2) >= 0.95
    assert sessions.cut("steady", signal, 12) == 0


def test_a_lap_pressed_late_is_taken_for_the_edge_and_one_out_of_place_is_not():
    power = run((900, 200), *[(240, 260), (90, 190)] * 4, (600, 190))
    presses = [903, 1142, 1600, 2000]
    found = works(intervals.find(power, laps=presses))
    assert found[0] == (903, 1142) and found[1] == pytest.approx((1230, 1470), abs=3)
    # Where the effort wanders about a slight step, a lap says where it is.
    slight = np.concatenate([np.full(900, 200.0), np.full(600, 222.0), np.full(900, 201.0)])
    slight *= np.exp(sessions.wandering(np.random.default_rng(4), 2400, 0.03, 60))
    assert works(intervals.find(slight)) != [(901, 1502)]
    assert works(intervals.find(slight, laps=[901, 1502])) == [(901, 1502)]


def test_hills_are_no_work_and_hill_repeats_are():
    grade = 0.04 * np.sin(np.arange(4800) / 30)
    hilly = 220 * np.exp(2.0 * grade) * (1 + 0.04 * RNG.standard_normal(4800))
    assert len(intervals.find(hilly, grade=grade)) == 1
    up = np.concatenate([np.full(s, g) for s, g in [(900, 0.0), *[(60, 0.08), (90, -0.05)] * 8, (600, 0.0)]])
    power = run((900, 200), *[(60, 330), (90, 170)] * 8, (600, 190))
    assert len(works(intervals.find(power, grade=up))) == 8


def test_a_run_that_gets_harder_keeps_its_steps_apart():
    parts = intervals.find(run((900, 190), (900, 210), (900, 232), (900, 256), noise=0.03))
    assert [p.kind for p in parts] == ["warm-up", "work", "work", "work"]
    np.testing.assert_allclose([p.start for p in parts], [0, 900, 1800, 2700], atol=6)


@pytest.mark.parametrize("seconds", [12, 15, 19])
@pytest.mark.parametrize("easy", [0, 150])
def test_strides_shorter_than_what_lies_between_are_found(seconds, easy):
    power = run((600, 230), *[(seconds, 420), (50, easy)] * 10, (600, 220))
    assert len(works(intervals.find(power))) == 10


@pytest.mark.parametrize("stops", [44, 200])
def test_very_many_stops_hide_no_repeats_and_take_no_longer(stops):
    power = run(*[(60, 220), (12, 0)] * stops, (300, 220), *[(60, 300), (60, 200)] * 10, (300, 210))
    found = [(a, b) for a, b in works(intervals.find(power)) if b - a < 100]
    assert len(found) == 10


def test_another_division_that_fits_nearly_as_well_is_told_and_what_it_lacks_is_not_sure():
    plain = intervals.divided(run((600, 190), *[(180, 290), (90, 180)] * 5, (500, 185)))
    assert plain.otherwise == [] and all(map(plain.sure, plain.parts))
    lights = sessions.hard(103_008, "lights", False)  # a steady run with stops that are taken for rests
    made = lights.divided("power")
    assert len(works(made.parts)) == 4 and made.otherwise == [intervals.Part(0, len(lights.power), "work")]
    assert not any(map(made.sure, made.parts))
    feel = sessions.hard(92_014, "feel", False)  # the third piece is hardly harder than what is about it
    made = feel.divided("power")
    assert len(works(made.parts)) == 10 and len(works(made.otherwise)) == 9
    assert [made.sure(p) for p in made.parts] == [False] * 3 + [True] * 18
    assert intervals.find(feel.power, "power", feel.grade) == made.parts


def test_parts_are_the_same_where_kind_and_edges_are():
    part, work = intervals.Part, lambda a, b: intervals.Part(a, b, "work")
    made = intervals.Division(
        [work(100, 120), work(300, 900)], [work(120, 140), work(329, 900), part(100, 120, "recovery")]
    )
    assert [made.sure(p) for p in made.parts] == [False, True]  # 20 s are nothing to ten minutes, all to a stride
    assert not made.sure(work(300, 960)) and made.sure(part(105, 120, "recovery"))
    rng = np.random.default_rng(8)
    hilly = [sessions.hard(int(s), "time", True) for s in rng.integers(0, 9999, 20)]
    assert all(not d.otherwise or works(d.otherwise) != works(d.parts) for d in (r.divided("power") for r in hilly))
    assert sum(bool(r.divided("power").otherwise) for r in hilly) <= 2


@pytest.mark.parametrize("kinds", [("ladder",), ("progressive",), sessions.KINDS])
def test_laps_never_tell_less_than_no_laps(kinds):
    """A lap is evidence for repeats and steps; for pieces that are neither it made their edges cheap, and sets fell."""
    without, with_laps = (
        sessions.f1_hard("power", 72 // len(kinds) // 3, 460_000, kinds, laps) for laps in (False, True)
    )
    assert with_laps >= without > 0.5


def test_laps_of_a_device_by_itself_cut_no_steady_run():
    assert sessions.cut("steady", "power", 12, lap=300) == 0
