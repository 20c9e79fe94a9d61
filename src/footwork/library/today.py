"""What is new and what is due."""

from __future__ import annotations

import datetime as dt
from typing import Any

from footwork.errors import NotEnoughData
from footwork.library import history, runs
from footwork.quantities import Estimate, plain

TEST_DAYS = 42


def answer(library: Any) -> dict[str, Any]:
    """The newest run, the week up to it, capacity, and what the runner should do about the data; plain JSON."""
    rows: list[runs.RunRow] = library.runs()
    due: list[dict[str, str]] = []
    if not rows:
        nothing = Estimate.withheld("W", "critical-power", "no runs yet")
        return _told(scale="", runs=0, newest=None, week=None, critical_power=nothing, evidence=None, kind="", due=due)
    newest = rows[0]
    day = newest.local.date()
    week = [r for r in rows if 0 <= (day - r.local.date()).days < 7]
    load = library.load(day - dt.timedelta(days=6), day)
    if library.athlete.value("mass", day) is None:
        due.append(
            {
                "what": "Tell Footwork your mass",
                "why": "power of runs without a meter, wind and altitude need it",
                "page": "settings",
            }
        )
    try:
        made = library.capacity()
        critical_power, evidence = made.critical_power, made.evidence
        chosen = made.accepted["critical_power_w"] if made.accepted else None
        if chosen and critical_power.value and not critical_power.low <= chosen <= critical_power.high:
            why = f"you accepted {chosen:.0f} W, the evidence now says {critical_power.value:.0f} W, {critical_power.low:.0f} to {critical_power.high:.0f}"
            due.append({"what": "Look at your accepted critical power", "why": why, "page": "capacity"})
        maximal = [e for e in evidence["efforts"] if e["kind"] == "maximal"]
        if evidence["kind"] != "tested":
            due.append(
                {
                    "what": "Run a test or mark a race",
                    "why": f"critical power rests on {evidence['sentence']}{_best_test(made)}",
                    "page": "capacity",
                }
            )
        else:
            last = max(dt.date.fromisoformat(e["label"]) for e in maximal)
            if (day - last).days > TEST_DAYS:
                due.append(
                    {
                        "what": "A test is due",
                        "why": f"the last maximal effort was {(day - last).days} days before your newest run{_best_test(made)}",
                        "page": "capacity",
                    }
                )
    except NotEnoughData as error:
        critical_power, evidence = Estimate.withheld("W", "critical-power", str(error)), None
    totals = {
        "runs": len(week), "duration_s": sum(r.duration_s for r in week), "distance_m": sum(r.distance_m or 0.0 for r in week),
        "cp_minutes": load["cp_minutes"], "load": load["load"], "seconds_in_domains": load["seconds_in_domains"],
    }  # fmt: skip
    return _told(
        scale=made.scale if evidence else "", runs=len(rows), newest=newest.to_json(), week=totals, critical_power=critical_power, due=due,
        evidence=evidence["sentence"] if evidence else None, kind=evidence["kind"] if evidence else "",
    )  # fmt: skip


def _best_test(made: Any) -> str:
    """What the most telling test would do to the interval, in words; nothing where CP is withheld."""
    best = next(iter(history.tests(made)), None)
    if best is None:
        return ""
    return f"; a test of {best['test']} would narrow it from ±{best['half_width_now_w']:.0f} to about ±{best['half_width_after_w']:.0f} W"


def _told(**found: Any) -> dict[str, Any]:
    out: dict[str, Any] = plain(found)
    return out
