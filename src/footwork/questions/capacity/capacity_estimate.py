"""What the runner can hold: critical power, W′, the tail, domains, best efforts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import heart, speed
from footwork.analysis.summary import AT
from footwork.errors import NotEnoughData, UsageError
from footwork.history import catalogue
from footwork.history.catalogue import RECENT_DAYS, RunRow
from footwork.history.log import accepted
from footwork.history.log.entries import MAXIMAL_MARKS
from footwork.history.scales import conversions
from footwork.history.scales.scale_rows import StreamRows
from footwork.physiology import critical, curve, domains
from footwork.quantities import Effort, Estimate, Floats, parse_effort, plain
from footwork.questions.capacity import evidence
from footwork.questions.capacity.evidence import RACE_WIDENING, Gathered
from footwork.wording.cautions import left_out_words, physician_words

if TYPE_CHECKING:
    from footwork.history.book import History

BEST_DAYS = 120  # best efforts shown unless a span is asked for


DRAWS = 2000


BORDERS = ("moderate_heavy", "heavy_severe", "severe_extreme")


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
    extrapolated: str = ""
    early: bool = False
    unconfirmed: dict[str, Any] | None = None
    posterior: critical.Posterior | None = field(default=None, repr=False)
    rates: tuple[float, float] | None = field(default=None, repr=False)  # bpm at the two lower borders
    power_at_speed: speed.PowerAtSpeed | None = field(default=None, repr=False)
    mass: float | None = None
    home_altitude: float = 0.0
    accepted: dict[str, Any] | None = None
    scale_key: str = ""

    def to_json(self) -> dict[str, Any]:
        """SI units, estimates as in `models` section 9."""
        names = (
            "date",
            "scale",
            "measured",
            "accepted",
            "critical_power",
            "w_prime",
            "tail",
            "critical_speed",
            "early",
            "unconfirmed",
            "extrapolated",
            "evidence",
            "domains",
            "curve",
            "forms",
            "warnings",
        )
        out: dict[str, Any] = plain({name: getattr(self, name) for name in names})
        out["lower_bound_w"] = self.lower_bound
        return out


def estimate_capacity(
    library: History,
    efforts: Sequence[str | Effort] = (),
    date: dt.date | None = None,
    scale: str | None = None,
    mass: float | None = None,
) -> Capacity:
    """Capacity as of a date on one scale; by default today, or the newest run's day in an archive.

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
    library: History, stated: list[Effort], date: dt.date | None, scale: str | None, mass: float | None
) -> Capacity:
    rows = library.runs()
    asked = date or library.current_day()
    if mass is not None and not 25 <= mass <= 250:
        raise UsageError(f"a mass of {mass:g} kg cannot be: give 25 to 250 kg")
    mass = mass or library.athlete.value("mass", asked)
    key, name = catalogue.choose_scale(library, rows, asked, scale)
    found = conversions.rows_on_scale(library, key, asked) if key else []
    usable = near(library, key, asked)
    relation = evidence.relation(usable, key, mass)
    measured = bool(found) and found[-1].measured
    if stated:
        late = next((e for e in stated if e.date and e.date > max(asked, dt.date.today())), None)
        if late is not None:
            raise UsageError(f"'{late.label}' lies in the future")
        if all(e.distance is not None for e in stated) and relation is None:
            return _speed_only(stated, asked)
        on_model = (
            all(e.distance is not None for e in stated)
            and relation is not None
            and relation.source in ("model", "prior")
        )
        if on_model:
            relation = speed.modelled(mass) if mass else None
        elif not key:
            relation = speed.prior(mass) if mass else None
        gathered = evidence.stated(stated, asked, relation)
        name, measured = ("model", False) if on_model else (name or "stated", True)
    elif not rows:
        raise NotEnoughData("the library holds no runs: add recordings, or state efforts, as 3:00 at 361 W")
    elif not key and (races := _marked_races(rows, asked)):
        return _speed_only(races, asked)
    else:
        gathered = evidence.recorded(library, key, asked)
    best = _curve([r for r in found if (asked - r.date).days <= BEST_DAYS])
    common = {
        "date": asked,
        "scale": name,
        "measured": measured,
        "power_at_speed": relation,
        "mass": mass,
        "home_altitude": _home_altitude(usable),
    }
    if key and not stated:
        entry = accepted.in_force(accepted.entries(library, key), asked)
        common["scale_key"] = key
        common["accepted"] = None if entry is None else {"date": entry[0], "critical_power_w": entry[1]}
    if gathered.posterior is None:
        return _withheld(gathered, best, bool(found), **common)
    return _known(gathered, gathered.posterior, best, usable, context=library.context(), **common)


def near(library: History, key: str, asked: dt.date) -> list[StreamRows]:
    """Runs of a scale that tell what is usual on a date: of the six weeks before, or else the last thirty."""
    found = conversions.rows_on_scale(library, key, asked) if key else []
    return [r for r in found if (asked - r.date).days <= RECENT_DAYS] or found[-30:]


