"""Load: bars by day, week or month with the usual week, and how each number came about."""

from __future__ import annotations

import asyncio
import datetime as dt
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.charts.load_picture import load_bars
from footwork.errors import FootworkError
from footwork.quantities import Estimate, format_distance, format_duration, parse_date
from footwork.questions.runs import run_titles
from footwork.web.declaration import Page
from footwork.web.drawing import show_picture
from footwork.web.forms import unfolded
from footwork.web.layout import heading, link, method_link, page, table, text, whisker
from footwork.web.page_words import sentence
from footwork.wording.load_words import BY, how_known, span_name

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.loads import LoadBySpan, LoadResponse

SPANS_SHOWN, ACTIVITIES_SHOWN = 8, 12


def data(library: Library, by: str = "week", since: str = "", until: str = "") -> LoadBySpan:
    """Shown by the page and its twin. Raises UsageError for another span or no date."""
    found: LoadBySpan = library.load_by(by, parse_date(since) if since else None, parse_date(until) if until else None)
    return found


async def show_load(base: str, library: Library, by: str = "week", since: str = "", until: str = "") -> None:
    try:
        found = await asyncio.to_thread(data, library, by, since, until)
    except FootworkError as error:
        with page(base, "Load", "Load", sentence(str(error))):
            link("By week", f"{base}/load", "button")
        return
    with page(base, "Load", "Load", found.sentence or "Nothing was recorded yet."):
        with ui.element("div").classes("row-of on-screen"):
            for span in ("day", "week", "month"):
                button = link(f"By {span}", f"{base}/load?by={span}", "button")
                if span == by:
                    button.props["aria-current"] = "true"
        if not found.activities:
            text("p", "No activity in this span.", "soft")
            return
        _picture(base, found)
        heading(f"By {by}")
        _spans(found, library.setting("units") == "imperial")
        heading("What it is made of")
        await _activities(base, library, found)
        _calibrations(base, found)
        unfolded("How your critical power follows load", library.response, lambda answer: _response(base, answer))


def _picture(base: str, found: LoadBySpan) -> None:
    told = f"Load by {found.by}"
    plain = [s.to_json() for s in found.spans]
    usual = found.usual_week
    band = (usual.low, usual.high) if usual else None
    with ui.element("div").classes("wide-only"):
        show_picture(load_bars(plain, band, found.by), told)
    with ui.element("div").classes("narrow-only"):
        show_picture(load_bars(plain[-8:], band, found.by, narrow=True), told)
    with ui.element("div").classes("key"):
        for kind, label in (("running", "running"), ("others", "other sports"), ("usual", "a usual week")):
            if kind != "usual" or (usual and found.by == "week"):
                with ui.element("span"):
                    ui.html(f'<i class="{kind}"></i>', sanitize=False, tag="span")
                    text("span", label)
        text("span", "stroke: 95 of 100 such numbers lie within")
    if usual:
        text(
            "p",
            f"A usual week is {usual.cp_minutes:.0f} CP-minutes of running, the middle of {usual.weeks} weeks that "
            f"were neither ill nor short; half of them lie between {usual.low:.0f} and {usual.high:.0f}.",
            "soft",
        )
    else:
        text("p", "A usual week is told once three of the eight weeks before hold runs.", "soft")
    with ui.element("p"):
        method_link(base, "load", "How load is counted")


def _spans(found: LoadBySpan, imperial: bool) -> None:
    table(
        [
            found.by,
            "CP-minutes of running",
            "with other sports",
            "running time",
            "distance",
            "climb",
            "how it is known",
        ],
        [
            [
                *(
                    cell.replace(" ", "\u00a0")
                    for cell in (
                        span_name(dt.date.fromisoformat(s.first), found.by),
                        _load(s.running, s.runs),
                        _load(s.all_sport, s.activities) if s.activities > s.runs else "",
                        format_duration(s.duration_s) if s.runs else "",
                        format_distance(s.distance_m, imperial) if s.distance_m else "",
                        f"{s.climb_m:.0f} m up, {s.descent_m:.0f} down" if s.climb_m or s.descent_m else "",
                    )
                ),
                how_known(s.to_json()),
            ]
            for s in found.spans[::-1][:SPANS_SHOWN]
        ],
        labelled=True,
    )


def _load(load: Estimate, count: int) -> str:
    if not count:
        return "none"
    return "not known" if load.value is None else f"{load.value:.0f}, {load.low:.0f}–{load.high:.0f}"


async def _activities(base: str, library: Library, found: LoadBySpan) -> None:
    shown = found.activities[:ACTIVITIES_SHOWN]
    rows = {r.id: r for r in library.runs()}
    wanted = [rows[a.run] for a in shown if a.run is not None and a.run in rows]
    titles = await asyncio.to_thread(run_titles, library, wanted, ACTIVITIES_SHOWN)

    def what(activity: Any) -> Any:
        if activity.run is None:
            return activity.sport.capitalize()
        return (titles.get(activity.run) or f"Run {activity.run}", f"{base}/runs/{activity.run}")

    table(
        ["day", "what", "time", "load", "known", "other ways say"],
        [
            [
                a.date,
                what(a),
                format_duration(a.duration_s),
                _load(a.load, 1),
                "; ".join([BY.get(a.way, "not known"), *a.notes]),
                ", ".join(f"{load:.0f} {BY[way]}" for way, load in a.ways.items() if way != a.way),
            ]
            for a in shown
        ],
        labelled=True,
    )


def _response(base: str, found: LoadResponse) -> None:
    whisker(base, "A fifth more load for eight weeks", "more_load", found.more_load, digits=1, unit="%")
    text("p", found.sentence)
    text("p", found.would_tell, "soft")


def _calibrations(base: str, found: LoadBySpan) -> None:
    if not found.calibrations:
        return
    heading("How each way reads on your own days")
    table(
        ["way", "days that tell", "counted times"],
        [
            [
                BY[way].removeprefix("by ").capitalize(),
                f"{of['days']:.0f}" if of["days"] >= 5 else f"{of['days']:.0f}: too few, taken as it is",
                f"{of['factor']:.2f}, {of['low']:.2f}–{of['high']:.2f}",
            ]
            for way, of in found.calibrations.items()
        ],
        labelled=True,
    )
    text(
        "p",
        "Each way is held against the better one on days that have both. Running and all sports stay two sums: what "
        "hurts legs is running. No weekly percentage is known to be safe.",
        "soft",
    )


def response_data(library: Library) -> LoadResponse:
    """Shown on the page where it is unfolded."""
    found: LoadResponse = library.response()
    return found


PAGES = (Page("/load", show_load, data, nav="Load", place=6), Page("/response", None, response_data))
