"""A watched folder: what is new there comes in once, and what could not come in is tried again."""

import asyncio
import datetime as dt
import os
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from footwork.api import Library
from footwork.errors import UsageError
from footwork.web import watching
from tests.conftest import fit_of, simulate


def looked(library):
    """Look once, in a thread of its own: a browser's driver may keep a loop running in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(lambda: asyncio.run(watching.look(library))).result()


def old(path):
    """A file that nobody is writing any more."""
    os.utime(path, (path.stat().st_mtime - 60,) * 2)


def test_new_recordings_come_in_once_and_failures_are_tried_again(tmp_path, monkeypatch):
    folder = tmp_path / "watch"
    folder.mkdir()
    with Library.open(tmp_path / "library") as library:
        with pytest.raises(UsageError, match="no folder"):
            library.set_setting("watched", str(folder / "none"))
        assert looked(library) == 0
        library.set_setting("watched", str(folder))
        run = folder / "deep" / "a.fit"
        run.parent.mkdir()
        run.write_bytes(fit_of(simulate(dt.date(2026, 3, 3), [(600, 0.7)])))
        assert looked(library) == 0  # it may still be written
        old(run)
        (folder / "notes.txt").write_text("mine")

        async def full(*_):
            return "the disk is full", {"error": "the disk is full"}

        with monkeypatch.context() as patched:
            patched.setattr(watching.jobs, "run_command", full)
            assert looked(library) == 0
        assert "disk is full" in watching.said[library.folder]
        assert looked(library) == 1 and len(library.runs()) == 1
        assert "1 new runs" in watching.said[library.folder]
        assert looked(library) == 0
        run.unlink()
        run.parent.rmdir()
        (folder / "notes.txt").unlink()
        folder.rmdir()
        assert looked(library) == 0 and "not there" in watching.said[library.folder]
        library.set_setting("watched", "")
        assert looked(library) == 0 and library.folder not in watching.said


def test_pages_that_were_opened_are_worked_out_again_once_a_change_is_over(tmp_path, monkeypatch):
    asked: list[str] = []
    monkeypatch.setattr(watching, "QUIET_S", 0.02)
    monkeypatch.setattr(Library, "today", lambda self: asked.append("/"))

    async def for_a_while(library):
        going = asyncio.create_task(watching.keep_ready(library))
        await asyncio.sleep(0.3)
        assert asked == ["/"]  # once, and nothing that nobody looked at
        watching.opened[library.folder] = {"/devices": lambda _: asked.append("/devices")}
        await asyncio.sleep(0.3)
        assert asked == ["/", "/devices"]
        await asyncio.to_thread(library.set_setting, "zone", "Europe/Berlin")
        await asyncio.sleep(0.3)
        assert sorted(asked[2:]) == ["/", "/devices"]
        going.cancel()

    with Library.open(tmp_path / "library") as library, ThreadPoolExecutor(1) as thread:
        thread.submit(lambda: asyncio.run(for_a_while(library))).result()


def test_two_who_want_the_same_answer_wait_for_one(tmp_path):
    made = []

    def slow():
        made.append(threading.get_ident())
        time.sleep(0.2)
        return len(made)

    with Library.open(tmp_path / "library") as library, ThreadPoolExecutor(2) as threads:
        both = [threads.submit(library.cached, "slow", slow) for _ in range(2)]
        assert [answer.result() for answer in both] == [1, 1]
        assert library.cached("slow", slow) == 1
