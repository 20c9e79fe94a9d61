"""One encrypted file from one side to the other: a plan, a report and zones as they were chosen, or the whole library.

The file is in the age format, encrypted by a passphrase (scrypt, ChaCha20-Poly1305); inside is a plain archive. What is
received is shown first, and then brought together entry by entry.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import tempfile
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from footwork.errors import UnreadableFile, UsageError
from footwork.history import private_places
from footwork.history.log import uniting
from footwork.history.log.uniting import United
from footwork.maintenance import backup, export
from footwork.maintenance.encryption import checked, decrypted, encrypted
from footwork.store import blobs, scratch

if TYPE_CHECKING:
    from footwork.history.book import History

FORMAT = 1
MOST_BYTES = 2 * 2**30  # of a file that is received, packed and unpacked
MANIFEST, LOG, WHOLE = "manifest.json", "log.json", "library.zip"


@dataclass
class Received:
    """What a file holds and what taking it would come to: papers beside the log by name, entries as `United` tells
    them, recordings that are not here, those of them that could not be read, and whether it was ``taken``."""

    holds: list[str]
    made_at: str
    papers: dict[str, bytes]
    united: United = field(default_factory=United)
    recordings: int = 0
    unread: list[str] = field(default_factory=list)
    fresh: bool = False
    taken: bool = False


def hand_over(
    library: History,
    path: Path,
    passphrase: str,
    papers: Mapping[str, bytes] | None = None,
    plan: bool = False,
    whole: bool = False,
    with_diary: bool = False,
    with_location: bool = False,
) -> dict[str, Any]:
    """Write one encrypted file.

    Parameters
    ----------
    library : Library
    path : Path
        A new file.
    passphrase : str
        At least `SHORTEST` characters.
    papers : mapping, optional
        Files to go with it, by their names: a report, zones, a calendar.
    plan : bool
        Sessions, seasons, comments and trials.
    whole : bool
        Recordings and everything told; the diary only ``with_diary``. Where there are private places, only
        ``with_location``: the recordings hold them.

    Returns
    -------
    dict
        ``file``, ``holds``, ``bytes``, ``diary`` (whether it is inside), ``damaged`` (names of originals that could
        not go with it).

    Raises
    ------
    UsageError
        Nothing chosen, a file that is there already, a short passphrase, or private places in what is chosen.
    LibraryError
        The disk is full.
    """
    holds = [*(["plan"] if plan else []), *sorted(papers or {}), *(["library"] if whole else [])]
    if not holds:
        raise UsageError("say what to hand over: a plan, a report, zones or the whole library")
    if path.exists():
        raise UsageError(f"{path} is there already: name a new file")
    if not path.parent.is_dir():
        raise UsageError(f"there is no folder {path.parent}: make it first")
    checked(passphrase)
    if whole and not with_location and private_places.places(library):
        raise UsageError(
            "the whole library holds all positions, also near your private places: say that they may go "
            "(--with-location), or hand over a plan, a report and zones"
        )
    made, damaged = io.BytesIO(), list[str]()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        manifest = {
            "format": FORMAT,
            "made_at": dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
            "holds": holds,
        }
        archive.writestr(MANIFEST, json.dumps(manifest))
        without = () if with_diary else ("diary",)
        kinds = () if whole else uniting.PLAN if plan else ("none",)
        archive.writestr(LOG, json.dumps(uniting.packed(library, kinds, without)))
        for name, content in (papers or {}).items():
            archive.writestr(f"papers/{name}", content)
        if whole:
            content, damaged = _whole(library, with_diary)
            archive.writestr(WHOLE, content, zipfile.ZIP_STORED)
    content = encrypted(made.getvalue(), passphrase)
    export.write_whole(path, content)
    return {"file": str(path), "holds": holds, "bytes": len(content), "diary": whole and with_diary, "damaged": damaged}


def _whole(library: History, with_diary: bool) -> tuple[bytes, list[str]]:
    """A backup of the library, without its diary unless wanted; and the originals that could not go with it."""
    with scratch.inside(library.folder) as path:
        made = backup.backup(library, path, () if with_diary else ("diary",))
        return path.read_bytes(), made["damaged"]


def receive(
    path: Path, passphrase: str, library: History | None, write: bool = False, take_theirs: bool = False
) -> Received:
    """What a handed-over file holds, and what taking it would change here; taken only where ``write``.

    Parameters
    ----------
    library : Library or None
        None where there is none yet: then a whole library can be made of it, by `receive_into`.
    take_theirs : bool
        Whether the other side's word counts where both said something else of one thing.

    Raises
    ------
    UsageError
        No such file, or it is another runner's.
    UnreadableFile
        A wrong passphrase, a file that is cut or changed, or none of ours.
    """
    held = _opened(path, passphrase)
    out = Received(held.holds, held.made_at, held.papers)
    if library is None:
        out.fresh = True
        return out
    out.united = uniting.unite(library, held.log)  # refused before anything is changed
    known = set(library.known_files())
    with library.reading() as connection:
        gone = uniting.forgotten(connection)
    wanted = held.log["originals"] if held.whole is not None else []
    missing = [sha for sha in wanted if sha not in known and uniting.hashed(sha) not in gone]
    out.recordings = len(missing)
    if write:
        if held.whole is not None and missing:
            out.unread = _add(library, held.whole, set(missing))
        out.united = uniting.unite(library, held.log, True, take_theirs)
        out.taken = True
    elif held.whole is not None and missing:  # entries of runs that would come with it are no loss
        out.united.new += out.united.without_run
        out.united.without_run = []
    return out


def receive_into(path: Path, passphrase: str, folder: Path) -> Received:
    """Make a library of a whole one that was handed over.

    Raises as `receive`, and UsageError where it holds no whole library, or the folder holds something.
    """
    held = _opened(path, passphrase)
    if held.whole is None:
        raise UsageError(f"{path.name} holds no whole library: open the runner's library and receive it there")
    with tempfile.TemporaryDirectory() as place:
        whole = Path(place) / "whole.zip"
        whole.write_bytes(held.whole)
        backup.restore(whole, folder)
    return Received(held.holds, held.made_at, held.papers, fresh=True, taken=True)


@dataclass
class _Held:
    holds: list[str]
    made_at: str
    log: dict[str, Any]
    papers: dict[str, bytes]
    whole: bytes | None


def _opened(path: Path, passphrase: str) -> _Held:
    if not path.is_file():
        raise UsageError(f"there is no file {path}")
    if path.stat().st_size > MOST_BYTES:
        raise UsageError(f"{path.name} is larger than {MOST_BYTES // 2**30} GB, which no hand-over is")
    content = decrypted(path.read_bytes(), passphrase, path.name)
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            if sum(i.file_size for i in archive.infolist()) > MOST_BYTES:
                raise UnreadableFile(f"{path.name} unpacks to more than a hand-over can hold")
            manifest = json.loads(archive.read(MANIFEST))
            if manifest["format"] != FORMAT:
                raise UnreadableFile(f"{path.name} was made by a newer Footwork: update Footwork to receive it")
            names = archive.namelist()
            papers = {n.removeprefix("papers/"): archive.read(n) for n in names if n.startswith("papers/")}
            log = json.loads(archive.read(LOG))
            whole = archive.read(WHOLE) if WHOLE in names else None
            return _Held([str(h) for h in manifest["holds"]], str(manifest["made_at"]), dict(log), papers, whole)
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, EOFError, NotImplementedError):
        raise UnreadableFile(f"{path.name} is no hand-over of ours") from None


def _add(library: History, whole: bytes, missing: set[str]) -> list[str]:
    """Import recordings of a handed-over library that are not here, by the names and starts they had there; returns
    what could not be read."""
    out = []
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / "whole.zip").write_bytes(whole)
        folder = Path(place) / "theirs"
        backup.restore(Path(place) / "whole.zip", folder)
        with type(library).open(folder, refresh=False) as theirs:
            files = theirs.file_names()
        plain = []
        for number, sha in enumerate(sorted(missing)):
            name, start = files[sha]
            own = Path(place) / f"f{number}"
            own.mkdir()
            path = own / (Path(name).name or f"{sha}.fit")
            path.write_bytes(blobs.read_original(folder, sha))
            if start is None:
                plain.append(path)
            else:
                report = library.add([path], start=dt.datetime.fromtimestamp(start, dt.UTC))
                out += [f"{f['file']}: {f['reason']}" for f in report["failed"]]
        report = library.add(plain) if plain else {"failed": []}
        out += [f"{f['file']}: {f['reason']}" for f in report["failed"]]
    return out
