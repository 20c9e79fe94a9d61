"""Facts about the runner and how numbers are shown."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.errors import FootworkError
from footwork.quantities import parse_date
from footwork.web import jobs, watching
from footwork.web.declaration import Page
from footwork.web.forms import Field, command_form, inputs
from footwork.web.layout import heading, page, table, text
from footwork.web.page_words import sentence
from footwork.wording.due_words import long_date

if TYPE_CHECKING:
    from footwork.api import Library

_FACTS = {
    "mass": "Mass, kg",
    "max_heart_rate": "Highest heart rate, bpm",
    "resting_heart_rate": "Resting heart rate, bpm",
    "cycling_critical_power": "Critical power on the bicycle, W",
    "critical_swim_speed": "Critical swim speed, as 1:45 for 100 m",
}


def data(library: Library) -> dict[str, Any]:
    """Shown by the page and its twin."""
    return {"facts": library.athlete.facts(), "units": library.setting("units", "metric"), "scales": library.scales()}


async def show_settings(base: str, library: Library) -> None:
    found = await asyncio.to_thread(data, library)
    given: dict[str, str] = {}
    with page(
        base,
        "Settings",
        "Settings",
        "Facts about you count from the date you give them; watts that were modelled with an older mass are made anew.",
    ):
        heading("About you")
        rows = [
            [
                _FACTS[name].partition(",")[0],
                f"{v['value'] if isinstance(v['value'], str) else format(v['value'], 'g')} {v['unit']}",
                f"from {v['date']}",
            ]
            for name, values in found["facts"].items()
            for v in values
        ]
        if rows:
            table(["fact", "value", ""], rows)
        else:
            text("p", "Nothing is known yet. Mass is what power without a meter needs.")
        fields = [
            Field(name, label, form="text" if name == "critical_swim_speed" else "number")
            for name, label in _FACTS.items()
        ]
        inputs([*fields, Field("date", "From which day, today if empty", form="date")], given)
        status = text("p", "")
        status.props["aria-live"] = "polite"

        async def save(_: Any) -> None:
            try:
                values = {n: given[n].strip().replace(",", ".") for n in _FACTS if given.get(n, "").strip()}
                date = parse_date(given["date"]) if given.get("date", "").strip() else None
                if not values:
                    status.set_text("Nothing to save: fill in a value.")
                    return
                status.set_text("Saving…")
                options = [o for n, v in values.items() for o in (f"--{n.replace('_', '-')}", v)]
                problem, _ = await jobs.run_command(
                    library.folder, "athlete", *options, *(["--date", date.isoformat()] if date else [])
                )
                if problem:
                    status.set_text(sentence(problem))
                    return
            except FootworkError as error:
                status.set_text(sentence(str(error)))
                return
            ui.navigate.to(f"{base}/settings")

        text("button", "Save", "fw").on("click", save)
        heading("Units")
        with ui.element("div").classes("row-of"):
            for unit in ("metric", "imperial"):
                button = text("button", f"Show {unit}", "fw on" if unit == found["units"] else "fw")

                async def choose(_: Any, unit: str = unit) -> None:
                    try:
                        await asyncio.to_thread(library.set_setting, "units", unit)
                    except FootworkError as error:
                        status.set_text(sentence(str(error)))
                        return
                    ui.navigate.to(f"{base}/settings")

                button.on("click", choose)
        if not jobs.open_to_others:
            _watched(base, library)
        _coach(base, library)
        heading("Which device's watts")
        text("p", "Each device has a scale of its own; the physics model is one too.", "soft")
        table(["scale"], [[name] for name in found["scales"].values()], two_line=False)


def _watched(base: str, library: Library) -> None:
    """The folder whose new recordings come in by themselves."""
    heading("A folder to watch")
    now = library.setting("watched")
    told = f"New recordings in {now} come in by themselves while these pages are served. " if now else ""
    text("p", f"{told}{watching.said.get(library.folder, '')}".strip() or "None is watched.", "soft")
    given: dict[str, str] = {}
    inputs((Field("watched", "Folder of this machine, such as a mounted watch or a synchronised folder"),), given)
    with ui.element("div").classes("row-of"):
        buttons = [("Watch it", lambda: given.get("watched", "").strip()), *([("Watch none", str)] if now else [])]
        status = text("span", "", "soft")
        for label, which in buttons:

            async def press(_: Any, which: Any = which, label: str = label) -> None:
                if label == "Watch it" and not which():
                    status.set_text("Name a folder first.")
                    return
                try:
                    await asyncio.to_thread(library.set_setting, "watched", which())
                except FootworkError as error:
                    status.set_text(sentence(str(error)))
                    return
                ui.navigate.to(f"{base}/settings")

            text("button", label, "fw").on("click", press)
        status.props["aria-live"] = "polite"


def _coach(base: str, library: Library) -> None:
    """What a coach sees of this library in a squad."""
    heading("What a coach sees")
    found = library.sharing()
    if library.for_coach:
        text("p", "What is shared is the runner's to say, with their own pages or footwork privacy.", "soft")
        return
    if found.consent is None:
        text("p", "No consent is written down. A squad shows of the diary only “not now”.", "soft")
        note_field = Field("note", "How you consent to a coach reading this library, as: by mail")
        command_form(library, ["privacy", "consent"], (note_field,), "I consent", f"{base}/settings", bare=True)
        return
    given = f"Consent of {long_date(found.consent)} {found.consent.year}{': ' if found.note else ''}{found.note}. "
    text("p", given + ("Diary and health are shared." if found.diary else "Diary and health are not shared."))
    label, word = ("Keep the diary to myself", "off") if found.diary else ("Share diary and health", "on")
    command_form(library, ["privacy", "diary"], (), label, f"{base}/settings", fixed=[word], bare=True)
    command_form(
        library, ["privacy", "consent"], (), "Withdraw consent", f"{base}/settings", fixed=["--withdraw"], bare=True
    )


PAGES = (Page("/settings", show_settings, data, nav="Settings", place=12),)
