"""The check of a library, and what mends it."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import select

from footwork.errors import FootworkError, LibraryError
from footwork.formats import archive
from footwork.history.book import History
from footwork.history.recordings import results
from footwork.maintenance import encryption
from footwork.store import blobs, database, schema, scratch, seal, stamps

# Of what stands in a library's folder, that which is of the library; a journal of its database too.
_OWN = {"originals", "derived", "incoming", "importing", "import.lock", "open.lock", "rebuild.lock", "seal.lock"}
_OWN |= {seal.FILE, f".{seal.FILE}.part", scratch.PLACE}


def check_library(
    folder: Path, repair: bool = False, progress: Any = None, copies: Sequence[Path] = ()
) -> dict[str, Any]:
    """Check a library: databases, schema, every original's hash, orphans, results and signals, who may read it.

    With ``repair`` everything that can be mended is; damaged originals from intact ones among ``copies``, which are
    folders, files and backups. Returns ``checks`` (name, ``ok``, what was looked at), ``problems`` left, in sentences,
    and ``repaired``.

    Raises
    ------
    LibraryError
        No library there, or its database cannot be opened at all.
    """
    found = _Findings()
    database.check_there(folder)
    wrong = _told_is_sound(found, folder, repair)
    healthy = _derived_is_sound(found, folder, repair, wrong)
    files = database.names_of_originals(folder)
    _originals_are_sound(found, folder, files, repair, copies, progress)
    if healthy:
        _results_are_sound(found, folder, repair)
    _is_private(found, folder, repair)
    return found.to_json()


def _results_are_sound(found: _Findings, folder: Path, repair: bool) -> None:
    with History.open(folder, create=False, refresh=False) as library:
        with library.reading() as connection:
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
            loose = [p for p in (folder / "derived" / "signals").glob("*") if p not in wanted]
            found.mend("loose signals", "none", loose, repair, "of no run", lambda: _removed(loose))


def _told_is_sound(found: _Findings, folder: Path, repair: bool) -> tuple[str, ...] | None:
    """Look through what the runner told; returns the databases that something else changed.

    Raises LibraryError where it is beyond being opened.
    """
    database.check(folder / stamps.FILE_NAME)
    wrong = seal.changed(folder)
    if stamps.FILE_NAME not in (wrong or ()):
        found.check("library database", f"sound, version {schema.LIBRARY_VERSION}")
    elif repair:
        with seal.locked(folder):
            seal.lift(folder)
        found.repaired.append(
            "the library database was changed by something else; it holds together and is taken as it is, but look "
            "through what you told (edit list, diary, athlete), or restore a backup"
        )
        found.check("library database", "taken as it is")
    else:
        raise LibraryError(seal.changed_by_others(folder))
    return wrong


def _derived_is_sound(found: _Findings, folder: Path, repair: bool, wrong: tuple[str, ...] | None) -> bool:
    fault = database.derived_fault(folder, wrong)
    if fault and not repair:
        said = f"the stored results are damaged ({fault}): the next command makes them anew, or check-up --repair"
        found.check("derived database", "", [said])
        found.told("results", "not looked at")
        return False
    if fault:
        with seal.locked(folder):
            database.throw_away_derived(folder, fault)
        found.repaired.append("the derived database was damaged: all results are made anew")
        found.check("derived database", "sound after repair")
        return True
    before = database.made_anew(folder)
    found.check("derived database", f"sound; made anew on {before['at'][:10]}: {before['why']}" if before else "sound")
    return True


def _originals_are_sound(
    found: _Findings, folder: Path, files: dict[str, str], repair: bool, copies: Sequence[Path], progress: Any
) -> None:
    bad: dict[str, str] = {}
    for done, (digest, name) in enumerate(files.items(), start=1):
        try:
            blobs.read_original(folder, digest)
        except LibraryError as error:
            bad[digest] = f"{name}: {error}"
        if progress is not None:
            progress(done, len(files), name)
    healed, hidden, looked = _healed(folder, bad, copies) if repair and copies else ([], [], 0)
    if copies:
        found.told("copies", f"looked into {looked} files for {len(bad)} damaged originals, found {len(healed)}")
    if healed:
        found.repaired.append(f"{len(healed)} damaged originals were put right from intact copies")
    left = [text for digest, text in bad.items() if digest not in healed]
    if left:
        left += [f"{path} is encrypted: restore it into a folder, and name that folder" for path in hidden]
    found.check("originals", f"{len(files)} files, each by its hash", left)
    strays = sorted(
        p for p in (folder / "originals").rglob("*") if p.is_file() and p.name.removesuffix(".gz") not in files
    )
    found.check(
        "originals without a run",
        "none",
        [f"{p} belongs to no run: bring it in with 'footwork add {p}'" for p in strays],
    )


def _healed(folder: Path, bad: Iterable[str], copies: Sequence[Path]) -> tuple[list[str], list[Path], int]:
    """Put originals right of which there is an intact copy, in a folder, an archive or a backup; returns them, files
    that are encrypted, and how many files were looked into."""
    missing = set(bad)
    out: list[str] = []
    hidden: list[Path] = []
    looked = 0
    for path in _files(copies):
        if not missing:
            break
        looked += 1
        with contextlib.suppress(OSError), path.open("rb") as stream:
            if encryption.is_encrypted(stream.read(64)):
                hidden.append(path)
        with contextlib.suppress(FootworkError, OSError):
            for member in archive.members(path):
                with contextlib.suppress(FootworkError, OSError):
                    for _, data in archive.unpack(path, member):
                        digest = blobs.sha256(data)
                        if digest in missing:
                            blobs.put_original(folder, digest, data)
                            missing.remove(digest)
                            out.append(digest)
    return out, hidden, looked


def _files(paths: Sequence[Path]) -> Iterable[Path]:
    for path in paths:
        if path.is_file():
            yield path
        for parent, _, names in os.walk(path):
            yield from (p for name in sorted(names) if (p := Path(parent, name)).is_file())


def _is_private(found: _Findings, folder: Path, repair: bool) -> None:
    """Whether others of this machine can look into the library: the folder is closed to them, or all in it."""
    own = [p for p in folder.iterdir() if p.name in _OWN or p.name.startswith(stamps.FILE_NAME)]
    if not _is_open(folder) or not any(_is_open(p) for p in own):
        return found.told("privacy", "only you can read it")
    if not repair:
        said = f"other users of this machine can look into {folder}: close it with check-up --repair"
        return found.check("privacy", "", [said])
    for path in [q for p in own for q in (p, *p.rglob("*"))]:
        with contextlib.suppress(FileNotFoundError):  # a journal comes and goes
            if not path.is_symlink():  # what it names is not ours
                path.chmod(blobs.PRIVATE_FOLDER if path.is_dir() else blobs.PRIVATE_FILE)
    if len(own) == len(list(folder.iterdir())):
        folder.chmod(blobs.PRIVATE_FOLDER)
    found.repaired.append("others could look into the library: it is closed to them")
    return found.check("privacy", "only you can read it")


def _is_open(path: Path) -> bool:
    with contextlib.suppress(FileNotFoundError):
        return not path.is_symlink() and bool(stat.S_IMODE(path.stat().st_mode) & 0o077)
    return False


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
        if len(left) < len(bad):
            self.repaired.append(f"{len(bad) - len(left)} {name} {what}")
        return self.check(name, "good after repair", left)

    def to_json(self) -> dict[str, Any]:
        return {"checks": self.checks, "problems": self.problems, "repaired": self.repaired}


def _removed(paths: list[Path]) -> list[str]:
    for path in paths:
        path.unlink()
    return []


def _readable(path: Path) -> bool:
    with contextlib.suppress(LibraryError):
        return len(blobs.read_signals(path, [])) > 0
    return False
