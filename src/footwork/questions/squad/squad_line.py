"""One runner's line of a squad: what a coach asks of each before anything else."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from footwork.errors import FootworkError
from footwork.history.log import comments
from footwork.planning.families import HARD_PURPOSES
from footwork.questions import capacity, load, progress, runs, season, sessions, signs, usual
from footwork.questions.today import capacity_of, what_waits
from footwork.results.squad import SquadDay, SquadLine, SquadNext, SquadRace, SquadRun, SquadSaid, SquadWaits
from footwork.wording.cautions import held_back, physician_words
from footwork.wording.squad_words import against_usual_words, first_words, sessions_words

if TYPE_CHECKING:
    from footwork.history.book import History
    from footwork.history.catalogue import RunRow
    from footwork.questions.capacity import Capacity
    from footwork.results.planned_season import WeekAnswer

SOON_DAYS = 10  # before a race in which a coach looks; our convention
MISSED = 2  # sessions of a week; our convention
OLD_DAYS = 84  # of the last maximal effort; our convention
ELSEWHERE = ("season", "devices", "diary", "")  # pages of what stands in the line by itself
FRESH_DAYS, LATELY_DAYS = 7, 1  # for which an unusual run or a comment, and a run, is news; our convention
# How pressing each reason is; our convention.
URGENCY = {"held": 6, "check": 5, "away": 4, "race": 4, "missed": 3, "changes": 3, "device": 3, "back": 3}
URGENCY |= {"above": 2, "unusual": 2, "waits": 1}


def line_of(library: History, athlete: str, today: dt.date) -> SquadLine:
    """A runner's line on a day.

    Raises FootworkError where not even the runs can be read.
    """
    rows = [r for r in library.runs() if r.local.date() <= today]
    made, critical_power = capacity_of(library, today)
    due = what_waits(library, rows, made, today) if rows else []
    days_since = (today - rows[0].local.date()).days if rows else None
    usual_week = load.usual_week(library, today - dt.timedelta(days=today.weekday()))
    week = season.week_of(library, today)
    watched = signs.signs_of(library, today)
    health = held_back(library.health(today)) or physician_words(library.context(), today)
    seven = load.last_days(library, today, 7)
    reasons = {
        "held": bool(health),
        "check": bool(watched.instead),
        "away": season.days_without(library, today) > 0,
        "race": (race := _race(library, today)) is not None and race["days"] <= SOON_DAYS,
        "missed": sum(r.state in ("missed", "otherwise") for r in week.rows) >= MISSED,
        "changes": any(d["page"] == "season" for d in due),
        "device": any(d["page"] == "devices" for d in due),
        "back": bool(back := _back_after(library, today)),
        "above": against_usual_words(seven, usual_week).startswith("above"),
        "unusual": bool(unusual := _unusual(library, rows, today)),
        "waits": any(d["page"] not in ELSEWHERE for d in due),
    }
    pressing = sorted((k for k, holds in reasons.items() if holds), key=lambda k: -URGENCY[k])
    told = library.sharing()
    waits = [SquadWaits(what=d["what"], why=d["why"], page=d["page"]) for d in due if d["page"] not in ELSEWHERE[1:]]
    return SquadLine(
        athlete=athlete,
        folder=str(library.folder),
        groups=[],
        asked_on=today.isoformat(),
        made_at=dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        problem="",
        consent=told.consent.isoformat() if told.consent else None,
        shared=told.diary,
        days_since=days_since,
        asked=week.asked or None,
        run=week.run,
        sessions=sessions_words(week.rows),
        seven_days=seven,
        usual=usual_week,
        against_usual=against_usual_words(seven, usual_week),
        critical_power=critical_power,
        scale=made.scale if made is not None else "",
        evidence=made.evidence["sentence"] if made is not None else "",
        evidence_days=_evidence_days(made, rows, today),
        progress=_progress(library, today),
        changed=[d["why"] for d in due if d["page"] == "devices"] + unusual,
        signs=watched.sentence if watched.instead or watched.long_runs else "",
        health=health,
        next=_next(library, week, today),
        race=race,
        waits=waits,
        days=[SquadDay(date=r.run_date or r.date, state=r.state, name=r.name, run=r.run) for r in week.rows],
        lately=_lately(library, rows, today),
        said=_said(library, today),
        first=first_words(pressing, days_since, race, week, back, [w for w in waits if w["page"] not in ELSEWHERE]),
        urgency=sum(URGENCY[k] for k in pressing[:1]) * 10 + len(pressing),
    )


def _lately(library: History, rows: list[RunRow], today: dt.date) -> list[SquadRun]:
    new = [r for r in rows if (today - r.local.date()).days <= LATELY_DAYS]
    titles = runs.run_titles(library, new)
    return [
        SquadRun(
            run=r.id,
            date=r.date[:10],
            title=titles.get(r.id) or "Run",
            duration_s=r.duration_s,
            power_w=r.power_w if r.measured else None,
        )
        for r in new
    ]


def _said(library: History, today: dt.date) -> list[SquadSaid]:
    since = (today - dt.timedelta(days=FRESH_DAYS)).isoformat()
    # As of today everything is said by now, also by a clock that is ahead.
    until = today.isoformat() if today < dt.date.today() else "9999"
    return [
        SquadSaid(about=c["about"], of=c["of"], text=c["text"], at=c["at"])
        for c in comments.comments(library)
        if c["by"] != comments.COACH and since <= c["at"][:10] <= until
    ]


def _back_after(library: History, today: dt.date) -> int:
    """Days without running from which a runner is coming back [d]; 0 for nobody else."""
    open_ = [o for o in capacity.lay_offs(library, today) if o.until is not None and o.back is None and o.again is None]
    return max((o.days_off(today.toordinal()) for o in open_), default=0)


def _evidence_days(made: Capacity | None, rows: list[RunRow], today: dt.date) -> int | None:
    """How old the last maximal effort is on which critical power rests [d]; None where it rests on none."""
    if made is None or made.evidence["kind"] != "tested":
        return None
    days = [
        r.local.date()
        for r in rows
        if {"race", "test", "maximal"} & set(r.marks) and (made.scale in (r.power_scale, ""))
    ]
    return (today - max(days)).days if days else None


def _progress(library: History, today: dt.date) -> str:
    try:
        return str(progress.progress_of_season(library, None, None, today).sentence)
    except FootworkError as error:
        return f"Not known: {error}."


def _unusual(library: History, rows: list[RunRow], today: dt.date) -> list[str]:
    """The newest run, where its watts lay outside what is usual at its pace."""
    if not rows or (today - rows[0].local.date()).days > FRESH_DAYS:
        return []
    try:
        found = usual.run_against_usual(library, rows[0].id)
    except FootworkError:
        return []
    return [str(found["sentence"])] if (found["power_unusual"] or found["heart_rate_unusual"]) else []


def _next(library: History, week: WeekAnswer, today: dt.date) -> SquadNext | None:
    """The next session that is hard, long or a test; else the next one."""
    ran = {r.session for r in week.rows if r.run is not None}
    ahead = sorted(
        (s for s in sessions.listed_sessions(library) if str(s["date"]) >= today.isoformat() and s["id"] not in ran),
        key=lambda s: str(s["date"]),
    )
    key = next((s for s in ahead if _is_key(s)), ahead[0] if ahead else None)
    return None if key is None else SquadNext(date=str(key["date"]), name=key["name"] or key["text"], text=key["text"])


def _is_key(row: dict[str, Any]) -> bool:
    return (row.get("of_plan") or {}).get("purpose", "") in (*HARD_PURPOSES, "long")


def _race(library: History, today: dt.date) -> SquadRace | None:
    """The next race of the accepted season."""
    races = [r for r in season.accepted_races(library) if r["date"] >= today.isoformat()]
    if not races:
        return None
    soon = min(races, key=lambda r: str(r["date"]))
    days = (dt.date.fromisoformat(soon["date"]) - today).days
    return SquadRace(date=soon["date"], name=soon["name"], days=days)
