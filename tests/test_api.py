"""Python takes text as the command line does, and says in one sentence what it cannot take."""

import datetime as dt
import shutil

import pytest

from footwork import FootworkError, Library
from footwork.history.conditions.race_weather import Weather


@pytest.fixture(scope="module")
def library(season_library, tmp_path_factory):
    folder = tmp_path_factory.mktemp("api") / "season"
    season_library.close()
    shutil.copytree(season_library.folder, folder)
    with Library.open(folder) as made:
        yield made


def test_dates_distances_and_durations_may_be_text(library):
    day = dt.date(2026, 4, 10)
    assert library.capacity(date="2026-04-10").to_json() == library.capacity(date=day).to_json()
    assert library.find(since="2026-04-10") == library.find(since=day) != library.find()
    assert library.usual("2026-04-10") == library.usual(day)
    assert library.load("2026-04-01", "2026-04-10")["runs"] == library.load(dt.date(2026, 4, 1), day)["runs"] > 0
    first = library.race(distance="10km", time="45:00", date="2026-04-10", draft="20 %", wind="3@90", humidity="60")
    second = library.race(distance=10_000.0, time=2700.0, date=day, draft=0.2, wind="3@90", humidity=60)
    assert first.question == second.question and first.time == second.time
    number = library.runs()[0].id
    whole = library.run(number).row.duration_s
    edit = library.trim(number, begin="1:00")
    assert library.run(number).row.duration_s == pytest.approx(whole - 60, abs=1)
    library.undo(edit)


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda x: x.race(distance="10 parsec"), "not a distance"),
        (lambda x: x.race(distanc="10km"), "a race has no distanc"),
        (lambda x: x.race(distance=[10]), "not a number"),
        (lambda x: x.race(distance="10km", start="noon"), "no time"),
        (lambda x: x.race(distance="10km", humidity="140"), "humidity"),
        (lambda x: x.race(distance="10km", laps="two"), "no whole number"),
        (lambda x: x.capacity(date="March"), "not a date"),
        (lambda x: x.capacity(date=20260301), "not a date"),
        (lambda x: x.find(since="yesterday"), "not a date"),
        (lambda x: x.find(colour="red"), "cannot be found by colour"),
        (lambda x: x.trim(1, begin="soon"), "not a duration"),
        (lambda x: x.enter_run("2026-01-05T09:00", "40 minuten", "10km"), "not a duration"),
    ],
)
def test_what_cannot_be_taken_is_one_sentence(library, ask, words):
    with pytest.raises(FootworkError, match=words):
        ask(library)


def test_tables_for_notebooks(library):
    runs = library.runs_frame()
    assert runs.height == len(library.runs()) and runs["distance_m"].null_count() == 0
    number = library.runs()[0].id
    table = library.signals_frame(number)
    assert {"time", "power", "heart_rate", "timer"} <= set(table.columns)
    assert table["power"].mean() == pytest.approx(library.run(number).row.power_w, rel=0.01)


def test_lone_texts_and_weather_told_twice(library):
    one = library.race(distance="half", marks="7km: drinks, 20 s", own="5km=200", split="5km", mass="70")
    several = library.race(distance="half", marks=("7km: drinks, 20 s",), own=("5km=200",), split=5000.0, mass=70.0)
    assert one.time == several.time and len(one.splits) == len(several.splits) == 5
    with pytest.raises(FootworkError, match="told twice"):
        library.race(distance="half", weather=Weather(temperature=30.0), wind="4")
    assert library.solve_session("5 x (4 min at ?, 2 min easy jog)", 0.2, "2026-04-10")["solved"] > 0.9
    with pytest.raises(FootworkError, match="not a number"):
        library.accept("many")


def test_an_answer_reads_like_a_mapping(library):
    found = library.usual()
    assert dict(found.items()) == {**found} == {name: found[name] for name in found}
    assert next(iter(found.values())) == found.date == found.get("date") and "colour" not in found
    assert found.get("colour", "red") == "red"
    with pytest.raises(KeyError):
        found["colour"]
    with pytest.raises(AttributeError):
        found.date = "2026-01-01"
