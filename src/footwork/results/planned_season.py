"""A season as it is planned, what is changed in it, and a week as it was asked and run."""

from __future__ import annotations

from dataclasses import dataclass

from footwork.quantities import Estimate
from footwork.results.base import Result


@dataclass(frozen=True, kw_only=True)
class PlannedSession(Result):
    """A session of a plan: its day, words and purpose, load [CP-min], duration and hard time [s]; ``number`` once it is
    kept, ``kept`` where the runner fixed it, ``on_foot`` False for another sport."""

    date: str
    name: str
    purpose: str
    text: str
    cp_minutes: float
    duration_s: float
    hard_s: float
    on_foot: bool
    kept: bool
    number: int | None


@dataclass(frozen=True, kw_only=True)
class PlannedWeek(Result):
    """A week of a plan: its phase and why; load wanted, at most, asked and run [CP-min]; hard time and longest run [s];
    sessions, wishes that gave way, and whether no better week exists (``proven``)."""

    monday: str
    phase: str
    reason: str
    wanted: float
    most: float
    asked: float
    run: Estimate | None
    hard_s: float
    longest_s: float
    longest_run_s: float
    sessions: list[PlannedSession]
    gave_way: list[str]
    proven: bool


@dataclass(frozen=True, kw_only=True)
class SeasonRace(Result):
    """A race of a plan, with how long it takes and at which power run all out, by today's capacity alone: what day,
    course and weather do is the race plan's."""

    date: str
    name: str
    rank: str
    distance_m: float
    time: Estimate
    power: Estimate
    cp_minutes: float


@dataclass(frozen=True, kw_only=True)
class SeasonPlan(Result):
    """A season week by week, backwards from its race. ``state`` is ``proposed`` or ``accepted``; ``number`` is its
    entry in the log; ``usual`` the week it continues from."""

    number: int
    state: str
    asked_on: str
    sentence: str
    race: SeasonRace
    others: list[SeasonRace]
    usual: dict[str, float]
    weeks: list[PlannedWeek]
    said: list[str]
    cautions: list[str]


@dataclass(frozen=True, kw_only=True)
class SeasonChange(Result):
    """One proposed change: ``kind`` is drop, move, change or add; the session's number (None where one is added), its
    day and words before and after, and why, in one sentence."""

    id: int
    kind: str
    session: int | None
    date: str | None
    to_date: str | None
    text: str
    to_text: str
    name: str
    purpose: str
    sentence: str


@dataclass(frozen=True, kw_only=True)
class SeasonChanges(Result):
    """What solving the plan again would change, and why; empty where it stands."""

    asked_on: str
    season: int | None
    sentence: str
    state: str
    changes: list[SeasonChange]
    cautions: list[str]


@dataclass(frozen=True, kw_only=True)
class AskedAndRun(Result):
    """A session of a week and what became of it: ``state`` is run, moved, otherwise (a run of that day
    had none of its work), missed, today, ahead, not now or extra."""

    date: str
    state: str
    session: int | None
    run: int | None
    run_date: str | None
    name: str
    text: str
    cp_minutes: float | None
    load: Estimate | None
    verdict: str


@dataclass(frozen=True, kw_only=True)
class WeekAnswer(Result):
    """A week: asked, run, moved, missed and extra; load, hard time and longest run asked against run; what is next."""

    monday: str
    asked_on: str
    sentence: str
    phase: str
    reason: str
    rows: list[AskedAndRun]
    asked: float
    run: Estimate
    hard_asked_s: float
    hard_run_s: float
    longest_asked_s: float
    longest_run_s: float
    next: list[dict[str, str]]
    health: str
