"""What differed between two groups of runs beside the runner: warmth, ground, shoes, sleep, illness, hour, device."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import response, settled
from footwork.analysis.summary import AT
from footwork.history.log import entries
from footwork.history.scales.scale_rows import StreamRows

if TYPE_CHECKING:
    from footwork.history.book import History

Pairs = list[tuple[StreamRows, response.RunRows]]  # a run and its minutes


ALIKE_C = 3.0  # degrees over 12 °C by which runs may differ and are about as warm; our convention
ALIKE_RUNS, ALIKE_DAYS = 12, 42  # of such runs that are worth a look of their own


def alike_since(runs: Sequence[response.RunRows]) -> dt.date | None:
    """The first day from which on it was about as warm in all runs, whatever they tell of the runner: found by warmth
    alone, so that choosing it favours no verdict. None where all are alike, too few are, or their warmth is not known.
    """
    rows = sorted(runs, key=lambda r: r.day)
    warmth = [settled.warmth_of(r) for r in rows]
    heats = np.array([degrees for degrees, _ in warmth])
    if not len(rows) or any(unknown == settled.NO_PLACE for _, unknown in warmth):
        return None
    top, bottom = (of.accumulate(heats[::-1])[::-1] for of in (np.maximum, np.minimum))
    first = int(np.argmax(top - bottom <= ALIKE_C))
    days = float(rows[-1].day - rows[first].day)
    if first == 0 or len(rows) - first < ALIKE_RUNS or days < ALIKE_DAYS:
        return None
    return dt.date.fromordinal(int(rows[first].day))


def conditions(library: History, first: Pairs, second: Pairs) -> list[str]:
    """What else was not the same, in sentences."""
    out = []

    def means(of: Any) -> tuple[float | None, float | None]:
        sides = []
        for side in (first, second):
            known = [v for v in (of(r, t) for r, t in side) if v is not None and np.isfinite(v)]
            sides.append(float(np.mean(known)) if known else None)
        return sides[0], sides[1]

    for name, of, least, unit, digits in (
        ("temperature", lambda r, t: r.sky.temperature, 3.0, "°C", 0),
        ("wind", lambda r, t: r.sky.wind, 2.0, "m/s", 1),
        ("sleep", lambda r, t: t.sleep, 0.7, "h", 1),
        (
            "climbing",
            lambda r, t: (
                1000 * float(np.nanmean(np.maximum(r.blocks[:, AT["grade"]], 0)))
                if np.isfinite(r.blocks[:, AT["grade"]]).any()
                else None
            ),
            8.0,
            "m a kilometre",
            0,
        ),
        ("duration", lambda r, t: r.duration_s / 60, 15.0, "min", 0),
        ("hour of the day", lambda r, t: _hour(library, r.run), 3.0, "h", 0),
    ):
        a, b = means(of)
        if a is not None and b is not None and abs(b - a) >= least:
            out.append(f"{name}: {a:.{digits}f}, then {b:.{digits}f} {unit}")
        elif name == "temperature" and (a is None or b is None):
            out.append("temperature: not known on one side or both, so heat can be the cause")
    ill = [sum(t.ill for _, t in side) for side in (first, second)]
    if any(ill):
        out.append(f"illness in the diary: {ill[0]} runs, then {ill[1]}")
    told = entries.told(library)
    for name in ("shoe", "surface"):
        sides = [
            {getattr(told[r.run], name) for r, _ in side if r.run in told and getattr(told[r.run], name)}
            for side in (first, second)
        ]
        if all(sides) and sides[0] != sides[1]:
            out.append(f"{name}: {', '.join(sorted(sides[0]))}, then {', '.join(sorted(sides[1]))}")
    return out


def _hour(library: History, run: int) -> float:
    local = entries.library_row(library, run).local
    return float(local.hour + local.minute / 60)
