"""The part of a recording that was the race."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from footwork.analysis import efforts
from footwork.errors import NotEnoughData
from footwork.history.catalogue import RunRow
from footwork.history.recordings import run_signals
from footwork.quantities import Floats
from footwork.questions.race import course_laid
from footwork.signals import Course as Track

if TYPE_CHECKING:
    from footwork.history.book import History

LEAST_PLACED = 0.9  # with fewer positions the track is not the course


@dataclass(frozen=True)
class Raced:
    """The part of a run that was the race: distance [m] from its start and power [W] at 1 Hz, and its track where there
    is one."""

    metres: Floats
    power: Floats
    track: Track | None

    @property
    def seconds(self) -> float:
        """How long the race lasted [s]."""
        return float(len(self.metres) - 1)


def race_in(library: History, row: RunRow, distance: float | None = None) -> Raced:
    """The race in a run: without its warm-up and cool-down, or the fastest stretch of an official distance [m]."""
    found = run_signals.signals(library, row.id)
    metres, power = found.get("distance"), found.get(row.column)
    known = np.flatnonzero(np.isfinite(metres))
    if len(known) < 60:
        raise NotEnoughData(f"run {row.id} has no distance along its seconds to compare with a plan")
    way = np.maximum.accumulate(np.interp(np.arange(len(metres)), known, metres[known]))
    speed = np.diff(way, prepend=way[0])
    begin, end = efforts.hard_part(power if np.isfinite(power).mean() > 0.9 else speed)
    moving = np.flatnonzero(speed[begin:end] > 0) + begin
    if not len(moving):
        raise NotEnoughData(f"run {row.id} does not move along its seconds")
    first, last = max(int(moving[0]) - 1, 0), int(moving[-1])
    if distance is not None and way[last] - way[first] > 1.03 * distance:
        ends = np.searchsorted(way, way + distance)
        inside = np.flatnonzero(ends < len(way))
        if len(inside):
            first = int(inside[np.argmin((ends - np.arange(len(way)))[inside])])
            last = int(ends[first])
    part = slice(first, last + 1)
    columns = {name: found.get(name)[part] for name in ("latitude", "longitude", "altitude", "distance")}
    placed = np.isfinite(columns["latitude"]).mean() > LEAST_PLACED
    return Raced(way[part] - way[first], power[part], course_laid.track_of(columns) if placed else None)
