"""Strategies for a race: the quickest, even power and even pace on one reserve, and what many race days make of
them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from footwork.errors import UsageError
from footwork.planning import fuel, instructions, pacing
from footwork.planning.course import Course, Place, ground_factor
from footwork.quantities import Floats, parse_distance, plain
from footwork.wording import race_words

EXECUTION_SD = 0.01  # how exactly a runner holds the power asked for, over a race; our convention


MOST_RESERVE = 0.999


CURVE = np.linspace(0.02, 0.98, 49)


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

    @property
    def execution(self) -> Floats:
        """How exactly each race day keeps to the plan: power over the planned [1], shape (k,)."""
        return np.asarray(
            np.exp(EXECUTION_SD * np.random.default_rng(11).standard_normal(len(self.needs))), dtype=float
        )


@dataclass(frozen=True)
class StrategyBasis:
    """What a plan rests on: the course under its weather, power at speed, mass [kg], draws of the day, fastest descent
    that the runner has shown [m/s], places on the way, what the watch shows for each official metre, the shortest time
    that a plan's highest power can be held for [s], and the factor on the medians of the draws that makes them one
    runner's."""

    path: Course
    relation: Any
    mass: float | None
    draws: RaceDraws
    descent: float | None = None
    places: tuple[Place, ...] = ()
    watch: float = 1.0
    shortest: float = pacing.HARDEST_S
    middle: float = 1.0

    def engine(self) -> pacing.Engine:
        """The runner of the middle of the draws."""
        d = self.draws
        cp, wp, tail = (float(np.median(v)) for v in (d.critical_power, d.w_prime, d.tail))
        return pacing.Engine(
            self.middle * cp, self.middle * wp, tail, self.relation.power, self.mass, self.descent, self.shortest
        )


@dataclass(frozen=True)
class Wishes:
    """How the race is to be run.

    ``strategy`` is the one that the race days and instructions are of; ``risk`` the chance of running dry that the plan
    is made for (None: it spends all that the runner most likely has); ``goal`` a time [s], a slower one than the best
    leaves more in the stores; ``negative_split`` how much harder the second half is to be, as a share; ``own`` watts up
    to a distance [m].
    """

    strategy: str = "best"
    risk: float | None = None
    goal: float | None = None
    negative_split: float = 0.0
    own: tuple[tuple[float, float], ...] = ()

    def check(self) -> None:
        """Raises UsageError for what cannot be planned."""
        names = (*pacing.STRATEGIES, *(("own",) if self.own else ()))
        if self.strategy not in names:
            raise UsageError(f"'{self.strategy}' is no strategy here: use {', '.join(names)}")
        if self.risk is not None and not 0.01 <= self.risk <= 0.9:
            raise UsageError(
                f"a risk of {self.risk:g} cannot be planned for: give 0.01 to 0.9, as 0.2 for one race in five"
            )


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
    """Strategies and futures as plain JSON: ``strategies``, ``finish_time``, ``run_dry_probability``,
    ``dry_by_segment``, ``unknowns``, ``solver``, ``reserve`` and ``chosen``. Raises UsageError for wishes that cannot
    be planned."""
    wishes.check()
    path, draws = basis.path, basis.draws
    engine = basis.engine()
    reserve = _reserve(engine, path, draws, wishes)
    even = pacing.even_power(engine, path, reserve)
    best, solved = pacing.best(engine, path, reserve, even)
    found = {"best": best, "even-power": even, "even-pace": pacing.even_pace(engine, path, reserve)}
    level = found.get(wishes.strategy, best)
    if wishes.negative_split:
        found = {
            name: pacing.leaning(engine, path, run, wishes.negative_split, reserve, wishes.goal)
            for name, run in found.items()
        }
    if wishes.own:
        found["own"] = _own(engine, basis, found["even-power"], wishes.own)
    chosen = found[wishes.strategy]
    share = instructions.displayed_share(path, chosen.speed, basis.mass, basis.relation.effects)
    told = instructions.stretches(chosen, path, share, basis.places)
    simple = instructions.simplified(engine, path, chosen, share, told, reserve)
    # Energy by distance on the level: climbs and soft ground count as the longer road that costs as much.
    eaten = fuel.guidance(float((path.length * ground_factor(path, chosen.speed)).sum()), chosen.time, basis.mass)
    days = _futures(chosen, path, draws)
    p10, p50, p90 = (float(q) for q in np.quantile(days.times, [0.1, 0.5, 0.9]))
    out: dict[str, Any] = plain(
        {
            "chosen": wishes.strategy,
            "fastest_descent_mps": engine.fastest(),
            "descent_learned": basis.descent is not None,
            "reserve": reserve,
            "risk": wishes.risk,
            "w_prime_j": engine.w_prime,
            "strategies": {name: _told(run, path, found["best"]) for name, run in found.items()},
            "finish_time": {"p10": p10, "p50": p50, "p90": p90},
            "run_dry_probability": float(days.dry[-1]),
            "finish_curve": [
                {"share": float(s), "time_s": float(t)}
                for s, t in zip(CURVE, np.quantile(days.times, CURVE), strict=True)
            ],
            "dry_by_segment": [float(d) for d in days.dry],
            "unknowns": _unknowns(chosen, path, draws),
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
            "why": race_words.why_of_strategies(found, path),
            "instructions": [_instruction(s, basis.watch) for s in told],
            "simplifying_costs_s": 0.0 if wishes.strategy == "own" else simple.time - chosen.time,
            "negative_split_costs_s": chosen.time - level.time
            if wishes.negative_split and wishes.strategy != "own"
            else None,
        }
    )
    return out


