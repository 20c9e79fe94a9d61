"""Faults of the machine: a full disk, a read-only library, kills, two imports at once, dead workers, newer versions."""

import contextlib
import datetime as dt
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
from filelock import FileLock

from footwork.api import Library
from footwork.errors import LibraryError
from footwork.history.recordings import digesting, importing, workers
from tests import fitfile as f
from tests.conftest import fit_of, simulate

IS_ROOT = os.geteuid() == 0 and sys.platform == "linux"


def files(folder: Path, count: int, seconds: int = 240) -> Path:
    folder.mkdir(exist_ok=True)
    for i in range(count):
        (folder / f"{i:03}.fit").write_bytes(f.wrap(f.run(seconds, f.START + 86400 * i, 42)))
    return folder


def sound(folder: Path) -> int:
    """Every row has its files and results, and no run is half there; returns the number of runs."""
    with Library.open(folder) as library:
        rows = library.runs()
        for row in rows:
            assert len(library.signals(row.id)) == row.duration_s
            assert library.run(row.id).best
        digests = library.known_files()
        assert len(digests) == len(rows)
    with sqlite3.connect(folder / "library.sqlite") as raw:
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    return len(rows)


@contextlib.contextmanager
def mounted(kind: list[str], target: Path):
    target.mkdir(exist_ok=True)
    if not IS_ROOT or subprocess.run(["mount", *kind, str(target)], capture_output=True).returncode:
        pytest.skip("mounting is not allowed here")
    try:
        yield target
    finally:
        subprocess.run(["umount", "-l", str(target)], check=False)


@pytest.mark.parametrize("size", ["800k", "1200k", "1500k"])
def test_a_full_disk_is_one_sentence_and_loses_nothing(tmp_path, size, monkeypatch):
    monkeypatch.setattr(importing, "EVERY_S", 0.0)  # so that some are stored before it is full
    source = files(tmp_path / "in", 60)
    for i in range(60):
        day = dt.date(2026, 3, 1) + dt.timedelta(days=i)
        (source / f"{i:03}.fit").write_bytes(fit_of(simulate(day, [(240, 0.8)], seed=i)))
    with mounted(["-t", "tmpfs", "-o", f"size={size}", "tmpfs"], tmp_path / "small") as disk:
        with pytest.raises(LibraryError, match="full"), Library.open(disk / "library") as library:
            library.add([source])
        shutil.copytree(disk / "library", tmp_path / "rescued", ignore=shutil.ignore_patterns("incoming"))
    before = sound(tmp_path / "rescued")
    assert before < 60
    with Library.open(tmp_path / "rescued") as library:
        library.add([source])
    assert sound(tmp_path / "rescued") == 60


def test_a_read_only_library_reads_and_refuses_to_write(tmp_path):
    library_folder = tmp_path / "library"
    with Library.open(library_folder) as library:
        library.add([files(tmp_path / "in", 3)])
    with mounted(["--bind", "-o", "ro", str(library_folder)], tmp_path / "ro") as folder:
        subprocess.run(["mount", "-o", "remount,ro,bind", str(folder)], check=False)
        if os.access(folder, os.W_OK):
            pytest.skip("read-only bind mounts are not allowed here")
        with Library.open(folder) as library:
            assert library.readonly and len(library.runs()) == 3
            assert len(library.signals(1)) == 240
            for act in (
                lambda: library.add([tmp_path]),
                lambda: library.mark(1, "race"),
                lambda: library.athlete.set(mass=70),
            ):
                with pytest.raises(LibraryError, match="read-only"):
                    act()


def test_a_library_of_a_newer_version_is_left_alone(tmp_path):
    Library.open(tmp_path / "library").close()
    with sqlite3.connect(tmp_path / "library" / "library.sqlite") as raw:
        raw.execute("PRAGMA user_version=99")
    with pytest.raises(LibraryError, match="newer"):
        Library.open(tmp_path / "library")


def test_a_damaged_database_says_so(tmp_path):
    (tmp_path / "library").mkdir()
    (tmp_path / "library" / "library.sqlite").write_bytes(b"not a database at all" * 100)
    with pytest.raises(LibraryError, match="no library database"):
        Library.open(tmp_path / "library")


