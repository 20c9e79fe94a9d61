"""The diary of days and runs."""

from __future__ import annotations

import asyncio
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nicegui import events, ui

from footwork.web import jobs
from footwork.web.declaration import Page
from footwork.web.forms import Field, command_form, inputs
from footwork.web.layout import heading, note, page, table, text
from footwork.web.page_words import sentence
from footwork.wording.cautions import held_back

if TYPE_CHECKING:
    from footwork.api import Library

CSV_COLUMNS = "date=date; sleep=sleep; resting_heart_rate=resting_heart_rate"
THREE = (
    Field("sleep", "How long did you sleep? Hours", "--sleep", form="number"),
    Field("resting_heart_rate", "Resting heart rate? bpm", "--resting-heart-rate", form="number"),
    Field("soreness", "How sore are you? 0 to 10", "--soreness", form="number"),
)
DAY_FIELDS = (
    Field("date", "Day, today if empty", "--date", form="date"),
    Field("sleep", "Sleep, hours", "--sleep", form="number"),
    Field("resting_heart_rate", "Resting heart rate, bpm", "--resting-heart-rate", form="number"),
    Field("soreness", "Soreness, 0 to 10", "--soreness", form="number"),
    Field("overnight_hrv", "Heart rate variability of the night, ms", "--overnight-hrv", form="number"),
    Field("illness", "Illness", "--illness"),
    Field("injury", "Injury", "--injury"),
    Field("note", "Note", "--note"),
)


BEGINS_OVER = (("", "—"), ("begins", "begins"), ("over", "is over"))
CONTEXT_FIELDS = (
    Field("date", "Day, today if empty", "--date", form="date"),
    Field("period", "Period", "--period", choices=(("", "—"), ("begins", "begins"))),
    Field("pregnancy", "Pregnancy", "--pregnancy", choices=BEGINS_OVER),
    Field("heart_medication", "Medicine for the heart", "--heart-medication", choices=BEGINS_OVER),
)


def data(library: Library) -> list[dict[str, Any]]:
    """Shown by the page and its twin."""
    found: list[dict[str, Any]] = library.diary()
    return found


def words(row: dict[str, Any]) -> str:
    """What the diary says of one day or run."""
    files = row.get("from_file", [])
    return "; ".join(
        f"{n.replace('_', ' ')} {v if isinstance(v, str) else f'{v:g}'}{' (from file)' if n in files else ''}"
        for n, v in row.items()
        if n not in ("date", "run", "from_file")
    )


async def show_diary(base: str, library: Library, tell: str = "") -> None:
    found = await asyncio.to_thread(data, library)
    lede = (
        f"{len(found)} {'entry' if len(found) == 1 else 'entries'}. Exertion belongs to a run: write it on the run's "
        "page under Correct and describe."
        if found
        else "Nothing is written yet. How you slept and felt explains more of a heart rate than any formula."
    )
    if library.diary_withheld:
        with page(base, "How it felt", "How it felt", "This runner does not share the diary."):
            return
    with page(base, "How it felt", "How it felt", lede):
        heading("Today in three answers")
        command_form(library, ["diary"], THREE, "Keep these three", f"{base}/diary", prefix="today-")
        heading("Write about any day")
        command_form(library, ["diary"], DAY_FIELDS, "Write", f"{base}/diary")
        with ui.element("details"):
            text("summary", "What moves your heart rate, only if you want to tell it")
            text(
                "p",
                "The signs take the second part of a cycle off. With pregnancy or medicine that acts on the heart no "
                "maximal test is proposed and heart rates to aim for are left out; your physician says what suits. "
                "It is named here, among your edits and in a full export; no other page or paper says why.",
                "soft",
            )
            command_form(library, ["diary"], CONTEXT_FIELDS, "Keep it", f"{base}/diary", prefix="context-")
        _from_csv(base, library)
        if tell in {f.name for f in DAY_FIELDS}:
            ui.run_javascript(f"document.querySelector('[name={tell}]')?.focus()")
        health = library.health()
        if caution := held_back(health):
            note(caution, base, "cautions")
            if health is not None and health.state != "returning":
                _well(base, library)
        if found:
            heading("Written so far")
            table(
                ["day", "about", "what"],
                [
                    [r["date"], (f"run {r['run']}", f"{base}/runs/{r['run']}") if r["run"] else "the day", words(r)]
                    for r in found[:400]
                ],
            )
            text("p", "A mistake is taken back on the Library page, under Edits.", "soft")


def _from_csv(base: str, library: Library) -> None:
    """Many days from a table: which column is what, then the file."""
    columns: dict[str, Any] = {}
    with ui.element("details"):
        text("summary", "Many days from a CSV file")
        text("p", "FIT files with resting heart rate, sleep or variability are dropped on This week.", "soft")
        inputs((Field("columns", f"Columns, as {CSV_COLUMNS}"),), columns, "csv-")
        said = text("p", "")
        said.props["aria-live"] = "polite"

        async def received(event: events.UploadEventArguments) -> None:
            told = columns.get("columns") or CSV_COLUMNS
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / jobs.safe_name(event.file.name, 0)
                await event.file.save(path)
                problem, made = await jobs.run_command(library.folder, "diary", f"--csv={path}", f"--columns={told}")
            said.set_text(sentence(problem) if problem else f"{made['new']} new values.")

        with ui.element("div").classes("upload"):
            ui.upload(label="Drop a CSV file here", auto_upload=True, on_upload=received).props(
                'flat bordered color="transparent" text-color="inherit"'
            )


def _well(base: str, library: Library) -> None:
    """The answer to whether it still holds."""
    button = text("button", "I am well again", "fw")

    async def press(_: Any) -> None:
        await asyncio.to_thread(lambda: library.tell(well="again"))
        ui.navigate.to(f"{base}/diary")

    button.on("click", press)


PAGES = (Page("/diary", show_diary, data, nav="How it felt", place=10),)
