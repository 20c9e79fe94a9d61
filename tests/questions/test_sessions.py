"""Sessions in the library: previewed, kept, taken along as FIT, iCalendar and YAML, and held against what was run."""

import contextlib
import datetime as dt
import io
import shutil
import struct

import numpy as np
import pytest

from footwork.analysis import repeats
from footwork.api import Library
from footwork.errors import UnreadableFile, UsageError
from footwork.formats import ical, watch
from footwork.formats.fit_structure import crc
from footwork.quantities import format_pace
from footwork.questions import sessions
from footwork.questions.sessions import recognising
from tests.conftest import fit_of, simulate
from tests.program import footwork, of_json, ok

FOUR = "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy"
THREE = "10 min easy, 4 x (3 min at 106 % CP, 100 s easy jog), 5 min easy"
STATED = {"efforts": ("3:00=361", "12:00=278"), "mass": 68.0}


@pytest.fixture
def library(season_library, tmp_path):
    shutil.copytree(season_library.folder, tmp_path / "season")
    with Library.open(tmp_path / "season") as made:
        yield made


def session_run(library):
    return max(r.id for r in library.runs() if r.local.weekday() == 4)


def test_a_preview_holds_what_is_documented(library):
    found = library.session(FOUR)
    assert {"duration_s", "cp_minutes", "w_prime_minimum_j", "run_dry_probability", "steps"} <= set(found)
    assert (
        found["duration_s"] == 55 * 60
        and len(found["steps"]) == 12
        and sum(found["seconds_in_domains"].values()) == pytest.approx(found["duration_s"])
    )
    work = found["steps"][1]
    assert (
        work["power_w"] == pytest.approx(1.05 * found["critical_power_w"])
        and work["domain"] == "severe"
        and work["repeat"] == [1]
    )
    assert work["w_prime_low_j"] < work["w_prime_j"] < work["w_prime_high_j"]
    accepted = library.accept(round(0.9 * found["critical_power_w"]), library.runs()[0].local.date())
    lower = library.session(FOUR)
    assert (
        lower["accepted"]
        and lower["critical_power_w"] == accepted["critical_power_w"]
        and lower["run_dry_probability"] <= found["run_dry_probability"]
    )


def test_sessions_are_kept_listed_and_taken_back(library):
    run = session_run(library)
    day = next(r for r in library.runs() if r.id == run).local.date()
    number = library.plan_session("5x(4min @105% CP, 2 min jog)", day, "fours")
    (row,) = library.sessions()
    assert row == {
        "id": number,
        "date": day.isoformat(),
        "name": "fours",
        "text": "5 x (4 min at 105 % CP, 2 min jog)",
        "runs": [run],
        "first": number,
    }
    assert "session planned" in library.edits()[0]["sentence"]
    library.undo(number)
    assert library.sessions() == []
    with pytest.raises(UsageError, match="no session"):
        sessions.kept_session(library, number)
    with pytest.raises(UsageError, match="no \\?"):
        library.plan_session("4 min at ?")


def test_the_workout_is_read_back_by_two_decoders_and_by_us(library):
    import fitdecode
    import fitfast

    text = (
        "10 min at 150 to 155 bpm, 2 x (800 m at 4:00 to 3:50/km, 90 s rest), 4 min at 280 to 290 W, until pressed easy"
    )
    data = sessions.session_workout(library, text, "Mixed")
    with fitdecode.FitReader(io.BytesIO(data), check_crc=fitdecode.CrcCheck.RAISE) as reader:
        found = [f for f in reader if isinstance(f, fitdecode.FitDataMessage) and f.name == "workout_step"]
    raw = [{f.name: f.raw_value for f in step.fields} for step in found]
    assert len(raw) == 7
    # The protocol stores beats plus 100, watts plus 1000 and millimetres a second (FIT profile, workout_step; public
    # protocol document).
    assert (raw[0]["target_type"], raw[0]["custom_target_heart_rate_low"], raw[0]["custom_target_heart_rate_high"]) == (
        1,
        250,
        255,
    )
    assert (raw[1]["target_type"], raw[1]["custom_target_speed_low"], raw[1]["custom_target_speed_high"]) == (
        0,
        4167,
        4348,
    )
    assert (raw[5]["target_type"], raw[5]["custom_target_power_low"], raw[5]["custom_target_power_high"]) == (
        4,
        1280,
        1290,
    )
    assert raw[2]["duration_time"] == 90_000 and raw[1]["duration_distance"] == 80_000 and raw[6]["duration_type"] == 5
    other = fitfast.parse(data, datetimes=False)["workout_step"]
    assert len(other) == 7 and [s["wkt_step_name"] for s in other] == [s["wkt_step_name"] for s in raw]
    name, words = sessions.from_workout(data)
    assert name == "Mixed" and words.startswith(
        "10 min at 150 to 155 bpm, 2 x (800 m at 4:00 to 3:50/km, 90 s rest), 4 min at 280 to 290 W, until pressed at "
    )
    assert (
        sessions.from_workout(sessions.session_workout(library, "2 x (3 min at 250 to 260 W, 1 min rest)"))[1]
        == "2 x (3 min at 250 to 260 W, 1 min rest)"
    )


