"""Each formula with its source, linked from each number: contents, a search, and formulas as they are printed."""

from __future__ import annotations

import asyncio
from dataclasses import asdict
from functools import cache
from html import escape
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.methods import METHODS
from footwork.reports.formulas import typeset_formulas
from footwork.web.declaration import Page
from footwork.web.layout import link, page, text
from footwork.web.page_words import on_page

if TYPE_CHECKING:
    from footwork.api import Library


def data(library: Library) -> dict[str, Any]:
    """Shown by the page and its twin."""
    return {key: asdict(method) for key, method in METHODS.items()}


@cache
def _sections() -> str:
    """All methods as HTML: hundreds of elements of the framework, which never change, took most of the page's time."""
    drawn = typeset_formulas()
    out = []
    for key, method in METHODS.items():
        out.append(f'<section class="method" data-key="{key}"><h2 id="{key}">{escape(method.title)}</h2>')
        out.append(f"<p>{escape(on_page(method.text))}</p>")
        if key in drawn:
            out.append(f'<p role="img" aria-label="{escape(method.formula)}"><span>{drawn[key]}</span></p>')
        elif method.formula:
            out.append(f'<p style="font-style:italic">{escape(method.formula)}</p>')
        out += [f'<p class="soft" style="margin-bottom:4px">{escape(source)}</p>' for source in method.sources]
        out.append("</section>")
    return "".join(out)


async def show_methods(base: str, library: Library) -> None:
    sections = await asyncio.to_thread(_sections)
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
        ui.html(sections, sanitize=False)
        ui.run_javascript("window.footwork.arrive()")


PAGES = (Page("/methods", show_methods, data, nav="Methods", place=13),)
