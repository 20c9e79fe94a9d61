"""The command line as a user meets it: sentences, JSON, exit codes."""

import json
import os
import subprocess
import sys

import pytest

from tests import fitfile as f
from tests.program import footwork, of_json, ok


@pytest.fixture(scope="module")
def folder(season_library):
    return season_library.folder


def is_estimate(found):
    assert {"value", "low", "high", "unit", "n", "method"} <= set(found)
    if found["value"] is None:
        assert found["low"] is None and found["high"] is None and found["reason"]
    else:
        assert found["low"] <= found["value"] <= found["high"]
    return True


def test_help_is_quick_to_import():
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "footwork", "--help"], capture_output=True, text=True, check=True
    )
    loaded = {line.rpartition("|")[2].strip() for line in done.stderr.splitlines()}
    assert not {"numpy", "scipy", "polars", "sqlalchemy", "nicegui", "matplotlib"} & loaded


def test_add_reports_and_exit_codes(tmp_path):
    (tmp_path / "a.fit").write_bytes(f.wrap(f.run(300)))
    (tmp_path / "note.txt").write_text("hello")
    found = of_json("add", tmp_path / "a.fit", tmp_path / "note.txt", library=tmp_path / "new" / "library")
    assert [e["file"] for e in found["added"]] == [str(tmp_path / "a.fit")]
    assert len(found["skipped"]) == 1 and not found["failed"]
    done = footwork("add", tmp_path / "nothing.fit", "--json", library=tmp_path / "new" / "library")
    assert done.returncode == 3
    assert json.loads(done.stdout)["failed"][0]["reason"]


def test_runs_json_has_the_documented_keys(folder):
    rows = of_json("runs", library=folder)
    assert {
        "id",
        "start",
        "duration_s",
        "distance_m",
        "power_w",
        "power_scale",
        "measured",
        "heart_rate_bpm",
        "recordings",
    } <= set(rows[0])
    assert rows[0]["start"].endswith("Z") and rows[0]["measured"] is True


def test_runs_and_all(folder):
    last = ok("runs", library=folder).stdout.splitlines()
    every = ok("runs", "--all", library=folder).stdout.splitlines()
    assert last[0].startswith("23 runs") and len(last) == 21
    assert len(every) == 23


def test_show(folder):
    text = ok("show", 1, library=folder).stdout
    assert "measured by foot sensor A" in text and "Domains:" in text
    found = of_json("show", 1, library=folder)
    assert found["load"]["cp_minutes"] > 5 and found["mean_maximal_power"]


def test_capacity_json_has_the_documented_keys(folder):
    found = of_json("capacity", library=folder)
    assert {"critical_power", "w_prime", "tail", "evidence", "domains", "curve", "warnings"} <= set(found)
    for key in ("critical_power", "w_prime", "tail"):
        assert is_estimate(found[key])
    assert found["evidence"]["kind"] == "tested"
    assert (
        found["critical_power"]["low"] < 281 < found["critical_power"]["high"]
    )  # the simulated truth: 1.02 · 68 · 4.05
    for border in found["domains"].values():
        assert all(is_estimate(e) for e in border.values())


def test_capacity_of_a_span(folder):
    found = of_json("capacity", "--since", "2026-03-01", "--until", "2026-03-20", library=folder)
    assert found["span"]["runs"] == 9
    assert sum(found["span"]["seconds_in_domains"].values()) > 9 * 1500
    whole = of_json("capacity", library=folder)
    assert found["curve"][20]["power_w"] <= whole["curve"][20]["power_w"]


def test_capacity_from_stated_efforts_needs_no_library(tmp_path):
    found = of_json(
        "capacity", "--effort", "3:00=361", "--effort", "7:00=298", "--effort", "12:00=278", library=tmp_path / "none"
    )
    assert found["critical_power"]["value"] == pytest.approx(250, rel=0.02)
    assert {form["form"] for form in found["forms"]} == {"work-time", "1/time", "time-power"}
    assert not (tmp_path / "none").exists()


def test_race_from_race_results_and_a_mass(tmp_path):
    found = of_json("race", "--distance", "10km", "--effort", "5km=20:00", "--mass", "70", library=tmp_path / "none")
    assert {"power", "time", "pace", "splits"} <= set(found)
    assert all(is_estimate(found[k]) for k in ("power", "time", "pace"))
    assert len(found["splits"]) == 10
    assert found["splits"][-1]["time_s"] == pytest.approx(found["time"]["value"], rel=0.01)


def test_race_goal_and_out_of_reach(folder):
    base = of_json("race", "--distance", "10km", library=folder)
    easy = of_json("race", "--distance", "10km", "--time", f"{int(base['time']['value'] * 1.05)}", library=folder)
    assert easy["goal"]["chance"] > 0.8 and easy["goal"]["critical_power_needed"] is None
    assert easy["power"]["value"] < base["power"]["value"]
    hard = of_json("race", "--distance", "10km", "--time", f"{int(base['time']['value'] * 0.8)}", library=folder)
    assert hard["goal"]["chance"] < 0.05
    assert hard["goal"]["critical_power_needed"]["value"] > base["critical_power"]["value"]


