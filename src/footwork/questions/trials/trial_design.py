"""Trials of a change: designed so that chance and drift favour nothing, kept, and told."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import trial_statistics as model
from footwork.analysis.summary import AT
from footwork.analysis.worthwhile import sure_enough
from footwork.errors import FootworkError, NotEnoughData, UsageError
from footwork.formats import watch
from footwork.history.log import entries, parts
from footwork.quantities import format_duration, format_pace, plain
from footwork.questions import progress
from footwork.results.trial import TrialDesign
from footwork.wording.cautions import TRIAL
from footwork.wording.trial_words import WATTS_WARNING

if TYPE_CHECKING:
    from footwork.history.book import History

# Outcome: unit, smallest worthwhile effect, and the least and greatest value that is one. Common practice, no source.
OUTCOMES: dict[str, tuple[str, float, float, float]] = {
    "heart_rate": ("bpm", 2.0, 40.0, 230.0),
    "oxygen_uptake": ("ml/kg/min", 0.6, 5.0, 95.0),
    "exertion": ("of 10", 1.0, 0.0, 10.0),
}


MOST_CONDITIONS = 7


BPM_PER_MPS = 25.0  # heart rate with speed where the runs do not tell it; our convention


def design_trial(
    library: History,
    change: str,
    usual: str = "as usual",
    *,
    others: Sequence[str] = (),
    cadences: Sequence[float] = (),
    speed: float | None = None,
    outcome: str = "heart_rate",
    block_s: float = 360.0,
    rest_s: float = 120.0,
    warm_s: float = 600.0,
    repeats: int = 1,
    runs: int | None = None,
    effect: float | None = None,
    power: float = model.POWER,
    course: str = "",
    seed: int | None = None,
) -> TrialDesign:
    """A trial's design, not kept.

    Parameters
    ----------
    change, usual : str
        What is tried, and what it is held against.
    others : sequence of str
        Further conditions.
    cadences : sequence of float
        Instead of one change, cadences against the usual one [%], as -8, -4, 0, 4, 8.
    speed : float, optional
        Speed that every block is run at [m/s]; the usual easy one by default.
    block_s, rest_s, warm_s : float
        A block, the wash-out between two, and the warm-up [s].
    repeats : int
        How often a run holds the order and its mirror.
    runs : int, optional
        How many runs; by default as many as find the effect with the chance.
    effect : float, optional
        True effect to be found, in the outcome's unit; twice the smallest worthwhile one by default.
    power : float
        The chance of finding it to be worthwhile.

    Returns
    -------
    dict
        ``conditions``, ``orders`` (a list a run, numbers of conditions), ``blocks``, times, ``speed_mps``, ``outcome``,
        ``smallest_worthwhile_change``, ``typical_error`` and ``run_sd`` in its unit, ``statistical_power`` by number of
        runs, ``runs``, ``length_s``, ``cautions``.

    Raises
    ------
    UsageError
        Fewer than two conditions, two of one name, or times and numbers that cannot be run.
    """
    cadences = sorted(cadences, key=lambda c: (c != 0, c))  # the usual one is what the others are held against
    names = [f"cadence {c:+g} %" if c else "usual cadence" for c in cadences] if cadences else [usual, change, *others]
    names = [" ".join(n.split())[:40] for n in names]
    if not 2 <= len(names) <= MOST_CONDITIONS or not all(names) or len({n.lower() for n in names}) < len(names):
        raise UsageError(f"a trial needs two to {MOST_CONDITIONS} conditions of different names")
    if cadences and 0 not in cadences:
        raise UsageError("one of the cadences is the usual one: add 0")
    if cadences and not all(-20 <= c <= 20 for c in cadences):
        raise UsageError("cadences lie within 20 % of the usual one: more changes the gait")
    if seed is not None and not 0 <= seed < 2**31:
        raise UsageError("a seed is a whole number from 0 on")
    if outcome not in OUTCOMES:
        raise UsageError(f"'{outcome}' is no outcome: use {', '.join(OUTCOMES)}")
    if not (60 <= block_s <= 1800 and 0 <= rest_s <= 1200 and 0 <= warm_s <= 3600 and 1 <= repeats <= 6):
        raise UsageError(
            "blocks last 1 to 30 minutes, rests to 20, a warm-up to an hour, with 1 to 6 repeats of the order"
        )
    if (
        not 0.5 <= power < 1
        or (runs is not None and not 2 <= runs <= model.MOST_RUNS)
        or (effect is not None and not 0 < effect < 1000)
    ):
        raise UsageError(
            f"give a chance of 0.5 to 0.99, 2 to {model.MOST_RUNS} runs, since one alone gives no verdict, "
            "and an effect above nothing"
        )
    if speed is not None and not 1.5 <= speed <= 7:
        raise UsageError("the blocks' pace lies between 2:23 and 11:06 a kilometre")
    unit, least, _, _ = OUTCOMES[outcome]
    wanted = effect or 2 * least
    if wanted <= least:
        raise UsageError(
            f"the verdict asks whether an effect passes {least:g} {unit}, the smallest worthwhile one: give a "
            "larger effect to be found"
        )
    blocks = 2 * len(names) * repeats
    error, freedom = _typical_error(library, block_s) if outcome == "heart_rate" else (None, 0)
    block_sd = error or (model.BLOCK_SD_BPM if outcome == "heart_rate" else 0.7 * least)
    # With more than two conditions each is held against the first: as many blocks as two conditions would have.
    pair = 4 * repeats
    sd = model.run_sd(block_sd, pair, model.EFFECT_SD_BPM * least / 2.0)
    needed = model.runs_needed(wanted, sd, least, len(names) - 1, power)
    planned = runs or needed or model.MOST_RUNS
    made = seed if seed is not None else int(np.random.default_rng().integers(1, 1_000_000))
    length = warm_s + blocks * block_s + (blocks - 1) * rest_s
    out: dict[str, Any] = plain(
        {
            "name": change if not cadences else "cadence",
            "conditions": names,
            "cadences_percent": list(cadences),
            "outcome": outcome,
            "unit": unit,
            "smallest_worthwhile_change": least,
            "effect": wanted,
            "block_s": block_s,
            "rest_s": rest_s,
            "warm_s": warm_s,
            "repeats": repeats,
            "blocks": blocks,
            "speed_mps": speed or _easy_speed(library),
            "course": course or "one flat, quiet stretch, the same for every block",
            "typical_error": block_sd,
            "typical_error_freedom": freedom,
            "run_sd": sd,
            "runs": planned,
            "runs_needed": needed,
            "power_asked": power,
            "seed": made,
            "orders": model.order(len(names), repeats, planned, made),
            "length_s": length,
            "statistical_power": [
                {"runs": n, "power": model.power_of(wanted, sd, n, least, sure_enough(n, len(names) - 1))}
                for n in sorted({2, 3, 4, 6, 8, 12, planned})
            ],
            "cautions": [WATTS_WARNING, TRIAL],
        }
    )
    return TrialDesign(**out)


def _typical_error(library: History, block_s: float) -> tuple[float | None, int]:
    """SD of a block's heart rate about its run's own drift, from the runner's steady runs."""
    try:
        of = progress.season(library)
    except FootworkError:
        return None, 0
    size = max(round(block_s / 60), 1)
    found = []
    for run, (_, tells) in zip(of.prepared.rows, of.prepared.minutes, strict=True):
        kept = run.blocks[tells]
        n = len(kept) // size
        if n < 5:
            continue
        p, h = (kept[: n * size, AT[name]].reshape(n, size).mean(axis=1) for name in ("power", "heart_rate"))
        if p.std() < 0.06 * p.mean():
            found.append((p, h))
    told = model.typical_error(found)
    return told if told else (None, 0)


