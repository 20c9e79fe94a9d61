"""A week: what was asked and run, moved, missed and extra, and what comes next."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from footwork.errors import FootworkError
from footwork.history.catalogue import RunRow
from footwork.history.log import parts
from footwork.planning import families
from footwork.planning.families import Offer
from footwork.quantities import Estimate, format_duration
from footwork.questions import load, runs, sessions
from footwork.questions.season.before_plan import HARD_RUN_S
from footwork.results.planned_season import AskedAndRun, WeekAnswer
from footwork.wording.cautions import held_back
from footwork.wording.season_words import week_sentence

if TYPE_CHECKING:
    from footwork.history.book import History

MOVED_DAYS = 2  # a session run so many days before or after counts as moved
SIMILAR = 0.35  # share by which its duration may differ
AS_ASKED = 0.15  # of an easy run's duration; our conventions


def week_of(library: History, date: dt.date | None = None) -> WeekAnswer:
    """The week of a day, as far as it was known by then."""
    today = date or library.current_day()
    monday = today - dt.timedelta(days=today.weekday())
    rows = rows_of_week(library, monday, today)
    days = {(monday + dt.timedelta(days=k)).isoformat() for k in range(7)}
    ran = [r for r in library.runs() if r.local.date().isoformat() in days and r.local.date() <= today]
    spent = load.domains_of_runs(library, ran)
    hard = sum(load.above_moderate(of) for of in spent.values())
    offers = _offers(library, [r.text for r in rows if r.session is not None], today)
    asked = [offers[r.text] for r in rows if r.session is not None and r.text in offers]
    phase, reason = _phase(library, monday)
    loads = load.loads_of(library)
    run = loads.summed(loads.places({r.id for r in ran}), running=True)
    health = library.health(today)
    ahead = [r for r in rows if r.state in ("ahead", "today")]
    return WeekAnswer(
        monday=monday.isoformat(),
        asked_on=today.isoformat(),
        sentence=week_sentence(rows, sum(o.load for o in asked), run, phase, _begins(library, monday)),
        phase=phase,
        reason=reason,
        rows=rows,
        asked=sum(o.load for o in asked),
        run=run,
        hard_asked_s=60.0 * sum(o.hard for o in asked),
        hard_run_s=hard,
        longest_asked_s=60.0 * max((o.minutes for o in asked), default=0.0),
        longest_run_s=max((r.duration_s for r in ran), default=0.0),
        next=[{"date": r.date, "name": r.name, "text": r.text} for r in ahead[:3]],
        health=held_back(health) or "",
    )


def _begins(library: History, monday: dt.date) -> bool:
    """Whether a season begins with the week of a Monday: sessions of it stand in that week and none before."""
    first, after = monday.isoformat(), (monday + dt.timedelta(days=7)).isoformat()
    days = [(str(s["date"]), s["of_plan"].get("season")) for s in sessions.listed_sessions(library) if "of_plan" in s]
    of_week = {season for day, season in days if first <= day < after}
    return bool(of_week) and not any(day < first and season in of_week for day, season in days)


def rows_of_week(library: History, day: dt.date, today: dt.date) -> list[AskedAndRun]:
    """Every session and run of the week of a day, by date."""
    monday = day - dt.timedelta(days=day.weekday())
    first, last = monday.isoformat(), (monday + dt.timedelta(days=6)).isoformat()
    listed = sessions.listed_sessions(library)
    margin = dt.timedelta(days=MOVED_DAYS)
    near = [s for s in reversed(listed) if (monday - margin).isoformat() <= str(s["date"]) <= _later(last, MOVED_DAYS)]
    ran = [
        r
        for r in reversed(library.runs())
        if monday - margin <= r.local.date() <= min(today, monday + dt.timedelta(days=6) + margin)
    ]
    offers = _offers(library, [s["text"] for s in near], today)
    spent = load.domains_of_runs(library, ran)
    pairs = _paired(near, ran, offers, spent)
    titles = runs.run_titles(library, [r for r in ran if first <= r.local.date().isoformat() <= last])
    health = library.health(today)
    held = health is not None and health.state in ("ill", "injured")
    out = []
    for s in near:
        on, run = str(s["date"]), pairs.get(s["id"])
        ran_on = run.local.date().isoformat() if run else None
        if not (first <= on <= last or (ran_on is not None and first <= ran_on <= last)):
            continue
        state = _state(on, ran_on, today, held)
        offer = offers.get(s["text"])
        verdict, worked = _verdict(library, s["text"], offer, run, spent) if run else ("", True)
        if not worked and state == "run":
            state = "otherwise"
        out.append(
            AskedAndRun(
                date=on,
                state=state,
                session=s["id"],
                run=run.id if run else None,
                run_date=ran_on,
                name=s["name"] or s["text"],
                text=s["text"],
                cp_minutes=offer.load if offer else None,
                load=_load(library, run) if run else None,
                verdict=verdict,
            )
        )
    taken = {r.id for r in pairs.values()}
    for r in ran:
        if r.id not in taken and first <= r.local.date().isoformat() <= last:
            out.append(
                AskedAndRun(
                    date=r.local.date().isoformat(),
                    state="extra",
                    session=None,
                    run=r.id,
                    run_date=r.local.date().isoformat(),
                    name=titles.get(r.id) or f"Run {r.id}",
                    text="",
                    cp_minutes=None,
                    load=_load(library, r),
                    verdict="",
                )
            )
    return sorted(out, key=lambda row: (row.date, row.run or 0))


def _later(day: str, days: int) -> str:
    return (dt.date.fromisoformat(day) + dt.timedelta(days=days)).isoformat()


def _state(on: str, ran_on: str | None, today: dt.date, held: bool) -> str:
    if ran_on is not None:
        return "run" if ran_on == on else "moved"
    if on < today.isoformat():
        return "missed"
    if held:
        return "not now"
    return "today" if on == today.isoformat() else "ahead"


def _paired(
    asked: list[dict[str, Any]], ran: list[RunRow], offers: dict[str, Offer], spent: dict[int, dict[str, float]]
) -> dict[int, RunRow]:
    """Which run each session became: that of its day, the likest first, else one alike within two days."""
    out: dict[int, RunRow] = {}
    left = list(ran)
    for apart in (0, 1, MOVED_DAYS):
        for s in asked:
            if s["id"] in out:
                continue
            day = dt.date.fromisoformat(str(s["date"]))
            near = [r for r in left if abs((r.local.date() - day).days) <= apart]
            if apart:
                near = [r for r in near if _alike(offers.get(s["text"]), r, spent)]
            if near:
                offer = offers.get(s["text"])
                minutes = offer.minutes if offer else 0.0
                out[s["id"]] = min(
                    near, key=lambda r: (abs((r.local.date() - day).days), abs(r.duration_s / 60 - minutes))
                )
                left.remove(out[s["id"]])
    return out


def _alike(offer: Offer | None, run: RunRow, spent: dict[int, dict[str, float]]) -> bool:
    if offer is None or abs(run.duration_s / 60.0 - offer.minutes) > SIMILAR * offer.minutes:
        return False
    return run.id not in spent or (load.above_moderate(spent[run.id]) >= HARD_RUN_S) == offer.is_hard


def _offers(library: History, texts: list[str], today: dt.date) -> dict[str, Offer]:
    """What sessions ask by their words; empty where no critical power is known."""
    try:
        who = sessions.session_basis(library, today, with_heart_rate=False)
    except FootworkError:
        return {}
    out = {}
    for text in set(texts):
        try:
            made = families.offer(text, "easy", text, who.runner, who.borders[0], as_it_is=True)
        except FootworkError:
            continue
        if made is not None:
            out[text] = made
    return out


def _load(library: History, run: RunRow) -> Estimate | None:
    loads = load.loads_of(library)
    return loads.summed(loads.places({run.id}), running=True)


def _verdict(
    library: History, text: str, offer: Offer | None, run: RunRow, spent: dict[int, dict[str, float]]
) -> tuple[str, bool]:
    """What is said of a session that was run, and whether any of its work was: a hard session step by step; an easy run
    by its length, and whether it stayed easy."""
    if offer is None or offer.is_hard:
        try:
            found = sessions.match_session(library, run.id, text)
        except FootworkError:
            return "", True
        return str(found["verdict"]), bool(found["done"])
    asked = 60.0 * offer.minutes
    hard = load.above_moderate(spent[run.id]) if run.id in spent else 0.0
    said = "as asked"
    if abs(run.duration_s - asked) > AS_ASKED * asked:
        said = f"{format_duration(run.duration_s)} of {format_duration(asked)}"
    if hard >= HARD_RUN_S:
        said += f", and harder than easy for {format_duration(hard)}"
    return said, True


def _phase(library: History, monday: dt.date) -> tuple[str, str]:
    with library.reading() as connection:
        plans = parts.read_entries(connection, "season-weeks")
    for row in plans[-1].payload["weeks"] if plans else []:
        if row["monday"] == monday.isoformat():
            return str(row["phase"]), str(row["reason"])
    return "", ""
