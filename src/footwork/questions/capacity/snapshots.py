"""The filter's state at the ends of past months, kept as files, so that a new run goes on from there and not from the
first.

A snapshot counts only for exactly the evidence it was made from; anything else means following the whole history
again."""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import json
import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import efforts
from footwork.physiology import critical, tracking
from footwork.store import blobs

if TYPE_CHECKING:
    from footwork.history.book import History

KEPT = 6  # months; evidence of the last six weeks still changes, older only by an edit


def follow(library: History, key: str, dated: Sequence[tracking.Dated], keep: bool) -> tracking.Track:
    """The filter over all evidence of a scale, from the newest snapshot that fits; with ``keep`` new ones are written.

    The numbers are those of following the whole history, to the last bit.
    """
    track, done = tracking.Track.unknown(dated), 0
    grid = track.grid
    months = [dt.date.fromordinal(d.day).strftime("%Y-%m") for d in dated]
    ends = [i for i in range(1, len(dated)) if months[i] != months[i - 1]]  # evidence before each new month
    folder = library.folder / "derived" / "snapshots"
    name = hashlib.sha256(key.encode()).hexdigest()[:16]
    for end in reversed(ends[-KEPT:]):
        found = _read(folder / f"{name}-{months[end - 1]}.npz", _digest(dated[:end], grid), grid)
        if found is not None:
            track, done = found, end
            break
    for end in [*(e for e in ends if e > done), len(dated)]:
        track = tracking.follow(dated[done:end], track)
        done = end
        if keep and end in ends[-KEPT:]:
            _write(folder / f"{name}-{months[end - 1]}.npz", _digest(dated[:end], grid), track)
    if keep:
        _prune(folder, name, {months[end - 1] for end in ends[-KEPT:]})
    return track


def _digest(dated: Sequence[tracking.Dated], grid: critical.Grid) -> str:
    versions = (tracking.METHOD_VERSION, efforts.METHOD_VERSION, critical.METHOD_VERSION)
    return hashlib.sha256(repr((versions, float(grid.critical_power[0]), grid.shape, dated)).encode()).hexdigest()


def _write(path: Path, digest: str, track: tracking.Track) -> None:
    told = json.dumps(
        {
            "digest": digest,
            "day": track.day,
            "states": [asdict(s) for s in track.states],
            "steps": [asdict(s) for s in track.steps],
            "habit": asdict(track.habit) if track.habit else None,
        }
    )
    with contextlib.suppress(OSError):  # a full disk costs speed, not the answer
        path.parent.mkdir(exist_ok=True)
        temporary = path.with_suffix(f".{os.getpid()}.part")
        with temporary.open("wb") as stream:
            np.savez(stream, log_weight=track.log_weight, told=np.frombuffer(told.encode(), dtype=np.uint8))
        blobs.place(temporary, path)


def _read(path: Path, digest: str, grid: critical.Grid) -> tracking.Track | None:
    try:
        with np.load(path, allow_pickle=False) as found:
            told, log_weight = json.loads(found["told"].tobytes()), found["log_weight"]
    except Exception:  # missing or damaged: the evidence is followed anew
        return None
    if told["digest"] != digest or log_weight.shape != grid.prior.shape:
        return None
    states = [
        tracking.State(s["day"], tuple(s["critical_power"]), tuple(s["w_prime"]), tuple(s["tail"]), s["efforts"])
        for s in told["states"]
    ]
    steps = [tracking.Step(s["day"], _evidence(s["evidence"]), s["before"], s["after"]) for s in told["steps"]]
    habit = tracking.Dated(told["habit"]["day"], _evidence(told["habit"]["evidence"])) if told["habit"] else None
    return tracking.Track(grid, log_weight, told["day"], states, steps, habit)


def _evidence(e: dict[str, Any]) -> critical.Evidence:
    return critical.Evidence(**{**e, "durations": tuple(e["durations"]), "powers": tuple(e["powers"])})


def _prune(folder: Path, name: str, months: set[str]) -> None:
    with contextlib.suppress(OSError):
        for path in folder.glob(f"{name}-*.npz"):
            if path.stem.removeprefix(f"{name}-") not in months:
                path.unlink(missing_ok=True)
