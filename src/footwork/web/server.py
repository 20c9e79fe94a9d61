"""Serve libraries on 127.0.0.1: pages, their JSON twins, and the guard around both."""

from __future__ import annotations

import asyncio
import inspect
import json
import os
import socket
import sys
import traceback
import webbrowser
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from starlette.requests import ClientDisconnect

from footwork.errors import FootworkError, NoSuchRun, NotEnoughData, UsageError
from footwork.quantities import plain
from footwork.web.entrance import Entrance, OpenToOthers

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.squad import Squad


def serve(
    folders: list[Path],
    port: int,
    open_browser: bool = False,
    as_json: bool = False,
    others: OpenToOthers | None = None,
) -> None:
    """Serve the libraries until interrupted; prints the address. Several libraries get an address each; ``others`` than
    this machine are let in only by a passphrase, over TLS.

    Raises
    ------
    UsageError
        The port is taken, or two folders have one name.
    LibraryError
        A library that cannot be opened.
    """
    import uvicorn
    from uvicorn.protocols.http.auto import AutoHTTPProtocol

    from footwork.api import Library
    from footwork.web import jobs
    from footwork.web.guard import patient

    squad = _squad_of(folders)
    if squad is not None:
        libraries: dict[str, Library] = {}
        for name, place in squad.athletes.items():
            try:
                libraries[squad.addresses[name]] = squad.library(name)
            except FootworkError as error:  # its line says so too, and the others are served
                print(f"footwork: {name} is not served: {error}", file=sys.stderr)
                continue
            jobs.coached.add(place)
    else:
        # Nothing there yet is a beginning: the pages say how. A folder with other things in it is no library.
        folder = folders[0]
        libraries = {"": Library.open(folder, create=not folder.exists() or not any(folder.iterdir()))}
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind(("127.0.0.1" if others is None else others.address, port))
        listener.listen(128)  # the address printed below answers at once
    except (OSError, OverflowError):
        raise UsageError(f"port {port} is taken or not allowed: choose another with --port, or --port 0") from None
    actual = int(listener.getsockname()[1])
    app = build(libraries, actual, squad=squad, others=others)
    address = f"http://127.0.0.1:{actual}/" if others is None else f"https://{others.names[0]}:{actual}/"
    who = "this machine only" if others is None else f"others with the passphrase; visits go to {others.log}"
    said = json.dumps({"address": address}) if as_json else f"Footwork is at {address} ({who}; stop it with Ctrl-C)"
    print(said, flush=True)
    if open_browser or (
        sys.stdout.isatty() and (os.environ.get("DISPLAY") or sys.platform == "darwin") and not os.environ.get("CI")
    ):
        webbrowser.open(address)
    secure: dict[str, Any] = (
        {} if others is None else {"ssl_certfile": str(others.certificate), "ssl_keyfile": str(others.key)}
    )
    config = uvicorn.Config(
        app,
        http=patient(AutoHTTPProtocol),
        log_level="warning",
        ws_max_size=2**24,
        timeout_graceful_shutdown=1,
        **secure,
    )
    try:
        config.load()
    except (OSError, ValueError) as error:
        raise UsageError(f"the TLS files cannot be used: {str(error)[:120]}") from None
    server = uvicorn.Server(config)
    try:
        server.run(sockets=[listener])
    except KeyboardInterrupt:
        pass
    finally:
        for library in libraries.values():
            library.close()


def _squad_of(folders: list[Path]) -> Squad | None:
    """The squad of several libraries, or of a folder that holds them; None for one library."""
    from footwork.squad import Squad, is_library

    if len(folders) == 1:
        place = folders[0]
        inside = [p for p in place.iterdir() if p.is_dir()] if place.is_dir() and not is_library(place) else []
        if not any(is_library(p) for p in inside):
            return None
    return Squad.open(*folders)


