"""Progress as it can be told: heart rate at power through a season, and what else says so; the answers behind `footwork
progress`."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import form, response
from footwork.analysis import worthwhile as progress
from footwork.analysis.quantiles import student
from footwork.analysis.summary import AT
from footwork.errors import NotEnoughData, UsageError
from footwork.physics.power import slope_factor
from footwork.quantities import Estimate, Floats, plain
from footwork.questions import capacity
from footwork.questions.progress import circumstances, season_model
from footwork.questions.progress.season_model import DAYS, Season
from footwork.results.progress import SeasonProgress
from footwork.wording import progress_words
from footwork.wording.cautions import moved_words
from footwork.wording.progress_words import SPEED_IS_NO_ECONOMY

if TYPE_CHECKING:
    from footwork.history.book import History

FIRST_LOOK_DAYS = 42  # from the beginning of the window on, each week is a look


LEAST_SPAN_DAYS = 28


LEAST_SOUND = 0.75  # of the time with heart rate: where less is sound, it is said; our convention


WARM_C = 7.0  # degrees over the median from which days are warm ones; our convention


METHOD = "progress"


def progress_of_season(
    library: History,
    since: dt.date | None = None,
    until: dt.date | None = None,
    date: dt.date | None = None,
    scale: str | None = None,
    worthwhile: float | None = None,
    power: float | None = None,
    heart_rate: float | None = None,
) -> SeasonProgress:
    """Whether more power goes with the same heart rate.

    Returns
    -------
    dict
        ``series`` week by week (``date``, ``heart_rate`` at ``reference_power_w`` and ``power`` at
        ``reference_heart_rate_bpm`` as estimates), ``each`` run's own heart rate there, ``change`` of power at heart
        rate over the window [%], ``change_heart_rate`` [bpm], ``heart_rate_sound`` (share of the time it was recorded
        in which it was sound [1]; only that counts), ``verdict`` (improved, worse, no worthwhile change,
        cannot tell yet), ``sentence``, ``decision`` (probabilities, ``needed``, ``looks``, ``more_runs``), ``effects``,
        ``spread``, ``time_constants_s``, ``results`` (critical power by tests and races at both ends), ``speed`` (speed
        at the reference power by month: it describes the device), ``form`` (measures at matched speed), ``durability``,
        ``warnings``, ``alike_since`` (the day from which on it was about as warm, where warmth came with the change).
    """
    key = ("progress", since, until, date, scale, worthwhile, power, heart_rate)
    found: SeasonProgress = library.cached(
        key, lambda: SeasonProgress(**plain(_answer(library, since, until, date, scale, worthwhile, power, heart_rate)))
    )
    return found


def _answer(
    library: History,
    since: dt.date | None,
    until: dt.date | None,
    date: dt.date | None,
    scale: str | None,
    worthwhile: float | None,
    at_power: float | None,
    at_rate: float | None,
) -> dict[str, Any]:
    least = progress.WORTHWHILE["%"] if worthwhile is None else worthwhile
    if not 0 < least <= 20:
        raise UsageError(f"{least:g} % cannot be the smallest worthwhile change: give 0.1 to 20")
    of = season_model.season(library, since, until, date, scale)
    model, n = of.model, of.model.runs
    first, last = of.since.toordinal(), of.until.toordinal()
    middle = model.rate(0.5 * (first + last))[0]
    rate, power = at_rate or round(middle), at_power or round(model.power)
    if not model.lowest * 0.9 <= power <= model.highest * 1.1:
        raise UsageError(f"{power:g} W lie outside what was run: give {model.lowest:.0f} to {model.highest:.0f} W")
    ends = [model.rate(0.5 * (first + last), w)[0] for w in (model.lowest, model.highest)]
    if not ends[0] - 5 <= rate <= ends[1] + 5:
        raise UsageError(f"{rate:g} bpm lie outside what was run: give {ends[0]:.0f} to {ends[1]:.0f} bpm")
    days = [*range(first, last, 7), last]
    powers = model.draws(days, rate)
    series = []
    for k, day in enumerate(days):
        at, sd = model.rate(day, power)
        series.append(
            {
                "date": dt.date.fromordinal(day),
                "heart_rate": Estimate(at, at - 1.96 * sd, at + 1.96 * sd, "bpm", n, METHOD, "runs"),
                "power": Estimate.from_draws(powers[:, k], "W", n, METHOD, "runs"),
            }
        )
    gains, why = response.gain(model, first, last, rate)
    why = why or response.device_moved(of.prepared.rows, model.power, float(gains.mean()))
    if library.context().moved_within(of.since, of.until):
        why = why or moved_words(library.context())
    looks = max((max(last - first, DAYS) - FIRST_LOOK_DAYS) // 7 + 1, 1)  # one bound for the whole season
    if last - first < LEAST_SPAN_DAYS:
        why = why or f"the runs span {last - first} days: a change needs {LEAST_SPAN_DAYS}"
    change = (
        Estimate.from_draws(gains, "%", n, METHOD, "runs")
        if not why
        else Estimate.withheld("%", METHOD, why, n, "runs")
    )
    moved = model.row(last, power) - model.row(first, power)
    beats, beats_sd = float(moved @ model.mean), float(np.sqrt(moved @ model.covariance @ moved))
    verdict = progress.decide(float(gains.mean()), float(gains.std()), least, looks=looks)
    decision = {
        "probability_better": None if why else verdict.better,
        "probability_worse": None if why else verdict.worse,
        "probability_trivial": None if why else verdict.trivial,
        "needed": verdict.needed,
        "looks": looks,
    }
    out: dict[str, Any] = {
        "verdict": "cannot tell yet" if why else verdict.word,
        "decision": decision,
        "date": of.until,
        "since": of.since,
        "until": of.until,
        "scale": of.scale,
        "runs": n,
        "minutes": model.minutes,
        "heart_rate_sound": of.sound,
        "reference_power_w": power,
        "reference_heart_rate_bpm": rate,
        "smallest_worthwhile_change_percent": least,
        "conditions": "flat, 12 °C or cooler, half an hour into a run, rested and well",
        "series": series,
        "each": _each(of, power),
        "change": change,
        "change_heart_rate": Estimate(beats, beats - 1.96 * beats_sd, beats + 1.96 * beats_sd, "bpm", n, METHOD, "runs")
        if why in ("", response.ONE_POWER)
        else Estimate.withheld("bpm", METHOD, why, n, "runs"),
        "effects": _effects(model, library.diary_withheld),
        "spread": {"run_sd_bpm": model.run_sd, "minute_sd_bpm": model.within, "week_sd_bpm": model.walk},
        "time_constants_s": list(model.tau),
        "results": _results(library, of),
        "speed": _speed(of, power),
        "form": form.answer([(r.date, r.blocks) for r in of.rows]),
        "durability": _durability(of),
        "warnings": _warnings(of),
        "prior": "level flat; a year's trend 0 ± 20 bpm, a week's step by chance about 0.4 bpm; heat 0.5 ± 0.4 bpm a "
        "degree",
    }
    out["differences_in_conditions"] = _ends(library, of)
    tangled = why in (response.TANGLED["heat"], response.TANGLED["season"])
    out["alike_since"] = circumstances.alike_since(of.prepared.rows) if tangled else None
    out["sentence"] = progress_words.season_sentence(out, why)
    return out


def _each(of: Season, power: float) -> list[dict[str, Any]]:
    """Each run's own heart rate at the reference power, brought to reference conditions [bpm]."""
    model = of.model
    return [
        {"run": row.run, "date": row.date, "heart_rate_bpm": model.rate(day, power)[0] + effect, "sd_bpm": sd}
        for row, day, effect, sd in zip(of.rows, model.days, model.effects, model.effect_sds, strict=True)
    ]


