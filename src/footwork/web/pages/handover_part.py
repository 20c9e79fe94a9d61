"""Hand over and receive, on the Library page. A passphrase stays in this process: it is no word of a command."""

from __future__ import annotations

import asyncio
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nicegui import events, ui

from footwork.errors import FootworkError
from footwork.maintenance import encryption, handover
from footwork.reports import letter
from footwork.web.layout import heading, text
from footwork.web.page_words import sentence

if TYPE_CHECKING:
    from footwork.api import Library

CHOICES = (
    ("plan", "The plan: sessions, season, comments, trials"),
    ("report", "The report on this week"),
    ("zones", "The numbers"),
    ("whole", "The whole library"),
    ("with_location", "With positions near private places (of the whole library)"),
    ("with_diary", "With the diary (of the whole library)"),
)


def hand_over_part(library: Library, then: str) -> None:
    """Two forms: what is handed over as one encrypted file, and what such a file would change here."""
    heading("Hand over")
    text(
        "p",
        "One encrypted file of what you choose, for the other side: by mail, shared folder or stick. Give the "
        "passphrase another way; without it nobody can read the file.",
        "soft",
    )
    chosen: dict[str, bool] = {}
    words: dict[str, str] = {}
    for key, label in CHOICES[:-1] if library.diary_withheld else CHOICES:
        with ui.element("label").classes("row-of"):
            box = ui.element("input").props(f"type=checkbox name=hand-{key}")
            box.on(
                "change",
                lambda e, k=key: chosen.update({k: bool(e.args["on"])}),
                js_handler="(e) => emit({on: e.target.checked})",
            )
            text("span", label)
    _passphrase(words, "hand")

    async def give(_: Any) -> None:
        told.set_text("Working…")
        try:
            content, damaged = await asyncio.to_thread(_made, library, dict(chosen), words.get("hand", ""))
        except FootworkError as error:
            told.set_text(sentence(str(error)))
            return
        told.set_text(f"Written, without {', '.join(damaged)}, which are damaged here." if damaged else "Written.")
        ui.download.content(content, "hand-over.age")

    with ui.element("div").classes("row-of"):
        text("button", "Make the file", "fw").on("click", give)
        told = text("span", "", "soft")
        told.props["aria-live"] = "polite"
    _receiving(library, then)


def _made(library: Library, chosen: dict[str, bool], passphrase: str) -> tuple[bytes, list[str]]:
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "hand-over.age"
        papers = letter.papers(library, chosen.get("report", False), chosen.get("zones", False))
        diary = chosen.get("with_diary", False) and not library.diary_withheld
        plan, whole = chosen.get("plan", False), chosen.get("whole", False)
        made = handover.hand_over(
            library, path, passphrase, papers, plan, whole, diary, chosen.get("with_location", False)
        )
        return path.read_bytes(), made["damaged"]


def _receiving(library: Library, then: str) -> None:
    heading("Receive")
    text("p", "What was handed over is shown first, entry by entry, and taken when you say so.", "soft")
    state: dict[str, Any] = {"content": b"", "name": ""}
    words: dict[str, str] = {}

    async def received(event: events.UploadEventArguments) -> None:
        state.update(content=await event.file.read(), name=event.file.name)
        told.set_text(f"{event.file.name} is here.")

    with ui.element("div").classes("upload"):
        ui.upload(label="Drop the file here", auto_upload=True, on_upload=received).props(
            'flat bordered color="transparent" text-color="inherit"'
        )
    _passphrase(words, "receive")

    async def look(_: Any, write: bool = False) -> None:
        if not state["content"]:
            told.set_text("Drop the file first.")
            return
        told.set_text("Working…")
        try:
            found = await asyncio.to_thread(_received, library, state, words.get("receive", ""), write)
        except FootworkError as error:
            told.set_text(sentence(str(error)))
            return
        if write:
            ui.navigate.to(then)
            return
        told.set_text(_sum(found))
        shown.clear()
        with shown:
            for lead, rows in (("new", found.united.new), ("taken back", found.united.undone)):
                for row in rows[:50]:
                    text("p", f"{lead}: {row}", "small")
            for row in found.united.conflicts:
                text("p", f"conflict, what is here stays: {row}", "small")

    with ui.element("div").classes("row-of"):
        text("button", "See what it would change", "fw").on("click", look)
        text("button", "Take it", "fw").on("click", lambda e: look(e, True))
        told = text("span", "", "soft")
        told.props["aria-live"] = "polite"
    shown = ui.element("div")


def _received(library: Library, state: dict[str, Any], passphrase: str, write: bool) -> handover.Received:
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "received.age"
        path.write_bytes(state["content"])
        return handover.receive(path, passphrase, library, write)


def _sum(found: handover.Received) -> str:
    if not found.united.changes and not found.recordings:
        return "Nothing of it is new here."
    conflicts = f", {len(found.united.conflicts)} conflicts" if found.united.conflicts else ""
    return f"{found.recordings} recordings and {found.united.changes} entries would come in{conflicts}."


def _passphrase(words: dict[str, str], name: str) -> None:
    with ui.element("label").classes("field"):
        text("span", f"Passphrase, at least {encryption.SHORTEST} characters")
        box = ui.element("input").props(f'type="password" autocomplete="off" name="{name}-passphrase"')
        box.on(
            "input",
            lambda e: words.update({name: str(e.args["value"])}),
            js_handler="(e) => emit({value: e.target.value})",
        )