def test_repeats_of_other_workouts_are_unrolled_and_bad_ones_refused():
    steps = [
        {"duration_type": 0, "duration_time": 60_000, "name": "a"},
        {"duration_type": 1, "duration_distance": 40_000, "name": "b"},
        {"duration_type": 6, "duration_value": 0, "target_value": 3, "name": ""},
    ]
    out = []
    watch._unroll(steps, 0, 3, out)
    assert [s.name for s in out] == ["a", "b"] * 3
    with pytest.raises(UnreadableFile):
        watch._unroll([{"duration_type": 6, "duration_value": 5, "target_value": 2, "name": ""}], 0, 1, [])
    with pytest.raises(UnreadableFile, match="no number of repeats"):
        watch._unroll(
            [{"duration_type": 0, "name": "a"}, {"duration_type": 7, "duration_value": 0, "name": ""}], 0, 2, []
        )
    assert watch._read_step(
        {
            "duration_type": 0,
            "duration_time": 0,
            "target_type": 0,
            "custom_target_speed_low": 0,
            "custom_target_speed_high": 0,
            "name": "zone",
        }
    ) == watch.Step("zone")
    for data in (b"", b"nonsense" * 40):
        with pytest.raises(UnreadableFile):
            watch.read_workout(data)


def test_the_calendar_is_valid(library):
    import icalendar

    long = "Five, four; three \\ two " + "é" * 60
    library.plan_session(FOUR, dt.date(2026, 9, 1), long[:60])
    library.plan_session(THREE, dt.date(2026, 9, 3))
    data = sessions.calendar(library)
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))  # RFC 5545, 3.1
    found = icalendar.Calendar.from_ical(data)
    events = found.walk("VEVENT")
    assert {str(e["DESCRIPTION"]).splitlines()[0] for e in events} == {FOUR, THREE}
    assert len({str(e["UID"]) for e in events}) == 2
    assert {e.decoded("DTSTART") for e in events} == {dt.date(2026, 9, 1), dt.date(2026, 9, 3)}
    assert long[:60].strip() in {str(e["SUMMARY"]) for e in events}
    assert not found.walk("VEVENT")[0].errors
    whole = icalendar.Calendar.from_ical(ical.encode([ical.Event("a", dt.date(2026, 1, 1), "x" * 300, "line\nline")]))
    assert str(whole.walk("VEVENT")[0]["SUMMARY"]) == "x" * 300


def test_odd_files_and_long_sessions_are_one_sentence(library, tmp_path):
    (tmp_path / "a.yaml").write_text("text: 10 min easy\ndate: tomorrow\n")
    (tmp_path / "b.yaml").write_text("text: 10 min easy\ndate: 2026-05-01 10:00:00\n")
    with pytest.raises(UsageError):
        sessions.from_file(tmp_path / "a.yaml")
    assert sessions.from_file(tmp_path / "b.yaml")[2] == dt.date(2026, 5, 1)
    with pytest.raises(UsageError, match="too many for a watch"):
        sessions.session_workout(library, "2 x (60 x (30 s hard, 30 s easy))")
    assert library.match_session(session_run(library), "10 min rest")["verdict"]


def test_a_run_is_held_against_its_session(library):
    run = session_run(library)
    found = library.match_session(run, THREE)
    assert (found["done"], found["asked"], found["extra"]) == (4, 4, [])
    works = [s for s in found["steps"] if s["work"]]
    assert all(s["found"] and 0 <= s["in_band"] <= 1 and s["w_prime_end_j"] < s["w_prime_start_j"] for s in works)
    assert [s["start_s"] for s in works] == sorted(s["start_s"] for s in works)
    assert "4 of 4 pieces of work were run" in found["verdict"] and found["next"]
    six = library.match_session(run, THREE.replace("4 x", "6 x"))
    assert (six["done"], six["asked"]) == (4, 6) and "as many as were run" in six["next"]
    assert [s["found"] for s in six["steps"] if s["work"]] == [True] * 4 + [
        False
    ] * 2  # the first that were asked are the first that were run
    two = library.match_session(run, THREE.replace("4 x", "2 x"))
    assert two["done"] == 2 and len(two["extra"]) == 2
    easy = max(r.id for r in library.runs() if r.local.weekday() == 0)
    assert library.match_session(easy, "40 min easy")["done"] == 1
    assert "another session" in library.match_session(run, THREE.replace("106", "140"))["verdict"]
    with pytest.raises(UsageError, match="solve for it"):
        library.match_session(run, "4 x (3 min at ?, 2 min easy)")
    assert "no rest between" in library.session("4 x 3 min hard")["warnings"][0]