def _ends(library: History, of: Season) -> list[str]:
    """What was not the same in the first and the last third of the window, and no part of the model."""

    pairs = list(zip(of.rows, of.prepared.rows, strict=True))
    third = max(len(pairs) // 3, 1)
    told = circumstances.conditions(library, pairs[:third], pairs[-third:])
    return [line for line in told if not line.startswith(("temperature", "illness", "sleep", "duration"))]


def _effects(model: response.Response, withheld: bool) -> list[dict[str, Any]]:
    """Coefficients that runs told more of than the prior, with their interval."""
    words = {
        "heat": ("a degree over 12 °C", 1.0),
        "heat_drift": ("a degree over 12 °C, for each hour", 1.0),
        "illness": ("a run while the diary tells of illness", 1.0),
        "sleep": ("an hour of sleep short of seven", 1.0),
        "power": ("ten watts", 10.0),
        "up": ("one per cent uphill, at the same watts", 1.0),
    }
    out = []
    at, sd = model.drift()
    out.append(
        {
            "name": "drift",
            "of": "an hour of running, at the warmth of these runs",
            "effect": Estimate(at, at - 1.96 * sd, at + 1.96 * sd, "bpm", model.runs, METHOD, "runs"),
        }
    )
    for name, (what, times) in words.items():
        if withheld and name in ("illness", "sleep"):
            continue
        k = response.C[name] - 1
        at, sd = float(model.mean[k]) * times, float(np.sqrt(model.covariance[k, k])) * times
        if sd < 0.7 * response.PRIOR_SD[k + 1] * times:
            out.append(
                {
                    "name": name,
                    "of": what,
                    "effect": Estimate(at, at - 1.96 * sd, at + 1.96 * sd, "bpm", model.runs, METHOD, "runs"),
                }
            )
    return out


def _results(library: History, of: Season) -> list[dict[str, Any]]:
    """Critical power by tests and races at both ends of the window: evidence that heart rate has no part in."""
    out: list[dict[str, Any]] = []
    for day in (of.since, of.until):
        try:
            made = capacity.estimate_capacity(
                library, date=max(day, of.since + dt.timedelta(days=14)) if day == of.since else day, scale=of.scale
            )
        except (NotEnoughData, UsageError):
            continue
        if made.evidence and made.evidence["kind"] == "tested":
            newest = max(str(e["label"]) for e in made.evidence["efforts"] if e["kind"] == "maximal")
            if not out or newest > str(out[0]["date"]):  # the same efforts twice are no second word
                out.append(
                    {"date": made.date, "critical_power": made.critical_power, "evidence": made.evidence["sentence"]}
                )
    return out


def _speed(of: Season, power: float) -> dict[str, Any]:
    """Flat speed at the reference power by month, from the device's own watts and speed."""
    per_month: dict[str, list[float]] = {}
    for r in of.rows:
        b = r.blocks
        v, p, g = b[:, AT["speed"]], b[:, AT["power"]], np.nan_to_num(b[:, AT["grade"]])
        near = (v > 1.2) & (v < 8) & np.isfinite(p) & (np.abs(g) < 0.03) & (np.abs(p / power - 1) < 0.2)
        if near.sum() >= 5:
            cost = float(np.median(p[near] / v[near] / slope_factor(g[near])))
            per_month.setdefault(f"{r.date:%Y-%m}", []).append(power / cost)
    rows = [{"month": m, "speed": _mean(np.array(v), "m/s", "speed-at-power")} for m, v in sorted(per_month.items())]
    return {"power_w": power, "months": rows, "sentence": SPEED_IS_NO_ECONOMY}


def _mean(values: Floats, unit: str, method: str) -> Estimate:
    n = len(values)
    if n < 3:
        return Estimate.withheld(unit, method, f"only {n} run{'s' if n > 1 else ''}", n, "runs")
    half = float(student(0.975, n - 1) * values.std(ddof=1) / np.sqrt(n))
    return Estimate(
        float(values.mean()), float(values.mean()) - half, float(values.mean()) + half, unit, n, method, "runs"
    )


def _durability(of: Season) -> list[dict[str, Any]]:
    """How heart rate at the reference power stands after so much work in a run, against its first part, over the
    window's runs."""
    model = of.model
    out = []
    for low, high in ((400, 600), (600, 800), (800, 1200), (1200, 1600), (1600, 2400)):
        per_run = []
        for run, (x, kept) in zip(of.prepared.rows, of.prepared.minutes, strict=True):
            work = np.cumsum(np.nan_to_num(run.blocks[:, AT["power"]])) * 60 / 1000
            early, late = kept & (work >= 100) & (work < 350), kept & (work >= low) & (work < high)
            if early.sum() < 5 or late.sum() < 5:
                continue
            design = response.design(run, x, np.ones(len(x), dtype=bool), model.power, float(of.since.toordinal()))
            design[:, [response.C["drift"], response.C["heat_drift"]]] = 0.0  # what is asked about stays in
            rest = run.blocks[:, AT["heart_rate"]] - design[:, 1:] @ model.mean[: len(response.COLUMNS) - 1]
            per_run.append(float(rest[late].mean() - rest[early].mean()))
        n = len(per_run)
        if n >= 4:
            values = np.array(per_run)
            half = float(student(0.975, n - 1) * values.std(ddof=1) / np.sqrt(n))
            out.append(
                {
                    "from_kj": low,
                    "to_kj": high,
                    "rise": Estimate(
                        float(values.mean()),
                        float(values.mean()) - half,
                        float(values.mean()) + half,
                        "bpm",
                        n,
                        "durability",
                        "runs",
                    ),
                }
            )
    return out


def _warmest(of: Season) -> list[str]:
    """What the warmest days did, where they stand out, so that they are not taken for lost form."""
    known = [(r.date, r.sky.temperature) for r in of.rows if r.sky.temperature is not None]
    if len(known) < 10:
        return []
    usual = float(np.median([t for _, t in known]))
    hot = [(d, t) for d, t in known if t >= usual + WARM_C]
    if not hot or len(hot) > len(known) / 4:
        return []
    last = max(hot, key=lambda h: h[1])[0]
    days = [(d, t) for d, t in hot if abs((d - last).days) <= 10]
    heats = [max(t - response.COOL_C, 0.0) for _, t in days]
    raised = float(of.model.mean[response.C["heat"] - 1]) * (float(np.mean(heats)) - max(usual - response.COOL_C, 0.0))
    if raised < 1:
        return []
    ends = (min(d for d, _ in days), max(d for d, _ in days))
    when = (
        f"On {ends[0].day} {ends[0]:%B}"
        if ends[0] == ends[1]
        else f"From {ends[0].day} {ends[0]:%B} to {ends[1].day} {ends[1]:%B}"
    )
    return [
        f"{when} it was warm, {np.mean([t for _, t in days]):.0f} °C against {usual:.0f}: heat is reckoned to "
        f"have raised heart rate by {raised:.1f} bpm on those days, which is taken off."
    ]


def _warnings(of: Season) -> list[str]:
    out, rows = _warmest(of), of.prepared.rows
    if (sound := of.sound) < LEAST_SOUND:
        out.append(
            f"Heart rate was sound in {100 * sound:.0f} % of the time that it was recorded: the rest tells nothing "
            "here, so the interval is wider. If it was taken at the wrist, a strap on the chest would tell more."
        )
    if of.model.weather < 0.75:
        out.append(
            f"The weather of {100 * (1 - of.model.weather):.0f} % of the runs is not known: the climate stands in "
            "where the place is known; heat can look like lost form, and the interval is wider. "
            "It can be entered afterwards."
        )
    if any(r.converted for r in rows):
        out.append("Some watts are converted from another device: the conversion's error is in the interval.")
    if not any(r.sleep is not None for r in rows):
        out.append("The diary tells of no sleep: bad nights stay in the spread from run to run.")
    return out
