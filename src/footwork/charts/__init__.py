"""One declarative chart: panes above one axis, made of lines, bands and points. Renderers turn it into pictures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from footwork.quantities import Floats

MOST_POINTS = 2000


@dataclass(frozen=True)
class Mark:
    """A line, a band between ``y`` and ``y2``, or points; ``label`` is written beside it; ``accent`` marks the
    estimate."""

    kind: Literal["line", "band", "points"]
    x: Floats
    y: Floats
    y2: Floats | None = None
    label: str = ""
    accent: bool = False
    soft: bool = False
    names: tuple[str, ...] = ()  # of points, one each; those without room are left out


@dataclass(frozen=True)
class Pane:
    """Marks over one vertical axis; ``form`` says how its numbers read: plain, or pace (speed in m/s, shown as
    time)."""

    title: str
    marks: list[Mark]
    form: Literal["plain", "pace", "pace-mile"] = "plain"
    height: int = 130


@dataclass(frozen=True)
class Span:
    """A stretch of the horizontal axis that is shaded in all panes and named above the first."""

    start: float
    end: float
    label: str = ""


@dataclass(frozen=True)
class Chart:
    """Panes that share one horizontal axis: seconds, metres, seconds on a logarithmic scale, or
    days (a date's ordinal), watts, speed shown as pace, or a plain number. ``spans`` are shaded in all panes."""

    panes: list[Pane]
    axis: Literal["time", "distance", "log-time", "date", "watts", "pace", "pace-mile", "count"] = "time"
    alt: str = ""
    imperial: bool = False
    spans: tuple[Span, ...] = ()


def thin(x: Floats, y: Floats, most: int = MOST_POINTS) -> tuple[Floats, Floats]:
    """At most ``most`` points that keep the shape of a long series; gaps (NaN) stay gaps."""
    if len(x) <= most:
        return x, y
    from tsdownsample import MinMaxLTTBDownsampler

    known = np.isfinite(y)
    filled = np.interp(x, x[known], y[known]) if known.any() else np.zeros(len(y))
    sampler = MinMaxLTTBDownsampler()  # type: ignore[no-untyped-call]
    keep = sampler.downsample(x.astype(float), filled, n_out=most)
    # The first missing second of each gap is kept, so that the line breaks there.
    breaks = np.flatnonzero(np.diff(known.astype(np.int8)) == -1) + 1
    keep = np.union1d(keep.astype(np.int64), breaks)
    return x[keep], y[keep]
