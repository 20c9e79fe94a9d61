"""Efforts of a run: found without laps, corrected by the runner, with what each was like, and W′ along the way."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import cleaning, intervals, repeats
from footwork.errors import NotEnoughData, UsageError
from footwork.history.log import entries
from footwork.history.log.entries import Told
from footwork.history.recordings import run_signals
from footwork.physics.power import slope_factor
from footwork.physiology import reserve
from footwork.quantities import Estimate, Floats, format_duration, parse_duration, plain
from footwork.questions import capacity
from footwork.questions.capacity import DRAWS
from footwork.results.effort import BalanceAlong
from footwork.signals import Bools

if TYPE_CHECKING:
    from footwork.history.book import History

SIGNALS = ("power", "pace", "speed", "heart_rate")


KINDS = ("warm-up", "work", "recovery", "cool-down")


WALKING_MPS = 1.2


# Where so much of a run is so steep, pace tells nothing of the effort; our convention.
STEEP, MOST_STEEP = 0.1, 0.25


LEAST_SOUND = 0.5  # share of a piece in which heart rate must be sound for a mean; our convention


LEAST_KNOWN = 0.3  # share of a run in which a signal must be known; our convention


STOP_S = 10.0  # the same where the way says that the runner stood


PAUSE_S = 30.0  # rows that are missing for longer, without a way run meanwhile, are a pause of the watch


@dataclass(frozen=True)
class Reading:
    """A run's efforts, and those of the division that fits nearly as well: nothing where that is plain."""

    efforts: list[dict[str, Any]]
    otherwise: list[dict[str, Any]]


def efforts_of_run(library: History, run_id: int, signal: str | None = None) -> list[dict[str, Any]]:
    """Efforts of a run in elapsed seconds, as the runner corrected them or as they are found.

    Returns
    -------
    list of dict
        ``start_s``, ``end_s``, ``kind``, ``group`` (or None), ``sure`` (no other division that fits nearly as well
        lacks it), ``standing_s`` and the means ``power`` [W] and ``speed`` [m/s] while moving, ``heart_rate`` [bpm] and
        ``grade``, None where they are not known. The list covers the run without gaps; neighbours share a kind only
        where a run gets harder step by step.

    Raises
    ------
    UsageError
        No such run, or a signal we do not know.
    NotEnoughData
        The run has none of the signals.
    """
    return [dict(e) for e in reading_of_run(library, run_id, signal).efforts]


def reading_of_run(library: History, run_id: int, signal: str | None = None) -> Reading:
    """`efforts_of_run`, and how else the run may be divided."""
    made: Reading = library.cached(("efforts", run_id, signal), lambda: _of_run(library, run_id, signal))
    return made


def _of_run(library: History, run_id: int, signal: str | None) -> Reading:
    row = entries.library_row(library, run_id)
    found = run_signals.signals(library, run_id)
    columns: dict[str, Floats] = {name: found.get(name) for name in ("speed", "distance", "grade")}
    columns["power"] = np.where(found.timer, found.get(row.column), 0.0)
    columns["heart_rate"] = found.sound_heart_rate
    told = np.isfinite(columns["power"]) | np.isfinite(columns["speed"]) | np.isfinite(found.get("heart_rate"))
    paused = _paused(told, columns["distance"] if np.isfinite(columns["distance"]).any() else None) | ~found.timer
    columns["paused"] = paused.astype(float)
    for name in ("power", "speed"):
        if np.isfinite(columns[name]).any():
            columns[name] = np.where(paused, 0.0, columns[name])
    said = entries.told(library).get(run_id, Told()).efforts
    if said and signal is None:
        start, n = float(found["time"][0]), len(found)
        edges = [(max(round(p["start"] - start), 0), min(round(p["end"] - start), n), p["kind"]) for p in said]
        parts = [intervals.Part(a, b, kind) for a, b, kind in edges if b > a]
        parts = repeats.grouped(parts, columns["distance"], columns["power"])
        return Reading(_told(intervals.Division(parts, []), columns, 0.0), [])
    begin = float(found["time"][0])
    return _found(columns, signal, 0.0, [at - begin for at in run_signals.lap_presses(library, row)])


