"""A season's plan: laid out from what is wished and what was run, kept as a proposal, accepted into the log."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from footwork.errors import HeldBack, UsageError
from footwork.formats import ical
from footwork.history.log import entries, parts
from footwork.planning import families, season_days
from footwork.planning.families import Offer
from footwork.planning.season_days import SeasonWeek
from footwork.planning.season_weeks import Race
from footwork.planning.week_days import Kept
from footwork.quantities import Estimate, as_day
from footwork.questions import load, sessions
from footwork.questions.season.doubts import race_in_doubt, thin, under_usual
from footwork.questions.season.plan_basis import Basis, Planner, Raced, basis_of, planner
from footwork.questions.season.wishes import SeasonWishes, from_yaml, read_wishes, to_yaml
from footwork.results.planned_season import PlannedSession, PlannedWeek, SeasonPlan, SeasonRace
from footwork.wording.cautions import before_hard_work, held_back
from footwork.wording.season_words import day_name, plan_sentence

if TYPE_CHECKING:
    from footwork.history.book import History

RACES = ("the race", "a race beside")  # purposes of what is no session


def new_season(library: History, date: dt.date | None = None, **told: Any) -> SeasonPlan:
    """Keep wishes in the log and lay the plan out; it stays a proposal until it is accepted.

    Raises
    ------
    UsageError
        A wish that cannot be.
    NotEnoughData
        No critical power or no usual week.
    HeldBack
        The diary tells of illness or injury.
    """
    today = date or _planned_on(library, told.get("race"))
    if told.get("course") is not None:
        if told.get("distance"):
            raise UsageError("a course tells its own distance: give one of them")
        wished = {k: v for k, v in told.items() if k != "course" and v is not None}
        read_wishes(today, {**wished, "distance": "half"})  # what cannot be is said before a course is read
        told = {**_of_course(Path(told["course"])), **wished}
    wishes = read_wishes(today, told)
    if (health := library.health(today)) is not None and health.state in ("ill", "injured"):
        raise HeldBack(str(held_back(health)))
    basis = basis_of(library, wishes, today)
    weeks = laid_out(basis)
    number = entries.write(library, "season", None, wishes.to_json(), today)
    return _told(library, number, "proposed", today, basis, weeks)


def _planned_on(library: History, race: Any) -> dt.date:
    """The day that a plan without one begins on: today for a race that is ahead, also in an archive."""
    today = dt.date.today()
    try:
        ahead = (as_day(race) or today) > today
    except UsageError:  # what the race is to be is looked at later
        ahead = False
    return today if ahead else library.current_day()


def _of_course(path: Path) -> dict[str, Any]:
    """Length, climb and name of a race's course. Raises UsageError where there is no such file."""
    from footwork.questions import race  # loads a solver

    if not path.is_file():
        raise UsageError(f"there is no file {path}")
    track = race.read_track(path)
    way = race.lay(track, flat=True)
    said = [] if way.climb else ["The course has no heights: the season is planned as for a flat one."]
    metres, name = float(way.path.length.sum()), path.stem.replace("-", " ")
    return {"metres": metres, "climb": way.climb, "name": name, "said": said}


def season_from(library: History, path: Path, date: dt.date | None = None, **told: Any) -> SeasonPlan:
    """A new season from a template; what is told beside wins."""
    return new_season(
        library, date, **{**from_yaml(path), **{k: v for k, v in told.items() if v not in (None, "", ())}}
    )


def season_template(library: History) -> str:
    """The newest season's wishes as YAML, without its dates. Raises UsageError where there is none."""
    return to_yaml(wishes_of(newest(library)))


def newest(library: History) -> parts.Entry:
    """Entry of the newest season. Raises UsageError where there is none."""
    with library.reading() as connection:
        found = parts.read_entries(connection, "season")
    if not found:
        raise UsageError("there is no season yet: say the day of a race, and a plan is made for it")
    return found[-1]


def newest_accepted(library: History) -> tuple[parts.Entry, parts.Entry]:
    """Entries of the newest season that was accepted, and of its acceptance; a proposal after it changes nothing.

    Raises UsageError where none was.
    """
    with library.reading() as connection:
        made = {e.id: e for e in parts.read_entries(connection, "season")}
        found = [e for e in parts.read_entries(connection, "season-weeks") if e.payload["season"] in made]
    if not found:
        newest(library)
        raise UsageError("this season is not accepted yet: accept it, and what is run then changes it")
    return made[found[-1].payload["season"]], found[-1]


