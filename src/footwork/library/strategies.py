"""Strategies for a race: the quickest, even power and even pace on one reserve, and what many race days make of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from footwork.errors import UsageError
from footwork.planning import fuel, instructions, pacing
from footwork.planning.race import Course
from footwork.quantities import Floats, format_duration, plain

EXECUTION_SD = 0.01  # how exactly a runner holds the power asked for, over a race; our convention
LARGEST_RESERVE = 0.6
UNKNOWNS = {
    "capacity": "what you can hold", "power at speed": "what your device shows at a speed that day", "heat and altitude": "what heat and altitude take",
    "form": "how good a day it is", "execution": "how exactly you hold the power",
}  # fmt: skip


@dataclass(frozen=True)
class Draws:
    """Joint draws of a race day: CP [W], W′ [J] and γ in the race's conditions, what conditions take and what the day's form gives as
    factors, and how much
    more power the device shows for a speed."""

    critical_power: Floats
    w_prime: Floats
    tail: Floats
    conditions: Floats
    form: Floats
    needs: Floats

    @property
    def execution(self) -> Floats:
        return np.asarray(
            np.exp(EXECUTION_SD * np.random.default_rng(11).standard_normal(len(self.needs))), dtype=float
        )


def answer(
    path: Course,
    relation: Any,
    mass: float | None,
    draws: Draws,
    strategy: str,
    risk: float | None,
    goal: float | None,
    descent: float | None = None,
) -> dict[str, Any]:
    """Strategies and futures as plain JSON: ``strategies``, ``finish_time``, ``run_dry_probability``, ``dry_by_segment``,
    ``unknowns``, ``solver``, ``reserve`` and ``chosen``.

    Parameters
    ----------
    strategy : str
        Which one the futures are of.
    risk : float, optional
        Chance of running dry that the plan is made for; without one the plan spends all that the runner most likely has.
    goal : float, optional
        Time that is asked for; a slower one than the best leaves more in the stores. [s]
    descent : float, optional
        Fastest descent that the runner has shown. [m/s]
    """
    if strategy not in pacing.STRATEGIES:
        raise UsageError(f"'{strategy}' is no strategy: use {', '.join(pacing.STRATEGIES)}")
    if risk is not None and not 0.01 <= risk <= 0.9:
        raise UsageError(f"a risk of {risk:g} cannot be planned for: give 0.01 to 0.9, as 0.2 for one race in five")
    engine = pacing.Engine(
        float(np.median(draws.critical_power)),
        float(np.median(draws.w_prime)),
        float(np.median(draws.tail)),
        relation.power,
        mass,
        descent,
    )
    reserve = _reserve(engine, path, draws, risk, goal)
    best, solved = pacing.best(engine, path, reserve)
    found = {
        "best": best,
        "even-power": pacing.even_power(engine, path, reserve),
        "even-pace": pacing.even_pace(engine, path, reserve),
    }
    chosen = found[strategy]
    share = instructions.displayed_share(path, chosen.speed, mass, relation.effects)
    told = instructions.stretches(chosen, path, share)
    simple = instructions.simplified(engine, path, chosen, share, told, reserve)
    eaten = fuel.guidance(path.distance, chosen.time, mass)
    days = _futures(found[strategy], path, draws)
    p10, p50, p90 = (float(q) for q in np.quantile(days.times, [0.1, 0.5, 0.9]))
    out: dict[str, Any] = plain({
        "chosen": strategy, "fastest_descent_mps": engine.fastest(), "descent_learned": descent is not None, "reserve": reserve, "w_prime_j": engine.w_prime,
        "strategies": {name: _told(run, path, best) for name, run in found.items()},
        "finish_time": {"p10": p10, "p50": p50, "p90": p90}, "run_dry_probability": float(days.dry[-1]),
        "dry_by_segment": [float(d) for d in days.dry], "unknowns": _unknowns(found[strategy], path, draws),
        "solver": {"status": solved.status, "iterations": solved.iterations, "seconds": solved.seconds, "residual": solved.residual},
        "fuel": {"energy_kcal": eaten.energy, "carbohydrate_low_g_per_h": eaten.low, "carbohydrate_high_g_per_h": eaten.high, "sentence": eaten.sentence},
        "why": _why(found, path), "instructions": [_instruction(s) for s in told], "simplifying_costs_s": simple.time - chosen.time,
    })  # fmt: skip
    return out


def _reserve(engine: pacing.Engine, path: Course, draws: Draws, risk: float | None, goal: float | None) -> float:
    """Share of both stores that the plan leaves: as much as the risk or a slower goal asks for."""

    def search(enough: Any) -> float:
        low, high = 0.0, LARGEST_RESERVE
        for _ in range(9):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if enough(middle) else (middle, high)
        return high

    out = 0.0
    if risk is not None:

        def dry(reserve: float) -> float:
            return float(_futures(pacing.even_power(engine, path, reserve), path, draws).dry[-1])

        out = 0.0 if dry(0.0) <= risk else search(lambda r: dry(r) <= risk)
    if goal is not None and pacing.even_power(engine, path, out).time < goal:
        out = max(out, search(lambda r: pacing.even_power(engine, path, r).time >= goal))
    return out


def _futures(run: pacing.Run, path: Course, draws: Draws, **fixed: Floats) -> pacing.Futures:
    given = {"critical_power": draws.critical_power, "w_prime": draws.w_prime, "tail": draws.tail, "needs": draws.needs,
             "execution": draws.execution, **fixed}  # fmt: skip
    return pacing.futures(run.power, path, run.speed, **given)


def _unknowns(run: pacing.Run, path: Course, draws: Draws) -> list[dict[str, Any]]:
    """How much of the spread of finish times each unknown makes alone, the largest first."""
    ones = np.ones(len(draws.needs))
    still = {
        "critical_power": np.median(draws.critical_power) * ones, "w_prime": np.median(draws.w_prime) * ones,
        "tail": np.median(draws.tail) * ones, "needs": ones, "execution": ones,
    }  # fmt: skip
    own, form = draws.conditions / np.median(draws.conditions), draws.form / np.median(draws.form)
    held = own * form
    alone: dict[str, dict[str, Floats]] = {
        "capacity": {
            "critical_power": draws.critical_power / held,
            "w_prime": draws.w_prime / held,
            "tail": draws.tail,
        },
        "power at speed": {"needs": draws.needs},
        "heat and altitude": {"critical_power": still["critical_power"] * own, "w_prime": still["w_prime"] * own},
        "form": {"critical_power": still["critical_power"] * form, "w_prime": still["w_prime"] * form},
        "execution": {"execution": draws.execution},
    }
    spread = {
        name: float(np.var(_futures(run, path, draws, **{**still, **varied}).times)) for name, varied in alone.items()
    }
    total = sum(spread.values()) or 1.0
    rows = [{"name": n, "what": UNKNOWNS[n], "share": v / total, "sd_s": v**0.5} for n, v in spread.items()]
    return sorted(rows, key=lambda r: -float(r["share"]))


def _told(run: pacing.Run, path: Course, best: pacing.Run) -> dict[str, Any]:
    ends = np.cumsum(path.length)
    return {
        "time_s": run.time, "behind_best_s": run.time - best.time, "mean_power_w": float(np.average(run.power, weights=run.seconds)),
        "segments": [
            {"start_m": float(e - le), "end_m": float(e), "power_w": float(p), "speed_mps": float(v), "grade": float(g), "headwind_mps": float(w),
             "w_prime_j": float(j), "endurance_left": float(s)}
            for e, le, p, v, g, w, j, s in zip(ends, path.length, run.power, run.speed, path.grade, path.headwind, run.w_prime, run.endurance, strict=True)
        ],
    }  # fmt: skip


def _instruction(s: instructions.Stretch) -> dict[str, Any]:
    return {
        "start_m": s.start, "end_m": s.end, "duration_s": s.seconds, "power_w": s.power, "low_w": s.low, "high_w": s.high, "grade": s.grade,
        "headwind_mps": s.headwind, "where": s.where, "watch": s.watch,
    }  # fmt: skip


def _why(found: dict[str, pacing.Run], path: Course) -> str:
    """What the strategies cost against each other, and why, in words."""
    even, pace, best = (found[n].time for n in ("even-power", "even-pace", "best"))
    gain, loss = even - best, pace - best
    hilly = float(np.abs(path.grade).max(initial=0.0)) > 0.01
    windy = float(np.ptp(path.headwind)) > 0.5
    if gain < 0.5:
        text = "Even power is as quick as any plan can be here: a metre costs nearly the same at any speed, so shifting effort gains nothing."
    else:
        text = f"The quickest plan gains {gain:.0f} s on even power, by shifting a little effort to where a second is bought for least."
    if loss >= 1:
        cause = (
            "hills and wind"
            if hilly and windy
            else "hills"
            if hilly
            else "wind"
            if windy
            else "the drift of your stores"
        )
        text += f" Even pace costs {format_duration(loss)}: {cause} then ask for far more power in places, which empties a store early, so the whole must be slower."
    return text
