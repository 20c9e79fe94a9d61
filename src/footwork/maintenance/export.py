"""Out of the library in open formats: one run's signals, or everything; positions near private places stay inside."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import select

from footwork.errors import LibraryError, UsageError
from footwork.history import private_places
from footwork.history.log import comments
from footwork.history.recordings import run_signals
from footwork.maintenance.anonymous import Disguise
from footwork.quantities import Floats, plain
from footwork.questions import sessions, trials
from footwork.signals import Signals
from footwork.store import blobs, schema, scratch

if TYPE_CHECKING:
    import polars as pl

    from footwork.history.book import History

ENDINGS = (".csv", ".parquet")


def check_out(path: Path, *endings: str) -> None:
    """Whether a file of that kind can be asked for there. Raises UsageError."""
    if path.suffix.lower() not in endings:
        raise UsageError(f"the name '{path.name}' must end in {' or '.join(endings)}")
    if not path.parent.is_dir():
        raise UsageError(f"there is no folder {path.parent}: make it first")


def write_whole(path: Path, write: Callable[[Path], Any] | bytes) -> None:
    """Write bytes, or what a function writes to the path it is given, whole or not at all. Raises LibraryError."""
    temporary = path.with_name(f".{path.name}.part")
    try:
        if isinstance(write, bytes):
            temporary.write_bytes(write)
        else:
            write(temporary)
        os.replace(temporary, path)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise LibraryError(f"cannot write {path}: {error.strerror or error}") from None


def one(library: History, run_id: int, out: Path, with_location: bool = False) -> dict[str, Any]:
    """Signals of a run as CSV (time as ISO 8601 UTC) or Parquet, written beside and renamed.

    Returns ``rows`` written and ``hidden``, how many of them lost their position to a private place.
    """
    check_out(out, *ENDINGS)
    private = [] if with_location else private_places.places(library)
    return _write_signals(run_signals.signals(library, run_id), out, private)


def _write_signals(found: Signals, out: Path, private: list[dict[str, Any]]) -> dict[str, Any]:
    import polars as pl

    hidden = private_places.near_places(found, private)
    columns: dict[str, Floats] = {
        n: np.where(hidden, np.nan, v) if n in ("latitude", "longitude") else v for n, v in found.columns.items()
    }
    frame = pl.DataFrame({n: pl.Series(n, v, nan_to_null=True) for n, v in columns.items()})
    if "heart_rate_quality" in frame:
        frame = frame.with_columns(pl.col("heart_rate_quality").cast(pl.Int8))
    stamp = (frame["time"] * 1000).cast(pl.Int64).cast(pl.Datetime("ms", "UTC"))
    if out.suffix.lower() == ".csv":
        texts = frame.with_columns(stamp.dt.strftime("%Y-%m-%dT%H:%M:%SZ").alias("time"))
        write_whole(out, lambda path: texts.write_csv(path, float_precision=6))
    else:
        write_whole(out, frame.with_columns(stamp.alias("time")).write_parquet)
    return {"rows": len(frame), "hidden": int(hidden.sum())}


def everything(
    library: History,
    folder: Path,
    ending: str = ".csv",
    with_location: bool = False,
    progress: Any = None,
    anonymous: bool = False,
) -> dict[str, Any]:
    """All of a library as plain files in a new folder.

    ``library.json`` holds the runner's facts, edits, diary, sessions, trials, accepted CPs, scales and settings;
    ``runs.csv`` the list; ``signals/`` one file a recording; ``originals/`` each file as it came. Near private places
    positions are left empty; where there are any, originals are left out, unless ``with_location``. What is
    ``anonymous`` holds no names, notes, diary, positions or originals, and dates moved by some weeks (`Disguise`).

    Returns ``runs``, ``signals``, ``originals``, ``originals_left_out``, ``hidden`` seconds and ``damaged``, names of
    what could not be written because an original is damaged or missing.

    Raises
    ------
    UsageError
        The folder exists and is not empty, an unknown ending, or ``anonymous`` with locations.
    """
    if anonymous and with_location:
        raise UsageError("an anonymous export holds no positions: leave out one of the two")
    if ending not in ENDINGS:
        raise UsageError(f"signals are written as {' or '.join(ENDINGS)}")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"{folder} is there already: name a new folder")
    private = [] if with_location else private_places.places(library)
    folder = folder.resolve()
    told: dict[str, Any] = {"runs": 0, "signals": 0, "originals": 0, "originals_left_out": 0, "hidden": 0}
    told["damaged"] = []
    try:
        with scratch.beside(library.folder, folder) as work:
            (work / "signals").mkdir(parents=True)
            rows = library.runs()
            told["runs"] = len(rows)
            hide = Disguise(library) if anonymous else None
            lines = [r.to_json() for r in rows]
            (work / "runs.csv").write_bytes(table_of([hide.row(line) for line in lines] if hide else lines))
            facts = hide.facts(library) if hide else _facts(library)
            (work / "library.json").write_text(json.dumps(plain(facts), indent=1, ensure_ascii=False), encoding="utf-8")
            _signals(library, work / "signals", ending, private, told, progress, hide)
            if hide is None:
                (work / "originals").mkdir()
                _originals(library, work / "originals", private, told)
            blobs.place_folder(work, folder)
    except OSError as error:
        raise LibraryError(f"cannot write {folder}: {error.strerror or error}") from None
    return told


def table_of(rows: list[dict[str, Any]]) -> bytes:
    """Rows as CSV, lists as JSON."""
    import polars as pl

    flat = [{k: json.dumps(v) if isinstance(v, dict | list) else v for k, v in row.items()} for row in rows]
    return csv_of(pl.DataFrame(flat, infer_schema_length=None))


def csv_of(frame: pl.DataFrame) -> bytes:
    """A table as CSV, in which no text is one that a spreadsheet would compute: an apostrophe makes it plain."""
    import polars as pl

    text = pl.col(pl.String)
    computed = text.str.contains(r"^\s*[=+\-@\t\r]")
    return (
        frame.with_columns(pl.when(computed).then(pl.lit("'") + text).otherwise(text).name.keep()).write_csv().encode()
    )


def _facts(library: History) -> dict[str, Any]:
    with library.reading() as connection:
        accepted = [dict(r) for r in connection.execute(select(schema.accepted)).mappings()]
        settings = [dict(r) for r in connection.execute(select(schema.setting)).mappings()]
    made: dict[str, Any] = plain(
        {
            "athlete": library.athlete.facts(),
            "scales": library.scales(),
            "accepted": accepted,
            "settings": {s["name"]: s["value"] for s in settings if s["name"] != "places"},
            "edits": library.edits(undone=True),
            "diary": library.diary(),
            "comments": comments.comments(library),
            "sessions": sessions.listed_sessions(library),
            "trials": trials.listed_trials(library),
            "other_sports": library.activities(),
            "runs": [r.to_json() for r in library.runs()],
        }
    )
    return made


def _signals(
    library: History,
    folder: Path,
    ending: str,
    private: list[dict[str, Any]],
    told: dict[str, Any],
    progress: Any,
    hide: Disguise | None,
) -> None:
    """Write every recording of every run that is not deleted."""
    known = {row.id: row for row in library.runs()}
    table = schema.result
    with library.reading() as connection:
        found = connection.execute(
            select(table.c.run_id, table.c.recording_id, table.c.part, schema.file.c.sha256, schema.recording.c.leg)
            .join(schema.recording, schema.recording.c.id == table.c.recording_id)
            .join(schema.file, schema.file.c.id == schema.recording.c.file_id)
            .where(table.c.run_id.in_(known))
            .order_by(table.c.run_id, table.c.recording_id, table.c.part)
        ).all()
    number: dict[int, int] = {}
    for done, r in enumerate(found, start=1):
        main = known[r.run_id]
        first = (r.recording_id, r.part) == (main.recording_id, main.part)
        number[r.run_id] = number.get(r.run_id, 1) + (not first)
        name = f"run-{r.run_id:05}{'' if first else f'-{number[r.run_id]}'}{ending}"
        try:
            signals = run_signals.signals_of(library, main, r.recording_id, r.part)
        except LibraryError:  # its original, which is named, can't make them anew
            told["damaged"].append(name)
        else:
            written = _write_signals(
                hide.signals(signals, main.local.utcoffset()) if hide else signals, folder / name, private
            )
            told["signals"] += 1
            told["hidden"] += written["hidden"]
        if progress is not None:
            progress(done, len(found), name)


def _originals(library: History, folder: Path, private: list[dict[str, Any]], told: dict[str, Any]) -> None:
    """Each file as it came; with private places none, since a file may hold positions anywhere in it."""
    with library.reading() as connection:
        found = connection.execute(select(schema.file.c.sha256, schema.file.c.name)).all()
    if private:
        told["originals_left_out"] = len(found)
        return
    for sha, name in found:
        # File systems count bytes; the ending stays.
        kept = Path(name).name.encode()[-200:].decode("utf-8", "ignore")
        try:
            data = blobs.read_original(library.folder, sha)
        except LibraryError:
            told["damaged"].append(name)
        else:
            (folder / f"{sha[:12]}-{kept}").write_bytes(data)
            told["originals"] += 1
