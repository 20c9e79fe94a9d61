"""Blocks of a trial: the seconds of its runs in which each condition was run."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis.summary import IN_ROWS, mean_known
from footwork.history import catalogue
from footwork.history.log import entries
from footwork.history.recordings import run_signals
from footwork.physics.power import slope_factor
from footwork.quantities import format_pace
from footwork.questions.trials import trial_design
from footwork.signals import FORM

if TYPE_CHECKING:
    from footwork.history.book import History

LAP_NEAR = 0.12  # how near a lap comes to a block's length to be one; our convention


LONGEST_CHANGE_S = 240.0  # by which a change may take longer than the wash-out; our convention


STOPPED_S = 30.0  # seconds by which a stop may lengthen a block; our convention


OTHER_SPEED = 0.12  # by which blocks differ from the design's speed, or from each other, and are none; our convention


SLOWER = 0.96  # of the blocks' speed: what lies between them is slower; our convention


LEAST_SOUND = 0.6


def blocks_of(library: History, trial: dict[str, Any], joined: dict[str, Any]) -> tuple[list[dict[str, Any]], str]:
    """Means of the settled part of each block of one run, and why they do not look like the design's; empty where they
    do."""
    run = joined["run"]
    row = entries.library_row(library, run)
    signals = run_signals.signals(library, run)
    starts = _located(library, trial, joined, signals.timer)
    placed = starts != _clocked(trial, joined, signals.timer)  # by laps, or each block's beginning
    if not starts:
        return [], f"it ends before its {trial['blocks']} blocks do (--begin 10:00,18:00,… says when each began)"
    order = trial["orders"][joined["order"]]
    size = trial["block_s"]
    settle = min(0.5 * size, 180.0)
    grade = np.nan_to_num(signals.get("grade"))
    columns = {
        "heart_rate": signals.sound_heart_rate,
        "speed": signals.get("speed") * slope_factor(np.clip(grade, -0.1, 0.3)),
        "power": signals.get(row.column),
        "cadence": signals.get("cadence"),
        **{name: FORM[name].shown_factor * signals.get(name) for name in IN_ROWS},
        "grade": signals.get("grade"),
    }
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
    odd = _unlike(library, trial, out, max(float((~signals.timer[round(a) : round(b)]).sum()) for a, b in starts))
    between = [
        float(np.nanmean(columns["speed"][round(a) : round(b)]))
        for a, b in ((x[1], y[0]) for x, y in pairwise(starts))
        if b - a >= 30 and np.isfinite(columns["speed"][round(a) : round(b)]).any()
    ]
    inside = [b["speed"] for b in out if b["speed"] is not None]
    if (
        not odd
        and not placed
        and trial["rest_s"] >= 60
        and between
        and inside
        and np.median(between) > SLOWER * np.mean(inside)
    ):
        odd = "no easier running between the blocks is to be seen (laps, or --begin 10:00,18:00,…, say where they are)"
    return out, odd


def _unlike(library: History, trial: dict[str, Any], blocks: list[dict[str, Any]], stopped: float) -> str:
    """Why blocks do not look like the design's; empty where they do."""
    if stopped > STOPPED_S:
        return (
            "the watch was stopped within its blocks, or for the easy minutes between them (laps, or --begin "
            "10:00,18:00,…, say where they are)"
        )
    holding = sum(b[trial["outcome"]] is not None for b in blocks)
    if holding < 0.75 * len(blocks):
        entered = {"exertion": "--exertion tells it", "oxygen_uptake": "--oxygen tells it"}.get(
            trial["outcome"], "--begin 10:00,18:00,… says when each began" if holding else ""
        )
        hint = f" ({entered})" if entered else ""
        return (
            f"{holding or 'none'} of its {len(blocks)} blocks hold {trial['outcome'].replace('_', ' ')} "
            f"throughout{hint}"
        )
    imperial = library.setting("units") == "imperial"
    speeds = [b["speed"] for b in blocks if b["speed"] is not None]
    if speeds and abs(np.mean(speeds) / trial["speed_mps"] - 1) > OTHER_SPEED:
        mean = format_pace(float(np.mean(speeds)), imperial) if np.mean(speeds) > 0.5 else "a stand"
        return (
            f"its blocks were run at {mean}, the design has {format_pace(trial['speed_mps'], imperial)} (--begin "
            "10:00,18:00,… says when each began)"
        )
    if speeds and (max(speeds) - min(speeds)) / np.mean(speeds) > OTHER_SPEED:
        return (
            f"its blocks differ by {100 * (max(speeds) - min(speeds)) / np.mean(speeds):.0f} % in speed (--begin "
            "10:00,18:00,… says when each began)"
        )
    return ""


