"""What a page is: one declaration, from which its address, twin, place in the menu and registration follow."""

from __future__ import annotations

import asyncio
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from inspect import Parameter, Signature, isawaitable, signature
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fastapi import Response
from fastapi.responses import HTMLResponse
from nicegui import Client, ui

from footwork.errors import NoSuchRun
from footwork.web.layout import NO_RUN, bare, broken, whole_number, working

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.squad import Squad

PATIENCE_S = 60.0  # before the framework gives a page up; a slow machine is no error
SHELL_AFTER_S = 0.12  # a page that takes longer stands as a shell first


opened: dict[Path, dict[str, Callable[[Any], Any]]] = {}  # answers of pages without arguments, by library


@dataclass(frozen=True)
class Page:
    """A page of one library, or of a squad.

    Parameters
    ----------
    address : str
        As ``/runs/{run_id}``; the parts in braces are arguments of ``show`` and ``answer``.
    show : callable, optional
        ``show(base, library, **arguments)`` draws it; None where the answer is shown on another page.
    answer : callable, optional
        ``answer(library, **arguments)`` is what it shows, and what its JSON twin gives.
    nav : str
        Its word in the menu; empty for pages that others lead to.
    place : int
        Its place in the menu.
    twin : str
        Address of the twin where it is not the page's with ``.json``.
    """

    address: str
    show: Callable[..., Any] | None
    answer: Callable[..., Any] | None
    nav: str = ""
    place: int = 0
    twin: str = ""

    def register(self, base: str, library: Library | Squad) -> None:
        """Serve the page of a library under an address."""
        if self.show is not None:
            show = partial(self.show, base, library)

            async def shown(**given: Any) -> Response | None:
                if "run_id" in given and (missing := await asyncio.to_thread(_no_run, library, given["run_id"])):
                    return HTMLResponse(bare(missing, NO_RUN, base), 404)
                if self.answer is not None and "{" not in self.address:
                    seen = opened.setdefault(library.folder, {})
                    seen.pop(self.address, None)
                    seen[self.address] = self.answer  # the newest last
                await _in_time(partial(show, **given), base, self.nav)
                return None

            # The framework reads what the address gives off the signature.
            there = getattr(self.show, "__globals__", {})
            told = list(signature(self.show).parameters.values())[2:]
            told = [
                # Types are text, by the __future__ import.
                p.replace(annotation=eval(p.annotation, there), kind=Parameter.KEYWORD_ONLY)
                for p in told
            ]
            shown.__signature__ = Signature(told)  # type: ignore[attr-defined]
            shown.__name__ = self.show.__name__
            ui.page(f"{base}{self.address}", response_timeout=PATIENCE_S)(shown)


def _no_run(library: Any, run_id: str) -> str:
    """What is missing, in words, where an address names a run that is not there."""
    try:
        number = whole_number(run_id)
    except NoSuchRun:
        return "There is no such run"
    return "" if any(row.id == number for row in library.runs()) else f"There is no run {number}"


async def _in_time(show: Callable[[], Any], base: str, active: str) -> None:
    """Draw a page, or stand its shell at once where that takes longer, and put the page in its place when it is ready.
    Nobody waits for a computation, and none goes on for a page that nobody opened."""
    client = ui.context.client
    with ui.element("div") as place:
        pass

    async def draw() -> None:
        with place:
            drawn = show()
            if isawaitable(drawn):
                await drawn

    drawing = asyncio.ensure_future(draw())
    await asyncio.wait({drawing}, timeout=SHELL_AFTER_S)
    if drawing.done():
        drawing.result()
        return
    place.set_visibility(False)
    shell = working(base, active)
    try:
        await client.connected(timeout=PATIENCE_S)
    except TimeoutError:
        drawing.cancel()
        return
    if client.id not in Client.instances:  # whoever asked for it has gone
        drawing.cancel()
        return
    try:
        await drawing
    except Exception:
        traceback.print_exc()
        place.clear()
        with place:
            broken(base)
    shell.delete()
    place.set_visibility(True)
