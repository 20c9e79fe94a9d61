"""Strategies for a race: the quickest, even power and even pace on one reserve, which the risk of having to ease sets,
and what many race days make of the one that is chosen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from footwork.analysis.speed import PowerAtSpeed
from footwork.errors import UsageError
from footwork.planning import fuel, instructions, pacing, race_days
from footwork.planning.course import Course, Place, ground_factor
from footwork.quantities import Floats, parse_distance, plain
from footwork.wording import race_words

EXECUTION_SD = 0.01  # how exactly a runner holds the power asked for, over a race; our convention


MOST_RESERVE = 0.999
DUST = 1e-6  # of a store: less than nothing by rounding is nothing
SEARCH_DRAWS = 800  # of race days, while the risk is sought
DAY_SEGMENTS = 150  # of race days that are asked for their times only
LEAST_SHARE, MOST_SHARE = 0.6, 1.1  # of all that the runner most likely has, between which it is sought


CURVE = np.linspace(0.025, 0.975, 39)  # its ends are the interval of 95 %


UNKNOWNS = {
    "capacity": "what you can hold",
    "power at speed": "what your device shows at a speed that day",
    "heat and altitude": "what heat and altitude take",
    "ride": "what the ride before takes",
    "form": "how good a day it is",
    "execution": "how exactly you hold the power",
}


@dataclass(frozen=True)
class RaceDraws:
    """Joint draws of a race day: CP [W], W′ [J] and γ in the race's conditions, what conditions take and what the day's
    form gives as factors, how much more power the device shows for a speed, and what a ride before leaves, as a
    factor."""

    critical_power: Floats
    w_prime: Floats
    tail: Floats
    conditions: Floats
    form: Floats
    needs: Floats
    ride: Floats | float = 1.0
    by_clock: bool = False  # whether the runner keeps to a pace, not to watts

    def thinned(self, count: int) -> RaceDraws:
        """Every so many-th of the draws, about ``count`` of them."""
        step = max(len(self.needs) // count, 1)
        ride = self.ride if isinstance(self.ride, float) else self.ride[::step]
        return RaceDraws(
            self.critical_power[::step],
            self.w_prime[::step],
            self.tail[::step],
            self.conditions[::step],
            self.form[::step],
            self.needs[::step],
            ride,
            self.by_clock,
        )

    @property
    def execution(self) -> Floats:
        """How exactly each race day keeps to the plan: power over the planned [1], shape (k,)."""
        if self.by_clock:
            return self.needs
        return np.asarray(
            np.exp(EXECUTION_SD * np.random.default_rng(11).standard_normal(len(self.needs))), dtype=float
        )


@dataclass(frozen=True)
class StrategyBasis:
    """What a plan rests on: the course under its weather, power at speed, mass [kg], draws of the day, places on the
    way, what the watch shows for each official metre, the shortest time that a plan's highest power can be held for
    [s], and the factor on the medians of the draws that makes them one runner's."""

    path: Course
    relation: PowerAtSpeed
    mass: float | None
    draws: RaceDraws
    places: tuple[Place, ...] = ()
    watch: float = 1.0
    shortest: float = pacing.HARDEST_S
    middle: float = 1.0
    first: float = 0.0  # told apart from the rest, as after a ride [m]

    def engine(self) -> pacing.Engine:
        """The runner of the middle of the draws."""
        d = self.draws
        cp, wp, tail = (float(np.median(v)) for v in (d.critical_power, d.w_prime, d.tail))
        made = pacing.Engine(self.middle * cp, self.middle * wp, tail, self.relation.power, self.mass, self.shortest)
        # Descents are limited against the level speed of all that the runner has.
        return replace(made, level=float(pacing.even_power(made, self.path).power.max()))


@dataclass(frozen=True)
class Wishes:
    """How the race is to be run.

    ``strategy`` is the one that everything shown is of; ``risk`` the share of race days that may end over 1 % later
    than planned, which the plan is made for: so many must ease by that much (None: it spends all that the runner most
    likely has); ``goal`` a time [s], a slower one than the best leaves more in the stores; ``negative_split`` how much
    harder the second half is to be, as a share; ``own`` watts up to a distance [m].
    """

    strategy: str = "quickest"
    risk: float | None = None
    goal: float | None = None
    negative_split: float = 0.0
    own: tuple[tuple[float, float], ...] = ()

    def check(self) -> None:
        """Raises UsageError for what cannot be planned."""
        names = (*pacing.STRATEGIES, *(("own",) if self.own else ()))
        if self.strategy == "own" and not self.own:
            raise UsageError(
                "your own watts are the strategy, but none are given: --own 5km=250 says up to where which"
            )
        if self.strategy not in names:
            raise UsageError(f"'{self.strategy}' is no strategy here: use {', '.join(names)}")
        if self.risk is not None and not 0.01 <= self.risk <= 0.9:
            raise UsageError(f"{100 * self.risk:g} % of race days late cannot be planned for: give 1 to 90 %")


