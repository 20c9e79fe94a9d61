"""Capacity through time: the proposal of every day, what moved it, and which test would tell most."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import capacity_days, efforts
from footwork.analysis.capacity_days import CapacityDays, Told
from footwork.analysis.efforts import Best, binding_effort
from footwork.history.log import accepted
from footwork.history.scales.scale_keys import CONVERTED
from footwork.physiology import critical, habitual, lay_off, tracking
from footwork.physiology.critical import implied_critical_power
from footwork.quantities import Estimate, plain
from footwork.questions.capacity import evidence
from footwork.questions.capacity.capacity_estimate import Capacity
from footwork.store import stamps
from footwork.wording.cautions import before_hard_work, held_back

if TYPE_CHECKING:
    from footwork.history.book import History

_KEPT_VERSION = 4  # of the days kept on disk
NARROWER = 0.98  # of today's half-width: a test that is expected to leave more is not proposed; our convention
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
    knows only what came before it. On a scale with converted watts all of them are converted as is known on the date
    asked, so that the days stand beside each other."""
    return _walked(library, key, asked)[0]


def what_moved(library: History, key: str, asked: dt.date) -> list[dict[str, Any]]:
    """What changed the proposal: date, run and kind of evidence, CP before and after [W]; the newest first.

    Kinds are ``maximal`` (a test), ``habitual`` (an everyday run, or several little by little), ``ageing``: days that
    passed without anything as strong, added up until a run or a test moves it again, and ``lay-off``: such days of
    weeks without running, or after them, as they come back.
    """
    return _walked(library, key, asked)[1]


def _walked(library: History, key: str, asked: dt.date) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    def make() -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
        found = evidence.days(library, key, asked)
        known = sorted([*(b.day for b in found.bests), *(t.day for t in found.tests)])
        if not known:
            return [], []
        # Days before the newest run or test change no more: they are kept, and a new run goes on from there.
        keeps = not library.readonly and asked >= library.runs()[0].local.date() and not key.endswith(CONVERTED)
        prior, of_prior = evidence.prior_of(library), library.setting("priors")
        named = hashlib.sha256(f"{key}{of_prior}".encode()).hexdigest()[:16]
        path = library.folder / "derived" / "capacity" / f"{named}.json"
        walk = (_read(path, found) if keeps else None) or _Walk(known[0] - 1)
        for stop in (known[-1] - 1, asked.toordinal()):
            if stop <= walk.until:
                continue
            for told in found.through(walk.until + 1, stop):
                if prior is not None and told.posterior is not None:
                    told = replace(told, posterior=told.posterior.under(prior))
                walk.note(found, told, evidence.shared_error(library, key, dt.date.fromordinal(told.day), asked))
            if keeps and stop < known[-1]:
                _write(path, walk, found)
        return [_row(day) for day in walk.days], walk.changes.told()

    made: tuple[list[dict[str, Any]], list[dict[str, Any]]] = library.cached(("capacity walked", key, asked), make)
    return made


@dataclass
class _Walk:
    """The proposal of each day up to one: (day, kind, early, n, what n counts, quantiles of CP and W′ or nothing)."""

    until: int
    days: list[tuple[int, str, bool, int, str, list[float] | None]] = field(default_factory=list)
    changes: _Changes = field(default_factory=lambda: _Changes())

    def note(self, found: CapacityDays, told: Told, shared: float) -> None:
        """Go on by a day; ``shared`` is a relative error [1] that all its watts share."""
        self.until = told.day
        quantiles = None
        if told.posterior is not None:
            of = told.posterior.sharing(shared).quantiles()
            quantiles = [float(q) for values in of for q in values]
            n, n_of = told.posterior.n, told.posterior.n_of
            self.days.append((told.day, told.kind, told.early, n, n_of, quantiles))
        elif self.days:
            self.days.append((told.day, told.kind, False, 0, "", None))
        self.changes.note(found, told, quantiles[1] if quantiles else None)


def _digest(found: CapacityDays, until: int) -> str:
    """What the days up to one rest on."""
    runs = found.everyday
    at = int(np.searchsorted(runs.day, until, side="right"))
    arrays = (runs.run, runs.day, runs.marked, runs.log_best, runs.log_long, runs.level)
    made = hashlib.sha256(b"".join(np.ascontiguousarray(a[:at]).tobytes() for a in arrays))
    versions = [m.METHOD_VERSION for m in (capacity_days, critical, efforts, habitual, lay_off, tracking)]
    tests, pauses = [t for t in found.tests if t.day <= until], [o for o in found.lay_offs if o.since < until]
    made.update(repr((_KEPT_VERSION, versions, until, tests, pauses)).encode())
    return made.hexdigest()


