"""Any two runs, or two blocks of weeks, against each other: what changed at matched power, how surely, and what else
differed."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import form, matched_power, response
from footwork.analysis import worthwhile as progress
from footwork.analysis.quantiles import student
from footwork.analysis.response import TooFewRuns
from footwork.analysis.summary import AT
from footwork.errors import NotEnoughData, UsageError
from footwork.history.log import entries
from footwork.history.scales import conversions
from footwork.history.scales.scale_rows import StreamRows
from footwork.physics.power import slope_factor
from footwork.quantities import Estimate, Floats, parse_date, plain
from footwork.questions import capacity
from footwork.questions.progress import circumstances, season_model
from footwork.questions.progress.circumstances import Pairs
from footwork.questions.progress.season_model import DAYS
from footwork.results.progress import PeriodComparison
from footwork.wording import progress_words
from footwork.wording.cautions import moved_words

if TYPE_CHECKING:
    from footwork.history.book import History

METHOD = "compare-runs"


LEAST_MINUTES = 8  # matched minutes on each side


LEAST_KEPT = 0.67  # of the runs of a side that a band of temperature must leave; our convention


BAND_SHARE = 0.04  # by which the power that both sides share is widened; our convention


SPEED_DAY_SD = 0.015  # speed at the same watts from day to day, where the runs do not tell it; our convention


def compare_periods(
    library: History,
    first: str,
    second: str,
    scale: str | None = None,
    worthwhile: float | None = None,
    date: dt.date | None = None,
) -> PeriodComparison:
    """The second against the first, each a run's number or a block of days as ``2026-03-02..2026-03-29``.

    Returns
    -------
    dict
        ``first`` and ``second`` (``runs``, ``since``, ``until``, ``minutes``), ``matched`` (power band [W], slopes,
        temperature), ``outcomes`` (each ``name``, ``difference`` as an estimate, ``smallest_worthwhile_change`` and
        ``probability_worthwhile``, None where it is only described), ``verdict``, ``sentence``, ``decision``,
        ``differences_in_conditions`` (sentences), ``prior``.

    Raises
    ------
    UsageError
        No such run or block, the same twice, or watts of two devices.
    NotEnoughData
        No power or heart rate on one side, or no minutes that match.
    """
    key = ("compare-runs", first, second, scale, worthwhile, date)
    found: PeriodComparison = library.cached(
        key, lambda: PeriodComparison(**plain(_answer(library, first, second, scale, worthwhile, date)))
    )
    return found


def _answer(
    library: History, first: str, second: str, scale: str | None, worthwhile: float | None, date: dt.date | None
) -> dict[str, Any]:
    least = progress.WORTHWHILE["%"] if worthwhile is None else worthwhile
    if not 0 < least <= 20:
        raise UsageError(f"{least:g} % cannot be the smallest worthwhile change: give 0.1 to 20")
    sides, key, name = _sides(library, (first, second), scale)
    if {r.run for r in sides[0]} & {r.run for r in sides[1]}:
        raise UsageError("the two sides share runs: name two runs, or two blocks of days apart from each other")
    newest = max(r.date for side in sides for r in side)
    if date is not None and newest > date:
        raise UsageError(f"a run of {newest} was not yet run on {date}")
    # The runs about both sides tell how heart rate goes with everything else; as of the newest run, or the day asked
    # for.
    oldest = min(r.date for side in sides for r in side) - dt.timedelta(days=DAYS // 2)
    until = min(date or dt.date.max, newest + dt.timedelta(days=DAYS // 2))
    rows = [
        r for r in conversions.rows_on_scale(library, key, until) if oldest <= r.date and not r.indoor and len(r.blocks)
    ]
    held = capacity.estimate_capacity(library, date=newest, scale=name)
    border = float(
        (held.accepted or {}).get("critical_power_w") or held.critical_power.value or season_model.guessed_border(rows)
    )
    told = season_model.model_rows(library, rows)
    by_run = {r.run: (r, t) for r, t in zip(rows, told, strict=True)}  # with the watts as they were known then
    mine = [[by_run[r.run] for r in side if r.run in by_run] for side in sides]
    mine, warm = _same_warmth(mine)
    few = False
    try:
        first_look = response.prepare(told, border)
    except TooFewRuns:
        few = True
        first_look = response.prepare(told, border, few)
    minutes = {id(t): m for t, m in zip(first_look.rows, first_look.minutes, strict=True)}
    band = _band([[minutes[id(t)] for _, t in side if id(t) in minutes] for side in mine])
    side_of = {id(t): k + 1 for k, side in enumerate(mine) for _, t in side}
    # Where all is told, what the band leaves of the sides may be few minutes: they still stand among the others.
    prepared = response.prepare(
        [replace(t, side=side_of[id(t)], band=band) if id(t) in side_of else t for t in told], border, few=True
    )
    few = few or len(prepared.rows) < response.LEAST_RUNS
    model = response.fit(prepared, held=response.FEW if few else None)
    parts = [
        [int(k.sum()) for t, (_, k) in zip(prepared.rows, prepared.minutes, strict=True) if t.side == side]
        for side in (1, 2)
    ]
    if any(sum(part) < LEAST_MINUTES for part in parts):
        raise NotEnoughData(
            f"fewer than {LEAST_MINUTES} settled minutes with heart rate on one side lie at the power of the "
            "other: there is nothing to match"
        )
    contrast = _contrast(model, prepared)
    beats, sd = float(contrast @ model.mean), float(np.sqrt(contrast @ model.covariance @ contrast))
    runs_told = [len(p) for p in parts]
    n = sum(runs_told)
    slope, slope_sd = float(model.mean[response.C["power"] - 1]), float(np.sqrt(model.covariance[0, 0]))
    draws, gains = matched_power.gain_draws(beats, sd, slope, slope_sd, 0.5 * (band[0] + band[1]))
    why = response.ONE_POWER if slope < response.SURE_SLOPE * slope_sd else response.tangled(model, contrast)
    later = float(
        np.sign(
            np.mean([t.day for t in prepared.rows if t.side == 2])
            - np.mean([t.day for t in prepared.rows if t.side == 1])
        )
    )
    why = why or response.device_moved([t for t in prepared.rows if t.side], model.power, later * float(gains.mean()))
    why = why or _heat_alone(model, mine, float(gains.mean()))
    of_days = [dt.date.fromordinal(t.day) for t in prepared.rows if t.side]
    if library.context().moved_within(min(of_days), max(of_days)):
        why = why or moved_words(library.context())
    verdict = progress.decide(float(gains.mean()), float(gains.std()), least)
    outcomes = [
        _outcome("power_at_heart_rate", gains, "%", n, least, 1, why),
        _outcome(
            "heart_rate_at_power",
            draws,
            "bpm",
            n,
            progress.WORTHWHILE["bpm"],
            -1,
            why if why != response.ONE_POWER else "",
        ),
        *_described(mine, band),
    ]
    more = None
    if verdict.word == "cannot tell yet" and not why and max(runs_told) > 1:
        falls = model.run_sd * float(np.sqrt(sum(1 / k for k in runs_told))) / max(sd, 1e-9)
        fixed = float(gains.std()) * float(np.sqrt(max(1 - falls**2, 0.0)))
        more = progress.more_runs(float(gains.mean()), float(gains.std()), least, min(runs_told), fixed)
    out: dict[str, Any] = {
        "first": _side(mine[0], sum(parts[0])),
        "second": _side(mine[1], sum(parts[1])),
        "scale": name,
        "outcomes": outcomes,
        "matched": {
            "low_w": band[0],
            "high_w": band[1],
            "slopes": "under 15 %, what slopes cost at the same watts taken off",
            "temperature": warm,
        },
        "smallest_worthwhile_change_percent": least,
        "differences_in_conditions": circumstances.conditions(library, mine[0], mine[1]),
        "prior": "flat for both sides; how heart rate goes with power, heat and drift from the runs of three months "
        "before and after",
    }
    # One run against one differs by the day, however far apart the two are.
    out["verdict"] = "cannot tell yet" if why or max(runs_told) == 1 else verdict.word
    out["decision"] = {
        "probability_better": None if why else verdict.better,
        "probability_worse": None if why else verdict.worse,
        "probability_trivial": None if why else verdict.trivial,
        "needed": verdict.needed,
        "more_runs": more,
    }
    out["heat_taken_off_bpm"] = _heat_told(model, mine)
    out["sentence"] = progress_words.periods_sentence(out, max(runs_told) == 1, why, (beats, sd))
    return out


def _sides(library: History, asked: tuple[str, str], scale: str | None) -> tuple[list[list[StreamRows]], str, str]:
    """Rows of both sides on one scale."""
    chosen: list[tuple[int | None, dt.date | None, dt.date | None]] = []
    for text in asked:
        if re.fullmatch(r"\d+", text.strip()):
            chosen.append((int(text), None, None))
        elif ".." in text:
            since, _, until = text.partition("..")
            ends = (parse_date(since.strip()), parse_date(until.strip()))
            if ends[1] < ends[0]:
                raise UsageError(f"'{text}' ends before it begins")
            chosen.append((None, *ends))
        else:
            raise UsageError(f"'{text}' is neither a run's number nor a block of days, as 2026-03-02..2026-03-29")
    keys: set[tuple[str, str]] = set()
    for run, _, _ in chosen:
        if run is not None:
            row = entries.library_row(library, run)
            if row.scale_key is None:
                raise NotEnoughData(f"run {run} has no power")
            keys.add((row.scale_key, str(row.power_scale)))
    if len(keys) > 1 and scale is None:
        raise UsageError(
            "the runs are of two devices: watts of two devices are not held against each other; --scale "
            "'NAME, with converted watts' converts them"
        )
    if keys and scale is None:
        key, name = keys.pop()
    else:
        held = capacity.estimate_capacity(library, scale=scale)
        key, name = held.scale_key, held.scale
    every = [r for r in conversions.rows_on_scale(library, key) if not r.indoor and len(r.blocks)]
    out = []
    for text, (run, since_, until_) in zip(asked, chosen, strict=True):
        side = [
            r for r in every if (r.run == run if run is not None else since_ and until_ and since_ <= r.date <= until_)
        ]
        if not side:
            raise NotEnoughData(f"there is no outdoor run with power on {name} in '{text}'")
        out.append(side)
    return out, key, name


def _same_warmth(mine: list[Pairs]) -> tuple[list[Pairs], str]:
    """Runs of both sides in one band of temperature where each keeps three; else all, and the model takes the warmth
    off."""
    known = [[r.sky.temperature for r, _ in side if r.sky.temperature is not None] for side in mine]
    if any(len(k) < len(side) for k, side in zip(known, mine, strict=True)):
        return mine, "not known of all runs, so it is not matched"
    low, high = max(min(k) for k in known) - matched_power.NEAR_C, min(max(k) for k in known) + matched_power.NEAR_C
    kept = [[(r, t) for r, t in side if low <= (r.sky.temperature or 0.0) <= high] for side in mine]
    if all(len(k) >= max(min(3, len(side)), LEAST_KEPT * len(side)) for k, side in zip(kept, mine, strict=True)):
        return kept, f"{low:.0f} to {high:.0f} °C"
    return mine, "not the same on both sides: the model takes it off"


def _band(minutes: list[list[tuple[Floats, np.ndarray]]]) -> tuple[float, float]:
    """Power that both sides ran at: from the higher of the lower ends to the lower of the upper ones."""
    ends = []
    for side in minutes:
        every = np.concatenate([np.zeros(0), *(x[k] for x, k in side)])
        if len(every) < LEAST_MINUTES:
            raise NotEnoughData(
                f"one side has {len(every)} settled minutes with heart rate and power: a comparison needs "
                f"{LEAST_MINUTES}"
            )
        ends.append(np.percentile(every, [5, 95]))
    low, high = max(e[0] for e in ends), min(e[1] for e in ends)
    low, high = low * (1 - BAND_SHARE), high * (1 + BAND_SHARE)  # a steady run's own band is narrow
    if high <= low:
        raise NotEnoughData("the two sides were not run at the same power: there is nothing to match")
    return float(low), float(high)


def _warmths(mine: list[Pairs]) -> list[list[float]]:
    return [[r.sky.temperature for r, _ in side if r.sky.temperature is not None] for side in mine]


def _heat_alone(model: response.Response, mine: list[Pairs], gain: float) -> str:
    """Why a difference may be heat: the worse side was wholly warmer, and what heat does there is not known to within
    about what a worthwhile change of power is worth."""
    known = _warmths(mine)
    if not all(known):
        return ""
    k = response.C["heat"] - 1
    heat_sd = float(np.sqrt(model.covariance[k, k]))
    warmer = matched_power.heat_may_explain(np.array(known[0]), np.array(known[1]), heat_sd, gain)
    if warmer is None:
        return ""
    return (
        f"the {('first', 'second')[warmer]} side was wholly warmer, {np.mean(known[warmer]):.0f} against "
        f"{np.mean(known[1 - warmer]):.0f} °C, and what is left after heat is reckoned may be heat still"
    )


def _heat_told(model: response.Response, mine: list[Pairs]) -> float | None:
    """What heat is reckoned to have changed between the sides, and is taken off [bpm]."""
    known = [np.maximum(np.array(k) - response.COOL_C, 0.0) for k in _warmths(mine)]
    if not all(len(k) for k in known):
        return None
    return float(model.mean[response.C["heat"] - 1] * (known[1].mean() - known[0].mean()))


def _contrast(model: response.Response, prepared: response.Prepared) -> Floats:
    """Weights of the second side less the first: each side's own step, which no prior holds back, on the level of its
    days."""
    sides = []
    for k, name in ((1, "first"), (2, "second")):
        row = np.mean([model.row(float(t.day)) for t in prepared.rows if t.side == k], axis=0)
        row[response.C[name] - 1] += 1.0
        sides.append(row)
    return np.asarray(sides[1] - sides[0])


def _outcome(name: str, draws: Floats, unit: str, n: int, least: float, sign: int, why: str) -> dict[str, Any]:
    """One outcome that is judged, or why it is withheld; ``sign`` -1 where lower is better."""
    if why:
        told = Estimate.withheld(unit, METHOD, why, n, "runs")
        return {
            "name": name,
            "difference": told,
            "smallest_worthwhile_change": least,
            "probability_worthwhile": None,
            "probability_worse": None,
        }
    return {
        "name": name,
        "difference": Estimate.from_draws(draws, unit, n, METHOD, "runs"),
        "smallest_worthwhile_change": least,
        "probability_worthwhile": float((sign * draws > least).mean()),
        "probability_worse": float((sign * draws < -least).mean()),
    }


def _described(mine: list[Pairs], band: tuple[float, float]) -> list[dict[str, Any]]:
    """Speed at the same watts and measures of form at the same speed: described, not judged."""
    out: list[dict[str, Any]] = []
    costs = [[_cost(r.blocks, band) for r, _ in side] for side in mine]
    speeds = [np.array([-100 * c for c in side if c is not None]) for side in costs]
    out.append(_plain("speed_at_power", speeds, "%", 100 * SPEED_DAY_SD))
    blocks = [[r.blocks for r, _ in side] for side in mine]
    for name, (unit, _) in form.MEASURES.items():
        values, _, _ = form.at_speed([*blocks[0], *blocks[1]], name)
        sides = [values[: len(blocks[0])], values[len(blocks[0]) :]]
        found = _plain(f"{name}_at_speed", [s[np.isfinite(s)] for s in sides], unit, None)
        if found["difference"].value is not None:
            out.append(found)
    return out


def _cost(block: Floats, band: tuple[float, float]) -> float | None:
    """Logarithm of joules per metre as on the flat, in minutes near the band."""
    p, v, g = block[:, AT["power"]], block[:, AT["speed"]], np.nan_to_num(block[:, AT["grade"]])
    kept = (p > 0.95 * band[0]) & (p < 1.05 * band[1]) & (v > 1.2) & (np.abs(g) < response.FLAT)
    return float(np.median(np.log(p[kept] / v[kept] / slope_factor(g[kept])))) if kept.sum() >= 5 else None


def _plain(name: str, sides: list[Floats], unit: str, day_sd: float | None) -> dict[str, Any]:
    """Difference of means of runs, by Welch's interval; single runs by the spread from day to day, where that is
    known."""
    told: dict[str, Any] = {"name": name, "smallest_worthwhile_change": None, "probability_worthwhile": None}
    counts = [len(s) for s in sides]
    if not all(counts):
        return {**told, "difference": Estimate.withheld(unit, METHOD, "it is missing on one side", sum(counts), "runs")}
    at = float(sides[1].mean() - sides[0].mean())
    if min(counts) >= 2:
        v = [s.var(ddof=1) / len(s) for s in sides]
        total = sum(v)
        free = total**2 / max(sum(x**2 / (c - 1) for x, c in zip(v, counts, strict=True)), 1e-30)
        half = float(student(0.975, max(free, 1)) * np.sqrt(total))
    elif day_sd is not None:
        half = 1.96 * day_sd * float(np.sqrt(sum(1 / c for c in counts)))
    else:
        return {
            **told,
            "difference": Estimate.withheld(unit, METHOD, "one run a side tells no spread", sum(counts), "runs"),
        }
    return {**told, "difference": Estimate(at, at - half, at + half, unit, sum(counts), METHOD, "runs")}


def _side(mine: Pairs, minutes: int) -> dict[str, Any]:
    rows = [r for r, _ in mine]
    return {
        "runs": [r.run for r in rows],
        "since": min(r.date for r in rows),
        "until": max(r.date for r in rows),
        "minutes": minutes,
    }
