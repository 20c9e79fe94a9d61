"""Evidence about capacity: from the runs of one scale through time, or from efforts that the runner states."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import efforts as effort_model
from footwork.analysis import speed
from footwork.errors import NotEnoughData
from footwork.history import catalogue
from footwork.history.log.entries import MAXIMAL_MARKS
from footwork.history.scales import conversions
from footwork.history.scales.scale_keys import CONVERTED
from footwork.history.scales.scale_rows import StreamRows
from footwork.physiology import critical, curve, tracking
from footwork.quantities import Effort
from footwork.questions.capacity import snapshots

if TYPE_CHECKING:
    from footwork.history.book import History

RACE_WIDENING = 0.015  # a measured course and still air are not every race; our convention


SHOWN_DAYS = 120  # evidence listed beside today's value


@dataclass(frozen=True)
class Gathered:
    """What is known about capacity on a day: the distribution (None where only bounds or nothing exist), what it rests
    on in a word and in a sentence, and the evidence to show."""

    posterior: critical.Posterior | None
    kind: str
    sentence: str
    evidence: list[critical.Evidence]
    lower_bound: float | None = None
    forms: list[dict[str, Any]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def listed(self) -> list[dict[str, Any]]:
        """Efforts one by one; of bounds only the five that bind most."""
        bounds = sorted(
            (e for e in self.evidence if e.kind == "bound"),
            key=lambda e: -float(critical.implied_critical_power(e.durations[0], e.powers[0])),
        )
        shown = [e for e in self.evidence if e.kind != "bound"] + bounds[:5]
        return [
            {"kind": e.kind, "duration_s": t, "power_w": p, "run": e.run, "label": e.label}
            for e in shown
            for t, p in zip(e.durations, e.powers, strict=True)
        ]


def relation(rows: list[StreamRows], key: str, mass: float | None) -> speed.PowerAtSpeed | None:
    """Power at speed of some runs on a scale; with too few of them, or none, by the model or the prior (needs a
    mass).

    ``mass`` [kg].
    """
    if not rows or key == "model":
        return speed.modelled(mass) if mass else None
    outside = [r for r in rows if not r.indoor]
    fitted = speed.fit([r.blocks for r in outside], mass, [r.sky for r in outside])
    return fitted or (speed.prior(mass) if mass else None)


def track(library: History, key: str, asked: dt.date) -> tracking.Track | None:
    """The filter over all runs of a scale up to a date; None without any effort of two minutes."""

    def make() -> tracking.Track | None:
        rows = [r for r in conversions.rows_on_scale(library, key) if r.date <= asked]
        tired = catalogue.bricks(library)  # a race after a ride tells nothing of a fresh runner's limit
        bests = [best_of(r) for r in rows]
        bests = [replace(b, maximal=b.maximal and b.run not in tired) for b in bests]
        dated = effort_model.timeline(bests, asked.toordinal())
        dated = [_widened(d, rows) for d in dated]
        dated = sorted(dated + _races_by_hand(library, key, rows, asked), key=lambda d: d.day)
        newest = library.runs()[0].local.date() if library.runs() else asked
        return snapshots.follow(library, key, dated, not library.readonly and asked >= newest) if dated else None

    found: tracking.Track | None = library.cached(("track", key, asked), make)
    return found


def _widened(dated: tracking.Dated, rows: list[StreamRows]) -> tracking.Dated:
    """Evidence of runs whose watts were converted, with their spread about the conversion."""
    of = {r.run: r.converted for r in rows if r.converted}
    if not of:
        return dated
    evidence = dated.evidence
    if evidence.run is not None:
        more = of.get(evidence.run, 0.0)
    else:  # habitual bests stand for the runs of some weeks
        near = [r.converted for r in rows if 0 <= dated.day - r.date.toordinal() <= effort_model.HABITUAL_DAYS]
        more = float(np.mean(near)) if near else 0.0
    return replace(dated, evidence=replace(evidence, widening=float(np.hypot(evidence.widening, more))))


def shared_error(library: History, key: str, day: dt.date) -> float:
    """Relative error that all evidence of a scale with converted watts shares on a day: the conversions' own.

    A share [1]; 0 where the watts are the scale's own.
    """
    if not key.endswith(CONVERTED):
        return 0.0
    near = [r for r in conversions.rows_on_scale(library, key) if 0 <= (day - r.date).days <= SHOWN_DAYS]
    tested = [r for r in near if r.marks & MAXIMAL_MARKS] or near
    return float(np.mean([r.scale_error for r in tested])) if tested else 0.0


def _races_by_hand(library: History, key: str, rows: list[StreamRows], asked: dt.date) -> list[tracking.Dated]:
    """Races and tests that were entered without a recording, as watts of the scale by power at speed, with its
    error."""
    out: list[tracking.Dated] = []
    for row in library.runs():
        day = row.local.date()
        if not row.entered_by_hand or row.left_out or day > asked or not row.distance_m:
            continue
        if not set(row.marks) & MAXIMAL_MARKS or row.duration_s < critical.SHORTEST_S:
            continue
        near = sorted(rows, key=lambda r: abs((r.date - day).days))[:30]
        known = relation(near, key, library.athlete.value("mass", day))
        if known is None:
            continue
        power, widening = _as_watts(Effort(row.duration_s, distance=row.distance_m, date=day), day, known)
        found = critical.Evidence("maximal", (row.duration_s,), (power,), widening, day.isoformat(), row.id)
        out.append(tracking.Dated(day.toordinal(), found))
    return out


def best_of(row: StreamRows) -> effort_model.Best:
    """Stored best efforts of a run."""
    return effort_model.Best(
        row.run,
        row.date.toordinal(),
        row.date.isoformat(),
        bool(row.marks & MAXIMAL_MARKS),
        curve.stored_durations(86400)[: len(row.best)],
        row.best,
        row.starts,
    )


def recorded(library: History, key: str, asked: dt.date) -> Gathered:
    """Evidence of the recorded runs of a scale on a date."""
    made = track(library, key, asked) if key else None
    if made is None:
        return Gathered(None, "none", "no evidence", [])
    day = asked.toordinal()
    kind = tracking.kind_on(made.steps, day)
    recent = [s.evidence for s in made.steps if day - s.day <= SHOWN_DAYS]
    maximal = [e for e in recent if e.kind == "maximal"]
    habitual = [e for e in recent if e.kind == "habitual"][-1:]
    if kind == "lower bound":
        bounds = [
            s.evidence for s in made.steps if s.evidence.kind == "bound" and day - s.day <= effort_model.HABITUAL_DAYS
        ]
        if not bounds:
            last = dt.date.fromordinal(made.steps[-1].day)
            return Gathered(
                None,
                "too old",
                f"the last evidence on this scale is of {last}, too old to say what you can hold now",
                [],
            )
        lower = float(np.quantile(critical.posterior(bounds).draws(2000)[0], 0.05))
        sentence = f"only a lower bound from {len(bounds)} run{'s' if len(bounds) > 1 else ''}"
        return Gathered(None, kind, sentence, bounds, lower)
    counted = maximal + habitual
    n = sum(len(e.durations) for e in counted)
    posterior = replace(made.posterior(day, n), scale_sd=shared_error(library, key, asked))
    if kind == "tested":
        efforts = sum(len(e.durations) for e in maximal)
        sentence = (
            f"{efforts} maximal effort{'s' if efforts != 1 else ''} in {len(maximal)} "
            f"run{'s' if len(maximal) != 1 else ''} marked as maximal"
        )
    else:
        sentence = habitual[0].label
    return Gathered(posterior, kind, sentence, counted)


def stated(efforts: list[Effort], asked: dt.date, relation: speed.PowerAtSpeed | None) -> Gathered:
    """Evidence from stated efforts alone; races become watts by ``relation``.

    Raises
    ------
    NotEnoughData
        No effort of two minutes or more.
    """
    warnings: list[str] = []
    races = [e for e in efforts if e.distance is not None]
    watts = [e for e in efforts if e.power is not None]
    if races and watts and (relation is None or relation.source != "steady minutes"):
        warnings.append("Race results give modelled watts, which are not mixed with a device's: they were left out.")
        races = []
    groups: dict[tuple[str, object], list[tuple[float, float, float]]] = {}
    for index, effort in enumerate(watts + races):
        power, widening = _as_watts(effort, asked, relation)
        kind = "all-out" if effort.kind == "all-out" else "maximal"
        if kind == "maximal" and effort.duration < critical.SHORTEST_S:
            warnings.append(
                f"{effort.label or 'An effort'} is under 2 minutes: CP + W′/t does not describe it, so only "
                "the three-parameter form uses it."
            )
            continue
        # Efforts of one stated day share that day's form; undated ones are taken as days of their own.
        groups.setdefault((kind, effort.date or index), []).append((effort.duration, power, widening))
    evidence = [
        critical.Evidence(kind, tuple(t for t, _, _ in g), tuple(p for _, p, _ in g), max(w for _, _, w in g), "stated")
        for (kind, _), g in groups.items()
    ]
    if not evidence:
        raise NotEnoughData("no stated effort lasts two minutes or more: add one of 3 to 15 minutes")
    n = sum(len(e.durations) for e in evidence)
    forms = _forms([(e.duration, e.power) for e in watts if e.power is not None and e.kind != "all-out"])
    sentence = f"{n} stated effort{'s' if n != 1 else ''}"
    return Gathered(critical.posterior(evidence), "stated", sentence, evidence, None, forms, warnings)


def _as_watts(effort: Effort, asked: dt.date, relation: speed.PowerAtSpeed | None) -> tuple[float, float]:
    """Power of a stated effort [W] and its added relative error: age, and for a race the relation's."""
    age = max((asked - effort.date).days, 0) if effort.date else 0
    widening = critical.WIDENING_PER_DAY * age**0.5
    if effort.power is not None:
        return effort.power, widening
    assert effort.distance is not None and relation is not None
    v = effort.distance / effort.duration
    sd = float(np.hypot(relation.level_sd, relation.slope_sd * (v - relation.centre)))
    return float(relation.power(v)), float(np.sqrt(widening**2 + RACE_WIDENING**2 + sd**2))


def _forms(pairs: list[tuple[float, float]]) -> list[dict[str, Any]]:
    """The classical forms where the efforts allow them, each with its interval."""
    out: list[dict[str, Any]] = []
    for form in (critical.work_time, critical.inverse_time, critical.time_power, critical.three_parameter):
        used = [(d, w) for d, w in pairs if d >= critical.SHORTEST_S or form is critical.three_parameter]
        t, p = np.array([d for d, _ in used]), np.array([w for _, w in used])
        try:
            made = form(t, p)
            cp, wp = critical.form_interval(form, made, t, p)
        except ValueError:
            continue
        if made.critical_power > 0.2 * float(p.min()) and made.w_prime > 0:
            out.append(
                {
                    "form": made.name,
                    "error_in": made.error_in,
                    "critical_power": cp,
                    "w_prime": wp,
                    "p_max_w": made.p_max,
                    "efforts": len(used),
                }
            )
    return out
