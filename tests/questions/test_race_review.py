"""A race as it was run, against the plan of the day before."""

import datetime as dt

import numpy as np
import pytest

from footwork.errors import NotEnoughData, UsageError
from footwork.history.conditions.race_weather import Weather
from footwork.history.recordings import run_signals
from footwork.questions import race
from footwork.questions.race import Change
from tests.conftest import RUNNER
from tests.planning.test_course import circle
from tests.questions.conftest import run_of

SPEED_CP = RUNNER.speed_cp
FLAT_TEN = {"distance": 10_000.0}


@pytest.fixture
def library(raced_season):
    return raced_season


def test_a_review_leaves_out_the_warm_up_and_what_came_after_the_day_before(library):
    run = run_of(library, dt.date(2026, 4, 26))
    found = library.review(run)
    assert found["time_s"] == pytest.approx(2400, abs=40)
    assert found["evidence_until"] == "2026-04-25" and found["counts"]
    assert found["planned_s"] + found["lost_s"] == pytest.approx(found["time_s"], abs=3)
    assert sum(r["planned_s"] for r in found["rows"]) == pytest.approx(found["planned_s"], abs=0.1)
    assert found["effort_s"] + found["other_s"] == pytest.approx(found["lost_s"], abs=1e-6)
    assert sum(r["time_s"] for r in found["rows"]) == pytest.approx(found["time_s"], abs=2)
    assert 0 <= found["stores"]["dry_probability"] <= 1
    assert found["tail_after"]["value"] != found["tail_before"]["value"]  # marked as race, it is evidence of the tail


def test_a_plan_is_never_judged_by_the_run_it_was_fitted_on(library):
    run = run_of(library, dt.date(2026, 4, 26))
    before = library.review(run)["predicted"]
    library.mark(run, "race", remove=True)
    try:
        assert library.review(run)["predicted"] == before
    finally:
        library.mark(run, "race")


def test_an_easy_run_empties_no_store_and_a_hard_one_does(library):
    """Half an easy hour leaves both stores full on any day; forty minutes at 0.97 of critical speed do not."""
    easy = library.review(run_of(library, dt.date(2026, 4, 13)))["stores"]
    hard = library.review(run_of(library, dt.date(2026, 4, 26)))["stores"]
    assert easy["dry_probability"] < 0.02 and easy["endurance_spent"] < 0.5
    assert hard["dry_probability"] == hard["profile"][-1]["dry"] > 0.1
    assert [p["dry"] for p in hard["profile"]] == sorted(p["dry"] for p in hard["profile"])  # dry stays dry


def test_a_fade_is_seen(library):
    found = library.review(run_of(library, dt.date(2026, 5, 3)))
    assert found["fade_share"] > 0.1 and "a fade" in found["sentence"] and "not marked as race" in found["sentence"]


def test_the_log_holds_marked_races_and_says_when_they_are_too_few(library):
    found = library.predictions()
    (row,) = found["races"]
    assert row["run"] == run_of(library, dt.date(2026, 4, 26)) and row["time_s"] == pytest.approx(2400, abs=40)
    assert row["predicted"]["p10"] < row["predicted"]["p50"] < row["predicted"]["p90"]
    assert found["error"]["value"] is None and "too few" in found["sentence"]


def test_positions_that_come_late_do_not_shorten_the_race(library, monkeypatch):
    from footwork.questions import race

    run = run_of(library, dt.date(2026, 4, 26))
    whole = library.review(run)
    real = run_signals.signals

    def late(lib, number):
        found = real(lib, number)
        if number == run:
            for name in ("latitude", "longitude"):
                found.columns[name] = np.where(np.arange(len(found)) < 1000, np.nan, 45 + np.arange(len(found)) * 2e-5)
        return found

    monkeypatch.setattr(run_signals, "signals", late)
    found = race.review_race(library, run)
    assert found["distance_m"] == pytest.approx(whole["distance_m"], rel=0.001)


def test_a_race_after_a_ride_is_no_fresh_evidence_and_no_prediction(library):
    run = run_of(library, dt.date(2026, 4, 26))
    day = dt.date(2026, 4, 27)
    fresh = library.capacity(date=day).to_json()
    library.mark(run, "brick")
    try:
        assert library.capacity(date=day).to_json()["tail"] != fresh["tail"]
        assert "after a ride" in library.predictions()["races"][0]["reason"]
    finally:
        library.mark(run, "brick", remove=True)


def test_a_review_is_on_the_runs_own_scale(library):
    with pytest.raises(UsageError, match="on that scale only"):
        library.review(run_of(library, dt.date(2026, 4, 26)), scale="model")


def test_a_damaged_course_for_the_watch_is_refused(library):
    from footwork.errors import UnreadableFile
    from footwork.formats import fit

    data = race.race_course(library.race(course=circle()), "Bay")
    assert len(fit.read(data).latitude) == 201
    with pytest.raises(UnreadableFile, match="damaged"):
        fit.read(data[: 2 * len(data) // 3])


def test_a_run_past_a_private_place_is_no_course_file(library):
    import types

    plan = library.race(course=circle())
    hidden = types.SimpleNamespace(
        course={**plan.course, "private": True}, question=plan.question, strategies=plan.strategies
    )
    with pytest.raises(UsageError, match="private"):
        race.race_course(hidden)


def test_a_run_before_which_nothing_is_known_has_no_review(library):
    with pytest.raises(NotEnoughData):
        library.review(min(r.id for r in library.runs() if r.local.date() == dt.date(2026, 3, 2)))


def test_a_race_run_exactly_as_planned_lost_nothing_by_effort(library):
    """Watts as the plan has them on its own roads: what is left is not effort, and a calm day has no wind."""
    from footwork.questions.race import race_plan, race_review

    for asked in ({}, {"weather": Weather(wind=6.0, wind_from=240.0)}):
        plan = race_plan.plan_race(library, course=circle(), **asked)
        segments = plan.strategies["strategies"]["quickest"]["segments"]
        took = np.array([50.0 / s["speed_mps"] for s in segments]) / (1 + plan.strategies["in_hand_share"])
        shown = np.array([s["shown_w"] for s in segments])
        found = race_review._told(plan, plan.basis.path, took, shown, {})
        assert abs(found["effort_s"]) < 2 and found["lost_s"] < 0
        assert found["effort_s"] + found["other_s"] == pytest.approx(found["lost_s"])
        if not asked:
            assert abs(found["wind_s"]) < 2
        else:  # a loop: what is lost against the wind is mostly won with it, the crosswind is not
            assert 0 < found["wind_s"] < 60


def test_what_is_stood_on_the_way_is_not_run_slower(library):
    stop = ("5km: drinks, 300 s",)
    plain, stood = library.race(**FLAT_TEN), library.race(**FLAT_TEN, marks=stop)
    assert stood.time.value == pytest.approx(plain.time.value + 300, abs=20)
    assert stood.strategies["late_probability"] == pytest.approx(0.2, abs=0.02)
    assert race.even_power(stood, Change())["time_s"] == pytest.approx(
        stood.strategies["strategies"]["even-power"]["time_s"], rel=1e-4
    )
    paced = library.race(**FLAT_TEN, companion=1000 / 330, marks=stop)
    assert paced.goal["time_s"] == pytest.approx(3600)
