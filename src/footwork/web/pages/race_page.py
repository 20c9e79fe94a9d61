"""The race: inputs beside the plan, which follows them."""

from __future__ import annotations

import asyncio
import re
import tempfile
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fastapi import Request
from nicegui import events, ui

from footwork.errors import FootworkError, UsageError
from footwork.questions import race
from footwork.questions.race import RacePlan
from footwork.signals import Course
from footwork.web import jobs
from footwork.web.declaration import Page
from footwork.web.forms import Field
from footwork.web.layout import Text, fill, link, page, pause_note, text, whole_number
from footwork.web.page_words import sentence
from footwork.web.pages import plan_page

if TYPE_CHECKING:
    from footwork.api import Library

RISKS = (5, 35)  # per cent of race days that may end late, on the slider
COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")

# Groups of fields: name, label, what stands there while it is empty.
GROUPS: dict[str, tuple[Field, ...]] = {
    "": (
        Field("distance", "Distance", "half"),
        Field("time", "Goal time, or time alone"),
        Field("start", "Start", form="datetime-local"),
        Field("risk", "Race days that may end late, %", "20", form="range"),
    ),
    "Weather": (
        Field("temperature", "Temperature, °C"),
        Field("humidity", "Humidity, %"),
        Field("wind", "Wind at 10 m, m/s", "5, or 5@240"),
        Field("wind_from", "Wind from", choices=(("", "not said"), *((p, p) for p in COMPASS))),
        Field("altitude", "Altitude, m"),
        Field("metar", "or METAR; by the hour with = between"),
        Field("draft", "Share of the way in the shelter of others, %"),
    ),
    "More about the course": (
        Field("run", "Number of a run on the course"),
        Field("laps", "Laps", "1"),
        Field("marks", "Marks, ; between", "7km: drinks, 20 s"),
        Field("heights", "Heights from run number"),
        Field("flat", "If it has no heights", choices=(("", "ask me"), ("yes", "it is flat"))),
        Field("smoothing", "Smoothing of heights, m", "40"),
    ),
    "How to run it": (
        Field(
            "strategy",
            "Plan for",
            choices=(
                ("", "the quickest way"),
                ("even-power", "even power"),
                ("even-pace", "even pace"),
                ("own", "your own watts"),
            ),
        ),
        Field("own", "Your own watts, ; between", "5km=250; 10km=260"),
        Field("negative_split", "Second half harder by, %"),
        Field("companion", "Companion's pace", "5:30/km"),
        Field("after_ride", "The ride before", "1:10:00 at 75 %"),
        Field("transitions", "Transitions, ; between", "2:00; 1:30"),
        Field("date", "By what was known on", form="date"),
    ),
}
FIELDS = tuple(f for group in GROUPS.values() for f in group)


def question(library: Library, course: Course | None = None, **given: str) -> dict[str, Any]:
    """What the page's texts ask, as `race.RaceQuestion.of` takes it. Raises UsageError for an unknown field."""
    unknown = set(given) - {f.name for f in FIELDS} - {"scale"}
    if unknown:
        raise UsageError(f"this page knows no {', '.join(sorted(unknown))}")
    asked: dict[str, Any] = {name: value.strip() for name, value in given.items() if value.strip()}
    for name in ("draft", "risk", "negative_split"):
        if name in asked:
            asked[name] = f"{asked[name].rstrip(' %')} %"
    for name, divided in (("marks", ";"), ("own", ";"), ("transitions", ";"), ("metar", r"[=\n]")):
        asked[name] = tuple(part.strip() for part in re.split(divided, asked.get(name, "")) if part.strip())
    if "after_ride" in asked and not re.match(r"\d[\d:.]*(\s|$)", asked["after_ride"]):  # a page opens no file
        raise UsageError(f"'{asked['after_ride']}' is no ride: write 1:10:00, 1:10:00 at 75 % or 5:00:00 takes 9 %")
    if "heights" in asked:  # a page opens no file of the machine
        asked["heights"] = whole_number(asked["heights"])
    run = asked.pop("run", None)
    if "flat" in asked:
        asked["flat"] = True
    source = asked.pop("wind_from", None)
    if source is not None and "@" not in asked.get("wind", "@"):
        asked["wind"] = f"{asked['wind']}@{source}"
    way = course if course is not None or run is None else whole_number(run)
    if "distance" not in asked and way is None and "time" not in asked:
        asked["distance"] = "half"
    split = race.splits_every(library.setting("units") == "imperial")
    return {**asked, "course": way, "split": split}


def answer(library: Library, course: Course | None = None, **given: str) -> RacePlan:
    """A plan from the page's texts."""
    asked = {k: v for k, v in question(library, course, **given).items() if v not in (None, ())}
    found: RacePlan = library.race(**asked)
    return found


def data(library: Library, **given: str) -> dict[str, Any]:
    """Shown by the page and its twin; the twin takes the page's fields as a query."""
    if "course" in given:
        raise UsageError("a course is dropped on the page; the twin takes a run's number as run")
    return answer(library, None, **given).to_json()


