"""A report in words, and as text that can be changed before it is sent."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from footwork.quantities import Estimate, format_distance, format_duration
from footwork.wording.season_words import day_name

if TYPE_CHECKING:
    from footwork.results.race import PastPredictionsRace
    from footwork.results.report import Report

PICTURES = {"weeks": "Load week by week", "capacity": "Critical power", "curve": "The curve"}
QUICK = 0.25  # share of foreseen race days from which a race is told as one that went well; our convention
LOOSE = 0.8  # width of an interval, of its middle, from which on only its ends are told; our convention
WHAT = {"week": "The week of", "block": "The block from", "season": "The season from"}


def title(kind: str, first: dt.date, last: dt.date) -> str:
    """``The week of 24 August 2026``."""
    said = f"{WHAT[kind]} {first.day} {first:%B}"
    return f"{said} {first.year}" if kind == "week" else f"{said} to {last.day} {last:%B %Y}"


def told(found: Estimate, digits: int = 0) -> str:
    """An estimate with its interval, or why it is withheld."""
    if found.value is None or found.low is None or found.high is None:
        return f"not known: {found.reason}"
    if found.high - found.low > LOOSE * abs(found.value):  # a middle would say more than is known
        return f"between {found.low:.{digits}f} and {found.high:.{digits}f} {found.unit}"
    return f"{found.value:.{digits}f} {found.unit}, {found.low:.{digits}f} to {found.high:.{digits}f}"


def moved_sentences(moved: Sequence[dict[str, Any]], accepted: Sequence[tuple[str, float]]) -> list[str]:
    """What moved critical power, the newest first, and what was accepted."""
    out = [
        f"{day_name(m['date'])}: critical power from {m['before_w']:.0f} to {m['after_w']:.0f} W: {_why(m)}."
        for m in moved[:6]
    ]
    out += [f"From {day_name(on)} {watts:.0f} W count as accepted." for on, watts in accepted]
    return out or ["Nothing moved what is known of critical power."]


def _why(moved: dict[str, Any]) -> str:
    if moved["kind"] == "maximal":
        return "a race or test"
    return f"an everyday run, run {moved['run']}" if moved["run"] else str(moved["label"])


def as_markdown(report: Report) -> str:
    """A report as Markdown, to be changed before it is sent: words, tables and where its pictures stand."""
    lines = [f"# {report.title}", ""]
    for part in report.parts:
        lines += [f"## {part.title}", ""]
        for sentence in part.sentences:
            lines += [_plain(sentence), ""]
        if part.rows:
            width = max(len(row) for row in part.rows)
            heads = [*part.headers, *[""] * (width - len(part.headers))]
            lines.append(f"| {' | '.join(_cell(h) for h in heads)} |")
            lines.append(f"|{'---|' * width}")
            lines += [f"| {' | '.join(_cell(c) for c in row)} |" for row in part.rows]
            lines.append("")
        if part.picture:
            lines += [f"[picture: {part.picture}]", ""]
    return "\n".join(lines).rstrip() + "\n"


_SIGNS = str.maketrans({c: f"\\{c}" for c in "\\`*_[]<>#|"})


def _plain(text: str) -> str:
    """Text whose signs stand for themselves."""
    made = " ".join(str(text).split()).translate(_SIGNS)
    return f"\\{made}" if made[:1] in "-+" or (made[:1].isdigit() and made.lstrip("0123456789")[:1] in ".)") else made


def _cell(text: str) -> str:
    return " ".join(str(text).split()).translate(_SIGNS)


def raced(race: PastPredictionsRace, imperial: bool) -> str:
    """A race against what was foreseen the day before."""
    took = format_duration(race["time_s"])
    said = f"Race on {day_name(race['date'])}: {format_distance(race['distance_m'], imperial)} in {took}"
    foreseen = race["predicted"]
    if foreseen is None:
        return f"{said}; what was known the day before told no time."
    low, middle, high = (format_duration(foreseen[q]) for q in ("p10", "p50", "p90"))
    return f"{said}; by what was known the day before {middle} was the middle, {low} to {high} on eight of ten days."


def raced_well(race: PastPredictionsRace) -> str:
    """A race as quick as one foreseen day in four or fewer, and how often that was foreseen; empty for any other."""
    foreseen = race["predicted"]
    if foreseen is None or race["faster_days"] > QUICK:
        return ""
    gained = format_duration(foreseen["p50"] - race["time_s"])
    often = max(100 * race["faster_days"], 1.0)
    return (
        f"The race on {day_name(race['date'])} was {gained} quicker than the middle of what was foreseen; {often:.0f} "
        "of 100 days as they were foreseen are as quick."
    )
