"""Efforts of a run as the library, the command and a file without a library tell them."""

import datetime as dt
import json
import shutil
from itertools import pairwise

import numpy as np
import pytest

from footwork.api import Library
from footwork.errors import NotEnoughData, UsageError
from footwork.questions import runs
from footwork.wording.run_titles import division
from tests import sessions
from tests.program import footwork, of_json, ok

KEYS = {"start_s", "end_s", "kind", "group", "sure", "standing_s", "power", "heart_rate", "speed", "grade"}


@pytest.fixture
def library(season_library, tmp_path):
    shutil.copytree(season_library.folder, tmp_path / "season")
    with Library.open(tmp_path / "season") as made:
        yield made


def session_of(library):
    """A run of four times three minutes."""
    return next(r.id for r in library.runs() if r.local.date() == dt.date(2026, 3, 6))


def test_the_efforts_of_a_session(library):
    run = session_of(library)
    found = library.efforts(run)
    assert set(found[0]) == KEYS and found[0]["start_s"] == 0
    assert all(a["end_s"] == b["start_s"] and a["kind"] != b["kind"] for a, b in pairwise(found))
    assert {e["group"] for e in found if e["kind"] == "work"} == {"4 x 3:00"}
    work, rest = (np.mean([e["power"] for e in found if e["kind"] == k]) for k in ("work", "recovery"))
    assert work > 1.4 * rest
    by_heart = library.efforts(run, "heart_rate")
    assert sum(e["kind"] == "work" for e in by_heart) == 4


def test_a_correction_is_kept_and_undone(library):
    run = session_of(library)
    before = library.efforts(run)
    edit = library.correct_efforts(run, "0:00 warm-up, 10:00 work; 28:00 cool-down")
    assert [(e["start_s"], e["kind"]) for e in library.efforts(run)] == [
        (0, "warm-up"),
        (600, "work"),
        (1680, "cool-down"),
    ]
    assert "divided into 3 parts" in library.edits(run)[0]["sentence"]
    library.undo(edit)
    assert library.efforts(run) == before
    for bad in (
        "10:00 work",
        "0:00 sprint",
        "0:00 warm-up, 5:00 warm-up, 9:00 work",
        "0:00 work, 20:00 recovery, 10:00 work",
        "0:00 work, 9:00:00 recovery",
        "",
    ):
        with pytest.raises(UsageError):
            library.correct_efforts(run, bad)


def test_w_prime_along_a_run(library):
    found = library.balance(session_of(library))
    low, middle, high = (np.array(found[k]) for k in ("low_j", "middle_j", "high_j"))
    assert (low <= middle).all() and (middle <= high).all()
    assert found["minimum"]["value"] < 0.85 * middle[0] and 600 < found["minimum_at_s"] < 1900
    assert found["as_of"] > "2026-04-01"  # nothing was known in March: the tests came later
    with Library.from_nothing() as nothing, pytest.raises(UsageError):
        nothing.balance(1)


def csv_of(path, power, speed, keep=None):
    rows = [f"{t},{'' if np.isnan(p) else round(p)},{v:.2f}" for t, (p, v) in enumerate(zip(power, speed, strict=True))]
    keep = range(len(rows)) if keep is None else keep
    path.write_text("\n".join(["time,power,speed", *(rows[k] for k in keep)]) + "\n")
    return path


def test_speed_tells_where_power_is_missing_and_a_paused_watch_is_a_rest(tmp_path):
    level = np.concatenate([np.full(s, float(p)) for s, p in [(600, 200), *[(180, 280), (90, 180)] * 5, (400, 190)]])
    noise = 1 + 0.02 * np.random.default_rng(3).standard_normal(len(level))
    edges = [(600 + 270 * k, 780 + 270 * k) for k in range(5)]
    gappy = level * noise
    gappy[840:900] = np.nan  # over the beginning of the second repeat
    found = [
        (e["start_s"], e["end_s"])
        for e in runs.reading_of_file(csv_of(tmp_path / "gap.csv", gappy, level / 80)).efforts
        if e["kind"] == "work"
    ]
    np.testing.assert_allclose(found, edges, atol=5)
    held = np.concatenate([np.full(s, float(p)) for s, p in [(600, 200), *[(180, 280), (90, 275)] * 5, (400, 190)]])
    keep = [k for k in range(len(held)) if not any(b <= k < b + 90 for _, b in edges)]
    found = runs.reading_of_file(csv_of(tmp_path / "paused.csv", held * noise, held / 80, keep)).efforts
    np.testing.assert_allclose([(e["start_s"], e["end_s"]) for e in found if e["kind"] == "work"], edges, atol=3)


