"""Corrections of recordings by the runner (distance, trim, seconds left out, split, merge, pair, laps, deletion) and
runs entered by hand."""

from __future__ import annotations

import datetime as dt
import time
from typing import TYPE_CHECKING

from sqlalchemy import insert

from footwork.analysis import editing, pairing
from footwork.analysis.possible import beyond_records
from footwork.errors import NotEnoughData, UsageError
from footwork.history.log import entries, parts
from footwork.history.log.entries import MARKS, ONE_OF, Told
from footwork.quantities import format_distance, format_duration
from footwork.store import schema

if TYPE_CHECKING:
    from footwork.history.book import History

SIGNALS = ("power", "heart_rate", "speed", "cadence")


LONGEST_BREAK_S = 12 * 3600  # runs further apart are not one run; our convention


def _span(library: History, run_id: int, begin: float | None, end: float | None) -> tuple[float, float]:
    """A span given in elapsed seconds, as Unix seconds inside the run."""
    _, first, last = entries.recorded_row(library, run_id)
    low, high = first + (begin or 0.0), last if end is None else first + end
    if not first <= low < high or low >= last or high > last + 1:
        raise UsageError(
            f"{format_duration(low - first)} to {format_duration(high - first)} is no span of run {run_id}: it lasts "
            f"{format_duration(last - first)}, and a span ends after it begins"
        )
    return low, min(high, last)


def trim(library: History, run_id: int, begin: float | None, end: float | None) -> int:
    """Keep only the seconds from ``begin`` to ``end`` (elapsed).

    Both [s]; returns the entry. Raises UsageError outside the run.
    """
    low, high = _span(library, run_id, begin, end)
    if high - low < 10:
        raise UsageError("fewer than ten seconds would be left")
    _refuse_distance(library, run_id)
    return entries.write(library, "trim", run_id, {"start": low, "end": high})


def leave_out(library: History, run_id: int, begin: float | None, end: float | None, only: str | None = None) -> int:
    """Leave seconds (elapsed), or the whole run, out of every analysis; ``only`` names one signal.

    Both [s]; returns the entry. Raises UsageError outside the run or for an unknown signal.
    """
    if only is not None and only not in SIGNALS:
        raise UsageError(f"'{only}' is not a signal: use {', '.join(SIGNALS)}")
    if begin is None and end is None and only is None:
        entries.library_row(library, run_id)
        return entries.write(library, "leave-out", run_id, {})
    low, high = _span(library, run_id, begin, end)
    return entries.write(library, "leave-out", run_id, {"start": low, "end": high, **({"only": only} if only else {})})


HEART_RATE_WORDS = ("sound", "doubtful")


def judge_heart_rate(library: History, run_id: int, value: str) -> int:
    """Say whether a run's heart rate is ``sound`` or ``doubtful``, whatever the screening thinks.

    Returns the entry, by which it can be undone. Raises UsageError for another word or a run without heart rate.
    """
    if value not in HEART_RATE_WORDS:
        raise UsageError(f"'{value}' says nothing of heart rate: use {' or '.join(HEART_RATE_WORDS)}")
    row, _, _ = entries.recorded_row(library, run_id)
    if row.heart_rate_sound_s is None:
        raise UsageError(f"run {run_id} has no heart rate")
    return entries.write(library, "heart-rate", run_id, {"value": value})


def distance(library: History, run_id: int, metres: float) -> int:
    """Correct the distance of a run [m]; speed, step length and modelled power follow.

    Raises UsageError where there is no distance, or one that cannot be run.
    """
    row, _, _ = entries.recorded_row(library, run_id)
    if not 50 <= metres <= 1e6 or metres / max(row.duration_s, 1.0) > 9.0:
        raise UsageError(f"{format_distance(metres)} in {format_duration(row.duration_s)} cannot be run")
    return entries.write(library, "distance", run_id, {"metres": metres})


def split(library: History, run_id: int, at: float) -> tuple[int, int]:
    """Make two runs of one, at an elapsed time [s]; returns the entry and the new run, which is the later part.

    Raises UsageError outside the run.
    """
    low, _ = _span(library, run_id, at, None)
    _, first, last = entries.recorded_row(library, run_id)
    if low - first < 10 or last - low < 10:
        raise UsageError("each part must last ten seconds or more")
    _refuse_distance(library, run_id)
    with library.writing() as connection:
        new = int(connection.execute(insert(schema.run)).lastrowid or 0)
        made = entries.keep(connection, "split", run_id, {"at": low, "new_run": new})
    library.refresh()
    return made, new


def merge(library: History, run_id: int, other: int) -> int:
    """Make one run of two that follow each other; the time between counts as a pause.

    Raises
    ------
    UsageError
        The runs overlap, lie too far apart, or contradict each other.
    """
    if run_id == other:
        raise UsageError(f"run {run_id} cannot be merged with itself")
    (_, a, b), (_, c, d) = entries.recorded_row(library, run_id), entries.recorded_row(library, other)
    if a < d and c < b:  # ends are the second after the last
        raise UsageError(f"runs {run_id} and {other} overlap in time: only runs that follow each other can be merged")
    apart = max(c - b, a - d)
    if apart > LONGEST_BREAK_S:
        raise UsageError(f"runs {run_id} and {other} lie {format_duration(apart)} apart: they are not one run")
    for each in (run_id, other):
        _refuse_distance(library, each)
    one, two = (entries.told(library).get(r, Told()) for r in (run_id, other))
    marks = (one.marks | two.marks) & ONE_OF
    if len(marks) > 1:
        raise UsageError(f"one is marked {' and the other '.join(sorted(marks))}: take one mark off first")
    if one.left_out != two.left_out:
        raise UsageError("one of them is left out of every analysis and the other is not: undo that first")
    if ("treadmill" in one.marks, one.incline) != ("treadmill" in two.marks, two.incline):
        raise UsageError("only one of them is marked treadmill, or their inclines differ: they are not one run")
    if one.surface and two.surface and one.surface != two.surface:
        raise UsageError(f"one was run on {one.surface}, the other on {two.surface}: say 'mixed' of both first")
    keep, gone = (run_id, other) if a < c else (other, run_id)
    return entries.write(library, "merge", keep, {"other": gone})