def build(
    libraries: dict[str, Any],
    port: int,
    most_bytes: int | None = None,
    squad: Squad | None = None,
    others: OpenToOthers | None = None,
) -> Any:
    """The guarded ASGI application; one library stands at the root, those of a squad under their names beside its
    pages."""
    from nicegui import app as framework
    from nicegui import ui

    from footwork.web import guard, jobs, pages
    from footwork.web.menu import make_squad
    from footwork.web.pages.squad_page import SQUAD_PAGES
    from footwork.web.watching import forget_visitors, keep_ready, title_runs, watch

    for library in libraries.values():
        for work in (keep_ready, watch, title_runs) if squad is None else (watch,):  # a squad's answers are its lines
            framework.on_startup(partial(work, library))
    framework.on_startup(forget_visitors)
    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
    _own_faces(framework)
    for name, library in libraries.items():
        base = f"/{name}" if name else ""
        for declared in pages.PAGES:  # twins first: the address of a run would take theirs
            if declared.answer is not None:
                twin = declared.twin or f"{declared.address}.json"
                app.add_api_route(f"{base}{twin}", _twin(library, declared.answer), methods=["GET"])
        for declared in pages.PAGES:
            declared.register(base, library)
    app.add_api_route("/picture.pdf", _picture_sheet, methods=["POST"])
    if squad is not None:
        make_squad(SQUAD_PAGES, {f"/{squad.addresses[n]}": n for n in squad.athletes})
        for declared in SQUAD_PAGES:
            if declared.answer is not None:
                app.add_api_route(f"{declared.address}.json", _twin(squad, declared.answer), methods=["GET"])
            declared.register("", squad)

        @ui.page("/")
        def first() -> None:
            ui.navigate.to("/squad")

    ui.run_with(
        app,
        title="Footwork",
        tailwind=False,
        dark=None,
        favicon=_ICON,
        show_welcome_message=False,
        reconnect_timeout=10,
    )
    jobs.open_to_others = others is not None
    if others is None:
        return guard.Guard(app, port, most_bytes or guard.MOST_BYTES)
    inside = Entrance(app, others.passphrase, others.log)
    return guard.Guard(inside, port, most_bytes or guard.MOST_BYTES, others.names)


_MOST_PICTURE = 4 * 2**20  # bytes; ours are some hundred thousand
_one_picture = asyncio.Semaphore(1)


async def _picture_sheet(request: Request) -> Response:
    """A picture of a page, as the page sends it, on a sheet."""
    from footwork.reports import picture_sheet

    drawn = b""
    async for piece in request.stream():
        drawn += piece
        if len(drawn) > _MOST_PICTURE:
            return JSONResponse({"error": "the picture is too large for a sheet"}, 413)
    try:
        async with _one_picture:
            made = await asyncio.to_thread(picture_sheet, drawn.decode("utf-8", "replace"))
    except UsageError as error:
        return JSONResponse({"error": str(error)}, 422)
    return Response(made, media_type="application/pdf")


def _own_faces(framework: FastAPI) -> None:
    """What the framework says where there is no page, in our look and words."""
    from footwork.web import layout

    async def missing(_: Request, __: Exception) -> HTMLResponse:
        return HTMLResponse(layout.bare(*layout.MISSING), 404)

    async def failed(_: Request, problem: Exception) -> HTMLResponse:
        if not isinstance(problem, ClientDisconnect):  # who has gone, or was refused, hears nothing
            traceback.print_exception(problem)
        return HTMLResponse(layout.bare(*layout.FAILED), 500)

    framework.add_exception_handler(404, missing)
    framework.add_exception_handler(Exception, failed)


_ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><line x1="3" x2="29" y1="16" y2="16" '
    'stroke="#8a8f95" stroke-width="3"/>'
    '<circle cx="14" cy="16" r="7" fill="#9a3b26"/></svg>'
)


def _twin(library: Library | Squad, answer: Callable[..., Any]) -> Callable[..., Any]:
    async def twin(request: Request) -> JSONResponse:
        given = {**request.path_params, **request.query_params}
        try:
            try:
                inspect.signature(answer).bind(library, **given)
            except TypeError:
                raise UsageError("this page knows no such question") from None
            return JSONResponse(plain(await asyncio.to_thread(answer, library, **given)))
        except NotEnoughData as error:
            return JSONResponse({"error": str(error)}, 422)
        except NoSuchRun as error:
            return JSONResponse({"error": str(error)}, 404)
        except FootworkError as error:
            return JSONResponse({"error": str(error)}, 400)

    return twin
