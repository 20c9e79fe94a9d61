"""Capacity through time: the proposal of every day, what moved it, and which test would tell most."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from footwork.history.log import accepted
from footwork.physiology import tracking
from footwork.quantities import Estimate, plain
from footwork.questions.capacity import evidence
from footwork.questions.capacity.capacity_estimate import Capacity

if TYPE_CHECKING:
    from footwork.history.book import History

MOVED_LEAST = 0.004  # changes of CP smaller than this share are not worth a line; our convention


TESTS = {
    "3 min": (180.0,),
    "12 min": (720.0,),
    "3 and 12 min": (180.0, 720.0),
    "3, 7 and 12 min": (180.0, 420.0, 720.0),
    "20 min": (1200.0,),
}


def every_day(library: History, key: str, asked: dt.date) -> list[dict[str, Any]]:
    """Proposed CP and W′ of every day from the first test or hard running on, with what each rests on."""
    made = evidence.track(library, key, asked) if key else None
    if made is None:
        return []
    out: list[dict[str, Any]] = []
    states = {state.day: state for state in made.states}
    current = made.states[0]
    latest: dict[str, int] = {}
    steps = iter(made.steps)
    step = next(steps, None)
    for day in range(made.states[0].day, asked.toordinal() + 1):
        current = states.get(day, current)
        while step is not None and step.day <= day:
            latest[tracking.name_of(step.evidence)] = step.day
            step = next(steps, None)
        kind = tracking.kind_from(latest, day)
        if kind == "lower bound":
            if out:
                out.append(_row(day, None, kind))
            continue
        state = tracking.widened(current, day)
        shared = evidence.shared_error(library, key, dt.date.fromordinal(day))
        out.append(_row(day, tracking.spread(state, shared) if shared else state, kind))
    return out


def _row(day: int, state: tracking.State | None, kind: str) -> dict[str, Any]:
    def estimate(quantiles: tuple[float, float, float], unit: str, n: int) -> Estimate:
        low, value, high = quantiles
        return Estimate(value, low, high, unit, n, "critical-power")

    if state is None:
        reason = "no test, race or hard running in the weeks before"
        cp, wp = (Estimate.withheld(u, "critical-power", reason) for u in ("W", "J"))
    else:
        cp, wp = estimate(state.critical_power, "W", state.efforts), estimate(state.w_prime, "J", state.efforts)
    return {"date": dt.date.fromordinal(day), "critical_power": cp, "w_prime": wp, "evidence": kind}


def what_moved(library: History, key: str, asked: dt.date) -> list[dict[str, Any]]:
    """What changed the proposal: date, run and kind of evidence, CP before and after [W]; the newest first."""
    made = evidence.track(library, key, asked) if key else None
    if made is None:
        return []
    return [
        {
            "date": dt.date.fromordinal(s.day),
            "kind": s.evidence.kind,
            "run": s.evidence.run,
            "label": s.evidence.label,
            "before_w": s.before,
            "after_w": s.after,
        }
        for s in reversed(made.steps)
        if s.before is not None and abs(s.after / s.before - 1) >= MOVED_LEAST and s.evidence.kind != "bound"
    ]


def worthwhile_tests(found: Capacity) -> list[dict[str, Any]]:
    """Tests with the half-width of CP's interval to be expected after each [W], the most telling first."""
    if found.posterior is None:
        return []
    now = found.posterior.estimates()[0]
    before = 0.5 * ((now.high or 0.0) - (now.low or 0.0))
    rows = [
        {
            "test": name,
            "durations_s": list(durations),
            "half_width_now_w": before,
            "half_width_after_w": tracking.half_width_after(found.posterior, durations),
        }
        for name, durations in TESTS.items()
    ]
    return sorted(rows, key=lambda r: float(r["half_width_after_w"]))


def history_told(library: History, found: Capacity) -> dict[str, Any]:
    """A capacity answer as its page's twin and ``capacity --json`` give it, history included."""
    out = found.to_json()
    key, day = found.scale_key, found.date
    through: dict[str, Any] = {"history": [], "moved": [], "tests": [], "accepted_entries": []}
    if key and day is not None:
        through = library.cached(
            ("history", key, day),
            lambda: plain(
                {
                    "history": every_day(library, key, day),
                    "moved": what_moved(library, key, day),
                    "tests": worthwhile_tests(found),
                    "accepted_entries": [{"date": d, "critical_power_w": w} for d, w in accepted.entries(library, key)],
                }
            ),
        )
    return {**out, **through}
