"""Evidence about capacity: from the runs of one scale through time, or from efforts that the runner states."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import efforts, speed
from footwork.analysis.capacity_days import NO_TEST, CapacityDays, Told
from footwork.errors import NotEnoughData
from footwork.history import catalogue
from footwork.history.log import diary
from footwork.history.log.entries import MAXIMAL_MARKS
from footwork.history.scales import conversions
from footwork.history.scales.scale_keys import CONVERTED
from footwork.history.scales.scale_rows import StreamRows
from footwork.physiology import classical_forms, critical, curve, habitual, lay_off, population, tracking
from footwork.physiology.lay_off import LayOff, Other
from footwork.quantities import Effort, Floats

if TYPE_CHECKING:
    from footwork.history.book import History

RACE_WIDENING = 0.015  # a measured course and still air are not every race; our convention


LEARNED = "W′ and the tail lean on what the coach's squad shows, beside the literature."
SHOWN_DAYS = 120  # evidence listed beside today's value
FELT_HARD = (
    7.0  # exertion from which another sport keeps capacity up; so does a heart rate as of usual runs; convention
)


@dataclass(frozen=True)
class Gathered:
    """What is known about capacity on a day: the distribution (None where only bounds or nothing exist), what it rests
    on in a word and in a sentence, and the evidence to show, each with the kind it is. ``rested_from`` is the last run
    before weeks without running that weigh on it."""

    posterior: critical.Posterior | None
    kind: str
    sentence: str
    evidence: list[critical.Evidence]
    everyday: list[dict[str, Any]] = field(default_factory=list)
    lower_bound: float | None = None
    early: bool = False
    unconfirmed: dict[str, Any] | None = None
    rested_from: dt.date | None = None
    forms: list[dict[str, Any]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def listed(self) -> list[dict[str, Any]]:
        """Efforts one by one: tests, then the everyday runs that set the level."""
        tests = [
            {"kind": e.kind, "duration_s": t, "power_w": p, "run": e.run, "label": e.label}
            for e in self.evidence
            for t, p in zip(e.durations, e.powers, strict=True)
        ]
        return tests + self.everyday


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


def days(library: History, key: str, asked: dt.date) -> CapacityDays:
    """All evidence of a scale from its runs up to a date, to be asked day by day."""

    def make() -> CapacityDays:
        rows = conversions.rows_on_scale(library, key, asked)
        tired = catalogue.bricks(library)  # a race after a ride tells nothing of a fresh runner's limit
        bests = [replace(b, maximal=b.maximal and b.run not in tired) for b in bests_of(rows)]
        return CapacityDays(bests, _races_by_hand(library, key, rows, asked), lay_offs(library, asked))

    found: CapacityDays = library.cached(("capacity days", key, asked), make)
    return found


def lay_offs(library: History, asked: dt.date) -> list[LayOff]:
    """The runner's weeks without running up to a date, on any scale or entered by hand."""

    def make() -> list[LayOff]:
        running: dict[int, float] = {}
        beats: dict[int, float] = {}
        for row in library.runs():
            day = row.local.date().toordinal()
            running[day] = running.get(day, 0.0) + row.duration_s / 60.0
            if row.heart_rate_bpm:
                beats[day] = row.heart_rate_bpm
        context = library.context()
        felt = {d["date"] for d in diary.days(library) if d.get("exertion", 0.0) >= FELT_HARD}
        other: dict[int, Other] = {}
        for of in library.activities():
            date = dt.date.fromisoformat(of["date"][:10])
            day = date.toordinal()
            usual = [b for d, b in beats.items() if 0 <= day - d <= lay_off.RECENT]
            rate = 0.0 if context.physician_decides(date) else of["heart_rate_bpm"] or 0.0
            hard = of["date"][:10] in felt or bool(usual and rate >= np.median(usual))
            known = other.get(day, Other(0.0, False))
            other[day] = Other(known.minutes + (of["duration_s"] or 0.0) / 60.0, known.hard or hard)
        return lay_off.found(running, other, asked.toordinal())

    found: list[LayOff] = library.cached(("lay-offs", asked), make)
    return found


