"""Paper: documents typeset from result objects. Text reaches the typesetter as data, never as source."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

from footwork.quantities import format_distance, format_duration

_HERE = Path(__file__).parent


def race_card(plan: Any, name: str = "", imperial: bool = False) -> bytes:
    """A wrist band and a pocket sheet of a race plan, as PDF: black on white, large numerals, to be cut out.

    Parameters
    ----------
    plan : RacePlan
    name : str
        What to call the race; its distance by default.
    """
    import typst

    found = plan.strategies
    segments = found["strategies"][found["chosen"]]["segments"]
    clock, at = 0.0, [(0.0, 0.0)]
    for s in segments:
        clock += (s["end_m"] - s["start_m"]) / s["speed_mps"]
        at.append((s["end_m"], clock))

    def when(metres: float) -> str:
        for (a, t), (b, u) in pairwise(at):
            if metres <= b + 1e-6:
                return format_duration(t + (u - t) * (metres - a) / max(b - a, 1e-9))
        return format_duration(clock)

    race = plan.question["distance_m"]
    days = found["finish_time"]
    told = {
        "title": name or format_distance(race, imperial),
        "rows": [
            {"to": format_distance(i["end_m"], imperial).replace(" ", "\u00a0"), "watts": f"{i['power_w']:.0f}", "band": f"{i['low_w']:.0f}–{i['high_w']:.0f}",
             "clock": when(i["end_m"]), "where": i["where"], "watch": i["watch"]}
            for i in found["instructions"]
        ],
        "scale": plan.scale,
        "time": format_duration(clock), "p10": format_duration(days["p10"]), "p90": format_duration(days["p90"]),
        "dry": f"{100 * found['run_dry_probability']:.0f}",
        "notes": found["cautions"][1:],
    }  # fmt: skip
    made: bytes = typst.compile(
        str(_HERE / "card.typ"), format="pdf", sys_inputs={"data": json.dumps(told)}, root=str(_HERE)
    )
    return made
