"""What the runner can hold: evidence gathered, critical power, domains, best efforts, load."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from footwork.analysis import efforts as effort_model
from footwork.analysis import heart, speed
from footwork.errors import NotEnoughData, UsageError
from footwork.library import runs
from footwork.physiology import critical, curve, domains
from footwork.physiology.endurance import power_at
from footwork.quantities import Effort, Estimate, parse_effort, plain

DAY = 86400.0
SCALE_WEEKS_DAYS = 42
DRAWS = 2000
_RACE_WIDENING = 0.015  # a measured course and still air are not every race; our convention


@dataclass(frozen=True)
class Capacity:
    """Everything an answer about capacity holds; `to_json` is the documented form."""

    date: dt.date | None
    scale: str
    measured: bool
    critical_power: Estimate
    w_prime: Estimate
    tail: Estimate
    critical_speed: Estimate
    evidence: dict[str, Any]
    domains: dict[str, dict[str, Estimate]]
    curve: list[dict[str, Any]]
    forms: list[dict[str, Any]]
    warnings: list[str]
    lower_bound: float | None = None
    posterior: critical.Posterior | None = field(default=None, repr=False)
    power_at_speed: speed.PowerAtSpeed | None = field(default=None, repr=False)
    mass: float | None = None
    home_altitude: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """SI units, estimates as in `models` section 9."""
        names = ("date", "scale", "measured", "critical_power", "w_prime", "tail", "critical_speed", "evidence", "domains",
                 "curve", "forms", "warnings")  # fmt: skip
        out: dict[str, Any] = plain({name: getattr(self, name) for name in names})
        out["lower_bound_w"] = self.lower_bound
        return out


def answer(
    library: Any,
    efforts: Sequence[str | Effort] = (),
    date: dt.date | None = None,
    scale: str | None = None,
    mass: float | None = None,
) -> Capacity:
    """Capacity as of a date (the newest run's by default) on one scale.

    Parameters
    ----------
    library : Library
    efforts : sequence of str or Effort
        Stated efforts; given, they alone are the evidence. As in `quantities.parse_effort`.
    date : date, optional
    scale : str, optional
        Name or key; by default the one with most measured time in the six weeks before.
    mass : float, optional
        For race results without a dated mass. [kg]

    Raises
    ------
    UsageError
        An effort or scale that cannot be understood, or a library without runs and no stated efforts.
    """
    stated = [parse_effort(e) if isinstance(e, str) else e for e in efforts]
    key = ("capacity", tuple(stated), date, scale, mass)
    made: Capacity = library.cached(key, lambda: _answer(library, stated, date, scale, mass))
    return made


def _answer(
    library: Any, stated: list[Effort], date: dt.date | None, scale: str | None, mass: float | None
) -> Capacity:
    rows = library.runs()
    asked = date or (max(r.local.date() for r in rows) if rows else dt.date.today())
    if mass is not None and not 25 <= mass <= 250:
        raise UsageError(f"a mass of {mass:g} kg cannot be: give 25 to 250 kg")
    mass = mass or library.athlete.value("mass", asked)
    key, name = choose_scale(library, rows, asked, scale)
    end = dt.datetime.combine(asked, dt.time.max).astimezone().timestamp()
    found = runs.stream_rows(library, key, end - effort_model.WINDOW_DAYS * DAY, end + 14 * 3600) if key else []
    found = [r for r in found if r.date <= asked]
    recent = [r for r in found if end - r.start <= SCALE_WEEKS_DAYS * DAY]
    measured = bool(found) and found[-1].measured
    relation = _relation(recent or found, key, mass)
    if stated:
        return _from_stated(stated, asked, key, name, relation, mass, found, recent, end)
    if not rows:
        raise NotEnoughData("the library holds no runs: add recordings, or state efforts with --effort 3:00=361")
    bests = [_best(r, end) for r in found]
    evidence = effort_model.evidence_from(bests)
    return _conclude(evidence, asked, name, measured, relation, mass, found, recent, [])


def choose_scale(library: Any, rows: list[runs.RunRow], asked: dt.date, wanted: str | None) -> tuple[str, str]:
    """Key and name of the scale to answer on; empty where there is none."""
    names = library.scales()
    if wanted is not None:
        for key, name in names.items():
            if wanted in (key, name):
                return key, name
        raise UsageError(f"there is no scale '{wanted}': there are {', '.join(names.values())}")
    past = [r for r in rows if r.scale_key and r.local.date() <= asked]
    time: Counter[str] = Counter()
    for r in past:
        if (asked - r.local.date()).days <= SCALE_WEEKS_DAYS and r.measured:
            time[r.scale_key or ""] += int(r.duration_s)
    key = time.most_common(1)[0][0] if time else past[0].scale_key if past else ""
    return (key, names.get(key, key)) if key else ("", "")


def _relation(rows: list[runs.StreamRows], key: str, mass: float | None) -> speed.PowerAtSpeed | None:
    if not rows or key == "model":
        return speed.modelled(mass) if mass else None
    fitted = speed.fit([r.blocks for r in rows if not r.indoor], mass)
    return fitted or (speed.prior(mass) if mass else None)


def _best(row: runs.StreamRows, end: float) -> effort_model.Best:
    durations = curve.stored_durations(86400)[: len(row.best)]
    return effort_model.Best(
        row.run, max(end - row.start, 0.0) / DAY, row.date.isoformat(), bool(row.marks & runs.MAXIMAL_MARKS),
        durations, row.best, row.starts,
    )  # fmt: skip


def _from_stated(
    stated: list[Effort], asked: dt.date, key: str, name: str, relation: speed.PowerAtSpeed | None, mass: float | None,
    found: list[runs.StreamRows], recent: list[runs.StreamRows], end: float,
) -> Capacity:  # fmt: skip
    warnings: list[str] = []
    races = [e for e in stated if e.distance is not None]
    watts = [e for e in stated if e.power is not None]
    usable = list(watts)
    if races and watts and (relation is None or relation.source != "steady minutes"):
        warnings.append("Race results give modelled watts, which are not mixed with a device's: they were left out.")
        races = []
    if races and relation is None:
        return _speed_only(races, asked)
    groups: dict[tuple[str, object], list[tuple[float, float, float]]] = {}
    for index, effort in enumerate(usable + races):
        age = max((asked - effort.date).days, 0) if effort.date else 0
        widening = critical.WIDENING_PER_DAY * age**0.5
        power = effort.power
        if power is None and effort.distance is not None and relation is not None:
            v = effort.distance / effort.duration
            power = float(relation.power(v))
            sd = float(np.hypot(relation.level_sd, relation.slope_sd * (v - relation.centre)))
            widening = float(np.sqrt(widening**2 + _RACE_WIDENING**2 + sd**2))
        if power is None:
            continue
        kind = "all-out" if effort.kind == "all-out" else "maximal"
        if kind == "maximal" and effort.duration < critical.SHORTEST_S:
            warnings.append(
                f"{effort.label or 'An effort'} is under 2 minutes: CP + W′/t does not describe it, so only the three-parameter form uses it."
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
    forms = _forms([(e.duration, e.power) for e in watts if e.power is not None and e.kind != "all-out"])
    on_model = bool(races) and not watts and relation is not None and relation.source == "model"
    shown = "model" if on_model else name if (races or found) else "stated"
    measured = not on_model
    if not key and not on_model:
        relation = speed.prior(mass) if mass else None
    return _conclude(evidence, asked, shown, measured, relation, mass, found, recent, warnings, forms)


def _forms(pairs: list[tuple[float, float]]) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    for form in (critical.work_time, critical.inverse_time, critical.time_power, critical.three_parameter):
        try:
            long = [(d, w) for d, w in pairs if d >= critical.SHORTEST_S or form is critical.three_parameter]
            made = form([d for d, _ in long], [w for _, w in long])
        except ValueError:
            continue
        if made.critical_power > 0 and made.w_prime > 0:
            out.append({
                "form": made.name, "error_in": made.error_in, "critical_power_w": made.critical_power,
                "w_prime_j": made.w_prime, "p_max_w": made.p_max, "efforts": len(long),
            })  # fmt: skip
    return out


def _speed_only(races: list[Effort], asked: dt.date) -> Capacity:
    """Without a mass there are no modelled watts, but races still give critical speed."""
    reason = "watts need the runner's mass: footwork athlete --mass KG"
    evidence = [
        critical.Evidence("maximal", (e.duration,), ((e.distance or 0.0) / e.duration,), _RACE_WIDENING, e.label)
        for e in races
        if e.duration >= critical.SHORTEST_S
    ]
    if not evidence:
        raise NotEnoughData("no race lasts two minutes or more: add a longer one")
    made = critical.posterior(evidence)
    cs, _, tail = made.draws(DRAWS)
    speed_estimate = Estimate.from_draws(cs, "m/s", made.n, "critical-power", "races")
    withheld = Estimate.withheld("W", "critical-power", reason)
    share = {"moderate_heavy": domains.MODERATE_SHARE[1], "heavy_severe": 1.0}
    borders = {
        border: {
            "power": withheld,
            "speed": speed_estimate.scaled(factor, "m/s") if border == "heavy_severe" else Estimate.from_draws(
                cs * factor, "m/s", made.n, "domains", "races"),
            "heart_rate": Estimate.withheld("bpm", "heart-rate-borders", "no recordings with heart rate"),
        }
        for border, factor in share.items()
    }  # fmt: skip
    return Capacity(
        asked, "", False, withheld, Estimate.withheld("J", "critical-power", reason),
        Estimate.from_draws(tail, "", made.n, "tail", "races"), speed_estimate,
        {"kind": "stated", "sentence": f"{made.n} stated race results", "efforts": _listed(evidence)},
        borders, [], [], [],
    )  # fmt: skip


def _conclude(
    evidence: list[critical.Evidence], asked: dt.date, name: str, measured: bool, relation: speed.PowerAtSpeed | None,
    mass: float | None, found: list[runs.StreamRows], recent: list[runs.StreamRows], warnings: list[str],
    forms: list[dict[str, Any]] | None = None,
) -> Capacity:  # fmt: skip
    kinds = {e.kind for e in evidence}
    strong = kinds & {"maximal", "all-out", "habitual"}
    stated = any(e.label == "stated" for e in evidence)
    posterior = critical.posterior(evidence) if evidence else None
    best = _curve(found)
    altitude = _home_altitude(found)
    lower: float | None = None
    if posterior is None or not strong:
        if posterior is not None:
            lower = float(np.quantile(posterior.draws(DRAWS)[0], 0.05))
            reason = f"CP is at least {lower:.0f} W, no more can be said: no test, race or hard running on this scale"
            kind, sentence = (
                "lower bound",
                f"only a lower bound from {len(evidence)} run{'s' if len(evidence) > 1 else ''}",
            )
        else:
            has_runs = "the runs have no power, and without a mass none can be modelled: footwork athlete --mass KG"
            reason = "no run of two minutes or longer with power on this scale" if name else has_runs
            kind, sentence = "none", "no evidence"
        nothing = Estimate.withheld("W", "critical-power", reason)
        return Capacity(
            asked, name, measured, nothing, Estimate.withheld("J", "critical-power", reason),
            Estimate.withheld("", "tail", reason), Estimate.withheld("m/s", "critical-power", reason),
            {"kind": kind, "sentence": sentence, "efforts": _listed(evidence)},
            {b: {"power": nothing, "speed": Estimate.withheld("m/s", "domains", reason),
                 "heart_rate": Estimate.withheld("bpm", "heart-rate-borders", reason)}
             for b in ("moderate_heavy", "heavy_severe", "severe_extreme")},
            best, forms or [], warnings, lower, None, relation, mass, altitude,
        )  # fmt: skip
    assert posterior is not None
    cp, wp, tail = posterior.estimates()
    kind = "stated" if stated else "tested" if kinds & {"maximal", "all-out"} else "habitual"
    draws = posterior.draws(DRAWS)
    borders = _borders(draws, posterior.n, relation, recent or found)
    for row in best:
        model = power_at(row["duration_s"], *draws)
        row["model"] = Estimate.from_draws(model, "W", posterior.n, "power-duration")
    warnings = warnings + critical.warnings_for(evidence, wp, cp)
    if relation is not None and relation.source == "prior":
        warnings.append(
            "Pace rests on what foot sensors usually show (1.0 J/kg/m, give or take 5 %), not on your own runs yet."
        )
    if kind == "habitual":
        warnings.append(
            "Habitual best efforts read about 3 % low and differ from tests by 5 % or more: a test would narrow the interval."
        )
    return Capacity(
        asked, name, measured, cp, wp, tail, borders["heavy_severe"]["speed"],
        {"kind": kind, "sentence": _sentence(kind, evidence), "efforts": _listed(evidence)},
        borders, best, forms or [], warnings, None, posterior, relation, mass, altitude,
    )  # fmt: skip


def _sentence(kind: str, evidence: list[critical.Evidence]) -> str:
    if kind == "stated":
        n = sum(len(e.durations) for e in evidence)
        return f"{n} stated effort{'s' if n != 1 else ''}"
    if kind == "tested":
        marked = [e for e in evidence if e.kind == "maximal"]
        n = sum(len(e.durations) for e in marked)
        return f"{n} maximal effort{'s' if n != 1 else ''} in {len(marked)} run{'s' if len(marked) != 1 else ''} marked test or race"
    return next(e.label for e in evidence if e.kind == "habitual")


def _listed(evidence: list[critical.Evidence]) -> list[dict[str, Any]]:
    return [
        {"kind": e.kind, "duration_s": t, "power_w": p, "run": e.run, "label": e.label}
        for e in evidence
        if e.kind != "bound"
        for t, p in zip(e.durations, e.powers, strict=True)
    ] + [
        {"kind": "bound", "duration_s": e.durations[0], "power_w": e.powers[0], "run": e.run, "label": e.label}
        for e in sorted((e for e in evidence if e.kind == "bound"), key=lambda e: -float(critical.implied_critical_power(e.durations[0], e.powers[0])))[:5]
    ]  # fmt: skip


def _borders(
    draws: tuple[Any, Any, Any], n: int, relation: speed.PowerAtSpeed | None, rows: list[runs.StreamRows]
) -> dict[str, dict[str, Estimate]]:
    found = domains.borders(draws[0], draws[1], n)
    share = np.random.default_rng(1).normal(
        0.80, (domains.MODERATE_SHARE[2] - domains.MODERATE_SHARE[0]) / 3.92, len(draws[0])
    )
    watts = {
        "moderate_heavy": draws[0] * share,
        "heavy_severe": draws[0],
        "severe_extreme": draws[0] + draws[1] / domains.EXTREME_S,
    }
    blocks = [r.blocks for r in rows if not r.indoor]
    out: dict[str, dict[str, Estimate]] = {}
    for border, power in watts.items():
        if relation is None:
            pace = Estimate.withheld(
                "m/s", "power-at-speed", "no steady flat minutes on this scale tell pace at a power"
            )
        else:
            centre = float(relation.speed(float(np.median(power))))
            pace = Estimate.from_draws(
                relation.speed(power / relation.factors(centre, len(power), 2)), "m/s", relation.runs or n, "power-at-speed",
                "runs" if relation.runs else "efforts",
            )  # fmt: skip
        rate = (
            Estimate.withheld("bpm", "heart-rate-borders", "heart rate does not tell this border")
            if border == "severe_extreme"
            else heart.heart_rate_at(blocks, power)
        )
        out[border] = {"power": getattr(found, border), "speed": pace, "heart_rate": rate}
    return out


def _curve(rows: list[runs.StreamRows]) -> list[dict[str, Any]]:
    longest = max((len(r.best) for r in rows), default=0)
    if not longest:
        return []
    matrix = np.full((len(rows), longest), np.nan)
    for index, row in enumerate(rows):
        matrix[index, : len(row.best)] = row.best
    made = curve.combine(curve.stored_durations(86400)[:longest], matrix, [r.run for r in rows])
    return [
        {"duration_s": int(d), "power_w": round(float(p), 1), "run": int(r)}
        for d, p, r in zip(made.durations, made.best, made.run, strict=True)
    ]


def best_curve(
    library: Any, since: dt.date | None, until: dt.date | None, scale: str | None = None
) -> list[dict[str, Any]]:
    """Mean maximal power over any span of dates with the run that set each point."""
    rows = library.runs()
    asked = until or (max(r.local.date() for r in rows) if rows else dt.date.today())
    key, _ = choose_scale(library, rows, asked, scale)
    found = runs.stream_rows(library, key, 0.0, float("inf")) if key else []
    return _curve([r for r in found if (since is None or r.date >= since) and r.date <= asked])


def _home_altitude(rows: list[runs.StreamRows]) -> float:
    heights = np.concatenate([r.blocks[:, 7] for r in rows]) if rows else np.zeros(0)
    heights = heights[np.isfinite(heights)]
    return float(np.median(heights)) if len(heights) else 0.0


def load(library: Any, since: dt.date | None, until: dt.date | None) -> dict[str, Any]:
    """Time in domains and CP-minutes of all runs in a span; each run by the CP of its own scale.

    Until a CP is accepted, today's proposal serves for all dates.
    """
    total = dict.fromkeys(domains.NAMES, 0.0)
    minutes, counted, without = 0.0, 0, 0
    rows = [
        r
        for r in library.runs()
        if (since is None or r.local.date() >= since) and (until is None or r.local.date() <= until)
    ]
    for key in {r.scale_key for r in rows}:
        mine = {r.id for r in rows if r.scale_key == key}
        edges_cp = _edges(library, key) if key else None
        if edges_cp is None:
            without += len(mine)
            continue
        for row in runs.stream_rows(library, key, 0.0, float("inf")):
            if row.run in mine:
                counted += 1
                minutes += domains.cp_minutes(row.histogram, edges_cp[1])
                for name, seconds in domains.seconds_in_domains(row.histogram, edges_cp[0]).items():
                    total[name] += seconds
    return {"runs": counted, "runs_without_cp": without, "cp_minutes": minutes, "seconds_in_domains": total,
            "critical_power": "today's proposal for all dates; none is accepted yet"}  # fmt: skip


def _edges(library: Any, scale_key: str) -> tuple[list[float], float] | None:
    try:
        made = answer(library, scale=scale_key)
    except NotEnoughData:
        return None
    values = [made.domains[b]["power"].value for b in ("moderate_heavy", "heavy_severe", "severe_extreme")]
    known = [v for v in values if v is not None]
    return (known, known[1]) if len(known) == 3 else None


def run_load(library: Any, row: runs.RunRow) -> dict[str, Any] | None:
    """Time in domains and CP-minutes of one run, or None where its scale has no CP."""
    edges_cp = _edges(library, row.scale_key) if row.scale_key else None
    if edges_cp is None:
        return None
    start = dt.datetime.fromisoformat(row.start.replace("Z", "+00:00")).timestamp()
    mine = next(
        (r for r in runs.stream_rows(library, row.scale_key or "", start - 86400, start + 86400) if r.run == row.id),
        None,
    )
    if mine is None:
        return None
    return {
        "cp_minutes": domains.cp_minutes(mine.histogram, edges_cp[1]),
        "seconds_in_domains": domains.seconds_in_domains(mine.histogram, edges_cp[0]),
        "edges_w": edges_cp[0],
    }
