"""What a trial's runs tell: blocks found in the recordings, effects with their intervals, a verdict; and cadence in
everyday runs, described."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import response, worthwhile
from footwork.analysis import trial_statistics as model
from footwork.analysis.summary import AT, IN_ROWS
from footwork.errors import FootworkError, NotEnoughData
from footwork.history.log import entries
from footwork.quantities import Estimate, Floats, plain
from footwork.questions.progress import season
from footwork.questions.trials import trial_blocks, trial_design
from footwork.questions.trials.trial_design import BPM_PER_MPS, OUTCOMES
from footwork.results.trial import CadenceHistory, TrialResult
from footwork.signals import FORM
from footwork.wording import trial_words

if TYPE_CHECKING:
    from footwork.history.book import History

RESOLUTION = {"heart_rate": 0.1, "exertion": 1.0, "oxygen_uptake": 0.1, "power": 0.1}  # what an outcome is read to


SECONDARY = {"exertion": "of 10", "power": "W", "cadence": "steps/min", **{name: FORM[name].shown for name in IN_ROWS}}


def analyse_trial(library: History, number: int, date: dt.date | None = None) -> TrialResult:
    """A trial's result so far.

    Returns
    -------
    dict
        ``trial`` (its design), ``blocks`` (each ``run``, ``block``, ``condition``, ``start_s``, ``end_s``, means),
        ``primary`` (``outcome``, ``effects`` against the first condition, each with ``difference``,
        ``smallest_worthwhile_change``, ``probability_better``, ``probability_worse``), ``secondary``, ``cadence``
        (optimum and curve) or None, ``spread``, ``looks``, ``verdict``, ``sentence``, ``corrected`` (how several looks
        and outcomes count), ``warnings``.

    Raises
    ------
    UsageError
        No such trial.
    NotEnoughData
        No run joined, one condition only, or too few blocks with the outcome.
    """
    found: TrialResult = library.cached(
        ("trial", number, date), lambda: TrialResult(**plain(_analyse(library, number, date)))
    )
    return found


def _analyse(library: History, number: int, date: dt.date | None) -> dict[str, Any]:
    trial = trial_design.kept_trial(library, number)
    if date is not None:
        trial["joined"] = [j for j in trial["joined"] if entries.library_row(library, j["run"]).local.date() <= date]
    if not trial["joined"]:
        raise NotEnoughData(
            f"no run has been joined to trial {number} yet: after each, footwork trial join {number} RUN"
        )
    blocks: list[dict[str, Any]] = []
    left_out = []
    for joined in trial["joined"]:
        mine, odd = trial_blocks.blocks_of(library, trial, joined)
        if odd:
            left_out.append(f"Run {joined['run']} is left out: {odd}.")
        else:
            blocks += mine
    held = [j["order"] for j in trial["joined"]]
    left_out += [
        f"Two runs are said to hold order {k + 1}: footwork trial join says it anew."
        for k in sorted(set(held))
        if held.count(k) > 1
    ]
    trial["joined"] = [j for j in trial["joined"] if any(b["run"] == j["run"] for b in blocks)]
    if not blocks:
        raise NotEnoughData(" ".join(left_out))
    outcome = trial["outcome"]
    # One bound throughout, for as many looks as are planned: only so do all of them err as seldom as one.
    looks = max(len(trial["joined"]), trial["runs"])
    slope, slope_told = _slope(library, outcome)
    if not any(b["speed"] is not None for b in blocks):
        slope, slope_told = 0.0, "speed is not known, so heart rate is not brought to one"
    primary, spread = _effects(trial, blocks, outcome, slope, looks, 1)
    others = [n for n in SECONDARY if n != outcome and sum(b[n] is not None for b in blocks) >= 4]
    judged = sum(_judged(n)[1] is not None for n in others)
    secondary = []
    for name in others:
        try:
            secondary.append(_effects(trial, blocks, name, 0.0, looks, max(judged, 1))[0])
        except NotEnoughData:
            continue
    out: dict[str, Any] = {
        "trial": {k: v for k, v in trial.items() if k != "joined"},
        "runs": [j["run"] for j in trial["joined"]],
        "blocks": blocks,
        "primary": primary,
        "secondary": secondary,
        "spread": spread,
        "looks": len(trial["joined"]),
        "planned_runs": trial["runs"],
        "cadence": _cadence(trial, blocks, outcome, slope) if trial["cadences_percent"] else None,
        "speed_slope": {"value": slope, "told": slope_told},
        "corrected": _corrected(looks, judged, primary["needed"]),
        "warnings": [
            *left_out,
            *trial_words.trial_warnings(trial, blocks, spread["runs_that_tell"], slope, slope_told),
            *trial_words.contrary(trial, blocks, outcome),
            *_early(library, trial),
            *_heart_moved(library, trial),
        ],
    }
    out["verdict"], out["sentence"] = trial_words.trial_verdict(trial, primary, out)
    return out


def _slope(library: History, outcome: str) -> tuple[float, str]:
    """How the outcome goes with speed, by which blocks are brought to one speed: [bpm for 1 m/s]."""
    if outcome != "heart_rate":
        return 0.0, "not taken off"
    try:
        of = season(library)
    except FootworkError:
        return BPM_PER_MPS, "a usual one"
    every = np.concatenate([r.blocks for r in of.rows])
    p, v = every[:, AT["power"]], every[:, AT["speed"]]
    fine = np.isfinite(p) & (v > 1.5) & (np.abs(np.nan_to_num(every[:, AT["grade"]])) < response.FLAT)
    if fine.sum() < 60:
        return BPM_PER_MPS, "a usual one"
    return float(of.model.mean[response.C["power"] - 1] * np.median(p[fine] / v[fine])), "your own"


def _effects(
    trial: dict[str, Any], blocks: list[dict[str, Any]], name: str, slope: float, looks: int, outcomes: int
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Effect of each condition on one outcome."""
    unit, least = _judged(name)
    kept = [b for b in blocks if b[name] is not None and (not slope or b["speed"] is not None)]
    telling = {r for r in {b["run"] for b in kept} if len({b["condition"] for b in kept if b["run"] == r}) > 1}
    single = len(telling) < 2
    told = [model.Block(b["run"], b["condition"], b["hours"], b[name], b["speed"] or 0.0) for b in kept]
    seen = {b.condition for b in told}
    if len(seen) < 2 or 0 not in seen:
        raise NotEnoughData(f"only one condition has been run with {name.replace('_', ' ')}: a trial needs both")
    try:
        found = model.effects(told, len(trial["conditions"]), slope, RESOLUTION.get(name, 0.0))
        if single and name == trial["outcome"]:  # one run does not tell its own spread: the design's stands in
            k = len(found.values)
            found = replace(found, covariance=trial["run_sd"] ** 2 * np.eye(k), freedom=np.full(k, 30.0))
    except ValueError:
        raise trial_design.need(trial, len(told), name.replace("_", " ")) from None
    out = []
    needed = worthwhile.sure_enough(looks, outcomes * (len(trial["conditions"]) - 1))
    for k in range(len(trial["conditions"]) - 1):
        sd = float(np.sqrt(found.covariance[k, k]))
        row: dict[str, Any] = {"condition": trial["conditions"][k + 1], "difference": model.estimate(found, k, unit)}
        if least is None:
            row |= {
                "smallest_worthwhile_change": None,
                "probability_better": None,
                "probability_worse": None,
                "word": "described",
            }
        else:
            v = worthwhile.decide(
                float(found.values[k]),
                sd,
                least,
                False,
                looks,
                outcomes * (len(trial["conditions"]) - 1),
                float(found.freedom[k]),
            )
            row |= {
                "smallest_worthwhile_change": least,
                "probability_better": v.better,
                "probability_worse": v.worse,
                "probability_trivial": v.trivial,
                "word": v.word,
            }
        out.append(row)
    for row in out if single else ():
        row["word"] = "cannot tell yet" if row["word"] != "described" else row["word"]
    spread = {
        "runs_that_tell": len(telling),
        "within": found.within,
        "between_runs": found.between,
        "freedom": [float(f) for f in found.freedom],
        "unit": unit,
    }
    return {"outcome": name, "unit": unit, "effects": out, "blocks": len(told), "needed": needed}, spread


