"""Each formula with its source, linked from each number: contents, a search, and formulas as they are printed."""

from __future__ import annotations

import asyncio
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.methods import METHODS
from footwork.reports.formulas import typeset_formulas
from footwork.web.declaration import Page
from footwork.web.layout import link, page, text

if TYPE_CHECKING:
    from footwork.api import Library


def data(library: Library) -> dict[str, Any]:
    """Shown by the page and its twin."""
    return {key: asdict(method) for key, method in METHODS.items()}


async def show_methods(base: str, library: Library) -> None:
    drawn = await asyncio.to_thread(typeset_formulas)
    with page(
        base,
        "Methods",
        "How each number is known",
        "What is computed, from which data, with which formula and source. † marks a convention of ours "
        "or common practice without a source.",
    ):
        with ui.element("label").classes("find"):
            text("span", "Find, for example heart rate, wind or W′")
            box = ui.element("input").props('type="search" autocomplete="off" name="find"')
            box.on("input", js_handler="(e) => window.footwork.find(e.target.value)")
        with ui.element("nav").classes("contents").props('aria-label="Contents"'):
            for key, method in METHODS.items():
                made = link(method.title, f"#{key}")
                made.props["data-of"] = key
        none = text("p", "Nothing here holds these words.", "soft nothing")
        none.props["hidden"] = True
        for key, method in METHODS.items():
            with ui.element("section").classes("method") as section:
                section.props["data-key"] = key
                made = text("h2", method.title)
                made.props["id"] = key
                text("p", method.text)
                if key in drawn:
                    with ui.element("p").props(f'role="img" aria-label="{method.formula}"'):
                        ui.html(drawn[key], sanitize=False, tag="span")
                elif method.formula:
                    text("p", method.formula).style("font-style:italic")
                for source in method.sources:
                    text("p", source, "soft").style("margin-bottom:4px")
        ui.run_javascript("window.footwork.arrive()")


PAGES = (Page("/methods", show_methods, data, nav="Methods", place=13),)
