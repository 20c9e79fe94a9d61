"""Runners held against each other in what can be: shares of their own critical power, speed, times and changes; watts
only where they come from devices of one kind."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from footwork.errors import FootworkError
from footwork.history.scales import scale_keys
from footwork.quantities import Estimate
from footwork.questions import load, progress
from footwork.questions.today import capacity_of
from footwork.questions.usual import usual_watts
from footwork.results.squad import Figures, SideBySide, SideBySideRow

if TYPE_CHECKING:
    from footwork.history.book import History

METHOD = "side-by-side"
# Kinds whose devices answer alike but for a level of their own: what foot sensors of one kind differ by, as in
# `analysis.speed`, and two masses of the physics model; our convention.
BETWEEN_DEVICES = {"foot sensor": 0.05, "model": 0.03}
GROUPS = ("easy", "steady", "hard")
# Key, name, unit, how many digits.
ROWS = (
    ("critical_speed", "speed at critical power", "m/s"),
    *((g, f"{g} running, of critical power", "%") for g in GROUPS),
    ("w_prime", "W′, as time at critical power", "s"),
    ("tail", "tail: lost by doubling a time", "%"),
    ("drift", "heart rate gained in an hour", "bpm"),
    ("progress", "more power at one heart rate, this season", "%"),
    ("usual_week", "usual week", "CP-min"),
    ("seven_days", "last seven days", "CP-min"),
    ("per_kilogram", "critical power by mass", "W/kg"),
    ("critical_power", "critical power", "W"),
)
OF_WATTS = ("per_kilogram", "critical_power")


def figures_of(library: History, athlete: str, today: dt.date) -> Figures:
    """What a runner is held against others in, as known on a day. Raises FootworkError where not even runs can be
    read."""
    made, cp = capacity_of(library, today)
    unknown = Estimate.withheld("", METHOD, cp.reason or "critical power is not known")
    found: dict[str, Estimate] = {"critical_power": cp, "critical_speed": unknown, "tail": unknown, "w_prime": unknown}
    kind = mass = None
    if made is not None:
        kind = scale_keys.kind(library, made.scale_key)
        mass = library.athlete.value("mass", today)
        found["critical_speed"] = made.critical_speed
        found["tail"] = _lost_by_doubling(made.tail)
        found["w_prime"] = _ratio(made.w_prime, cp, "s", 1.0)
        found |= _shares(library, made.scale, cp, today)
    found["per_kilogram"] = (
        cp.scaled(1.0 / mass, "W/kg") if mass else Estimate.withheld("W/kg", METHOD, "the mass is not told")
    )
    try:
        of = progress.progress_of_season(library, None, None, today)
        found["progress"] = Estimate.from_json(of.change)
        found["drift"] = Estimate.from_json(of.effects[0]["effect"])
    except FootworkError as error:
        found["progress"] = found["drift"] = Estimate.withheld("%", METHOD, str(error))
    usual = load.usual_week(library, today - dt.timedelta(days=today.weekday()))
    found["usual_week"] = (
        Estimate.withheld("CP-min", "load", "fewer than three complete weeks")
        if usual is None
        else Estimate(usual.cp_minutes, usual.low, usual.high, "CP-min", usual.weeks, "load", "weeks")
    )
    found["seven_days"] = load.last_days(library, today, 7)
    return Figures(
        athlete=athlete,
        asked_on=today.isoformat(),
        scale=made.scale if made is not None else "",
        kind=kind or "",
        mass_kg=mass,
        estimates=found,
    )


def _shares(library: History, scale: str, cp: Estimate, today: dt.date) -> dict[str, Estimate]:
    """Usual running as shares of critical power [%]."""
    try:
        groups = {g["name"]: g["power"] for g in usual_watts(library, today, scale).groups}
    except FootworkError as error:
        return {g: Estimate.withheld("%", METHOD, str(error)) for g in GROUPS}
    none = Estimate.withheld("%", METHOD, "not run lately")
    return {g: _ratio(Estimate.from_json(groups[g]), cp, "%", 100.0) if g in groups else none for g in GROUPS}


def _ratio(one: Estimate, other: Estimate, unit: str, times: float) -> Estimate:
    """One estimate over another, their errors taken as independent and alike in proportion."""
    if not one.value or not other.value or not one.low or not other.low or not one.high or not other.high:
        return Estimate.withheld(unit, METHOD, one.reason or other.reason or "not known", one.n, one.n_of)
    spread = float(np.hypot(*(0.5 * np.log(e.high / e.low) for e in (one, other))))  # type: ignore[operator]
    middle = times * one.value / other.value
    return Estimate(middle, middle * np.exp(-spread), middle * np.exp(spread), unit, one.n, METHOD, one.n_of)


def _lost_by_doubling(tail: Estimate) -> Estimate:
    """What doubling a long time costs of the power where the tail begins [%]."""
    if tail.value is None or tail.low is None or tail.high is None:
        return Estimate.withheld("%", METHOD, tail.reason)
    low, middle, high = (100.0 * float(np.log(2.0)) * v for v in (tail.low, tail.value, tail.high))
    return Estimate(middle, low, high, "%", tail.n, METHOD, tail.n_of)


def side_by_side(found: Sequence[Figures]) -> SideBySide:
    """Runners against each other, row by row; watts are refused where their devices are not of one kind."""
    refused = _refused(found)
    rows = []
    for key, name, unit in ROWS:
        values = [f.estimates.get(key, Estimate.withheld(unit, METHOD, "not known")) for f in found]
        why = refused if key in OF_WATTS else ""
        if why:
            values = []
        elif key in OF_WATTS:
            values = [_widened(v, BETWEEN_DEVICES[found[0].kind]) for v in values]
        rows.append(SideBySideRow(key=key, name=name, unit=unit, estimates=values, refused=why))
    return SideBySide(
        asked_on=found[0].asked_on,
        athletes=[f.athlete for f in found],
        scales=[f.scale for f in found],
        kinds=[f.kind for f in found],
        rows=rows,
    )


def _refused(found: Sequence[Figures]) -> str:
    kinds = {f.kind for f in found}
    if len(kinds) > 1:
        return f"watts of unlike devices are not one unit ({', '.join(sorted(k or 'none' for k in kinds))})"
    if not kinds <= BETWEEN_DEVICES.keys():
        return f"nothing is known of how alike two of a kind are ({', '.join(k or 'no watts' for k in kinds)})"
    return ""


def _widened(value: Estimate, share: float) -> Estimate:
    """With the error that devices of one kind differ by [1]."""
    if value.value is None or value.low is None or value.high is None:
        return value
    more = 1.96 * share * value.value
    low, high = (float(np.hypot(value.value - value.low, more)), float(np.hypot(value.high - value.value, more)))
    return Estimate(value.value, value.value - low, value.value + high, value.unit, value.n, value.method, value.n_of)
