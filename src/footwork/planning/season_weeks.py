"""A season week by week, backwards from its race: load, hard minutes and longest run, by a linear programme.

Weeks run from Monday to Sunday. What bounds them holds whatever is wished: growth from what was achieved, a ceiling by
the best weeks of the year, the longest run against those of thirty days, hours, and the taper.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from footwork.errors import UsageError
from footwork.quantities import Floats

METHOD_VERSION = 1
# Our conventions but where a source stands. No weekly percentage is known to be safe (Buist et al. 2008, Am J Sports
# Med 36:33: 20.8 and 20.3 % injured with and without a tenth a week): growth is modest, and nothing is claimed for it.
GROWTH, MOST_GROWTH = 1.06, 1.10  # of a loading week over the last one
EASIER = 0.70  # of the loading week before, in an easier week
CEILING = 1.15  # over the best four-week mean of the year
LONGEST = 1.10  # over the longest run of thirty days: Schuster Brandt Frandsen et al. 2025, BJSM 59:1203
LONGEST_SHARE = 0.45  # of a week's minutes
TAPER_CUT = 0.50  # of volume over a taper; Bosquet et al. 2007, MSSE 39:1358: 41 to 60 %
TAPER_DECAY = 1.5936  # exponent at which a volume that falls exponentially loses half of itself over a taper
RACE_LIKE_WEEKS = 4
BEFORE_B = 0.85  # of the week of a B race
LATE_IN_WEEK = 3  # Thursday: from then on little is left of a week
LITTLE = 0.3  # of a week: nothing hard fits into so little
RETURN = {4: (0.9,), 7: (0.7, 0.85), 14: (0.5, 0.65, 0.8, 0.95), 28: (0.4, 0.55, 0.7, 0.8, 0.95)}  # by days off
GOAL_LONG = ((7_000.0, 75.0), (15_000.0, 90.0), (25_000.0, 120.0), (45_000.0, 165.0))  # race up to [m], minutes
LATER_LONG = 210.0


@dataclass(frozen=True)
class Standing:
    """What a runner's weeks were until a plan begins.

    Load of a usual week and mean of the best four weeks of the year [CP-min]; longest run of thirty days [min]; hard
    share of running time in twelve weeks [1]; running time of a usual week [min] and runs in it; days without running
    until the plan begins [d].
    """

    load: float
    best: float
    longest: float
    hard_share: float
    minutes: float
    runs: float
    days_off: int = 0


@dataclass(frozen=True)
class Race:
    """A race of a plan: ``rank`` A (the plan is for it), B (four easier days before) or C (run as it comes); distance
    [m], time [min] and load [CP-min] as expected."""

    date: dt.date
    rank: str
    metres: float
    minutes: float
    load: float
    name: str = ""


@dataclass(frozen=True)
class Week:
    """What a week is to hold: load [CP-min]; minutes above the moderate border and longest run [min]; hard sessions and
    their purposes; its phase, and why it is as it is.

    Its load is bounded by ``share`` of the load that the week ``of`` came to (None: of a usual week), and by ``most``
    [CP-min]; ``whole`` is that share if all its days were there and free.
    """

    monday: dt.date
    phase: str
    load: float
    of: int | None
    share: float
    whole: float
    most: float
    hard: float
    longest: float
    hard_sessions: int
    purposes: tuple[str, ...]
    reason: str


def taper_days(metres: float) -> int:
    """Days over which volume falls before a race of a distance [m]; one to three weeks gained in trials (Bosquet et al.
    2007; Wang 2023, PLoS ONE 18:e0282838)."""
    return 7 if metres <= 15_000 else 14 if metres <= 30_000 else 21


def taper_share(day: dt.date, race: dt.date, days: int) -> float:
    """Share of the usual volume on a day before a race: falls exponentially, by half over all its days [1]."""
    left = (race - day).days
    if left > days or left < 1:
        return 1.0
    gone = (days - left) / days, (days - left + 1) / days
    first, last = (np.exp(-TAPER_DECAY * g) for g in gone)
    return float((first - last) * days / TAPER_DECAY)


def recovery_days(minutes: float) -> int:
    """Days without hard running after a race of so many minutes: one an hour, one to seven [d]; our convention."""
    return int(np.clip(np.ceil(minutes / 60.0), 1, 7))


def return_steps(days_off: int) -> tuple[float, ...]:
    """Shares of a usual week in the first weeks after days without running; our convention."""
    return next((steps for least, steps in sorted(RETURN.items(), reverse=True) if days_off >= least), ())


def phases(mondays: Sequence[dt.date], race: Race, easier_every: int) -> list[str]:
    """``building``, ``race-like``, ``easier``, ``taper`` or ``race week`` of each week, counted back from the race.

    ``easier_every`` is 3, 4 or 5 weeks, 0 for none.
    """
    taper = race.date - dt.timedelta(days=taper_days(race.metres))
    out = []
    for monday in mondays:
        if monday + dt.timedelta(days=6) >= race.date:
            out.append("race week")
        elif monday + dt.timedelta(days=3) >= taper:  # most of it
            out.append("taper")
        else:
            back = ((taper - monday).days + 6) // 7  # 1 for the last week before the taper
            easier = bool(easier_every) and back % easier_every == 0
            out.append("easier" if easier else "race-like" if back <= RACE_LIKE_WEEKS else "building")
    return out


def goal_long(metres: float) -> float:
    """How long the longest run becomes for a race of a distance [m], in minutes; our convention."""
    return next((minutes for most, minutes in GOAL_LONG if metres <= most), LATER_LONG)


def season_weeks(
    first: dt.date,
    race: Race,
    standing: Standing,
    runs: int,
    minutes_most: float,
    easier_every: int = 4,
    closed: Collection[dt.date] = (),
    hard_sessions: int = 1,
    others: Sequence[Race] = (),
    weekdays: Collection[int] = tuple(range(7)),
) -> list[Week]:
    """Targets of each week from the one of ``first`` to the race's.

    Parameters
    ----------
    first : date
        First day that is planned; the days of its week before it are over.
    race : Race
        What the plan is for.
    standing : Standing
    runs : int
        Runs a week, hours allowing.
    minutes_most : float
        Running time a week at most [min].
    easier_every : int
        3, 4 or 5; 0 for no easier weeks.
    closed : collection of date
        Days on which nothing can be run.
    hard_sessions : int
        A week, where it is neither easier nor a return.
    others : sequence of Race
        B races are eased into.
    weekdays : collection of int
        That are free, 0 for Monday.

    Raises
    ------
    UsageError
        No load to start from.
    """
    if not standing.load > 0 or not standing.minutes > 0:
        raise UsageError("a plan continues from a usual week, and there is none: three complete weeks of runs give it")
    begin = first - dt.timedelta(days=first.weekday())
    mondays = [begin + dt.timedelta(weeks=k) for k in range((race.date - begin).days // 7 + 1)]
    kinds = phases(mondays, race, easier_every)
    rate = standing.load / standing.minutes
    bounds = _bounds(mondays, kinds, first, race, standing, closed, others, weekdays)
    most = [min(minutes_most * rate, CEILING * max(standing.best, standing.load))] * len(mondays)
    loads, hard, longs = _least_deviation(bounds, most, kinds, race, standing, rate, runs)
    out = []
    for k, (monday, kind, bound) in enumerate(zip(mondays, kinds, bounds, strict=True)):
        short = bound.share < LITTLE and kind not in ("taper", "race week")
        none_hard = bound.step == 0 or short
        of_kind = 1 if kind in ("easier", "taper", "race week") or bound.step is not None else hard_sessions
        out.append(
            Week(
                monday,
                kind if bound.step is None else "return",
                loads[k],
                bound.of,
                bound.share,
                bound.whole,
                most[k],
                0.0 if none_hard else hard[k],
                longs[k],
                0 if none_hard else min(of_kind, hard_sessions),
                _purposes(kind, sum(x in ("building", "race-like") for x in kinds[k:])),
                bound.reason,
            )
        )
    return out


_WHY = {
    "building": "builds on the last full week",
    "race-like": "hard minutes near the power of the race",
    "easier": "easier, to take in the weeks before",
}


@dataclass(frozen=True)
class _Bound:
    """What a week's load is bounded by: a share of the week ``of`` (None: of a usual one), the share it would be with
    all its days free, and why; ``step`` of a return, 0 for the first, None where it is none."""

    of: int | None
    share: float
    whole: float
    reason: str
    step: int | None = None


def _bounds(
    mondays: list[dt.date],
    kinds: list[str],
    first: dt.date,
    race: Race,
    standing: Standing,
    closed: Collection[dt.date],
    others: Sequence[Race],
    weekdays: Collection[int],
) -> list[_Bound]:
    steps = list(enumerate(return_steps(standing.days_off)))
    if steps and first.weekday() >= LATE_IN_WEEK:  # what is left of this week is no step of its own
        steps = [steps[0], *steps]
    away = _after_absence(closed)
    out: list[_Bound] = []
    loading: int | None = None
    for k, (monday, kind) in enumerate(zip(mondays, kinds, strict=True)):
        days = [monday + dt.timedelta(days=d) for d in range(7)]
        there = [d for d in days if first <= d < race.date]
        fits = _part([d for d in there if d.weekday() in weekdays], closed, len(weekdays))
        tapered = sum(taper_share(d, race.date, taper_days(race.metres)) for d in there if d not in closed) / 7.0
        if k < len(steps):
            at, share = steps[k]
            share = min(share, tapered if kind in ("taper", "race week") else 1.0)
            reason = f"back after {standing.days_off} days without running: {100 * share:.0f} % of a usual week"
            out.append(_Bound(None, share * fits, share, reason, at))
            continue
        if kind in ("taper", "race week"):
            reason = "taper: less and less volume, as hard as before, nearly as often"
            out.append(_Bound(loading, tapered, tapered, reason))
            continue
        b_race = next((o for o in others if o.rank == "B" and o.date in days), None)
        share, reason = EASIER if kind == "easier" else MOST_GROWTH, _WHY[kind]
        if b_race is not None and share > BEFORE_B:
            share, reason = BEFORE_B, f"four easier days before {b_race.name or 'the race'} on {b_race.date}"
        step: int | None = None
        if monday in away and away[monday][1] < share:
            step, share = away[monday]
            reason = f"back after days away: at most {100 * share:.0f} % of a full week"
        whole = share
        if not fits:
            reason = "no free day is left of it" if k == 0 and first > monday else "away: no day is free"
        elif fits < 1.0:
            begun = k == 0 and first > monday
            if reason == _WHY[kind] and kind != "easier":  # it builds on nothing
                reason = f"in proportion to {'the days that are left of it' if begun else 'its free days'}"
            else:
                reason += "; a week that is begun" if begun else "; not all its days are free"
        share *= fits
        out.append(_Bound(loading, share, whole, reason, step))
        if share > 1.0:
            loading = k
    return out


def _absences(closed: Collection[dt.date]) -> list[tuple[dt.date, int]]:
    """Closed days in a row: the first day after them, and how many they are."""
    out = []
    for day in sorted(closed):
        if day + dt.timedelta(days=1) not in closed:
            begun = day
            while begun - dt.timedelta(days=1) in closed:
                begun -= dt.timedelta(days=1)
            out.append((day + dt.timedelta(days=1), (day - begun).days + 1))
    return out


def _after_absence(closed: Collection[dt.date]) -> dict[dt.date, tuple[int, float]]:
    """Step and share of a full week in the weeks after four and more closed days, by Monday."""
    return {
        back - dt.timedelta(days=back.weekday()) + dt.timedelta(weeks=k): (k, share)
        for back, days in _absences(closed)
        for k, share in enumerate(return_steps(days))
    }


def days_after_absence(closed: Collection[dt.date]) -> set[dt.date]:
    """The week after four and more closed days: nothing hard is on these days."""
    return {back + dt.timedelta(days=k) for back, days in _absences(closed) if return_steps(days) for k in range(7)}


def _part(there: list[dt.date], closed: Collection[dt.date], free: int) -> float:
    """Share of a week's free days that are there [1]."""
    return sum(d not in closed for d in there) / max(free, 1)


