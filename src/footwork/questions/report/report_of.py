"""What a report says: asked and run, the one thing that went well, what changed and why, open checks, numbers now, the
next fourteen days, one question, and how sure it is. Of diary and health it tells only what is shared."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from footwork.errors import FootworkError, UsageError
from footwork.history.catalogue import RunRow
from footwork.quantities import Estimate, format_distance, format_duration, format_pace
from footwork.questions import capacity, load, progress, race, season, sessions, signs
from footwork.questions.report.over_a_season import over_a_season
from footwork.questions.today import capacity_of, what_waits
from footwork.questions.usual import usual_watts
from footwork.results.race import PastPredictionsRace
from footwork.results.report import Report, ReportPart, ReportPoint, ReportWeek
from footwork.wording import report_words
from footwork.wording.cautions import before_hard_work, physician_words
from footwork.wording.season_words import day_name

if TYPE_CHECKING:
    from footwork.history.book import History
    from footwork.questions.capacity import Capacity
    from footwork.results.planned_season import WeekAnswer

KINDS = ("week", "block", "season")
BLOCK_WEEKS, SEASON_WEEKS = 4, 26
PLANNED_LEAST = 12  # weeks of a plan from which on a season is that plan's; our convention
AHEAD_DAYS = 14
FRESH_DAYS = 7  # a race longer ago is no longer asked about
DAY = dt.timedelta(days=1)


def report_of(library: History, kind: str = "week", date: dt.date | None = None) -> Report:
    """A report up to a day (today by default).

    Raises
    ------
    UsageError
        Another kind, or no run up to that day.
    """
    today = date or library.current_day()
    if kind not in KINDS:
        raise UsageError(f"there is no report on a '{kind}': on a {', a '.join(KINDS)}")
    rows = [r for r in library.runs() if r.local.date() <= today]
    if not rows:
        raise UsageError(f"there is no run up to {today}: a report needs one")
    begun = min(r.local.date() for r in rows)
    first = max(_first(library, kind, today), begun - begun.weekday() * DAY)
    weeks = [season.week_of(library, min(m + 6 * DAY, today)) for m in _mondays(first, today)]
    made, cp = capacity_of(library, today)
    moved = capacity.what_moved(library, made.scale_key, today) if made is not None and made.scale_key else []
    inside = [m for m in moved if m["date"] >= first.isoformat()]
    seen = [r for r in rows if r.local.date() >= first]
    races = _races(library, seen)
    parts = [
        _asked_and_run(library, kind, weeks, seen, races),
        _went_well(library, weeks, seen, races, first, today),
        ReportPart(
            title="What changed, and why",
            sentences=report_words.moved_sentences(inside, _accepted(library, first, today)),
            headers=[],
            rows=[],
            picture="capacity",
        ),
        _checks(library, rows, made, today),
        _numbers(library, made, cp, today),
    ]
    if kind == "season":
        parts += over_a_season(library, first, today, seen)
    parts.append(_ahead(library, today))
    question = _question(weeks, seen, races, today)
    parts.append(ReportPart(title="One question", sentences=[question], headers=[], rows=[]))
    parts.append(_how_sure(made, cp, weeks))
    return Report(
        kind=kind,
        first=first.isoformat(),
        last=today.isoformat(),
        asked_on=today.isoformat(),
        title=report_words.title(kind, first, today),
        parts=parts,
        question=question,
        weeks=[ReportWeek(monday=w.monday, asked=w.asked, run=w.run) for w in _pictured(library, weeks, today)],
        capacity=_points(library, made, today),
        curve=[
            {"duration_s": float(p["duration_s"]), "power_w": float(p["power_w"]), "run": float(p["run"])}
            for p in (made.curve if made is not None and kind == "season" else [])
        ],
    )


def _first(library: History, kind: str, today: dt.date) -> dt.date:
    monday = today - today.weekday() * DAY
    if kind == "week":
        return monday
    if kind == "block":
        return monday - 7 * (BLOCK_WEEKS - 1) * DAY
    planned = season.accepted_weeks(library)
    if planned and planned[0] <= today - 7 * PLANNED_LEAST * DAY and today <= planned[-1] + 6 * DAY:
        return planned[0]
    return monday - 7 * (SEASON_WEEKS - 1) * DAY


def _mondays(first: dt.date, today: dt.date) -> list[dt.date]:
    return [first + 7 * k * DAY for k in range((today - first).days // 7 + 1)]


def _pictured(library: History, weeks: list[WeekAnswer], today: dt.date) -> list[WeekAnswer]:
    """Weeks of the picture: those of the report, at least eight."""
    missing = 8 - len(weeks)
    if missing <= 0:
        return weeks
    first = dt.date.fromisoformat(weeks[0].monday)
    return [season.week_of(library, first - (7 * k - 6) * DAY) for k in range(missing, 0, -1)] + weeks


def _points(library: History, made: Capacity | None, today: dt.date) -> list[ReportPoint]:
    if made is None or not made.scale_key:
        return []
    return [
        ReportPoint(
            date=str(d["date"]),
            value=d["critical_power"].value,
            low=d["critical_power"].low,
            high=d["critical_power"].high,
        )
        for d in capacity.every_day(library, made.scale_key, today)
        if (today - d["date"]).days <= 7 * SEASON_WEEKS
    ]


def _races(library: History, seen: list[RunRow]) -> list[PastPredictionsRace]:
    """Races among some runs against what was foreseen the day before, the oldest first."""
    raced = {r.id for r in seen if "race" in r.marks}
    return [r for r in race.past_predictions(library)["races"] if r["run"] in raced] if raced else []


def _asked_and_run(
    library: History, kind: str, weeks: list[WeekAnswer], seen: list[RunRow], races: list[PastPredictionsRace]
) -> ReportPart:
    imperial = library.setting("units") == "imperial"
    total = f"{len(seen)} run{'s' if len(seen) != 1 else ''}, {format_duration(sum(r.duration_s for r in seen))}"
    metres = sum(r.distance_m or 0.0 for r in seen)
    said = [f"{total}, {format_distance(metres, imperial)}.", *(report_words.raced(r, imperial) for r in races)]
    if kind == "week":
        week = weeks[-1]
        asked = any(r.session is not None for r in week.rows)
        rows = [[day_name(r.date), r.name, r.state if asked else "run", r.verdict] for r in week.rows]
        return ReportPart(
            title="Asked and run",
            sentences=[week.sentence, *said],
            headers=["day", "session", "what became of it", "how"],
            rows=rows,
            picture="weeks",
        )
    rows = [[day_name(w.monday), w.sentence] for w in weeks]
    return ReportPart(title="Asked and run", sentences=said, headers=["week of", ""], rows=rows, picture="weeks")


def _went_well(
    library: History,
    weeks: list[WeekAnswer],
    seen: list[RunRow],
    races: list[PastPredictionsRace],
    first: dt.date,
    today: dt.date,
) -> ReportPart:
    """The one thing that went well, the strongest first; nothing is praised that the numbers do not carry."""
    best = next(filter(None, map(report_words.raced_well, reversed(races))), "")
    said = best or _best_of(library, weeks, seen, first, today)
    return ReportPart(title="What went well", sentences=[said], headers=[], rows=[])


def _best_of(library: History, weeks: list[WeekAnswer], seen: list[RunRow], first: dt.date, today: dt.date) -> str:
    before, during = f"{first - 28 * DAY}..{first - DAY}", f"{first}..{today}"
    try:
        found = progress.compare_periods(library, before, during) if (today - first).days >= 21 else None
    except FootworkError:
        found = None
    if found is not None and found.verdict == "improved":
        return str(found.sentence)
    for week in reversed(weeks):
        for row in reversed(week.rows):
            if row.state == "run" and "as hard as asked" in row.verdict and "cut short" not in row.verdict:
                return f"{row.name} on {day_name(row.run_date or row.date)}: {row.verdict}"
    asked = [r for w in weeks for r in w.rows if r.session is not None and r.state not in ("today", "ahead", "not now")]
    done = [r for r in asked if r.state in ("run", "moved")]
    if len(asked) >= 3 and len(done) >= 0.8 * len(asked):
        return f"{len(done)} of {len(asked)} sessions were run."
    longest = max(seen, key=lambda r: r.duration_s, default=None)
    most = max((r.duration_s for r in library.runs() if first - 56 * DAY <= r.local.date() < first), default=0.0)
    if longest is not None and most and longest.duration_s > most:
        return f"The run of {day_name(longest.local.date().isoformat())} was the longest of nine weeks: " + (
            f"{format_duration(longest.duration_s)}."
        )
    if len(seen) >= 3:
        return f"{len(seen)} runs: regular running is what everything else rests on."
    return "Nothing stands out in these days' numbers. How they felt counts as well, and is not in them."


def _accepted(library: History, first: dt.date, today: dt.date) -> list[tuple[str, float]]:
    """Days of this time on which a critical power was accepted, and which [W]."""
    made, _ = capacity_of(library, today)
    if made is None or made.accepted is None:
        return []
    on = str(made.accepted["date"])
    return [(on, float(made.accepted["critical_power_w"]))] if first.isoformat() <= on <= today.isoformat() else []


def _checks(library: History, rows: list[RunRow], made: Capacity | None, today: dt.date) -> ReportPart:
    waits = [f"{d['what']}: {d['why']}." for d in what_waits(library, rows, made, today) if d["page"]]
    watched = signs.signs_of(library, today)
    said = [watched.sentence, watched.instead] if watched.instead or watched.long_runs else []
    none = "Nothing is open."
    return ReportPart(title="Open checks", sentences=[t for t in [*said, *waits] if t] or [none], headers=[], rows=[])


def _numbers(library: History, made: Capacity | None, cp: Estimate, today: dt.date) -> ReportPart:
    """Numbers now, each with its interval."""
    imperial = library.setting("units") == "imperial"
    rows = [["Critical power", report_words.told(cp)]]
    if made is not None:
        rows.append(["W′", report_words.told(made.w_prime.scaled(0.001, "kJ"), 1)])
        speed = made.critical_speed
        if speed.value and speed.low and speed.high:
            ends = (speed.value, speed.low, speed.high)
            value, slow, fast = (format_pace(v, imperial) for v in ends)
            rows.append(["Pace at critical power, flat and cool", f"{value}, {slow} to {fast}"])
        try:
            easy = next((g for g in usual_watts(library, today, made.scale).groups if g["name"] == "easy"), None)
        except FootworkError:
            easy = None
        if easy is not None:
            rows.append(["Usual easy running", report_words.told(Estimate.from_json(easy["power"]))])
    rows.append(["Running load of seven days", report_words.told(load.last_days(library, today, 7))])
    usual = load.usual_week(library, today - today.weekday() * DAY)
    if usual is not None:
        words = f"{usual.cp_minutes:.0f} CP-min, half of {usual.weeks} weeks {usual.low:.0f} to {usual.high:.0f}"
        rows.append(["Usual week", words])
    scale = f"Watts as {made.scale} shows them." if made is not None and made.scale else ""
    return ReportPart(
        title="Numbers now", sentences=[scale] if scale else [], headers=["", "now, and its 95 %"], rows=rows
    )


def _ahead(library: History, today: dt.date) -> ReportPart:
    last = today + AHEAD_DAYS * DAY
    listed = sorted(
        (s for s in sessions.listed_sessions(library) if today.isoformat() <= str(s["date"]) <= last.isoformat()),
        key=lambda s: str(s["date"]),
    )
    rows = [[day_name(str(s["date"])), s["name"], s["text"]] for s in listed]
    races = [r for r in season.accepted_races(library) if today.isoformat() <= r["date"] <= last.isoformat()]
    rows += [[day_name(r["date"]), r["name"], "race"] for r in races]
    health = library.health(today)
    words = [before_hard_work("race" if races else "session")] if rows else []
    if decides := physician_words(library.context(), today):
        words.insert(0, decides)
    said = words if rows else ["Nothing is kept for the next fourteen days."]
    if health is not None:
        easy = health.told and health.state == "returning"
        waits = f"Easy running only up to and including {health.until}: what is hard until then waits."
        said.insert(0, waits if easy else "Not now: what is kept here waits.")
    return ReportPart(
        title="The next fourteen days",
        sentences=said,
        headers=["day", "session", "in words"] if rows else [],
        rows=rows,
    )


def _question(weeks: list[WeekAnswer], seen: list[RunRow], races: list[PastPredictionsRace], today: dt.date) -> str:
    """One question whose answer tells what the numbers cannot, the most useful first."""
    if races and dt.date.fromisoformat(races[-1]["date"]) >= today - FRESH_DAYS * DAY:
        return f"Where was the race on {day_name(races[-1]['date'])} hardest, and was anything left at its end?"
    missed = [r for w in weeks[-2:] for r in w.rows if r.state in ("missed", "otherwise")]
    if missed:
        return f"What was in the way of {missed[-1].name} on {day_name(missed[-1].date)}?"
    harder = [r for w in weeks[-2:] for r in w.rows if "harder than easy" in r.verdict]
    if harder:
        return (
            f"The easy run on {day_name(harder[-1].run_date or harder[-1].date)} was harder than easy: was it meant so?"
        )
    if seen:
        longest = max(seen, key=lambda r: r.duration_s)
        return (
            f"How did the run of {format_duration(longest.duration_s)} on "
            f"{day_name(longest.local.date().isoformat())} feel in its last third?"
        )
    return "What kept you from running, and what would help?"


def _how_sure(made: Capacity | None, cp: Estimate, weeks: list[Any]) -> ReportPart:
    said = []
    if made is not None and cp.value is not None and cp.low is not None and cp.high is not None:
        half = 50.0 * (cp.high - cp.low) / cp.value
        said.append(f"Critical power is known within {half:.0f} %, from {made.evidence['sentence']}.")
    else:
        said.append(f"Critical power is not known: {cp.reason}.")
    run = weeks[-1].run
    if run.value:
        said.append(f"Load is known within {50.0 * (run.high - run.low) / run.value:.0f} %.")
    said.append("A change smaller than its interval is no change that these numbers can tell.")
    return ReportPart(title="How sure this is", sentences=said, headers=[], rows=[])