def _located(
    library: History, trial: dict[str, Any], joined: dict[str, Any], timer: np.ndarray
) -> list[tuple[float, float]]:
    """Start and end of each block [s]: as the runner said of each; laps of a block's length, as many as there are
    blocks; else the design's times on the running clock, a stopped watch not counted, from where the runner said or
    after the warm-up. Nothing where the run ends before."""
    size, count, rest = trial["block_s"], trial["blocks"], trial["rest_s"]
    begin = joined.get("begin_s")
    if isinstance(begin, list) and len(begin) > 1:  # each block's own
        return [(float(s), float(s) + size) for s in begin] if begin[-1] + size <= len(timer) + 5 else []
    if begin is None:
        # Laps as long as a block, in order, however long the change between took; laps that lie one upon the other are
        # kilometres.
        told = run_signals.laps_of(library, catalogue.find(library, joined["run"]))
        laps = [(lap["start_s"], lap["start_s"] + lap["duration_s"]) for lap in told]
        near = [abs(b - a - size) <= LAP_NEAR * size and a >= 0.5 * trial["warm_s"] for a, b in laps]
        step = 2 if rest else 1
        for k in range(len(laps)):
            chosen = [k]
            while len(chosen) < count:
                after = next(
                    (
                        j
                        for j in range(chosen[-1] + 1, len(laps))
                        if near[j] and laps[j][0] - laps[chosen[-1]][1] >= 0.3 * rest
                    ),
                    None,
                )
                if after is None or after - chosen[-1] > step:
                    break
                chosen.append(after)
            if near[k] and len(chosen) == count and _whole_changes([laps[c] for c in chosen], trial):
                return [laps[c] for c in chosen]
    return _clocked(trial, joined, timer)


def _clocked(trial: dict[str, Any], joined: dict[str, Any], timer: np.ndarray) -> list[tuple[float, float]]:
    """The design's times on the running clock, from where the runner said or after the warm-up; nothing where the run
    ends before."""
    begin = joined.get("begin_s")
    first = begin[0] if isinstance(begin, list) else begin
    start = trial["warm_s"] if first is None else float(timer[: round(first)].sum())
    clock = np.cumsum(timer)
    if start + trial_design.schedule(trial)[-1][1] > clock[-1] + 5:
        return []
    return [
        (
            float(np.searchsorted(clock, start + a, side="right")),
            float(np.searchsorted(clock, start + b, side="left")) + 1,
        )
        for a, b in trial_design.schedule(trial)
    ]


def _whole_changes(chosen: list[tuple[float, float]], trial: dict[str, Any]) -> bool:
    """Whether laps can be a trial's blocks: the changes between are not all as long as the laps before them by the
    kilometre, and the first begins after about the warm-up."""
    gaps = [b[0] - a[1] for a, b in pairwise(chosen)]
    return (
        all(0.3 * trial["rest_s"] <= g <= trial["rest_s"] + LONGEST_CHANGE_S for g in gaps)
        and abs(chosen[0][0] - trial["warm_s"]) <= 0.35 * trial["warm_s"] + 60
    )