@pytest.mark.parametrize("shift", [0.0, 0.4])
def test_a_gap_in_running_is_no_pause(tmp_path, shift):
    at = np.array([t for t in range(1800) if not 700 <= t < 820]) + shift
    rows = [f"{t},250,{3.3 * t:.1f}" for t in at]
    path = tmp_path / "gap.csv"
    path.write_text("\n".join(["time,power,distance", *rows]) + "\n")
    (only,) = runs.reading_of_file(path).efforts
    assert only["power"] == pytest.approx(250)
    sparse = tmp_path / "sparse.csv"
    sparse.write_text("\n".join(["time,power", *(f"{t},250" for t in range(0, 3600, 40))]) + "\n")
    with pytest.raises(NotEnoughData):  # rows too far apart tell nothing, not zero watts
        runs.reading_of_file(sparse)


def test_what_else_a_run_may_be_is_said_and_taken(tmp_path):
    lights = sessions.hard(103_008, "lights", False)
    path = csv_of(tmp_path / "lights.csv", lights.power, lights.speed)
    told = ok("efforts", path, library=tmp_path / "none").stdout
    minutes = round(sum(lights.power > 40) / 60)
    assert "Not sure: it may also be an even" in told and told.count("  not sure\n") == 9
    assert not any(e["sure"] for e in of_json("efforts", path, library=tmp_path / "none"))
    with Library.open(tmp_path / "own") as library:
        library.add([path], start=dt.datetime(2026, 5, 1, 8, tzinfo=dt.UTC))
        run = library.runs()[0].id
        (other,) = library.efforts_otherwise(run)
        assert other["kind"] == "work" and other["end_s"] - other["standing_s"] == pytest.approx(60 * minutes, abs=60)
    said = ok("efforts", run, library=tmp_path / "own").stdout
    assert f"If so: footwork efforts {run} --correct '0:00 work'" in said
    other = ok("efforts", run, "--signal", "pace", library=tmp_path / "own").stdout
    assert "--correct" not in other  # which would keep the division by another signal
    after = ok("efforts", run, "--signal", "power", "--correct", "0:00 work", library=tmp_path / "own").stdout
    assert "not sure" not in after.lower() and "An even" in after


def test_a_run_that_gets_harder_is_kept_as_it_may_also_be(tmp_path):
    steps = sessions.hard(96_010, "progressive", False)
    path = csv_of(tmp_path / "steps.csv", steps.power, steps.speed)
    with Library.open(tmp_path / "own") as library:
        library.add([path], start=dt.datetime(2026, 5, 1, 8, tzinfo=dt.UTC))
        run = library.runs()[0].id
        made = library.efforts_otherwise(run)
        assert any(a["kind"] == b["kind"] == "work" for a, b in pairwise(made))
        library.correct_efforts(run, division(made))
        assert [e["kind"] for e in library.efforts(run)] == [e["kind"] for e in made]
        library.efforts_otherwise(run, "speed").append({})
        assert {} not in library.efforts_otherwise(run, "speed")


def test_the_other_division_of_a_file_is_in_its_own_time_too(tmp_path):
    lights = sessions.hard(103_008, "lights", False)
    write(tmp_path / "late.csv", "power", lights.power, begin=500)
    found = runs.reading_of_file(tmp_path / "late.csv")
    assert found.efforts[0]["start_s"] == found.otherwise[0]["start_s"] == 500
    assert not any(e["sure"] for e in (*found.efforts, *found.otherwise))
    assert "--correct" not in ok("efforts", tmp_path / "late.csv", library=tmp_path / "none").stdout


# W′ balance of one certain runner is the differential form: CP 250 W, W′ 20 kJ, 120 s at 350 W then 300 s at 100 W
# leaves 8000.0 and then 18735.21 J (computed check value of the published equation).
def test_the_interval_narrows_to_the_differential_form():
    from footwork.physiology import reserve

    power = np.concatenate([np.full(120, 350.0), np.full(300, 100.0)])
    low, middle, high = reserve.balance_interval(power, np.full(400, 250.0), np.full(400, 20_000.0))
    assert middle[119] == pytest.approx(8000, rel=0.06) and middle[-1] == pytest.approx(18_735, rel=0.01)
    # The model's published error at exhaustion, 2 kJ, in proportion to what is spent.
    assert (high[119] - low[119]) / 2 / 1.96 == pytest.approx(2000 * 12 / 20, rel=0.12)


def write(path, name, values, every=1, begin=0):
    path.write_text(f"time,{name}\n" + "".join(f"{begin + every * i},{v:.3f}\n" for i, v in enumerate(values)))


@pytest.mark.parametrize(
    ("name", "signal", "easy", "hard"),
    [
        ("power", "power", 200, 280),
        ("pace", "pace", 6.0, 4.2),
        ("speed", "speed", 2.7, 4.0),
        ("heart_rate", "heart_rate", 125, 165),
    ],
)
def test_a_file_without_a_library(tmp_path, name, signal, easy, hard):
    values = np.concatenate(
        [np.full(60, easy), *[np.concatenate([np.full(24, hard), np.full(18, easy)])] * 4, np.full(40, easy)]
    )
    write(tmp_path / "s.csv", name, values, every=10, begin=100)
    found = of_json("efforts", tmp_path / "s.csv", "--signal", signal, library=tmp_path / "none")
    assert found[0]["start_s"] == 100 and found[-1]["end_s"] == pytest.approx(100 + 10 * (len(values) - 1), abs=1.5)
    true = [(100 + 600 + 420 * k, 100 + 840 + 420 * k) for k in range(4)]
    np.testing.assert_allclose([(e["start_s"], e["end_s"]) for e in found if e["kind"] == "work"], true, atol=20)
    assert set(found[0]) == KEYS