def parse_own(texts: Sequence[str]) -> tuple[tuple[float, float], ...]:
    """The runner's own watts, each up to a place: ``5km=250``. Raises UsageError.

    Returns places [m] and watts [W].
    """
    out = []
    for text in texts:
        place, equals, watts = text.partition("=")
        try:
            value = float(watts.lower().removesuffix("w"))
        except ValueError:
            equals, value = "", 0.0
        if not equals or not 20 <= value <= 2000:
            raise UsageError(f"'{text}' is no stretch of your own: write 5km=250 for 250 W up to 5 km")
        out.append((parse_distance(place), value))
    if [m for m, _ in out] != sorted({m for m, _ in out}):
        raise UsageError("stretches of your own follow each other: give each a farther end than the one before")
    return tuple(out)


def strategies_for(basis: StrategyBasis, wishes: Wishes) -> dict[str, Any]:
    """Strategies and race days as plain JSON: ``strategies``, ``finish_time``, ``late_probability``,
    ``run_dry_probability``, ``easing_by_segment``, ``unknowns``, ``solver``, ``reserve`` and ``chosen``. Raises
    UsageError for wishes that cannot be planned."""
    wishes.check()
    path, draws = basis.path, basis.draws
    engine = basis.engine()
    reserve = _reserve(engine, path, draws, wishes)
    # Descents are limited against the level speed of this plan, no longer of all that the runner has.
    engine = replace(engine, level=float(pacing.even_power(engine, path, reserve).power.max()))
    even = pacing.even_power(engine, path, reserve)
    quickest, solved = pacing.quickest(engine, path, reserve, even)
    if wishes.goal is not None:  # a goal is a time, not what it leaves
        quickest = pacing.leaning(engine, path, quickest, 0.0, reserve, wishes.goal)
    found = {"quickest": quickest, "even-power": even, "even-pace": pacing.even_pace(engine, path, reserve)}
    level = found.get(wishes.strategy, quickest)
    if wishes.negative_split:
        found = {
            name: pacing.leaning(engine, path, run, wishes.negative_split, reserve, wishes.goal)
            for name, run in found.items()
        }
    if wishes.own:
        found["own"] = _own(engine, basis, found["even-power"], wishes.own)
    if wishes.goal is not None and wishes.strategy != "own":
        # A goal is run by the clock: a day that takes more watts for its pace takes them from the runner.
        draws = replace(draws, by_clock=True)
    days = _days(found[wishes.strategy], path, draws)
    risky = wishes.risk is not None and wishes.goal is None and wishes.strategy != "own"
    in_hand = _in_hand(days, found[wishes.strategy], wishes.risk if risky else None)
    leaning_costs = in_hand * (found[wishes.strategy].time - level.time)
    unknowns = _unknowns(*_coarse(found[wishes.strategy], path), draws)
    found = {name: later(run, in_hand) for name, run in found.items()}
    chosen = found[wishes.strategy]
    share, error = instructions.displayed_share(path, chosen.speed, basis.mass, basis.relation)
    told, free_cost = instructions.with_bands(
        engine, path, instructions.stretches(chosen, path, share, basis.places, error, basis.first), reserve
    )
    climb = pacing.limited_at(engine, path, found["even-pace"])
    simple = later(instructions.simplified(engine, path, chosen, share, told, reserve), in_hand)
    # Energy by distance on the level: climbs and soft ground count as the longer road that costs as much.
    eaten = fuel.guidance(float((path.length * ground_factor(path, chosen.speed)).sum()), chosen.time, basis.mass)
    p10, p50, p90 = (float(q) for q in np.quantile(days.times, [0.1, 0.5, 0.9]))
    fastest = found["quickest"].time
    mean = float(np.average([s.power for s in told], weights=[s.seconds for s in told]))
    out: dict[str, Any] = plain(
        {
            "chosen": wishes.strategy,
            "descents": _descents(path),
            "reserve": reserve,
            "risk": wishes.risk,
            "w_prime_j": engine.w_prime,
            "strategies": {
                name: _told(run, path, fastest, share, climb if name == "even-pace" else None)
                for name, run in found.items()
            },
            "finish_time": {"p10": p10, "p50": p50, "p90": p90},
            "late_probability": days.late(chosen.time),
            "run_dry_probability": float(days.dry[-1]),
            "in_hand_share": in_hand - 1.0,
            "hundred_days_s": [float(t) for t in np.quantile(days.times, (np.arange(100) + 0.5) / 100)],
            "finish_curve": [
                {"share": float(s), "time_s": float(t)}
                for s, t in zip(CURVE, np.quantile(days.times, CURVE), strict=True)
            ],
            "easing_by_segment": [float(d) for d in days.easing],
            "unknowns": unknowns,
            "solver": {
                "status": solved.status,
                "iterations": solved.iterations,
                "seconds": solved.seconds,
                "residual": solved.residual,
            },
            "fuel": {
                "energy_kcal": eaten.energy,
                "carbohydrate_low_g_per_h": eaten.low,
                "carbohydrate_high_g_per_h": eaten.high,
                "sentence": eaten.sentence,
            },
            "why": race_words.why_of_strategies(found, path, climb),
            "instructions": [
                _instruction(s, basis.watch, mean, path, basis.first > 0 and k == 0) for k, s in enumerate(told)
            ],
            "bands_cost_s": free_cost,
            "simplifying_costs_s": 0.0 if wishes.strategy == "own" else simple.time - chosen.time,
            "negative_split_costs_s": leaning_costs
            if wishes.negative_split and wishes.strategy != "own" and wishes.goal is None
            else None,
        }
    )
    return out


