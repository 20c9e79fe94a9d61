"""What the runner says about one run: surface, shoe, exertion, weather, laps; corrections; delete; and every edit so
far."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.history.log.entries import SURFACES as GROUNDS
from footwork.quantities import format_duration
from footwork.web import jobs
from footwork.web.declaration import Page
from footwork.web.forms import Field, command_form
from footwork.web.layout import heading, link, page, text, whole_number
from footwork.web.page_words import sentence
from footwork.web.pages.keeping_page import edits_table

if TYPE_CHECKING:
    from footwork.api import Library

SPAN = (Field("from", "From, elapsed time as 12:30", "--from"), Field("to", "To", "--to"))
SURFACES = (("", "not said"), *((n, n) for n in GROUNDS))
SIGNALS = (
    ("", "everything"),
    ("power", "power"),
    ("heart_rate", "heart rate"),
    ("speed", "speed"),
    ("cadence", "cadence"),
)


def data(library: Library, run_id: str) -> list[dict[str, Any]]:
    """Edits of the run, the newest first; shown by the page and its twin."""
    found: list[dict[str, Any]] = library.edits(whole_number(run_id))
    if not found:
        library.run(int(run_id))
    return found


async def show_correct(base: str, library: Library, run_id: str) -> None:
    edits = await asyncio.to_thread(data, library, run_id)
    row = (await asyncio.to_thread(library.run, int(run_id))).row
    run, here = str(row.id), f"{base}/runs/{row.id}/edit"
    with page(
        base,
        "Runs",
        f"Correct and describe run {run}",
        f"{row.local:%A} {row.local.day} {row.local:%B %Y}, {row.local:%H:%M}; it lasts "
        f"{format_duration(row.elapsed_s)}. Everything here can be undone below, but deleting for ever.",
        columns=True,
    ):
        link("Back to the run", f"{base}/runs/{run}", "button")
        heading("How it was")
        command_form(
            library,
            ["diary", run],
            (Field("exertion", "Exertion, 0 to 10", "--exertion"), Field("note", "Note", "--note")),
            "Write",
            here,
            prefix="diary-",
        )
        heading("Surface and shoe")
        command_form(
            library,
            ["mark", run],
            (Field("surface", "Surface", "--surface", SURFACES), Field("shoe", "Shoe", "--shoe")),
            "Keep them",
            here,
        )
        command_form(
            library,
            ["mark", run],
            (Field("incline", "On a treadmill, incline in percent", "--incline"),),
            "Mark as treadmill",
            here,
            fixed=["--as=treadmill"],
            bare=True,
        )
        heading("Weather")
        text("p", "Usual watts take it into account. Wind is that at 10 m, as weather stations report it.", "soft")
        command_form(
            library,
            ["weather", run],
            (
                Field("temperature", "Temperature, °C", "--temperature"),
                Field("humidity", "Humidity, %", "--humidity"),
                Field("wind", "Wind as 5@240: m/s, degrees it comes from", "--wind"),
                Field("metar", "or a METAR line", "--metar"),
            ),
            "Keep the weather",
            here,
        )
        if row.recording_id is not None:
            _corrections(base, library, run, here)
            _pair(library, run, here)
        heading("Delete")
        text("p", "Hidden everywhere until it is undone; its file stays.", "soft")
        command_form(library, ["edit", "delete"], (), "Delete this run", f"{base}/runs", fixed=[run])
        _forever(base, library, row.id)
        heading("Edits of this run")
        if edits:
            edits_table(base, library, edits, here)
        else:
            text("p", "None yet.", "soft")


def _corrections(base: str, library: Library, run: str, here: str) -> None:
    heading("Lap by hand")
    command_form(library, ["edit", "lap", run], SPAN, "Add the lap", here, needed=["from", "to"], prefix="lap-")
    heading("Distance")
    text("p", "The whole way as measured; speed and modelled power follow, a sensor's watts do not.", "soft")
    command_form(
        library,
        ["edit", "distance", run],
        (Field("metres", "True distance, as 10km"),),
        "Correct",
        here,
        needed=["metres"],
    )
    heading("Keep only a part")
    command_form(library, ["edit", "trim", run], SPAN, "Trim", here, prefix="trim-")
    heading("Leave out of every analysis")
    text("p", "Seconds, one signal of them, or with empty fields the whole run. It stays listed.", "soft")
    command_form(
        library,
        ["edit", "exclude", run],
        (*SPAN, Field("signal", "What", "--signal", SIGNALS)),
        "Leave out",
        here,
        prefix="out-",
        bare=True,
    )
    heading("Split or merge")
    command_form(
        library,
        ["edit", "split", run],
        (Field("at", "Split at, elapsed time as 30:00", "--at"),),
        "Split",
        here,
        needed=["at"],
    )
    command_form(
        library,
        ["edit", "merge", run],
        (Field("other", "Merge with run number"),),
        "Merge",
        f"{base}/runs",
        needed=["other"],
    )


def _pair(library: Library, run: str, here: str) -> None:
    heading("The same run by a second device")
    text("p", "Recordings that overlap in time pair by themselves; here where a clock was hours off.", "soft")
    command_form(
        library,
        ["edit", "pair", run],
        (Field("other", "Its run number there"),),
        "Pair",
        here,
        needed=["other"],
        prefix="pair-",
    )


def _forever(base: str, library: Library, run_id: int) -> None:
    """Two presses: the second says what goes."""
    also = [r for r in library.bound_to(run_id) if r != run_id]
    more = f" Its file also holds run {', '.join(map(str, also))}, which goes with it." if also else ""
    with ui.element("div").classes("row-of"):
        asked = text("button", "Delete for ever…", "fw")
        question = text("span", f"Removes the original file and all that was said; it cannot be undone.{more}", "soft")
        sure = text("button", f"Yes, remove run {run_id} for ever", "fw on")
        status = text("span", "", "soft")
    question.set_visibility(False)
    sure.set_visibility(False)

    def ask(_: Any) -> None:
        question.set_visibility(True)
        sure.set_visibility(True)

    async def remove(_: Any) -> None:
        problem, _result = await jobs.run_command(library.folder, "edit", "delete", str(run_id), "--forever", "--yes")
        if problem:
            status.set_text(sentence(problem))
        else:
            ui.navigate.to(f"{base}/runs")

    asked.on("click", ask)
    sure.on("click", remove)


PAGES = (Page("/runs/{run_id}/edit", show_correct, data),)
