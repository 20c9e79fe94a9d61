"""Comments beside what they are about, and a field for another."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.web.forms import Field, command_form
from footwork.web.layout import folded, text

if TYPE_CHECKING:
    from footwork.api import Library


def comment_box(library: Library, then: str, title: str, about: dict[str, Any]) -> None:
    """Comments on one run, session, week or race, and a form to write one, opened where there are some; ``then`` is
    where the page goes to."""
    found = library.comments(**about)
    with folded(f"{title}{f', {len(found)}' if found else ''}", bool(found)):
        _inside(library, then, found, about)


def _inside(library: Library, then: str, found: list[dict[str, Any]], about: dict[str, Any]) -> None:
    for row in found:
        with ui.element("div").classes("said"):
            text("p", row["text"])
            at = dt.datetime.fromisoformat(row["at"]).astimezone()
            text("p", f"{row['by']}, {at.day} {at:%B} {at:%H:%M}", "soft small")
    option, of = next(iter(about.items()))
    who = "--by=coach" if library.for_coach else "--by=runner"
    command_form(
        library,
        ["comment"],
        (Field("text", "Say something about it"),),
        "Write",
        then,
        fixed=[who, f"--{option}={of}"],
        needed=("text",),
        prefix=f"{option}-{of}-",
    )