def _judged(name: str) -> tuple[str, float | None]:
    """Unit and smallest worthwhile change of an outcome, of which less is better; None where it is only described."""
    if name in OUTCOMES:
        unit, least, _, _ = OUTCOMES[name]
        return unit, least
    return SECONDARY[name], None


def _early(library: History, trial: dict[str, Any]) -> list[str]:
    """Runs from before the design: an order that is drawn afterwards balances nothing."""
    early = [
        str(j["run"])
        for j in trial["joined"]
        if entries.library_row(library, j["run"]).local.date().isoformat() < str(trial["date"])
    ]
    if not early:
        return []
    return [
        f"Run {', '.join(early)} was run before the trial was designed on {trial['date']}: only an order that "
        "was drawn before is a fair one."
    ]


def _heart_moved(library: History, trial: dict[str, Any]) -> list[str]:
    """That something other than the trial moved heart rate in or between its runs, as the diary tells."""
    days = [entries.library_row(library, j["run"]).local.date() for j in trial["joined"]]
    context = library.context()
    if trial["outcome"] != "heart_rate" or not days:
        return []
    if not (context.moved_within(min(days), max(days)) or any(map(context.physician_decides, days))):
        return []
    if not context.told:
        return [
            "Heart rate alone does not tell in these runs: conditions are compared within each; ask by exertion too."
        ]
    return [
        "By what the diary tells, heart rate in these runs is moved by something else as well: conditions are still "
        "compared within each run, but ask by exertion too, and your physician."
    ]


