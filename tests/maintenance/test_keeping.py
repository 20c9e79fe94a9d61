"""Backup and restore, export of everything, the check-up: the identity, private places, and broken files."""

import datetime as dt
import json
import shutil
import sqlite3
import zipfile

import polars as pl
import pytest

from footwork.api import Library
from footwork.errors import UnreadableFile, UsageError
from footwork.maintenance import check_up
from footwork.store import seal
from tests.conftest import RUNNER, fit_of, simulate
from tests.history.test_entries import everything

DAY = dt.date(2026, 4, 6)


@pytest.fixture
def library(tmp_path):
    files = tmp_path / "in"
    files.mkdir()
    for i in range(3):
        samples = simulate(DAY + dt.timedelta(days=i), [(400, 0.7), (300, 0.95)], seed=i)
        (files / f"{i}.fit").write_bytes(fit_of(samples))
    with Library.open(tmp_path / "library") as opened:
        opened.athlete.set(DAY, mass=RUNNER.mass)
        opened.add([files])
        opened.mark(1, "test")
        opened.trim(2, 30, 600)
        opened.tell(3, exertion=6)
        opened.accept(250, DAY)
        opened.enter_run(dt.datetime(2025, 5, 1, 10), 2600, metres=10_000, name="race")
        yield opened


def start_of(library, run):
    found = library.signals(run)
    return float(found["latitude"][10]), float(found["longitude"][10])


def test_backup_and_restore_is_the_identity(library, tmp_path):
    made = library.backup(tmp_path / "one.zip")
    assert made["originals"] == 3 and made["verified"]
    with Library.restore(tmp_path / "one.zip", tmp_path / "again") as again:
        assert everything(again) == everything(library)
        strip = [{k: v for k, v in e.items()} for e in library.edits(undone=True)]
        assert again.edits(undone=True) == strip
        assert again.capacity(date=DAY).to_json() == library.capacity(date=DAY).to_json()
        again.backup(tmp_path / "two.zip")
    with zipfile.ZipFile(tmp_path / "one.zip") as one, zipfile.ZipFile(tmp_path / "two.zip") as two:
        assert set(one.namelist()) == set(two.namelist())