def test_race_of_a_time(folder):
    found = of_json("race", "--time", "40:00", library=folder)
    assert found["distance"]["low"] < found["distance"]["value"] < found["distance"]["high"]


def test_wind_heat_and_altitude_slow_the_race(folder):
    base = of_json("race", "--distance", "half", library=folder)["time"]["value"]
    for worse in (
        ["--wind", "5"],
        ["--wind", "6@90"],
        ["--temperature", "28", "--humidity", "70"],
        ["--altitude", "2000"],
    ):
        assert of_json("race", "--distance", "half", *worse, library=folder)["time"]["value"] > base + 5, worse


def test_a_course(folder, tmp_path):
    from footwork.demo import season, write

    lat, lon, ele = season.half_marathon_course(__import__("numpy").random.default_rng(1))
    (tmp_path / "c.gpx").write_text(write.course_text("c", lat, lon, ele))
    flat = of_json("race", "--distance", "half", library=folder)
    hilly = of_json("race", "--course", tmp_path / "c.gpx", "--distance", "half", library=folder)
    assert hilly["time"]["value"] > flat["time"]["value"]
    assert any(abs(s["rise_m"]) > 5 for s in hilly["splits"])
    windy = of_json("race", "--course", tmp_path / "c.gpx", "--wind", "6@0", library=folder)
    assert {round(p["headwind_mps"]) for p in windy["profile"]} > {0}


COURSES = {
    "two": ([(45.0, 7.0, 100.0), (45.1, 7.0, 110.0)], "at least three positions"),
    "high": ([(45 + 0.001 * k, 7.0, 9000.0 + k) for k in range(100)], "altitude cannot be right"),
}


@pytest.mark.parametrize("name", COURSES)
def test_a_course_that_cannot_be_is_one_sentence(folder, tmp_path, name):
    points, words = COURSES[name]
    body = "".join(f'<trkpt lat="{a}" lon="{b}"><ele>{z}</ele></trkpt>' for a, b, z in points)
    head = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    (tmp_path / "c.gpx").write_text(f"{head}{body}</trkseg></trk></gpx>")
    done = footwork("race", "--course", tmp_path / "c.gpx", library=folder)
    assert done.returncode == 2 and words in done.stderr and done.stderr.count("\n") == 1


def test_a_course_whose_time_runs_backwards_is_one_sentence(folder, tmp_path):
    body = "".join(
        f'<trkpt lat="{45 + 0.001 * k}" lon="7"><time>2026-05-01T09:{59 - k:02}:00Z</time></trkpt>' for k in range(30)
    )
    head = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    (tmp_path / "c.gpx").write_text(f"{head}{body}</trkseg></trk></gpx>")
    done = footwork("race", "--course", tmp_path / "c.gpx", library=folder)
    assert done.returncode == 2 and "runs backwards" in done.stderr


def test_race_day_in_words_and_files(folder, tmp_path):
    from footwork.demo import season, write

    lat, lon, ele = season.half_marathon_course(__import__("numpy").random.default_rng(1))
    (tmp_path / "c.gpx").write_text(write.course_text("c", lat, lon, ele))
    done = ok(
        "race",
        "--course",
        tmp_path / "c.gpx",
        "--start",
        "2026-10-04T09:00",
        "--mark",
        "7km: drinks, 20 s",
        "--negative-split",
        "0.02",
        "--own",
        "10km=250",
        "--after-ride",
        "1:00:00",
        "--draft",
        "0.3",
        "--fit-course",
        tmp_path / "c.fit",
        "--csv",
        tmp_path / "c.csv",
        "--suppose",
        "critical-power=1.03",
        library=folder,
    ).stdout
    for words in (
        "heights smoothed over 40 m",
        "at 09:",
        "own",
        "harder second half costs",
        "After the ride",
        "Supposed critical-power=1.03",
        "drinks",
    ):
        assert words in done, words
    assert (tmp_path / "c.fit").read_bytes()[8:12] == b".FIT"
    assert (tmp_path / "c.csv").read_text().startswith("start_m,end_m,power_w")
    log = ok("race", "--log", library=folder).stdout
    assert "No race with a prediction yet" in log