def _easy_speed(library: History) -> float:
    """Speed of the middle of recent running, as a pace that is known: rounded to five seconds a kilometre."""
    try:
        of = progress.season(library)
    except FootworkError:
        return 1000 / 360
    every = np.concatenate([r.blocks[:, AT["speed"]] for r in of.rows])
    every = every[np.isfinite(every) & (every > 1.5)]
    return 1000 / (5 * round(1000 / float(np.median(every)) / 5)) if len(every) else 1000 / 360


def keep_trial(library: History, designed: Mapping[str, Any] | TrialDesign, date: dt.date | None = None) -> int:
    """Keep a design; returns the trial's number, by which it can be undone."""
    return entries.write(library, "trial", None, dict(**designed), date or library.current_day())


def listed_trials(library: History) -> list[dict[str, Any]]:
    """Kept trials, the newest first: number, date, design and ``joined`` runs in the order of their days."""
    days = {r.id: r.start for r in library.runs()}
    with library.reading() as connection:
        found = parts.read_entries(connection, "trial", "trial-run")
    runs: dict[int, dict[int, dict[str, Any]]] = {}
    for e in found:
        if e.kind == "trial-run" and e.run in days:
            runs.setdefault(int(e.payload["trial"]), {})[int(e.run or 0)] = {**e.payload, "run": e.run, "entry": e.id}
    out = []
    for e in found:
        if e.kind == "trial":
            joined = sorted(runs.get(e.id, {}).values(), key=lambda r: days[r["run"]])
            out.append({"id": e.id, "date": e.date, **e.payload, "joined": joined})
    return out[::-1]