def _read(path: Path, found: CapacityDays) -> _Walk | None:
    try:
        kept = json.loads(stamps.read_kept(path) or "")
        if kept["digest"] != _digest(found, kept["until"]):
            return None
        return _Walk(kept["until"], [tuple(day) for day in kept["days"]], _Changes(**kept["changes"]))
    except (ValueError, KeyError, TypeError):  # missing or damaged: the days are followed anew
        return None


def _write(path: Path, walk: _Walk, found: CapacityDays) -> None:
    kept = {
        "digest": _digest(found, walk.until),
        "until": walk.until,
        "days": walk.days,
        "changes": asdict(walk.changes),
    }
    stamps.write_kept(path, json.dumps(kept))


@dataclass
class _Changes:
    """What moved the proposal, collected day by day."""

    rows: list[dict[str, Any]] = field(default_factory=list)
    before: float | None = None
    quiet: float = 0.0  # ln of what small changes of quiet days have added up to
    quiet_on: int = 0
    off: bool = False  # whether weeks without running weighed on these days

    def note(self, found: CapacityDays, told: Told, cp: float | None) -> None:
        """A day's proposal [W]; None where it is withheld."""
        before, self.before = self.before, cp
        if cp is None or before is None:
            self._settle(before)
            self.quiet = 0.0
            return
        new = [s.evidence for s in told.tests if s.day == told.day]
        of_day = np.flatnonzero(found.everyday.day == told.day).tolist()
        runs = [b for k in of_day if not (b := found.bests[k]).maximal]
        if abs(cp / before - 1) < MOVED_LEAST or not (new or runs):
            if self.off != (told.lay_off is not None):
                self._settle(before)
                self.off = told.lay_off is not None
            step = float(np.log(cp / before))
            if step * self.quiet < 0.0:  # a fall that has turned is told as of the day it ended
                self._settle(before)
            self.quiet += step
            self.quiet_on = told.day
            return
        self._settle(before)
        kind, of = ("maximal", new[-1]) if new else ("habitual", max(runs, key=_strength))
        self._add(told.day, kind, of.run, of.label, before, cp)

    def told(self) -> list[dict[str, Any]]:
        """The changes, the newest first."""
        self._settle(self.before)
        return self.rows[::-1]

    def _settle(self, now: float | None) -> None:
        """Small changes become one row where together they are worth it; else they wait for more."""
        if now is not None and abs(np.expm1(self.quiet)) >= MOVED_LEAST:
            before = now / float(np.exp(self.quiet))
            fell = now < before
            label = "days without anything as strong" if fell else "everyday runs, little by little"
            kind = "ageing" if fell else "habitual"
            if self.off:
                kind, label = "lay-off", "days without running" if fell else "running as usual again"
            self._add(self.quiet_on, kind, None, label, before, now)
            self.quiet = 0.0

    def _add(self, day: int, kind: str, run: int | None, label: str, before: float, after: float) -> None:
        self.rows.append(
            {
                "date": dt.date.fromordinal(day).isoformat(),
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


def _row(day: tuple[int, str, bool, int, str, list[float] | None]) -> dict[str, Any]:
    on, kind, early, n, n_of, quantiles = day
    if quantiles is None:
        reason = "not enough runs, or no test, in the weeks before"
        cp, wp = (Estimate.withheld(unit, "critical-power", reason) for unit in ("W", "J"))
    else:
        cp, wp = (
            Estimate(value, low, high, unit, n, "critical-power", n_of)
            for unit, (low, value, high) in (("W", quantiles[:3]), ("J", quantiles[3:]))
        )
    return {"date": dt.date.fromordinal(on), "critical_power": cp, "w_prime": wp, "evidence": kind, "early": early}


def worthwhile_tests(found: Capacity) -> list[dict[str, Any]]:
    """Tests that would narrow CP's interval, with the half-width to be expected after each [W], the most telling
    first."""
    if found.posterior is None:
        return []
    now = found.posterior.estimates()[0]
    before = 0.5 * ((now.high or 0.0) - (now.low or 0.0))
    rows: list[dict[str, Any]] = [
        {
            "test": name,
            "durations_s": list(durations),
            "half_width_now_w": before,
            "half_width_after_w": tracking.half_width_after(found.posterior, durations),
        }
        for name, durations in TESTS.items()
    ]
    telling = [r for r in rows if r["half_width_after_w"] < NARROWER * before]
    return sorted(telling, key=lambda r: r["half_width_after_w"])


def history_told(library: History, found: Capacity) -> dict[str, Any]:
    """A capacity answer as its page's twin and ``capacity --json`` give it, history included."""
    out = found.to_json()
    key, day = found.scale_key, found.date
    held = held_back(library.health())
    out |= {"held_back": held, "caution": before_hard_work("test")}
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
    if held or library.context().physician_decides(dt.date.today()):
        through = {**through, "tests": []}
    return {**out, **through}