def reading_of_file(path: Path, signal: str | None = None) -> Reading:
    """Efforts in a recording that need not be in a library, as in `efforts_of_run`; ``start_s`` and ``end_s`` are in
    the file's own elapsed time.

    Raises
    ------
    UsageError
        A course, or a signal we do not know.
    NotEnoughData
        The file has none of the signals.
    """
    from footwork.history.recordings.reading import read
    from footwork.signals import Recording

    found = read(path)
    if not isinstance(found, list) or not found:
        raise UsageError(f"{path.name} holds no recording")
    recording: Recording = next((r for r in found if r.is_run), found[0])
    time = recording.columns["time"]
    begin = 0.0 if recording.dated else float(np.nanmin(time))
    cleaned, _ = cleaning.clean(recording)
    columns: dict[str, Floats] = {name: cleaned.get(name) for name in ("speed", "distance", "grade")}
    columns["heart_rate"] = cleaned.sound_heart_rate
    if np.isfinite(columns["heart_rate"]).mean() < LEAST_KNOWN:  # a doubted trace tells efforts better than none
        columns["heart_rate"] = cleaned.get("heart_rate")
    columns["power"] = np.full(len(cleaned), np.nan)
    if cleaned.streams:
        columns["power"] = np.where(cleaned.timer, cleaned.get(cleaned.streams[0].column), 0.0)
    told = np.zeros(len(cleaned), dtype=np.bool_)
    for name in ("power", "speed", "heart_rate"):
        told |= np.isfinite(columns[name])
    if told.mean() <= LEAST_KNOWN and len(time) < LEAST_KNOWN * len(cleaned):
        raise NotEnoughData(f"the rows are too far apart to find efforts: at most {cleaning.LONGEST_GAP_S} seconds")
    placed = {"distance", "latitude"} & set(recording.columns)
    paused = _paused(told, columns["distance"] if placed else None)
    for name in ("power", "speed"):
        if np.isfinite(columns[name]).any():
            columns[name] = np.where(paused, 0.0, columns[name])
    columns["paused"] = (paused | ~cleaned.timer).astype(float)
    laps = [lap.start - float(cleaned["time"][0]) for lap in recording.laps[1:]]
    return _found(columns, signal, begin, laps)


def _paused(told: Bools, way: Floats | None) -> Bools:
    """Seconds in gaps of the rows that are pauses of the watch: long, and without the way [m] of a runner who went
    on."""
    out = np.zeros(len(told), dtype=np.bool_)
    at = np.flatnonzero(told)
    for a, b in pairwise(at.tolist()):
        moved = float(way[b] - way[a]) if way is not None else 0.0
        if b - a > (PAUSE_S if way is None else STOP_S) and not moved > WALKING_MPS * (b - a):
            out[a + 1 : b] = True
    return out


def _found(columns: dict[str, Floats], signal: str | None, begin: float, laps: Sequence[float] = ()) -> Reading:
    if signal is not None and signal not in SIGNALS:
        raise UsageError(f"'{signal}' is not a signal here: use {', '.join(SIGNALS)}")
    wanted = {"pace": "speed", None: None}.get(signal, signal)
    known = [
        n
        for n in ("power", "speed", "heart_rate")
        if n in columns and np.isfinite(columns[n]).mean() > LEAST_KNOWN and np.nanmax(columns[n]) > 0
    ]
    if not known or (wanted and wanted not in known):
        raise NotEnoughData(f"there is no {signal or 'power, speed or heart rate'} to find efforts in")
    name: Any = wanted or known[0]
    values = columns[name]
    flat = columns.get("speed", np.full(len(values), np.nan))
    if "grade" in columns:
        # Uphill a runner is slower for the same effort: pace is judged as on the flat.
        flat = flat * slope_factor(np.clip(np.nan_to_num(columns["grade"]), -0.1, 0.3))
    if name == "speed":
        values = flat
        slopes = np.nan_to_num(columns.get("grade", np.zeros(len(values))))
        steep = np.abs(slopes) > STEEP
        if steep[flat > 0].mean() > MOST_STEEP:
            values = np.where(flat > 0, 1.0, flat)  # on a mountain pace tells no effort: only stops count
    elif name == "power":
        both = np.isfinite(values) & (values > 0) & (flat > WALKING_MPS)
        if both.any():  # where power is missing, speed tells how hard it was
            values = np.where(np.isfinite(values), values, flat * float(np.median(values[both] / flat[both])))
    slope = columns.get("grade") if name != "heart_rate" else None
    made = intervals.divided(values, name, slope, laps)
    first, second = (repeats.grouped(p, columns.get("distance"), values) for p in (made.parts, made.otherwise))
    return Reading(
        _told(intervals.Division(first, second), columns, begin),
        _told(intervals.Division(second, first), columns, begin) if second else [],
    )


