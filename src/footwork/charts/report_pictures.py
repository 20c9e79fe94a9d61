"""Pictures of a report, for paper and for the screen: weeks asked and run, critical power, the curve. Each carries its
own ink, since it may stand in a letter without our style."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from html import escape

import numpy as np

from footwork.quantities import format_duration
from footwork.results.report import Report, ReportPoint, ReportWeek

WIDE, HIGH, LEFT, ABOVE, BELOW = 640, 150, 44, 20, 24
INK, GREY, PALE = "#1d2733", "#8a8f95", "#dcd6c4"
LABEL = 64  # room that a date below takes


PICTURES = ("weeks", "capacity", "curve")


def pictures(report: Report) -> dict[str, str]:
    """Each picture of a report as SVG, by the name it has in the text; one without anything to show is left out."""
    made = {"weeks": _weeks(report.weeks), "capacity": _capacity(report.capacity), "curve": _curve(report.curve)}
    return {name: svg for name, svg in made.items() if svg}


def _frame(inside: Sequence[str], title: str, wide: int = WIDE) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {ABOVE + HIGH + BELOW}" role="img" '
        f'aria-label="{escape(title)}" font-family="Libertinus Serif, Georgia, serif" font-size="12" fill="{INK}">'
        f'<text x="{LEFT}" y="12">{escape(title)}</text>{"".join(inside)}</svg>'
    )


def _axis(low: float, high: float) -> tuple[Callable[[float], float], list[str]]:
    """Where a value stands, and three lines with their numbers."""

    def at(value: float) -> float:
        return ABOVE + HIGH * (1.0 - (value - low) / max(high - low, 1e-9))

    lines = []
    for value in np.linspace(low, high, 3):
        lines.append(f'<line x1="{LEFT}" x2="{WIDE}" y1="{at(value):.1f}" y2="{at(value):.1f}" stroke="{PALE}"/>')
        lines.append(f'<text x="{LEFT - 6}" y="{at(value) + 4:.1f}" text-anchor="end">{value:.0f}</text>')
    return at, lines


def _date(x: float, day: dt.date, anchor: str = "middle") -> str:
    return f'<text x="{x:.1f}" y="{ABOVE + HIGH + 16}" text-anchor="{anchor}">{day.day} {day:%b}</text>'


def _weeks(weeks: Sequence[ReportWeek]) -> str:
    """Load run as bars with their interval, asked as outlines."""
    ends = [w["run"].high or w["run"].value or 0.0 for w in weeks]
    most = max([*(w["asked"] for w in weeks), *ends, 1.0])
    if most <= 1.0:
        return ""
    at, out = _axis(0.0, most)
    column = (WIDE - LEFT) / len(weeks)
    every = max(1, round(LABEL / column + 0.49))
    for k, week in enumerate(weeks):
        x, wide = LEFT + (k + 0.18) * column, 0.64 * column
        run = week["run"]
        if run.value:
            tall = at(0) - at(run.value)
            out.append(
                f'<rect x="{x:.1f}" width="{wide:.1f}" y="{at(run.value):.1f}" height="{tall:.1f}" fill="{GREY}"/>'
            )
        if week["asked"]:
            out.append(
                f'<rect x="{x:.1f}" width="{wide:.1f}" y="{at(week["asked"]):.1f}" '
                f'height="{at(0) - at(week["asked"]):.1f}" fill="none" stroke="{INK}" stroke-width="1.3"/>'
            )
        if run.low is not None and run.high is not None and run.value:
            middle = x + wide / 2
            out.append(
                f'<line x1="{middle:.1f}" x2="{middle:.1f}" y1="{at(run.high):.1f}" y2="{at(run.low):.1f}" '
                f'stroke="{INK}" stroke-width="1.6"/>'
            )
        if (len(weeks) - 1 - k) % every == 0:
            out.append(_date(x + wide / 2, dt.date.fromisoformat(week["monday"])))
    return _frame(out, "CP-minutes a week: run (grey, with its interval) and asked (outlined)")


def _capacity(points: Sequence[ReportPoint]) -> str:
    """Critical power day by day with its interval; broken where it was withheld."""
    known = [p for p in points if p["value"] is not None and p["low"] is not None and p["high"] is not None]
    if len(known) < 2:
        return ""
    low, high = min(p["low"] or 0.0 for p in known), max(p["high"] or 0.0 for p in known)
    room = 0.05 * (high - low)
    at, out = _axis(low - room, high + room)
    days = [dt.date.fromisoformat(p["date"]).toordinal() for p in known]
    first, span = days[0], max(days[-1] - days[0], 1)

    def across(day: int) -> float:
        return LEFT + (WIDE - LEFT - 4) * (day - first) / span

    for start, end in _runs(days):
        part, on = known[start:end], [across(d) for d in days[start:end]]
        upper = [f"{x:.1f},{at(p['high'] or 0.0):.1f}" for x, p in zip(on, part, strict=True)]
        lower = [f"{x:.1f},{at(p['low'] or 0.0):.1f}" for x, p in zip(on, part, strict=True)]
        middle = [f"{x:.1f},{at(p['value'] or 0.0):.1f}" for x, p in zip(on, part, strict=True)]
        out.append(f'<polygon points="{" ".join(upper + lower[::-1])}" fill="{PALE}"/>')
        out.append(f'<polyline points="{" ".join(middle)}" fill="none" stroke="{INK}" stroke-width="1.8"/>')
    for day in np.linspace(first, days[-1], 5):
        on_day = dt.date.fromordinal(int(day))
        anchor = "start" if day == first else "end" if day == days[-1] else "middle"
        out.append(_date(across(int(day)), on_day, anchor))
    return _frame(out, "Critical power, W: the line with the 95 % around it")


def _runs(days: Sequence[int]) -> list[tuple[int, int]]:
    """Stretches of days that follow each other, as places."""
    starts = [0, *(k for k in range(1, len(days)) if days[k] - days[k - 1] > 7)]
    return list(zip(starts, [*starts[1:], len(days)], strict=True))


def _curve(curve: Sequence[dict[str, float]]) -> str:
    """What was held for each time, on a logarithmic axis."""
    points = [p for p in curve if p["duration_s"] >= 5.0]
    if len(points) < 2:
        return ""
    watts = [p["power_w"] for p in points]
    at, out = _axis(0.95 * min(watts), 1.02 * max(watts))
    low, high = np.log(points[0]["duration_s"]), np.log(points[-1]["duration_s"])

    def across(seconds: float) -> float:
        return float(LEFT + (WIDE - LEFT - 4) * (np.log(seconds) - low) / max(high - low, 1e-9))

    line = " ".join(f"{across(p['duration_s']):.1f},{at(p['power_w']):.1f}" for p in points)
    out.append(f'<polyline points="{line}" fill="none" stroke="{INK}" stroke-width="1.8"/>')
    for seconds in (10, 60, 300, 1200, 3600):
        if points[0]["duration_s"] <= seconds <= points[-1]["duration_s"]:
            out.append(
                f'<text x="{across(seconds):.1f}" y="{ABOVE + HIGH + 16}" text-anchor="middle">'
                f"{format_duration(seconds)}</text>"
            )
    return _frame(out, "Most watts held for each time")