def _cadence(trial: dict[str, Any], blocks: list[dict[str, Any]], outcome: str, slope: float) -> dict[str, Any]:
    """Quadratic of the outcome on the cadence that was run."""
    kept = [b for b in blocks if b[outcome] is not None and b["cadence"] is not None]
    c, y, speed = (
        np.array([b[n] if b[n] is not None else np.nan for b in kept], dtype=float)
        for n in ("cadence", outcome, "speed")
    )
    if slope:
        y = y - slope * (np.nan_to_num(speed - np.nanmean(speed)))
    if len(kept) < 6 or len({b["run"] for b in kept}) < 2:
        return {
            "optimum": Estimate.withheld(
                "steps/min", "cadence-curve", "a curve needs two runs with cadence and six blocks", len(kept), "blocks"
            ),
            "points": [],
        }
    best, _ = model.optimum(c, y, np.array([b["run"] for b in kept]), np.array([b["hours"] for b in kept]))
    return {
        "optimum": best,
        "points": [{"cadence_spm": float(a), "value": float(b)} for a, b in zip(c, y, strict=True)],
    }


def _corrected(looks: int, others: int, needed: float) -> str:
    text = f"A verdict needs a probability of {needed:.3f}" + (
        f", since each of the {looks} planned runs is a look at the trial." if looks > 1 else "."
    )
    return text + (
        (
            f" {others} further judged outcome{'s are' if others > 1 else ' is'} corrected for their number; "
            "watts and form are only described."
        )
        if others
        else " Watts and form are only described."
    )


def cadence_history(library: History, since: Any = None, until: Any = None) -> CadenceHistory:
    """Heart rate against cadence in everyday runs, each minute against the run's own usual cadence at its speed;
    described, never a cause. Plain JSON.

    Raises NotEnoughData with too few runs.
    """
    of = season(library, since, until)
    model_ = of.model
    apart: list[Floats] = []
    rest: list[Floats] = []
    for row, run, (x, tells) in zip(of.rows, of.prepared.rows, of.prepared.minutes, strict=True):
        b = run.blocks
        kept = tells & np.isfinite(b[:, AT["cadence"]]) & (b[:, AT["cadence"]] > 120)
        if kept.sum() < 15 or row.indoor:
            continue
        c, v = b[kept][:, AT["cadence"]], b[kept][:, AT["speed"]]
        design = response.design(run, x, kept, model_.power, float(of.since.toordinal()))
        y = b[kept][:, AT["heart_rate"]] - design[:, 1:] @ model_.mean[: len(response.COLUMNS) - 1]
        line = np.polyfit(v - v.mean(), np.log(c), 1)
        apart.append(100 * (np.log(c) - np.polyval(line, v - v.mean())))
        rest.append(y - y.mean())
    if len(apart) < 5:
        raise NotEnoughData("fewer than five runs hold cadence and heart rate")
    a, y = np.concatenate(apart), np.concatenate(rest)
    groups = [
        ("two per cent lower or more", a <= -1.5),
        ("about one lower", (a > -1.5) & (a <= -0.5)),
        ("usual", np.abs(a) < 0.5),
        ("about one higher", (a >= 0.5) & (a < 1.5)),
        ("two higher or more", a >= 1.5),
    ]
    rows = [
        {"cadence": name, "minutes": int(k.sum()), "heart_rate_bpm": float(y[k].mean())}
        for name, k in groups
        if k.sum() >= 20
    ]
    out: dict[str, Any] = plain(
        {
            "groups": rows,
            "runs": len(apart),
            "sentence": ("Your cadence hardly varies at one speed, so it tells nothing. " if len(rows) < 2 else "")
            + (
                "Described only: in everyday runs cadence changes with slope, fatigue and ground, which change "
                "heart rate too. Only a trial of several cadences tells a best one."
            ),
        }
    )
    return CadenceHistory(**out)
