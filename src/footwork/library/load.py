"""Time in domains and CP-minutes, of one run and of any span of dates."""

from __future__ import annotations

import datetime as dt
from typing import Any

from footwork.errors import NotEnoughData
from footwork.library import capacity, runs
from footwork.physiology import domains


def span(library: Any, since: dt.date | None, until: dt.date | None) -> dict[str, Any]:
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
        for row in runs.scale_rows(library, key):
            if row.run in mine:
                counted += 1
                minutes += domains.cp_minutes(row.histogram, edges_cp[1])
                for name, seconds in domains.seconds_in_domains(row.histogram, edges_cp[0]).items():
                    total[name] += seconds
    return {"runs": counted, "runs_without_cp": without, "cp_minutes": minutes, "seconds_in_domains": total,
            "critical_power": "today's proposal for all dates; none is accepted yet"}  # fmt: skip


def _edges(library: Any, scale_key: str) -> tuple[list[float], float] | None:
    try:
        made = capacity.answer(library, scale=scale_key)
    except NotEnoughData:
        return None
    values = [made.domains[b]["power"].value for b in ("moderate_heavy", "heavy_severe", "severe_extreme")]
    known = [v for v in values if v is not None]
    return (known, known[1]) if len(known) == 3 else None


def run(library: Any, row: runs.RunRow) -> dict[str, Any] | None:
    """Time in domains and CP-minutes of one run, or None where its scale has no CP."""
    edges_cp = _edges(library, row.scale_key) if row.scale_key else None
    if edges_cp is None:
        return None
    mine = next((r for r in runs.scale_rows(library, row.scale_key or "") if r.run == row.id), None)
    if mine is None:
        return None
    return {
        "cp_minutes": domains.cp_minutes(mine.histogram, edges_cp[1]),
        "seconds_in_domains": domains.seconds_in_domains(mine.histogram, edges_cp[0]),
        "edges_w": edges_cp[0],
    }
