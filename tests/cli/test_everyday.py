"""The everyday commands as a user meets them."""

import json
import shutil

import pytest

from tests.program import footwork, of_json, ok


@pytest.fixture
def copy(season_library, tmp_path):
    season_library.close()
    shutil.copytree(season_library.folder, tmp_path / "library")
    return tmp_path / "library"


def test_edits_are_made_listed_and_undone(copy):
    before = of_json("show", 2, library=copy)
    made = of_json("edit", "trim", 2, "--from", "1:00", "--to", "10:00", library=copy)
    assert of_json("show", 2, library=copy)["duration_s"] == 540
    text = ok("edit", "distance", 2, "2km", library=copy).stdout
    assert "2.00 km long now. Undo with 'footwork edit undo" in text
    assert of_json("edit", "list", 2, library=copy)[1]["id"] == made["edit"]
    new = of_json("edit", "split", 3, "--at", "10:00", library=copy)["new_run"]
    ok("edit", "merge", 3, new, library=copy)
    ok("edit", "lap", 3, "--from", "1:00", "--to", "2:00", library=copy)
    ok("edit", "exclude", 3, "--signal", "heart_rate", library=copy)
    assert of_json("show", 3, library=copy)["heart_rate_bpm"] is None
    for entry in of_json("edit", "list", library=copy):
        if entry["kind"] != "mark":
            ok("edit", "undo", entry["id"], library=copy)
    assert of_json("show", 2, library=copy) == before
    assert "marked" in ok("edit", "list", library=copy).stdout


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["mark", 2], "say what to mark it as"),
        (["mark", 2, "--as", "treadmill", "--surface", "trail"], "treadmill"),
        (["mark", 2, "--as", "easy", "--surface", "sand"], "not a surface"),
        (["runs", "--power", "250..200"], "no range"),
        (["weather", 2, "--wind", "5@900"], "not a wind"),
        (["edit", "trim", 2], "say what to keep"),
        (["edit", "trim", 2, "--to", "soon"], "soon"),
        (["edit", "lap", 2, "--from", "1:00"], "both ends"),
        (["edit", "merge", 2, 3], "apart"),
        (["edit", "merge", 2, 999], "no run 999"),
        (["edit", "undo", 999], "no edit 999"),
        (["runs", "--power", "200"], "no range"),
        (["runs", "--by", "year"], "week or month"),
        (["weather"], "name a run"),
        (["weather", 2, "--wind", "strong"], "not a wind"),
        (["diary", 2, "--exertion", 12], "between 0 and 10"),
        (["diary", 2, "--clear", "mood"], "no 'mood'"),
        (["enter", "yesterday", "--time", "40:00"], "not a time"),
        (["places", "--add", "here"], "no place"),
        (["restore", "nothing.zip"], "no backup"),
        (["export", "--all"], "--out"),
    ],
)
def test_what_cannot_be_understood_is_one_sentence(copy, words, sentence):
    before = of_json("edit", "list", library=copy)
    done = footwork(*words, library=copy)
    assert of_json("edit", "list", library=copy) == before
    assert done.returncode == 2 and sentence in done.stderr and "Traceback" not in done.stderr
    assert done.stderr.strip().count("\n") == 0


def test_deleting_for_ever_asks(copy):
    done = footwork("edit", "delete", 4, "--forever", library=copy)
    assert done.returncode == 130 and "cannot be undone" in done.stderr
    assert of_json("edit", "delete", 4, "--forever", "--yes", library=copy) == {"deleted": [4]}
    assert footwork("show", 4, library=copy).returncode == 2


def test_a_library_goes_out_and_comes_back(copy, tmp_path):
    assert of_json("backup", tmp_path / "b.zip", library=copy)["verified"]
    again = of_json("restore", tmp_path / "b.zip", "--into", tmp_path / "again", library=copy)
    assert of_json("runs", library=tmp_path / "again") == of_json("runs", library=copy)
    assert again["runs"] == len(of_json("runs", library=copy))
    (tmp_path / "b.zip").write_bytes((tmp_path / "b.zip").read_bytes()[:5000])
    done = footwork("restore", tmp_path / "b.zip", "--into", tmp_path / "third", library=copy)
    assert done.returncode == 3 and "damaged" in done.stderr and not (tmp_path / "third").exists()
    assert of_json("export", "--all", "--out", tmp_path / "out", library=copy)["runs"] == again["runs"]
    assert all(c["ok"] for c in of_json("check-up", library=copy)["checks"])
    next((copy / "originals").rglob("*.gz")).unlink()
    done = footwork("doctor", "--json", library=copy)
    assert done.returncode == 4 and json.loads(done.stdout)["problems"]


def test_the_diary_weather_and_runs_by_hand(copy):
    assert of_json("diary", 2, "--exertion", 6, "--note", "windy", library=copy)[0]["exertion"] == 6
    assert (
        of_json("weather", 2, "--temperature", 18, "--wind", "5@240", library=copy)["weather"]["wind_from_deg"] == 240
    )
    run = of_json("enter", "2025-10-05", "--distance", "10km", "--time", "44:30", "--as", "race", library=copy)["id"]
    assert "Entered by hand" in ok("show", run, library=copy).stdout
    assert [r["id"] for r in of_json("runs", "--find", "windy", library=copy)] == [2]
    assert "18 °C" in ok("show", 2, library=copy).stdout
    groups = of_json("runs", "--by", "month", library=copy)
    assert groups[-1]["start"] == "2025-10-01"
    weeks = ok("runs", "--by", "week", library=copy).stdout.splitlines()
    assert len(weeks) == len(of_json("runs", "--by", "week", library=copy))
    assert "load not known" in weeks[-1] and all("CP-minutes" in week for week in weeks[:-1])


def test_today_tells_the_week_and_what_is_due(copy):
    found = of_json("today", library=copy)
    text = ok("today", library=copy).stdout
    assert f"{found['runs']} runs" in text and text.count("Due:") == len(found["due"])
    assert "Critical power" in text


def test_a_race_writes_its_card_and_workout_or_says_why_not(copy, tmp_path):
    ok(
        "race",
        "--distance",
        "10km",
        "--risk",
        "0.2",
        "--card",
        tmp_path / "c.pdf",
        "--fit",
        tmp_path / "w.fit",
        library=copy,
    )
    assert (tmp_path / "c.pdf").read_bytes()[:5] == b"%PDF-" and (tmp_path / "w.fit").read_bytes()[8:12] == b".FIT"
    for words, why in (
        (["--card", tmp_path / "c.txt"], "must end in .pdf"),
        (["--fit", tmp_path / "no" / "w.fit"], "no folder"),
        (["--risk", "2"], "cannot be planned"),
        (["--strategy", "fast"], "no strategy"),
    ):
        done = footwork("race", "--distance", "10km", *words, library=copy)
        assert done.returncode == 2 and why in done.stderr


def test_two_runs_given_to_the_comparison_of_devices_are_shown_the_way():
    done = footwork("compare", "25", "26")
    assert done.returncode == 2 and "footwork compare-runs 25 26" in done.stderr
    assert "No such file" in footwork("compare", "25", "nowhere.fit").stderr
