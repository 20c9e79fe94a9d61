"""Weeks as a picture: a row a week, a bar a run as long as its time and as dark as its domains, sessions in outline."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from footwork.physiology.domains import NAMES
from footwork.quantities import format_duration
from footwork.wording.run_titles import short_title

WIDE, NARROW = 896, 350  # of the picture on a desk and on a phone
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
ROW, ABOVE, BAR = 48, 34, 12
LEAST_LONGEST_S = 3600.0  # a day drawn over the whole column is this long at least


def six_weeks(
    weeks: Sequence[Mapping[str, Any]],
    usual: Mapping[str, float] | None,
    asked_on: str,
    run_address: str,
    narrow: bool = False,
) -> str:
    """Weeks as SVG, from the earliest down.

    Parameters
    ----------
    weeks : sequence of mapping
        As `results.today.Due.weeks`: ``monday``, ``days`` with ``runs`` and ``asked``, and the week's ``load``.
    usual : mapping or None
        The usual week: ``cp_minutes`` and its quartiles ``low`` and ``high`` [CP-minutes].
    asked_on : str
        The day whose column is marked, as YYYY-MM-DD.
    run_address : str
        Where a bar leads: this and the run's number.
    narrow : bool
        For a phone: no words in the bars' columns, days by their first letters.
    """
    width = NARROW if narrow else WIDE
    left, right = (46, 62) if narrow else (66, 168)
    column = (width - left - right) / 7
    longest = max([LEAST_LONGEST_S, *(_seconds(d) for w in weeks for d in w["days"])])
    loads = [w["load"]["value"] for w in weeks if w["load"]["value"] is not None]
    most = 1.15 * max([*loads, usual["high"] if usual else 0.0, 1.0])
    out = [
        f'<text x="{left + k * column:.1f}" y="16">{name[0] if narrow else name}</text>' for k, name in enumerate(DAYS)
    ]
    out.append(f'<text x="{width if narrow else width - right + 14}" y="16"{_end(narrow)}>load</text>')
    for index, week in enumerate(weeks):
        top = ABOVE + index * ROW
        monday = dt.date.fromisoformat(week["monday"])
        out.append(f'<line class="rule" x1="0" x2="{width}" y1="{top - 6}" y2="{top - 6}"/>')
        out.append(f'<text x="0" y="{top + 26}">{monday.day} {monday:%b}</text>')
        for k, day in enumerate(week["days"]):
            x = left + k * column
            if day["date"] == asked_on:
                out.append(
                    f'<line class="today" x1="{x:.1f}" x2="{x + column - 6:.1f}" y1="{top - 6}" y2="{top - 6}"/>'
                )
            out += _day(day, x, top, (column - 8) / longest, run_address, "" if narrow else _label(day))
        out += _load(week, usual, most, width, right, top, narrow)
    height = ABOVE + ROW * len(weeks)
    told = f"The last {len(weeks)} weeks day by day"
    kind = "narrow" if narrow else "wide"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="course weeks {kind}" viewBox="0 0 {width} {height}" '
        f'role="group" aria-label="{told}">{"".join(out)}</svg>'
    )


def _end(at_end: bool) -> str:
    return ' text-anchor="end"' if at_end else ""


def _seconds(day: Mapping[str, Any]) -> float:
    return float(sum(r["duration_s"] for r in day["runs"]) + sum(a["duration_s"] or 0.0 for a in day["asked"]))


def _label(day: Mapping[str, Any]) -> str:
    """A few letters on what a day held."""
    for run in day["runs"]:
        marked = next((m for m in ("race", "test", "long") if m in run["marks"]), "")
        if said := marked or short_title(run["title"]):
            return said
    for asked in day["asked"]:
        said = asked["name"] or asked["text"]
        return said if len(said) <= 14 else f"{said[:13].rstrip(' ,')}…"
    return ""


def _day(day: Mapping[str, Any], x: float, top: float, scale: float, run_address: str, label: str) -> list[str]:
    out = []
    if label:
        out.append(f'<text class="small" x="{x:.1f}" y="{top + 13}">{escape(label)}</text>')
    y = top + 20
    for run in day["runs"]:
        told = f"{run['title'] or 'Run'}, {format_duration(run['duration_s'])}"
        parts, at = [], x
        seconds = run["seconds_in_domains"]
        whole = sum(seconds.values()) if seconds else 0.0
        for name in NAMES if seconds and whole else ():
            wide = scale * run["duration_s"] * seconds[name] / whole
            if wide > 0.2:
                parts.append(f'<rect class="f-{name}" x="{at:.1f}" y="{y}" width="{wide:.1f}" height="{BAR}"/>')
                at += wide
        if not parts:
            wide = max(scale * run["duration_s"], 2.0)
            parts.append(f'<rect class="usual" x="{x:.1f}" y="{y}" width="{wide:.1f}" height="{BAR}"/>')
        out.append(
            f'<a href="{escape(run_address)}{run["id"]}" aria-label="{escape(told)}"><title>{escape(told)}</title>'
            f"{''.join(parts)}</a>"
        )
        x += scale * run["duration_s"] + 1.5
    for asked in day["asked"]:
        wide = max(scale * (asked["duration_s"] or 1800.0), 6.0)
        told = f"Asked: {asked['name'] or asked['text']}"
        out.append(
            f'<rect class="outline" x="{x + 0.5:.1f}" y="{y + 0.5}" width="{wide:.1f}" height="{BAR - 1}">'
            f"<title>{escape(told)}</title></rect>"
        )
        x += wide + 1.5
    return out


def _load(
    week: Mapping[str, Any],
    usual: Mapping[str, float] | None,
    most: float,
    width: float,
    right: float,
    top: float,
    narrow: bool,
) -> list[str]:
    """The week's load as a number, and as a stroke on the band of usual weeks."""
    value = week["load"]["value"]
    said = (
        "withheld"
        if value is None and week["runs"]
        else "none"
        if value is None or not week["runs"]
        else f"{value:.0f}"
    )
    at = width if narrow else width - right + 14
    out = [f'<text class="strong" x="{at}" y="{top + 26}"{_end(narrow)}>{said}</text>']
    if narrow:
        return out
    start, span = width - right + 66, right - 70
    if usual:
        low, high = (start + span * usual[k] / most for k in ("low", "high"))
        out.append(f'<rect class="usual" x="{low:.1f}" y="{top + 18}" width="{max(high - low, 2):.1f}" height="8"/>')
    if value is not None and week["runs"]:
        x = start + span * value / most
        out.append(f'<line class="mark" x1="{x:.1f}" x2="{x:.1f}" y1="{top + 14}" y2="{top + 30}"/>')
    return out
