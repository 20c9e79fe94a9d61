"""Corrections, marks, diary, hand-made runs: what they change, what they refuse, and that undoing restores every
number."""

import datetime as dt
import json
import shutil
import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from footwork.api import Library
from footwork.errors import NoSuchRun, UsageError
from footwork.history.log.entries import MARKS
from footwork.quantities import plain
from tests.conftest import RUNNER, fit_of, simulate

DAY = dt.date(2026, 4, 6)


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    """Three runs of two days: two in one morning, one of them on two devices, and one without a meter's watts."""
    folder = tmp_path_factory.mktemp("few")
    files = folder / "in"
    files.mkdir()
    a = simulate(DAY, [(600, 0.7), (300, 1.02), (300, 0.65)], seed=1)
    b = simulate(DAY, [(500, 0.75), (400, 0.8)], seed=2, hour=10)
    (files / "a.fit").write_bytes(fit_of(a, 1001))
    (files / "a2.fit").write_bytes(fit_of(simulate(DAY, [(600, 0.7), (300, 1.02), (300, 0.65)], seed=5), 2002))
    (files / "b.fit").write_bytes(fit_of(b, 1001))
    rows = "\n".join(
        f"2026-04-08T08:{s // 60:02}:{s % 60:02}Z,{3.0 + 0.1 * np.sin(s / 30):.2f},{140 + s // 60}" for s in range(900)
    )
    (files / "c.csv").write_text("time,speed,heart_rate\n" + rows)
    with Library.open(folder / "library") as library:
        library.athlete.set(DAY, mass=RUNNER.mass)
        library.add([files])
    return folder / "library"


@pytest.fixture
def library(source, tmp_path):
    shutil.copytree(source, tmp_path / "library")
    with Library.open(tmp_path / "library") as opened:
        yield opened


def everything(library):
    """Every number that a library gives for its runs."""
    rows = library.runs()
    out = [plain({**library.run(r.id).to_json(), "load": library.run_load(r.id)}) for r in rows]
    signals = {
        r.id: {n: np.nan_to_num(v, nan=-1).tolist() for n, v in library.signals(r.id).columns.items()}
        for r in rows
        if r.recording_id
    }
    return json.dumps([out, signals, library.diary()], sort_keys=True)


def by_length(library):
    return sorted(library.runs(), key=lambda r: (r.local, r.id))


def test_trimming_cuts_every_recording_of_the_run_and_nothing_else(library):
    a, b, _ = by_length(library)
    before = library.run(b.id).to_json()
    whole = library.signals(a.id)
    library.trim(a.id, 100, 700)
    run = library.run(a.id)
    assert run.row.duration_s == 600
    assert [r["duration_s"] for r in run.recordings] == [600, 600]
    kept = library.signals(a.id)
    assert kept["time"][0] == whole["time"][100] and len(kept) == 600
    np.testing.assert_array_equal(kept["power"], whole["power"][100:700])
    assert kept["distance"][0] == 0
    assert run.row.distance_m == pytest.approx(whole["distance"][699] - whole["distance"][100], rel=1e-5)
    assert library.run(b.id).to_json() == before


def test_a_split_run_is_two_whose_work_and_way_add_up(library):
    a, _, _ = by_length(library)
    whole = library.signals(a.id)
    _, new = library.split(a.id, 500)
    first, second = library.signals(a.id), library.signals(new)
    assert len(first) == 500 and len(first) + len(second) == len(whole)
    np.testing.assert_array_equal(np.concatenate([first["power"], second["power"]]), whole["power"])
    assert library.run(new).row.recordings == 2
    assert library.run(new).row.start > library.run(a.id).row.start
    library.mark(new, "race")
    with pytest.raises(UsageError, match="builds on"):
        library.undo(next(e["id"] for e in library.edits() if e["kind"] == "split"))