def test_a_file_is_no_library(tmp_path):
    (tmp_path / "x").write_text("")
    with pytest.raises(LibraryError, match="is a file"):
        Library.open(tmp_path / "x")


def start_import(library: Path, source: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", OFTEN, "--library", str(library), "add", str(source), "--json"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )


# The program, storing each batch at once however quick the machine is: so there are states between to be broken.
OFTEN = """
from footwork.cli import main
from footwork.history.recordings import importing

if __name__ == "__main__":
    importing.EVERY_S = 0.0
    main()
"""


@pytest.mark.parametrize("after", [0.5, 0.9, 1.2, 1.5, 1.9, 2.4])
def test_a_kill_at_any_moment_loses_and_doubles_nothing(tmp_path, after):
    source = files(tmp_path / "in", 120)
    library = tmp_path / "library"
    child = start_import(library, source)
    time.sleep(after)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child.pid, signal.SIGKILL)
    child.wait()
    with Library.open(library) as opened:
        opened.add([source])
    assert sound(library) == 120


def test_two_imports_that_start_together_add_everything_once(tmp_path):
    source, library = files(tmp_path / "in", 40), tmp_path / "library"
    children = [start_import(library, source) for _ in range(2)]
    codes = sorted(child.wait() for child in children)
    assert codes in ([0, 0], [0, 4])  # the second waits for nothing: it is refused, or comes after and finds all known
    assert sound(library) == 40


def test_workers_end_with_a_killed_importer(tmp_path):
    import psutil

    source, library = files(tmp_path / "in", 200, 900), tmp_path / "library"
    child = start_import(library, source)
    workers: list[psutil.Process] = []
    deadline = time.time() + 20
    while len(workers) < 3 and time.time() < deadline and child.poll() is None:
        time.sleep(0.05)
        workers = psutil.Process(child.pid).children(recursive=True)
    assert len(workers) >= 3  # two, and what they are forked or tracked by
    os.kill(child.pid, signal.SIGKILL)
    child.wait()
    _, alive = psutil.wait_procs(workers, timeout=8)
    assert not alive
    with Library.open(library) as opened:
        opened.add([source])
    assert len(Library.open(library).runs()) == 200


@pytest.mark.parametrize("every_s, most, stored", [(0.0, 1000, [25, 25, 25, 15]), (1e9, 40, [40, 40, 10])])
def test_what_comes_quickly_is_stored_in_fewer_writes(tmp_path, monkeypatch, every_s, most, stored):
    source, sizes, store = files(tmp_path / "in", 90, 60), [], importing._store_batch
    monkeypatch.setattr(importing, "EVERY_S", every_s)
    monkeypatch.setattr(importing, "MOST", most)
    monkeypatch.setattr(
        importing, "_store_batch", lambda li, batch, *more: (sizes.append(len(batch)), store(li, batch, *more))
    )
    with Library.open(tmp_path / "library") as library:
        assert len(library.add([source])["added"]) == 90 and sizes == stored


def test_a_lock_names_its_holder(tmp_path):
    library = tmp_path / "library"
    Library.open(library).close()
    (library / "importing").write_text("4711")
    with (
        FileLock(library / "import.lock"),
        Library.open(library) as opened,
        pytest.raises(LibraryError, match=r"another import .* 4711"),
    ):
        opened.add([tmp_path])


def test_pages_can_be_read_while_an_import_writes(tmp_path):
    library = tmp_path / "library"
    source = files(tmp_path / "in", 80)
    Library.open(library).close()
    child = start_import(library, source)
    seen = set()
    with Library.open(library) as reader:
        while child.poll() is None:
            seen.add(len(reader.runs()))
            time.sleep(0.05)
        seen.add(len(reader.runs()))
    assert child.returncode == 0 and max(seen) == 80
    assert sorted(seen) == sorted(s for s in seen if s % importing.BATCH == 0 or s == 80)


POISON = "035.fit"  # ends the worker that reads it, as a crash in native code would


