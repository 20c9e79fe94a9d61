"""What an import does with a folder of everything."""

import datetime as dt
import gzip
import json
import time

import numpy as np
import pytest

from footwork.api import Library
from footwork.demo import write
from footwork.errors import UsageError
from tests import fitfile as f
from tests.conftest import RUNNER, fit_of, simulate
from tests.formats.test_fit import triathlon
from tests.formats.test_text import track, zipped

DAY = dt.date(2026, 4, 1)


@pytest.fixture
def library(tmp_path):
    with Library.open(tmp_path / "library") as made:
        yield made


def reasons(report, kind):
    return {e["file"]: e["reason"] for e in report[kind]}


def test_a_mixed_folder(library, tmp_path):
    folder = tmp_path / "in" / "deep"
    folder.mkdir(parents=True)
    run = fit_of(simulate(DAY, [(600, 0.8)]))
    (folder / "a.fit").write_bytes(run)
    (folder / "b.fit.gz").write_bytes(gzip.compress(f.wrap(f.run(200))))
    (folder / "c.zip").write_bytes(zipped({"x/d.gpx": track(), "notes.doc": b"?"}))
    (folder / "course.gpx").write_bytes(track(untimed=True))
    (folder / "undated.csv").write_text("time,power\n" + "".join(f"{i},200\n" for i in range(60)))
    (folder / "photo.jpg").write_bytes(b"\xff\xd8")
    (folder / "noname").write_bytes(f.wrap(f.run(300, f.START + 90_000, 7)))
    (folder / "empty.fit").write_bytes(b"")
    (folder / "cut.fit").write_bytes(f.wrap(f.run(400, f.START + 200_000, 8))[:9000])
    (folder / "tri.fit").write_bytes(f.wrap(triathlon()))
    (folder / "lies.fit").write_bytes(b"<html>not a fit file</html>")
    report = library.add([tmp_path / "in"])
    assert set(report) == {"added", "duplicates", "recovered", "healed", "told", "skipped", "failed"}
    added = reasons(report, "added")
    assert {"deep/a.fit", "deep/b.fit.gz", "deep/c.zip/x/d.gpx", "deep/noname", "deep/cut.fit"} <= set(added)
    assert "deep/cut.fit" in reasons(report, "recovered")
    skipped = reasons(report, "skipped")
    assert "course" in skipped["deep/course.gpx"]
    assert "not a FIT" in skipped["deep/photo.jpg"] and "not a FIT" in skipped["deep/c.zip/notes.doc"]
    assert "empty" in skipped["deep/empty.fit"]
    assert "swimming and cycling leg" in skipped["deep/tri.fit"]
    assert "--start" in reasons(report, "failed")["deep/undated.csv"]
    assert "lies.fit" in str(skipped)
    json.dumps(report)
    assert {a["sport"] for a in library.activities()} == {"swimming", "cycling"}


def test_the_run_leg_of_a_triathlon_is_tied_to_its_legs(library, tmp_path):
    (tmp_path / "tri.fit").write_bytes(f.wrap(triathlon()))
    library.add([tmp_path / "tri.fit"])
    (row,) = library.runs()
    assert library.run(row.id).legs_before == ["swimming", "cycling"]
    assert row.power_w == pytest.approx(240)


def test_undated_with_a_start(library, tmp_path):
    path = tmp_path / "u.csv"
    path.write_text("time,power\n" + "".join(f"{i},200\n" for i in range(60)))
    report = library.add([path], start=dt.datetime(2026, 4, 14, 18, 5, tzinfo=dt.timezone(dt.timedelta(hours=2))))
    assert len(report["added"]) == 1
    assert library.runs()[0].start == "2026-04-14T16:05:00Z"
    assert library.runs()[0].date.startswith("2026-04-14T18:05")


def test_a_start_in_the_future_is_refused(library, tmp_path):
    with pytest.raises(UsageError, match="future"):
        library.add([tmp_path], start=dt.datetime.now(dt.UTC) + dt.timedelta(days=400))