def _least_deviation(
    bounds: list[_Bound], most: list[float], kinds: list[str], race: Race, standing: Standing, rate: float, runs: int
) -> tuple[list[float], list[float], list[float]]:
    """Load [CP-min], hard minutes and longest run [min] of each week, as near to what is wished as the bounds let them,
    with few bends between weeks."""
    count = len(bounds)
    model = Linear()
    load, hard, longest = ([model.variable() for _ in range(count)] for _ in range(3))
    goal = max(goal_long(race.metres), 1.0)
    share_of_week = max(LONGEST_SHARE, 1.6 / max(runs, 1))
    grown = standing.load
    for k, bound in enumerate(bounds):
        of, share = bound.of, bound.share
        loading = share > 1.0
        if of is None:
            model.at_most({load[k]: 1.0}, share * standing.load)
        else:
            model.at_most({load[k]: 1.0, load[of]: -share}, 0.0)
        model.at_most({load[k]: 1.0}, most[k])
        grown = min(grown * GROWTH, most[k]) if loading else grown
        wished = grown if loading else min(share * grown, most[k])
        model.near(load[k], wished, 1.0 / standing.load)
        model.at_most({hard[k]: rate, load[k]: -standing.hard_share}, 0.0)
        model.near(hard[k], 1e4, 1e-5)  # as many as its bound lets it
        before = {} if of is None else {longest[of]: -LONGEST}
        model.at_most({longest[k]: 1.0} | before, 0.0 if before else LONGEST * standing.longest)
        model.at_most({longest[k]: rate, load[k]: -share_of_week}, 0.0)
        easier = 1.0 if loading else 0.75 if kinds[k] not in ("taper", "race week") else max(share, 0.3)
        model.near(longest[k], easier * goal, 0.3 / goal)
    for a, b, c in zip(load, load[1:], load[2:], strict=False):
        model.small({a: 1.0, b: -2.0, c: 1.0}, 0.02 / standing.load)
    found = model.solve()
    return tuple([float(found[v]) for v in row] for row in (load, hard, longest))  # type: ignore[return-value]