def pair(library: History, run_id: int, other: int) -> int:
    """Say that another run is the same one by a second device, whose clock may be hours off; it then counts as a
    recording of ``run_id``. Its clock is set so that both start together; the comparison finds the seconds that are
    left.

    Raises
    ------
    UsageError
        The same run, one without a recording, the same device twice, or nothing that rises and falls together.
    """
    from footwork.history.recordings import run_signals

    if run_id == other:
        raise UsageError(f"run {run_id} cannot be paired with itself")
    (one, a, b), (two, c, d) = entries.recorded_row(library, run_id), entries.recorded_row(library, other)
    if one.scale_key == two.scale_key and one.measured:
        raise UsageError(f"both runs were recorded by {one.power_scale}: a pair has two devices")
    overlap = min(b, d) - max(a, c)
    shift = 0.0 if overlap > 0.5 * min(b - a, d - c) else float(round(a - c))
    first, second = run_signals.signals_of(library, one), editing.shift(run_signals.signals_of(library, two), shift)
    try:
        pairing.clock_offset(*pairing.common(first, second))
    except NotEnoughData as error:
        raise UsageError(f"runs {run_id} and {other} cannot be paired: {error}") from None
    for each in (run_id, other):
        _refuse_distance(library, each)
    return entries.write(library, "pair", run_id, {"other": other, "shift": shift})


def _refuse_distance(library: History, run_id: int) -> None:
    with library.reading() as connection:
        found = [e for e in parts.read_entries(connection, "distance") if e.run == run_id]
    if found:
        raise UsageError(
            f"the distance of run {run_id} was corrected as a whole: undo edit {found[-1].id} first, then "
            "correct what is left"
        )


def lap(library: History, run_id: int, begin: float, end: float) -> int:
    """Add a lap by hand, between two elapsed times [s]."""
    low, high = _span(library, run_id, begin, end)
    return entries.write(library, "lap", run_id, {"start": low, "end": high})


def hide(library: History, run_id: int) -> int:
    """Delete a run so that it can be brought back: it is hidden everywhere, its files stay."""
    entries.library_row(library, run_id)
    return entries.write(library, "delete", run_id, {})


def enter_run(
    library: History,
    start: dt.datetime,
    duration: float,
    metres: float | None = None,
    climb: float | None = None,
    heart_rate: float | None = None,
    name: str | None = None,
) -> int:
    """Enter a run that was not recorded, or a past race result; returns its number.

    Parameters
    ----------
    start : datetime
        Local where it has no zone.
    duration, metres, climb, heart_rate
        [s], [m], [m], [bpm].
    name : str, optional
        A mark; races and tests count as evidence of capacity.

    Raises
    ------
    UsageError
        What cannot have been run, or is recorded already.
    """
    if start.year < 1950:
        raise UsageError(f"a run of the year {start.year} cannot be")
    if climb is not None and not 0 <= climb <= 30_000:
        raise UsageError(f"a climb of {climb:g} m cannot be")
    begin = start if start.tzinfo else start.replace(tzinfo=library.zone) if library.zone else start.astimezone()
    if begin.timestamp() > time.time() + 86400:
        raise UsageError(f"{begin:%Y-%m-%d} lies in the future")
    if not 10 <= duration <= 7 * 86400:
        raise UsageError("a run lasts between ten seconds and seven days")
    if metres is not None and (metres < 50 or metres / duration > 10.5):
        raise UsageError(f"{format_distance(metres)} in {format_duration(duration)} cannot be run")
    if metres is not None and beyond_records(metres, duration):
        raise UsageError(
            f"nobody has run {format_distance(metres)} in {format_duration(duration)}: look at distance and time again"
        )
    if heart_rate is not None and not 40 <= heart_rate <= 230:
        raise UsageError(f"a mean heart rate of {heart_rate:g} bpm cannot be")
    if name is not None and name not in MARKS:
        raise UsageError(f"'{name}' is not a mark: use {', '.join(MARKS)}")
    for row in library.runs():
        same = metres and row.distance_m and abs(row.distance_m / metres - 1) < 0.05
        alike = max(abs(row.duration_s / duration - 1), abs(row.elapsed_s / duration - 1)) < 0.05 and not metres
        if row.local.date() == begin.date() and (same or alike):
            raise UsageError(f"run {row.id} of that day is as long: mark that one instead")
    offset = begin.utcoffset()
    payload = {
        "start": begin.timestamp(),
        "utc_offset_minutes": int(offset.total_seconds() // 60) if offset else 0,
        "duration_s": duration,
        "distance_m": metres,
        "climb_m": climb,
        "heart_rate_bpm": heart_rate,
    }
    with library.writing() as connection:
        run_id = int(connection.execute(insert(schema.run)).lastrowid or 0)
        entries.keep(connection, "run", run_id, payload)
        if name:
            entries.keep(connection, "mark", run_id, {"name": name})
    return run_id