def test_links_out_of_an_added_folder_are_named_and_not_followed(tmp_path):
    outside, inside = tmp_path / "outside", tmp_path / "in"
    outside.mkdir()
    (inside / "deep").mkdir(parents=True)
    (outside / "secret.fit").write_bytes(f.wrap(f.run(60, f.START + 86400)))
    (inside / "deep" / "own.fit").write_bytes(f.wrap(f.run(90)))
    (inside / "file.fit").symlink_to(outside / "secret.fit")
    (inside / "folder").symlink_to(outside)
    (inside / "twin.fit").symlink_to(inside / "deep" / "own.fit")
    (inside / "again").symlink_to(inside / "deep")
    (inside / "gone.fit").symlink_to(inside / "nothing.fit")
    with Library.open(tmp_path / "library") as library:
        report = library.add([inside])
        assert len(report["added"]) == 1 and len(library.runs()) == 1 and library.runs()[0].duration_s == 90
        outs = {e["file"] for e in report["skipped"] if "leads out" in e["reason"]}
        assert outs == {"file.fit", "folder"} and len(report["duplicates"]) == 1
        (tmp_path / "link").symlink_to(outside)
        assert len(library.add([tmp_path / "link"])["added"]) == 1  # what was named is followed


def test_a_recording_from_the_future_fails_with_a_sentence(library, tmp_path):
    (tmp_path / "x.fit").write_bytes(f.wrap(f.run(60, int(time.time()) + 86400 * 300)))
    report = library.add([tmp_path / "x.fit"])
    assert "future" in report["failed"][0]["reason"]
    start = dt.datetime(2026, 2, 20, 18, 5, tzinfo=dt.UTC)
    assert len(library.add([tmp_path / "x.fit"], start=start)["added"]) == 1  # it says when it was
    assert any(r.start.startswith("2026-02-20T18:05") for r in library.runs())


def test_nothing_is_added_twice(library, tmp_path):
    (tmp_path / "a.fit").write_bytes(fit_of(simulate(DAY, [(600, 0.8)])))
    library.add([tmp_path / "a.fit"])
    again = library.add([tmp_path / "a.fit"])
    assert again["added"] == [] and len(again["duplicates"]) == 1
    assert len(library.runs()) == 1


@pytest.mark.parametrize("first", ["fit", "gpx"])
def test_the_same_recording_in_another_format_is_known(library, tmp_path, first):
    samples = simulate(DAY, [(900, 0.8)])
    (tmp_path / "a.fit").write_bytes(fit_of(samples))
    (tmp_path / "a.gpx").write_text(write.gpx_text(samples))
    second = {"fit": "gpx", "gpx": "fit"}[first]
    library.add([tmp_path / f"a.{first}"])
    report = library.add([tmp_path / f"a.{second}"])
    assert "same recording" in report["duplicates"][0]["reason"]
    assert library.runs()[0].recordings == 1


def test_the_copy_with_watts_takes_the_place_of_the_one_without(library, tmp_path):
    samples = simulate(DAY, [(900, 0.8)])
    stamps = [f"{dt.datetime.fromtimestamp(t, dt.UTC):%Y-%m-%dT%H:%M:%SZ}" for t in samples.time]
    rates = np.rint(samples.columns["heart_rate"])
    (tmp_path / "a.csv").write_text(
        "time,heart_rate\n" + "".join(f"{t},{h:.0f}\n" for t, h in zip(stamps, rates, strict=True))
    )
    (tmp_path / "a.fit").write_bytes(fit_of(samples))
    library.add([tmp_path / "a.csv"])
    library.mark(1, "race")
    assert len(library.add([tmp_path / "a.fit"])["added"]) == 1
    (row,) = library.runs()
    assert row.measured and row.marks == ("race",) and row.id == 1


