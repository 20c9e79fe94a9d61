"""The sessions of a week put on its days by a mixed-integer programme.

What protects the runner is a bound: load, longest run, hours, 48 h between hard or long sessions, nothing hard before
and after a race, closed days. What is wished may give way, as little as it must, and is then named.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from footwork.planning.families import HARD_MIN, Offer
from footwork.quantities import Floats

METHOD_VERSION = 1
TIME_LIMIT_S = 5.0
# Costs, in units of one: our conventions. What is wished outright costs so much that it gives way only where it must.
WISH, RUN_FEWER, HARD_FEWER = 1000.0, 200.0, 120.0
OFF_LOAD, OFF_HARD, OFF_LONGEST = 100.0, 30.0, 40.0  # for being wholly off
SAME_PURPOSE, SECOND_PURPOSE, CHANGED, OTHER_DAY, TWICE, HARDER = 20.0, 2.0, 8.0, 4.0, 1.0, 400.0
TIE = 1e-4
LONG_APART = 10.0  # minutes between a long run that is wished and one that is offered
NEAR = 0.03  # of the load wished: nobody runs to the minute
GAP = 0.01


@dataclass(frozen=True)
class Kept:
    """A session that is fixed to a day: the runner's or coach's own, a ride, or a race; ``on_foot`` counts as a run.
    A race never gives way."""

    date: dt.date
    offer: Offer
    on_foot: bool = True
    race: bool = False

    @property
    def called(self) -> str:
        """Its name; its words where it has no other."""
        return self.offer.text if self.offer.name == "kept" else self.offer.name


@dataclass(frozen=True)
class Frame:
    """What bounds a week and what is wished of it.

    Days that can be run on; load wished and at most [CP-min]; hard minutes wished; longest run wished and at most;
    running time at most [min]; runs and hard sessions; purposes of hard sessions, the first one first; days on which
    nothing hard or long may be; weekdays liked best for the long run; sessions there were before; hard sessions at
    most, kept ones and rides with them.
    """

    open_days: tuple[dt.date, ...]
    load: float
    most: float
    hard: float
    longest: float
    longest_most: float
    minutes_most: float
    runs: int
    hard_sessions: int
    purposes: tuple[str, ...]
    no_demanding: frozenset[dt.date] = frozenset()
    long_days: tuple[int, ...] = ()
    before: tuple[Kept, ...] = ()
    hard_most: int = 7


@dataclass(frozen=True)
class Laid:
    """A week as it is laid out: sessions by day, wishes that gave way in words, and whether it is proven to be best."""

    sessions: tuple[Kept, ...]
    gave_way: tuple[str, ...]
    best: bool


def lay_out(frame: Frame, offers: Sequence[Offer], kept: Sequence[Kept]) -> Laid:
    """The week that is nearest to what is wished.

    Parameters
    ----------
    frame : Frame
    offers : sequence of Offer
        What may stand on a day.
    kept : sequence of Kept
        Fixed to their days; they give way only to a bound.
    """
    return _Programme(frame, offers, kept).solved()


def stands(frame: Frame, sessions: Sequence[Kept], demanding: Collection[dt.date] = ()) -> bool:
    """Whether sessions that were planned keep every bound of a week; ``demanding`` are hard or long days before it."""
    on_foot = [k for k in sessions if k.on_foot]
    heavy = sorted({k.date for k in sessions if k.offer.demanding} | set(demanding))
    return (
        all(k.date in frame.open_days for k in on_foot)
        and sum(k.offer.load for k in on_foot) <= frame.most + 0.5
        and sum(k.offer.minutes for k in on_foot) <= frame.minutes_most + 1.0
        and max((k.offer.minutes for k in on_foot), default=0.0) <= frame.longest_most + 1.0
        and not any(k.offer.demanding and k.date in frame.no_demanding for k in sessions)
        and all((b - a).days >= 2 for a, b in pairwise(heavy) if b in frame.open_days)
    )


class _Programme:
    """One choice (0 or 1) for each open day and offer, one for each kept session, and what is off by how much."""

    def __init__(self, frame: Frame, offers: Sequence[Offer], kept: Sequence[Kept]) -> None:
        self.frame = frame
        self.costs: list[float] = []
        self.whole: list[bool] = []
        self.top: list[float] = []
        self.rows: list[tuple[dict[int, float], float, float]] = []
        self.choices: list[tuple[int, Kept]] = []
        self.fixed: list[tuple[int, Kept]] = []
        for k in kept:
            self.fixed.append((self._variable(0.0), k))
            given_up = self._variable(WISH * (10.0 if k.race else 1.0))
            self._row({self.fixed[-1][0]: 1.0, given_up: 1.0}, 1.0, 1.0)
        taken = {k.date for k in kept if k.on_foot}
        likely = [o for o in offers if self._may(o)]
        for day in frame.open_days:
            for place, o in enumerate(likely):
                if day not in taken and not (o.demanding and day in frame.no_demanding):
                    self.choices.append((self._variable(self._liking(day, o) + TIE * place), Kept(day, o)))
        self._bounds()
        self._wishes()

    def _may(self, offer: Offer) -> bool:
        frame = self.frame
        if offer.minutes > frame.longest_most:
            return False
        if offer.purpose == "long":
            if offer.is_hard and not frame.hard_sessions:
                return False
            return abs(offer.minutes - min(frame.longest, frame.longest_most)) <= LONG_APART
        return not offer.is_hard or (frame.hard_sessions > 0 and offer.purpose in frame.purposes)

    def _liking(self, day: dt.date, offer: Offer) -> float:
        """What a session on a day costs by itself."""
        frame, cost = self.frame, 0.0
        if offer.is_hard and offer.purpose != "long":
            cost += SECOND_PURPOSE * self.frame.purposes.index(offer.purpose)
        if offer.purpose == "long" and self.frame.long_days and day.weekday() not in self.frame.long_days:
            cost += OTHER_DAY
        if self.frame.before:
            same_day = next((k for k in self.frame.before if k.date == day), None)
            harder = same_day is not None and offer.hard > same_day.offer.hard + HARD_MIN
            if same_day is not None and harder and (frame.hard_most < 7 or offer.purpose == same_day.offer.purpose):
                cost += HARDER  # a change makes no day harder, but where a hard session moves to it
            if same_day is None or same_day.offer.text != offer.text:
                cost += CHANGED / (2.0 if same_day and same_day.offer.purpose == offer.purpose else 1.0)
        return cost

    def _variable(self, cost: float, whole: bool = True, top: float = 1.0) -> int:
        self.costs.append(cost)
        self.whole.append(whole)
        self.top.append(top)
        return len(self.costs) - 1

    def _row(self, terms: Mapping[int, float], low: float, high: float) -> None:
        if terms:
            self.rows.append((dict(terms), low, high))

    def _off(self, terms: Mapping[int, float], wished: float, cost: float, within: float = 0.0) -> None:
        """A sum costs as much as it is off what is wished by more than ``within``."""
        away = self._variable(cost, whole=False, top=np.inf)
        self._row({**terms, away: -1.0}, -np.inf, wished + within)
        self._row({**terms, away: 1.0}, wished - within, np.inf)

    def _all(self) -> list[tuple[int, Kept]]:
        return self.choices + self.fixed

    def _bounds(self) -> None:
        frame = self.frame
        mine = self._all()
        counted = [(v, k) for v, k in mine if k.on_foot]
        days = sorted({k.date for _, k in mine})
        for day in days:
            self._row({v: 1.0 for v, k in self.choices if k.date == day}, 0.0, 1.0)
            follows = (day, day + dt.timedelta(days=1))
            hard = {v: 1.0 for v, k in mine if k.date in follows and k.offer.demanding}
            self._row(hard, 0.0, 1.0)
        self._row({v: k.offer.load for v, k in counted}, 0.0, frame.most)
        self._row({v: k.offer.minutes for v, k in counted}, 0.0, frame.minutes_most)
        self._row({v: 1.0 for v, k in self.choices if k.offer.purpose == "long"}, 0.0, 1.0)
        self._row(
            {v: 1.0 for v, k in self.choices if k.offer.is_hard and k.offer.purpose != "long"}, 0.0, frame.hard_sessions
        )
        self._row({v: 1.0 for v, k in mine if k.on_foot}, 0.0, frame.runs)
        self._row({v: 1.0 for v, k in mine if k.offer.is_hard and not k.race}, 0.0, frame.hard_most)
        for v, k in self.fixed:  # a kept session too gives way to a race, and to easy days
            if k.offer.demanding and not k.race and k.date in frame.no_demanding:
                self._row({v: 1.0}, 0.0, 0.0)

    def _wishes(self) -> None:
        frame = self.frame
        mine = [(v, k) for v, k in self._all() if k.on_foot]
        self._off({v: 1.0 for v, _ in mine}, frame.runs, RUN_FEWER)
        own = sum(k.offer.is_hard for _, k in self.fixed)
        hard = {v: 1.0 for v, k in self.choices if k.offer.is_hard and k.offer.purpose != "long"}
        self._off(hard, max(frame.hard_sessions - own, 0), HARD_FEWER)
        self._off({v: k.offer.load for v, k in mine}, frame.load, OFF_LOAD / max(frame.load, 1.0), NEAR * frame.load)
        self._off({v: k.offer.hard for v, k in mine}, frame.hard, OFF_HARD / max(frame.hard, 10.0), 5.0)
        if frame.longest > 0:
            longs = {v: k.offer.minutes for v, k in self.choices if k.offer.purpose == "long"}
            self._off(longs, frame.longest, OFF_LONGEST / frame.longest, 5.0)
        # In one order in every process: a programme in another order may break ties otherwise.
        for purpose in sorted({k.offer.purpose for _, k in self.choices} - {"easy", "long"}):
            more = self._variable(SAME_PURPOSE, whole=False, top=np.inf)  # the same purpose twice
            self._row({**{v: 1.0 for v, k in self.choices if k.offer.purpose == purpose}, more: -1.0}, -np.inf, 1.0)
        for text in sorted({k.offer.text for _, k in self.choices if k.offer.purpose == "easy"}):
            more = self._variable(TWICE, whole=False, top=np.inf)
            self._row({**{v: 1.0 for v, k in self.choices if k.offer.text == text}, more: -1.0}, -np.inf, 1.0)

    def solved(self) -> Laid:
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import coo_array

        if not self.costs:
            return Laid((), (), True)
        places = [(r, v, t) for r, (terms, _, _) in enumerate(self.rows) for v, t in terms.items()]
        at, of, value = (np.array(x) for x in zip(*places, strict=True))
        matrix = coo_array((value, (at, of)), shape=(len(self.rows), len(self.costs))).tocsr()
        low, high = (np.array([row[k] for row in self.rows]) for k in (1, 2))
        found = milp(
            np.array(self.costs),
            integrality=np.array(self.whole, dtype=int),
            bounds=Bounds(np.zeros(len(self.costs)), np.array(self.top)),
            constraints=LinearConstraint(matrix, low, high),
            options={"time_limit": TIME_LIMIT_S, "mip_rel_gap": GAP},
        )
        if found.x is None:
            raise AssertionError(f"an empty week holds every bound: {found.message}")
        chosen = [k for v, k in self._all() if found.x[v] > 0.5]
        return Laid(tuple(sorted(chosen, key=lambda k: k.date)), self._gave_way(found.x), found.status == 0)

    def _gave_way(self, x: Floats) -> tuple[str, ...]:
        """What was wished and is not to be had, in words."""
        frame = self.frame
        out = [f"{k.called} on {k.date:%A} does not fit" for v, k in self.fixed if x[v] < 0.5]
        runs = sum(x[v] > 0.5 for v, k in self._all() if k.on_foot)
        free = len(set(frame.open_days) | {k.date for _, k in self.fixed if k.on_foot})
        if runs < frame.runs:
            into = count_of(free, "free day") if free < frame.runs else "what this week may hold"
            out.append(f"{count_of(frame.runs, 'run')} {'does' if frame.runs == 1 else 'do'} not fit into {into}")
        chosen = [k for v, k in self._all() if x[v] > 0.5]
        held = sum(k.offer.is_hard and k.offer.purpose != "long" for k in chosen)
        if frame.hard_most == 7 and held < frame.hard_sessions and any(k.offer.is_hard for _, k in self.choices):
            wished = count_of(frame.hard_sessions, "hard session")
            out.append(
                f"{wished} {'does' if frame.hard_sessions == 1 else 'do'} not fit{f', only {held}' if held else ''}"
            )
        hard = [k.date for k in chosen if k.offer.is_hard]
        could = {k.date for _, k in self.choices if k.offer.purpose == "long"}
        has_long = any(k.on_foot and k.offer.minutes >= frame.longest - LONG_APART for k in chosen)
        if could and not has_long and not any(all(abs((d - h).days) > 1 for h in hard) for d in could):
            beside = count_of(len(hard), "hard session")
            out.append(f"a long run does not fit beside {beside} with 48 h between any two")
        return tuple(out)


def count_of(number: int, what: str) -> str:
    """``1 run``, ``3 runs``."""
    return f"{number} {what}{'' if number == 1 else 's'}"