def kept_trial(library: History, number: int) -> dict[str, Any]:
    """One kept trial. Raises UsageError where there is none."""
    row = next((r for r in listed_trials(library) if r["id"] == number), None)
    if row is None:
        raise UsageError(f"there is no trial {number}: 'footwork trial list' shows them")
    return row


def order_words(trial: dict[str, Any], k: int) -> str:
    """One run's order in words."""
    return ", ".join(trial["conditions"][c] for c in trial["orders"][k])


def schedule(trial: dict[str, Any]) -> list[tuple[float, float]]:
    """Start and end of each block, in seconds from the start of the first.

    [s].
    """
    step = trial["block_s"] + trial["rest_s"]
    return [(k * step, k * step + trial["block_s"]) for k in range(trial["blocks"])]


def trial_workout(trial: dict[str, Any], k: int) -> bytes:
    """One run of a trial as a FIT workout: warm-up, blocks named by their condition at the trial's pace, easy
    wash-outs.

    Raises UsageError where the trial has no such run.
    """
    if not 0 <= k < len(trial["orders"]):
        raise UsageError(f"the trial has the orders 1 to {len(trial['orders'])}")
    v = trial["speed_mps"]
    steps = [watch.Step("warm-up", None, trial["warm_s"])] if trial["warm_s"] else []
    for i, c in enumerate(trial["orders"][k]):
        steps.append(watch.Step(trial["conditions"][c], None, trial["block_s"], 0.97 * v, 1.03 * v, "speed"))
        if trial["rest_s"] and i + 1 < trial["blocks"]:
            steps.append(watch.Step("change, easy", None, trial["rest_s"], rest=True))
    return watch.workout(f"Trial {trial['name']}"[:40], steps)


def trial_told(trial: dict[str, Any], imperial: bool = False) -> str:
    """A design in a few sentences."""
    needed = trial["runs_needed"]
    change = (
        " Change between the blocks and press lap at the beginning and end of each; where you stop the watch for "
        "it, run the easy minutes as well."
    )
    first = (
        f"{trial['blocks']} blocks of {format_duration(trial['block_s'])} at "
        f"{format_pace(trial['speed_mps'], imperial)}, {format_duration(trial['rest_s'])} easy between, in each "
        f"of {trial['runs']} runs of {format_duration(trial['length_s'])}."
    )
    chance = next(p["power"] for p in trial["statistical_power"] if p["runs"] == trial["runs"])
    second = (
        f"{trial['runs']} runs find a true effect of {trial['effect']:g} {trial['unit']} to be worthwhile "
        f"({trial['smallest_worthwhile_change']:g} and more) with a chance of {100 * chance:.0f} %, "
        f"by {'your own' if trial['typical_error_freedom'] else 'a usual'} typical error of "
        f"{trial['typical_error']:.1f} {trial['unit']} a block"
    )
    third = (
        f"; {needed} would for {100 * trial['power_asked']:.0f} %."
        if needed and needed != trial["runs"]
        else "."
        if needed
        else f"; even {model.MOST_RUNS} do not for {100 * trial['power_asked']:.0f} %."
    )
    return f"{first} {second}{third}{change}"


def need(trial: dict[str, Any], blocks: int, what: str) -> NotEnoughData:
    """Why a trial cannot be analysed yet."""
    return NotEnoughData(
        f"trial {trial['id']} has {blocks or 'no'} blocks with {what}: run and join more of its "
        f"{trial['runs']} runs (footwork trial join {trial['id']} RUN)"
    )
