"""A whole season on its days: the weeks' targets, then week after week laid out, each bounded by those before it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from footwork.planning import season_weeks, week_days
from footwork.planning.families import Offer
from footwork.planning.season_weeks import LONGEST, Race, Standing, Week
from footwork.planning.week_days import Kept, Laid

LOOK_BACK_DAYS = 30  # the longest run is held against those of so many days
LEAST_LONGEST = 30.0  # minutes that may be run after a month without any
TEST_EVERY_DAYS, TEST_BEFORE_RACE_DAYS = 42, 21
AS_MUCH = 0.12  # by which what is wanted of a week may have moved, and it still stands


@dataclass(frozen=True)
class Wishes:
    """What the runner or coach wishes of a plan: runs and hard sessions a week, running time a week at most [min],
    weekdays that are free (0 is Monday) and of these the ones liked best for the long run, days on which nothing can
    be, every which week is an easier one (0: none), sessions fixed to a date, whether tests are proposed, and days on
    which nothing hard or long can be."""

    runs: int
    hard_sessions: int
    minutes_most: float
    weekdays: tuple[int, ...] = tuple(range(7))
    long_days: tuple[int, ...] = ()
    closed: frozenset[dt.date] = frozenset()
    easier_every: int = 4
    kept: tuple[Kept, ...] = ()
    tests: bool = True
    easy_only: frozenset[dt.date] = frozenset()


@dataclass(frozen=True)
class Past:
    """What was run before a plan begins: load [CP-min] and longest run [min] of each day, days that were hard or long,
    and the last test or race."""

    loads: Mapping[dt.date, float] = field(default_factory=dict)
    longest: Mapping[dt.date, float] = field(default_factory=dict)
    demanding: Collection[dt.date] = ()
    tested: dt.date | None = None


@dataclass(frozen=True)
class SeasonWeek:
    """A week of a plan: what was wanted, the most load it may hold [CP-min], and how it is laid out."""

    week: Week
    most: float
    longest_most: float
    laid: Laid

    @property
    def load(self) -> float:
        """Running load that is planned, the race that the plan is for left out [CP-min]."""
        return sum(k.offer.load for k in self.laid.sessions if k.on_foot)


def lay_season(
    first: dt.date,
    race: Race,
    standing: Standing,
    wishes: Wishes,
    offers: Sequence[Offer],
    past: Past | None = None,
    others: Sequence[Race] = (),
    before: Iterable[Kept] = (),
    wanted: Mapping[dt.date, float] | None = None,
    until: dt.date | None = None,
) -> list[SeasonWeek]:
    """Every week from the one of ``first`` to the race's, or to the one of ``until``.

    Parameters
    ----------
    first : date
        First day that is planned.
    race : Race
    standing : Standing
    wishes : Wishes
    offers : sequence of Offer
    past : Past
    others : sequence of Race
        B and C races.
    before : iterable of Kept
        A plan there was: a week of it stands as long as it keeps every bound and as much is wanted of it; else it is
        changed as little as can be.
    wanted : mapping
        Load that the weeks of that plan were to hold, by Monday [CP-min].
    until : date
        Weeks after it are not laid out.
    """
    past, before = past or Past(), list(before)
    weeks = season_weeks.season_weeks(
        first,
        race,
        standing,
        wishes.runs,
        wishes.minutes_most,
        wishes.easier_every,
        wishes.closed,
        wishes.hard_sessions,
        others,
        wishes.weekdays,
    )
    races = [Kept(o.date, _race_offer(o), race=True) for o in others]
    spared = _spared([race, *others]) | season_weeks.days_after_absence(wishes.closed) | wishes.easy_only
    longest = dict(past.longest) or {first - dt.timedelta(days=1): standing.longest}
    demanding, tested = set(past.demanding), past.tested
    short = [o for o in offers if o.purpose != "long"]
    out: list[SeasonWeek] = []
    for week in weeks:
        sunday = week.monday + dt.timedelta(days=6)
        if until is not None and week.monday > until:
            break
        reference = standing.load if week.of is None else out[week.of].load
        most = min(week.share * reference, week.most)
        mine = tuple(k for k in before if week.monday <= k.date <= sunday)
        if week.monday < first:  # what was done of it counts, and what was left undone is not caught up
            done = sum(v for d, v in past.loads.items() if week.monday <= d < first)
            rest = max(min(week.whole * reference, week.most) - done, 0.0)
            most = rest if mine else min(most, rest)
            if not mine and week.share < week.whole:  # what was run of it may have been hard already
                left = week.share / week.whole
                some = int(week.hard_sessions * left) if left > 0.5 else 0
                week = replace(week, hard=week.hard * some / max(week.hard_sessions, 1), hard_sessions=some)
        days = [week.monday + dt.timedelta(days=k) for k in range(7)]
        fixed = [k for k in (*wishes.kept, *races) if k.date in days and first <= k.date < race.date]
        raced = sum(k.offer.load for k in fixed if k.race)
        since = sunday - dt.timedelta(days=LOOK_BACK_DAYS)
        recent = max((m for d, m in longest.items() if since <= d < days[0]), default=0.0)
        longest_most = max((week.share if week.phase == "return" else LONGEST) * recent, LEAST_LONGEST)
        purposes = week.purposes
        if wishes.tests and week.phase == "easier" and _test_due(tested, week.monday, race.date):
            purposes = ("test", *purposes)
        open_days = tuple(
            d for d in days if first <= d < race.date and d.weekday() in wishes.weekdays and d not in wishes.closed
        )
        frame = week_days.Frame(
            open_days,
            min(week.load, most),
            max(most, raced),
            week.hard,
            min(week.longest, longest_most),
            longest_most,
            max(wishes.minutes_most, sum(k.offer.minutes for k in fixed if k.race)),
            _runs(wishes.runs, week, days, first, race.date if race.date in days else None, len(open_days)),
            week.hard_sessions,
            purposes,
            frozenset(spared | {d for d in days if _beside(d, demanding)}),
            wishes.long_days,
            mine,
            max(week.hard_sessions, 1) if week.phase in ("taper", "race week", "return") else 7,
        )
        as_much = wanted is None or abs(week.load - wanted.get(week.monday, 0.0)) <= AS_MUCH * week.load
        tested_again = not wishes.tests and any(k.offer.purpose == "test" for k in mine)
        if mine and not tested_again and (as_much or week.monday < first) and week_days.stands(frame, mine, demanding):
            laid = Laid(tuple(sorted((*mine, *(k for k in fixed if not k.on_foot or k.race)), key=_day)), (), True)
        else:
            # Half an hour in the week of the race is no long run, whatever is the longest there.
            laid = week_days.lay_out(frame, short if race.date in days else offers, fixed)
        out.append(SeasonWeek(week, most, longest_most, laid))
        for k in laid.sessions:
            if k.on_foot:
                longest[k.date] = max(longest.get(k.date, 0.0), k.offer.minutes)
            if k.offer.demanding:
                demanding.add(k.date)
            if k.race or k.offer.purpose == "test":
                tested = k.date
    return out


def _day(kept: Kept) -> dt.date:
    return kept.date


def _race_offer(race: Race) -> Offer:
    return Offer(race.name or "race", "race", race.name or "race", race.load, race.minutes, race.minutes, race.metres)


def _spared(races: Sequence[Race]) -> set[dt.date]:
    """Days on which nothing hard or long is for the sake of a race: two before, one before a C race, those after."""
    out: set[dt.date] = set()
    for race in races:
        before = 1 if race.rank == "C" else 2
        after = season_weeks.recovery_days(race.minutes)
        out |= {race.date + dt.timedelta(days=k) for k in range(-before, after + 1) if k}
    return out


def _beside(day: dt.date, demanding: Collection[dt.date]) -> bool:
    return any(day + dt.timedelta(days=k) in demanding for k in (-1, 1))


def _test_due(tested: dt.date | None, monday: dt.date, race: dt.date) -> bool:
    recent = tested is not None and (monday - tested).days < TEST_EVERY_DAYS
    return not recent and (race - monday).days > TEST_BEFORE_RACE_DAYS


def _runs(runs: int, week: Week, days: list[dt.date], first: dt.date, race: dt.date | None, open_days: int) -> int:
    """Runs that a week is to hold: in proportion in one that is begun, one fewer in that of the race, four fifths in a
    taper; in a week after days off by its share."""
    if race is not None:
        return max(min(runs - 1, open_days), 0)
    there = sum(d >= first for d in days)
    if week.phase == "return":
        return max(round(runs * min(1.2 * week.share, 1.0)), 1)
    return runs if there == 7 else round(runs * there / 7)
