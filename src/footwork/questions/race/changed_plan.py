"""Change one thing: the race of a plan with other power, critical power, mass, wind or warmth, quick enough to follow a
slider."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from footwork.errors import UsageError
from footwork.history.conditions.race_weather import Weather
from footwork.planning import conditions, pacing, race_days
from footwork.planning.course import Course
from footwork.quantities import Floats
from footwork.questions.race import strategies
from footwork.questions.race.race_plan import RacePlan
from footwork.results.race import ChangedPlan

USUAL_C = 15.0  # where neither weather nor the season at the place tells what the plan stands on


LIMITS = {
    "power": (0.8, 1.2),
    "critical_power": (0.8, 1.2),
    "mass": (-10.0, 10.0),
    "warmer": (-20.0, 20.0),
    "wind": (-10.0, 15.0),
}


@dataclass(frozen=True)
class Change:
    """Against the plan: power and critical power as factors, mass [kg], warmth [°C] and wind [m/s] as more or less. A
    lighter runner needs fewer watts for a speed and keeps the same critical power in watts."""

    power: float = 1.0
    critical_power: float = 1.0
    mass: float = 0.0
    warmer: float = 0.0
    wind: float = 0.0

    def checked(self) -> Change:
        """Itself. Raises UsageError beyond `LIMITS`."""
        for name, (low, high) in LIMITS.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise UsageError(
                    f"a change of {name.replace('_', ' ')} of {value:g} cannot be: give {low:g} to {high:g}"
                )
        return self


def can_change_wind(plan: RacePlan) -> bool:
    """Whether more wind means anything: on a course only where its direction is known."""
    return plan.way.heading is None or all(w.wind_from is not None for w in plan.sky.all())


def _changed(plan: RacePlan, change: Change) -> tuple[pacing.Engine, Course, float]:
    """The runner and the course after a change, and the factor on what can be held."""
    basis, sky = plan.basis, plan.sky
    usual = plan.conditions["temperature_c"]
    usual = USUAL_C if usual is None else usual
    if change.wind and not can_change_wind(plan):
        raise UsageError("on a course more wind needs a direction: give the plan a wind with one first")

    def turned(w: Weather) -> Weather:
        warm = (
            w.temperature if not change.warmer else (usual if w.temperature is None else w.temperature) + change.warmer
        )
        wind = w.wind
        if change.wind:
            wind = (w.wind or 0.0) + change.wind
            wind = (
                wind if w.wind_from is None else max(wind, 0.0)
            )  # without a direction less than nothing is a tail wind
        return replace(w, temperature=warm, wind=wind, variable=w.variable and not change.wind)

    other = replace(turned(sky), hours=tuple((t, turned(w)) for t, w in sky.hours))
    segments = plan.strategies["strategies"]["even-power"]["segments"]
    clock = np.array([s["clock_s"] for s in segments])
    path = plan.way.under(other, clock, plan.conditions["altitude_m"], basis.path.drag)
    held = change.critical_power
    if change.warmer:
        before, after = (
            _held(w if w.heat(clock) is not None else replace(w, temperature=usual), clock) for w in (sky, other)
        )
        held *= after / before
    engine = basis.engine()
    heavier = 1.0 + change.mass / basis.mass if basis.mass else 1.0

    def flat(speed: Floats) -> Floats:
        return np.asarray(heavier * basis.relation.power(speed), dtype=float)

    mass = basis.mass + change.mass if basis.mass else None
    return replace(engine, critical_power=engine.critical_power * held, flat_power=flat, mass=mass), path, held


def _held(sky: Weather, clock: Floats) -> float:
    heat = sky.heat(clock)
    return 1.0 if heat is None else 1.0 - conditions.heat_slowing(float(heat.mean()), float(clock[-1]))[0]


def _in_hand(plan: RacePlan, run: pacing.Run) -> float:
    """Time of a run with what the plan has in hand [s]; nobody stands for longer."""
    return float(strategies.later(run, 1.0 + plan.strategies["in_hand_share"]).time)


def even_power(plan: RacePlan, change: Change) -> ChangedPlan:
    """Even power after a change.

    Returns
    -------
    ChangedPlan
        ``time_s``, ``power_w``, ``w_prime_least_j``, ``endurance_spent``, ``dry_probability`` and
        ``gives_way_probability``, of having to ease by more than 1 %. With another ``power``
        that power is run whatever it leaves in the stores, else the highest that leaves the plan's reserve.
    """
    engine, path, held = _changed(plan, change.checked())
    run = pacing.even_power(engine, path, plan.strategies["reserve"])
    if change.power != 1.0:
        run = pacing.at_power(engine, path, np.full(len(path.length), float(run.power.max()) * change.power))
    d = plan.basis.draws
    days = race_days.days(run.power, path, run.speed, held * d.critical_power, d.w_prime, d.tail, d.needs, d.execution)
    return ChangedPlan(
        time_s=_in_hand(plan, run),
        power_w=float(np.average(run.power, weights=run.seconds)),
        w_prime_least_j=float(run.w_prime.min()),
        endurance_spent=1.0 - float(run.endurance[-1]),
        dry_probability=float(days.dry[-1]),
        gives_way_probability=days.gave_way,
    )


def optimum(plan: RacePlan, change: Change) -> dict[str, Any]:
    """The quickest plan after a change: ``time_s`` and the solver's ``status``; ``power`` has no part in it."""
    engine, path, _ = _changed(plan, change.checked())
    run, solved = pacing.quickest(engine, path, plan.strategies["reserve"])
    return {"time_s": _in_hand(plan, run), "status": solved.status}