def later(run: pacing.Run, factor: float) -> pacing.Run:
    """The same effort on a day that takes so many times as long."""
    return replace(run, speed=run.speed / factor, seconds=run.seconds * factor)


def _in_hand(days: race_days.Days, run: pacing.Run, risk: float | None) -> float:
    """How many times longer than on the middle day the plan's running is, so that no more days than the risk end over
    1 % later: what a device shows at a pace, and what a runner holds, differ from day to day."""
    if risk is None:
        return 1.0
    stood = float(run.stops.sum())
    asked = float(np.quantile(days.times, 1.0 - risk)) / race_days.LATE
    return max((asked - stood) / (run.time - stood), 1.0)


def _descents(path: Course) -> list[dict[str, Any]]:
    """What is known of the runner downhill, by fall."""
    return [
        {
            "grade": -g.fall,
            "cost_share": float(path.descents.factor(-g.fall)),
            "saved_share": g.saved[0],
            "saved_sd": g.saved[1],
            "effort_share": g.effort[0],
            "effort_sd": g.effort[1],
            "speed_share": None if g.ratio is None else g.ratio[0],
            "speed_share_low": None if g.ratio is None else g.ratio[1],
            "speed_share_high": None if g.ratio is None else g.ratio[2],
            "fastest_share": float(path.descents.limit(-g.fall)),
            "fastest_shown": g.fastest is not None,
            "minutes": g.minutes,
        }
        for g in path.descents.grades
    ]


def _own(
    engine: pacing.Engine, basis: StrategyBasis, about: pacing.Run, stretches: tuple[tuple[float, float], ...]
) -> pacing.Run:
    """The runner's own watts as the device shows them, whatever they leave in the stores."""
    share = instructions.displayed_share(basis.path, about.speed, basis.mass, basis.relation)[0]
    middle = basis.path.ends - 0.5 * basis.path.length
    which = np.minimum(np.searchsorted([m for m, _ in stretches], middle), len(stretches) - 1)
    return pacing.at_power(engine, basis.path, np.array([w for _, w in stretches])[which] / share)


def _reserve(engine: pacing.Engine, path: Course, draws: RaceDraws, wishes: Wishes) -> float:
    """Share of both stores that the plan leaves: as much as the risk or a goal asks for; less than nothing where a goal
    takes more than the runner most likely has."""
    if wishes.goal is not None:
        timed = pacing.in_time(engine, path, wishes.goal, wishes.strategy == "even-pace")
        return pacing.spare(engine, timed, 0.0)
    if wishes.risk is None:
        return 0.0
    few = draws.thinned(SEARCH_DRAWS)
    paced = wishes.strategy == "even-pace"
    most = (pacing.even_pace if paced else pacing.even_power)(engine, path)

    def make(share: float) -> pacing.Run:
        if paced:
            return pacing.at_speed(engine, path, share * most.speed)
        return pacing.at_power(engine, path, np.full(len(path.length), share * float(most.power.max())))

    low, high = LEAST_SHARE, MOST_SHARE
    for _ in range(9):
        middle = 0.5 * (low + high)
        low, high = (
            (middle, high) if _days(*_coarse(make(middle), path), few).gave_way <= wishes.risk else (low, middle)
        )
    return min(pacing.spare(engine, make(low), 0.0), MOST_RESERVE)


def _days(run: pacing.Run, path: Course, draws: RaceDraws, **fixed: Floats) -> race_days.Days:
    return race_days.days(
        run.power,
        path,
        run.speed,
        fixed.get("critical_power", draws.critical_power),
        fixed.get("w_prime", draws.w_prime),
        fixed.get("tail", draws.tail),
        fixed.get("needs", draws.needs),
        fixed.get("execution", draws.execution),
    )


