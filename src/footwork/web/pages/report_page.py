"""A report to the runner: its text to be changed, and what is sent: paper, a page for a letter, Markdown."""

from __future__ import annotations

import asyncio
import datetime as dt
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.charts.report_pictures import pictures
from footwork.errors import FootworkError
from footwork.quantities import parse_date
from footwork.reports import letter
from footwork.web.declaration import Page
from footwork.web.forms import downloads
from footwork.web.layout import fill, heading, link, page, text
from footwork.web.page_words import sentence
from footwork.wording.report_words import as_markdown

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.report import Report

KINDS = {"week": "The week", "block": "Four weeks", "season": "The season"}


def data(library: Library, kind: str = "week", date: str = "") -> Report:
    """Shown by the page and its twin. What is passed on tells of the diary only what is shared."""
    with library.seen_by_coach() as seen:
        return seen.report(kind, parse_date(date) if date else None)


async def show_report(base: str, library: Library, kind: str = "week", date: str = "") -> None:
    try:
        found = await asyncio.to_thread(data, library, kind, date)
    except FootworkError as error:
        with page(base, "", "Report", sentence(str(error))):
            link("This week", f"{base}/", "button")
        return
    shown = as_markdown(found)
    state: dict[str, Any] = {"text": shown}
    made = pictures(found)
    lede = "Read it, change what you like, and send it. Of diary and health it tells only what is shared."
    with page(base, "", found.title, lede):
        with ui.element("div").classes("row-of"):
            for key, label in KINDS.items():
                other = link(label, f"{base}/report?kind={key}&date={date}", "button")
                if key == kind:
                    other.props["aria-current"] = "true"
            back = dt.date.fromisoformat(found.last) - dt.timedelta(days=7)
            link("A week earlier", f"{base}/report?kind={kind}&date={back}", "soft")
        with ui.element("label").classes("field"):
            text("span", "Its text: words, tables, and [picture: …] where a picture stands")
            box = ui.element("textarea").props('name="report" rows="24" spellcheck="true"')
            box.on(
                "input",
                lambda e: state.update(text=str(e.args["value"])),
                js_handler="(e) => emit({value: e.target.value})",
            )
        fill({"report": shown})
        name = f"report-{found.last}"
        sheets = [p.title for p in found.parts if p.sheet]
        downloads(
            [
                ("On paper", f"{name}.pdf", lambda: letter.on_paper(state["text"], made, sheets)),
                ("For a letter or browser", f"{name}.html", lambda: letter.as_html(state["text"], made).encode()),
                ("Its text", f"{name}.md", lambda: state["text"].encode()),
            ]
        )
        heading("Its pictures")
        for picture in made.values():
            with ui.element("div").classes("paper"):
                ui.html(picture, sanitize=False)


PAGES = (Page("/report", show_report, data),)