def shared_error(library: History, key: str, day: dt.date, asked: dt.date) -> float:
    """Relative error that all evidence of a scale with converted watts shares on a day: the conversions' own, as they
    are known on the date that is asked.

    A share [1]; 0 where the watts are the scale's own.
    """
    if not key.endswith(CONVERTED):
        return 0.0
    near = [r for r in conversions.rows_on_scale(library, key, asked) if 0 <= (day - r.date).days <= SHOWN_DAYS]
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
        near = [r for r in rows if r.date <= day][-30:]  # what came later was not known then
        known = relation(near, key, library.athlete.value("mass", day))
        if known is None:
            continue
        power, widening = _as_watts(Effort(row.duration_s, distance=row.distance_m, date=day), day, known)
        found = critical.Evidence("maximal", (row.duration_s,), (power,), widening, day.isoformat(), row.id)
        out.append(tracking.Dated(day.toordinal(), found))
    return out


def bests_of(rows: list[StreamRows]) -> list[efforts.Best]:
    """Stored best efforts of runs."""
    durations = curve.stored_durations(86400)
    levels = efforts.flat_levels([row.blocks for row in rows], [row.indoor for row in rows])
    return [
        efforts.Best(
            row.run,
            row.date.toordinal(),
            row.date.isoformat(),
            bool(row.marks & MAXIMAL_MARKS),
            durations[: len(row.best)],
            row.best,
            row.starts,
            float(level),
            row.converted,
        )
        for row, level in zip(rows, levels, strict=True)
    ]


def recorded(library: History, key: str, asked: dt.date) -> Gathered:
    """Evidence of the recorded runs of a scale on a date."""
    if not key:
        return Gathered(None, "none", "no evidence", [])
    made = days(library, key, asked)
    told = made.on(asked.toordinal())
    if told.kind == "none":
        return Gathered(None, "none", "no evidence", [])
    if told.kind == "too old":
        last = dt.date.fromordinal(max([*(b.day for b in made.bests), *(s.day for s in told.tests)]))
        said = f"the last evidence on this scale is of {last}, too old to say what you can hold now"
        return Gathered(None, "too old", said, [])
    known = _everyday(made, told)
    if told.posterior is None:
        run = made.bests[told.bound_run or 0]
        bests = sorted((e for e in known if e["run"] == run.run), key=lambda e: -e["power_w"])[:1]
        sentence = f"only a lower bound: {_why_bounded(made, told)}"
        if told.lone is not None:
            more = 100 * told.lone[1]
            sentence += f"; run {run.run} alone says it, {more:.0f} % beyond the others, so leave it out if it erred"
        return Gathered(None, told.kind, sentence, [], bests or known[:1], told.lower_bound)
    tests = [s.evidence for s in told.tests if told.day - s.day <= SHOWN_DAYS]
    prior = prior_of(library)
    posterior = (told.posterior.under(prior) if prior is not None else told.posterior).sharing(
        shared_error(library, key, asked, asked)
    )
    if told.kind == "tested":
        count = sum(len(e.durations) for e in tests)
        sentence = (
            f"{count} maximal effort{'s' if count != 1 else ''} in {len(tests)} "
            f"run{'s' if len(tests) != 1 else ''} marked as maximal"
        )
        if told.front is not None:
            sentence += ", and the strongest everyday runs"
    else:
        sentence = f"the strongest everyday runs, {posterior.n} run{'s' if posterior.n != 1 else ''} in twelve weeks"
        if told.tests:
            newest = dt.date.fromordinal(told.tests[-1].day)
            count = len(told.tests)
            older = f"{count} older maximal efforts, the newest" if count > 1 else "an older maximal effort,"
            sentence += f", and {older} of {newest}"
    unconfirmed = None
    if told.lone is not None:
        at, more = told.lone
        run = made.bests[at]
        unconfirmed = {"run": run.run, "date": dt.date.fromordinal(run.day), "more": more}
    tests_fit = not library.context().physician_decides(asked)
    rested = None if told.lay_off is None else dt.date.fromordinal(told.lay_off.since)
    return Gathered(
        posterior,
        told.kind,
        sentence,
        tests,
        known,
        None,
        told.early,
        unconfirmed,
        rested,
        warnings=[*([LEARNED] if prior is not None else []), *_doubts(told, tests_fit)],
    )