def _own(
    engine: pacing.Engine, basis: StrategyBasis, about: pacing.Run, stretches: tuple[tuple[float, float], ...]
) -> pacing.Run:
    """The runner's own watts as the device shows them, whatever they leave in the stores."""
    share = instructions.displayed_share(basis.path, about.speed, basis.mass, basis.relation.effects)
    middle = basis.path.ends - 0.5 * basis.path.length
    which = np.minimum(np.searchsorted([m for m, _ in stretches], middle), len(stretches) - 1)
    return pacing.at_power(engine, basis.path, np.array([w for _, w in stretches])[which] / share)


def _reserve(engine: pacing.Engine, path: Course, draws: RaceDraws, wishes: Wishes) -> float:
    """Share of both stores that the plan leaves: as much as the risk or a goal asks for; less than nothing where a goal
    takes more than the runner most likely has."""
    make = pacing.even_pace if wishes.strategy == "even-pace" else pacing.even_power

    out = 0.0
    if wishes.risk is not None:
        risk = wishes.risk

        def dry(reserve: float) -> float:
            return float(_futures(make(engine, path, reserve), path, draws).dry[-1])

        low, high = 0.0, MOST_RESERVE
        for _ in range(16 if dry(0.0) > risk else 0):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if dry(middle) <= risk else (middle, high)
            out = high
    if wishes.goal is not None:
        timed = pacing.in_time(engine, path, wishes.goal, wishes.strategy == "even-pace")
        left = pacing.spare(engine, timed, 0.0)
        out = left if wishes.risk is None else max(out, left)
    return out


def _futures(run: pacing.Run, path: Course, draws: RaceDraws, **fixed: Floats) -> pacing.Futures:
    given = {
        "critical_power": draws.critical_power,
        "w_prime": draws.w_prime,
        "tail": draws.tail,
        "needs": draws.needs,
        "execution": draws.execution,
        **fixed,
    }
    return pacing.futures(run.power, path, run.speed, **given)


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
            "w_prime": draws.w_prime / held,
            "tail": draws.tail,
        },
        "power at speed": {"needs": draws.needs},
        "heat and altitude": {"critical_power": still["critical_power"] * own, "w_prime": still["w_prime"] * own},
        "ride": {"critical_power": still["critical_power"] * ride, "w_prime": still["w_prime"] * ride},
        "form": {"critical_power": still["critical_power"] * form, "w_prime": still["w_prime"] * form},
        "execution": {"execution": draws.execution},
    }
    spread = {
        name: float(np.var(_futures(run, path, draws, **{**still, **varied}).times)) for name, varied in alone.items()
    }
    if np.ptp(draws.ride) == 0:
        del spread["ride"]
    total = sum(spread.values()) or 1.0
    rows = [{"name": n, "what": UNKNOWNS[n], "share": v / total, "sd_s": v**0.5} for n, v in spread.items()]
    return sorted(rows, key=lambda r: -float(r["share"]))


def _told(run: pacing.Run, path: Course, best: pacing.Run) -> dict[str, Any]:
    columns = zip(
        path.ends,
        path.length,
        run.power,
        run.speed,
        path.grade,
        path.headwind,
        run.w_prime,
        run.endurance,
        run.clock,
        strict=True,
    )
    empty = np.flatnonzero((run.w_prime < 0) | (run.endurance < -1e-6))
    return {
        "time_s": run.time,
        "behind_best_s": run.time - best.time,
        "mean_power_w": float(np.average(run.power, weights=run.seconds)),
        "dry_at_m": float(path.ends[empty[0]]) if len(empty) else None,
        "segments": [
            {
                "start_m": float(e - le),
                "end_m": float(e),
                "power_w": float(p),
                "speed_mps": float(v),
                "grade": float(g),
                "headwind_mps": float(w),
                "w_prime_j": float(j),
                "endurance_left": float(s),
                "clock_s": float(c),
            }
            for e, le, p, v, g, w, j, s, c in columns
        ],
    }


def _instruction(s: instructions.Stretch, watch: float) -> dict[str, Any]:
    return {
        "start_m": s.start,
        "end_m": s.end,
        "watch_end_m": s.end * watch,
        "clock_s": s.clock,
        "duration_s": s.seconds,
        "power_w": s.power,
        "low_w": s.low,
        "high_w": s.high,
        "grade": s.grade,
        "headwind_mps": s.headwind,
        "where": s.where,
        "watch": s.watch,
        "until": s.until,
        "passes": [{"at_m": p.at, "name": p.name} for p in s.passes],
        "walked": s.walked,
    }
