"""A race from the question to the review: what was asked, what is taken along, what came of it."""

import csv
import datetime as dt
import io

import numpy as np
import pytest

from footwork.analysis.efforts import hard_part
from footwork.errors import UsageError
from footwork.history import catalogue
from footwork.history.conditions import weather
from footwork.history.conditions.race_weather import Weather
from footwork.quantities import format_duration
from footwork.questions import race
from footwork.questions.race import Change, RaceQuestion
from footwork.wording.race_words import last_race
from footwork.wording.season_words import day_name
from tests.conftest import RUNNER, fit_of, simulate
from tests.planning.test_course import circle
from tests.questions.conftest import run_of

SPEED_CP = RUNNER.speed_cp
FLAT_TEN = {"distance": 10_000.0}


@pytest.fixture
def library(raced_season):
    return raced_season


def test_the_race_in_a_run():
    easy, hard = np.full(900, 180.0), np.full(2400, 280.0)
    rng = np.random.default_rng(1)
    noisy = np.concatenate([easy, hard, np.full(600, 150.0)]) + rng.normal(0, 15, 3900)
    begin, end = hard_part(noisy)
    assert begin == pytest.approx(900, abs=10) and end == pytest.approx(3300, abs=10)
    assert hard_part(hard + rng.normal(0, 15, 2400)) == (0, 2400)
    assert hard_part(np.concatenate([hard, 0.93 * hard])) == (0, 4800)  # a fade is not a cool-down
    assert hard_part(np.full(60, 250.0)) == (0, 60)


def test_a_companion_is_a_goal_at_even_pace(library):
    plan = library.race(**FLAT_TEN, companion=1000 / 330)
    assert plan.goal["time_s"] == pytest.approx(3300) and plan.strategies["chosen"] == "even-pace"
    assert plan.strategies["strategies"]["even-pace"]["time_s"] == pytest.approx(3300, rel=2e-3)


def test_a_goal_far_slower_than_the_best_is_kept(library):
    plan = library.race(**FLAT_TEN, time=80 * 60.0)
    for row in plan.strategies["strategies"].values():
        assert row["time_s"] == pytest.approx(4800, rel=3e-3)
    slower = library.race(**FLAT_TEN, companion=10_000 / 6600)
    assert slower.strategies["strategies"]["even-pace"]["time_s"] == pytest.approx(6600, rel=3e-3)


def test_own_watts_are_run_as_asked_and_their_end_is_told(library):
    plan = library.race(**FLAT_TEN, own=("5km=230", "10km=200"), strategy="own")
    own = plan.strategies["strategies"]["own"]
    assert own["segments"][0]["power_w"] > own["segments"][-1]["power_w"] and own["dry_at_m"] is None
    hard = library.race(**FLAT_TEN, own=("10km=420",)).strategies["strategies"]["own"]
    assert hard["dry_at_m"] < 10_000
    for bad in (("5km",), ("5km=0",), ("5km=240", "3km=250")):
        with pytest.raises(UsageError):
            library.race(**FLAT_TEN, own=bad)


def test_a_ride_before_takes_from_what_can_be_held(library):
    fresh, tired = (library.race(**FLAT_TEN, after_ride=r) for r in (None, 4000.0))
    assert tired.time.value > 1.02 * fresh.time.value
    assert tired.conditions["after_ride"]["held"]["value"] == pytest.approx(-6.2, abs=0.3)
    assert any("After the ride" in c for c in tired.strategies["cautions"])
    assert not catalogue.bricks(library)
    run = run_of(library, dt.date(2026, 4, 26))
    library.mark(run, "brick")
    try:
        assert catalogue.bricks(library) == {run}
        taught = library.race(**FLAT_TEN, after_ride=4000.0).conditions["after_ride"]
        assert taught["watts_at_speed"]["n"] == 1 and taught["held"]["n"] == 1
        assert taught["held"]["value"] > tired.conditions["after_ride"]["held"]["value"]  # it was run as if fresh
        assert (
            any(u["name"] == "ride" for u in tired.strategies["unknowns"])
            and tired.conditions["capacity_factor"].value == fresh.conditions["capacity_factor"].value
        )
    finally:
        library.mark(run, "brick", remove=True)


