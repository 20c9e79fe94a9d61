"""What a coach does with a whole squad: reports to several, groups, tables of everyone, priors, erasing a runner."""

from __future__ import annotations

import asyncio
import io
import zipfile
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.errors import FootworkError
from footwork.maintenance import export
from footwork.physiology.population import LEAST
from footwork.reports import letter
from footwork.squad import Squad, frame
from footwork.squad.federation import priors, refresh, use_priors
from footwork.web.forms import Field, downloads, inputs
from footwork.web.layout import text
from footwork.web.page_words import sentence
from footwork.wording.squad_words import prior_words

if TYPE_CHECKING:
    from collections.abc import Sequence


def whole_squad_part(squad: Squad, chosen: set[str]) -> None:
    """Below the lines: what is done with those ``chosen``, and with all."""
    _reports(squad, chosen)
    _grouping(squad, chosen)
    _of_all(squad)


def _reports(squad: Squad, chosen: set[str]) -> None:
    """Reports to those chosen, in one archive."""
    with ui.element("details"):
        text("summary", "Reports to those chosen")
        with ui.element("div").classes("row-of"):
            for label, over in (("On the week", "week"), ("On four weeks", "block"), ("On the season", "season")):

                async def press(_: Any, over: str = over) -> None:
                    names = [n for n in squad.athletes if n in chosen]
                    if not names:
                        said.set_text("Choose runners by the boxes beside their names first.")
                        return
                    said.set_text("Working…")
                    content, wrong = await asyncio.to_thread(_written, squad, names, over)
                    said.set_text(" ".join(sentence(f"{n}: {why}") for n, why in wrong.items()) or "Written.")
                    if len(wrong) < len(names):
                        ui.download.content(content, f"reports-{over}.zip")

                text("button", label, "fw").on("click", press)
            said = text("span", "", "soft")
            said.props["aria-live"] = "polite"


def _written(squad: Squad, names: Sequence[str], over: str) -> tuple[bytes, dict[str, str]]:
    made, wrong = io.BytesIO(), dict[str, str]()
    with zipfile.ZipFile(made, "w") as archive:
        for name, file, content, why in letter.of_many(squad, names, over, None, "pdf"):
            if why:
                wrong[name] = why
            else:
                archive.writestr(file, content)
    return made.getvalue(), wrong


def _grouping(squad: Squad, chosen: set[str]) -> None:
    given: dict[str, str] = {}
    with ui.element("details"):
        text("summary", "Put those chosen into a group")
        inputs((Field("group", "Name of the group"),), given)
        with ui.element("div").classes("row-of"):
            for label, remove in (("Put them in", False), ("Take them out", True)):

                async def press(_: Any, remove: bool = remove) -> None:
                    if not chosen or not given.get("group", "").strip():
                        said.set_text("Choose runners by the boxes beside their names, and name a group.")
                        return
                    try:
                        await asyncio.to_thread(squad.put_in_group, given["group"], sorted(chosen), remove)
                    except FootworkError as error:
                        said.set_text(sentence(str(error)))
                        return
                    ui.navigate.to("/squad")

                text("button", label, "fw").on("click", press)
            said = text("span", "", "soft")
            said.props["aria-live"] = "polite"


def _of_all(squad: Squad) -> None:
    """Tables of everyone, what the squad tells of priors, and erasing a runner."""
    with ui.element("details"):
        text("summary", "Tables of everyone, priors, erasing a runner")
        downloads(
            [
                ("These lines as a table", "squad.csv", lambda: export.csv_of(frame(squad.lines().athletes))),
                ("Numbers of everyone", "numbers.parquet", lambda: _parquet(squad)),
            ]
        )
        shown = ui.element("div")

        async def learn(_: Any, use: bool | None = None) -> None:
            said.set_text("Working…")
            try:
                found = await asyncio.to_thread(priors, squad) if use is not False else {}
                if use is not None and (use is False or any(found.values())):
                    await asyncio.to_thread(use_priors, squad, found)
            except FootworkError as error:
                said.set_text(sentence(str(error)))
                return
            said.set_text("")
            shown.clear()
            with shown:
                for name, prior in found.items():
                    text("p", prior_words(name, prior, LEAST))
                if use is not None:
                    on = use and any(found.values())
                    text("p", "They are used in every library now." if on else "The literature's are used.")

        with ui.element("div").classes("row-of"):
            text("button", "What the squad tells of priors", "fw").on("click", learn)
            text("button", "Use them", "fw").on("click", lambda e: learn(e, True))
            text("button", "Use the literature's", "fw").on("click", lambda e: learn(e, False))
            said = text("span", "", "soft")
            said.props["aria-live"] = "polite"
        given: dict[str, str] = {}
        inputs((Field("erased", "Erase a runner for ever: write the name"),), given)

        async def erase(_: Any) -> None:
            try:
                await asyncio.to_thread(squad.erase, given.get("erased", "").strip())
            except FootworkError as error:
                gone.set_text(sentence(str(error)))
                return
            gone.set_text(
                "Erased. Backups, exports, hand-over files, tables and paper elsewhere may still hold it. Serve the "
                "squad anew."
            )

        with ui.element("div").classes("row-of"):
            text("button", "Erase", "fw").on("click", erase)
            gone = text("span", "", "soft")
            gone.props["aria-live"] = "polite"


def _parquet(squad: Squad) -> bytes:
    made = io.BytesIO()
    refresh(squad).frame().write_parquet(made)
    return made.getvalue()
