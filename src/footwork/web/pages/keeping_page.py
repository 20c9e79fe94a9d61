"""The library as a whole: edits, backup, restore, check-up, export, private places, other sports."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.quantities import format_duration
from footwork.web import jobs
from footwork.web.declaration import Page
from footwork.web.forms import Field, command_form
from footwork.web.layout import heading, link, page, table, text
from footwork.web.pages.handover_part import hand_over_part

if TYPE_CHECKING:
    from footwork.api import Library

MOST_EDITS = 20


def data(library: Library) -> dict[str, Any]:
    """Shown by the page and its twin."""
    return {
        "folder": str(library.folder),
        "originals": len(library.known_files()),
        "edits": library.edits(),
        "places": places_of(library),
        "other_sports": library.activities(),
    }


def places_of(library: Library) -> list[dict[str, Any]]:
    """Private places; where others look, by their names only."""
    found = library.places()
    return [{"name": p["name"]} for p in found] if jobs.open_to_others or library.for_coach else found


def edits_table(base: str, library: Library, edits: list[dict[str, Any]], back: str) -> None:
    """Edits, each with a button that takes it back."""
    with ui.element("table").classes("t"), ui.element("tbody"):
        for e in edits:
            with ui.element("tr"):
                with ui.element("td"):
                    if e["run"] is None:
                        text("span", str(e["date"]))
                    else:
                        link(f"run {e['run']}", f"{base}/runs/{e['run']}")
                text("td", e["sentence"], "left")
                with ui.element("td"):
                    if e["kind"] == "privacy" and library.for_coach:
                        continue
                    command_form(library, ["edit", "undo"], (), "Undo", back, fixed=[str(e["id"])])


def checked(result: dict[str, Any]) -> str:
    """A check-up in one sentence."""
    mended = f" Rebuilt: {'; '.join(result['repaired'])}." if result["repaired"] else ""
    if result["problems"]:
        return f"{len(result['problems'])} wrong: {'; '.join(result['problems'][:5])}.{mended}"
    return f"All is sound: {'; '.join(c['name'] + ' ' + c['found'] for c in result['checks'])}.{mended}"


def _damaged(result: dict[str, Any]) -> str:
    """What is not in an answer, since it is damaged here."""
    names = result["damaged"]
    more = f" and {len(names) - 5} more" if len(names) > 5 else ""
    return f" Without {', '.join(names[:5])}{more}: damaged here. Add those files again." if names else ""


async def show_keeping(base: str, library: Library) -> None:
    here = f"{base}/library"
    found = await asyncio.to_thread(data, library)
    home = Path.home()
    with page(
        base,
        "Library",
        "Library",
        f"{found['originals']} original files in {found['folder']}. They are kept until you delete them "
        "for ever; all else follows from them and from what you said.",
        columns=True,
    ):
        heading("Back up")
        text(
            "p",
            "One file with everything that cannot be rebuilt. It is read back and compared before it counts.",
            "soft",
        )
        command_form(
            library,
            ["backup"],
            (Field("file", f"New file, as {home}/footwork.zip"),),
            "Back up",
            lambda r: f"Written and verified: {r['originals']} originals, {r['bytes'] / 1e6:.1f} MB.{_damaged(r)}",
            needed=["file"],
            prefix="backup-",
        )
        heading("Restore")
        text(
            "p",
            "Makes a new library from a backup and leaves this one alone. Serve it afterwards with its folder.",
            "soft",
        )
        command_form(
            library,
            ["restore"],
            (Field("file", "Backup file"), Field("into", f"New folder, as {home}/Restored", "--into")),
            "Restore",
            lambda r: f"Restored {r['runs']} runs into {r['library']}.{_damaged(r)}",
            needed=["file", "into"],
            prefix="restore-",
        )
        heading("Check-up")
        text("p", "Looks at both databases, every original, all results and signals.", "soft")
        command_form(library, ["check-up"], (), "Check", checked)
        command_form(
            library,
            ["check-up"],
            (Field("copies", "Folder or backup with intact copies, for damaged originals"),),
            "Check and mend what can be",
            checked,
            fixed=["--repair"],
            prefix="repair-",
            bare=True,
        )
        heading("Export everything")
        text(
            "p",
            "A list, signals, facts, edits and originals in open formats; positions around private "
            "places are left out.",
            "soft",
        )
        command_form(
            library,
            ["export"],
            (Field("out", f"New folder, as {home}/footwork-export", "--out"),),
            "Export",
            lambda r: (
                f"Written: {r['runs']} runs, {r['signals']} recordings, {r['originals']} originals"
                + (
                    f", {r['originals_left_out']} originals left out because of your private places."
                    if r["originals_left_out"]
                    else "."
                )
                + _damaged(r)
            ),
            needed=["out"],
            fixed=["--all"],
            prefix="export-",
        )
        text(
            "p",
            "Or without names, notes, diary, places and originals, and with dates moved by weeks that nobody knows.",
            "soft",
        )
        command_form(
            library,
            ["export"],
            (Field("out", f"New folder, as {home}/for-research", "--out"),),
            "Export anonymously",
            lambda r: f"Written: {r['runs']} runs and {r['signals']} recordings.{_damaged(r)}",
            needed=["out"],
            fixed=["--all", "--anonymous"],
            prefix="anonymous-",
        )
        hand_over_part(library, here)
        heading("Weather for many runs")
        text(
            "p",
            "A table, or METAR lines that begin with a date; each run takes the report nearest in time and place.",
            "soft",
        )
        command_form(
            library,
            ["weather"],
            (Field("file", f"File, as {home}/weather.csv", "--file"),),
            "Read the weather",
            lambda r: f"{r['reports']} reports read; {len(r['runs'])} runs got their weather.",
            needed=["file"],
            prefix="weather-",
        )
        heading("Private places")
        for place in found["places"]:
            with ui.element("div").classes("row-of"):
                where = (
                    f": {place['radius_m']:.0f} m around {place['latitude']:.4f}, {place['longitude']:.4f}"
                    if "radius_m" in place
                    else ", which only the runner sees"
                )
                text("span", place["name"] + where)
                command_form(
                    library, ["places"], (), f"Forget {place['name']}", here, fixed=[f"--remove={place['name']}"]
                )
        if not found["places"]:
            text("p", "None: exports hold all positions.", "soft")
        command_form(
            library,
            ["places"],
            (
                Field("add", "Latitude,longitude as 46.2130,-21.7340", "--add"),
                Field("name", "Name, as home", "--name"),
                Field("radius", "Radius, m (300)", "--radius"),
            ),
            "Keep it private",
            here,
            needed=["add", "name"],
            prefix="place-",
        )
        heading("Edits")
        if found["edits"]:
            text(
                "p",
                f"The last {min(len(found['edits']), MOST_EDITS)} of {len(found['edits'])}; each can be undone.",
                "soft",
            )
            edits_table(base, library, found["edits"][:MOST_EDITS], here)
        else:
            text("p", "Nothing was marked, corrected or written yet.", "soft")
        if found["other_sports"]:
            heading("Other sports")
            table(
                ["start", "sport", "time", "work", "heart rate"],
                [
                    [
                        r["start"][:16].replace("T", " "),
                        r["sport"],
                        format_duration(r["duration_s"]),
                        f"{r['work_j'] / 1000:.0f} kJ" if r["work_j"] else "no power",
                        f"{r['heart_rate_bpm']:.0f} bpm" if r["heart_rate_bpm"] else "none",
                    ]
                    for r in found["other_sports"][:200]
                ],
            )
            text("p", "They are kept for their load; their watts are not running watts.", "soft")


PAGES = (Page("/library", show_keeping, data, nav="Library", place=11),)
