"""Plain, gzipped and zipped files, unpacked in memory within limits. Paths inside archives are never used as paths."""

from __future__ import annotations

import gzip
import io
import lzma
import zipfile
import zlib
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path, PurePosixPath
from typing import IO, cast

from footwork.errors import NotARecording, UnreadableFile

MAX_FILE = 128 * 2**20  # seven days at 1 Hz are 36 MB in FIT, twice as many hours as anyone runs 70 MB in GPX
MAX_ARCHIVE = 256 * 2**20  # inside another
MAX_TOTAL = 4 * 2**30
MAX_NESTING = 2
ENDINGS = (".fit", ".gpx", ".csv", ".tsv", ".txt", ".gz", ".zip")


class Budget:
    """Bytes that one path may still unpack to."""

    def __init__(self, total: int = MAX_TOTAL) -> None:
        self.left = total

    def take(self, stream: IO[bytes], name: str) -> bytes:
        """Bytes of one file of an archive, within what may be unpacked. Raises UnreadableFile beyond."""
        data = stream.read(4)
        limit = min(MAX_ARCHIVE if data[:4] == b"PK\x03\x04" else MAX_FILE, self.left)
        data += stream.read(limit + 1 - len(data))
        if len(data) > limit:
            raise UnreadableFile(f"{name} unpacks to more than {limit // 2**20} MiB, so it was not opened")
        self.left -= len(data)
        return data


def members(path: Path) -> list[str | None]:
    """What to unpack from a path: the names inside a zip, else ``[None]``. Raises UnreadableFile on a broken zip."""
    try:
        if not zipfile.is_zipfile(path):
            return [None]
        with zipfile.ZipFile(path) as archive:
            inside = [info for info in archive.infolist() if not info.is_dir()]
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise UnreadableFile(f"the zip archive is damaged ({error})") from None
    # A member is never read beyond the size its entry states, so the stated sizes bound the whole.
    if sum(info.file_size for info in inside) > MAX_TOTAL:
        raise UnreadableFile(f"it unpacks to more than {MAX_TOTAL // 2**20} MiB, so it was not opened")
    return [info.filename for info in inside]


def unpack(path: Path, member: str | None = None) -> Iterator[tuple[str, bytes]]:
    """Yield ``(name, bytes)`` of the file at ``path``, or of one member of a zip, opened up to two archives deep.

    Raises
    ------
    UnreadableFile
        Damaged, encrypted, nested too deep or larger than the limits.
    """
    budget = Budget()
    try:
        if member is None:
            with path.open("rb") as stream:
                yield from _open(path.name, budget.take(stream, path.name), budget, 0)
        else:
            with _held_open(path).open(member) as stream:
                yield from _open(PurePosixPath(member).name, budget.take(stream, member), budget, 1)
    except (
        zipfile.BadZipFile,
        zlib.error,
        lzma.LZMAError,
        gzip.BadGzipFile,
        EOFError,
        RuntimeError,
        ValueError,
        KeyError,
    ) as error:
        raise UnreadableFile(f"the archive is damaged or encrypted ({error})") from None


def _held_open(path: Path) -> zipfile.ZipFile:
    """An archive, whose list of names is read once for all its members."""
    found = path.stat()
    return _archive(path, found.st_mtime_ns, found.st_size)


def let_go() -> None:
    """Close the archive that is held open."""
    _archive.cache_clear()


@lru_cache(maxsize=1)
def _archive(path: Path, changed: int, size: int) -> zipfile.ZipFile:
    return zipfile.ZipFile(path)


def _open(name: str, data: bytes, budget: Budget, depth: int) -> Iterator[tuple[str, bytes]]:
    is_gzip, is_zip = data[:2] == b"\x1f\x8b", data[:4] == b"PK\x03\x04"
    if not (is_gzip or is_zip):
        yield name, data
        return
    if depth >= MAX_NESTING:
        raise UnreadableFile(f"{name} is an archive inside {MAX_NESTING} others, so it was not opened")
    if is_gzip:
        with gzip.GzipFile(fileobj=io.BytesIO(data)) as stream:
            inner = budget.take(cast(IO[bytes], stream), name)
        yield from _open(name.removesuffix(".gz"), inner, budget, depth + 1)
        return
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        for info in archive.infolist():
            inside = PurePosixPath(info.filename).name
            if not info.is_dir() and inside.lower().endswith(ENDINGS):
                with archive.open(info) as stream:
                    yield from _open(inside, budget.take(stream, inside), budget, depth + 1)


def read_single(path: Path) -> tuple[str, bytes]:
    """The one file at a path, unpacked. Raises NotARecording where an archive holds none or several."""
    found = list(unpack(path))
    if len(found) != 1:
        raise NotARecording(f"{path.name} holds {len(found)} files; name one")
    return found[0]