def _purposes(kind: str, left: int) -> tuple[str, ...]:
    """Purposes of a week's hard sessions, the first one first; ``left`` loading weeks are to come, with this one."""
    if kind in ("race-like", "taper", "race week"):
        return ("severe", "race") if not left else ("race", "severe") if left % 2 else ("race", "threshold")
    if kind == "easier":
        return ("threshold",)
    return (("severe", "threshold"), ("threshold", "hills"), ("hills", "severe"))[left % 3]


class Linear:
    """A linear programme put together piece by piece: variables from nought, bounds, wishes; solved with HiGHS."""

    def __init__(self) -> None:
        self.cost: list[float] = []
        self.rows: list[tuple[dict[int, float], float]] = []

    def variable(self, cost: float = 0.0) -> int:
        self.cost.append(cost)
        return len(self.cost) - 1

    def at_most(self, terms: Mapping[int, float], bound: float) -> None:
        """Sum of the terms is at most a bound."""
        self.rows.append((dict(terms), bound))

    def near(self, variable: int, wished: float, cost: float) -> None:
        """A variable costs as much as it lies away from what is wished."""
        self.small({variable: 1.0}, cost, wished)

    def small(self, terms: Mapping[int, float], cost: float, about: float = 0.0) -> None:
        """A sum costs as much as it lies away from a value."""
        away = self.variable(cost)
        self.at_most({**terms, away: -1.0}, about)
        self.at_most({**{v: -t for v, t in terms.items()}, away: -1.0}, -about)

    def solve(self) -> Floats:
        """Values of the variables, shape (n,)."""
        from scipy.optimize import linprog
        from scipy.sparse import coo_array

        places = [(r, v, t) for r, (terms, _) in enumerate(self.rows) for v, t in terms.items()]
        at, of, value = (np.array(x) for x in zip(*places, strict=True))
        matrix: Any = coo_array((value, (at, of)), shape=(len(self.rows), len(self.cost))).tocsr()
        bounds: Any = np.array([bound for _, bound in self.rows])
        found = linprog(np.array(self.cost), A_ub=matrix, b_ub=bounds, method="highs")
        if found.x is None:
            raise AssertionError(f"every bound of a season holds nought: {found.message}")
        return np.asarray(found.x, dtype=float)
