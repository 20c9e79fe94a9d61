"""Courses: heights that cannot be are mended, steep climbs are walked, marks, laps and weather lie where they
belong."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from footwork.errors import UsageError
from footwork.history.conditions.race_weather import Weather
from footwork.physics import air
from footwork.physics.cost import running_cost, walking_cost
from footwork.physics.terrain import clean_heights
from footwork.planning import conditions, course, pacing
from footwork.questions import race
from footwork.signals import Course as Track
from tests.reference.test_pacing import MASS, engine

X = np.arange(0.0, 10_000.0, 10.0)
HILLS = 50 + 40 * np.sin(2 * np.pi * X / 5000)


def circle(metres=10_000.0, count=1000, heights=True, points=()):
    angle = np.linspace(0, 2 * np.pi, count)
    radius = metres / (2 * np.pi)
    lat = 45 + radius * np.sin(angle) / 111_195
    lon = 7 + radius * np.cos(angle) / (111_195 * np.cos(np.radians(45)))
    way = np.linspace(0, metres, count)
    z = 100 + 30 * np.sin(4 * np.pi * way / metres) if heights else np.full(count, np.nan)
    return Track(lat, lon, way, z, "loop", tuple(points))


def test_good_heights_stay():
    found, mended = clean_heights(X, HILLS)
    assert not mended
    np.testing.assert_allclose(found, HILLS, atol=0.2)


@pytest.mark.parametrize(
    ("name", "spoil"),
    [
        ("spikes", lambda z: z.__setitem__(slice(300, 303), z[300:303] + 40)),
        ("bridges", lambda z: z.__setitem__(slice(500, 530), z[500:530] + 60)),
        ("steps", lambda z: z.__setitem__(slice(600, None), z[600:] + 25)),
    ],
)
def test_heights_that_cannot_be_are_mended(name, spoil):
    spoiled = HILLS.copy()
    spoil(spoiled)
    found, mended = clean_heights(X, spoiled)
    assert set(mended) == {name}
    assert np.abs(found - HILLS).max() < 12 and np.abs(np.diff(found)).max() <= 5.0


def test_the_drift_of_a_closed_course_is_spread_and_more_is_left():
    found, mended = clean_heights(X, HILLS + 20 * X / X[-1], 10.0)
    assert mended["drift"] == pytest.approx(20, abs=0.7) and np.abs(found - HILLS).max() < 1
    assert not clean_heights(X, HILLS + 20 * X / X[-1], 500.0)[1]
    assert not clean_heights(X, HILLS + 200 * X / X[-1], 10.0)[1]


# Minetti 2002: at 30 % a metre of walking costs 11.18 J/kg and one of running 12.58 (polynomials of the paper,
# computed).
def test_steep_slow_climbs_are_walked():
    assert walking_cost(0.3) == pytest.approx(11.18, abs=0.01) and running_cost(0.3) == pytest.approx(12.58, abs=0.01)
    for grade, ratio in ((0.3, 12.58 / 11.18), (0.1, 1.0)):
        hill = course.Course(np.array([50.0]), np.array([grade]), np.zeros(1), np.full(1, 1.225))
        walk, run = course.ground_factor(hill, 1.0), course.ground_factor(hill, 2.0)
        assert run / walk == pytest.approx(ratio, rel=1e-3)


def test_walking_is_quicker_on_a_hill_race_and_power_never_jumps_over_what_is_asked():
    runner = engine(None)
    grade = np.where(np.arange(200) % 40 < 15, 0.28, -0.1)
    hilly = course.Course(np.full(200, 100.0), grade, np.zeros(200), np.full(200, 1.225))
    run = pacing.even_power(runner, hilly)
    assert course.walked(grade, run.speed).any()
    assert run.power.max() <= runner.hardest
    asked = np.linspace(120, 420, 200)
    assert (pacing.needed_power(runner, hilly, pacing.speed_at(runner, hilly, asked)) <= asked * (1 + 1e-9)).all()
    best, solved = pacing.quickest(runner, hilly)
    assert solved.status == "converged" and best.time <= run.time


def test_a_hundred_kilometres_of_hills_are_planned():
    runner = engine(MASS)
    count = course.segment_count(100_000.0)
    grade = 0.2 * np.sign(np.sin(np.arange(count) / 20))
    hilly = course.Course(np.full(count, 100_000.0 / count), grade, np.zeros(count), np.full(count, 1.1))
    best, solved = pacing.quickest(runner, hilly)
    assert solved.status == "converged" and best.endurance[-1] == pytest.approx(0, abs=2e-3)


def test_a_stop_takes_its_seconds_and_gives_w_prime_back():
    runner = engine(MASS)
    stood = np.zeros(100)
    stood[49] = 60.0
    plain, halted = (
        course.Course(np.full(100, 50.0), np.zeros(100), np.zeros(100), np.full(100, 1.225), stopped=s)
        for s in (None, stood)
    )
    speed = np.full(100, 4.6)
    a, b = pacing.at_speed(runner, plain, speed), pacing.at_speed(runner, halted, speed)
    assert b.time == pytest.approx(a.time + 60)
    assert b.clock[49] == pytest.approx(a.clock[49]) and b.clock[50] == pytest.approx(a.clock[50] + 60)
    assert b.w_prime[-1] > a.w_prime[-1] and b.w_prime[49] == a.w_prime[49]


def test_a_harder_second_half_costs_a_little():
    runner = engine(MASS)
    flat = course.Course(np.full(200, 50.0), np.zeros(200), np.zeros(200), np.full(200, 1.225))
    even = pacing.even_power(runner, flat)
    lean = pacing.leaning(runner, flat, even, 0.03, 0.0)
    halves = [float(np.mean(lean.power[part])) for part in (slice(0, 100), slice(100, 200))]
    assert halves[1] / halves[0] == pytest.approx(1.03, abs=0.002)
    assert 0 <= lean.time - even.time < 0.005 * even.time


def test_places_that_a_runner_recognises():
    way = race.lay(circle(points=[(45.0, 7.0 - 10_000 / (2 * np.pi) / (111_195 * np.cos(np.radians(45))), "Drinks")]))
    names = [(round(p.at / 100), p.name) for p in way.places()]
    assert (50, "Drinks") in names
    tops = [at for at, name in names if name == "top of the hill"]
    assert [abs(at - wanted) <= 1 for at, wanted in zip(tops, (12, 62), strict=True)] == [True, True]
    out = np.concatenate([np.linspace(0, 0.03, 60), np.linspace(0.03, 0, 60)[1:]])
    there = Track(45 + out, np.full(119, 7.0), np.linspace(0, 6600, 119), np.full(119, 10.0), "there and back")
    assert [p.name for p in race.lay(there, flat=True).places()] == ["turning point"]


def test_laps_official_distance_and_the_watch():
    way = race.lay(circle(), 42_195.0, laps=4)
    assert way.path.distance == pytest.approx(42_195) and len(way.path.length) == 844
    assert way.climb == pytest.approx(4 * race.lay(circle()).climb, rel=0.02)
    assert np.ptp(way.heading) > 300
    assert race.lay(circle(), 9900.0).watch == 1.0  # a drawn course tells nothing of a watch
    ran = circle()
    recorded = Track(ran.latitude, ran.longitude, ran.distance, ran.altitude, "run 3", recorded=True)
    assert race.lay(recorded, 9900.0).watch == pytest.approx(10_000 / 9900)
    half = Track(*(v[:500] for v in (ran.latitude, ran.longitude, ran.distance, ran.altitude)), "half of it")
    with pytest.raises(UsageError, match="no lap"):
        race.lay(half, laps=2)
    with pytest.raises(UsageError, match="too far from the official"):
        race.lay(circle(), 42_195.0)


def test_heights_from_a_run_on_the_course():
    bare = circle(heights=False)
    assert any("taken as flat" in n for n in race.lay(bare, flat=True).notes)
    with pytest.raises(UsageError, match="has no heights, and hills decide"):
        race.lay(bare)
    level = replace(bare, altitude=np.full(len(bare.distance), 12.0))  # an instrument that measured none
    with pytest.raises(UsageError, match="has no heights"):
        race.lay(level)
    way = race.lay(bare, heights=circle(count=700))
    assert way.climb == pytest.approx(race.lay(circle()).climb, rel=0.05)
    far = circle()
    away = Track(far.latitude + 1, far.longitude, far.distance, far.altitude, "elsewhere")
    with pytest.raises(UsageError, match="passes only"):
        race.lay(bare, heights=away)


def test_marks_stand_and_cost():
    found = race.parse_mark("3-5km: sand, +15 %")
    assert (found.start, found.end, found.name, found.cost) == (3000, 5000, "sand", 0.15)
    assert race.parse_mark("7km: drinks, 20 s").seconds == 20
    way = race.lay(circle(), marks=[found, race.parse_mark("7km: drinks, 20 s")])
    cost = np.broadcast_to(way.path.surface, way.path.length.shape)
    assert cost[70] == pytest.approx(1.15) and cost[10] == 1 and way.path.stops.sum() == 20
    for bad in ("drinks", "5km-3km: back", "3km: sand, +15 %", "3km-4km: mud, +900 %"):
        with pytest.raises(UsageError):
            race.parse_mark(bad)
    with pytest.raises(UsageError, match="beyond the finish"):
        race.lay(circle(), marks=[race.parse_mark("12km: drinks")])


def test_the_wind_turns_with_the_hours():
    start = dt.datetime(2026, 10, 4, 9, tzinfo=dt.UTC)
    reports = [
        {
            "time": start.timestamp() + 3600 * k,
            "wind_mps": 6.0,
            "wind_from_deg": d,
            "temperature_c": 12 + 4 * k,
            "humidity": 0.6,
        }
        for k, d in ((0, 0.0), (1, 180.0))
    ]
    sky = Weather().along(reports, start)
    north = np.array([0.0, 0.0])
    # 1.2 m over open grass behind the usual shelter: ln(1.2/0.03)/ln(10/0.03) · 0.7 of the wind at 10 m (textbook
    # profile).
    share = np.log(1.2 / 0.03) / np.log(10 / 0.03) * 0.7
    np.testing.assert_allclose(sky.wind_along(north, np.array([0.0, 3600.0]))[0], [6 * share, -6 * share])
    assert abs(sky.wind_along(north, np.array([1800.0]))[0][0]) < 1e-9
    np.testing.assert_allclose(sky.value("temperature", np.array([0.0, 1800.0])), [12, 14])
    assert sky.heat(np.array([3600.0]))[0] > sky.heat(np.array([0.0]))[0]
    with pytest.raises(UsageError, match="no weather report"):
        Weather().along(reports, start + dt.timedelta(days=3))
    with pytest.raises(UsageError, match="wind direction"):
        Weather(wind=3.0, wind_from=400.0).checked()


# The logarithmic profile for open grass (z0 0.03 m), textbook formula: shares of the wind at 10 m.
@pytest.mark.parametrize(
    ("height", "share"), [(0.5, 0.484), (1.0, 0.604), (1.2, 0.635), (2.0, 0.723), (5.0, 0.881), (10.0, 1.0)]
)
def test_the_wind_profile_as_a_table(height, share):
    assert air.wind_at_height(1.0, height) == pytest.approx(share, abs=6e-4)


def test_drafting_saves_time_only_with_a_mass():
    runner = engine(MASS)
    flat = course.flat_course(10_000.0, 3.0)
    behind = course.Course(flat.length, flat.grade, flat.headwind, flat.density, drag=0.5)
    assert pacing.even_power(runner, behind).time < pacing.even_power(runner, flat).time - 10
    light = engine(None)
    assert pacing.even_power(light, behind).time == pytest.approx(pacing.even_power(light, flat).time)


# Millet & Vleck 2000: energy cost of running rises by 1.6 to 11.6 % after cycling.
def test_after_a_ride_by_the_literature_and_by_brick_runs():
    middle, sd = conditions.after_ride(2 * 3600.0)
    assert np.exp(-middle) - 1 == pytest.approx((0.016 + 0.116) / 2) and 4 * sd == pytest.approx(0.116 - 0.016)
    assert conditions.after_ride(1800.0)[0] == pytest.approx(middle / 2)
    assert conditions.combined((0.0, 0.02), [], 0.01) == (0.0, 0.02)
    known, less = conditions.combined((0.0, 0.02), [0.03] * 4, 0.01)
    assert known == pytest.approx(0.03 * 4e4 / (4e4 + 2.5e3)) and less < 0.005


def test_laps_have_no_step_at_their_joints():
    for drift in (2.9, 40.0):
        lap = circle(1000.0, 200)
        risen = Track(lap.latitude, lap.longitude, lap.distance, np.linspace(0, drift, 200), "lap")
        way = race.lay(risen, laps=5)
        assert np.abs(way.path.grade).max() < 0.01 and way.climb < 2
    steep = Track(lap.latitude, lap.longitude, lap.distance, np.linspace(0, 90, 200), "lap")
    with pytest.raises(UsageError, match="no lap"):
        race.lay(steep, laps=2)


def test_marks_may_begin_at_the_start():
    for text in ("0km-5km: sand, +15 %", "0-5km: sand, +15 %", "0 - 3 miles: sand, +15 %"):
        assert race.parse_mark(text).start == 0 and race.parse_mark(text).end > 4000


def test_hourly_reports_of_other_places_do_not_count():
    start = dt.datetime(2026, 10, 4, 9, tzinfo=dt.UTC)
    here = {"time": start.timestamp(), "wind_mps": 2.0, "wind_from_deg": 0.0, "latitude": 45.1, "longitude": 7.0}
    far = {**here, "time": start.timestamp() + 600, "wind_mps": 9.0, "latitude": 51.0}
    sky = Weather().along([far, here], start, (45.0, 7.0))
    assert len(sky.hours) == 1 and sky.hours[0][1].wind == 2.0


def test_even_power_and_even_pace_in_a_given_time():
    runner = engine(MASS)
    flat = course.flat_course(10_000.0)
    for seconds in (2600.0, 4000.0, 6000.0):
        for even_speed in (False, True):
            assert pacing.in_time(runner, flat, seconds, even_speed).time == pytest.approx(seconds, rel=1e-4)
