"""Backup and restore in one verified file."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import re
import shutil
import sqlite3
import zipfile
import zlib
from collections.abc import Collection
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

from footwork.errors import LibraryError, UnreadableFile, UsageError
from footwork.store import blobs, database, schema, stamps

if TYPE_CHECKING:
    from footwork.history.book import History

FORMAT = 1


MANIFEST = "manifest.json"


_MEMBER = re.compile(r"library\.sqlite|originals/[0-9a-f]{2}/[0-9a-f]{64}\.gz")


_CHUNK = 1 << 20


def backup(library: History, path: Path, without: Collection[str] = ()) -> dict[str, Any]:
    """Write everything that cannot be rebuilt into one file, then read it back and compare; returns what is in it.
    Entries of the kinds ``without`` stay out.

    Raises
    ------
    UsageError
        The file is there already, or its folder is not.
    LibraryError
        An original is missing or damaged (`check-up` tells which), or the disk is full.
    """
    if path.exists():
        raise UsageError(f"{path} is there already: name a new file")
    if not path.parent.exists():
        raise UsageError(f"there is no folder {path.parent}: make it first")
    temporary = path.with_name(f".{path.name}.part")
    copy = path.with_name(f".{path.name}.sqlite")
    try:
        with closing(sqlite3.connect(copy)) as target:
            with library.reading() as connection:
                raw: Any = connection.connection.driver_connection
                raw.backup(target)
            target.execute("PRAGMA journal_mode=DELETE")
            for kind in without:
                target.execute("DELETE FROM entry WHERE kind = ?", (kind,))
            if without:
                target.commit()
                target.execute("VACUUM")  # nothing of them is left in free pages
            digests = [row[0] for row in target.execute("SELECT sha256 FROM file ORDER BY sha256")]
        sources = {"library.sqlite": copy}
        for digest in digests:
            blobs.read_original(library.folder, digest)
            sources[f"originals/{digest[:2]}/{digest}.gz"] = blobs.original_path(library.folder, digest)
        manifest = {
            "format": FORMAT,
            "library_version": schema.LIBRARY_VERSION,
            "made_at": dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
            "files": {name: _hash_of(source) for name, source in sources.items()},
        }
        with zipfile.ZipFile(temporary, "w", zipfile.ZIP_STORED) as archive:
            archive.writestr(MANIFEST, json.dumps(manifest))
            for name, source in sources.items():
                archive.write(source, name)
        _verified(temporary)
        with temporary.open("rb") as stream:
            os.fsync(stream.fileno())
        os.replace(temporary, path)
    except OSError as error:
        raise LibraryError(f"cannot write {path}: {error.strerror or error}; nothing was kept") from None
    finally:
        temporary.unlink(missing_ok=True)
        copy.unlink(missing_ok=True)
    return {"file": str(path), "originals": len(digests), "bytes": path.stat().st_size, "verified": True}


def _hash_of(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _verified(path: Path, into: Path | None = None) -> dict[str, Any]:
    """Read every byte of a backup and compare; with ``into`` the files are unpacked there along the way."""
    try:
        with zipfile.ZipFile(path) as archive:
            manifest: dict[str, Any] = json.loads(archive.read(MANIFEST))
            files = dict(manifest["files"])
            if manifest["format"] != FORMAT or manifest["library_version"] > schema.LIBRARY_VERSION:
                raise UnreadableFile(f"{path} was made by a newer Footwork: update Footwork to restore it")
            if set(archive.namelist()) != {MANIFEST, *files} or not all(_MEMBER.fullmatch(n) for n in files):
                raise UnreadableFile(f"{path} is not a whole backup: its files are not those of its list")
            for name, wanted in files.items():
                digest = hashlib.sha256()
                target = into / name if into is not None else Path(os.devnull)
                if into is not None:
                    target.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(name) as source, target.open("wb") as out:
                    while chunk := source.read(_CHUNK):
                        digest.update(chunk)
                        out.write(chunk)
                    if into is not None:
                        out.flush()
                        os.fsync(out.fileno())
                if digest.hexdigest() != wanted:
                    raise UnreadableFile(f"{path} is damaged: {name} is not what was backed up")
            return manifest
    except (
        zipfile.BadZipFile,
        zlib.error,
        KeyError,
        TypeError,
        ValueError,
        AttributeError,
        EOFError,
        RuntimeError,
    ) as error:
        raise UnreadableFile(
            f"{path} is no backup, or a damaged one ({str(error)[:80] or type(error).__name__})"
        ) from None


def restore(path: Path, folder: Path) -> dict[str, Any]:
    """Make a library folder from a backup; nothing appears there unless every byte is right.

    Raises
    ------
    UsageError
        No such backup, or the folder holds something already.
    UnreadableFile
        The backup is broken or of a newer version.
    """
    if not path.is_file():
        raise UsageError(f"there is no backup {path}")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"{folder} is there already: restore into a new folder with --library DIR")
    folder = folder.resolve()
    work = folder.with_name(f".{folder.name}.part")
    shutil.rmtree(work, ignore_errors=True)
    try:
        work.mkdir(parents=True)
        manifest = _verified(path, work)
        database.check(work / stamps.FILE_NAME)
        blobs.place_folder(work, folder, last=stamps.FILE_NAME)
    except OSError as error:
        raise LibraryError(f"cannot write {folder}: {error.strerror or error}; nothing was kept") from None
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return {"library": str(folder), "originals": len(manifest["files"]) - 1, "made_at": manifest["made_at"]}
