"""Efforts of a run on its page: found without laps, corrected by hand, and W′ along the way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.errors import FootworkError
from footwork.quantities import format_duration, format_pace
from footwork.web.declaration import Page
from footwork.web.forms import Field, command_form
from footwork.web.layout import folded, heading, link, method_link, note, table, text, whole_number
from footwork.wording.run_titles import division, not_sure

if TYPE_CHECKING:
    from footwork.api import Library


def data(library: Library, run_id: str, signal: str = "") -> dict[str, Any]:
    """Efforts and W′ balance of a run, for the twin; ``balance`` is None where it is not known, ``looks_like`` where it
    looks like no test or race."""
    number = whole_number(run_id)
    found = library.efforts(number, signal or None)
    try:
        balance = library.balance(number)
    except FootworkError:
        balance = None
    return {
        "efforts": found,
        "otherwise": library.efforts_otherwise(number, signal or None),
        "balance": balance,
        "looks_like": library.recognised(number),
    }


def section(
    base: str,
    library: Library,
    run_id: int,
    imperial: bool,
    made: dict[str, Any],
    spans: Sequence[tuple[float, float]] = (),
) -> None:
    """The part of the run page, of ``efforts``, ``otherwise``, ``looks`` and ``trials`` in what was worked out for it;
    ``spans`` are where the efforts lie on the axis of its panes."""
    heading("Efforts")
    found = made["efforts"]
    if not found:
        text("p", "There is no power, speed or heart rate to find efforts in.", "soft")
        return
    if len(found) == 1:
        text("p", "None stands out: it was run evenly.", "soft")
    if len(found) > 1:
        table(
            ["what", "from", "lasts", "stood", "power", "pace", "heart rate", "slope"],
            [
                [
                    e["kind"].capitalize()
                    + (f", {e['group']}" if e["group"] else "")
                    + ("" if e["sure"] else ", not sure"),
                    format_duration(e["start_s"]),
                    format_duration(e["end_s"] - e["start_s"]),
                    format_duration(e["standing_s"]) if e["standing_s"] >= 5 else "",
                    f"{e['power']:.0f} W" if e["power"] is not None else "",
                    format_pace(e["speed"], imperial) if e["speed"] and e["speed"] > 0.5 else "",
                    f"{e['heart_rate']:.0f} bpm" if e["heart_rate"] is not None else "",
                    f"{100 * e['grade']:+.1f} %" if e["grade"] is not None else "",
                ]
                for e in found
            ],
            labelled=True,
            spans=spans if len(spans) == len(found) else (),
        )
    otherwise = made["otherwise"]
    if otherwise:
        text("p", not_sure(found, otherwise), "soft")
    looks = made["looks"]
    if looks is not None:
        note(looks["sentence"], base, "efforts")
    with ui.element("div").classes("row-of").style("margin-top:12px"):
        link("Hold this run against a session", f"{base}/runs/{run_id}/session")
        link("Heart rate along this run", f"{base}/runs/{run_id}/drift")
        method_link(base, "efforts", "How efforts are found")
    for trial in made["trials"]:
        if any(j["run"] == run_id for j in trial["joined"]):
            with ui.element("p"):
                link(
                    f"It was run for trial {trial['id']}, {', '.join(trial['conditions'][1:])}",
                    f"{base}/trials/{trial['id']}",
                )
    with folded("Divide it otherwise"):
        text("p", f"As it is: {division(found)}", "soft")
        if otherwise:
            text("p", f"As it may also be: {division(otherwise)}", "soft")
        command_form(
            library,
            ["efforts", str(run_id)],
            [Field("correct", "Each part's beginning and kind, comma between", "--correct")],
            "Keep this division",
            f"{base}/runs/{run_id}",
            needed=["correct"],
        )


PAGES = (Page("/runs/{run_id}/efforts", None, data),)  # the efforts stand on the run's page
