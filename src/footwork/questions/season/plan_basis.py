"""What a season is laid out from: the runner, races as capacity tells them, what is free, and what was run."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from footwork.errors import NotEnoughData, UsageError
from footwork.physiology.endurance import power_at
from footwork.physiology.load_ways import weight
from footwork.planning import families, season_days
from footwork.planning.families import Offer
from footwork.planning.preview import Runner
from footwork.planning.season_days import Past
from footwork.planning.season_weeks import Race, Standing
from footwork.quantities import Estimate, Floats, format_duration
from footwork.questions import capacity, sessions
from footwork.questions.season import before_plan
from footwork.questions.season.before_plan import Days
from footwork.questions.season.wishes import (
    SeasonWishes,
    closed_days,
    kept_sessions,
    other_races,
    race_name,
    read_kept,
    shelf_of,
)

if TYPE_CHECKING:
    from footwork.history.book import History

DEFAULT_HOURS = 1.3  # times a usual week, where no hours were told
HELD_DAYS = 3  # for which an illness or injury is taken to last from today; our convention
LEAST_RUNNING = 30.0  # minutes a week, under which it is no running plan; our convention
SLOWEST, FASTEST = 1.0, 8.0  # m/s between which a race's speed is looked for


@dataclass(frozen=True)
class Raced:
    """A race with its time and power, as far as capacity tells them."""

    race: Race
    time: Estimate
    power: Estimate


@dataclass(frozen=True)
class Planner:
    """The runner as sessions of a plan are asked of: with a speed at each power, and the border of the moderate domain
    [W]; warnings of capacity, and the days that were run."""

    runner: Runner
    border: float
    warnings: list[str]
    days: Days


@dataclass(frozen=True)
class Basis:
    """Everything that a plan is laid out from."""

    who: Planner
    wishes: SeasonWishes
    first: dt.date
    main: Raced
    beside: tuple[Raced, ...]
    standing: Standing
    asked: season_days.Wishes
    offers: tuple[Offer, ...]
    past: Past

    @property
    def race(self) -> Race:
        """What the plan is for."""
        return self.main.race


def basis_of(
    library: History, wishes: SeasonWishes, today: dt.date, asked_weeks: Mapping[dt.date, float] | None = None
) -> Basis:
    """What a plan from tomorrow on rests on; from today on where nothing was run today. ``asked_weeks`` are the loads
    that the weeks of an accepted plan asked for, by Monday [CP-min]."""
    who = planner(library, today)
    standing = before_plan.standing_of(library, wishes, today, who.days, asked_weeks or {})
    first = today + dt.timedelta(days=1) if today in who.days.load else today
    main = raced(wishes.date, "A", wishes.metres, wishes.climb, who.runner, wishes.name)
    beside = tuple(raced(d, rank, metres, 0.0, who.runner) for d, metres, rank in other_races(wishes, today))
    runs = wishes.runs or int(np.clip(round(standing.runs), 2, len(wishes.days)))
    asked = season_days.Wishes(
        runs,
        wishes.hard if wishes.hard is not None else _hard_sessions(standing, runs),
        _minutes_most(wishes, standing),
        wishes.days,
        wishes.long or tuple(d for d in (6, 5) if d in wishes.days)[:1],
        frozenset(closed_days(wishes) | _held_days(library, today) | _days_without(library, today)),
        wishes.easier,
        kept_sessions(wishes, first, who.runner, who.border),
        wishes.tests and not library.context().physician_decides(today),
        _easy_days(library, today),
    )
    past = before_plan.past_of(library, library.runs(), who.days, today)
    return Basis(who, wishes, first, main, beside, standing, asked, _offers(wishes, who, main), past)


def _minutes_most(wishes: SeasonWishes, standing: Standing) -> float:
    """Running time that a week may hold [min]: the hours told less rides, swims and others that are kept in it."""
    if wishes.hours is None:
        return DEFAULT_HOURS * standing.minutes
    others = sum(read_kept(text).minutes for text in wishes.keep)
    if 60.0 * wishes.hours - others < LEAST_RUNNING:
        raise UsageError(
            f"{wishes.hours:g} hours a week hold {format_duration(60 * others)} of rides, swims and others, and not "
            "half an hour of running is left: give more hours or keep less of the others"
        )
    return 60.0 * wishes.hours - others


def planner(library: History, today: dt.date) -> Planner:
    """The runner of a day as a plan asks of them. Raises NotEnoughData without a critical power or any speed."""
    who = sessions.session_basis(library, today, with_heart_rate=False)
    days = before_plan.days_until(library, today)
    runner = who.runner if who.runner.speed else replace(who.runner, speed=_plain_speed(library, who.critical_power))
    return Planner(runner, who.borders[0], who.warnings, days)


def _held_days(library: History, today: dt.date) -> set[dt.date]:
    """While the diary tells of illness or injury, its days and three more on which nothing is planned: every day anew,
    for nobody knows when it is over."""
    health = library.health(today)
    if health is None or health.state == "returning":
        return set()
    return {health.since + dt.timedelta(days=k) for k in range((today - health.since).days + 1 + HELD_DAYS)}


def _days_without(library: History, today: dt.date) -> set[dt.date]:
    """Days of weeks without running that ended: the steps of a return go on after its first run."""
    ended = [o for o in capacity.lay_offs(library, today) if o.until is not None]
    return {dt.date.fromordinal(d) for o in ended for d in range(o.since + 1, o.until or 0)}


def _easy_days(library: History, today: dt.date) -> frozenset[dt.date]:
    """Easy days of a return, from today on."""
    health = library.health(today)
    if health is None or health.until is None:
        return frozenset()
    return frozenset(today + dt.timedelta(days=k) for k in range((health.until - today).days + 1))


def _hard_sessions(standing: Standing, runs: int) -> int:
    """One hard session a week, two for who runs four times and more and runs hard as it is."""
    return 2 if runs >= 4 and standing.hard_share >= 0.12 else 1 if runs >= 2 else 0


def _plain_speed(library: History, critical_power: float) -> Callable[[Floats], Floats]:
    """Speed [m/s] at a power [W] where no relation is known: in proportion, the mean speed of runs taken as easy."""
    rows = [r for r in library.runs() if r.distance_m and r.duration_s > 0]
    metres, seconds = sum(r.distance_m or 0.0 for r in rows), sum(r.duration_s for r in rows if r.distance_m)
    if not seconds:
        raise NotEnoughData("a plan needs the speed of some runs, and none has a distance")
    rate = metres / seconds / (before_plan.EASY_SHARE * critical_power)
    return lambda power: power * rate


def raced(day: dt.date, rank: str, metres: float, climb: float, runner: Runner, name: str = "") -> Raced:
    """A race as it will be run all out; each metre of climb counts as ten of distance."""
    assert runner.speed is not None
    way = metres + 10.0 * climb
    slow, fast = (np.full(len(runner.critical_power), way / speed) for speed in (FASTEST, SLOWEST))
    for _ in range(40):
        seconds = np.sqrt(slow * fast)
        power = power_at(seconds, runner.critical_power, runner.w_prime, runner.tail)
        far = runner.speed(np.maximum(power, 31.0)) * seconds >= way
        slow, fast = np.where(far, slow, seconds), np.where(far, seconds, fast)
    minutes, watts = float(np.median(seconds)) / 60.0, float(np.median(power))
    load_of = minutes * float(weight(watts / runner.accepted))
    race = Race(day, rank, metres, round(minutes, 1), round(load_of, 1), name or race_name(metres))
    told = [Estimate.from_draws(v, unit, len(v), "race", "draws") for v, unit in ((seconds, "s"), (power, "W"))]
    return Raced(race, *told)


def _offers(wishes: SeasonWishes, who: Planner, main: Raced) -> tuple[Offer, ...]:
    """The shelf of this runner: ours, or one's own for the purposes that it holds."""
    own = shelf_of(wishes)
    mine = {f.purpose for f in own}
    share = float(main.power.value or 0.0) / who.runner.accepted
    ours = [
        *families.EASY,
        families.LONG,
        families.STEADY_END,
        *families.HARD,
        families.race_family(share, main.race.minutes),
    ]
    wanted = [*own, *(f for f in [*ours, families.TEST] if f.purpose not in mine)]
    return tuple(families.offers(wanted, who.runner, who.border))
