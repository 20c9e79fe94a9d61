"""An accepted plan solved again after what was run, missed and told in the diary; each change waits to be accepted."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from footwork.errors import FootworkError, UsageError
from footwork.history.log import entries
from footwork.planning.families import Offer
from footwork.planning.season_days import SeasonWeek
from footwork.planning.week_days import Kept
from footwork.questions import sessions
from footwork.questions.season import season_plan
from footwork.questions.season.doubts import race_in_doubt
from footwork.questions.season.plan_basis import Basis, basis_of
from footwork.questions.season.season_plan import newest_accepted, wishes_of
from footwork.questions.season.week import rows_of_week
from footwork.results.planned_season import SeasonChange, SeasonChanges
from footwork.wording.cautions import before_hard_work, held_back, physician_words
from footwork.wording.season_words import changes_sentence, day_name, week_reason

if TYPE_CHECKING:
    from footwork.history.book import History

AHEAD_WEEKS = 3  # for which changes are proposed: what lies further off changes again until then
MOVED_WITHIN_DAYS = 3  # a hard or long session that was missed may move by so much


def season_changes(library: History, date: dt.date | None = None) -> SeasonChanges:
    """What solving the accepted season again would change; nothing where it stands.

    Raises
    ------
    UsageError
        No accepted season by then, or its race is over.
    """
    today = date or library.current_day()
    if today < (since := season_plan.accepted_on(library)):
        raise UsageError(f"this season was accepted on {since}: nothing of the days before changes by it")
    return _solved(library, today)[0]


def waiting(library: History, date: dt.date | None = None) -> str:
    """What solving the accepted season again would change, in a sentence; empty where it stands or none is ahead."""
    today = date or library.current_day()

    def make() -> str:
        if not season_plan.is_ahead(library, today):
            return ""
        try:
            found = season_changes(library, today)
        except FootworkError:  # what would change is asked for by its own command, which says why there is no answer
            return ""
        return found.sentence if found.changes else ""

    return str(library.cached(("season-waiting", today), make))


def accept_changes(library: History, ids: Collection[int] = (), date: dt.date | None = None) -> SeasonChanges:
    """Accept proposed changes by their ids, all by default; each is an entry of its own and undone like any other.

    Raises
    ------
    UsageError
        An id that is not proposed.
    """
    today = date or library.current_day()
    found, weeks = _solved(library, today)
    strange = set(ids) - {c.id for c in found.changes}
    if strange:
        raise UsageError(f"change {min(strange)} is not proposed: there are {len(found.changes)}")
    wanted = [c for c in found.changes if not ids or c.id in ids]
    _, entry = newest_accepted(library)
    rows = {r["id"]: r for r in sessions.listed_sessions(library)}
    with library.writing() as connection:
        if len(wanted) == len(found.changes) and wanted:
            again = {w.week.monday.isoformat(): w.week for w in weeks}
            payload = dict(entry.payload)
            payload["weeks"] = [
                {**w, "wanted": again[w["monday"]].load} if w["monday"] in again else w for w in payload["weeks"]
            ]
            entries.keep(connection, "season-weeks", None, payload, today)
        for change in wanted:
            if change.session is not None:
                entries.take_back(connection, change.session)
            if change.to_date is None:
                continue
            row = rows.get(change.session or 0)
            of_plan = row["of_plan"] if row else {"season": found.season, "plan": entry.id, "kept": False}
            kept: dict[str, Any] = {"text": change.to_text, "name": change.name}
            kept["of_plan"] = {**of_plan, "purpose": change.purpose}
            if row:
                kept["first"] = row["first"]
            entries.keep(connection, "session", None, kept, dt.date.fromisoformat(change.to_date))
    return season_changes(library, today)


def _solved(library: History, today: dt.date) -> tuple[SeasonChanges, list[SeasonWeek]]:
    entry, accepted = newest_accepted(library)
    if dt.date.fromisoformat(entry.payload["date"]) <= today:
        return _nothing(entry.id, today, "The race of this season is over."), []
    asked = {dt.date.fromisoformat(w["monday"]): float(w["asked"]) for w in accepted.payload["weeks"]}
    wanted = {dt.date.fromisoformat(w["monday"]): float(w["wanted"]) for w in accepted.payload["weeks"]}
    basis = basis_of(library, wishes_of(entry, today), today, asked)
    kept = [
        (row, Kept(dt.date.fromisoformat(str(row["date"])), offer))
        for row, offer in season_plan.planned_sessions(library, entry.id, basis.who)
    ]
    ahead = [(row, k) for row, k in kept if basis.first <= k.date < basis.race.date]
    by_hand = [k for row, k in ahead if row["of_plan"].get("by_hand")]
    own = [k for k in basis.asked.kept if not k.on_foot]  # kept runs are sessions of the plan by now
    basis = replace(
        basis, asked=replace(basis.asked, kept=(*own, *(k for k in by_hand if k.date not in basis.asked.closed)))
    )
    changes: list[SeasonChange] = []
    weeks = season_plan.laid_out(basis, [k for _, k in ahead], wanted)
    weeks = [w for w in weeks if (w.week.monday - today).days < 7 * AHEAD_WEEKS]
    health = library.health(today)
    for week in weeks:
        monday = week.week.monday
        inside = [(row, k) for row, k in ahead if monday <= k.date < monday + dt.timedelta(days=7)]
        laid = [k for k in week.laid.sessions if k.on_foot and not k.race]
        why = week_reason(health, week.week, today, wanted)
        if health is not None and health.state != "returning":  # the weeks after it wait until the runner is well
            changes += [_change("drop", row, k, None, why) for row, k in inside if k.date in basis.asked.closed]
        else:
            changes += _apart(inside, laid, why, gentle=health is not None)
    sunday = (weeks[0].week.monday + dt.timedelta(days=6)).isoformat()
    if health is None and not any((c.date or c.to_date or "") <= sunday for c in changes):  # this week stands
        changes += _moved(library, basis, weeks[0], kept, today)
    numbered = [
        replace(c, id=k + 1) for k, c in enumerate(sorted(changes, key=lambda c: (c.to_date or c.date or "", c.kind)))
    ]
    state = "changes wait" if numbered else "stands"
    held = held_back(health)
    doubt = race_in_doubt(library, basis.race.date, today)
    decides = physician_words(library.context(), today)
    cautions = [text for text in (held, decides, doubt, before_hard_work("session")) if text]
    return (
        SeasonChanges(
            asked_on=today.isoformat(),
            season=entry.id,
            sentence=changes_sentence(numbered),
            state=state,
            changes=numbered,
            cautions=cautions,
        ),
        weeks,
    )


def _nothing(season: int, today: dt.date, sentence: str) -> SeasonChanges:
    return SeasonChanges(
        asked_on=today.isoformat(), season=season, sentence=sentence, state="over", changes=[], cautions=[]
    )


def _apart(before: list[tuple[dict[str, Any], Kept]], now: list[Kept], why: str, gentle: bool) -> list[SeasonChange]:
    """How a week as it is laid out differs from the sessions that are kept in it; ``gentle``, in a return, none is
    added, moved or made harder: what fell away is not caught up."""
    left = {k.date: k for k in now}
    gone: list[tuple[dict[str, Any], Kept]] = []
    out = []
    for row, old in before:
        new = left.get(old.date)
        if new is not None and new.offer.text == old.offer.text:
            del left[old.date]
        elif new is not None:
            del left[old.date]
            if not gentle or not _harder(new.offer, old.offer):
                out.append(_change("change", row, old, new, why))
            elif old.offer.demanding and not new.offer.demanding:  # not to be run that day, and a longer one neither
                out.append(_change("drop", row, old, None, why))
        else:
            gone.append((row, old))
    for row, old in gone:
        same = next((k for k in left.values() if k.offer.text == old.offer.text), None)
        if same is not None:
            del left[same.date]
            if not gentle:
                out.append(_change("move", row, old, same, why))
        else:
            out.append(_change("drop", row, old, None, why))
    return out + [_change("add", None, None, new, why) for new in left.values() if not gentle]


def _harder(new: Offer, old: Offer) -> bool:
    """Whether a session asks more: longer, more hard minutes, or 48 hours apart where the other needed none."""
    return new.minutes > old.minutes or new.hard > old.hard or (new.demanding and not old.demanding)


def _change(kind: str, row: dict[str, Any] | None, old: Kept | None, new: Kept | None, why: str) -> SeasonChange:
    of = new or old
    assert of is not None
    name = of.offer.name if row is None or new is None or new.offer.text != row["text"] else row["name"]
    day = day_name(of.date.isoformat())
    if old is None or new is None:
        said = f"{day}: {'no ' if new is None else ''}{of.offer.name if new is None else of.offer.text}"
    elif kind == "move":
        said = f"{old.offer.name} on {day} instead of {day_name(old.date.isoformat())}"
    else:
        said = f"{day}: {new.offer.text} instead of {old.offer.text}"
    return SeasonChange(
        id=0,
        kind=kind,
        session=None if row is None else row["id"],
        date=None if old is None else old.date.isoformat(),
        to_date=None if new is None else new.date.isoformat(),
        text="" if old is None else old.offer.text,
        to_text="" if new is None else new.offer.text,
        name=name,
        purpose=of.offer.purpose,
        sentence=f"{said}: {why}.",
    )


def _moved(
    library: History, basis: Basis, week: SeasonWeek, kept: list[tuple[dict[str, Any], Kept]], today: dt.date
) -> list[SeasonChange]:
    """A hard or long session that was missed in these days moves to a free day with 48 h around it, or takes the place
    of an easy run; where there is none it is dropped. It never comes on top."""
    rows = rows_of_week(library, today, today)
    missed = {r.session for r in rows if r.state == "missed" and (today - _day(r.date)).days <= MOVED_WITHIN_DAYS}
    for row, old in reversed(kept):
        if row["id"] not in missed or not old.offer.demanding:
            continue
        to = _place(basis, week, old.offer)
        if to is None:
            continue
        why = "it was missed, and 48 h are free around that day"
        there = next(((r, k) for r, k in kept if k.date == to), None)
        out = [_change("move", row, old, replace(old, date=to), why)]
        return out + ([_change("drop", *there, None, f"{old.offer.name} takes its place")] if there else [])
    return []


def _day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def _place(basis: Basis, week: SeasonWeek, offer: Offer) -> dt.date | None:
    """The first day of the week on which a hard or long session keeps every bound."""
    sunday = week.week.monday + dt.timedelta(days=6)
    heavy = {k.date for k in week.laid.sessions if k.offer.demanding} | set(basis.past.demanding)
    on_foot = [k for k in week.laid.sessions if k.on_foot]
    day = basis.first
    while day <= min(sunday, basis.race.date - dt.timedelta(days=3)):
        there = next((k for k in on_foot if k.date == day), None)
        near = any(day + dt.timedelta(days=n) in heavy for n in (-1, 0, 1))
        open_day = day.weekday() in basis.asked.weekdays and day not in basis.asked.closed | basis.asked.easy_only
        load = sum(k.offer.load for k in on_foot if k is not there) + offer.load
        fits = load <= week.most + 0.5 and offer.minutes <= week.longest_most + 1.0
        if open_day and not near and fits and (there is None or not there.offer.demanding):
            return day
        day += dt.timedelta(days=1)
    return None
