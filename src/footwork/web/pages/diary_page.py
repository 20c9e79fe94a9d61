"""The diary of days and runs."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.web.declaration import Page
from footwork.web.forms import Field, command_form
from footwork.web.layout import heading, note, page, table, text
from footwork.wording.cautions import held_back

if TYPE_CHECKING:
    from footwork.api import Library

DAY_FIELDS = (
    Field("date", "Day, today if empty", "--date", form="date"),
    Field("sleep", "Sleep, hours", "--sleep", form="number"),
    Field("resting_heart_rate", "Resting heart rate, bpm", "--resting-heart-rate", form="number"),
    Field("soreness", "Soreness, 0 to 10", "--soreness", form="number"),
    Field("illness", "Illness", "--illness"),
    Field("injury", "Injury", "--injury"),
    Field("note", "Note", "--note"),
)


def data(library: Library) -> list[dict[str, Any]]:
    """Shown by the page and its twin."""
    found: list[dict[str, Any]] = library.diary()
    return found


def words(row: dict[str, Any]) -> str:
    """What the diary says of one day or run."""
    return "; ".join(
        f"{n.replace('_', ' ')} {v if isinstance(v, str) else f'{v:g}'}"
        for n, v in row.items()
        if n not in ("date", "run")
    )


async def show_diary(base: str, library: Library, tell: str = "") -> None:
    found = await asyncio.to_thread(data, library)
    lede = (
        f"{len(found)} {'entry' if len(found) == 1 else 'entries'}. Exertion belongs to a run: write it on the run's "
        "page under Correct and describe."
        if found
        else "Nothing is written yet. How you slept and felt explains more of a heart rate than any formula."
    )
    with page(base, "How it felt", "How it felt", lede):
        heading("Write about a day")
        command_form(library, ["diary"], DAY_FIELDS, "Write", f"{base}/diary")
        if tell in {f.name for f in DAY_FIELDS}:
            ui.run_javascript(f"document.querySelector('[name={tell}]')?.focus()")
        if caution := held_back(library.health()):
            note(caution, base, "cautions")
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


def _well(base: str, library: Library) -> None:
    """The answer to whether it still holds."""
    button = text("button", "I am well again", "fw")

    async def press(_: Any) -> None:
        await asyncio.to_thread(lambda: library.tell(well="again"))
        ui.navigate.to(f"{base}/diary")

    button.on("click", press)


PAGES = (Page("/diary", show_diary, data, nav="How it felt", place=10),)
