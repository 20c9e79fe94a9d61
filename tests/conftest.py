"""Shared pieces: a small library made once, and where the real recording may be found."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import shutil
import sqlite3
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pyrage
import pytest

from footwork.api import Library
from footwork.demo import season, write
from footwork.demo.simulate import Runner
from footwork.history.recordings import workers
from footwork.maintenance import encryption
from footwork.squad import kept_lines
from footwork.store import seal

RUNNER = Runner()
REAL_RUN = Path(__file__).parents[2] / "shared" / "recordings" / "run-with-power-2017.fit"
WITH_PROCESSES = {module: module.PROCESSES_FROM for module in (workers, kept_lines)}


def pytest_configure() -> None:
    """Each core runs tests already: many files and squads are worked out in the test's own process, unless it asks for
    `processes`; a test that starts the program as a user does has them as well."""
    for module in WITH_PROCESSES:
        module.PROCESSES_FROM = sys.maxsize


@pytest.fixture
def processes(monkeypatch: pytest.MonkeyPatch) -> None:
    """For what several processes do."""
    for module, least in WITH_PROCESSES.items():
        monkeypatch.setattr(module, "PROCESSES_FROM", least)


def pytest_xdist_auto_num_workers() -> int:
    """One more than there are cores: a test that waits for a browser leaves its core to another."""
    return (os.cpu_count() or 1) + 1


PROGRAM = (
    "tests/web/",
    "tests/harden/",
    "tests/maintenance/",
    "tests/test_federation.py",
    "tests/demo/test_club.py",
    "tests/demo/test_readme.py",
)


@pytest.hookimpl(tryfirst=True)  # before -m chooses
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest test is begun first, so that no process is left alone with it at the end; tests of the program as a
    whole are marked."""
    items.sort(key=lambda item: "test_readme" not in item.nodeid)
    for item in items:
        if item.nodeid.startswith(PROGRAM):
            item.add_marker("program")


@pytest.fixture
def cipher() -> None:
    """For what looks at the cipher itself."""


@pytest.fixture(autouse=True)
def quick_cipher(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """A passphrase takes a second of work each time, by design: where the cipher is not looked at, one that only tells
    whether the passphrase is the same and nothing is changed stands in."""
    if "cipher" in request.fixturenames:
        return

    def key(content: bytes, passphrase: str) -> bytes:
        return hashlib.sha256(passphrase.encode() + content).digest()

    def encrypt(content: bytes, passphrase: str) -> bytes:
        packed = zlib.compress(content, 1)
        return encryption.HEAD + key(packed, passphrase) + packed

    def decrypt(content: bytes, passphrase: str) -> bytes:
        body = content.removeprefix(encryption.HEAD)
        if body == content or body[:32] != key(body[32:], passphrase):
            raise pyrage.DecryptError
        return zlib.decompress(body[32:])

    stands_in = SimpleNamespace(encrypt=encrypt, decrypt=decrypt)
    monkeypatch.setattr(encryption, "pyrage", SimpleNamespace(passphrase=stands_in, DecryptError=pyrage.DecryptError))


@pytest.fixture
def real_run() -> Path:
    if not REAL_RUN.exists():
        pytest.skip("the real recording is not beside the project")
    return REAL_RUN


def simulate(
    day: dt.date, pieces: list[tuple[float, float]], seed: int = 1, hour: int = 8, **more: object
) -> season.Samples:
    """A simulated run on a day: pieces of (seconds, share of critical speed)."""
    start = dt.datetime.combine(day, dt.time(hour, 0), season.ZONE)
    planned = season.Planned(start, "test", pieces, **more)  # type: ignore[arg-type]
    return season.run(planned, RUNNER, np.random.default_rng(seed))


def fit_of(samples: season.Samples, serial: int = 1001) -> bytes:
    return write.fit_bytes([("running", samples)], serial, 77001)


def write_weeks(folder: Path, first: dt.date) -> Path:
    """Files of seven weeks of one runner from a Monday on: easy runs, sessions, two tests."""
    for week in range(7):
        monday = first + dt.timedelta(weeks=week)
        runs = [
            (0, [(600, 0.7), (1500, 0.74)]),
            (2, [(600, 0.68), (900, 0.86), (300, 0.6)]),
            (4, [(600, 0.7), *[(180.0, 1.06), (100.0, 0.6)] * 4, (300, 0.65)]),
        ]
        if week in (4, 6):
            runs.append((6, season.test_pieces(RUNNER, (180, 720))))
        for offset, pieces in runs:
            samples = simulate(monday + dt.timedelta(days=offset), pieces, seed=100 * week + offset)
            (folder / f"w{week}d{offset}.fit").write_bytes(fit_of(samples))
    return folder


def library_of(files: Path, folder: Path) -> Library:
    """Such weeks imported, with the mass told and the tests marked."""
    library = Library.open(folder)
    library.athlete.set(dt.date(2026, 3, 1), mass=RUNNER.mass)
    library.add([files])
    for row in library.runs():
        if row.local.weekday() == 6:
            library.mark(row.id, "test")
    return library


@pytest.fixture(scope="session")
def season_files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Seven weeks of one runner: easy runs, sessions, a test; small but of every kind."""
    return write_weeks(tmp_path_factory.mktemp("season"), dt.date(2026, 3, 2))


@pytest.fixture(scope="session")
def season_library(season_files: Path, tmp_path_factory: pytest.TempPathFactory) -> Library:
    """That season imported, with the mass told and the tests marked. Do not change it."""
    return library_of(season_files, tmp_path_factory.mktemp("library") / "season")


@pytest.fixture
def library(season_library: Library, tmp_path: Path) -> Iterator[Library]:
    """A copy of that library, to be changed."""
    season_library.close()
    shutil.copytree(season_library.folder, tmp_path / "library")
    with Library.open(tmp_path / "library") as found:
        yield found


@pytest.fixture
def club(library: Library, tmp_path: Path) -> Path:
    """A coach's folder with that library under three names."""
    for name in ("anna", "ben", "cleo"):
        shutil.copytree(library.folder, tmp_path / "club" / name)
    return tmp_path / "club"


def kept_along(library: Library) -> None:
    """Let the files have come in on their days: such a library is no archive."""
    seal.lift(library.folder)
    with sqlite3.connect(library.folder / "library.sqlite") as db:
        db.execute("UPDATE file SET added_at = (SELECT min(start) FROM recording WHERE file_id = file.id)")


@pytest.fixture
def today(library: Library) -> dt.date:
    """The day of its newest run."""
    return library.runs()[0].local.date()
