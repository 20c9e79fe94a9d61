"""Capacity through time: the proposal of every day, what moved it, and which test would tell most."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis.capacity_days import CapacityDays, Told
from footwork.analysis.efforts import Best, binding_effort
from footwork.history.log import accepted
from footwork.physiology import tracking
from footwork.physiology.critical import implied_critical_power
from footwork.quantities import Estimate, plain
from footwork.questions.capacity import evidence
from footwork.questions.capacity.capacity_estimate import Capacity
from footwork.wording.cautions import held_back

if TYPE_CHECKING:
    from footwork.history.book import History

DAILY_DRAWS = 400
MOVED_LEAST = 0.004  # changes of CP smaller than this share are not worth a line; our convention


TESTS = {
    "3 min": (180.0,),
    "12 min": (720.0,),
    "3 and 12 min": (180.0, 720.0),
    "3, 7 and 12 min": (180.0, 420.0, 720.0),
    "20 min": (1200.0,),
}


def every_day(library: History, key: str, asked: dt.date) -> list[dict[str, Any]]:
    """Proposed CP and W′ of every day from the first test or the third week on, with what each rests on; each day
    knows only what came before it."""
    return _walked(library, key, asked)[0]


def what_moved(library: History, key: str, asked: dt.date) -> list[dict[str, Any]]:
    """What changed the proposal: date, run and kind of evidence, CP before and after [W]; the newest first.

    Kinds are ``maximal`` (a test), ``habitual`` (an everyday run, or several little by little) and ``ageing``: days that
    passed without anything as strong, added up until a run or a test moves it again.
    """
    return _walked(library, key, asked)[1]


def _walked(library: History, key: str, asked: dt.date) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    def make() -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
        found = evidence.days(library, key, asked)
        if not found.bests and not found.tests:
            return [], []
        first = min([*(b.day for b in found.bests[:1]), *(t.day for t in found.tests[:1])])
        rows: list[dict[str, Any]] = []
        changes = _Changes()
        for told in found.through(first, asked.toordinal()):
            cp = None
            if told.posterior is not None:
                shared = evidence.shared_error(library, key, dt.date.fromordinal(told.day))
                draws = replace(told.posterior, scale_sd=shared).draws(DAILY_DRAWS)
                cp, wp = (np.quantile(d, [0.025, 0.5, 0.975]) for d in draws[:2])
                rows.append(_row(told, cp, wp))
            elif rows:
                rows.append(_row(told, None, None))
            changes.note(found, told, None if cp is None else float(cp[1]))
        return rows, changes.told()

    made: tuple[list[dict[str, Any]], list[dict[str, Any]]] = library.cached(("capacity walked", key, asked), make)
    return made


class _Changes:
    """What moved the proposal, collected day by day."""

    def __init__(self) -> None:
        self._rows: list[dict[str, Any]] = []
        self._before: float | None = None
        self._quiet = 0.0  # ln of what small changes of quiet days have added up to
        self._quiet_on = 0

    def note(self, found: CapacityDays, told: Told, cp: float | None) -> None:
        """A day's proposal [W]; None where it is withheld."""
        before, self._before = self._before, cp
        if cp is None or before is None:
            self._settle(before)
            self._quiet = 0.0
            return
        new = [s.evidence for s in told.tests if s.day == told.day]
        runs = [b for b in found.bests if b.day == told.day and not b.maximal]
        if abs(cp / before - 1) < MOVED_LEAST or not (new or runs):
            self._quiet += float(np.log(cp / before))
            self._quiet_on = told.day
            return
        self._settle(before)
        kind, of = ("maximal", new[-1]) if new else ("habitual", max(runs, key=_strength))
        self._add(told.day, kind, of.run, of.label, before, cp)

    def told(self) -> list[dict[str, Any]]:
        """The changes, the newest first."""
        self._settle(self._before)
        return self._rows[::-1]

    def _settle(self, now: float | None) -> None:
        """Small changes become one row where together they are worth it; else they wait for more."""
        if now is not None and abs(np.expm1(self._quiet)) >= MOVED_LEAST:
            before = now / float(np.exp(self._quiet))
            fell = now < before
            label = "days without anything as strong" if fell else "everyday runs, little by little"
            self._add(self._quiet_on, "ageing" if fell else "habitual", None, label, before, now)
            self._quiet = 0.0

    def _add(self, day: int, kind: str, run: int | None, label: str, before: float, after: float) -> None:
        self._rows.append(
            {
                "date": dt.date.fromordinal(day),
                "kind": kind,
                "run": run,
                "label": label,
                "before_w": before,
                "after_w": after,
            }
        )


def _strength(best: Best) -> float:
    at = binding_effort(best.durations, best.powers)
    return float(implied_critical_power(best.durations[at], best.powers[at])) if at >= 0 else 0.0


def _row(told: Told, cp: Any, wp: Any) -> dict[str, Any]:
    if told.posterior is None:
        reason = "not enough runs, or no test, in the weeks before"
        of = [Estimate.withheld(unit, "critical-power", reason) for unit in ("W", "J")]
    else:
        n, n_of = told.posterior.n, told.posterior.n_of
        of = [
            Estimate(float(q[1]), float(q[0]), float(q[2]), unit, n, "critical-power", n_of)
            for q, unit in ((cp, "W"), (wp, "J"))
        ]
    return {
        "date": dt.date.fromordinal(told.day),
        "critical_power": of[0],
        "w_prime": of[1],
        "evidence": told.kind,
        "early": told.early,
    }


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
    out["held_back"] = held_back(library.health())
    through: dict[str, Any] = {"history": [], "moved": [], "tests": [], "accepted_entries": []}
    if key and day is not None:
        through = library.cached(
            ("history", key, day),
            lambda: plain(
                {
                    "history": every_day(library, key, day),
                    "moved": what_moved(library, key, day),
                    "tests": [] if held_back(library.health()) else worthwhile_tests(found),
                    "accepted_entries": [{"date": d, "critical_power_w": w} for d, w in accepted.entries(library, key)],
                }
            ),
        )
    return {**out, **through}