def test_a_ride_takes_by_its_length_and_intensity_or_what_is_said(library, tmp_path):
    held = {
        told: library.race(**FLAT_TEN, after_ride=told).conditions["after_ride"]["held"]["value"]
        for told in ("0:30:00", "1:10:00", "1:10:00 at 85 %", "1:10:00 at 68 %", "5:00:00 takes 9 %")
    }
    assert held["1:10:00"] == held["1:10:00 at 85 %"] == pytest.approx(-6.2, abs=0.1)
    # Half an hour takes half of the logarithm, four fifths of a race's intensity four fifths.
    assert np.log1p(held["0:30:00"] / 100) == pytest.approx(np.log1p(held["1:10:00"] / 100) / 2)
    assert np.log1p(held["1:10:00 at 68 %"] / 100) == pytest.approx(0.8 * np.log1p(held["1:10:00"] / 100))
    assert held["5:00:00 takes 9 %"] == pytest.approx(-9.0)
    short = library.race(**FLAT_TEN, after_ride="1:10").conditions["after_ride"]
    assert short["ride_s"] == 4200  # hours and minutes: nobody rides 70 s before a run
    with pytest.raises(UsageError, match="longer than anything known here"):
        library.race(**FLAT_TEN, after_ride="5:00:00")
    for bad, words in (
        ("soon", "is not a duration"),
        ("an hour or so", "is no ride"),
        ("1:00:00 at 300 %", "cannot be"),
        ("80:00:00", "lasts up to a day"),
    ):
        with pytest.raises(UsageError, match=words):
            library.race(**FLAT_TEN, after_ride=bad)


def test_the_run_of_a_triathlon_has_its_first_kilometre_apart_and_one_clock(library):
    plan = library.race(**FLAT_TEN, after_ride="1:10:00", transitions=("2:00", "1:30"))
    first = plan.strategies["instructions"][0]
    assert first["end_m"] == pytest.approx(1000.0) and "off the bicycle" in first["why"]
    ride = plan.conditions["after_ride"]
    assert ride["with_run"]["value"] == pytest.approx(plan.time.value + 4200 + 210)
    assert "off the bicycle" not in library.race(**FLAT_TEN).strategies["instructions"][0]["why"]
    with pytest.raises(UsageError, match="belong to a ride"):
        library.race(**FLAT_TEN, transitions=("2:00",))
    with pytest.raises(UsageError, match="two at most"):
        library.race(**FLAT_TEN, after_ride="1:10:00", transitions=("2:00", "1:30", "1:00"))


def test_a_recorded_ride_gives_its_time(library, tmp_path):
    from footwork.demo import _ride

    (tmp_path / "rides").mkdir()
    _ride(tmp_path / "rides", dt.date(2026, 4, 4), brick=False)
    (file,) = (tmp_path / "rides").iterdir()
    told = library.race(**FLAT_TEN, after_ride=str(file)).conditions["after_ride"]
    assert 1800 < told["ride_s"] < 4 * 3600 and told["held"]["value"] < -3
    (tmp_path / "run.fit").write_bytes(fit_of(simulate(dt.date(2026, 5, 9), [(900, 0.7)], seed=1)))
    with pytest.raises(UsageError, match="holds no ride"):
        library.race(**FLAT_TEN, after_ride=str(tmp_path / "run.fit"))