def test_a_session_in_pace_or_heart_rate_is_judged_in_it(library):
    run = session_run(library)
    works = [e for e in library.efforts(run) if e["kind"] == "work"]
    for of, words, held in (
        ("speed", "{low} to {high}/km", lambda e: e["speed"]),
        ("heart_rate", "{low} to {high} bpm", lambda e: e["heart_rate"]),
    ):
        middle = float(np.mean([held(e) for e in works]))
        ends = (middle * 0.8, middle * 1.2)
        low, high = (format_pace(v).split()[0] if of == "speed" else f"{v:.0f}" for v in ends)
        found = library.match_session(
            run, f"10 min easy, 4 x (3 min at {words.format(low=low, high=high)}, 2 min easy jog), 5 min easy"
        )
        done = [s for s in found["steps"] if s["work"]]
        assert {s["of"] for s in done} == {of} and all(s["low"] < s["held"] < s["high"] for s in done)
        assert "as hard as asked" in found["verdict"] and found["done"] == 4
        assert np.mean([s["in_band"] for s in done]) > 0.7


def test_a_band_is_judged_by_its_ends_and_one_rest_is_not_told_twice(library):
    run = session_run(library)
    mean = np.mean([e["power"] for e in library.efforts(run) if e["kind"] == "work"])
    for low, high in ((0.95, 1.01), (0.995, 1.05)):
        found = library.match_session(
            run, f"10 min easy, 4 x (3 min at {low * mean:.0f} to {high * mean:.0f} W, 100 s easy jog), 5 min easy"
        )
        assert "as hard as asked" in found["verdict"]
    told = [(s["start_s"], s["end_s"]) for s in found["steps"] if s["found"]]
    assert len(told) == len(set(told))


@pytest.mark.filterwarnings("ignore")
def test_damaged_workouts_are_one_sentence():
    whole = bytearray(watch.workout("x", [watch.Step("a", None, 60.0, 200, 250), watch.Step("b", 400.0)] * 3))
    rng = np.random.default_rng(1)
    for _ in range(300):
        bad = bytearray(whole)
        bad[int(rng.integers(14, len(bad) - 2))] = int(rng.integers(0, 256))
        bad[-2:] = struct.pack("<H", crc(bytes(bad[:-2])))
        with contextlib.suppress(UnreadableFile):
            watch.read_workout(bytes(bad))


def test_alignment_survives_skipped_and_extra_pieces():
    asked = [(240.0, 300.0)] * 5
    assert repeats.align(asked, asked) == [(i, i) for i in range(5)]
    assert len(repeats.align(asked, asked[:3])) == 3
    ladder = [(60.0, 330.0), (120.0, 310.0), (240.0, 290.0), (480.0, 270.0)]
    assert repeats.align(ladder, [ladder[0], ladder[2], ladder[3]]) == [(0, 0), (2, 1), (3, 2)]
    assert repeats.align(ladder, [ladder[0], (20.0, 400.0), *ladder[1:]]) == [(0, 0), (1, 2), (2, 3), (3, 4)]
    assert repeats.align([], ladder) == [] and repeats.align(ladder, [(60.0, None)]) == [(0, 0)]


def test_the_commands(library, tmp_path):
    folder = library.folder
    assert of_json("session", "preview", FOUR, library=folder) == library.session(FOUR).to_json()
    told = ok("session", "preview", "four minutes", library=folder).stdout
    assert FOUR in told and "W′ at its lowest" in told and "chance of running dry" in told
    solved = of_json("session", "solve", "5 x (4 min at ?, 2 min easy jog)", "--leave", "0.3", library=folder)
    assert 1.0 < solved["solved"] < 1.4
    made = of_json("session", "new", FOUR, "--date", "2026-09-01", "--name", "fours", library=folder)
    ok(
        "session",
        "export",
        made["id"],
        "--fit",
        tmp_path / "s.fit",
        "--pdf",
        tmp_path / "s.pdf",
        "--yaml",
        tmp_path / "s.yaml",
        "--ics",
        tmp_path / "s.ics",
        library=folder,
    )
    assert (tmp_path / "s.pdf").read_bytes()[:5] == b"%PDF-" and FOUR in (tmp_path / "s.yaml").read_text()
    again = of_json("session", "new", "--from", tmp_path / "s.yaml", "--date", "2026-09-02", library=folder)
    assert (again["text"], again["name"]) == (FOUR, "fours")
    assert "2 x" not in of_json("session", "new", "--from", tmp_path / "s.fit", library=folder)["text"]
    assert len(of_json("session", "list", library=folder)) == 3
    assert "pieces of work" in ok("session", "match", session_run(library), "--session", THREE, library=folder).stdout
    assert "12 min" in ok("session", "shelf", "test: 12 and 3 minutes", library=folder).stdout
    for arguments, words in (
        (("preview", "5 x (4 min hard"), "never closed"),
        (("preview", "99"), "no session 99"),
        (("new",), "in words"),
        (("match", "1"), "no session is kept"),
        (("export", FOUR), "say what to write"),
        (("export", FOUR, "--fit", tmp_path / "x.txt"), "must end in .fit"),
        (("preview", "4 min at ?"), "solve for it"),
        (("shelf", "moon"), "not on the shelf"),
        (("new", "--from", tmp_path / "none.yaml"), "no file"),
    ):
        done = footwork("session", *arguments, library=folder)
        assert done.returncode == 2 and words in done.stderr and done.stderr.count("\n") == 1, (arguments, done.stderr)