def test_a_worker_that_dies_costs_only_its_file(tmp_path, monkeypatch, processes):
    monkeypatch.setattr(workers, "WINDOW", 20)
    source = files(tmp_path / "in", 60, 60)  # more than are handed out at once
    monkeypatch.setattr(workers, "work", _poisoned_work)
    with Library.open(tmp_path / "library") as library:
        report = library.add([source], workers=2)
    assert len(report["added"]) == 59
    assert [e["file"] for e in report["failed"]] == [POISON]
    assert "ends the program" in report["failed"][0]["reason"]


def _poisoned_work(task):
    if task.path.name == POISON:
        os._exit(1)
    return digesting.digest(task, workers._orders)


def test_workers_come_from_elsewhere_where_a_socket_has_no_room(tmp_path):
    deep = tmp_path / ("a" * 100)
    deep.mkdir()
    source, library = files(tmp_path / "in", 10), tmp_path / "library"
    child = subprocess.run(
        [sys.executable, "-m", "footwork", "--library", library, "add", source, "--json"],
        env={**os.environ, "TMPDIR": str(deep)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert child.returncode == 0 and len(json.loads(child.stdout)["added"]) == 10


def test_processes_and_one_process_give_the_same_library(tmp_path, processes):
    source = files(tmp_path / "in", 10)
    results = []
    for count in (1, 2):
        with Library.open(tmp_path / f"library{count}") as library:
            library.add([source], workers=count)
            results.append([r.to_json() for r in library.runs()])
    assert results[0] == results[1]


def test_a_failed_database_write_leaves_the_batch_out_whole(tmp_path, monkeypatch):
    from footwork.history.recordings import results

    source = files(tmp_path / "in", 6)
    real, calls = results._insert_result, []

    def breaks(*args):
        calls.append(1)
        if len(calls) == 4:
            raise sqlite3.OperationalError("database or disk is full")
        return real(*args)

    with Library.open(tmp_path / "library") as library:
        monkeypatch.setattr(results, "_insert_result", breaks)
        with pytest.raises(LibraryError, match="full"):
            library.add([source])
        assert library.runs() == []
        monkeypatch.undo()
        assert len(library.add([source])["added"]) == 6
    assert sound(tmp_path / "library") == 6


def test_absurd_values_do_not_reach_the_numbers(tmp_path):
    body = f.file_id() + b"".join(
        f.record(f.START + i, power=60000 if i % 3 else 200, heart_rate=250) for i in range(90)
    )
    (tmp_path / "a.fit").write_bytes(f.wrap(body + f.session(f.START, 90)))
    (tmp_path / "b.fit").write_bytes(fit_of(simulate(dt.date(2026, 4, 1), [(300, 0.8)])))
    with Library.open(tmp_path / "library") as library:
        library.add([tmp_path / "a.fit", tmp_path / "b.fit"])
        assert all(r.power_w < 600 for r in library.runs())


def test_damaged_pages_of_the_database_are_one_sentence(tmp_path):
    folder = tmp_path / "library"
    with Library.open(folder) as library:
        library.add([files(tmp_path / "in", 30, 60)])
    path = folder / "library.sqlite"
    data = bytearray(path.read_bytes())
    data[4096:] = bytes(b ^ 0x5A for b in data[4096:])
    path.write_bytes(bytes(data))
    with pytest.raises(LibraryError, match="damaged"), Library.open(folder) as library:
        library.runs()


def test_one_damaged_original_does_not_lock_the_library(tmp_path):
    folder = tmp_path / "library"
    with Library.open(folder) as library:
        library.add([files(tmp_path / "in", 4)])
    shutil.rmtree(folder / "derived")
    victim = sorted((folder / "originals").rglob("*.gz"))[0]
    victim.write_bytes(b"torn")
    with Library.open(folder) as library:
        assert len(library.runs()) == 3
        assert len(library.problems) == 1 and "damaged" in library.problems[0]


def test_file_names_of_any_bytes(tmp_path):
    source = files(tmp_path / "in", 1)
    os.rename(source / "000.fit", os.fsencode(source) + b"/caf\xe9 \xff.fit")
    with Library.open(tmp_path / "library") as library:
        report = library.add([source])
        assert len(report["added"]) == 1
        str(report).encode("utf-8")