def test_the_course_of_the_watch_is_read_back_by_two_decoders(library):
    import fitdecode
    import fitfast

    plan = library.race(
        course=circle(points=[(46.0, 7.02, "Nowhere near")]),
        marks=("7km: drinks, 20 s",),
        start=dt.datetime(2026, 10, 4, 9, tzinfo=dt.UTC),
    )
    data = race.race_course(plan, "Bay loop")
    with fitdecode.FitReader(io.BytesIO(data), check_crc=fitdecode.CrcCheck.RAISE) as reader:
        found = [f for f in reader if isinstance(f, fitdecode.FitDataMessage)]
    named = {n: [f for f in found if f.name == n] for n in ("file_id", "course", "lap", "record", "course_point")}
    assert named["file_id"][0].get_value("type") == "course" and named["course"][0].get_value("name") == "Bay loop"
    assert len(named["record"]) == 201 and named["record"][-1].get_value("distance") == pytest.approx(10_000)
    best = plan.strategies["strategies"]["quickest"]
    assert named["lap"][0].get_value("total_elapsed_time") == pytest.approx(best["time_s"], abs=0.01)
    assert named["record"][0].get_value("altitude") == pytest.approx(100, abs=3)
    points = named["course_point"]
    assert len(points) == len(plan.strategies["instructions"]) + 1
    assert "drinks" in {p.get_value("name") for p in points}
    first = plan.strategies["instructions"][0]
    assert points[0].get_value("name") == f"{first['low_w']:.0f}-{first['high_w']:.0f} W"
    # Degrees = semicircles · 180 / 2^31 (public protocol).
    assert points[0].get_value("position_lat") * 180 / 2**31 == pytest.approx(45.0, abs=1e-5)
    other = fitfast.parse(data, datetimes=False)
    assert [p["name"] for p in other["course_point"]] == [p.get_value("name") for p in points]
    assert len(other["record"]) == 201
    with pytest.raises(UsageError, match="positions"):
        race.race_course(library.race(**FLAT_TEN))


def test_a_walked_stretch_has_no_band_and_steps_count_by_the_watch(library):
    import fitfast

    steep = circle(8000.0)
    plan = library.race(
        course=type(steep)(
            steep.latitude,
            steep.longitude,
            steep.distance,
            300 - np.abs(steep.distance - 4000) * 0.26 + 1000,
            "peak",
            recorded=True,
        ),
        distance=7900.0,
    )
    steps = fitfast.parse(race.race_workout(plan, "Peak"), datetimes=False)["workout_step"]
    assert plan.strategies["instructions"][0]["walked"]
    assert sum(s["duration_value"] for s in steps) / 100 == pytest.approx(8000, abs=2)
    assert steps[0]["target_type"] in (2, "open") and "walk" in steps[0]["wkt_step_name"]


def test_the_plan_as_a_table(library):
    plan = library.race(**FLAT_TEN, strategy="even-power")
    rows = list(csv.DictReader(io.StringIO(race.race_table(plan).decode())))
    segments = plan.strategies["strategies"]["even-power"]["segments"]
    assert len(rows) == len(segments) and float(rows[-1]["end_m"]) == 10_000
    assert float(rows[3]["power_w"]) == pytest.approx(segments[3]["power_w"], abs=1e-3)


def test_what_if_moves_the_right_way(library):
    plan = library.race(course=circle(), weather=Weather(temperature=20.0, humidity=0.5, wind=2.0, wind_from=0.0))
    base = race.even_power(plan, Change())
    assert base["time_s"] == pytest.approx(plan.strategies["strategies"]["even-power"]["time_s"], rel=1e-6)
    slower = [Change(critical_power=0.97), Change(mass=4.0), Change(warmer=8.0), Change(wind=6.0), Change(power=0.95)]
    for change in slower:
        assert race.even_power(plan, change)["time_s"] > base["time_s"] + 2, change
    hard = race.even_power(plan, Change(power=1.05))
    assert hard["time_s"] < base["time_s"] and hard["gives_way_probability"] > base["gives_way_probability"] + 0.2
    quickest = race.optimum(plan, Change(critical_power=0.97))
    planned = plan.strategies["strategies"]["quickest"]["time_s"]
    assert quickest["status"] == "converged" and quickest["time_s"] > planned
    with pytest.raises(UsageError):
        race.even_power(plan, Change(power=3.0))
    calm = library.race(course=circle())
    assert not race.can_change_wind(calm)
    with pytest.raises(UsageError, match="direction"):
        race.even_power(calm, Change(wind=2.0))
    tail = library.race(**FLAT_TEN, weather=Weather(wind=-3.0))
    less, more = (race.even_power(tail, Change(wind=w))["time_s"] for w in (-1.0, 1.0))
    assert less < race.even_power(tail, Change())["time_s"] < more


