"""The check of a library, and what mends it."""

from __future__ import annotations

import contextlib
import shutil
from pathlib import Path
from typing import Any

from sqlalchemy import select

from footwork.errors import FootworkError, LibraryError
from footwork.history.book import History
from footwork.history.recordings import results
from footwork.store import blobs, database, schema, stamps


def check_library(folder: Path, repair: bool = False, progress: Any = None) -> dict[str, Any]:
    """Check a library: databases, schema, every original's hash, orphans, results and signals.

    With ``repair`` everything that can be rebuilt is. Returns ``checks`` (name, ``ok``, what was looked at),
    ``problems`` left, in sentences, and ``repaired``.

    Raises
    ------
    LibraryError
        No library there, or its database cannot be opened at all.
    """
    found = _Findings()
    derived = folder / "derived"
    if (folder / stamps.FILE_NAME).exists() and (derived / "derived.sqlite").exists():
        try:
            database.check(derived / "derived.sqlite")
            found.check("derived database", "sound")
        except LibraryError as error:
            if repair:
                shutil.rmtree(derived)
                found.repaired.append("the derived database was damaged: all results are made anew")
                found.check("derived database", "sound after repair")
            else:
                found.check("derived database", "", [f"{error}: it can be rebuilt, run check-up --repair"])
                found.told("results", "not looked at")
                return found.to_json()
    with History.open(folder, create=False, refresh=False) as library:
        database.check(folder / stamps.FILE_NAME)
        found.check("library database", f"sound, version {schema.LIBRARY_VERSION}")
        with library.reading() as connection:
            files = dict(connection.execute(select(schema.file.c.sha256, schema.file.c.name)).all())
            stale = results.stale(connection, library.athlete.masses(), library.zone)
            wanted = {
                blobs.signals_path(folder, r.sha256, r.leg, r.part): r.recording_id
                for r in connection.execute(
                    select(
                        schema.result.c.recording_id, schema.result.c.part, schema.recording.c.leg, schema.file.c.sha256
                    )
                    .join(schema.recording, schema.recording.c.id == schema.result.c.recording_id)
                    .join(schema.file, schema.file.c.id == schema.recording.c.file_id)
                    .where(schema.result.c.run_id.is_not(None))
                )
            }
        bad = []
        for done, (digest, name) in enumerate(files.items(), start=1):
            try:
                blobs.read_original(folder, digest)
            except LibraryError as error:
                bad.append(f"{name}: {error}")
            if progress is not None:
                progress(done, len(files), name)
        found.check("originals", f"{len(files)} files, each by its hash", bad)
        strays = sorted(
            p for p in (folder / "originals").rglob("*") if p.is_file() and p.name.removesuffix(".gz") not in files
        )
        found.check(
            "originals without a run",
            "none",
            [f"{p} belongs to no run: bring it in with 'footwork add {p}', or remove it" for p in strays],
        )
        found.mend(
            "results",
            f"{len(wanted)} up to date",
            stale,
            repair,
            "made by an older method or with older corrections",
            lambda: results.rebuild(library, stale),
        )
        broken = [i for path, i in wanted.items() if i not in stale and not _readable(path)]
        found.mend(
            "signals",
            f"{len(wanted)} readable",
            broken,
            repair,
            "missing or damaged",
            lambda: results.rebuild(library, broken),
        )
        if not stale and not broken:
            loose = [p for p in (derived / "signals").glob("*") if p not in wanted]
            found.mend("loose signals", "none", loose, repair, "of no run", lambda: _removed(loose))
    return found.to_json()


class _Findings:
    """What the check saw."""

    def __init__(self) -> None:
        self.checks: list[dict[str, Any]] = []
        self.problems: list[str] = []
        self.repaired: list[str] = []

    def told(self, name: str, what: str, ok: bool = True) -> None:
        self.checks.append({"name": name, "ok": ok, "found": what})

    def check(self, name: str, good: str, bad: list[str] | None = None) -> None:
        self.told(name, f"{len(bad)} wrong" if bad else good, not bad)
        self.problems += bad or []

    def mend(self, name: str, good: str, bad: list[Any], repair: bool, what: str, how: Any) -> None:
        """A fault that can be rebuilt: mended where asked, else a problem."""
        if not bad:
            return self.told(name, good)
        text = f"{len(bad)} {name} {what}"
        if not repair:
            return self.check(name, good, [f"{text}: run check-up --repair"])
        left = how()
        self.repaired.append(text)
        return self.check(name, "good after repair", left)

    def to_json(self) -> dict[str, Any]:
        return {"checks": self.checks, "problems": self.problems, "repaired": self.repaired}


def _removed(paths: list[Path]) -> list[str]:
    for path in paths:
        path.unlink()
    return []


def _readable(path: Path) -> bool:
    with contextlib.suppress(FootworkError, Exception):
        return len(blobs.read_signals(path, [])) > 0
    return False
