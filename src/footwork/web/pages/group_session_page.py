"""One session for several runners: what it asks of each, and on which paper, calendar or watch it goes out."""

from __future__ import annotations

import asyncio
import io
import zipfile
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.errors import FootworkError, UsageError
from footwork.reports import group_sheet
from footwork.results.squad import Prescribed
from footwork.squad import Squad, calendar_of
from footwork.web.forms import Field, downloads, inputs
from footwork.web.layout import heading, link, note, page, table, text
from footwork.web.page_words import sentence
from footwork.wording.cautions import before_hard_work
from footwork.wording.season_words import day_name
from footwork.wording.squad_words import steps_words

if TYPE_CHECKING:
    from collections.abc import Sequence


async def show_session(base: str, squad: Squad, who: str = "", group: str = "") -> None:
    try:
        names = squad.chosen(group, squad.of_addresses(who))
    except UsageError as error:
        with page(base, "A session for several", "A session for several", sentence(str(error))):
            link("The squad", "/squad", "button")
        return
    given: dict[str, str] = {}
    lede = f"For {', '.join(names)}. Each is asked in their own watts, with their own chance to finish it."
    with page(base, "A session for several", "A session for several", lede, wide=True):
        fields = (
            Field("words", "Session in words; several with a line | between, each with its day before it if wanted"),
            Field("date", "Day, today if empty", form="date"),
        )
        inputs(fields, given)
        state: dict[str, Any] = {"asked": [], "busy": False}

        def texts() -> list[str]:
            return [t.strip() for t in given.get("words", "").split("|") if t.strip()]

        def ask(keep: bool) -> Callable[[], list[Prescribed]]:
            return lambda: squad.prescribe(texts(), names, given.get("date") or None, keep)

        async def press(_: Any, keep: bool = False) -> None:
            if state["busy"]:
                return  # once is enough: nobody keeps it twice by pressing twice
            if not texts():
                status.set_text("Say a session first, as: 15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog).")
                return
            status.set_text("Working…")
            state["busy"] = True
            try:
                state["asked"] = await asyncio.to_thread(ask(keep))
            except FootworkError as error:
                status.set_text(sentence(str(error)))
                shown.clear()
                return
            finally:
                state["busy"] = False
            kept = sum(r.kept for r in state["asked"])
            status.set_text(f"Kept for {kept} of {len(state['asked'])}." if keep else "")
            shown.clear()
            with shown:
                _prescribed(state["asked"])
                downloads(_files(squad, state))

        with ui.element("div").classes("row-of"):
            text("button", "See what it asks of each", "fw").on("click", press)
            text("button", "Keep it for each", "fw").on("click", lambda e: press(e, True))
            status = text("span", "", "soft")
            status.props["aria-live"] = "polite"
        shown = ui.element("div")
        note(before_hard_work("session"))


def _prescribed(asked: Sequence[Prescribed]) -> None:
    heading("What it asks of each")
    table(
        ["runner", "day", "watts", "finished", "what to know"],
        [
            [
                row.athlete,
                day_name(row.date),
                steps_words(row),
                "" if row.finishes_kinder is None else f"{100 * row.finishes_kinder:.0f} %",
                _to_know(row),
            ]
            for row in asked
        ],
    )


def _to_know(row: Prescribed) -> str:
    said = [row.why] if row.why else []
    if row.state == "kinder":
        said.append(f"instead: {row.text}")
    if row.state == "too much":
        said.insert(0, "too much")
    if row.kept:
        said.append("kept")
    elif row.already:
        said.append(f"already keeps {', '.join(row.already)}")
    return "; ".join(said)


def _files(squad: Squad, state: dict[str, Any]) -> list[tuple[str, str, Callable[[], bytes]]]:
    def workouts() -> bytes:
        made = io.BytesIO()
        with zipfile.ZipFile(made, "w") as archive:
            for name, content in squad.workouts(state["asked"]):
                archive.writestr(name, content)
        return made.getvalue()

    return [
        ("All on paper", "session.pdf", lambda: group_sheet(state["asked"])),
        ("One calendar", "sessions.ics", lambda: calendar_of(state["asked"])),
        ("Workouts for each", "workouts.zip", workouts),
    ]