def test_what_cannot_be_found_is_said(tmp_path, library):
    write(tmp_path / "s.csv", "power", np.full(300, 200.0))
    for arguments, code, words in (
        (("efforts", tmp_path / "s.csv", "--signal", "luck"), 2, "not a signal"),
        (("efforts", tmp_path / "s.csv", "--signal", "heart_rate"), 5, "no heart_rate"),
        (("efforts", tmp_path / "none.csv"), 2, "no file"),
        (("efforts", tmp_path / "s.csv", "--balance"), 2, "in the library"),
        (("efforts", "999"), 2, "no run 999"),
    ):
        done = footwork(*arguments, library=library.folder)
        assert done.returncode == code and words in done.stderr, (arguments, done.stderr)
    assert ok("efforts", tmp_path / "s.csv").stdout.startswith("An even five minutes.")


def test_the_command_says_what_the_library_says(library):
    run = session_of(library)
    told = ok("efforts", run, "--balance", library=library.folder).stdout
    assert "Four times three minutes." in told and "W′ balance was least at" in told
    assert json.loads(ok("efforts", run, "--json", library=library.folder).stdout) == library.efforts(run)


def test_watts_of_an_effort_leave_out_the_pauses_of_the_watch(tmp_path):
    from footwork.analysis import intervals as parts
    from footwork.questions.runs import found_efforts

    power, speed = np.full(1800, 250.0), np.full(1800, 3.0)
    paused = np.zeros(1800)
    for at in (400, 1100):
        power[at : at + 120], speed[at : at + 120], paused[at : at + 120] = 0.0, np.nan, 1.0
    (only,) = found_efforts._told(
        parts.Division([parts.Part(0, 1800, "work")], []), {"power": power, "speed": speed, "paused": paused}, 0.0
    )
    assert only["power"] == 250 and only["speed"] == 3 and only["standing_s"] == 240


@pytest.mark.parametrize("wrong", ["", "-9000"])
def test_a_stray_time_does_not_move_the_efforts(tmp_path, wrong):
    level = np.concatenate([np.full(s, float(p)) for s, p in [(600, 200), *[(180, 280), (90, 180)] * 4, (400, 190)]])
    rows = [f"{t},{p:.0f},{p / 80:.2f}" for t, p in enumerate(level)]
    rows[900] = f"{wrong},{level[900]:.0f},{level[900] / 80:.2f}"
    path = tmp_path / "stray.csv"
    path.write_text("\n".join(["time,power,speed", *rows]) + "\n")
    found = [e for e in runs.reading_of_file(path).efforts if e["kind"] == "work"]
    assert len(found) == 4 and all(e["standing_s"] == 0 for e in found)


def test_an_auto_pause_is_a_light_in_a_file_and_in_a_library(tmp_path):
    rng = np.random.default_rng(4)
    n = 2700
    rows = [f"{t},{220 * (1 + 0.05 * rng.standard_normal()):.0f},{3.0 * t:.1f},140" for t in range(n)]
    at, kept = 0, []
    for begin, lasts in ((300, 20), (700, 55), (1100, 15), (1900, 40), (2300, 25)):
        kept += rows[at:begin]
        at = begin
        rows = [
            ",".join([str(int(r.split(",")[0]) + lasts * (k >= begin)), *r.split(",")[1:]]) for k, r in enumerate(rows)
        ]
    path = tmp_path / "paused.csv"
    path.write_text("\n".join(["time,power,distance,heart_rate", *kept, *rows[at:]]) + "\n")
    with Library.open(tmp_path / "paused") as library:
        library.add([path], start=dt.datetime(2026, 5, 1, 8, tzinfo=dt.UTC))
        for found in (runs.reading_of_file(path).efforts, library.efforts(library.runs()[0].id)):
            assert len(found) == 1 and found[0]["standing_s"] == pytest.approx(155, abs=6)
            assert found[0]["power"] == pytest.approx(220, rel=0.01)


def test_a_heart_rate_of_some_sound_seconds_is_no_mean(tmp_path):
    from footwork.analysis import intervals as parts
    from footwork.questions.runs import found_efforts

    rate = np.full(600, np.nan)
    rate[:100] = 96.0
    columns = {"power": np.full(600, 250.0), "heart_rate": rate}
    one, two = found_efforts._told(
        parts.Division([parts.Part(0, 150, "work"), parts.Part(150, 600, "work")], []), columns, 0.0
    )
    assert one["heart_rate"] == 96 and two["heart_rate"] is None