def _withheld(gathered: Gathered, best: list[dict[str, Any]], found: bool, **common: Any) -> Capacity:
    if gathered.kind == "too old":
        reason = gathered.sentence
    elif gathered.lower_bound is not None:
        reason = (
            f"CP is at least {gathered.lower_bound:.0f} W, no more can be said yet "
            f"({gathered.sentence.removeprefix('only a lower bound: ')}); a test or race tells it at once"
        )
    elif not found:
        reason = f"there are no runs with power by {common['date']}, or no mass to model it: footwork athlete --mass KG"
    elif common["scale"]:
        reason = "no run of three minutes or longer with power on this scale"
    else:
        reason = "the runs have no power, and without a mass none can be modelled: footwork athlete --mass KG"

    def nothing(unit: str, method: str) -> Estimate:
        return Estimate.withheld(unit, method, reason)

    return Capacity(
        critical_power=nothing("W", "critical-power"),
        w_prime=nothing("J", "critical-power"),
        tail=nothing("", "tail"),
        critical_speed=nothing("m/s", "critical-power"),
        evidence={"kind": gathered.kind, "sentence": gathered.sentence, "efforts": gathered.listed()},
        domains={
            b: {
                "power": nothing("W", "domains"),
                "speed": nothing("m/s", "power-at-speed"),
                "heart_rate": nothing("bpm", "heart-rate-borders"),
            }
            for b in BORDERS
        },
        curve=best,
        forms=[],
        warnings=[],
        lower_bound=gathered.lower_bound,
        **_told(gathered),
        **common,
    )


def _told(gathered: Gathered) -> dict[str, Any]:
    """What an answer passes on of its evidence as it is."""
    names = ("early", "unconfirmed")
    return {name: getattr(gathered, name) for name in names}


def unconfirmed_words(of: dict[str, Any]) -> str:
    """What to do about a run that alone asks for more than the next ones."""
    return (
        f"Run {of['run']} of {of['date']} says {100 * of['more']:.0f} % more than is believed of one run alone: two "
        "more like it confirm it; or mark it as a race or test, or leave it out."
    )


def _known(
    gathered: Gathered, posterior: critical.Posterior, best: list[dict[str, Any]], rows: list[StreamRows], **common: Any
) -> Capacity:
    cp, wp, tail = posterior.estimates()
    draws = posterior.draws(DRAWS)
    relation: speed.PowerAtSpeed | None = common["power_at_speed"]
    chosen = common.get("accepted")
    context, asked = common.pop("context"), common["date"]
    outside = [r for r in rows if not r.indoor]
    # The accepted CP rules the domains; how sure it is stays what the evidence says.
    ratio = float(chosen["critical_power_w"]) / cp.value if chosen is not None and cp.value else 1.0
    of_domains = (draws[0] * ratio, draws[1], draws[2])
    usual = [r.blocks for r in outside if not context.physician_decides(r.date)]
    borders = _borders(of_domains, posterior.n, relation, usual)
    hidden = context.physician_decides(asked)
    # A session that was told by heart rate still becomes watts; only what is to be aimed for is left out.
    rates = _rates(_borders(of_domains, posterior.n, relation, [r.blocks for r in outside]) if hidden else borders)
    if hidden:
        for border in BORDERS:
            borders[border]["heart_rate"] = Estimate.withheld("bpm", "heart-rate-borders", left_out_words(context))
    shown = next((row["power_w"] for row in best if row["duration_s"] >= domains.EXTREME_S), None)
    beyond = posterior.held(domains.EXTREME_S, draws)
    for row in best:
        if row["duration_s"] >= domains.EXTREME_S:
            held = posterior.held(row["duration_s"], draws)
            row["model"] = Estimate.from_draws(held, "W", posterior.n, "power-duration", posterior.n_of)
        else:
            row["model"] = Estimate.withheld(
                "W", "power-duration", "CP + W′/t does not describe efforts under 2 minutes"
            )
    warnings = gathered.warnings + critical.warnings_for(gathered.evidence, wp, cp)
    if chosen is not None and gathered.rested_from is not None and chosen["date"] <= gathered.rested_from:
        warnings.append(
            f"The critical power you accepted, {chosen['critical_power_w']:.0f} W, is of before the days without "
            "running and stays as it is: take its watts with caution."
        )
    if common.get("scale_key", "").partition("-")[0] in ("csv", "gpx"):
        warnings.append("These files do not name a device: if several recorded them, their watts are mixed here.")
    if relation is not None and relation.source == "prior":
        warnings.append(
            "Pace rests on what foot sensors usually show (1.0 J/kg/m, give or take 5 %), not on your own runs yet."
        )
    extrapolated = ""
    if shown is None or float(np.median(beyond)) > shown:
        extrapolated = (
            f"The border to the extreme domain, {np.median(beyond):.0f} W for two minutes, is extrapolated: "
            + (f"the best shown for so long is {shown:.0f} W." if shown else "nothing was run for so long.")
        )
    if hidden:
        warnings.insert(0, physician_words(context, asked))
    if gathered.unconfirmed is not None:
        warnings.append(unconfirmed_words(gathered.unconfirmed))
    return Capacity(
        critical_power=cp,
        w_prime=wp,
        tail=tail,
        critical_speed=_pace(draws[0], posterior.n, relation),
        evidence={"kind": gathered.kind, "sentence": gathered.sentence, "efforts": gathered.listed()},
        domains=borders,
        curve=best,
        forms=gathered.forms,
        warnings=warnings,
        posterior=posterior,
        rates=rates,
        extrapolated=extrapolated,
        **_told(gathered),
        **common,
    )


