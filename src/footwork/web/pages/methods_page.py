"""Each formula with its source, linked from each number."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from footwork.methods import METHODS
from footwork.web.declaration import Page
from footwork.web.layout import page, text

if TYPE_CHECKING:
    from footwork.api import Library


def data(library: Library) -> dict[str, Any]:
    """Shown by the page and its twin."""
    return {key: asdict(method) for key, method in METHODS.items()}


def show_methods(base: str, library: Library) -> None:
    with page(
        base,
        "Methods",
        "How each number is known",
        "What is computed, from which data, with which formula and source. † marks a convention of ours "
        "or common practice without a source.",
    ):
        for key, method in METHODS.items():
            made = text("h2", method.title)
            made.props["id"] = key
            text("p", method.text)
            if method.formula:
                text("p", method.formula).style("font-style:italic")
            for source in method.sources:
                text("p", source, "soft").style("margin-bottom:4px")


PAGES = (Page("/methods", show_methods, data, nav="Methods", place=11),)
