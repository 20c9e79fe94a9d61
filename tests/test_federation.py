"""Many libraries in one table: on this machine, and on a real scheduler with two workers, one of which is killed."""

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time

import polars as pl
import pytest

from footwork import Library, Squad
from footwork.errors import UsageError
from footwork.squad import federation
from footwork.squad.federation import refresh
from tests.program import footwork, of_json, ok


@pytest.fixture
def club(club, library):
    """Four of them."""
    shutil.copytree(library.folder, club / "dora")
    return club


def test_a_row_holds_the_runners_own_numbers(club, library, today):
    row = refresh(Squad.open(club), ["anna"], today, workers=1).rows[0]
    made = library.capacity(date=today)
    assert row["critical_power"] == pytest.approx(made.critical_power.value)
    assert row["w_prime_j_low"] == pytest.approx(made.w_prime.low) and row["runs"] == len(library.runs())
    assert row["scale_kind"] == "foot sensor" and row["evidence"] == made.evidence["kind"] == "tested"
    moved = [m for m in library.history(date=today)["moved"] if m["kind"] == "maximal"]
    above = [m["after_w"] / m["before_w"] - 1 for m in moved]
    assert row["tests"] == len(above)
    assert row["tests_above"] == (pytest.approx(sum(above) / len(above)) if above else None)
    power = next(e["effect"]["value"] for e in library.progress(date=today).effects if e["name"] == "power")
    assert row["ten_watts_bpm"] == pytest.approx(power)


def test_one_table_whoever_works_it_out_and_unchanged_libraries_are_only_read(club, today, tmp_path):
    squad = Squad.open(club)
    one = refresh(squad, date=today, workers=1)
    assert (len(one.rows), one.read, one.failed, one.lost) == (4, 0, {}, [])
    two = refresh(squad, date=today, workers=2, fresh=True)
    assert two.frame().equals(one.frame())
    again = refresh(squad, date=today)
    assert again.read == 4 and again.frame().equals(one.frame())
    with Library.open(club / "ben") as ben:
        ben.athlete.set(today, mass=50.0)
    changed = refresh(squad, date=today)
    assert changed.read == 3
    said = of_json("squad", "refresh", club, "--date", today.isoformat(), "--table", tmp_path / "all.parquet")
    assert len(said["rows"]) == 4
    table = pl.read_parquet(tmp_path / "all.parquet")
    assert table["athlete"].to_list() == ["anna", "ben", "cleo", "dora"] and table["mass_kg"][1] == 50.0


def test_a_library_that_cannot_be_read_is_named_and_the_others_stand(club, today):
    (club / "ben" / "library.sqlite").write_bytes(b"no database" * 1000)
    found = refresh(Squad.open(club), date=today, workers=2)
    assert len(found.rows) == 3 and "no library database" in found.failed["ben"]
    done = footwork("squad", "refresh", club, "--date", today.isoformat())
    assert done.returncode == 0 and "3 of 4 libraries" in done.stdout and "ben: " in done.stderr


def test_what_cannot_be_asked_gets_one_sentence(club, tmp_path):
    assert "give 1 to 256" in footwork("squad", "refresh", club, "--workers", 0).stderr
    assert "must end in" in footwork("squad", "refresh", club, "--table", tmp_path / "a.txt").stderr
    with pytest.raises(UsageError, match="no scheduler answers"):
        refresh(Squad.open(club), scheduler="tcp://127.0.0.1:1")


def dies_at_ben(folder, name, day):
    """Ends its process at one library."""
    if name == "ben":
        os._exit(1)
    return federation.worked_row(folder, name, day)


def test_a_process_that_dies_costs_one_library(club, today, monkeypatch):
    monkeypatch.setattr(federation, "worked_row", dies_at_ben)
    monkeypatch.setattr("footwork.squad.kept_lines.PRELOADED", [])
    found = refresh(Squad.open(club), date=today, workers=2)
    assert found.failed == {"ben": "the process that worked it out died twice"} and len(found.lost) == 1
    assert sorted(r["athlete"] for r in found.rows) == ["anna", "cleo", "dora"]