def test_weather_by_the_hour_from_metars(library):
    start = dt.datetime(2026, 10, 4, 9, tzinfo=dt.UTC)
    reports = weather.of_metars(["LPPT 040900Z 36010KT 18/10 Q1015", "LPPT 041000Z 18010KT 26/12 Q1015"], start)
    plan = library.race(course=circle(), start=start, reports=tuple(reports))
    assert plan.splits[-1]["clock"].startswith("2026-10-04T09:")
    assert plan.conditions["hottest_wet_bulb_globe_c"] > plan.conditions["wet_bulb_globe_c"]
    still = library.race(course=circle(), start=start)
    assert plan.time.value != still.time.value
    with pytest.raises(UsageError, match="is of day"):
        weather.of_metars(["LPPT 200900Z 36010KT 18/10 Q1015"], start)
    with pytest.raises(UsageError, match="needs the start"):
        RaceQuestion(distance=10_000.0, reports=tuple(reports)).checked()


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"companion": 3.0, "time": 3000.0}, "two goals"),
        ({"draft": 1.5}, "drafting"),
        ({"negative_split": 0.5}, "negative split"),
        ({"after_ride": -5.0}, "a ride before"),
        ({"laps": 0}, "laps"),
        ({"laps": 2}, "belong to a course"),
        ({"smoothing": 1.0}, "smoothing"),
        ({"companion": 0.1}, "companion"),
        ({"strategy": "own"}, "none are given"),
        ({"strategy": "fast"}, "no strategy here"),
        ({"course": 999}, "no run 999"),
        ({"marks": ("20km: drinks",)}, "beyond the finish"),
        ({"course": circle(), "weather": Weather(wind=3.0)}, "direction too"),
    ],
)
def test_what_cannot_be_asked_is_one_sentence(library, asked, words):
    with pytest.raises(UsageError, match=words):
        library.race(**{**FLAT_TEN, **asked})


def test_everything_shown_is_of_one_plan(library):
    """Large figures, splits, instructions, watch and table: the chosen strategy, whatever was asked."""
    import fitfast

    windy = Weather(wind=9.0, wind_from=90.0, temperature=15.0)
    for asked in (
        {},
        {"strategy": "even-pace", "risk": 0.1},
        {"time": 2700.0},
        {"negative_split": 0.02},
        {"own": ("5km=230", "10km=240"), "strategy": "own"},
        {"marks": ("5km: drinks, 60 s",)},
        {"after_ride": "1:10:00"},
    ):
        plan = library.race(course=circle(), weather=windy, **asked)
        chosen = plan.strategies["strategies"][plan.strategies["chosen"]]
        assert plan.power.value == pytest.approx(chosen["mean_power_w"]) and plan.time.value == chosen["time_s"]
        assert plan.pace.value == pytest.approx(100 * chosen["time_s"] / 1000)
        assert plan.splits[-1]["time_s"] == pytest.approx(chosen["time_s"], abs=0.01)
        told = plan.strategies["instructions"]
        assert told[-1]["clock_s"] == pytest.approx(chosen["time_s"], abs=0.01) and len(told) <= 10
        weighted = sum(i["effort_w"] * i["duration_s"] for i in told) / sum(i["duration_s"] for i in told)
        assert weighted == pytest.approx(chosen["mean_power_w"], rel=2e-3)
        assert f"{chosen['mean_power_w']:.0f} W" in plan.sentence
        shown = np.array([s["shown_w"] for s in chosen["segments"]])
        within = [(s["end_m"] <= told[0]["end_m"] + 1) for s in chosen["segments"]]
        assert told[0]["power_w"] == pytest.approx(shown[within].mean(), rel=0.01)
        steps = fitfast.parse(race.race_workout(plan, "x"), datetimes=False)["workout_step"]
        assert [s["wkt_step_name"].split(" ")[-1] for s in steps] == [f"{i['power_w']:.0f}W" for i in told]
        rows = list(csv.DictReader(io.StringIO(race.race_table(plan).decode())))
        assert float(rows[-1]["clock_s"]) == pytest.approx(chosen["time_s"], abs=0.01)