def test_merged_runs_are_one_with_a_pause_between(library):
    a, b, _ = by_length(library)
    one, two = library.signals(a.id), library.signals(b.id)
    library.merge(b.id, a.id)
    assert [r.id for r in by_length(library)] == [a.id, by_length(library)[-1].id]
    both = library.signals(a.id)
    assert both["time"][-1] == two["time"][-1]
    assert both.timer.sum() == one.timer.sum() + two.timer.sum()
    assert library.run(a.id).row.distance_m == pytest.approx(a.distance_m + b.distance_m, rel=1e-5)
    gap = (both["time"] > one["time"][-1]) & (both["time"] < two["time"][0])
    assert gap.any() and (both["power"][gap] == 0).all()
    assert len(library.run(a.id).recordings) == 2  # the second device recorded only the first run
    with pytest.raises(NoSuchRun):
        library.run(b.id)


def test_left_out_seconds_and_runs_count_in_no_analysis(library):
    a, b, _ = by_length(library)
    library.leave_out(a.id, 600, 900)
    best = {e["duration_s"]: e["power_w"] for e in library.run(a.id).best}
    assert library.run(a.id).row.distance_m == pytest.approx(a.distance_m, rel=1e-6)
    assert best[60] < 0.9 * RUNNER.speed_cp * RUNNER.mass * 1.2
    library.leave_out(b.id, 0, 100, "heart_rate")
    found = library.signals(b.id)
    assert np.isnan(found["heart_rate"][:100]).all() and np.isfinite(found["power"][:100]).all()
    curve = library.best_curve()
    assert {c["run"] for c in curve} >= {b.id}
    library.leave_out(b.id)
    assert b.id not in {c["run"] for c in library.best_curve()}
    assert library.run(b.id).row.left_out


def test_a_corrected_distance_scales_speed_and_modelled_power_but_not_a_sensors(library):
    a, _, c = by_length(library)
    sensor, modelled = library.run(a.id).row.power_w, library.run(c.id).row.power_w
    for row in (a, c):
        library.correct_distance(row.id, 1.1 * row.distance_m)
        assert library.run(row.id).row.distance_m == pytest.approx(1.1 * row.distance_m, rel=1e-6)
    assert library.run(a.id).row.power_w == pytest.approx(sensor)
    assert library.run(c.id).row.power_w == pytest.approx(1.1 * modelled, rel=0.02)
    with pytest.raises(UsageError, match="cannot be run"):
        library.correct_distance(a.id, 90_000)


def test_a_treadmills_incline_enters_modelled_power(library):
    c = by_length(library)[-1]
    flat = c.power_w
    library.mark(c.id, "treadmill", incline=6)
    assert library.run(c.id).row.power_w > 1.2 * flat
    library.mark(c.id, "treadmill", remove=True)
    assert library.run(c.id).row.power_w == pytest.approx(flat)


def test_laps_by_hand_stand_beside_the_devices(library):
    a = by_length(library)[0]
    library.add_lap(a.id, 600, 900)
    lap = library.run(a.id).laps[-1]
    assert lap["by"] == "hand" and lap["duration_s"] == 300 and lap["start_s"] == 600
    assert lap["power_w"] > 1.2 * a.power_w * 0.9
    assert lap["domain"] is None  # three unmarked runs tell no critical power


def test_a_deleted_run_is_hidden_comes_back_and_is_not_added_twice(library, source):
    a = by_length(library)[0]
    library.delete(a.id)
    assert a.id not in {r.id for r in library.runs()}
    report = library.add([source.parent / "in" / "a.fit"])
    assert not report["added"]
    library.undo(library.edits()[0]["id"])
    assert a.id in {r.id for r in library.runs()}


def test_deleting_for_ever_removes_the_original_and_all_that_was_said(library, source):
    a, b, _ = by_length(library)
    library.tell(a.id, note="a secret word")
    library.merge(a.id, b.id)
    assert set(library.delete(a.id, forever=True)) >= {a.id}
    assert len(list((library.folder / "originals").rglob("*.gz"))) == 1
    assert len(library.runs()) == 1 and library.edits(undone=True) == []
    library.close()
    assert b"secret word" not in (library.folder / "library.sqlite").read_bytes()


def test_a_second_device_added_later_takes_part_in_the_corrections(source, tmp_path):
    with Library.open(tmp_path / "new") as library:
        library.add([source.parent / "in" / "a.fit"])
        run = library.runs()[0].id
        library.trim(run, 200, 800)
        library.add([source.parent / "in" / "a2.fit"])
        assert [r["duration_s"] for r in library.run(run).recordings] == [600, 600]