def test_marks_stay_with_their_run_when_a_file_brings_several(library, tmp_path):
    first = simulate(DAY, [(600, 0.8)])
    early = simulate(DAY - dt.timedelta(days=1), [(600, 0.75)], seed=5)
    cut = write.gpx_text(first).split("\n")
    (tmp_path / "cut.gpx").write_text("\n".join(cut[:300]) + "</trkseg></trk></gpx>")
    library.add([tmp_path / "cut.gpx"])
    library.mark(1, "race")
    tracks = [write.gpx_text(s).split("<trk>")[1].rsplit("</trk>", 1)[0] for s in (early, first)]
    head = write.gpx_text(first).split("<trk>")[0]
    (tmp_path / "both.gpx").write_text(head + "".join(f"<trk>{t}</trk>" for t in tracks) + "</gpx>")
    library.add([tmp_path / "both.gpx"])
    found = {r.date[:10]: (r.id, r.marks) for r in library.runs()}
    assert found == {"2026-04-01": (1, ("race",)), "2026-03-31": (2, ())}


def test_one_start_places_one_undated_file(library, tmp_path):
    for name in "ab":
        (tmp_path / f"{name}.csv").write_text("time,power\n" + "".join(f"{i},{200 + ord(name)}\n" for i in range(60)))
    report = library.add([tmp_path], start=dt.datetime(2026, 4, 14, 18, 5, tzinfo=dt.UTC))
    assert len(report["added"]) == 1 and "one by one" in report["failed"][0]["reason"]


def test_a_ride_in_two_files_is_kept_once(library, tmp_path):
    body = f.file_id() + b"".join(f.record(f.START + i) for i in range(100)) + f.session(f.START, 100, 2)
    (tmp_path / "a.fit").write_bytes(f.wrap(body))
    (tmp_path / "b.fit").write_bytes(f.wrap(body + f.message(34, [(253, "I", 1)])))
    library.add([tmp_path])
    assert len(library.activities()) == 1


def test_the_longer_copy_of_a_cut_recording_takes_its_place(library, tmp_path):
    whole = fit_of(simulate(DAY, [(1200, 0.8)]))
    (tmp_path / "cut.fit").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "whole.fit").write_bytes(whole)
    library.add([tmp_path / "cut.fit"])
    library.mark(1, "race")
    report = library.add([tmp_path / "whole.fit"])
    assert len(report["added"]) == 1
    (row,) = library.runs()
    assert (row.id, row.duration_s, row.marks, row.recordings) == (1, 1200, ("race",), 1)


def test_two_devices_make_one_run_of_two_recordings(library, tmp_path):
    samples = simulate(DAY, [(900, 0.8)], both_devices=True)
    write.save(tmp_path, samples, 1)
    library.add([tmp_path])
    (row,) = library.runs()
    assert row.recordings == 2
    scales = {p["scale"] for r in library.run(row.id).recordings for p in r["power"]}
    assert len(scales) == 2


def test_mass_given_later_models_power_and_only_where_it_is_missing(library, tmp_path):
    (tmp_path / "a.fit").write_bytes(fit_of(simulate(DAY, [(600, 0.8)], measured=False)))
    (tmp_path / "b.fit").write_bytes(fit_of(simulate(DAY + dt.timedelta(days=1), [(600, 0.8)])))
    library.add([tmp_path / "a.fit", tmp_path / "b.fit"])
    assert [r.power_w is None for r in library.runs()] == [False, True]
    assert library.athlete.set(DAY, mass=RUNNER.mass) == 1
    newest, oldest = library.runs()
    assert oldest.power_scale == "model" and not oldest.measured
    assert oldest.power_w == pytest.approx(newest.power_w, rel=0.08)


@pytest.mark.parametrize(
    "facts",
    [
        {"mass": 7},
        {"max_heart_rate": 400},
        {"resting_heart_rate": 5},
        {"resting_heart_rate": 105, "max_heart_rate": 100},
    ],
)
def test_impossible_facts_change_nothing(library, facts):
    before = library.athlete.facts()
    with pytest.raises(UsageError):
        library.athlete.set(**facts)
    assert library.athlete.facts() == before


