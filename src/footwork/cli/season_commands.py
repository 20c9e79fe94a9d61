"""What was done and what comes: load, and later the weeks and the season."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any

import typer

from footwork.cli.common import Json, app, day, opened, out, remembered, say

ACTIVITIES_SHOWN = 10


@app.command()
@remembered
def load(
    by: Annotated[str, typer.Option(help="day, week or month.")] = "week",
    since: Annotated[str | None, typer.Option(help="First day, YYYY-MM-DD; as many as are usual by default.")] = None,
    until: Annotated[str | None, typer.Option(help="Last day; today by default.")] = None,
    as_json: Json = False,
) -> None:
    """Load of every activity, running and all sports, with its interval and how it is known."""
    from footwork.quantities import format_distance, format_duration
    from footwork.wording.load_words import BY, how_known, span_name

    with opened() as library:
        found = library.load_by(by.strip().lower(), day(since), day(until))
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out(found)
    say(found.sentence)
    for span in found.spans[::-1]:
        name = span_name(dt.date.fromisoformat(span.first), found.by)
        parts = [_load(span.running, span.runs)]
        if span.activities > span.runs:
            parts.append(f"all sports {_load(span.all_sport, span.activities)}")
        if span.runs:
            parts.append(format_duration(span.duration_s))
            parts.append(format_distance(span.distance_m, imperial))
            parts.append(f"{span.climb_m:.0f} m up, {span.descent_m:.0f} m down")
        say(f"{name:>8}  {'  '.join(parts)}  {how_known(span.to_json())}")
    usual = found.usual_week
    if usual is not None:
        say(
            f"Usual week  {usual.cp_minutes:.0f} CP-minutes of running, half of {usual.weeks} weeks {usual.low:.0f} to "
            f"{usual.high:.0f}; {usual.all_sport:.0f} with all sports."
        )
    for activity in found.activities[:ACTIVITIES_SHOWN]:
        what = f"run {activity.run}" if activity.run is not None else activity.sport
        others = ", ".join(f"{v:.0f} {BY[w]}" for w, v in activity.ways.items() if w != activity.way)
        told = "; ".join([BY.get(activity.way, "not known"), *activity.notes])
        say(
            f"{activity.date}  {what:<10} {format_duration(activity.duration_s):>8}  {_load(activity.load, 1)}  {told}"
            + (f" (else {others})" if others else "")
        )
    for way, of in found.calibrations.items():
        days = f"{of['days']:.0f} days" if of["days"] >= 5 else f"{of['days']:.0f} days, too few: taken as it is"
        say(f"{BY[way].capitalize()}: counted times {of['factor']:.2f}, {of['low']:.2f}–{of['high']:.2f} ({days})")
    return None


def _load(load: Any, count: int) -> str:
    if not count:
        return "no run"
    return "load not known" if load.value is None else f"{load.value:.0f} CP-minutes, {load.low:.0f}–{load.high:.0f}"