def test_runs_by_hand_are_listed_and_a_race_of_the_years_before_counts(library):
    before = library.capacity(date=dt.date(2026, 4, 9), scale="model")
    run = library.enter_run(dt.datetime(2026, 4, 7, 9), 20.5 * 60, metres=5000, name="race")
    row = library.run(run).row
    assert row.entered_by_hand and row.power_w is None and row.distance_m == 5000
    with pytest.raises(UsageError, match="by hand"):
        library.signals(run)
    with pytest.raises(UsageError, match="mark that one"):
        library.enter_run(dt.datetime(2026, 4, 7, 18), 20.5 * 60, metres=5000)
    after = library.capacity(date=dt.date(2026, 4, 9), scale="model")
    assert before.critical_power.value is None
    expected = RUNNER.mass * 5000 / (20.5 * 60)
    assert 0.85 * expected < after.critical_power.value < 1.05 * expected
    assert after.evidence["kind"] == "tested"


@pytest.mark.parametrize(
    ("what", "match"),
    [
        (lambda lib, a, b: (lib.mark(a, "race"), lib.mark(a, "easy")), "cannot be easy too"),
        (lambda lib, a, b: (lib.mark(a, "treadmill"), lib.describe_run(a, surface="trail")), "treadmill"),
        (lambda lib, a, b: lib.describe_run(a, surface="lava"), "not a surface"),
        (lambda lib, a, b: lib.merge(a, a), "with itself"),
        (lambda lib, a, b: lib.merge(a, 3), "not one run|overlap"),
        (lambda lib, a, b: lib.split(a, 99999), "no span"),
        (lambda lib, a, b: lib.trim(a, 500, 400), "no span"),
        (lambda lib, a, b: lib.add_lap(a, 500, 90_000), "no span"),
        (lambda lib, a, b: lib.leave_out(a, 10, 20, "mood"), "not a signal"),
        (lambda lib, a, b: (lib.mark(a, "race"), lib.mark(b, "test"), lib.merge(a, b)), "take one mark off"),
        (lambda lib, a, b: lib.tell(a, exertion=11), "between 0 and 10"),
        (lambda lib, a, b: lib.tell(a, mood="good"), "has no 'mood'"),
        (lambda lib, a, b: lib.undo(999), "no edit 999"),
        (lambda lib, a, b: lib.enter_run(dt.datetime(2026, 4, 1), 600, metres=9000), "cannot be run"),
        (lambda lib, a, b: lib.athlete.set(mass=7), "cannot be"),
    ],
)
def test_what_cannot_be_is_refused_and_changes_nothing(library, what, match):
    a, b, _ = (r.id for r in by_length(library))
    with pytest.raises(UsageError, match=match):
        what(library, a, b)
    for entry in library.edits():  # what was said on the way to the contradiction
        library.undo(entry["id"])
    assert library.edits() == []


def test_overlapping_runs_do_not_merge(library, tmp_path):
    a = by_length(library)[0]
    late = simulate(DAY, [(600, 0.7), (900, 0.8)], seed=9)
    late = replace(late, time=late.time + 900)
    (tmp_path / "late.fit").write_bytes(fit_of(late, 3003))
    report = library.add([tmp_path / "late.fit"])
    with pytest.raises(UsageError, match="overlap in time"):
        library.merge(a.id, report["added"][0]["runs"][0])


