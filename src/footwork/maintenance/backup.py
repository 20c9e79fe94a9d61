"""Backup and restore in one verified file."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
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
from footwork.maintenance import encryption
from footwork.store import blobs, database, schema, scratch, stamps

if TYPE_CHECKING:
    from footwork.history.book import History

FORMAT = 1


MANIFEST = "manifest.json"


_MEMBER = re.compile(r"library\.sqlite|originals/[0-9a-f]{2}/[0-9a-f]{64}\.gz")


_CHUNK = 1 << 20


def backup(
    library: History, path: Path, without: Collection[str] = (), passphrase: str | None = None
) -> dict[str, Any]:
    """Write everything that cannot be rebuilt into one file, then read it back and compare.

    Parameters
    ----------
    library : Library
    path : Path
        A new file.
    without : collection of str
        Kinds of entries that stay out.
    passphrase : str, optional
        Encrypt it in the age format.

    Returns
    -------
    dict
        ``file``, ``originals``, ``damaged`` (names of those that are missing or damaged, whose hashes are kept so that
        they can be put right later), ``bytes``, ``encrypted``, ``verified``.

    Raises
    ------
    UsageError
        The file is there already, or its folder is not; a passphrase that is too short.
    LibraryError
        The database is damaged, or the disk is full.
    """
    if path.exists():
        raise UsageError(f"{path} is there already: name a new file")
    if not path.parent.exists():
        raise UsageError(f"there is no folder {path.parent}: make it first")
    if passphrase is not None:
        encryption.checked(passphrase)
    try:
        with (
            scratch.inside(library.folder) as copy,
            # What is not to be read by others is not written beside the target in the clear.
            scratch.beside(library.folder, path) if passphrase is None else scratch.inside(library.folder) as made,
        ):
            digests = _copied(library, copy, without)
            sources = {"library.sqlite": copy}
            damaged = {}
            for digest, name in digests.items():
                try:
                    blobs.read_original(library.folder, digest)
                except LibraryError:
                    damaged[digest] = name
                else:
                    sources[f"originals/{digest[:2]}/{digest}.gz"] = blobs.original_path(library.folder, digest)
            manifest = {
                "format": FORMAT,
                "library_version": schema.LIBRARY_VERSION,
                "made_at": dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
                "files": {name: _hash_of(source) for name, source in sources.items()},
                "damaged": damaged,
            }
            blobs.make_private(made)
            with zipfile.ZipFile(made, "w", zipfile.ZIP_STORED) as archive:
                archive.writestr(MANIFEST, json.dumps(manifest))
                for name, source in sources.items():
                    archive.write(source, name)
            _verified(made)
            if passphrase is None:
                _placed(made, path)
            else:
                with scratch.beside(library.folder, path) as hidden:
                    blobs.make_private(hidden)
                    hidden.write_bytes(encryption.encrypted(made.read_bytes(), passphrase))
                    back = encryption.decrypted(hidden.read_bytes(), passphrase, path.name)
                    if hashlib.sha256(back).hexdigest() != _hash_of(made):
                        raise LibraryError(f"{path} could not be read back: nothing was kept")
                    _placed(hidden, path)
    except OSError as error:
        raise LibraryError(f"cannot write {path}: {error.strerror or error}; nothing was kept") from None
    except MemoryError:
        raise LibraryError(
            "encrypting takes three times the library's size in memory: back it up without --encrypt, onto an "
            "encrypted disk"
        ) from None
    except sqlite3.Error as error:
        raise LibraryError(
            f"the library database in {library.folder} cannot be copied ({error}): look with check-up"
        ) from None
    return {
        "file": str(path),
        "originals": len(digests) - len(damaged),
        "damaged": sorted(damaged.values()),
        "bytes": path.stat().st_size,
        "encrypted": passphrase is not None,
        "verified": True,
    }


def _copied(library: History, copy: Path, without: Collection[str]) -> dict[str, str]:
    """A copy of the database of what was told; returns names of originals by their hashes."""
    blobs.make_private(copy)
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
        return dict(target.execute("SELECT sha256, name FROM file ORDER BY sha256").fetchall())


def _placed(made: Path, path: Path) -> None:
    with made.open("rb") as stream:
        os.fsync(stream.fileno())
    os.replace(made, path)


def _hash_of(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _verified(path: Path, into: Path | None = None, clear: bytes | None = None) -> dict[str, Any]:
    """Read every byte of a backup and compare; with ``into`` the files are unpacked there along the way. ``clear`` is
    its content where the file is encrypted."""
    try:
        with zipfile.ZipFile(path if clear is None else io.BytesIO(clear)) as archive:
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


def is_encrypted(path: Path) -> bool:
    """Whether a backup needs a passphrase. Raises UsageError where there is none."""
    if not path.is_file():
        raise UsageError(f"there is no backup {path}")
    with path.open("rb") as stream:
        return encryption.is_encrypted(stream.read(64))


def restore(path: Path, folder: Path, passphrase: str | None = None) -> dict[str, Any]:
    """Make a library folder from a backup; nothing appears there unless every byte is right.

    Returns ``library``, ``originals``, ``damaged`` (names of those that were damaged when it was made) and ``made_at``.

    Raises
    ------
    UsageError
        No such backup, or the folder holds something already; an encrypted one without a passphrase.
    UnreadableFile
        The backup is broken or of a newer version, or the passphrase is wrong.
    """
    hidden = is_encrypted(path)
    if hidden and passphrase is None:
        raise UsageError(f"{path.name} is encrypted: its passphrase is needed")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"{folder} is there already: restore into a new folder with --into DIR")
    folder = folder.resolve()
    work = folder.with_name(f".{folder.name}.part")
    shutil.rmtree(work, ignore_errors=True)
    try:
        work.mkdir(parents=True, mode=blobs.PRIVATE_FOLDER)
        clear = encryption.decrypted(path.read_bytes(), passphrase or "", path.name) if hidden else None
        manifest = _verified(path, work, clear)
        database.check(work / stamps.FILE_NAME)
        for made in work.rglob("*"):
            made.chmod(blobs.PRIVATE_FOLDER if made.is_dir() else blobs.PRIVATE_FILE)
        blobs.place_folder(work, folder, last=stamps.FILE_NAME)
    except OSError as error:
        raise LibraryError(f"cannot write {folder}: {error.strerror or error}; nothing was kept") from None
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return {
        "library": str(folder),
        "originals": len(manifest["files"]) - 1,
        "damaged": sorted(manifest.get("damaged", {}).values()),
        "made_at": manifest["made_at"],
    }