def _coarse(run: pacing.Run, path: Course) -> tuple[pacing.Run, Course]:
    """A run in fewer segments, for what is asked of many race days again and again."""
    small = pacing.merged(path, DAY_SEGMENTS)
    ends = np.searchsorted(path.ends, small.ends - 1e-6)
    starts = np.concatenate([[0], ends[:-1] + 1])
    seconds = np.add.reduceat(run.seconds, starts)
    power = np.add.reduceat(run.power * run.seconds, starts) / seconds
    left, endurance, stops = run.w_prime[ends], run.endurance[ends], np.add.reduceat(run.stops, starts)
    return pacing.Run(power, small.length / seconds, seconds, left, endurance, stops), small


def _unknowns(run: pacing.Run, path: Course, draws: RaceDraws) -> list[dict[str, Any]]:
    """How much of the spread of finish times each unknown makes alone, the largest first."""
    ones = np.ones(len(draws.needs))
    still = {
        "critical_power": np.median(draws.critical_power) * ones,
        "w_prime": np.median(draws.w_prime) * ones,
        "tail": np.median(draws.tail) * ones,
        "needs": ones,
        "execution": ones,
    }
    own, form, ride = (np.asarray(v) / np.median(v) for v in (draws.conditions, draws.form, draws.ride))
    held = own * form * ride
    alone: dict[str, dict[str, Floats]] = {
        "capacity": {
            "critical_power": draws.critical_power / held,
            "w_prime": draws.w_prime / (form * ride),
            "tail": draws.tail,
        },
        "power at speed": {"needs": draws.needs},
        "heat and altitude": {"critical_power": still["critical_power"] * own},
        "ride": {"critical_power": still["critical_power"] * ride, "w_prime": still["w_prime"] * ride},
        "form": {"critical_power": still["critical_power"] * form, "w_prime": still["w_prime"] * form},
        "execution": {"execution": draws.execution},
    }
    spread = {
        name: float(np.var(_days(run, path, draws, **{**still, **varied}).times)) for name, varied in alone.items()
    }
    if np.ptp(draws.ride) == 0:
        del spread["ride"]
    total = sum(spread.values()) or 1.0
    rows = [{"name": n, "what": UNKNOWNS[n], "share": v / total, "sd_s": v**0.5} for n, v in spread.items()]
    return sorted(rows, key=lambda r: -float(r["share"]))


def _told(run: pacing.Run, path: Course, fastest: float, share: Floats, limited: int | None) -> dict[str, Any]:
    columns = zip(
        path.ends,
        path.length,
        run.power,
        run.power * share,
        run.speed,
        path.grade,
        path.headwind,
        run.w_prime,
        1.0 - run.endurance,
        run.clock,
        strict=True,
    )
    empty = np.flatnonzero((run.w_prime < -DUST * run.w_prime.max()) | (run.endurance < -DUST))
    return {
        "time_s": run.time,
        "behind_quickest_s": run.time - fastest,
        "mean_power_w": float(np.average(run.power, weights=run.seconds)),
        "dry_at_m": float(path.ends[empty[0]]) if len(empty) else None,
        "limited_at_m": None if limited is None else float(path.ends[limited]),
        "segments": [
            {
                "start_m": float(e - le),
                "end_m": float(e),
                "power_w": float(p),
                "shown_w": float(d),
                "speed_mps": float(v),
                "grade": float(g),
                "headwind_mps": float(w),
                "w_prime_j": float(j),
                "endurance_spent": float(s),
                "clock_s": float(c),
            }
            for e, le, p, d, v, g, w, j, s, c in columns
        ],
    }


def _instruction(s: instructions.Stretch, watch: float, mean: float, path: Course, ridden: bool) -> dict[str, Any]:
    return {
        "start_m": s.start,
        "end_m": s.end,
        "watch_end_m": s.end * watch,
        "clock_s": s.clock,
        "duration_s": s.seconds,
        "power_w": s.power,
        "low_w": s.low,
        "high_w": s.high,
        "effort_w": s.effort,
        "effort_low_w": s.effort * (1.0 - s.free[0]),
        "effort_high_w": s.effort * (1.0 + s.free[1]),
        "feels": s.feels,
        "speed_mps": s.speed,
        "grade": s.grade,
        "headwind_mps": s.headwind,
        "where": s.where,
        "watch": s.watch,
        "until": s.until,
        "passes": [{"at_m": p.at, "name": p.name} for p in s.passes],
        "walked": s.walked,
        "why": race_words.why_of_stretch(s, mean, _braked(s, path), ridden),
    }


def _braked(s: instructions.Stretch, path: Course) -> bool:
    """Whether the plan runs a stretch no faster than its descent allows."""
    here = (path.ends > s.start) & (path.ends <= s.end + 1.0)
    return bool(s.grade < 0 and s.relative < 0.97 and np.isfinite(path.descent_limit[here]).mean() > 0.5)
