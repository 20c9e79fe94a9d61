"""Damaged files: one costs no other, nothing wrong is believed, and what can be put right is."""

import json
import os
import shutil
import stat
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from footwork.api import Library
from footwork.errors import LeftOut, LibraryError, UnreadableFile, UsageError
from footwork.maintenance import backup, check_up, export
from footwork.store import blobs, database, scratch, seal, stamps
from tests.program import footwork, of_json

WORDS = "four plain words here"


def flip(path: Path, at: int | None = None, bit: int = 1) -> None:
    """Change one bit of a file, by default in its middle."""
    content = bytearray(path.read_bytes())
    content[len(content) // 2 if at is None else at] ^= bit
    path.write_bytes(bytes(content))


def damaged_original(library: Library) -> tuple[str, str]:
    """Damage the first original; its hash and name."""
    digest, (name, _) = next(iter(library.file_names().items()))
    flip(blobs.original_path(library.folder, digest))
    return digest, name


def answers(library: Library) -> str:
    rows = [r.to_json() for r in library.runs()]
    return json.dumps([rows, [library.run(r["id"]).to_json() for r in rows]], default=str)


def test_backup_and_export_take_all_that_is_whole_and_name_the_rest(library, tmp_path):
    digest, name = damaged_original(library)
    runs, count = len(library.runs()), len(library.known_files())
    shutil.rmtree(library.folder / "derived" / "signals")
    made = library.backup(tmp_path / "b.zip")
    assert made["originals"] == count - 1 and made["damaged"] == [name]
    told = library.export_all(tmp_path / "out")
    assert told["originals"] == count - 1 and told["runs"] == runs and told["signals"] == runs - 1
    assert sorted(told["damaged"]) == sorted([name, *(n for n in told["damaged"] if n.startswith("run-"))])
    restored = backup.restore(tmp_path / "b.zip", tmp_path / "again")
    assert restored["damaged"] == [name] and digest in Library.open(tmp_path / "again").known_files()
    for command in (["backup", tmp_path / "c.zip"], ["export", "--all", "--out", tmp_path / "o2"]):
        done = footwork(*command, library=library.folder)
        assert done.returncode == LeftOut.exit_code == 7 and name in done.stderr and "Traceback" not in done.stderr
    assert (tmp_path / "c.zip").exists() and (tmp_path / "o2" / "runs.csv").exists()


def test_a_damaged_original_is_put_right_by_adding_its_file(library, season_files):
    before = answers(library)
    digest, name = damaged_original(library)
    other = sorted(library.known_files())[-1]
    blobs.original_path(library.folder, other).unlink()
    report = library.add([season_files])
    assert {Path(e["file"]).name for e in report["healed"]} == {name, library.file_names()[other][0]}
    assert len(report["duplicates"]) == len(library.known_files()) - 2 and not report["added"] and not report["failed"]
    assert all(blobs.is_whole(library.folder, d) for d in (digest, other)) and answers(library) == before


@pytest.mark.parametrize("kind", ["folder", "backup", "library"])
def test_check_up_finds_intact_copies(library, season_files, tmp_path, kind):
    library.backup(tmp_path / "b.zip")
    shutil.copytree(library.folder, tmp_path / "other")
    digest, _ = damaged_original(library)
    library.close()
    copies = {"folder": season_files, "backup": tmp_path / "b.zip", "library": tmp_path / "other"}[kind]
    assert check_up.check_library(library.folder, True)["problems"]
    found = check_up.check_library(library.folder, True, copies=[copies])
    assert found["problems"] == [] and any("intact copies" in text for text in found["repaired"])
    assert blobs.is_whole(library.folder, digest)


def test_a_run_that_cannot_be_made_anew_is_not_corrected(library):
    damaged_original(library)
    run = library.runs()[-1].id
    entries = library.edits()
    for command in (["trim", run, "--from", "1:00"], ["split", run, "--at", "5:00"], ["distance", run, "5km"]):
        done = footwork("edit", *command, library=library.folder)
        assert done.returncode == 4 and f"run {run} cannot be corrected" in done.stderr, done
    done = footwork("mark", run, "--as", "treadmill", "--incline", "1", library=library.folder)
    assert done.returncode == 4 and library.edits() == entries
    library.mark(run, "race")  # which makes nothing anew


@pytest.mark.parametrize("part", ["header", "middle", "end", "index"])
def test_changed_bytes_of_derived_results_are_never_believed(library, part):
    before = answers(library)
    path = library.folder / "derived" / "derived.sqlite"
    library.close()
    size = path.stat().st_size
    flip(path, {"header": 40, "middle": size // 2, "end": size - 3, "index": size - 5000}[part])
    with Library.open(library.folder) as again:
        assert answers(again) == before
    assert "something else" in database.made_anew(library.folder)["why"]
    assert check_up.check_library(library.folder)["problems"] == []


@pytest.mark.parametrize("what", ["a file", "no database", "empty", "folder as database", "signals a file", "gone"])
def test_a_broken_derived_folder_stops_no_command(library, what):
    before = answers(library)
    library.close()
    derived = library.folder / "derived"
    path = derived / "derived.sqlite"
    if what in ("a file", "gone"):
        shutil.rmtree(derived)
    elif what == "folder as database":
        path.unlink()
        path.mkdir()
    elif what == "signals a file":
        shutil.rmtree(derived / "signals")
        (derived / "signals").write_text("x")
    else:
        path.write_bytes(b"" if what == "empty" else b"no database " * 500)
    if what == "a file":
        derived.write_text("x")
        done = footwork("runs", library=library.folder)
        assert done.returncode == 0 and len(done.stdout.splitlines()) > 5, done.stderr
    with Library.open(library.folder) as again:
        assert answers(again) == before
    assert seal.changed(library.folder) == ()


def test_a_changed_second_of_the_signals_is_made_anew(library):
    row = library.runs()[0]
    before = library.signals(row.id)
    path = next((library.folder / "derived" / "signals").glob("*.parquet"))
    path = blobs.signals_path(library.folder, _sha_of(library, row.recording_id), 0)
    frame = pl.read_parquet(path)
    kept = pl.read_parquet_metadata(path)["check"]
    changed = frame.with_columns(
        pl.when(pl.int_range(pl.len()) == 100).then(999.0).otherwise(pl.col("power")).alias("power")
    )
    changed.write_parquet(path, metadata={"check": kept})
    with pytest.raises(LibraryError, match="not what was written"):
        blobs.read_signals(path, [])
    assert np.array_equal(library.signals(row.id)["power"], before["power"], equal_nan=True)


def _sha_of(library: Library, recording: int) -> str:
    with library.reading() as connection:
        return str(
            connection.exec_driver_sql(
                "SELECT sha256 FROM file JOIN recording ON recording.file_id=file.id WHERE recording.id=?", (recording,)
            ).scalar()
        )


def test_what_the_runner_told_is_not_believed_once_something_else_changed_it(library):
    library.tell(date="2026-04-01", note="fine as a lark")
    library.close()
    path = library.folder / "library.sqlite"
    flip(path, path.read_bytes().find(b"fine as a lark"))
    for command in ("runs", "capacity", "check-up"):
        done = footwork(command, library=library.folder)
        assert done.returncode == 4 and "changed by something else" in done.stderr and "Traceback" not in done.stderr
    assert footwork("backup", library.folder.parent / "x.zip", library=library.folder).returncode == 4
    found = check_up.check_library(library.folder, repair=True)
    assert "taken as it is" in found["repaired"][0] and found["problems"] == []
    assert footwork("runs", library=library.folder).returncode == 0


def test_a_database_beyond_opening_is_one_sentence_everywhere(library, tmp_path):
    library.close()
    path = library.folder / "library.sqlite"
    content = bytearray(path.read_bytes())
    content[4096:12288] = os.urandom(8192)
    path.write_bytes(bytes(content))
    seal.lift(library.folder)
    commands = (["runs"], ["backup", tmp_path / "b.zip"], ["check-up"], ["check-up", "--repair"], ["export", "--all"])
    for command in commands:
        done = footwork(*command, *(["--out", tmp_path / "o"] if "export" in command else []), library=library.folder)
        assert done.returncode == 4 and "damaged" in done.stderr and "Traceback" not in done.stderr, done.stderr
        assert len(done.stderr.strip().splitlines()) == 1


def test_a_write_that_was_cut_short_is_no_damage(library):
    before = answers(library)
    library.close()
    assert seal.changed(library.folder) == ()
    seal.lift(library.folder)
    assert seal.changed(library.folder) is None
    with Library.open(library.folder) as again:
        assert answers(again) == before
    assert seal.changed(library.folder) == ()
    with again.writing():
        assert seal.changed(library.folder) is None
    assert seal.changed(library.folder) == ()
    with pytest.raises(ZeroDivisionError), again.writing():
        1 / 0  # noqa: B018
    assert seal.changed(library.folder) == ()  # rolled back: what was looked at is there again
    seal.lift(library.folder)
    with pytest.raises(ZeroDivisionError), again.writing():
        1 / 0  # noqa: B018
    assert seal.changed(library.folder) is None


def test_kept_text_is_forgotten_where_it_changed(tmp_path):
    stamps.write_kept(tmp_path / "a" / "x.txt", "räume\r\n1,5")
    assert stamps.read_kept(tmp_path / "a" / "x.txt") == "räume\r\n1,5"
    flip(tmp_path / "a" / "x.txt")
    assert stamps.read_kept(tmp_path / "a" / "x.txt") is None and stamps.read_kept(tmp_path / "none") is None


def test_a_library_is_its_runners_alone(library, season_files, tmp_path):
    old = os.umask(0o022)
    try:
        fresh = tmp_path / "fresh"
        footwork("add", season_files / "w0d0.fit", library=fresh)
        Library.restore(library.backup(tmp_path / "b.zip")["file"], tmp_path / "back").close()
    finally:
        os.umask(old)
    for folder in (fresh, tmp_path / "back"):
        for path in [folder, *folder.rglob("*")]:
            mode = stat.S_IMODE(path.stat().st_mode)
            if path.is_dir() or path.suffix in (".sqlite", ".gz", ".parquet"):
                assert mode == (0o700 if path.is_dir() else 0o600), path
    assert stat.S_IMODE((tmp_path / "b.zip").stat().st_mode) == 0o600
    fresh.chmod(0o755)
    (fresh / "library.sqlite").chmod(0o644)
    found = check_up.check_library(fresh)
    assert len(found["problems"]) == 1 and "other users" in found["problems"][0]
    assert check_up.check_library(fresh, repair=True)["problems"] == []
    assert stat.S_IMODE((fresh / "library.sqlite").stat().st_mode) == 0o600
    assert stat.S_IMODE(fresh.stat().st_mode) == 0o700


def test_an_encrypted_backup_is_unreadable_without_its_passphrase(library, tmp_path, cipher):
    before = answers(library)
    library.close()
    (tmp_path / "words").write_text(WORDS + "\n")
    told = of_json(
        "backup", tmp_path / "b.age", "--encrypt", "--passphrase-file", tmp_path / "words", library=library.folder
    )
    assert told["encrypted"] and told["damaged"] == []
    assert not zipfile.is_zipfile(tmp_path / "b.age") and b"SQLite" not in (tmp_path / "b.age").read_bytes()
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]
    with pytest.raises(UsageError, match="passphrase"):
        Library.restore(tmp_path / "b.age", tmp_path / "r0")
    with pytest.raises(UnreadableFile, match="passphrase is wrong"):
        Library.restore(tmp_path / "b.age", tmp_path / "r1", "quite other words")
    assert not (tmp_path / "r1").exists()
    with Library.restore(tmp_path / "b.age", tmp_path / "r2", WORDS) as again:
        assert answers(again) == before
    assert (
        footwork("backup", tmp_path / "c", "--passphrase-file", tmp_path / "words", library=library.folder).returncode
        == 2
    )


def test_what_a_killed_command_leaves_is_swept_by_the_next(library, tmp_path):
    code = (
        "import os, sys; from pathlib import Path; from footwork.store import scratch\n"
        "with scratch.beside(Path(sys.argv[1]), Path(sys.argv[2])) as p:\n"
        "    p.write_text('half'); os.kill(os.getpid(), 9)"
    )
    subprocess.run([sys.executable, "-c", code, str(library.folder), str(tmp_path / "b.zip")], check=False)
    left = [p for p in tmp_path.iterdir() if p.name.startswith(".footwork-")]
    assert len(left) == 1
    with scratch.beside(library.folder, tmp_path / "c.zip") as busy:
        busy.write_text("being written")
        (library.folder / "incoming" / "1").mkdir(parents=True)
        Library.open(library.folder).close()
        assert busy.exists() and not left[0].exists() and not (library.folder / "incoming").exists()
    assert not busy.exists() and not (library.folder / scratch.PLACE).exists()
    thesis = tmp_path / "thesis.txt"
    thesis.write_text("mine")
    (library.folder / scratch.PLACE).mkdir()
    (library.folder / scratch.PLACE / "x.json").write_text(json.dumps(str(thesis)))
    Library.open(library.folder).close()
    assert thesis.exists() and not (library.folder / scratch.PLACE / "x.json").exists()


def test_no_text_of_a_table_is_computed_by_a_spreadsheet():
    rows = [
        {"a": "=1+1", "b": "-5", "n": -5.0},
        {"a": " @x", "b": "plain - text", "n": 1.0},
        {"a": None, "b": "+", "n": 2.0},
    ]
    assert export.table_of(rows).decode().splitlines() == [
        "a,b,n",
        "'=1+1,'-5,-5.0",
        "' @x,plain - text,1.0",
        ",'+,2.0",
    ]


def test_what_changed_under_an_open_library_is_not_sealed_with_the_next_write(library):
    library.tell(date="2026-04-01", note="fine as a lark")
    path = library.folder / "derived" / "derived.sqlite"
    flip(path, path.stat().st_size - 3)
    library.store_setting("units", "imperial")  # nothing of it rests on results
    assert seal.changed(library.folder) == ("derived/derived.sqlite",)
    path = library.folder / "library.sqlite"
    kept = path.read_bytes()
    flip(path, kept.find(b"fine as a lark"))
    with pytest.raises(LibraryError, match="changed by something else"):
        library.store_setting("units", "metric")
    path.write_bytes(kept)
    library.store_setting("units", "metric")


def test_many_openings_at_once_find_nothing_wrong(library):
    library.close()
    code = (
        "import sys; from footwork import Library\n"
        "for k in range(60):\n"
        "    with Library.open(sys.argv[1]) as found: found.store_setting('units', 'metric' if k % 2 else 'imperial')"
    )
    children = [
        subprocess.Popen([sys.executable, "-c", code, str(library.folder)], stderr=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    for child in children:
        assert child.communicate(timeout=300)[1] == "" and child.returncode == 0
    assert check_up.check_library(library.folder)["problems"] == []


def test_repair_looks_at_files_only_and_leaves_what_is_not_ours(library, tmp_path, season_files):
    library.backup(tmp_path / "b.age", WORDS)
    outside = tmp_path / "outside.txt"
    outside.write_text("theirs")
    outside.chmod(0o644)
    damaged_original(library)
    library.close()
    places = tmp_path / "places"
    places.mkdir()
    os.mkfifo(places / "pipe.fit")
    shutil.move(tmp_path / "b.age", places / "b.age")
    found = check_up.check_library(library.folder, True, copies=[places])
    assert any("b.age is encrypted" in text for text in found["problems"])
    (library.folder / "derived" / "link").symlink_to(outside)
    (library.folder / "derived" / "gone").symlink_to(tmp_path / "nothing")
    (library.folder / scratch.PLACE).mkdir()
    (library.folder / scratch.PLACE / "cut.json").write_text("")
    library.folder.chmod(0o755)
    (library.folder / "library.sqlite").chmod(0o644)
    found = check_up.check_library(library.folder, True, copies=[season_files])
    assert stat.S_IMODE(outside.stat().st_mode) == 0o644 and stat.S_IMODE(library.folder.stat().st_mode) == 0o700
    assert not (library.folder / scratch.PLACE).exists()


def test_signals_are_read_without_anybody_to_hear(library):
    code = "import sys; from footwork import Library; print(len(Library.open(sys.argv[1], refresh=False).signals(1)))"
    before = sorted((library.folder / "derived" / "signals").iterdir())
    stamps_before = [p.stat().st_mtime_ns for p in before]
    done = subprocess.run(
        ["sh", "-c", 'exec "$0" -c "$1" "$2" 2>&-', sys.executable, code, str(library.folder)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert int(done.stdout) > 100 and [p.stat().st_mtime_ns for p in before] == stamps_before


@pytest.mark.parametrize("how", ["emptied", "gone"])
def test_originals_without_their_database_are_no_place_for_a_new_one(library, how, tmp_path):
    library.close()
    folder = shutil.copytree(library.folder, tmp_path / "broken")
    path = folder / "library.sqlite"
    path.write_bytes(b"") if how == "emptied" else path.unlink()
    new = [["runs"], ["check-up"], ["check-up", "--repair"], ["add", "x.fit"], ["backup", tmp_path / "b.zip"]]
    for command in new:
        done = footwork(*command, library=folder)
        assert done.returncode == 4 and "restore a backup into a new folder" in done.stderr, (command, done.stderr)
    made = footwork("add", folder / "originals", library=tmp_path / "anew")
    assert made.returncode == 0, made.stderr
    with Library.open(tmp_path / "anew") as anew:
        assert len(anew.known_files()) == len(list((folder / "originals").rglob("*.gz")))


def test_an_original_of_text_is_known_by_its_hash_alone(tmp_path):
    rows = [f"2026-02-01T08:{k // 60:02}:{k % 60:02}Z,3.3,230" for k in range(300)]
    (tmp_path / "a.csv").write_text("\n".join(["time,speed,power", *rows]))
    with Library.open(tmp_path / "library") as library:
        library.add([tmp_path / "a.csv"])
    original = next((tmp_path / "library" / "originals").rglob("*.gz"))
    with Library.open(tmp_path / "other") as other:
        assert len(other.add([original])["added"]) == 1


def test_what_could_not_be_mended_is_not_called_mended(library, tmp_path):
    _, name = damaged_original(library)
    library.close()
    shutil.rmtree(library.folder / "derived")
    (tmp_path / "empty").mkdir()
    found = check_up.check_library(library.folder, True, copies=[tmp_path / "empty"])
    assert not any("1 results" in text for text in found["repaired"])
    assert any(name in text and "(run " in text for text in found["problems"])
    assert {"name": "copies", "ok": True, "found": "looked into 0 files for 1 damaged originals, found 0"} in found[
        "checks"
    ]