def test_without_a_flag_four_race_days_in_five_make_the_plan(library):
    plan = library.race(**FLAT_TEN)
    assert plan.strategies["chosen"] == "quickest" and plan.strategies["risk"] == 0.2
    assert plan.strategies["late_probability"] == pytest.approx(0.2, abs=0.01)
    assert "four days in five you make it" in plan.sentence
    # The planned time is slower than all that the runner most likely has, and inside what race days bring.
    assert plan.best_time.low < plan.best_time.value < plan.time.value < plan.time.high
    assert plan.best_power.value > plan.power.value
    bolder, shyer = (library.race(**FLAT_TEN, risk=r) for r in (0.5, 0.1))
    assert bolder.time.value < plan.time.value < shyer.time.value
    assert len(plan.strategies["instructions"]) == 3  # a flat, even course is three lines
    costs = [d["cost_share"] for d in plan.strategies["descents"]]
    assert 1 > costs[0] > costs[1] > costs[2] > 0.6  # the steeper the cheaper, of the level's cost


def test_a_race_of_a_time_alone_is_planned_on_the_same_runner(library):
    hour = library.race(time=3600.0)
    assert hour.time.value == pytest.approx(3600, rel=2e-3) and 0 < hour.strategies["reserve"] < 0.6
    there = library.race(distance=hour.distance.value)
    assert there.time.value == pytest.approx(3600, rel=5e-3)
    assert there.power.value == pytest.approx(hour.power.value, rel=5e-3)


def test_a_warmer_day_is_changed_from_what_the_plan_stands_on(library):
    """The slider and a plan asked with that temperature agree, whether the first was told one or took the season's."""
    for told in (None, 18.0):
        sky = Weather() if told is None else Weather(temperature=told)
        plan = library.race(**FLAT_TEN, weather=sky)
        stands = plan.conditions["temperature_c"]
        assert told is None or stands == told
        warm = library.race(**FLAT_TEN, weather=Weather(temperature=stands + 10))
        changed = race.even_power(plan, Change(warmer=10.0))["time_s"]
        assert changed == pytest.approx(warm.strategies["strategies"]["even-power"]["time_s"], rel=0.006)


def test_heat_is_against_what_the_runs_were_run_in():
    """Told temperatures count; where none is told the climate of the runs' days does, and the race's of its season."""
    from types import SimpleNamespace

    from footwork.physics.air import wet_bulb_globe_temperature as felt
    from footwork.physics.climate import usual_temperature
    from footwork.questions.race.race_day import _heats

    def run(told, latitude, day=dt.date(2026, 7, 1)):
        return SimpleNamespace(latitude=latitude, date=day, sky=SimpleNamespace(temperature=told))

    road = SimpleNamespace(latitude=None)
    usual, _ = _heats([run(20.0, None), run(24.0, None), run(31.0, None)], road, None)
    assert usual == pytest.approx(float(felt(24.0, 0.5)))
    july, january = dt.date(2026, 7, 1), dt.date(2027, 1, 10)
    evidence, race_day = _heats([run(None, 50.0)], road, january)
    assert evidence == pytest.approx(float(felt(usual_temperature(july.toordinal(), 50.0), 0.5)))
    assert race_day[0] == pytest.approx(usual_temperature(january.toordinal(), 50.0)) and race_day[1] < evidence
    assert _heats([run(None, None)], road, january) == (None, None)