async def show_race(base: str, library: Library, request: Request) -> None:
    imperial = library.setting("units") == "imperial"
    given = {f.name: request.query_params.get(f.name, "") for f in FIELDS}
    given["scale"] = request.query_params.get("scale", "")
    if not (given["distance"] or given["run"] or given["time"]):
        given["distance"] = "half"  # said in its field: without it a time alone is a race of that time
    state: dict[str, Any] = {"course": None, "turn": 0}
    problems: dict[str, Text] = {}

    async def show() -> None:
        """The plan of the fields as they stand, or the sentence that says why there is none."""
        state["turn"] += 1
        turn = state["turn"]
        try:
            plan, problem = await asyncio.to_thread(lambda: answer(library, state["course"], **given)), ""
        except FootworkError as error:
            plan, problem = None, sentence(str(error))
        if turn != state["turn"]:
            return
        for name, where in problems.items():
            where.set_text(problem if name == state.get("last") else "")
        if plan is None:
            # The last plan stays, and the field that was changed says what is wrong.
            if state.get("last") == "course":
                dropped.set_text(problem)
            wrong.set_text("" if state.get("last") in problems else problem)
            stale.set_text("Below is the plan from before that." if state.get("planned") else "")
            return
        state["planned"] = True
        wrong.set_text("")
        stale.set_text("")
        shown.clear()
        with shown:
            plan_page.show(base, plan, imperial, state["course"].name if state["course"] else "")

    async def changed(event: Any, name: str) -> None:
        given[name] = str(event.args["value"])
        state["last"] = name
        state["typed"] = state.get("typed", 0) + 1
        typed = state["typed"]
        await asyncio.sleep(0.25)  # typing settles
        if typed == state["typed"]:
            await show()

    async def received(event: events.UploadEventArguments) -> None:
        try:
            state["course"] = await read_elsewhere(event)
        except FootworkError as error:
            upload.reset()  # what is no course does not look as if it were one
            dropped.set_text(sentence(str(error)))
            return
        state["last"] = "course"
        given.update(distance="", run="")
        fill({"distance": "", "run": ""})
        dropped.set_text(f"Course: {state['course'].name}.")
        remove.set_visibility(True)
        await show()

    async def removed(_: Any) -> None:
        state["course"] = None
        upload.reset()
        dropped.set_text("")
        remove.set_visibility(False)
        await show()

    with page(
        base,
        "Race",
        "Race",
        "The watts for a race, so as neither to blow up nor to finish with energy left.",
        wide=True,
    ):
        with ui.element("p"):
            link("Past races against their plans", f"{base}/race/log")
        with ui.element("div").classes("split"):
            with ui.element("div").classes("asking"):
                for title, fields in GROUPS.items():
                    if not title:
                        _inputs(fields, changed, problems, given)
                        text(
                            "p",
                            "Distance as 10km, 5mi, half or marathon. A course as GPX takes it from the file:",
                            "soft",
                        )
                        with ui.element("div").classes("upload"):
                            upload = ui.upload(label="Drop a course here", auto_upload=True, on_upload=received).props(
                                'flat bordered color="transparent" text-color="inherit"'
                            )
                        with ui.element("div").classes("row-of"):
                            dropped = text("span", "", "soft")
                            remove = text("button", "Plan without this course", "fw").on("click", removed)
                        remove.set_visibility(False)
                        _scales(library, given["scale"], changed, problems)
                        continue
                    with ui.element("details") as box:
                        box.props["open"] = any(given[f.name] for f in fields)
                        text("summary", title)
                        _inputs(fields, changed, problems, given)
            with ui.element("div"):
                pause_note(base, library)
                wrong, stale = text("p", "", "wrong"), text("p", "", "soft")
                wrong.props["aria-live"] = "polite"
                shown = ui.element("div")
        fill({name: value for name, value in given.items() if value}, arriving=True)
        await show()


def _inputs(fields: tuple[Field, ...], changed: Any, problems: dict[str, Text], given: dict[str, str]) -> None:
    """Labelled fields that the plan follows, each with a place for what is wrong with it. No value is bound: a
    page that redraws would put it back over what was
    typed."""
    with ui.element("div").classes("fw-form"):
        for field in fields:
            with ui.element("label"):
                text("span", field.label)
                number: Text | None = None
                if field.choices:
                    box = ui.element("select").props(f'name="{field.name}"')
                    with box:
                        for value, label in field.choices:
                            text("option", label).props["value"] = value
                else:
                    box = ui.element("input").props(f'type="{field.form}" autocomplete="off" name="{field.name}"')
                    box.props["placeholder"] = field.option
                    if field.form == "range":
                        # The type comes last: only then it begins in its middle, which is the plan's own risk.
                        box.props.update({"min": RISKS[0], "max": RISKS[1], "step": 5, "type": box.props.pop("type")})
                        number = text("b", given.get(field.name) or field.option)

                problems[field.name] = text("span", "", "wrong")
                problems[field.name].props["aria-live"] = "polite"

                async def told(event: Any, name: str = field.name, number: Text | None = number) -> None:
                    if number is not None:
                        number.set_text(str(event.args["value"]))
                    await changed(event, name)

                box.on("change" if field.choices else "input", told, js_handler="(e) => emit({value: e.target.value})")


def _scales(library: Library, current: str, changed: Any, problems: dict[str, Text]) -> None:
    names = sorted({row.power_scale for row in library.runs() if row.power_scale})
    if len(names) > 1:
        choices = (("", "the device most in use"), *((n, n) for n in names))
        _inputs((Field("scale", "Watts of", choices=choices),), changed, problems, {})
        if current:
            fill({"scale": current}, arriving=True)


async def read_elsewhere(event: events.UploadEventArguments) -> Course:
    """An uploaded course, read by another process: the web process never decodes."""
    with tempfile.TemporaryDirectory(prefix="footwork-course-") as folder:
        path = Path(folder) / jobs.safe_name(event.file.name, 0)
        await event.file.save(path)
        with ProcessPoolExecutor(1, get_context("spawn")) as pool:
            return await asyncio.get_running_loop().run_in_executor(pool, race.read_track, path)


PAGES = (Page("/race", show_race, data, nav="Race", place=8),)