def wishes_of(entry: parts.Entry, date: dt.date | None = None) -> SeasonWishes:
    """Wishes as an entry keeps them."""
    made = dt.date.fromisoformat(str(entry.date))
    return read_wishes(min(made, date or made), entry.payload)


def laid_out(
    basis: Basis, before: Iterable[Kept] = (), wanted: Mapping[dt.date, float] | None = None
) -> list[SeasonWeek]:
    """The weeks of a plan, with as few changes to one there was as can be."""
    return season_days.lay_season(
        basis.first,
        basis.race,
        basis.standing,
        basis.asked,
        basis.offers,
        basis.past,
        [r.race for r in basis.beside],
        before,
        wanted,
    )


def show_season(library: History, date: dt.date | None = None) -> SeasonPlan:
    """The newest season: as it was accepted, with what was run; else as it is proposed.

    Raises UsageError where there is none.
    """
    entry = newest(library)
    today = date or library.current_day()
    accepted = acceptance(library, entry.id)
    if accepted is None:
        basis = basis_of(library, wishes_of(entry, today), today)
        told = _told(library, entry.id, "proposed", today, basis, laid_out(basis))
        made = dt.date.fromisoformat(str(entry.date))
        again = f"Proposed on {made.day} {made:%B}, and laid out again by what is known on {today.day} {today:%B}."
        return told if made == today else replace(told, said=[again, *told.said])
    return _as_accepted(library, entry, accepted, today)


def acceptance(library: History, season: int) -> parts.Entry | None:
    """The entry with which a season was accepted; None where it was not."""
    with library.reading() as connection:
        found = parts.read_entries(connection, "season-weeks")
    return next((e for e in reversed(found) if e.payload["season"] == season), None)


def accept_season(library: History, date: dt.date | None = None) -> SeasonPlan:
    """Keep every session of the proposed season on its day; those of a season before it that are still to come go.

    Raises UsageError where there is none, or it was accepted already.
    """
    entry = newest(library)
    today = date or library.current_day()
    if acceptance(library, entry.id) is not None:
        raise UsageError("this season is accepted already: solving it again shows what would change")
    basis = basis_of(library, wishes_of(entry, today), today)
    weeks = laid_out(basis)
    told = _told(library, entry.id, "accepted", today, basis, weeks)
    with library.writing() as connection:
        for row in sessions.listed_sessions(library):
            if "of_plan" in row and str(row["date"]) >= basis.first.isoformat():
                entries.take_back(connection, row["id"])
        plan = {"season": entry.id, "weeks": [_week_payload(w) for w in told.weeks], "usual": told.usual}
        plan["races"] = [r.to_json() for r in (told.race, *told.others)]
        number = entries.keep(connection, "season-weeks", None, plan, today)
        for week in told.weeks:
            for s in week.sessions:
                if s.purpose not in RACES and s.on_foot:
                    of_plan = {"season": entry.id, "plan": number, "purpose": s.purpose, "kept": s.kept}
                    payload = {"text": s.text, "name": s.name, "of_plan": of_plan}
                    entries.keep(connection, "session", None, payload, dt.date.fromisoformat(s.date))
    return show_season(library, today)


def is_ahead(library: History, date: dt.date | None = None) -> bool:
    """Whether a season was accepted by then whose race is still to come."""
    try:
        entry, _ = newest_accepted(library)
    except UsageError:
        return False
    day = date or library.current_day()
    return dt.date.fromisoformat(entry.payload["date"]) > day >= accepted_on(library)


def accepted_on(library: History) -> dt.date:
    """The day the newest accepted season was accepted. Raises UsageError where none was."""
    return dt.date.fromisoformat(str(newest_accepted(library)[1].date))


def _accepted(library: History) -> dict[str, Any]:
    """What the newest acceptance holds; nothing where no season was accepted."""
    try:
        return newest_accepted(library)[1].payload
    except UsageError:
        return {"races": [], "weeks": []}


def accepted_races(library: History) -> list[dict[str, Any]]:
    """Races of the newest accepted season, as `SeasonRace` in JSON; none without one."""
    return list(_accepted(library)["races"])


def accepted_weeks(library: History) -> list[dt.date]:
    """Mondays of the weeks of the newest accepted season; none without one."""
    return [dt.date.fromisoformat(w["monday"]) for w in _accepted(library)["weeks"]]


