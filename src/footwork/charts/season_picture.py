"""A season as one picture: weeks as bars asked and run, races, tests and taper, and the longest run below."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from footwork.charts.load_picture import NARROW, WIDE, bar
from footwork.quantities import format_duration
from footwork.wording.season_words import PHASES

ABOVE, BARS, BETWEEN, RUNS, BELOW, LEFT = 34, 170, 34, 70, 24, 44
LABEL = 58  # room that a date below takes


def season_bars(weeks: Sequence[Mapping[str, Any]], today: str, narrow: bool = False) -> str:
    """Weeks of a plan as SVG; each says on hover what it asks and what was run.

    Parameters
    ----------
    weeks : sequence of mapping
        As `results.planned_season.SeasonPlan.weeks`.
    today : str
        Its week is marked.
    narrow : bool
        For a phone.
    """
    width = NARROW if narrow else WIDE
    column = (width - LEFT) / max(len(weeks), 1)
    ran = [float((w["run"] or {}).get("value") or 0.0) for w in weeks]
    most: float = max([*(w["asked"] for w in weeks), *ran, 1.0])
    longest: float = max([*(max(w["longest_s"], w["longest_run_s"]) for w in weeks), 60.0])
    foot = ABOVE + BARS
    low = foot + BETWEEN + RUNS

    def at(load: float) -> float:
        return foot - BARS * load / (1.04 * most)

    def run_at(seconds: float) -> float:
        return low - RUNS * seconds / (1.1 * longest)

    out = [f'<text x="{LEFT}" y="12">CP-minutes a week</text>']
    out.append(f'<text x="{LEFT}" y="{foot + 22}">Longest run</text>')
    out.append(f'<text x="{LEFT - 6}" y="{at(most) + 4:.1f}" text-anchor="end">{most:.0f}</text>')
    out.append(f'<text x="{LEFT - 6}" y="{run_at(longest) + 4:.1f}" text-anchor="end">{_short(longest)}</text>')
    every = max(1, round(LABEL / column + 0.49))
    for k, week in enumerate(weeks):
        x, wide = LEFT + (k + 0.16) * column, 0.68 * column
        middle = x + wide / 2
        out.append(f"<g><title>{escape(_told(week))}</title>")
        kind = "tapering" if week["phase"] in ("taper", "race week") else "room"
        out.append(
            f'<rect class="{kind}" x="{LEFT + k * column:.1f}" width="{column:.1f}" y="{ABOVE}" height="{BARS}"/>'
        )
        if ran[k]:
            out.append(bar("running", x, wide, at(ran[k]), foot))
        out.append(bar("asked", x, wide, at(week["asked"]), foot))
        if week["longest_run_s"]:
            out.append(f'<circle class="ran" cx="{middle:.1f}" cy="{run_at(week["longest_run_s"]):.1f}" r="4"/>')
        if week["longest_s"]:
            out.append(f'<circle class="asked" cx="{middle:.1f}" cy="{run_at(week["longest_s"]):.1f}" r="4"/>')
        named = week_mark(week)
        if named:
            spot = min(max(middle, LEFT + 14), width - 14)
            out.append(f'<text class="mark" x="{spot:.1f}" y="{ABOVE - 6}" text-anchor="middle">{named}</text>')
        if week["monday"] <= today < _after(week["monday"]):
            out.append(f'<rect class="now" x="{x:.1f}" width="{wide:.1f}" y="{foot + 2}" height="3"/>')
        out.append("</g>")
        if (len(weeks) - 1 - k) % every == 0:
            day = dt.date.fromisoformat(week["monday"])
            spot = min(middle, width - LABEL / 3)
            out.append(f'<text x="{spot:.1f}" y="{low + 20:.1f}" text-anchor="middle">{day.day} {day:%b}</text>')
    out.append(f'<line class="rule" x1="{LEFT}" x2="{width}" y1="{foot}" y2="{foot}"/>')
    out.append(f'<line class="rule" x1="{LEFT}" x2="{width}" y1="{low}" y2="{low}"/>')
    label = escape(f"Season of {len(weeks)} weeks: asked up to {most:.0f} CP-minutes a week")
    box = f"0 0 {width} {low + BELOW}"
    return f'<svg class="loads season" role="img" aria-label="{label}" viewBox="{box}">{"".join(out)}</svg>'


def _after(monday: str) -> str:
    return (dt.date.fromisoformat(monday) + dt.timedelta(days=7)).isoformat()


def _short(seconds: float) -> str:
    return f"{seconds // 3600:.0f}:{seconds % 3600 // 60:02.0f}"


def week_mark(week: Mapping[str, Any]) -> str:
    """What is remarkable in a week: its race, or its test."""
    purposes = {s["purpose"] for s in week["sessions"]}
    if purposes & {"the race", "a race beside"}:
        return "race"
    return "test" if "test" in purposes else ""


def _told(week: Mapping[str, Any]) -> str:
    day = dt.date.fromisoformat(week["monday"])
    said = f"Week of {day.day} {day:%B}, {PHASES[week['phase']]}: {week['asked']:.0f} CP-minutes asked"
    run = week["run"]
    if run is not None and run.get("value") is not None:
        said += f", {run['value']:.0f} run"
    return (
        f"{said}, longest run {format_duration(week['longest_s'])}. {week['reason'][:1].upper()}{week['reason'][1:]}."
    )