BAD = [
    (("race",), 2, "say which race"),
    (("race", "--distance", "10"), 2, "no unit"),
    (("race", "--distance", "10km", "--time", "10:00"), 2, "faster than anyone"),
    (("race", "--distance", "10km", "--wind", "40"), 2, "cannot be raced"),
    (("race", "--distance", "10km", "--wind", "x@y"), 2, "not a wind"),
    (("race", "--course", "/nonexistent.gpx"), 2, "no course file"),
    (("race", "--distance", "10km", "--wind", "40@20"), 2, "cannot be raced"),
    (("race", "--distance", "10km", "--start", "noon"), 2, "is no time"),
    (("race", "--distance", "10km", "--companion", "5:00/h"), 2, "per km or mi"),
    (("race", "--distance", "10km", "--suppose", "luck=2"), 2, "is no change"),
    (("race", "--distance", "10km", "--fit-course", "x.gpx"), 2, "must end in .fit"),
    (
        ("race", "--distance", "10km", "--metar", "A 010900Z 36010KT", "--metar", "A 011000Z 36010KT"),
        2,
        "give the start too",
    ),
    (("race", "--review", "999"), 2, "no run 999"),
    (("show", "999"), 2, "no run 999"),
    (("capacity", "--accept", "abc"), 2, "'--accept': a number is expected"),
    (("session", "repeat", "6", "--weeks", "x"), 2, "'--weeks': a number is expected"),
    (("mark", "1", "--as", "beer"), 2, "not a mark"),
    (("athlete", "--mass", "7"), 2, "cannot be"),
    (("athlete", "--mass", "70", "--date", "2999-01-01"), 2, "future"),
    (("capacity", "--scale", "moon"), 2, "no scale"),
    (("capacity", "--effort", "3:00"), 2, "not an effort"),
    (("capacity", "--date", "yesterday"), 2, "not a date"),
    (("capacity", "--withdraw", "2026-04-01"), 2, "nothing was accepted"),
    (("capacity", "--since", "2026-04-01", "--until", "2026-03-01"), 2, "ends before"),
    (("capacity", "--effort", "3:00=361@2030-01-01"), 2, "future"),
    (("race", "--distance", "10km", "--temperature", "45"), 2, "too hot"),
    (("serve", "--port", "99999"), 2, "port 99999"),
    (("export", "1", "--out", "x.doc"), 2, "csv or"),
    (("methods", "magic"), 2, "no method"),
    (("race", "--distance", "10km", "--wind", "5@nan"), 2, "not a wind"),
    (("capacity", "--effort", "5km=10:00"), 2, "check distance"),
    (("race", "--nonsense"), 2, "No such option"),
    (("athlete", "--zone", "Moon/Base"), 2, "time zone"),
]


@pytest.mark.parametrize(("args", "code", "says"), BAD)
def test_bad_input_is_one_sentence_and_an_exit_code(folder, args, code, says):
    done = footwork(*args, library=folder)
    assert done.returncode == code
    assert says in done.stderr and done.stderr.count("\n") == 1 and not done.stdout
    assert "Traceback" not in done.stderr
    as_json = footwork(*args, "--json", library=folder)
    assert as_json.returncode == code and "error" in json.loads(as_json.stdout)


def test_no_library(tmp_path):
    done = footwork("runs", library=tmp_path / "none")
    assert done.returncode == 4 and "there is no library" in done.stderr


def test_an_empty_library_says_what_to_do(tmp_path):
    ok("athlete", "--mass", "70", library=tmp_path / "l")
    done = footwork("capacity", library=tmp_path / "l")
    assert done.returncode == 5 and "add recordings" in done.stderr


def test_output_survives_an_ascii_terminal(folder):
    for args in (("capacity",), ("race", "--distance", "10km"), ("methods", "tail"), ("runs",)):
        done = subprocess.run(
            [sys.executable, "-m", "footwork", "--library", str(folder), *args],
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONIOENCODING": "ascii", "LC_ALL": "C"},
        )
        text = done.stdout
        assert done.returncode == 0 and text
        assert text.isascii() and "?" not in text


def test_athlete_prints_all_facts(tmp_path):
    ok("athlete", "--mass", "70", "--date", "2026-01-01", library=tmp_path / "l")
    ok("athlete", "--mass", "68", "--max-heart-rate", "186", library=tmp_path / "l")
    found = of_json("athlete", library=tmp_path / "l")
    assert [v["value"] for v in found["mass"]] == [70, 68] and found["max_heart_rate"][0]["value"] == 186


def test_imperial_units(tmp_path, season_files):
    ok("add", season_files / "w0d0.fit", library=tmp_path / "l")
    ok("athlete", "--units", "imperial", library=tmp_path / "l")
    assert "/mi" in ok("runs", library=tmp_path / "l").stdout


def test_marks_change_capacity(tmp_path, season_files):
    ok("add", season_files, library=tmp_path / "l")
    before = of_json("capacity", library=tmp_path / "l")
    assert before["evidence"]["kind"] in ("habitual", "lower bound")
    tests = [r["id"] for r in of_json("runs", library=tmp_path / "l") if r["date"][:10] in ("2026-04-05", "2026-04-19")]
    for run in tests:
        ok("mark", run, "--as", "test", library=tmp_path / "l")
    after = of_json("capacity", library=tmp_path / "l")
    assert after["evidence"]["kind"] == "tested"
    width = [c["high"] - c["low"] for c in (before["critical_power"], after["critical_power"]) if c["value"]]
    assert width[-1] == min(width)
    ok("mark", tests[0], "--as", "test", "--remove", library=tmp_path / "l")


def test_date_asks_as_of_then(folder):
    early = of_json("capacity", "--date", "2026-03-20", library=folder)
    assert early["date"] == "2026-03-20" and early["evidence"]["kind"] != "tested"
