"""What each run was, in a few words, kept so that a list of runs need not look through their signals again."""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Iterable
from typing import TYPE_CHECKING

from footwork.analysis import intervals
from footwork.errors import FootworkError
from footwork.history.catalogue import RunRow
from footwork.history.log import entries
from footwork.history.log.entries import Told
from footwork.questions.runs.found_efforts import efforts_of_run
from footwork.store import stamps
from footwork.wording import run_titles as words

if TYPE_CHECKING:
    from footwork.history.book import History

FILE = "derived/titles.json"


def run_titles(library: History, rows: Iterable[RunRow], most: int | None = None) -> dict[int, str | None]:
    """Titles of runs by their numbers, as ``Three times eight minutes``; None for a run without any signal to tell it
    from. What is not kept yet is found from the signals, some 30 ms a run of an hour, of the first ``most`` runs only;
    the others have none yet."""
    path = library.folder / FILE
    kept: dict[str, list[str | None]] = {}
    with contextlib.suppress(ValueError):
        kept = json.loads(stamps.read_kept(path) or "{}")
    told = entries.told(library)
    out: dict[int, str | None] = {}
    fresh = False
    for row in rows:
        rests = _rests_on(row, told.get(row.id, Told()))
        found = kept.get(str(row.id))
        if (found is None or found[0] != rests) and most is not None and most <= 0:
            out[row.id] = None
            continue
        if found is None or found[0] != rests:
            most = None if most is None else most - 1
            found = kept[str(row.id)] = [rests, _title(library, row.id, bool(told.get(row.id, Told()).efforts))]
            fresh = True
        out[row.id] = words.of_marked(found[1], row.marks)
    if fresh and not library.readonly:
        stamps.write_kept(path, json.dumps(kept))
    return out


def _rests_on(row: RunRow, told: Told) -> str:
    """Changes with whatever a title rests on: how efforts are found, the recording, and what the runner corrected."""
    on = (
        intervals.METHOD_VERSION,
        words.METHOD_VERSION,
        row.recording_id,
        row.part,
        row.column,
        row.start,
        row.duration_s,
        row.elapsed_s,
    )
    more = (row.distance_m, row.power_w, row.heart_rate_bpm, told.efforts)
    return hashlib.sha256(repr((on, more)).encode()).hexdigest()[:12]


def _title(library: History, run_id: int, by_hand: bool) -> str | None:
    with contextlib.suppress(FootworkError):
        return words.run_title(efforts_of_run(library, run_id), by_hand)
    return None
