"""What a trial's runs tell: blocks found in the recordings, effects with their intervals, a verdict; and cadence in everyday runs, described."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np

from footwork.analysis import progress, response
from footwork.analysis import trials as model
from footwork.analysis.summary import AT, mean_known
from footwork.errors import FootworkError, NotEnoughData, UsageError
from footwork.library import entries, runs, trials
from footwork.library import progress as seasons
from footwork.physics.power import slope_factor
from footwork.quantities import Estimate, Floats, plain

LAP_NEAR = 0.12  # how near a lap comes to a block's length to be one; our convention
LEAST_SOUND = 0.6
SECONDARY = {
    "exertion": "of 10", "power": "W", "cadence": "steps/min", "stance_time": "ms", "vertical_oscillation": "mm",
}  # fmt: skip


def analyse(library: Any, number: int, date: dt.date | None = None) -> dict[str, Any]:
    """A trial's result so far, as plain JSON.

    Returns
    -------
    dict
        ``trial`` (its design), ``blocks`` (each ``run``, ``block``, ``condition``, ``start_s``, ``end_s``, means), ``primary`` (``outcome``, ``effects`` against the first condition, each with ``difference``,
        ``smallest_worthwhile_change``, ``probability_better``, ``probability_worse``), ``secondary``, ``cadence`` (optimum and curve) or None, ``spread``, ``looks``, ``verdict``, ``sentence``, ``corrected`` (how several looks and outcomes count), ``warnings``.

    Raises
    ------
    UsageError
        No such trial, or a recording that is shorter than its blocks.
    NotEnoughData
        No run joined, one condition only, or too few blocks with the outcome.
    """
    found: dict[str, Any] = library.cached(("trial", number, date), lambda: plain(_analyse(library, number, date)))
    return found


def _analyse(library: Any, number: int, date: dt.date | None) -> dict[str, Any]:
    trial = trials.kept(library, number)
    if date is not None:
        trial["joined"] = [j for j in trial["joined"] if entries.library_row(library, j["run"]).local.date() <= date]
    if not trial["joined"]:
        raise trials.need(trial, 0, "a run")
    blocks = [b for joined in trial["joined"] for b in _blocks(library, trial, joined)]
    outcome = trial["outcome"]
    looks = len(trial["joined"])
    slope, slope_told = _slope(library, outcome)
    primary, spread = _effects(trial, blocks, outcome, slope, looks, 1)
    others = [n for n in SECONDARY if n != outcome and sum(b[n] is not None for b in blocks) >= 4]
    secondary = []
    for name in others:
        try:
            secondary.append(_effects(trial, blocks, name, 0.0, looks, len(others))[0])
        except NotEnoughData:
            continue
    out: dict[str, Any] = {
        "trial": {k: v for k, v in trial.items() if k != "joined"}, "runs": [j["run"] for j in trial["joined"]], "blocks": blocks, "primary": primary, "secondary": secondary,
        "spread": spread, "looks": looks, "planned_runs": trial["runs"], "cadence": _cadence(trial, blocks, outcome, slope) if trial["cadences_percent"] else None,
        "speed_slope": {"value": slope, "told": slope_told}, "corrected": _corrected(looks, len(secondary), primary["needed"]), "warnings": _warnings(trial, blocks),
    }  # fmt: skip
    out["verdict"], out["sentence"] = _verdict(trial, primary, out)
    return out


def _blocks(library: Any, trial: dict[str, Any], joined: dict[str, Any]) -> list[dict[str, Any]]:
    """Means of the settled part of each block of one run."""
    run = joined["run"]
    row = entries.library_row(library, run)
    signals = runs.signals(library, run)
    starts = _located(library, trial, joined, row.elapsed_s)
    order = trial["orders"][joined["order"] % len(trial["orders"])]
    size = trial["block_s"]
    settle = min(max(60.0, 0.4 * size), 150.0, 0.5 * size)
    grade = np.nan_to_num(signals.get("grade"))
    columns = {
        "heart_rate": signals.sound_heart_rate, "speed": signals.get("speed") * slope_factor(np.clip(grade, -0.1, 0.3)), "power": signals.get(row.column), "cadence": signals.get("cadence"),
        "stance_time": 1000 * signals.get("stance_time"), "vertical_oscillation": 1000 * signals.get("vertical_oscillation"), "grade": signals.get("grade"),
    }  # fmt: skip
    out = []
    for k, (start, end) in enumerate(starts):
        a, b = round(start + settle), round(end)
        told: dict[str, Any] = {
            "run": run,
            "block": k + 1,
            "condition": order[k],
            "start_s": start,
            "end_s": end,
            "hours": 0.5 * (a + b) / 3600,
        }
        for name, values in columns.items():
            part = values[a:b]
            enough = len(part) and np.isfinite(part).mean() >= LEAST_SOUND
            told[name] = mean_known(part) if enough else None
        for name in ("exertion", "oxygen_uptake"):
            told[name] = joined[name][k] if joined.get(name) else None
        out.append(told)
    return out


def _located(library: Any, trial: dict[str, Any], joined: dict[str, Any], elapsed: float) -> list[tuple[float, float]]:
    """Start and end of each block [s]: from where the runner said, else laps of a block's length, else by the design's times."""
    size, count = trial["block_s"], trial["blocks"]
    begin = joined.get("begin_s")
    if begin is None:
        laps = [(lap["start_s"], lap["start_s"] + lap["duration_s"]) for lap in library.run(joined["run"]).laps]
        near = [
            k for k, (a, b) in enumerate(laps) if abs(b - a - size) <= LAP_NEAR * size and a >= 0.5 * trial["warm_s"]
        ]
        step = 2 if trial["rest_s"] else 1
        for k in near:
            chosen = [k + step * i for i in range(count)]
            if all(c in near for c in chosen):
                return [laps[c] for c in chosen]
        begin = trial["warm_s"]
    out = [(begin + a, begin + b) for a, b in trials.schedule(trial)]
    if out[-1][1] > elapsed + 30:
        raise UsageError(
            f"run {joined['run']} ends before its {count} blocks do: say when the first began (footwork trial join {trial['id']} {joined['run']} --begin 12:00)"
        )
    return out


def _slope(library: Any, outcome: str) -> tuple[float, str]:
    """How the outcome goes with speed, by which blocks are brought to one speed: [bpm for 1 m/s]."""
    if outcome != "heart_rate":
        return 0.0, "not taken off"
    try:
        of = seasons.season(library)
    except FootworkError:
        return trials.BPM_PER_MPS, "a usual one"
    every = np.concatenate([r.blocks for r in of.rows])
    p, v = every[:, AT["power"]], every[:, AT["speed"]]
    fine = np.isfinite(p) & (v > 1.5) & (np.abs(np.nan_to_num(every[:, AT["grade"]])) < response.FLAT)
    if fine.sum() < 60:
        return trials.BPM_PER_MPS, "a usual one"
    return float(of.model.mean[response.C["power"] - 1] * np.median(p[fine] / v[fine])), "your own"


def _effects(
    trial: dict[str, Any], blocks: list[dict[str, Any]], name: str, slope: float, looks: int, outcomes: int
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Effect of each condition on one outcome."""
    unit, least, lower = _judged(name)
    kept = [b for b in blocks if b[name] is not None and (not slope or b["speed"] is not None)]
    told = [model.Block(b["run"], b["condition"], b["hours"], b[name], b["speed"] or 0.0) for b in kept]
    seen = {b.condition for b in told}
    if len(seen) < 2 or 0 not in seen:
        raise NotEnoughData(f"only one condition has been run with {name.replace('_', ' ')}: a trial needs both")
    try:
        found = model.effects(told, len(trial["conditions"]), slope)
    except ValueError:
        raise trials.need(trial, len(told), name.replace("_", " ")) from None
    out = []
    needed = progress.sure_enough(looks, outcomes * (len(trial["conditions"]) - 1))
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
            v = progress.decide(
                float(found.values[k]),
                sd,
                least,
                not lower,
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
    spread = {
        "within": found.within,
        "between_runs": found.between,
        "freedom": [float(f) for f in found.freedom],
        "unit": unit,
    }
    return {"outcome": name, "unit": unit, "effects": out, "blocks": len(told), "needed": needed}, spread


def _judged(name: str) -> tuple[str, float | None, bool]:
    """Unit, smallest worthwhile change (None where an outcome is only described), and whether lower is better."""
    if name in trials.OUTCOMES:
        unit, least, _, _ = trials.OUTCOMES[name]
        return unit, least, True
    return SECONDARY[name], None, True


def _cadence(trial: dict[str, Any], blocks: list[dict[str, Any]], outcome: str, slope: float) -> dict[str, Any]:
    """Quadratic of the outcome on the cadence that was run."""
    kept = [b for b in blocks if b[outcome] is not None and b["cadence"] is not None]
    c, y, speed = (
        np.array([b[n] if b[n] is not None else np.nan for b in kept], dtype=float)
        for n in ("cadence", outcome, "speed")
    )
    if slope:
        y = y - slope * (np.nan_to_num(speed - np.nanmean(speed)))
    if len(kept) < 6:
        return {
            "optimum": Estimate.withheld(
                "steps/min", "cadence-curve", "too few blocks with cadence", len(kept), "blocks"
            ),
            "points": [],
        }
    best, _ = model.optimum(c, y, np.array([b["run"] for b in kept]), np.array([b["hours"] for b in kept]))
    return {
        "optimum": best,
        "points": [{"cadence_spm": float(a), "value": float(b)} for a, b in zip(c, y, strict=True)],
    }


def _corrected(looks: int, others: int, needed: float) -> str:
    text = (
        f"Each run is a look at the trial: after {looks} a verdict needs a probability of {needed:.3f} instead of 0.975."
        if looks > 1
        else "One look so far: a verdict needs a probability of 0.975."
    )
    return text + (
        f" The {others} secondary outcomes are corrected for their number too, and watts and form are only described."
        if others
        else ""
    )


def _warnings(trial: dict[str, Any], blocks: list[dict[str, Any]]) -> list[str]:
    out = [trials.WATTS_WARNING] if any(b["power"] is not None for b in blocks) else []
    speeds = {
        c: [b["speed"] for b in blocks if b["condition"] == c and b["speed"] is not None]
        for c in range(len(trial["conditions"]))
    }
    means = [float(np.mean(v)) for v in speeds.values() if v]
    if len(means) > 1 and (max(means) - min(means)) / np.mean(means) > 0.03:
        out.append(
            f"The conditions were run {100 * (max(means) - min(means)) / np.mean(means):.0f} % apart in speed: part of the effect may be the speed's, though heart rate is brought to one speed."
        )
    grades = [b["grade"] for b in blocks if b["grade"] is not None]
    if grades and max(grades) - min(grades) > 0.02:
        out.append("Not all blocks were on the same slope.")
    if len(trial["joined"]) < 2:
        out.append("One run does not tell how the effect differs from day to day: the interval holds that run only.")
    return out


def _verdict(trial: dict[str, Any], primary: dict[str, Any], found: dict[str, Any]) -> tuple[str, str]:
    """One word, and one plain sentence."""
    parts, words = [], []
    for e in primary["effects"]:
        d: Estimate = e["difference"]
        name = primary["outcome"].replace("_", " ")
        side = "lower" if (d.value or 0) < 0 else "higher"
        size = f"{abs(d.value or 0):.1f} {d.unit} {side} ({d.low:+.1f} to {d.high:+.1f})"
        single = len(found["runs"]) < 2
        word = "cannot tell yet" if single else e["word"]
        words.append(word)
        match word:
            case "improved":
                parts.append(f"With {e['condition']} {name} is {size} at the same speed: a worthwhile effect.")
            case "worse":
                parts.append(
                    f"With {e['condition']} {name} is {size} at the same speed: worse, by a worthwhile amount."
                )
            case "no worthwhile change":
                parts.append(
                    f"{e['condition'][0].upper()}{e['condition'][1:]} makes no worthwhile difference: {name} is {size} at the same speed."
                )
            case _:
                parts.append(
                    f"It cannot be told yet whether {e['condition']} matters: {name} is {size} at the same speed."
                )
    if found["cadence"] is not None:
        best: Estimate = found["cadence"]["optimum"]
        parts = (
            [
                f"Least {primary['outcome'].replace('_', ' ')} at {best.value:.0f} steps a minute ({best.low:.0f} to {best.high:.0f})."
            ]
            if best.value is not None
            else [f"No best cadence can be told: {best.reason}."]
        )
        words = ["cannot tell yet" if best.value is None else "told"]
    left = found["planned_runs"] - len(found["runs"])
    if left > 0:
        parts.append(f"{left} of the {found['planned_runs']} planned runs {'are' if left > 1 else 'is'} still to come.")
    return words[0] if len(set(words)) == 1 else "see each", " ".join(parts)


def cadence_history(library: Any, since: Any = None, until: Any = None) -> dict[str, Any]:
    """Heart rate against cadence in everyday runs, each minute against the run's own usual cadence at its speed; described, never a cause. Plain JSON."""
    of = seasons.season(library, since, until)
    model_ = of.model
    apart: list[Floats] = []
    rest: list[Floats] = []
    for row, run in zip(of.rows, of.prepared.rows, strict=True):
        b = run.blocks
        x, since_ = response.answered(b[:, AT["power"]], b[:, AT["elapsed"]], model_.tau, model_.border)
        kept = (
            response.usable(run, x, since_, of.border) & np.isfinite(b[:, AT["cadence"]]) & (b[:, AT["cadence"]] > 120)
        )
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
    out: dict[str, Any] = plain({
        "groups": rows, "runs": len(apart),
        "sentence": "Described only: in everyday runs cadence changes with slope, fatigue and ground, which change heart rate too. Only a trial of several cadences tells a best one.",
    })  # fmt: skip
    return out
