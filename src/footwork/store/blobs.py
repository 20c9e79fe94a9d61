"""Files of a library: originals by content, signals as Parquet, arrays as bytes. Written beside, synced, then
renamed."""

from __future__ import annotations

import contextlib
import errno
import gzip
import hashlib
import os
import shutil
import zlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.errors import LibraryError
from footwork.native import silence
from footwork.signals import PowerStream, Signals

if TYPE_CHECKING:
    import polars as pl

PRIVATE_FOLDER, PRIVATE_FILE = 0o700, 0o600  # a library is its runner's alone
_HEAL = "add the file again, or let check-up --repair FOLDER look for a copy of it in a folder or an older backup"
_CHECK = "check"  # of the values of a file of signals, beside them


def sha256(data: bytes) -> str:
    """Hexadecimal SHA-256 of bytes."""
    return hashlib.sha256(data).hexdigest()


def original_path(folder: Path, digest: str) -> Path:
    """Where an original of that digest is kept."""
    return folder / "originals" / digest[:2] / f"{digest}.gz"


def signals_path(folder: Path, digest: str, leg: int, part: int = 0) -> Path:
    """Where the signals of a recording are; a split made further parts of it."""
    return folder / "derived" / "signals" / f"{digest[:24]}-{leg}{f'-{part}' if part else ''}.parquet"


def write_original(path: Path, data: bytes) -> None:
    """Compressed and synced to ``path``; the same bytes for the same data."""
    with path.open("wb") as stream:
        stream.write(gzip.compress(data, compresslevel=4, mtime=0))
        stream.flush()
        os.fsync(stream.fileno())


def put_original(folder: Path, digest: str, data: bytes) -> None:
    """Keep an original in its place, instead of what is there."""
    final = original_path(folder, digest)
    final.parent.mkdir(parents=True, exist_ok=True, mode=PRIVATE_FOLDER)
    temporary = final.with_suffix(".part")
    write_original(temporary, data)
    place(temporary, final)


def read_original(folder: Path, digest: str) -> bytes:
    """The original file. Raises LibraryError where it is missing or damaged."""
    path = original_path(folder, digest)
    try:
        data = gzip.decompress(path.read_bytes())
    except FileNotFoundError:
        raise LibraryError(f"the original {path} is missing: {_HEAL}") from None
    except (OSError, EOFError, zlib.error) as error:
        raise LibraryError(f"the original {path} is damaged ({error}): {_HEAL}") from None
    if sha256(data) != digest:
        raise LibraryError(f"the original {path} has changed: {_HEAL}")
    return data


def make_private(path: Path) -> None:
    """An empty file that only its owner can read; a journal beside it gets the same mode."""
    os.close(os.open(path, os.O_CREAT | os.O_WRONLY, PRIVATE_FILE))


def is_whole(folder: Path, digest: str) -> bool:
    """Whether an original is there as it came."""
    with contextlib.suppress(LibraryError):
        read_original(folder, digest)
        return True
    return False


def place(temporary: Path, final: Path) -> None:
    """Move a finished file to its place in one step, where only its owner can read it."""
    temporary.chmod(PRIVATE_FILE)
    try:
        os.replace(temporary, final)
    except OSError:  # no folder yet, or one where the file belongs: asked only now, since an import places thousands
        final.parent.mkdir(parents=True, exist_ok=True, mode=PRIVATE_FOLDER)
        if final.is_dir():
            shutil.rmtree(final)
        os.replace(temporary, final)


def place_folder(work: Path, folder: Path, last: str = "") -> None:
    """Move a finished folder to its place in one step; one that is there and empty is filled, since someone may stand
    in it, with ``last`` at the end. Only its owner can look into it."""
    work.chmod(PRIVATE_FOLDER)
    if not folder.exists():
        os.replace(work, folder)
        return
    folder.chmod(PRIVATE_FOLDER)
    for child in sorted(work.iterdir(), key=lambda p: p.name == last):
        os.replace(child, folder / child.name)


def write_signals(path: Path, signals: Signals) -> None:
    """Parquet with null for missing; time and positions in 64 bits, the rest in 32; a checksum of the values beside
    them.

    Raises OSError as the disk does; nothing half-written is left in place.
    """
    import polars as pl

    wide = {"time", "latitude", "longitude"}
    frame = pl.DataFrame(
        [
            *(
                pl.Series(name, values if name in wide else values.astype(np.float32), nan_to_null=True)
                for name, values in signals.columns.items()
            ),
            pl.Series("timer", signals.timer),
        ]
    )
    try:
        frame.write_parquet(path, compression="lz4", statistics=False, metadata={_CHECK: _check_of(frame)})
    except pl.exceptions.PolarsError as error:  # a full disk arrives as an error of its own kind
        raise OSError(errno.ENOSPC if "No space" in str(error) else errno.EIO, str(error)) from None


def read_signals(path: Path, streams: list[PowerStream]) -> Signals:
    """Signals as `write_signals` wrote them; NaN for null. Raises LibraryError where they are missing or not what was
    written."""
    import polars as pl

    with silence():
        try:
            frame = pl.read_parquet(path)
            sound = pl.read_parquet_metadata(path).get(_CHECK) == _check_of(frame)
        except (Exception, pl.exceptions.PanicException) as error:  # damaged bytes end the decoder in many ways
            raise LibraryError(f"the signals {path} are missing or damaged ({type(error).__name__})") from None
    if not sound:
        raise LibraryError(f"the signals {path} are not what was written")
    columns = {
        name: frame[name].cast(pl.Float64).fill_null(float("nan")).to_numpy().copy()
        for name in frame.columns
        if name != "timer"
    }
    return Signals(columns, frame["timer"].to_numpy().copy(), tuple(streams))


def _check_of(frame: pl.DataFrame) -> str:
    """CRC-32 over names and values of all columns."""
    check = 0
    for column in frame:
        check = zlib.crc32(column.name.encode(), check)
        values = column.to_numpy().astype(float)
        check = zlib.crc32(np.where(np.isnan(values), np.nan, values).tobytes(), check)  # of the many NaN one
    return f"{check:08x}"


def pack(array: np.ndarray[Any, Any]) -> bytes:
    """An array as compressed bytes."""
    return array.tobytes()


def unpack(data: bytes, kind: str, columns: int | None = None) -> np.ndarray[Any, Any]:
    """The array behind `pack`; ``kind`` is the NumPy type name; with ``columns`` it is two-dimensional."""
    array = np.frombuffer(data, dtype=kind)
    return array if columns is None else array.reshape(-1, columns)
