"""Six weeks day by day as they were run and as they are asked, and what to do next."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from footwork.errors import FootworkError
from footwork.history.catalogue import RunRow
from footwork.physiology.domains import NAMES
from footwork.planning.families import LONG_MIN
from footwork.questions import load, runs, sessions, usual
from footwork.results.loads import RunLoad

if TYPE_CHECKING:
    from footwork.history.book import History

WEEKS = 6
HARD_S = 480  # at or above critical power: the next day is easy; our convention
NEXT = 3


def weeks_until(library: History, rows: list[RunRow], planned: list[dict[str, Any]], day: dt.date) -> dict[str, Any]:
    """Six weeks that end with the week of ``day``, or of the newest run where that is over five weeks ago: ``weeks``
    with their days, runs and sessions, and ``usual_week``."""
    newest = rows[0].local.date() if rows else day
    last = _monday(day if (day - newest).days <= 7 * (WEEKS - 1) else newest)
    first = last - dt.timedelta(weeks=WEEKS - 1)
    near = [r for r in rows if r.local.date() >= first]
    titles = runs.run_titles(library, near)
    of_run = {r.id: load.load_of_run(library, r) for r in near}
    asked = [s for s in planned if str(s["date"]) >= first.isoformat()]
    weeks = []
    for monday in (first + dt.timedelta(weeks=k) for k in range(WEEKS)):
        days = [_day(library, monday + dt.timedelta(days=k), near, asked, titles, of_run) for k in range(7)]
        weeks.append(
            {
                "monday": monday.isoformat(),
                "days": days,
                **_sums(library, [r for r in near if _monday(r.local.date()) == monday]),
            }
        )
    # A week that is long over is complete, and tells what is usual as those before it do.
    before = last if last == _monday(day) else last + dt.timedelta(weeks=1)
    return {"weeks": weeks, "usual_week": load.usual_week(library, before)}


def _monday(day: dt.date) -> dt.date:
    return day - dt.timedelta(days=day.weekday())


def _day(
    library: History,
    day: dt.date,
    near: list[RunRow],
    asked: list[dict[str, Any]],
    titles: dict[int, str | None],
    of_run: dict[int, RunLoad | None],
) -> dict[str, Any]:
    run = [
        {
            "id": r.id,
            "title": titles[r.id] or "",
            "duration_s": r.duration_s,
            "seconds_in_domains": found["seconds_in_domains"] if (found := of_run[r.id]) else None,
            "marks": list(r.marks),
        }
        for r in reversed(near)
        if r.local.date() == day
    ]
    left = [s for s in asked if str(s["date"]) == day.isoformat() and not run]
    told = [
        {"id": s["id"], "name": s["name"], "text": s["text"], "duration_s": _lasts(library, s["text"])} for s in left
    ]
    return {"date": day.isoformat(), "runs": run, "asked": told}


def _sums(library: History, rows: list[RunRow]) -> dict[str, Any]:
    found = load.load_of_runs(library, rows)
    return {
        "runs": len(rows),
        "duration_s": sum(r.duration_s for r in rows),
        "distance_m": sum(r.distance_m or 0.0 for r in rows),
        "load": found["load"],
    }


def _lasts(library: History, text: str) -> float | None:
    """How long a session takes [s]; None where that needs a capacity that is not known."""
    try:
        return float(sessions.session_asked(library, text, None, None)["duration_s"])
    except FootworkError:
        return None


def next_sessions(library: History, planned: list[dict[str, Any]], rows: list[RunRow], day: dt.date) -> list[Any]:
    """Kept sessions from today on that were not run yet, the nearest first, with what each asks."""
    run_on = {r.local.date().isoformat() for r in rows}
    ahead = sorted(
        (s for s in planned if s["date"] >= day.isoformat() and s["date"] not in run_on), key=lambda s: s["date"]
    )
    return [{**{k: s[k] for k in ("id", "date", "name", "text")}, **_asks(library, s["text"])} for s in ahead[:NEXT]]


def _asks(library: History, text: str) -> dict[str, Any]:
    try:
        found = sessions.session_asked(library, text, None, None)
    except FootworkError:
        return {"duration_s": None, "power_w": None, "speed_mps": None, "run_dry_probability": None, "hard": True}
    hardest = found["steps"][found["hardest"]]
    return {
        "duration_s": found["duration_s"],
        "hard": found["duration_s"] > found["seconds_in_domains"]["moderate"] or found["duration_s"] >= 60 * LONG_MIN,
        "power_w": hardest["power_w"],
        "speed_mps": hardest["speed_mps"],
        "run_dry_probability": found["run_dry_probability"],
    }


def run_verdicts(library: History, row: RunRow) -> tuple[str, str]:
    """A run against what was usual before it, and against the session kept for its day; empty where nothing is to be
    said."""
    against, asked = "", ""
    planned = sessions.listed_sessions(library)
    if row.scale_key is not None:
        try:
            against = usual.run_against_usual(library, row.id)["sentence"]
        except FootworkError:
            against = ""
    session = next((s for s in planned if str(s["date"]) == row.local.date().isoformat()), None)
    if session is not None:
        try:
            asked = sessions.match_session(library, row.id, session["text"])["verdict"]
        except FootworkError:
            asked = ""
    return against, asked


def was_hard(library: History, rows: list[RunRow], day: dt.date) -> str | None:
    """The day, today or the day before, of a hard run; None where there was none."""
    for row in rows:
        gone = (day - row.local.date()).days
        if gone > 1:
            return None
        found = load.load_of_run(library, row)
        severe = sum(found["seconds_in_domains"][n] for n in NAMES[2:]) if found else 0.0
        if 0 <= gone <= 1 and (severe >= HARD_S or {"race", "test"} & set(row.marks)):
            return row.local.date().isoformat()
    return None