def _marked_races(rows: list[RunRow], asked: dt.date) -> list[Effort]:
    """Runs marked race or test by their whole distance and time, for a runner without watts."""
    return [
        Effort(r.duration_s, distance=r.distance_m, kind="race", date=r.local.date(), label=f"run {r.id}")
        for r in rows
        if set(r.marks) & MAXIMAL_MARKS and r.distance_m and 0 <= (asked - r.local.date()).days <= BEST_DAYS
    ]


def _speed_only(races: list[Effort], asked: dt.date) -> Capacity:
    """Without a mass there are no modelled watts, but races still give critical speed."""
    reason = "watts need the runner's mass: footwork athlete --mass KG"
    given = [
        critical.Evidence("maximal", (e.duration,), ((e.distance or 0.0) / e.duration,), RACE_WIDENING, e.label)
        for e in races
        if e.duration >= critical.SHORTEST_S
    ]
    if not given:
        raise NotEnoughData("no race lasts two minutes or more: add a longer one")
    made = critical.posterior(given)
    cs, _, tail = made.draws(DRAWS)
    speed_estimate = Estimate.from_draws(cs, "m/s", made.n, "critical-power", "races")
    withheld = Estimate.withheld("W", "critical-power", reason)
    reserve = made.draws(DRAWS)[1]
    levels = dict(zip(BORDERS, domains.border_draws(cs, reserve), strict=True))
    borders = {
        border: {
            "power": withheld,
            "speed": Estimate.from_draws(level, "m/s", made.n, "domains", "races"),
            "heart_rate": Estimate.withheld("bpm", "heart-rate-borders", "no recordings with heart rate"),
        }
        for border, level in levels.items()
    }
    gathered = Gathered(None, "stated", f"{made.n} race result{'s' if made.n != 1 else ''}", given)
    return Capacity(
        asked,
        "",
        False,
        withheld,
        Estimate.withheld("J", "critical-power", reason),
        Estimate.from_draws(tail, "", made.n, "tail", "races"),
        speed_estimate,
        {"kind": gathered.kind, "sentence": gathered.sentence, "efforts": []},
        borders,
        [],
        [],
        critical.warnings_for(given, withheld, withheld),
    )


def _pace(power: Any, n: int, relation: speed.PowerAtSpeed | None) -> Estimate:
    """Flat speed [m/s] at draws of a power [W]."""
    if relation is None:
        return Estimate.withheld("m/s", "power-at-speed", "no steady flat minutes on this scale tell pace at a power")
    centre = float(relation.speed(float(np.median(power))))
    draws = relation.speed(power / relation.factors(centre, len(power), 2))
    return Estimate.from_draws(
        draws, "m/s", relation.runs or n, "power-at-speed", "runs" if relation.runs else "efforts"
    )


def _rates(borders: dict[str, dict[str, Estimate]]) -> tuple[float, float] | None:
    """Heart rates at the two lower borders [bpm], where both are known."""
    one, two = (borders[name]["heart_rate"].value for name in BORDERS[:2])
    return None if one is None or two is None else (one, two)


def _borders(
    draws: tuple[Any, Any, Any], n: int, relation: speed.PowerAtSpeed | None, blocks: list[Floats]
) -> dict[str, dict[str, Estimate]]:
    watts = dict(zip(BORDERS, domains.border_draws(draws[0], draws[1]), strict=True))
    out: dict[str, dict[str, Estimate]] = {}
    for border, power in watts.items():
        pace = _pace(power, n, relation)
        rate = (
            Estimate.withheld("bpm", "heart-rate-borders", "heart rate does not tell this border")
            if border == "severe_extreme"
            else heart.heart_rate_at(blocks, power)
        )
        out[border] = {"power": Estimate.from_draws(power, "W", n, "domains"), "speed": pace, "heart_rate": rate}
    return out


def _curve(rows: list[StreamRows]) -> list[dict[str, Any]]:
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
    library: History, since: dt.date | None, until: dt.date | None, scale: str | None = None
) -> list[dict[str, Any]]:
    """Mean maximal power over any span of dates with the run that set each point."""
    rows = library.runs()
    asked = until or library.current_day()
    key, _ = catalogue.choose_scale(library, rows, asked, scale)
    found = conversions.rows_on_scale(library, key, asked) if key else []
    return _curve([r for r in found if since is None or r.date >= since])


def _home_altitude(rows: list[StreamRows]) -> float:
    heights = np.concatenate([r.blocks[:, AT["altitude"]] for r in rows]) if rows else np.zeros(0)
    heights = heights[np.isfinite(heights)]
    return float(np.median(heights)) if len(heights) else 0.0