@contextlib.contextmanager
def cluster(workers):
    """A scheduler and worker processes of this machine: the address, and the workers."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    dask = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port)]
    processes = [subprocess.Popen([*dask, "--no-dashboard"], **quiet)]
    try:
        for _ in range(workers):
            words = ["-m", "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard", "--no-nanny"]
            processes.append(subprocess.Popen([sys.executable, *words], **quiet))
        deadline = time.monotonic() + 60
        from distributed import Client

        with Client(address, timeout="60s", set_as_default=False) as client:
            while len(client.scheduler_info(n_workers=-1)["workers"]) < workers and time.monotonic() < deadline:
                time.sleep(0.2)
        yield address, processes[1:]
    finally:
        for process in processes:
            process.kill()
            process.wait()


def test_a_cluster_goes_on_when_a_worker_is_killed_and_names_it(club, library, today):
    for k in range(8):
        shutil.copytree(library.folder, club / f"more{k}")
    squad = Squad.open(club)
    with cluster(2) as (address, workers):

        def kill_one():
            workers[0].send_signal(signal.SIGKILL)

        timer = threading.Timer(0.0, kill_one)
        found = refresh(squad, date=today, scheduler=address, progress=lambda done, _, __: done == 2 and timer.start())
        timer.join()
        assert len(found.rows) == 12 and found.failed == {}
        assert len(found.lost) == 1 and found.lost[0].startswith("tcp://")
        with pytest.raises(UsageError, match="has no workers"):
            workers[1].kill(), workers[1].wait(), time.sleep(1.0)
            refresh(squad, date=today, scheduler=address, fresh=True)
    assert found.frame().equals(refresh(squad, date=today, workers=2, fresh=True).frame())


def test_erasing_leaves_nothing_in_the_folder_and_says_what_may_hold_it_elsewhere(club, today):
    squad = Squad.open(club)
    squad.lines(today)
    squad.put_in_group("one", ["anna", "ben"])
    assert footwork("squad", "erase", club, "anna").returncode == 130  # asked, and not answered
    assert (club / "anna").exists()
    said = ok("squad", "erase", club, "anna", "--yes").stdout
    assert "backups" in said and not (club / "anna").exists()
    left = Squad.open(club)
    assert "anna" not in left.athletes and left.groups() == {"one": ["ben"]}
    everything = [p for p in club.rglob("*") if p.is_file() and p.suffix in (".yaml", ".txt", ".json")]
    assert not any(b'"anna"' in p.read_bytes() for p in everything)


def test_priors_are_learned_shown_and_switched_on_and_off(club, today, monkeypatch):
    said = ok("squad", "priors", club, "--date", today.isoformat()).stdout
    assert said.count("so the literature's is used") == 2
    assert "it takes 20 runners" in footwork("squad", "priors", club, "--on", "--date", today.isoformat()).stderr
    monkeypatch.setattr("footwork.physiology.population.LEAST", 4)
    squad = Squad.open(club)
    found = federation.priors(squad, today)
    assert found["reserve"].n == 4 and found["reserve"].own_mean != found["reserve"].literature_mean
    with Library.open(club / "anna") as anna:
        before = anna.capacity(date=today)
    ok("squad", "priors", club, "--on", "--date", today.isoformat())
    with Library.open(club / "anna") as anna:
        after = anna.capacity(date=today)
        assert any("coach's squad" in w for w in after.warnings)
        assert after.w_prime != before.w_prime
        day = [d for d in anna.history(date=today)["history"] if d["date"] == today.isoformat()][-1]
        assert day["critical_power"]["value"] == pytest.approx(after.critical_power.value, rel=0.01)
    again = federation.priors(squad, today)  # what was learned is not learned from again
    assert again["reserve"].own_mean == pytest.approx(found["reserve"].own_mean, abs=1e-6)
    ok("squad", "priors", club, "--off")
    with Library.open(club / "anna") as anna:
        assert anna.capacity(date=today).w_prime == before.w_prime