def test_a_goal_typed_in_hours_and_minutes_is_read_as_such_and_said(library):
    plan = library.race(**FLAT_TEN, time="0:48")
    assert plan.goal["time_s"] == 2880 and any("read as 48:00" in w for w in plan.warnings)
    assert library.race(**FLAT_TEN, time="48:00").goal["time_s"] == 2880
    with pytest.raises(UsageError, match="faster than anyone"):
        library.race(**FLAT_TEN, time="0:20")


def test_a_course_without_heights_is_refused_unless_it_is_said_to_be_flat(library):
    with pytest.raises(UsageError, match="has no heights, and hills decide"):
        library.race(course=circle(heights=False))
    assert any("as you say" in w for w in library.race(course=circle(heights=False), flat=True).warnings)


def test_what_can_be_held_is_never_less_than_was_shown(library):
    """Before the day's conditions, the interval of what can be held begins no lower than the aged, capped best for that
    long."""
    from footwork.questions import capacity

    made = library.capacity()
    for metres in (5_000.0, 8_000.0):
        plan = library.race(distance=metres)
        shown = capacity.held_for(library, made.scale_key, made.date, plan.best_time.value)
        assert shown is not None and plan.best_power.low >= 0.995 * shown * plan.conditions["capacity_factor"].low


def test_an_ambitious_goal_is_planned_as_asked_and_its_price_is_told(library):
    best = library.race(**FLAT_TEN)
    goal = best.best_time.value * 0.98
    plan = library.race(**FLAT_TEN, time=goal)
    assert 0.05 < plan.goal["chance"] < 0.5
    assert plan.strategies["strategies"]["even-power"]["time_s"] == pytest.approx(goal, rel=1e-3)
    assert (
        plan.strategies["reserve"] < 0
        and plan.strategies["late_probability"] > best.strategies["late_probability"] + 0.1
    )
    assert plan.power.value == pytest.approx(plan.strategies["strategies"]["even-power"]["mean_power_w"], rel=0.01)
    with pytest.raises(UsageError, match="slower than a plan"):
        library.race(**FLAT_TEN, time=6 * 3600.0)


def test_a_variable_wind_is_left_out_and_said(library):
    sky = Weather().over("LPPT 251730Z VRB06KT 15/10 Q1015")
    for asked in (FLAT_TEN, {"course": circle()}):
        plan = library.race(**asked, weather=sky)
        assert plan.conditions["headwind_mps"] == 0 and any("variable" in w for w in plan.warnings)


def test_the_last_race_of_a_comparable_length_stands_beside_the_plan(library):
    """Without its warm-up and cool-down: the race is the forty minutes in the middle of the run."""
    raced = next(r for r in library.runs() if "race" in r.marks)
    logged = next(r for r in library.predictions().races if r["run"] == raced.id)
    plan = library.race(time="40:00")
    found = plan.last_race
    assert (found["run"], found["date"]) == (raced.id, raced.local.date().isoformat())
    assert found["time_s"] == logged["time_s"] < raced.elapsed_s - 300
    assert found["distance_m"] == pytest.approx(logged["distance_m"]) and found["power_w"] > raced.power_w + 5
    assert last_race(found, False) == (
        f"Your last race of a comparable length, on {day_name(found['date'])}: {found['distance_m'] / 1000:.2f} km in "
        f"{format_duration(found['time_s'])} at {found['power_w']:.0f} W."
    )
    for apart in (1.41, 1 / 1.41):
        assert library.race(time=found["time_s"] * apart).last_race is None
        assert library.race(time=found["time_s"] * (apart - 0.02 if apart > 1 else apart + 0.02)).last_race == found
    day = raced.local.date()
    assert library.race(time="40:00", date=day).last_race == found
    assert library.race(time="40:00", date=day - dt.timedelta(days=1)).last_race is None