def prior_of(library: History) -> Floats | None:
    """Log weights of a squad's own priors where a coach switched them on (`population.instead`); None otherwise."""

    def make() -> Floats | None:
        told = library.setting("priors")
        return population.instead({k: (float(m), float(s)) for k, (m, s) in json.loads(told).items()}) if told else None

    found: Floats | None = library.cached("squad's priors", make)
    return found


def tests_until(library: History, key: str, asked: dt.date) -> list[critical.Evidence]:
    """Every test and race of a scale up to a date, the oldest first, each with its day in ``label``."""
    made = days(library, key, asked)
    return [s.evidence for s in sorted(made.on(asked.toordinal()).tests, key=lambda s: s.day)]


def held_for(library: History, key: str, asked: dt.date, duration: float) -> float | None:
    """Power that the runs have shown for a duration [s] or longer, aged to a date and capped as the level of critical
    power is: nobody holds less on a day alike. [W]"""
    front = days(library, key, asked).on(asked.toordinal()).front
    if front is None:
        return None
    short = [b for d, b in zip(habitual.DURATIONS, front.best, strict=True) if d >= duration]
    long = [b for d, b in zip(habitual.LONG_DURATIONS, front.long, strict=True) if d >= duration and b > 0]
    return float(np.exp(max([*short, *long]))) if short or long else None


def clipped(library: History, key: str, run: int, asked: dt.date) -> dict[str, Any] | None:
    """How much less a run's watts count for capacity than they were shown, since its own speed gives a fault away.

    Returns ``share`` [1], what is taken off, and ``why``; None where nothing is.
    """
    made = days(library, key, asked)
    at = next((i for i, b in enumerate(made.bests) if b.run == run), None)
    share = 0.0 if at is None else float(-np.expm1(-made.clips(asked.toordinal())[at]))
    if share < efforts.LONE_LEAST:
        return None
    why = (
        f"watts by speed on the flat lay {100 * np.expm1(efforts.CLIP_FREE - np.log1p(-share)):.0f} % above those of "
        f"the other runs of these weeks, as of a device that erred: for critical power they count {100 * share:.0f} % "
        "less"
    )
    return {"share": share, "why": why}


def _everyday(made: CapacityDays, told: Told) -> list[dict[str, Any]]:
    """The runs that set the level, with the effort by which each does."""
    if told.front is None:
        return []
    out = []
    for i, at in zip(told.front.strongest, told.front.at, strict=True):
        best = made.bests[i]
        duration = habitual.DURATIONS[at]
        power = float(np.max(best.powers[(best.durations >= duration) & np.isfinite(best.powers)]))
        out.append({"kind": "habitual", "duration_s": duration, "power_w": power, "run": best.run, "label": best.label})
    return out


def _why_bounded(made: CapacityDays, told: Told) -> str:
    """What is missing before critical power can be told from everyday runs."""
    lacks = made.everyday.lacking(told.day)
    if lacks is None or (lacks.what == "runs" and not lacks.runs):
        return "no everyday runs on this scale, and the last test is over four months old"
    since = dt.date.fromordinal(lacks.since)
    if lacks.what == "pause":
        return f"no run on this scale since {since}"
    have = f"{lacks.runs} run{'s' if lacks.runs != 1 else ''} since {since}"
    have += ", after a pause" if lacks.returned else ""
    if lacks.what == "runs":
        return f"{have}, where five are needed"
    if lacks.what == "three minutes":
        return f"{have}, but fewer than three of them with an unbroken three minutes"
    return f"{have}, where three weeks of running are needed"


