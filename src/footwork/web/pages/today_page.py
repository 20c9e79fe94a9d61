"""What is new, what is due, and the place to drop recordings."""

from __future__ import annotations

import asyncio
import datetime as dt
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nicegui import events, ui

from footwork.quantities import Estimate, format_distance, format_duration, format_pace
from footwork.questions.today import due_sentence
from footwork.web import jobs
from footwork.web.declaration import Page
from footwork.web.forms import Field, inputs, sentence
from footwork.web.layout import Text, domain_strip, heading, link, measured, note, page, text, whisker

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.today import Due


def data(library: Library) -> Due:
    """Shown by the page and its twin."""
    found: Due = library.today()
    return found


def show_beginning(base: str, library: Library) -> None:
    """Three ways to begin, on a library without runs."""
    with page(base, "Today", "Three ways to begin", "There are no runs here yet. Everything stays on this machine."):
        heading("Drop your recordings")
        uploader(base, library)
        heading("Or name a folder of this machine")
        text("p", "Every recording in it and below it is read; the files themselves stay as they are.", "soft")
        given: dict[str, str] = {}
        inputs((Field("folder", f"Folder, as {Path.home() / 'Downloads'}"),), given, "begin-")
        read, told = _button("Read this folder")

        async def from_folder(_: Any) -> None:
            folder = given.get("folder", "").strip()
            if not folder:
                told.set_text("Name a folder first.")
                return
            told.set_text("Reading…")
            problem, made = await jobs.run_command(library.folder, "add", "--", folder)
            failed = [f"{f['file']}: {f['reason']}" for f in made.get("failed", [])]
            if made.get("added"):
                ui.navigate.to(f"{base}/")
            else:
                told.set_text(sentence(problem or "; ".join(failed[:3]) or "there is no recording in it"))

        read.on("click", from_folder)
        heading("Or look around first")
        text(
            "p",
            "An invented runner's half year, made on the spot in a minute or two. To begin with your own runs "
            "afterwards, start Footwork with another empty folder.",
            "soft",
        )
        press, status = _button("Make the demo")

        async def make(_: Any) -> None:
            press.props["disabled"] = True
            status.set_text("Making the season, then reading it…")
            folder = jobs.inbox()
            try:
                problem, made = await jobs.run_command(library.folder, "demo", str(folder / "demo"))
                if not problem:
                    problem, _ = await jobs.run_command(library.folder, "add", "--", str(made["recordings"]))
            finally:
                shutil.rmtree(folder, ignore_errors=True)
            if problem:
                status.set_text(sentence(problem))
            else:
                ui.navigate.to(f"{base}/")

        press.on("click", make)


def _button(label: str) -> tuple[Text, Text]:
    """A button, and the place beside it that says how it goes."""
    with ui.element("div").classes("row-of"):
        made, told = text("button", label, "fw"), text("span", "", "soft")
    told.props["aria-live"] = "polite"
    return made, told


async def show_today(base: str, library: Library) -> None:
    found = await asyncio.to_thread(data, library)
    if found["newest"] is None and not found["planned"]:
        show_beginning(base, library)
        return
    imperial = library.setting("units") == "imperial"
    with page(base, "Today", "Today", due_sentence(found, imperial)):
        newest = found["newest"]
        if newest:
            with ui.element("div").classes("numbers"):
                cp = found["critical_power"]
                whisker(
                    base,
                    f"Critical power on {found['scale']}" if found["scale"] else "Critical power",
                    "critical_power",
                    Estimate.from_json(cp),
                    found["kind"],
                )
                power = f"{newest['power_w']:.0f}" if newest["power_w"] is not None else "none"
                how = (
                    f"measured, {newest['power_scale']}"
                    if newest["measured"]
                    else "modelled"
                    if newest["power_w"] is not None
                    else "no power"
                )
                measured(
                    "Mean power of the newest run",
                    power,
                    "W",
                    how,
                    base,
                    "scales" if newest["measured"] else "modelled-power",
                )
                load = found["week"]["load"]
                whisker(base, "Load of the week", "week.load", Estimate.from_json(load), "", 0, unit="CP-minutes")
            domain_strip(found["week"]["seconds_in_domains"])
            heading("Newest run")
            distance = newest["distance_m"]
            at = dt.datetime.fromisoformat(newest["date"])
            line = f"{at:%A} {at.day} {at:%B}, {at:%H:%M}"
            if distance:
                line += (
                    f": {format_distance(distance, imperial)} in {format_duration(newest['duration_s'])}, "
                    f"{format_pace(distance / newest['duration_s'], imperial)}"
                )
            with ui.element("p"):
                link(line, f"{base}/runs/{newest['id']}")
        if found["planned"]:
            heading("Planned for today")
            for r in found["planned"]:
                with ui.element("p"):
                    link(f"{r['name']}: {r['text']}" if r["name"] else r["text"], f"{base}/sessions?session={r['id']}")
        if found["due"]:
            heading("Due")
            for item in found["due"]:
                with ui.element("p").classes("note"):
                    link(item["what"], f"{base}/{item['page']}")
                    text("span", f": {item['why']}. {item.get('caution', '')}".rstrip())
        heading("Add recordings")
        uploader(base, library)


def uploader(base: str, library: Library) -> None:
    """Drag and drop, with progress and a report; the files are imported by another process."""
    state: dict[str, Any] = {"job": None}
    text("p", "FIT, GPX or CSV, also gzipped or zipped. They stay on this machine.", "soft")
    with ui.element("div").classes("fw-form").style("max-width:300px"), ui.element("label"):
        text("span", "Start, only for files without a date")
        start = ui.element("input").props('type="datetime-local" step="1"')
        start.on(
            "input", lambda e: state.update(start=e.args["value"]), js_handler="(e) => emit({value: e.target.value})"
        )
    status = text("p", "")
    status.props["aria-live"] = "polite"
    report = ui.element("div")

    async def received(event: events.MultiUploadEventArguments) -> None:
        folder = jobs.inbox()
        for index, file in enumerate(event.files):
            target = folder / jobs.safe_name(file.name, index)
            if target.exists():
                target = folder / f"{index}-{target.name}"
            await file.save(target)
        job = jobs.Job(folder, total=len(event.files))
        state["job"] = job
        status.set_text("Reading…")
        asyncio.get_running_loop().create_task(jobs.run_import(library.folder, job, state.get("start") or ""))
        timer.activate()

    def follow() -> None:
        job = state["job"]
        if job is None:
            return
        if job.running:
            status.set_text(f"Reading: {job.done} of {job.total or '?'} files.")
            return
        timer.deactivate()
        box.reset()
        if job.error:
            status.set_text(f"Nothing was added: {job.error}")
            return
        r = job.report
        status.set_text(
            f"Runs added: {len({i for e in r['added'] for i in e.get('runs', [])})}, {len(r['duplicates'])} "
            f"already known, {len(r['skipped'])} skipped, {len(r['failed'])} failed."
        )
        report.clear()
        with report:
            for kind in ("recovered", "failed", "skipped", "duplicates"):
                for entry in r[kind][:20]:
                    note(f"{entry['file']}, {kind}: {entry['reason']}")
            link("Show the runs", f"{base}/runs", "button")

    box = ui.upload(
        label="Drop recordings here, or choose files", multiple=True, auto_upload=True, on_multi_upload=received
    )
    box.classes("upload-box").props('flat bordered color="transparent" text-color="inherit"')
    with ui.element("div").classes("upload") as frame:
        box.move(frame)
    timer = ui.timer(0.5, follow, active=False)


PAGES = (Page("/", show_today, data, nav="Today", place=0, twin="/today.json"),)