def test_a_preview_of_stated_efforts_needs_no_library(tmp_path):
    found = of_json(
        "session",
        "preview",
        FOUR,
        "--effort",
        "3:00=361",
        "--effort",
        "12:00=278",
        "--mass",
        "68",
        library=tmp_path / "none",
    )
    assert found["run_dry_probability"] >= 0 and np.isfinite(found["cp_minutes"])


def test_equal_repeats_are_no_test_however_hard(library, tmp_path):
    day = library.runs()[0].local.date()
    hard, easy = (300, 1.13), (240, 0.55)
    for k, pieces in enumerate(([(900, 0.68), hard, (900, 0.6)], [(900, 0.68), *[hard, easy] * 3, (300, 0.6)])):
        run = simulate(day + dt.timedelta(days=2 + 2 * k), pieces, seed=70 + k)
        (tmp_path / f"{k}.fit").write_bytes(fit_of(run))
        library.add([tmp_path / f"{k}.fit"])
    thrice, once = (r.id for r in library.runs()[:2])
    found = library.recognised(once)
    assert library.recognised(thrice) is None
    assert found["kind"] == "test" and found["checks"] == {"steady": True, "paced": True, "warmed_up": True}


def test_a_race_is_recognised_by_its_distance(library, tmp_path, monkeypatch):
    run = simulate(
        library.runs()[0].local.date() + dt.timedelta(days=2), [(900, 0.68), (1260, 1.03), (300, 0.6)], seed=7
    )
    (tmp_path / "race.fit").write_bytes(fit_of(run))
    library.add([tmp_path / "race.fit"])
    found = library.recognised(library.runs()[0].id)
    metres = found["distance_m"]
    assert 4000 < metres < 6000
    for off, kind in ((1.01, "race"), (1.04, "test")):
        monkeypatch.setattr(recognising, "RACES_M", (off * metres,))
        library.tell(run=library.runs()[0].id, note=kind)  # so that it is worked out anew
        assert library.recognised(library.runs()[0].id)["kind"] == kind


def test_a_test_that_nobody_marked_is_recognised_and_counts_only_once_marked(library):
    last = max(r.id for r in library.runs() if r.local.weekday() == 6)
    assert library.recognised(last) is None  # it is marked already
    library.mark(last, "test", remove=True)
    found = library.recognised(last)
    assert (
        found["kind"] == "test"
        and found["limit_share"] > 0.96
        and found["checks"]["warmed_up"]
        and "once you mark it" in found["sentence"]
    )
    assert "looks like a test" in ok("efforts", last, library=library.folder).stdout
    assert any(f"run {last}" in d["what"] for d in library.today()["due"])
    easy = max(r.id for r in library.runs() if r.local.weekday() == 0)
    assert library.recognised(easy) is None and library.recognised(session_run(library)) is None


def test_the_same_session_weeks_apart(library):
    fridays = sorted((r.start, r.id) for r in library.runs() if r.local.weekday() == 4)
    first, second = fridays[1][1], fridays[-1][1]
    found = library.compare_sessions(first, second)
    assert len(found["pairs"]) == 4
    for name in ("power", "speed", "speed_at_power", "heart_rate_at_power"):
        e = found[name]
        assert e["low"] <= e["value"] <= e["high"]
    assert found["speed_at_power"]["low"] < 0 < found["speed_at_power"]["high"]  # nothing changed in this season
    told = ok("session", "compare", first, second, library=library.folder).stdout
    assert "Speed at the same watts" in told
    for pair, words in (
        ((first, first), "name two runs"),
        ((first, max(r.id for r in library.runs() if r.local.weekday() == 0)), "fewer than two"),
    ):
        done = footwork("session", "compare", *pair, library=library.folder)
        assert done.returncode in (2, 5) and words in done.stderr
