"""Forms that run one command of the program in another process, and say what went wrong beside their button."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.errors import FootworkError
from footwork.web import jobs
from footwork.web.layout import text
from footwork.web.page_words import sentence

if TYPE_CHECKING:
    from footwork.api import Library


@dataclass(frozen=True)
class Field:
    """One field: its label, the option that its text goes to (none for a plain word of the command) and the form of
    input, as a browser knows it."""

    name: str
    label: str
    option: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    form: str = "text"


_NUMBER = {
    "number": ' step="any" inputmode="decimal"',
    "datetime-local": ' step="1"',
}  # what a browser is told beside the form of input


def inputs(fields: Sequence[Field], given: dict[str, Any], prefix: str = "") -> None:
    """Labelled fields whose text goes to ``given`` as it is typed."""
    with ui.element("div").classes("fw-form"):
        for field in fields:
            with ui.element("label"):
                text("span", field.label)
                if field.choices:
                    box = ui.element("select")
                    with box:
                        for value, label in field.choices:
                            text("option", label).props["value"] = value
                    event = "change"
                else:
                    box = ui.element("input").props(
                        f'type="{field.form}" autocomplete="off"{_NUMBER.get(field.form, "")}'
                    )
                    event = "input"
                box.props["name"] = f"{prefix}{field.name}"
                box.on(
                    event,
                    lambda e, name=field.name: given.update({name: str(e.args["value"])}),
                    js_handler="(e) => emit({value: e.target.value})",
                )


def unfolded(summary: str, ask: Callable[[], Any], show: Callable[[Any], Any]) -> None:
    """A part of a page that asks only once it is opened: ``ask`` off the event loop, then ``show`` its answer, or say
    why there is none."""
    with ui.element("details") as box:
        text("summary", summary)
        inside = ui.element("div")

    async def look(event: Any) -> None:
        if not event.args.get("open"):
            return
        inside.clear()
        with inside:
            try:
                found = await asyncio.to_thread(ask)
            except FootworkError as error:
                text("p", sentence(str(error)))
                return
            show(found)

    box.on("toggle", look, js_handler="(e) => emit({open: e.target.open})")


def downloads(files: Sequence[tuple[str, str, Callable[[], bytes]]]) -> None:
    """Buttons that make a file when they are pressed: label, name of the file, and what makes it."""
    with ui.element("div").classes("row-of"):
        for label, name, make in files:

            async def press(_: Any, name: str = name, make: Callable[[], bytes] = make) -> None:
                try:
                    ui.download.content(await asyncio.to_thread(make), name)
                except FootworkError as error:
                    ui.notify(sentence(str(error)))

            text("button", label, "fw").on("click", press)


def command_form(
    library: Library,
    command: Sequence[str],
    fields: Sequence[Field],
    label: str,
    then: str | Callable[[dict[str, Any]], str],
    needed: Sequence[str] = (),
    fixed: Sequence[str] = (),
    prefix: str = "",
    bare: bool = False,
    more: Callable[[], list[str]] | None = None,
) -> None:
    """A form for one command.

    Parameters
    ----------
    library : Library
    command : sequence of str
        Its words; fields without an option follow them, then options of filled fields, then ``fixed``.
    then : str or callable
        The address to go to when it is done, or what makes it, or a sentence to say instead, of the result.
    needed : sequence of str
        Names of fields that must be filled.
    bare : bool
        Whether it may run with nothing filled in.
    more : callable
        Words that follow those of the fields, as they stand when the button is pressed.
    """
    given: dict[str, str] = {f.name: f.choices[0][0] for f in fields if f.choices}
    if fields:
        inputs(fields, given, prefix)

    async def press(_: Any) -> None:
        filled = {f.name: given.get(f.name, "").strip() for f in fields}
        missing = [f.label for f in fields if f.name in needed and not filled[f.name]]
        if missing or (fields and not any(filled.values()) and not bare):
            status.set_text(f"Fill in: {', '.join(missing)}." if missing else "Fill in at least one field.")
            return
        words = [filled[f.name] for f in fields if not f.option and filled[f.name]] + (more() if more else [])
        # One word with its option, so that a value that begins with a dash stays a value.
        options = [f"{f.option}={filled[f.name]}" for f in fields if f.option and filled[f.name]]
        status.set_text("Working…")
        problem, result = await jobs.run_command(
            library.folder, *command, *options, *fixed, *(["--", *words] if words else [])
        )
        if problem:
            status.set_text(sentence(problem, {f.option: f.label for f in fields if f.option}))
        else:
            said = then(result) if callable(then) else then
            if said.startswith("/"):
                ui.navigate.to(said)
            else:
                status.set_text(said)

    with ui.element("div").classes("row-of"):
        text("button", label, "fw").on("click", press)
        status = text("span", "", "soft")
        status.props["aria-live"] = "polite"