def test_deleting_the_derived_folder_gives_the_same_numbers(season_library, tmp_path):
    import shutil

    copy = tmp_path / "copy"
    season_library.close()
    shutil.copytree(season_library.folder, copy)
    with Library.open(copy) as library:
        before = [r.to_json() for r in library.runs()], library.capacity().to_json()
    shutil.rmtree(copy / "derived")
    with Library.open(copy) as library:
        assert ([r.to_json() for r in library.runs()], library.capacity().to_json()) == before


def test_damaged_signals_are_rebuilt_from_the_original(library, tmp_path):
    (tmp_path / "a.fit").write_bytes(fit_of(simulate(DAY, [(600, 0.8)])))
    library.add([tmp_path / "a.fit"])
    before = library.signals(1)["power"]
    (path,) = (library.folder / "derived" / "signals").iterdir()
    path.write_bytes(b"torn")
    np.testing.assert_array_equal(library.signals(1)["power"], before)


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_export(season_library, tmp_path, ending):
    import polars as pl

    out = tmp_path / f"run.{ending}"
    rows = season_library.export(1, out)["rows"]
    frame = pl.read_csv(out) if ending == "csv" else pl.read_parquet(out)
    assert len(frame) == rows and {"time", "power", "heart_rate"} <= set(frame.columns)
    with pytest.raises(UsageError, match="csv or"):
        season_library.export(1, tmp_path / "run.xls")


def test_our_own_export_reads_back(season_library, tmp_path):
    season_library.export(1, tmp_path / "run.csv")
    with Library.from_files([tmp_path / "run.csv"]) as library:
        assert library.runs()[0].power_w == pytest.approx(season_library.run(1).row.power_w, abs=0.5)


def test_the_demo_never_deletes_a_folder_that_is_not_its_own(tmp_path):
    from footwork.demo import make

    (tmp_path / "recordings").mkdir()
    (tmp_path / "recordings" / "mine.fit").write_bytes(b"x")
    with pytest.raises(UsageError, match="no demo"):
        make(tmp_path)
    assert (tmp_path / "recordings" / "mine.fit").exists()


def test_a_zone_dates_files_that_state_none(library, tmp_path):
    (tmp_path / "a.csv").write_text("time,power\n" + "".join(f"2026-04-01T23:30:{i:02d}Z,200\n" for i in range(60)))
    library.set_setting("zone", "Asia/Tokyo")
    library.add([tmp_path / "a.csv"])
    assert library.runs()[0].date.startswith("2026-04-02T08:30")
    with pytest.raises(UsageError, match="time zone"):
        library.set_setting("zone", "Moon/Base")


def test_marked_races_without_a_mass_give_critical_speed(library, tmp_path):
    for i, (seconds, share) in enumerate(((1100, 1.02), (2400, 0.97))):
        samples = simulate(DAY + dt.timedelta(days=7 * i), [(seconds, share)], measured=False, seed=i)
        (tmp_path / f"{i}.fit").write_bytes(fit_of(samples))
    library.add([tmp_path])
    for row in library.runs():
        library.mark(row.id, "race")
    found = library.capacity()
    assert found.critical_power.value is None and "mass" in found.critical_power.reason
    assert 3.4 < found.critical_speed.value < 4.6
    assert all(b["speed"].value for b in found.domains.values())


@pytest.mark.parametrize(("longitude", "day"), [(13.0, "2026-04-01"), (151.0, "2026-04-02"), (-122.0, "2026-04-01")])
def test_a_run_far_away_is_on_the_day_it_was_there(tmp_path, longitude, day):
    begin = dt.datetime(2026, 4, 1, 20, 0, tzinfo=dt.UTC)
    rows = [
        f"{(begin + dt.timedelta(seconds=t)).isoformat().replace('+00:00', 'Z')},{10 + t * 2.7e-5:.6f},{longitude},3.0"
        for t in range(600)
    ]
    path = tmp_path / "away.csv"
    path.write_text("\n".join(["time,latitude,longitude,speed", *rows]) + "\n")
    with Library.open(tmp_path / "away") as made:
        made.set_setting("zone", "Europe/Berlin")
        made.add([path])
        assert made.runs()[0].local.date().isoformat() == day