def _told(made: intervals.Division, columns: dict[str, Floats], begin: float) -> list[dict[str, Any]]:
    parts = made.parts
    n = parts[-1].end if parts else 0
    unknown = np.full(n, np.nan)
    power, speed = (columns.get(name, unknown) for name in ("power", "speed"))
    # Watts and pace are of the same seconds: those in which the runner moved.
    still = np.nan_to_num(speed, nan=np.inf) < intervals.STANDING["speed"]
    idle = np.nan_to_num(power, nan=np.inf) < intervals.STANDING["power"]
    # Watts of a runner say more than a speed that a belt or a drop-out got wrong.
    still = (still & (idle | ~np.isfinite(power))) if np.isfinite(speed).any() else idle
    still = still | (columns.get("paused", np.zeros(n))[:n] > 0)

    def mean(name: str, p: intervals.Part) -> float | None:
        values = columns.get(name, unknown)[p.start : p.end]
        if name in ("power", "speed"):
            values = values[~still[p.start : p.end]]
        if name == "heart_rate" and np.isfinite(values).mean() < LEAST_SOUND:
            return None
        return float(np.nanmean(values)) if np.isfinite(values).any() else None

    return [
        {
            "start_s": begin + p.start,
            "end_s": begin + p.end,
            "kind": p.kind,
            "group": p.group or None,
            "sure": made.sure(p),
            "standing_s": int(still[p.start : p.end].sum()),
            **{name: mean(name, p) for name in ("power", "heart_rate", "speed", "grade")},
        }
        for p in parts
    ]


def correct_efforts(library: History, run_id: int, text: str) -> int:
    """Keep the runner's own division of a run, as ``0:00 warm-up, 15:00 work, 19:00 recovery``; returns the edit's
    number, by which it can be undone.

    Raises
    ------
    UsageError
        A part without a time or kind, times that do not rise from 0:00, or two neighbours of one kind.
    """
    row = entries.library_row(library, run_id)
    parts = []
    for piece in (p.strip() for p in re.split(r"[,;]", text) if p.strip()):
        clock, _, kind = piece.lower().partition(" ")
        kind = {"warmup": "warm-up", "warm up": "warm-up", "cooldown": "cool-down", "cool down": "cool-down"}.get(
            kind.strip(), kind
        )
        if kind.strip() not in KINDS:
            raise UsageError(
                f"'{piece}' is no part of a run: write a time and one of {', '.join(KINDS)}, as 15:00 work"
            )
        parts.append((0.0 if re.fullmatch(r"0+(:00)*", clock) else parse_duration(clock), kind.strip()))
    if not parts or parts[0][0] != 0 or any(b <= a for (a, _), (b, _) in pairwise(parts)):
        raise UsageError("the parts of a run begin at 0:00 and follow each other")
    if any(a == b != "work" for (_, a), (_, b) in pairwise(parts)):  # work beside work is a step of a harder run
        raise UsageError("two neighbours of one kind are one part, but for work")
    if parts[-1][0] >= row.elapsed_s:
        raise UsageError(f"the run ends at {format_duration(row.elapsed_s)}")
    start = dt.datetime.fromisoformat(row.start).timestamp()
    ends = [*(at for at, _ in parts[1:]), row.elapsed_s + 1]
    payload = [
        {"start": start + at, "end": start + end, "kind": kind} for (at, kind), end in zip(parts, ends, strict=True)
    ]
    return entries.write(library, "efforts", run_id, {"parts": payload})


def balance_along(library: History, run_id: int) -> BalanceAlong:
    """W′ balance along a run by what was known on its day, or else is known by now (``as_of``), as plain JSON:
    ``seconds``, ``low_j``, ``middle_j``, ``high_j`` every five seconds, ``minimum`` as an estimate and
    ``minimum_at_s``.

    Raises
    ------
    NotEnoughData
        No power, or no critical power on its scale.
    """
    row = entries.library_row(library, run_id)
    found = run_signals.signals(library, run_id)
    power = np.where(found.timer, found.get(row.column), 0.0)
    if not np.isfinite(power).any() or row.scale_key is None:
        raise NotEnoughData(f"run {run_id} has no power")
    made = capacity.estimate_capacity(library, (), row.local.date(), row.power_scale)
    if made.posterior is None:  # before the first test: by what is known since
        made = capacity.estimate_capacity(library, (), None, row.power_scale)
    if made.posterior is None:
        raise NotEnoughData(made.critical_power.reason or "critical power is not known on this scale")
    cp, wp, _ = made.posterior.draws(DRAWS)
    low, middle, high = reserve.balance_interval(power, cp, wp)
    at = int(np.argmin(middle))
    least = Estimate(float(middle[at]), float(low[at]), float(high[at]), "J", made.posterior.n, "w-prime-balance")
    out: dict[str, Any] = plain(
        {
            "run": run_id,
            "scale": row.power_scale,
            "as_of": made.date,
            "minimum": least,
            "minimum_at_s": at,
            "w_prime": made.w_prime,
            "critical_power": made.critical_power,
            "seconds": np.arange(len(power))[::5],
            "low_j": low[::5],
            "middle_j": middle[::5],
            "high_j": high[::5],
        }
    )
    return BalanceAlong(**out)
