"""The heart's response through a season, fitted to a runner's minutes once for all questions."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from footwork.analysis import response
from footwork.analysis.summary import AT
from footwork.errors import NotEnoughData, UsageError
from footwork.history.log import diary
from footwork.history.scales import conversions
from footwork.history.scales.scale_rows import StreamRows
from footwork.questions import capacity

if TYPE_CHECKING:
    from footwork.history.book import History

ILL_DAYS = 3  # days after an illness is noted that its run is taken as ill; our convention

DAYS = 182  # a season, unless asked otherwise


@dataclass(frozen=True)
class Season:
    """What a question is asked of: the fitted model, stored rows of the same runs, the scale, its window, and the share
    of the time in which heart rate was recorded there that it was sound [1]."""

    model: response.Response
    prepared: response.Prepared
    rows: list[StreamRows]
    scale: str
    scale_key: str
    border: float
    since: dt.date
    until: dt.date
    sound: float


def season(
    library: History,
    since: dt.date | None = None,
    until: dt.date | None = None,
    date: dt.date | None = None,
    scale: str | None = None,
) -> Season:
    """The model of the runs of a window on one scale.

    Raises
    ------
    UsageError
        A window that ends before it begins.
    NotEnoughData
        Too few runs with heart rate and power.
    """
    found: Season = library.cached(
        ("season", since, until, date, scale), lambda: _season(library, since, until, date, scale)
    )
    return found


def _season(
    library: History, since: dt.date | None, until: dt.date | None, date: dt.date | None, scale: str | None
) -> Season:
    if since and until and since >= until:
        raise UsageError(f"a window ends after it begins: {since} to {until} does not")
    held = capacity.estimate_capacity(library, date=until or date, scale=scale)
    if not held.scale_key or held.date is None:
        raise NotEnoughData(
            f"no run has power{f' by {until or date}' if until or date else ' yet'}: progress is told by "
            "heart rate at power"
        )
    last = held.date
    first = since or last - dt.timedelta(days=DAYS)
    if first >= last:
        raise UsageError(f"a window ends after it begins: {first} to {last} does not")
    rows = [
        r
        for r in conversions.rows_on_scale(library, held.scale_key, last)
        if first <= r.date and not r.indoor and len(r.blocks)
    ]
    if not rows:
        raise NotEnoughData(f"there is no outdoor run with power on {held.scale} from {first} to {last}")
    accepted = held.accepted["critical_power_w"] if held.accepted else held.critical_power.value
    border = float(accepted) if accepted else guessed_border(rows)
    told = model_rows(library, rows)
    prepared = response.prepare(told, border)
    kept = {id(r) for r in prepared.rows}
    used = [row for row, t in zip(rows, told, strict=True) if id(t) in kept]
    model = response.fit(prepared)
    ends = used[0].date, used[-1].date
    inside = {r.run for r in rows if ends[0] <= r.date <= ends[1]}
    return Season(model, prepared, used, held.scale, held.scale_key, border, *ends, _sound(library, inside))


def _sound(library: History, runs: set[int]) -> float:
    told = [(r.heart_rate_sound_s, r.duration_s) for r in library.runs() if r.id in runs]
    recorded = [(sound, whole) for sound, whole in told if sound is not None]
    return sum(s for s, _ in recorded) / sum(w for _, w in recorded)


def guessed_border(rows: list[StreamRows]) -> float:
    """About critical power where it is not known: a little above what 95 of 100 minutes stay under.

    [W].
    """
    every = np.concatenate([r.blocks[:, AT["power"]] for r in rows]) if rows else np.zeros(0)
    every = every[np.isfinite(every)]
    return float(1.05 * np.percentile(every, 95)) if len(every) else 1.0


def model_rows(library: History, rows: list[StreamRows]) -> list[response.RunRows]:
    """Stored rows of runs as the model takes them, with what the diary tells of illness and sleep."""
    ill: set[dt.date] = set()
    sleep: dict[dt.date, float] = {}
    for entry in diary.days(library):  # the same numbers for whoever looks
        day = dt.date.fromisoformat(str(entry["date"]))
        if "illness" in entry:
            ill |= {day + dt.timedelta(days=k) for k in range(ILL_DAYS + 1)}
        if "sleep" in entry:
            sleep[day] = float(entry["sleep"])
    places = [r.latitude for r in rows if r.latitude is not None]
    usual_place = float(np.median(places)) if places else None  # of runs without positions
    return [
        response.RunRows(
            r.date.toordinal(),
            r.blocks,
            r.sky,
            r.date in ill,
            sleep.get(r.date),
            r.converted and max(r.scale_error, r.converted),
            r.latitude if r.latitude is not None else usual_place,
        )
        for r in rows
    ]
