"""Several runners side by side, as a coach reads them: a line each, with what is uncertain in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypedDict

from footwork.quantities import Estimate
from footwork.results.base import Result
from footwork.results.loads import UsualWeek


class SquadWaits(TypedDict):
    """What waits for somebody's word: what it is, why, and the address of the page that asks it."""

    what: str
    why: str
    page: str


class SquadNext(TypedDict):
    """The next hard, long or test session, or the next one at all."""

    date: str
    name: str
    text: str


class SquadRace(TypedDict):
    date: str
    name: str
    days: int


class SquadDay(TypedDict):
    """A session of this week, or a run beside them, on its day: ``state`` as of `AskedAndRun`."""

    date: str
    state: str
    name: str
    run: int | None


class SquadRun(TypedDict):
    """A run of today or yesterday: title, duration [s], mean power [W] where there is any."""

    run: int
    date: str
    title: str
    duration_s: float
    power_w: float | None


class SquadSaid(TypedDict):
    """A comment of the last week that is not the coach's: about what (run, session, week or race), and when (UTC)."""

    about: str
    of: str
    text: str
    at: str


@dataclass(frozen=True, kw_only=True)
class SquadLine(Result):
    """A runner on one line. ``problem`` says why nothing else is known; ``health`` is empty where nothing holds hard
    running back, and only 'Not now.' where the diary is not shared (``shared``).

    Loads in CP-minutes: ``asked`` and ``run`` of this week, ``seven_days`` of running against the median and middle
    half of ``usual`` weeks. ``critical_power`` [W] on ``scale`` rests on ``evidence``, whose last maximal effort is
    ``evidence_days`` old. ``first`` tells why a coach looks here first, the most pressing reason first; ``made_at``
    when the line was worked out. ``days`` are those of this week, ``lately`` the runs of today and yesterday, ``said``
    the runner's comments of seven days.
    """

    athlete: str
    folder: str
    groups: list[str]
    asked_on: str
    made_at: str
    problem: str
    consent: str | None
    shared: bool
    days_since: int | None
    asked: float | None
    run: Estimate | None
    sessions: str
    seven_days: Estimate | None
    usual: UsualWeek | None
    against_usual: str
    critical_power: Estimate | None
    scale: str
    evidence: str
    evidence_days: int | None
    progress: str
    changed: list[str]
    signs: str
    health: str
    next: SquadNext | None
    race: SquadRace | None
    waits: list[SquadWaits]
    days: list[SquadDay]
    lately: list[SquadRun]
    said: list[SquadSaid]
    first: list[str]
    urgency: int


@dataclass(frozen=True, kw_only=True)
class SquadAnswer(Result):
    """The runners of a squad, those who need the coach first."""

    asked_on: str
    sentence: str
    athletes: list[SquadLine]
    groups: dict[str, list[str]]


@dataclass(frozen=True, kw_only=True)
class Figures(Result):
    """What one runner is held against others in, by key; ``kind`` of the scale's devices, ``mass_kg`` where told."""

    athlete: str
    asked_on: str
    scale: str
    kind: str
    mass_kg: float | None
    estimates: dict[str, Estimate]


@dataclass(frozen=True, kw_only=True)
class SideBySideRow(Result):
    """One figure of each runner in their order; none where it is ``refused``, with the reason."""

    key: str
    name: str
    unit: str
    estimates: list[Estimate]
    refused: str


@dataclass(frozen=True, kw_only=True)
class SideBySide(Result):
    """Runners against each other."""

    asked_on: str
    athletes: list[str]
    scales: list[str]
    kinds: list[str]
    rows: list[SideBySideRow]


class PrescribedStep(TypedDict):
    text: str
    low_w: float
    high_w: float


@dataclass(frozen=True, kw_only=True)
class Prescribed(Result):
    """A session for one runner on a day: ``asked``, ``kinder`` in other words (``text``), ``too much`` even then,
    ``not now`` or ``not known``; its different ``steps`` in watts, the band of its hardest step, the chance to finish
    it as asked and as it stands here [1], what is kept on that day ``already``, and whether this was ``kept`` now."""

    athlete: str
    date: str
    asked_text: str
    state: str
    text: str
    steps: list[PrescribedStep]
    power: Estimate | None
    scale: str
    finishes: float | None
    finishes_kinder: float | None
    duration_s: float | None
    cp_minutes: float | None
    already: list[str]
    why: str
    kept: bool = False