_ACTIONS = st.lists(
    st.tuples(
        st.sampled_from(
            [
                "mark",
                "trim",
                "leave",
                "leave-run",
                "distance",
                "split",
                "merge",
                "lap",
                "delete",
                "diary",
                "shoe",
                "undo",
            ]
        ),
        st.integers(0, 5),
        st.integers(20, 850),
        st.integers(20, 850),
    ),
    min_size=1,
    max_size=7,
)


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(actions=_ACTIONS)
def test_any_sequence_of_edits_undone_restores_every_number(source, tmp_path_factory, actions):
    folder = tmp_path_factory.mktemp("any") / "library"
    shutil.copytree(source, folder)
    with Library.open(folder) as library:
        before = everything(library)
        for what, which, x, y in actions:
            known = [r.id for r in by_length(library)]
            if not known:
                break
            run, other = known[which % len(known)], known[(which + 1) % len(known)]
            try:
                match what:
                    case "mark":
                        library.mark(run, MARKS[x % len(MARKS)])
                    case "trim":
                        library.trim(run, min(x, y), max(x, y))
                    case "leave":
                        library.leave_out(run, min(x, y), max(x, y))
                    case "leave-run":
                        library.leave_out(run)
                    case "distance":
                        library.correct_distance(run, 1000.0 + x)
                    case "split":
                        library.split(run, x)
                    case "merge":
                        library.merge(run, other)
                    case "lap":
                        library.add_lap(run, min(x, y), max(x, y))
                    case "delete":
                        library.delete(run)
                    case "diary":
                        library.tell(run, exertion=x % 11, note=f"note {y}")
                    case "shoe":
                        library.describe_run(run, shoe=f"pair {y}")
                    case "undo":
                        found = library.edits()
                        if found:
                            library.undo(found[x % len(found)]["id"])
            except UsageError:
                continue
        for entry in library.edits():  # the newest first
            library.undo(entry["id"])
        assert everything(library) == before


def test_a_distance_is_corrected_after_a_trim_and_not_before(library):
    a = by_length(library)[0]
    library.correct_distance(a.id, 3000)
    with pytest.raises(UsageError, match="corrected as a whole"):
        library.trim(a.id, 100, 700)
    library.undo(library.edits()[0]["id"])
    trimmed = library.trim(a.id, 100, 700)
    library.correct_distance(a.id, 1500)
    with pytest.raises(UsageError, match="builds on"):
        library.undo(trimmed)


def test_a_device_that_recorded_a_part_only_is_cut_away_by_a_trim_and_keeps_its_own_distance(source, tmp_path):
    with Library.open(tmp_path / "new") as library:
        library.add([source.parent / "in" / "a.fit"])
        late = simulate(DAY, [(600, 0.7), (300, 1.02), (300, 0.65)], seed=5)
        (tmp_path / "late.fit").write_bytes(fit_of(cut_from(late, 800), 2002))
        library.add([tmp_path / "late.fit"])
        run = library.runs()[0].id
        assert library.run(run).row.recordings == 2
        half = library.run(run).recordings[1]["distance_m"]
        library.correct_distance(run, 5000)
        assert [r["distance_m"] for r in library.run(run).recordings] == pytest.approx([5000, half])
        library.undo(library.edits()[0]["id"])
        library.trim(run, 0, 600)
        assert [r["duration_s"] for r in library.run(run).recordings] == [600]


def cut_from(samples, seconds):
    return replace(samples, time=samples.time[seconds:], columns={n: v[seconds:] for n, v in samples.columns.items()})


def test_deleting_for_ever_goes_through_all_that_hangs_together(source, tmp_path):
    with Library.open(tmp_path / "new") as library:
        library.add([source.parent / "in" / "a.fit"])
        late = cut_from(simulate(DAY, [(600, 0.7), (300, 1.02), (300, 0.65)], seed=5), 700)
        (tmp_path / "late.fit").write_bytes(fit_of(late, 2002))
        library.add([tmp_path / "late.fit"])
        run = library.runs()[0].id
        _, new = library.split(run, 600)
        assert library.delete(run, forever=True) == [run, new]
        assert library.runs() == [] and not list((library.folder / "originals").rglob("*.gz"))


def test_deleting_for_ever_takes_the_poorer_copy_along(source, tmp_path):
    whole = simulate(DAY, [(600, 0.7), (300, 1.02), (300, 0.65)], seed=1)
    short = replace(whole, time=whole.time[:500], columns={n: v[:500] for n, v in whole.columns.items()})
    (tmp_path / "short.fit").write_bytes(fit_of(short, 1001))
    (tmp_path / "whole.fit").write_bytes(fit_of(whole, 1001))
    with Library.open(tmp_path / "new") as library:
        library.add([tmp_path / "short.fit"])
        run = library.runs()[0].id
        library.trim(run, 100, 400)
        library.add([tmp_path / "whole.fit"])
        assert len(library.signals(run)) == 300  # the better copy is cut like the one it replaced
        assert len(list((library.folder / "derived" / "signals").glob("*"))) == 1  # the poorer one is gone
        library.delete(run, forever=True)
        assert not list((library.folder / "originals").rglob("*.gz"))
        assert not list((library.folder / "derived" / "signals").glob("*"))
        assert library.add([tmp_path / "short.fit"])["added"]