def season_calendar(library: History) -> bytes:
    """Kept sessions, and of the accepted season its races, rides and swims, as iCalendar; a race stays one event
    through every plan for it.

    Raises UsageError where nothing is kept.
    """
    plan = _accepted(library)
    events = [
        ical.Event(f"race-{r['date']}@footwork", dt.date.fromisoformat(r["date"]), r["name"], before_hard_work("race"))
        for r in plan["races"]
    ]
    others = [s for week in plan["weeks"] for s in week["others"] if not s["on_foot"]]
    for k, s in enumerate(others):
        same = sum(o["date"] == s["date"] for o in others[:k])
        events.append(
            ical.Event(f"beside-{s['date']}-{same + 1}@footwork", dt.date.fromisoformat(s["date"]), s["text"])
        )
    return sessions.calendar(library, events)


def season_workouts(library: History, weeks: int, date: dt.date | None = None) -> list[tuple[str, bytes]]:
    """Sessions of so many weeks from a day on as FIT workouts: file names and contents.

    Raises
    ------
    UsageError
        No season is accepted.
    HeldBack
        The diary tells of illness or injury, or of a return that lasts longer than these weeks.
    """
    entry, _ = newest_accepted(library)
    today = date or library.current_day()
    health = library.health()
    easy_until = health.until if health is not None else None  # what comes later is theirs to run
    if easy_until is None:
        sessions.allowed(library)
    last = today + dt.timedelta(weeks=weeks)
    out = []
    for row in reversed(sessions.listed_sessions(library)):
        on = dt.date.fromisoformat(str(row["date"]))
        of_plan = row.get("of_plan", {}).get("season") == entry.id
        if of_plan and today <= on < last and (easy_until is None or on > easy_until):
            name = f"{on} {row['name']}"
            file = re.sub(r"[^a-z0-9-]+", "-", name.lower()).strip("-") + ".fit"
            out.append((file, sessions.workout_of(library, row["text"], row["name"], date=today)))
    if not out:
        sessions.allowed(library)
    return out


def _week_payload(week: PlannedWeek) -> dict[str, Any]:
    others = [s.to_json() for s in week.sessions if not s.on_foot or s.purpose in RACES]
    names = ("monday", "phase", "reason", "wanted", "most", "asked", "hard_s", "longest_s", "gave_way", "proven")
    return {**{n: getattr(week, n) for n in names}, "others": others}


def _told(
    library: History, number: int, state: str, today: dt.date, basis: Basis, weeks: Sequence[SeasonWeek]
) -> SeasonPlan:
    main = _race(basis.main)
    rows = [_week(library, basis, w, today) for w in weeks]
    usual = {
        "cp_minutes": basis.standing.load,
        "duration_s": 60.0 * basis.standing.minutes,
        "runs": basis.standing.runs,
        "hard_share": basis.standing.hard_share,
        "longest_s": 60.0 * basis.standing.longest,
    }
    doubt = race_in_doubt(library, basis.race.date, today)
    return SeasonPlan(
        number=number,
        state=state,
        asked_on=today.isoformat(),
        sentence=plan_sentence(main, rows, state),
        race=main,
        others=[_race(r) for r in basis.beside],
        usual=usual,
        weeks=rows,
        said=[
            *basis.wishes.said,
            *_beside_own(library, rows),
            *thin(basis.race, weeks),
            *under_usual(basis.standing, weeks),
        ],
        cautions=[text for text in (doubt, before_hard_work("session"), *basis.who.warnings) if text],
    )


def _beside_own(library: History, weeks: Sequence[PlannedWeek]) -> list[str]:
    """Days on which a plan asks a session where the runner keeps one of their own."""
    own = {str(s["date"]) for s in sessions.listed_sessions(library) if "of_plan" not in s}
    both = [s.date for week in weeks for s in week.sessions if s.date in own and s.on_foot]
    if not both:
        return []
    days = ", ".join(day_name(d) for d in both[:5]) + (" and later" if len(both) > 5 else "")
    return [f"You keep a session of your own on {days}: the plan does not count it, so drop one of the two."]


def _race(of: Raced) -> SeasonRace:
    return SeasonRace(
        date=of.race.date.isoformat(),
        name=of.race.name,
        rank=of.race.rank,
        distance_m=of.race.metres,
        time=of.time,
        power=of.power,
        cp_minutes=of.race.load,
    )


