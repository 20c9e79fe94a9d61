"""What is said of a trial."""

from __future__ import annotations

from typing import Any

import numpy as np

from footwork.quantities import Estimate

WATTS_WARNING = "Watts are secondary: the sensor that feels the change also computes the watts."


def contrary(trial: dict[str, Any], blocks: list[dict[str, Any]], name: str) -> list[str]:
    """A run that says the opposite of the others, as a wrong order makes it."""
    if len(trial["conditions"]) > 2:
        return []
    told = {}
    for run in {b["run"] for b in blocks}:
        sides = [
            [b[name] for b in blocks if b["run"] == run and b["condition"] == c and b[name] is not None] for c in (0, 1)
        ]
        if all(sides):
            told[run] = float(np.mean(sides[1]) - np.mean(sides[0]))
    out = []
    for run, effect in told.items():
        others = [v for r, v in told.items() if r != run]
        if (
            len(others) >= 2
            and effect * np.median(others) < 0
            and abs(effect - np.median(others)) > 3 * trial["run_sd"]
        ):
            out.append(
                f"Run {run} says the opposite of the others: was its order right? footwork trial join "
                f"{trial['id']} {run} --order says it anew."
            )
    return out


def trial_warnings(
    trial: dict[str, Any], blocks: list[dict[str, Any]], tell: int, slope: float, slope_told: str
) -> list[str]:
    out = [WATTS_WARNING] if any(b["power"] is not None for b in blocks) else []
    speeds = {
        c: [b["speed"] for b in blocks if b["condition"] == c and b["speed"] is not None]
        for c in range(len(trial["conditions"]))
    }
    means = [float(np.mean(v)) for v in speeds.values() if v]
    if len(means) > 1 and (max(means) - min(means)) / np.mean(means) > 0.03:
        out.append(
            f"The conditions were run {100 * (max(means) - min(means)) / np.mean(means):.0f} % apart in "
            "speed: part of the effect may be the speed's, though heart rate is brought to one speed."
        )
    grades = [b["grade"] for b in blocks if b["grade"] is not None]
    if grades and max(grades) - min(grades) > 0.02:
        out.append("Not all blocks were on the same slope.")
    if trial["outcome"] == "heart_rate" and not slope:
        out.append(f"{slope_told[0].upper()}{slope_told[1:]}.")
    if tell < 2:
        out.append(
            "One run does not tell how the effect differs from day to day: the interval has the design's "
            "spread in its place, and no verdict follows."
        )
    return out


def trial_verdict(trial: dict[str, Any], primary: dict[str, Any], found: dict[str, Any]) -> tuple[str, str]:
    """One word, and one plain sentence."""
    parts, words = [], []
    for e in primary["effects"]:
        d: Estimate = e["difference"]
        name = primary["outcome"].replace("_", " ")
        side = "lower" if (d.value or 0) < 0 else "higher"
        same = " at the same speed" if found["speed_slope"]["value"] or primary["outcome"] != "heart_rate" else ""
        size = f"{abs(d.value or 0):.1f} {d.unit} {side} ({d.low:+.1f} to {d.high:+.1f})"
        single = found["spread"]["runs_that_tell"] < 2
        word = e["word"]
        words.append(word)
        match word:
            case "improved":
                parts.append(f"With {e['condition']} {name} is {size}{same}: a worthwhile effect.")
            case "worse":
                parts.append(f"With {e['condition']} {name} is {size}{same}: worse, by a worthwhile amount.")
            case "no worthwhile change":
                parts.append(
                    f"{e['condition'][0].upper()}{e['condition'][1:]} makes no worthwhile difference: {name} "
                    f"is {size}{same}."
                )
            case _:
                sure = d.low is not None and d.high is not None and d.low * d.high > 0 and not single
                parts.append(
                    (
                        f"There is an effect of {e['condition']}, and whether it is worthwhile cannot be told "
                        f"yet: {name} is {size}{same}."
                    )
                    if sure
                    else f"It cannot be told yet whether {e['condition']} matters: {name} is {size}{same}."
                )
    if found["cadence"] is not None:
        best: Estimate = found["cadence"]["optimum"]
        parts = (
            [
                f"Least {primary['outcome'].replace('_', ' ')} at {best.value:.0f} steps a minute "
                f"({best.low:.0f} to {best.high:.0f})."
            ]
            if best.value is not None
            else [f"No best cadence can be told: {best.reason}."]
        )
        words = ["cannot tell yet" if best.value is None else "told"]
    left = found["planned_runs"] - len(found["runs"])
    if left > 0:
        parts.append(f"{left} of the {found['planned_runs']} planned runs {'are' if left > 1 else 'is'} still to come.")
    return words[0] if len(set(words)) == 1 else "see each", " ".join(parts)
