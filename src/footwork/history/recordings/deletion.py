"""Deleting for ever: a run, its originals, and all that was said about it."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

from sqlalchemy import Connection, delete, select

from footwork.history.log import entries, parts, uniting
from footwork.history.log.entries import Told
from footwork.store import blobs, database, schema

if TYPE_CHECKING:
    from footwork.history.book import History


def bound_to(library: History, run_id: int) -> list[int]:
    """Runs that go with this one when its originals are deleted for ever: they come from the same files."""
    with library.reading() as connection:
        found, _, _ = _bound(connection, run_id)
    return sorted(found)


def _bound(connection: Connection, run_id: int) -> tuple[set[int], set[int], set[int]]:
    """Runs, recordings and files that hang together with a run, through files that hold several runs, splits, merges,
    and poorer copies whose place was taken."""
    recording, result, file = schema.recording, schema.result, schema.file
    pairs = {(r, int(i)) for i, r in connection.execute(select(recording.c.id, recording.c.run_id)) if r is not None}
    pairs |= {
        (r, int(i)) for i, r in connection.execute(select(result.c.recording_id, result.c.run_id)) if r is not None
    }
    pairs |= {
        (p.run, piece.recording) for found in parts.read_parts(connection).values() for p in found for piece in p.pieces
    }
    file_of = dict(connection.execute(select(recording.c.id, recording.c.file_id)).all())
    taken = dict(connection.execute(select(file.c.id, file.c.replaced_by).where(file.c.replaced_by.is_not(None))).all())
    runs: set[int] = {run_id}
    recordings: set[int] = set()
    files: set[int] = set()
    while True:
        before = len(runs) + len(recordings) + len(files)
        recordings |= {i for r, i in pairs if r in runs}
        files |= {file_of[i] for i in recordings if i in file_of}
        files |= {old for old, new in taken.items() if new in files}
        recordings |= {i for i, f in file_of.items() if f in files}
        runs |= {r for r, i in pairs if i in recordings}
        if len(runs) + len(recordings) + len(files) == before:
            return runs, recordings, files


def delete_forever(library: History, run_id: int) -> list[int]:
    """Remove a run, its originals and all that was said about it; the one edit that cannot be undone. Returns the runs
    that went, those of the same files included."""
    if not entries.told(library).get(run_id, Told()).deleted:
        entries.library_row(library, run_id)
    with database.held(library.folder / "rebuild.lock"), library.writing() as connection:
        connection.exec_driver_sql("PRAGMA secure_delete=ON")
        gone, recordings, files = _bound(connection, run_id)
        shas = connection.execute(select(schema.file.c.sha256).where(schema.file.c.id.in_(files))).scalars().all()
        for table in (schema.stream, schema.result):
            connection.execute(delete(table).where(table.c.recording_id.in_(recordings)))
        for e in parts.read_entries(connection, undone=True):
            if e.runs & gone:
                connection.execute(delete(schema.entry).where(schema.entry.c.id == e.id))
        connection.execute(delete(schema.recording).where(schema.recording.c.id.in_(recordings)))
        connection.execute(delete(schema.file).where(schema.file.c.id.in_(files)))
        uniting.remember_forgotten(connection, shas)  # nor do they come back from another copy
    for sha in shas:
        blobs.original_path(library.folder, sha).unlink(missing_ok=True)
        for path in (library.folder / "derived" / "signals").glob(f"{sha[:24]}-*"):
            path.unlink(missing_ok=True)
    (library.folder / "derived" / "titles.json").unlink(missing_ok=True)
    for name in ("capacity", "printed", "snapshots"):  # they name runs; the last are of older versions
        shutil.rmtree(library.folder / "derived" / name, ignore_errors=True)
    library.refresh()
    return sorted(gone)
