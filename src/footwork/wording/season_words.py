"""Seasons, weeks and changes in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from footwork.quantities import Estimate, format_distance, format_duration

if TYPE_CHECKING:
    from footwork.planning.season_weeks import Week
    from footwork.results.health import Health
    from footwork.results.planned_season import AskedAndRun, PlannedWeek, SeasonChange, SeasonRace

PHASES = {
    "building": "building",
    "race-like": "like the race",
    "easier": "easier",
    "return": "coming back",
    "taper": "taper",
    "race week": "race week",
}
PURPOSES = {
    "easy": "easy",
    "long": "long",
    "threshold": "threshold",
    "severe": "intervals",
    "hills": "hills",
    "race": "race rehearsal",
    "test": "test",
    "the race": "race",
    "a race beside": "race",
    "other": "another sport",
}
NOTHING_SAFE = (
    "No weekly percentage is known to be safe; these bounds are modest, not proven. Pain, illness and what a physician "
    "or your coach says come first."
)


def race_words(race: SeasonRace, imperial: bool = False) -> str:
    """How long a race takes and at which power, with their intervals, by capacity alone."""
    time, low, high = (format_duration(v or 0.0) for v in (race.time.value, race.time.low, race.time.high))
    power = race.power
    return (
        f"By what is known of you today {format_distance(race.distance_m, imperial)} take {time} on half of race days, "
        f"{low} to {high}, at {power.value:.0f} W, {power.low:.0f} to {power.high:.0f}. The race plan adds day, course "
        "and weather, and is for four days in five, so it is slower."
    )


def day_name(day: str) -> str:
    """``Tue 8 Dec``."""
    on = dt.date.fromisoformat(day)
    return f"{on:%a} {on.day} {on:%b}"


def plan_sentence(race: SeasonRace, weeks: Sequence[PlannedWeek], state: str) -> str:
    """A plan in one sentence or two."""
    on = dt.date.fromisoformat(race.date)
    count = len(weeks)
    said = f"{count} week{'s' if count != 1 else ''} to the {race.name} on {on.day} {on:%B %Y}, race week included"
    full = [w for w in weeks if w.phase not in ("taper", "race week")]
    if full:
        most = max(full, key=lambda w: w.asked)
        longest = max(w.longest_s for w in full)
        said += (
            f": up to {most.asked:.0f} CP-minutes in a week and {format_duration(longest)} in one run, then a taper"
            if len(full) > 1
            else ""
        )
    ends = {"proposed": "It waits to be accepted.", "accepted": "Accepted."}
    return f"{said}. " + ends.get(state, "This race is past: a new season begins with the day of the next one.")


def changes_sentence(changes: Sequence[SeasonChange]) -> str:
    """How many changes wait."""
    if not changes:
        return "The plan stands as it is."
    return f"{len(changes)} change{'s wait' if len(changes) > 1 else ' waits'} to be accepted."


def week_reason(health: Health | None, week: Week, today: dt.date, wanted: Mapping[dt.date, float]) -> str:
    """Why a week is laid out anew, in words that follow a colon; ``wanted`` are loads that were wanted [CP-min]."""
    near = (week.monday - today).days < 7
    if health is not None and health.state in ("ill", "injured") and near:
        ill = health.state == "ill"
        if not health.told:
            return "not now"
        return "the diary tells of illness, and rest comes first" if ill else "no running while injured"
    if week.phase == "return":
        return week.reason
    if health is not None and health.until is not None and week.monday <= health.until:
        return f"easy days until {health.until} after illness or injury" if health.told else "not now"
    before = wanted.get(week.monday)
    if before and abs(week.load - before) > 0.1 * before:
        less = "less" if week.load < before else "more"
        by = "by what the weeks before came to"
        return f"{less} is wanted of this week, {week.load:.0f} instead of {before:.0f} CP-minutes, {by}"
    if week.monday <= today:
        return "what was run leaves no room for the session as it was"
    return "so that it builds on the weeks before it"


def week_sentence(rows: Sequence[AskedAndRun], asked: float, run: Estimate, phase: str, begins: bool = False) -> str:
    """A week in one sentence; ``begins`` tells that a plan begins with it, maybe after some of it was run."""
    states = ("run", "moved", "otherwise", "missed", "extra", "today", "ahead")
    of = {state: sum(r.state == state for r in rows) for state in states}
    planned = sum(r.session is not None for r in rows)
    done = of["run"] + of["moved"]
    told = "no load known" if run.value is None else f"{run.value:.0f} CP-minutes"
    if run.value:
        told += f", {run.low:.0f} to {run.high:.0f}"
    if not planned:
        return f"Nothing was asked this week; {of['extra']} run{'s' if of['extra'] != 1 else ''}, {told}."
    parts = [f"{done} of {planned} sessions run"]
    parts += [f"{of['otherwise']} run without its work"] if of["otherwise"] else []
    parts += [f"{of[k]} {k}" for k in ("moved", "missed", "extra") if of[k]]
    left = of["today"] + of["ahead"]
    if left:
        parts.append(f"{left} to come")
    lead = f"{PHASES[phase].capitalize()}: " if phase in PHASES else ""
    first = min(r.date for r in rows if r.session is not None)
    before = sum(r.load.value or 0.0 for r in rows if r.load is not None and r.state == "extra" and r.date < first)
    if begins and before >= 1.0:  # what was run already was never asked
        return f"{lead}{', '.join(parts)}; {told}, {before:.0f} of them before the first session; {asked:.0f} asked."
    return f"{lead}{', '.join(parts)}; {told} of {asked:.0f} asked."