def test_a_better_copy_of_a_merged_run_takes_part(source, tmp_path):
    whole = simulate(DAY, [(900, 0.8)], seed=2, hour=10)
    short = replace(whole, time=whole.time[:500], columns={n: v[:500] for n, v in whole.columns.items()})
    (tmp_path / "short.fit").write_bytes(fit_of(short, 1001))
    (tmp_path / "whole.fit").write_bytes(fit_of(whole, 1001))
    with Library.open(tmp_path / "new") as library:
        library.add([source.parent / "in" / "a.fit", tmp_path / "short.fit"])
        a, b = (r.id for r in by_length(library))
        library.merge(a, b)
        before = library.run(a).row.duration_s
        library.add([tmp_path / "whole.fit"])
        assert library.run(a).row.duration_s == before + 400


def test_runs_that_contradict_each_other_do_not_merge(library):
    a, b, _ = (r.id for r in by_length(library))
    library.leave_out(b)
    with pytest.raises(UsageError, match="left out"):
        library.merge(a, b)
    library.undo(library.edits()[0]["id"])
    library.mark(a, "treadmill", incline=5)
    with pytest.raises(UsageError, match="treadmill"):
        library.merge(a, b)
    library.mark(a, "treadmill", remove=True)
    library.describe_run(a, surface="trail")
    library.describe_run(b, surface="road")
    with pytest.raises(UsageError, match="mixed"):
        library.merge(a, b)


def test_undoing_does_not_make_marks_contradict_each_other(library):
    a = by_length(library)[0].id
    library.mark(a, "race")
    library.mark(a, "race", remove=True)
    off = library.edits()[0]["id"]
    library.mark(a, "easy")
    with pytest.raises(UsageError, match="at once"):
        library.undo(off)


def test_the_number_of_an_edit_is_never_used_again(library):
    b = by_length(library)[1].id
    library.mark(b, "long")
    last = library.edits()[0]["id"]
    library.delete(b, forever=True)
    left = next(r.id for r in library.runs())
    library.mark(left, "long")
    assert library.edits()[0]["id"] > last


def test_the_runners_word_on_a_heart_rate_counts_and_can_be_taken_back(library):
    row = next(r for r in library.runs() if r.heart_rate_sound_s)
    before = row.heart_rate_sound_s
    edit = library.judge_heart_rate(row.id, "doubtful")
    assert library.run(row.id).row.heart_rate_sound_s == 0
    assert not np.isfinite(library.signals(row.id).sound_heart_rate).any()
    assert library.edits(row.id)[0]["sentence"].endswith("heart rate is doubtful")
    library.undo(edit)
    assert library.run(row.id).row.heart_rate_sound_s == before
    library.judge_heart_rate(row.id, "sound")
    known = np.isfinite(library.signals(row.id)["heart_rate"])
    assert library.run(row.id).row.heart_rate_sound_s >= before and known.any()
    with pytest.raises(UsageError, match="sound or doubtful"):
        library.judge_heart_rate(row.id, "great")


def test_what_was_said_last_counts_though_the_clock_was_set_back(library, monkeypatch):
    run = library.runs()[0].id
    library.mark(run, "race")
    now = time.time()
    monkeypatch.setattr(time, "time", lambda: now - 30 * 86400)
    library.mark(run, "race", remove=True)
    assert "race" not in next(r for r in library.runs() if r.id == run).marks
    library.mark(run, "test")
    assert "test" in next(r for r in library.runs() if r.id == run).marks
    entry = library.edits()[0]["id"]
    library.undo(entry)
    assert "test" not in next(r for r in library.runs() if r.id == run).marks
