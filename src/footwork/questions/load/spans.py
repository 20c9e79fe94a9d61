"""Load by day, week and month: running and all sports apart, with how each number came about, and the usual week."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from footwork.errors import UsageError
from footwork.history.log import diary
from footwork.quantities import Estimate
from footwork.questions.load.activities import Loads, loads_of
from footwork.results.loads import LoadBySpan, LoadSpan, UsualWeek

if TYPE_CHECKING:
    from footwork.history.book import History

SPANS = ("day", "week", "month")
SHOWN = {"day": 28, "week": 16, "month": 12}  # by default
USUAL_WEEKS, LEAST_WEEKS = 8, 3
LITTLE = 0.5  # of the median: such a week is none of the usual ones; our convention
SICK_DAYS = 3  # ill or injured in a week: it is none of the usual ones; our convention


def load_by(library: History, by: str, since: dt.date | None, until: dt.date | None) -> LoadBySpan:
    """Load of each day, week or month of a span of dates; by default until today, of as many as a page holds.

    Raises
    ------
    UsageError
        Another span, or one that ends before it starts.
    """
    if by not in SPANS:
        raise UsageError(f"load is told by {', '.join(SPANS[:-1])} or {SPANS[-1]}, not by '{by}'")
    loads = loads_of(library)
    newest = dt.date.fromisoformat(loads.found[-1].date) if loads.found else library.current_day()
    last = until or max(newest, library.current_day())
    first = since or _back(_begin(last, by), by, SHOWN[by] - 1)
    if first > last:
        raise UsageError(f"the span ends before it starts: {first} to {last}")
    day_of = [dt.date.fromisoformat(a.date) for a in loads.found]
    spans = []
    start = _begin(first, by)
    while start <= last:
        end = _next(start, by)
        spans.append(_span(loads, [k for k, d in enumerate(day_of) if start <= d < end], start, end, last))
        start = end
    # After months without running the weeks before them are the usual ones.
    ran = library.runs()[0].local.date() if library.runs() else newest
    usual = usual_week(library, min(_begin(last, "week"), _next(_begin(ran, "week"), "week")))
    return LoadBySpan(
        by=by,
        spans=spans,
        usual_week=usual,
        activities=[a for a, d in zip(loads.found, day_of, strict=True) if _begin(first, by) <= d <= last][::-1],
        calibrations={
            way: {
                "days": of.pairs,
                "factor": float(np.exp(of.level)),
                "low": float(np.exp(of.level - 1.96 * of.covariance[0, 0] ** 0.5)),
                "high": float(np.exp(of.level + 1.96 * of.covariance[0, 0] ** 0.5)),
            }
            for way, of in loads.calibrations.items()
            if any(way in a.ways for a in loads.found)
        },
        sentence=_sentence(spans[-1], usual, by) if spans else "",
    )


def last_days(library: History, day: dt.date, count: int) -> Estimate:
    """Running load of so many days up to a day, or to the one before where nothing was done on it yet [CP-min]."""
    loads = loads_of(library)
    if not any(a.date == day.isoformat() for a in loads.found):
        day -= dt.timedelta(days=1)
    days = {(day - dt.timedelta(days=k)).isoformat() for k in range(count)}
    return loads.summed([k for k, a in enumerate(loads.found) if a.date in days], running=True)


def usual_week(library: History, before: dt.date) -> UsualWeek | None:
    """The median of the last eight complete weeks before a Monday, without weeks ill or injured or with less than half
    of it; None with fewer than three."""
    loads = loads_of(library)
    if not loads.found:
        return None
    day_of = [dt.date.fromisoformat(a.date) for a in loads.found]
    earliest = _begin(day_of[0], "week")
    weeks = []
    for back in range(1, USUAL_WEEKS + 1):
        monday = before - dt.timedelta(weeks=back)
        if monday < earliest:
            break
        days = [monday + dt.timedelta(days=k) for k in range(7)]
        sick = sum((h := diary.health(library, d)) is not None and h.state in ("ill", "injured") for d in days)
        if sick < SICK_DAYS:
            places = [k for k, d in enumerate(day_of) if d in days]
            of_runs, of_all = loads.summed(places, running=True), loads.summed(places)
            if of_runs.value is not None:  # a week of runs without a load tells none
                weeks.append((of_runs.value, of_all.value or 0.0))
    running = [r for r, _ in weeks]
    middle = float(np.median(running)) if running else 0.0
    kept = [w for w in weeks if w[0] >= LITTLE * middle and w[0] > 0]
    if len(kept) < LEAST_WEEKS:
        return None
    low, of, high = (float(v) for v in np.quantile([r for r, _ in kept], [0.25, 0.5, 0.75]))
    return UsualWeek(
        cp_minutes=of, low=low, high=high, all_sport=float(np.median([a for _, a in kept])), weeks=len(kept)
    )


def _begin(day: dt.date, by: str) -> dt.date:
    if by == "week":
        return day - dt.timedelta(days=day.weekday())
    return day.replace(day=1) if by == "month" else day


def _next(start: dt.date, by: str) -> dt.date:
    if by == "month":
        return (start + dt.timedelta(days=32)).replace(day=1)
    return start + dt.timedelta(days=7 if by == "week" else 1)


def _back(start: dt.date, by: str, count: int) -> dt.date:
    for _ in range(count):
        start = _begin(start - dt.timedelta(days=1), by)
    return start


def _span(loads: Loads, places: list[int], start: dt.date, end: dt.date, last: dt.date) -> LoadSpan:
    mine = [loads.found[k] for k in places]
    runs = [a for a in mine if a.sport == "running"]
    told = {a.date for a in mine}
    gone = (min(end, last + dt.timedelta(days=1)) - start).days
    return LoadSpan(
        first=start.isoformat(),
        last=(end - dt.timedelta(days=1)).isoformat(),
        running=loads.summed(places, running=True),
        all_sport=loads.summed(places),
        runs=len(runs),
        activities=len(mine),
        duration_s=sum(a.duration_s for a in runs),
        all_duration_s=sum(a.duration_s for a in mine),
        distance_m=sum(a.distance_m or 0.0 for a in runs),
        climb_m=sum(a.climb_m or 0.0 for a in runs),
        descent_m=sum(a.descent_m or 0.0 for a in runs),
        ways=dict(Counter(a.way for a in mine if a.way)),
        without_load=sum(not a.way for a in mine),
        silent_days=max(gone, 0) - len(told),
    )


def _sentence(span: LoadSpan, usual: UsualWeek | None, by: str) -> str:
    load = span.running
    first = dt.date.fromisoformat(span.first)
    day = f"{first.day} {first:%B}"
    when = {"day": f"On {day}", "week": f"In the week from {day}", "month": f"In {first:%B %Y}"}[by]
    if load.value is None:
        return f"{when} {load.reason}."
    said = f"{when} {load.value:.0f} CP-minutes of running"
    if span.runs:
        said += f", {load.low:.0f} to {load.high:.0f}"
    rough = {way: n for way, n in span.ways.items() if way not in ("running power", "cycling power")}
    if rough:
        said += "; " + ", ".join(f"{n} of {span.activities} by {way}" for way, n in rough.items())
    other = span.all_sport
    if other.value is not None and span.activities > span.runs:
        said += f"; {other.value:.0f} with all sports"
    if by == "week" and usual is not None:
        said += f"; a usual week is {usual.cp_minutes:.0f}"
    return said + "."