@pytest.mark.parametrize("fault", ["cut", "flipped", "no list", "a stray member", "text", "newer"])
def test_a_broken_backup_restores_nothing(library, tmp_path, fault):
    path = tmp_path / "b.zip"
    library.backup(path)
    data = path.read_bytes()
    if fault == "cut":
        path.write_bytes(data[: len(data) // 2])
    elif fault == "flipped":
        at = data.index(b"\x1f\x8b") + 200
        path.write_bytes(data[:at] + bytes([data[at] ^ 255]) + data[at + 1 :])
    elif fault == "text":
        path.write_text("not a backup")
    else:
        with zipfile.ZipFile(path) as old, zipfile.ZipFile(tmp_path / "c.zip", "w") as new:
            for name in old.namelist():
                content = old.read(name)
                if name == "manifest.json":
                    if fault == "no list":
                        continue
                    listed = json.loads(content)
                    if fault == "newer":
                        listed["library_version"] += 1
                    content = json.dumps(listed).encode()
                new.writestr(name, content)
            if fault == "a stray member":
                new.writestr("../evil", "x")
        path = tmp_path / "c.zip"
    with pytest.raises(UnreadableFile, match=r"\.zip"):
        Library.restore(path, tmp_path / "target")
    assert not (tmp_path / "target").exists() and not list(tmp_path.glob(".target*"))


def test_backup_and_restore_overwrite_nothing(library, tmp_path):
    library.backup(tmp_path / "b.zip")
    with pytest.raises(UsageError, match="there already"):
        library.backup(tmp_path / "b.zip")
    with pytest.raises(UsageError, match="there already"):
        Library.restore(tmp_path / "b.zip", library.folder)
    with pytest.raises(UsageError, match="no backup"):
        Library.restore(tmp_path / "none.zip", tmp_path / "x")


def test_folders_with_odd_names_are_checked_and_restored(library, tmp_path, monkeypatch):
    library.backup(tmp_path / "b.zip")
    for name in ("a?b", "My #1", "50%41x"):
        Library.restore(tmp_path / "b.zip", tmp_path / name).close()
        assert check_up.check_library(tmp_path / name)["problems"] == []
    (tmp_path / "empty").mkdir()
    monkeypatch.chdir(tmp_path / "empty")
    Library.restore(tmp_path / "b.zip", ".").close()
    assert sorted(p.name for p in tmp_path.iterdir() if p.name.startswith(".")) == []


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_everything_comes_out_in_open_formats(library, tmp_path, ending):
    told = library.export_all(tmp_path / "out", ending=ending)
    assert told["runs"] == 4 and told["signals"] == 3 and told["originals"] == 3
    facts = json.loads((tmp_path / "out" / "library.json").read_text())
    assert {e["kind"] for e in facts["edits"]} == {"mark", "trim", "diary", "run"}
    assert facts["accepted"][0]["critical_power"] == 250 and facts["diary"][0]["exertion"] == 6
    read = pl.read_csv if ending == ".csv" else pl.read_parquet
    assert len(read(tmp_path / "out" / "signals" / f"run-00002{ending}")) == 570
    assert len(pl.read_csv(tmp_path / "out" / "runs.csv")) == 4
    with pytest.raises(UsageError, match="there already"):
        library.export_all(tmp_path / "out")


def test_positions_near_a_private_place_stay_inside_unless_asked(library, tmp_path):
    from footwork.history import private_places

    private_places.add_place(library, "home", *start_of(library, 1), radius=200)
    told = library.export(1, tmp_path / "r.csv")
    frame = pl.read_csv(tmp_path / "r.csv")
    assert 0 < told["hidden"] < told["rows"]
    assert frame["latitude"].null_count() == told["hidden"] == frame["longitude"].null_count()
    assert frame["power"].null_count() == 0
    everywhere = library.export_all(tmp_path / "all")
    assert everywhere["originals"] == 0 and everywhere["originals_left_out"] == 3 and everywhere["hidden"] > 0
    text = (tmp_path / "all" / "library.json").read_text()
    assert "places" not in text and str(start_of(library, 1)[0])[:7] not in text
    open_handed = library.export_all(tmp_path / "asked", with_location=True)
    assert open_handed["originals"] == 3 and open_handed["hidden"] == 0
    private_places.remove_place(library, "home")
    assert library.export(1, tmp_path / "r.csv")["hidden"] == 0
    for wrong in (("", 1, 1, 300), ("x", 95, 1, 300), ("x", 1, 1, 5)):
        with pytest.raises(UsageError):
            private_places.add_place(library, *wrong)


def test_the_check_up_finds_nothing_wrong_with_a_sound_library(library):
    before = everything(library)
    library.close()
    found = check_up.check_library(library.folder)
    assert found["problems"] == [] and all(c["ok"] for c in found["checks"]) and len(found["checks"]) == 8
    assert everything(library) == before


def test_the_check_up_mends_what_can_be_rebuilt_and_names_what_cannot(library):
    before = everything(library)
    folder = library.folder
    library.close()
    signals = sorted((folder / "derived" / "signals").glob("*.parquet"))
    signals[0].unlink()
    signals[1].write_bytes(b"broken")
    (folder / "derived" / "signals" / "stray.parquet").write_bytes(b"")
    with sqlite3.connect(folder / "derived" / "derived.sqlite") as raw:
        raw.execute("UPDATE result SET versions='old' WHERE recording_id=3")
    raw.close()
    seal.lift(folder)  # as an older version would leave it
    found = check_up.check_library(folder)
    assert len(found["problems"]) >= 2 and found["repaired"] == []
    mended = check_up.check_library(folder, repair=True)
    assert mended["problems"] == [] and len(mended["repaired"]) >= 2
    assert check_up.check_library(folder, repair=True)["problems"] == []
    assert not (folder / "derived" / "signals" / "stray.parquet").exists()
    assert everything(library) == before
    library.close()
    original = next((folder / "originals").rglob("*.gz"))
    kept = original.read_bytes()
    original.write_bytes(kept[:-20])
    (folder / "originals" / "ab").mkdir(exist_ok=True)
    (folder / "originals" / "ab" / "stray.gz").write_bytes(kept)
    found = check_up.check_library(folder, repair=True)
    assert len(found["problems"]) == 2 and "add the file again" in found["problems"][0]
    assert "footwork add" in found["problems"][1]


def test_a_damaged_derived_database_is_made_anew(library):
    before = everything(library)
    folder = library.folder
    library.close()
    path = folder / "derived" / "derived.sqlite"
    path.write_bytes(path.read_bytes()[:4096] + b"\xff" * 8192)
    found = check_up.check_library(folder)
    assert "makes them anew" in found["problems"][0]
    assert check_up.check_library(folder, repair=True)["problems"] == []
    with Library.open(folder) as again:
        assert everything(again) == before


def test_deleting_derived_and_rebuilding_gives_the_same_numbers_with_edits(library):
    library.split(3, 300)
    before = everything(library)
    library.close()
    shutil.rmtree(library.folder / "derived")
    with Library.open(library.folder) as again:
        assert everything(again) == before
