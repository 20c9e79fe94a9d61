"""A week to drop sessions into, by mouse or keyboard: kept, moved, copied, repeated, taken back."""

from __future__ import annotations

import asyncio
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from nicegui import ui
from nicegui.element import Element

from footwork.errors import FootworkError, UsageError
from footwork.web.layout import Text, heading, link, text
from footwork.web.page_words import sentence
from footwork.wording.due_words import long_date

if TYPE_CHECKING:
    from footwork.api import Library

_DRAG = "(e) => {{ e.dataTransfer.setData('text', '{}'); e.dataTransfer.effectAllowed = 'copyMove'; }}"
_DROP = "(e) => { e.preventDefault(); emit({what: e.dataTransfer.getData('text'), copy: e.ctrlKey || e.metaKey}); }"
REPEATED_WEEKS = 4


def restore(library: Library, before: list[dict[str, Any]]) -> None:
    """Keep again the sessions that were kept before, and no others: what was moved goes back, what was taken back is
    kept anew, what is new is undone."""
    was, now = ({r["id"]: r for r in rows} for rows in (before, library.sessions()))
    gone = {r["first"]: r for number, r in was.items() if number not in now}
    for number, row in now.items():
        if number in was:
            continue
        old = gone.pop(row["first"], None)
        if old is None:
            library.drop_session(number)
        else:
            library.change_session(number, old["date"], old["text"], old["name"])
    for old in gone.values():
        library.plan_session(old["text"], old["date"], old["name"])


@dataclass
class Week:
    """One week of kept sessions beside the runs of its days.

    ``words`` are those of the session that is written above it.
    """

    base: str
    library: Library
    words: Callable[[], str]
    monday: dt.date
    before: list[dict[str, Any]] | None = None  # what was kept before the last change, to undo it

    async def section(self) -> None:
        """Its place on the page, and the week in it."""
        heading("The week")
        chip = text("span", "Drag this session to a day, or press Keep here", "chip")
        chip.props["draggable"] = "true"
        chip.on("dragstart", js_handler=_DRAG.format("new"))
        self.place: Element = ui.element("div")
        with ui.element("div").classes("row-of"):
            text("button", "Undo the last change", "fw").on("click", self.take_back)
            self.status: Text = text("span", "", "soft")
        self.status.props["aria-live"] = "polite"
        await self.draw()

    async def do(self, work: Callable[[], Any], said: str) -> None:
        """Change what is kept, and say what was done."""
        before = await asyncio.to_thread(self.library.sessions)
        try:
            await asyncio.to_thread(work)
        except FootworkError as error:
            self.status.set_text(sentence(str(error)))
            return
        self.before = before
        self.status.set_text(said)
        await self.draw()

    async def take_back(self, _: Any) -> None:
        if self.before is None:
            self.status.set_text("There is nothing to undo here.")
            return
        await asyncio.to_thread(restore, self.library, self.before)
        self.before = None
        self.status.set_text("Undone.")
        await self.draw()

    async def dropped(self, what: str, copy: bool, day: dt.date) -> None:
        if what == "new":
            await self.do(lambda: self.library.plan_session(self.words(), day), f"Kept for {long_date(day)}.")
        elif what.isdigit() and copy:
            await self.do(lambda: self.library.copy_session(int(what), day), f"Copied to {long_date(day)}.")
        elif what.isdigit():
            await self.do(lambda: self.library.change_session(int(what), day), f"Moved to {long_date(day)}.")

    async def turn(self, weeks: int) -> None:
        self.monday += dt.timedelta(weeks=weeks)
        await self.draw()

    async def draw(self) -> None:
        rows = await asyncio.to_thread(self.library.sessions)
        runs = await asyncio.to_thread(self.library.runs)
        self.place.clear()
        with self.place:
            with ui.element("div").classes("row-of"):
                for label, by in (("Week before", -1), ("Week after", 1)):
                    text("button", label, "fw").on("click", lambda _, by=by: self.turn(by))
                text("span", f"Week of {self.monday.day} {self.monday:%B %Y}")
            with ui.element("div").classes("days"):
                for day in (self.monday + dt.timedelta(days=k) for k in range(7)):
                    self.day(
                        day,
                        [r for r in reversed(rows) if str(r["date"]) == day.isoformat()],
                        [r.id for r in runs if r.date[:10] == day.isoformat()],
                    )

    def day(self, day: dt.date, kept: list[dict[str, Any]], ran: list[int]) -> None:
        """A day's runs and sessions, onto which others are dropped."""
        with ui.element("div").classes("day today" if day == self.library.current_day() else "day") as cell:
            cell.on("dragover", js_handler="(e) => e.preventDefault()")
            cell.on(
                "drop", lambda e: self.dropped(str(e.args.get("what")), bool(e.args.get("copy")), day), js_handler=_DROP
            )
            text("div", f"{day:%a} {day.day}", "when")
            for number in ran:
                link(f"Run {number}", f"{self.base}/runs/{number}/session", "ran")
            for row in kept:
                self.kept(row, day)
            put = text("button", "Keep here", "put")
            put.props["aria-label"] = f"Keep the session above for {long_date(day)}"
            put.on("click", lambda _: self.dropped("new", False, day))

    def kept(self, row: dict[str, Any], day: dt.date) -> None:
        """A kept session, which opens to what can be done with it."""
        number = int(row["id"])
        chosen: dict[str, str] = {}
        library = self.library

        def elsewhere() -> str:
            other = chosen.get("day", "")
            if not other or other == day.isoformat():
                raise UsageError("choose another day first")
            if other < library.current_day().isoformat():
                raise UsageError("that day is over: choose one from today on")
            return other

        with ui.element("details").classes("kept") as box:
            box.props["draggable"] = "true"
            box.on("dragstart", js_handler=_DRAG.format(number))
            text("summary", row["name"] or row["text"])
            text("div", row["text"], "soft")
            link("See what it asks", f"{self.base}/sessions?session={quote(row['text'])}&week={day}")
            with ui.element("label"):
                text("span", "Another day", "soft")
                other = ui.element("input").props(f'type="date" name="day-{number}"')
                other.on(
                    "input",
                    lambda e: chosen.update(day=str(e.args["v"])),
                    js_handler="(e) => emit({v: e.target.value})",
                )
            with ui.element("div").classes("row-of"):
                self._act("Move", lambda: library.change_session(number, elsewhere()), "Moved to the day you chose.")
                self._act("Copy", lambda: library.copy_session(number, elsewhere()), "Copied to the day you chose.")
                self._act("Say it as above", lambda: library.change_session(number, text=self.words()), "Changed.")
                self._act(
                    "Repeat for four weeks",
                    lambda: library.repeat_session(number, REPEATED_WEEKS),
                    "Kept in the four weeks after it, too.",
                )
                self._act("Take it back", lambda: library.drop_session(number), "Taken back.")

    def _act(self, label: str, work: Callable[[], Any], said: str) -> None:
        text("button", label, "fw").on("click", lambda _: self.do(work, said))