def _week(library: History, basis: Basis, row: SeasonWeek, today: dt.date) -> PlannedWeek:
    laid = [_session(k) for k in row.laid.sessions]
    monday = row.week.monday
    if monday <= basis.race.date < monday + dt.timedelta(days=7):
        laid.append(_race_session(basis.race))
    on_foot = [k.offer for k in row.laid.sessions if k.on_foot]
    done = [d for d in basis.who.days.load if monday <= d < monday + dt.timedelta(days=7)]
    return PlannedWeek(
        monday=monday.isoformat(),
        phase=row.week.phase,
        reason=row.week.reason,
        wanted=row.week.load,
        most=row.most,
        asked=row.load,
        run=run_load(library, monday, today) if done else None,
        hard_s=60.0 * sum(o.hard for o in on_foot),
        longest_s=60.0 * max((o.minutes for o in on_foot), default=0.0),
        longest_run_s=60.0 * max((basis.who.days.longest[d] for d in done), default=0.0),
        sessions=laid,
        gave_way=list(row.laid.gave_way),
        proven=row.laid.best,
    )


def run_load(library: History, monday: dt.date, today: dt.date) -> Estimate:
    """Running load of a week as far as it was run by a day [CP-min]."""
    loads = load.loads_of(library)
    days = {(monday + dt.timedelta(days=k)).isoformat() for k in range(7)}
    return loads.summed(
        [k for k, a in enumerate(loads.found) if a.date in days and a.date <= today.isoformat()], running=True
    )


def _session(kept: Kept, number: int | None = None, fixed: bool = False) -> PlannedSession:
    o = kept.offer
    return PlannedSession(
        date=kept.date.isoformat(),
        name=o.text if o.name == "kept" or not kept.on_foot else o.name,
        purpose=RACES[1] if kept.race else o.purpose,
        text=o.text,
        cp_minutes=o.load,
        duration_s=60.0 * o.minutes,
        hard_s=60.0 * o.hard,
        on_foot=kept.on_foot,
        kept=fixed or o.name == "kept" or not kept.on_foot,
        number=number,
    )


def _race_session(of: Race) -> PlannedSession:
    return PlannedSession(
        date=of.date.isoformat(),
        name=of.name,
        purpose=RACES[0],
        text=of.name,
        cp_minutes=of.load,
        duration_s=60.0 * of.minutes,
        hard_s=60.0 * of.minutes,
        on_foot=True,
        kept=True,
        number=None,
    )


def planned_sessions(library: History, season: int, who: Planner) -> list[tuple[dict[str, Any], Offer]]:
    """Sessions of an accepted season as they are kept now, the oldest first, with what each asks."""
    out = []
    for row in reversed(sessions.listed_sessions(library)):
        if row.get("of_plan", {}).get("season") == season:
            purpose = str(row["of_plan"]["purpose"])
            made = families.offer(row["name"], purpose, row["text"], who.runner, who.border, as_it_is=True)
            if made is not None:
                out.append((row, made))
    return out


def _as_accepted(library: History, entry: parts.Entry, accepted: parts.Entry, today: dt.date) -> SeasonPlan:
    who = planner(library, today)
    days = who.days
    kept = planned_sessions(library, entry.id, who)
    weeks = []
    for row in accepted.payload["weeks"]:
        monday = dt.date.fromisoformat(row["monday"])
        inside = [monday + dt.timedelta(days=k) for k in range(7)]
        mine = [
            _session(Kept(dt.date.fromisoformat(str(r["date"])), o), r["id"], bool(r["of_plan"].get("kept")))
            for r, o in kept
            if dt.date.fromisoformat(str(r["date"])) in inside
        ]
        mine += [PlannedSession(**told) for told in row["others"]]
        asked = [s for s in mine if s.on_foot and s.purpose != RACES[0]]
        done = [d for d in inside if d in days.load]
        weeks.append(
            PlannedWeek(
                **{n: row[n] for n in ("monday", "phase", "reason", "wanted", "most", "gave_way", "proven")},
                asked=sum(s.cp_minutes for s in asked),
                run=run_load(library, monday, today) if done else None,
                hard_s=sum(s.hard_s for s in asked),
                longest_s=max((s.duration_s for s in asked), default=0.0),
                longest_run_s=60.0 * max((days.longest[d] for d in done), default=0.0),
                sessions=sorted(mine, key=lambda s: s.date),
            )
        )
    doubt = race_in_doubt(library, wishes_of(entry, today).date, today)
    first, *others = (
        SeasonRace(**{**of, **{name: Estimate.from_json(of[name]) for name in ("time", "power")}})
        for of in accepted.payload["races"]
    )
    return SeasonPlan(
        number=entry.id,
        state="accepted",
        asked_on=today.isoformat(),
        sentence=plan_sentence(first, weeks, "over" if first.date < today.isoformat() else "accepted"),
        race=first,
        others=others,
        usual=accepted.payload["usual"],
        weeks=weeks,
        said=list(entry.payload.get("said", [])),
        cautions=[text for text in (doubt, before_hard_work("session"), *who.warnings) if text],
    )