def _doubts(told: Told, tests_fit: bool) -> list[str]:
    """What a reader must know of everyday runs, and of weeks without running, before trusting the number."""
    out = [] if told.lay_off is None else [_without_running(told.lay_off, told.day, tests_fit)]
    out += [_no_test(t.evidence) for t in told.beaten if told.day - t.day <= SHOWN_DAYS]
    out += [_weak_test(t.evidence, share) for t, share in told.weak if told.day - t.day <= SHOWN_DAYS]
    if told.kind != "habitual":
        return out
    out += [
        "Without a test it rests on everyday runs, which show a part of what you can do: no more runs of that kind "
        "make it surer than about 9 %" + (", only a test does." if tests_fit else ".")
    ]
    if told.early and told.front is not None:
        out.insert(0, f"Early: only {told.front.history} days of running are known, four weeks make it surer.")
    return out


def _named(of: critical.Evidence) -> str:
    return of.label if of.run is None else f"run {of.run} of {of.label}"


def _weak_test(of: critical.Evidence, share: float) -> str:
    """What to think of a marked run that counts though everyday runs show more."""
    return (
        f"Marked as a race or test, {_named(of)} tells of {100 * (1 - share):.0f} % less critical power than everyday "
        "runs do: it counts, so take the mark off if it was not all out."
    )


def _no_test(of: critical.Evidence) -> str:
    """Why a marked run does not count."""
    return (
        f"Marked as a race or test, {_named(of)} does not count: its best effort tells of over "
        f"{100 * (1 - NO_TEST):.0f} % less critical power than everyday runs do, so it was no all-out effort, or its "
        "watts are wrong."
    )


def _without_running(weeks: LayOff, day: int, tests_fit: bool) -> str:
    """What weeks without running took, and what is to be done."""
    lost, off = 100.0 * weeks.loss(day), weeks.days_off(day)
    low, high = (lost * end / lay_off.SHARE for end in lay_off.SHARE_ENDS)
    back = weeks.back is not None and day > weeks.back
    whole = int(off + lay_off.days_of(weeks.left))
    left = whole - (day - (weeks.back or day) if back else 0)
    earlier = " and what an earlier break had left" if weeks.left else ""
    return (
        f"{off} days without running{earlier}, where {weeks.usual_gap} were the most you usually leave out: what was "
        f"known before counts {lost:.1f} % less ({low:.1f} to {high:.1f} %), as after published breaks"
        + (
            f"; it comes back over about {left} more days of usual running. "
            if back
            else f", until you run as usual again, and then comes back over about {whole} days. "
        )
        + f"Nobody measured it on you: begin by feel{', a test tells' if tests_fit else ''}."
    )


def stated(given: list[Effort], asked: dt.date, relation: speed.PowerAtSpeed | None) -> Gathered:
    """Evidence from stated efforts alone; races become watts by ``relation``.

    Raises
    ------
    NotEnoughData
        No effort of two minutes or more.
    """
    warnings: list[str] = []
    races = [e for e in given if e.distance is not None]
    watts = [e for e in given if e.power is not None]
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
    return Gathered(critical.posterior(evidence), "stated", sentence, evidence, forms=forms, warnings=warnings)


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
    for form in classical_forms.FORMS:
        used = [(d, w) for d, w in pairs if d >= critical.SHORTEST_S or form is classical_forms.three_parameter]
        t, p = np.array([d for d, _ in used]), np.array([w for _, w in used])
        try:
            made = form(t, p)
            cp, wp = classical_forms.form_interval(form, made, t, p)
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
