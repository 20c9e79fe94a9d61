"""The season: the whole plan as one picture, its weeks, what waits to be accepted, and wishes for another."""

from __future__ import annotations

import asyncio
import datetime as dt
import io
import tempfile
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nicegui import events, ui

from footwork.charts.season_picture import season_bars
from footwork.errors import FootworkError, UsageError
from footwork.quantities import format_duration
from footwork.questions import season
from footwork.reports import season_sheet
from footwork.web import jobs
from footwork.web.declaration import Page
from footwork.web.drawing import show_picture
from footwork.web.forms import Field, command_form, downloads
from footwork.web.layout import heading, method_link, page, table, text
from footwork.web.page_words import sentence
from footwork.web.pages.comment_box import comment_box
from footwork.wording.season_words import NOTHING_SAFE, PHASES, day_name, race_words

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.planned_season import PlannedWeek, SeasonChanges, SeasonPlan

WISHES = (
    Field("race", "Day of the race", "--race", form="date"),
    Field("distance", "Distance: 10km, half, marathon", "--distance"),
    Field("hours", "Hours a week at most, kept rides and swims among them", "--hours"),
    Field("days", "Free days, as tue,thu,sat,sun", "--days"),
    Field("long", "Day liked best for the long run", "--long"),
    Field("runs", "Runs a week", "--runs"),
    Field("hard", "Hard sessions a week", "--hard"),
    Field("easier", "Every which week an easier one: 3, 4, 5, none", "--easier"),
    Field("keep", "Kept to weekdays, as wed swim 45 min; sat ride 3 h", "--keep"),
    Field("also", "Other races, as 2027-01-17 10km B; 2027-02-07 5km C", "--also"),
    Field("away", "Days without running, as 2026-12-24..2027-01-01", "--away"),
    Field("usual", "Hours of a usual week, if recordings do not tell", "--usual"),
)


def data(library: Library) -> dict[str, Any]:
    """Shown by the page and its twin: the newest season, or why there is none; and what waits to be accepted."""
    try:
        plan = library.season()
    except UsageError as error:
        return {"season": None, "changes": None, "reason": str(error)}
    try:
        changes = library.season_changes() if plan.state == "accepted" else None
    except FootworkError as error:  # the plan stands; only what would change it is not known
        return {"season": plan, "changes": None, "reason": str(error)}
    return {"season": plan, "changes": changes, "reason": ""}


async def show_season(base: str, library: Library) -> None:
    try:
        found = await asyncio.to_thread(data, library)
    except FootworkError as error:
        found = {"season": None, "changes": None, "reason": str(error)}
    plan: SeasonPlan | None = found["season"]
    with page(base, "Season", "Season", plan.sentence if plan else sentence(found["reason"])):
        if plan is None:
            heading("Plan a season backwards from a race")
            _wishes(base, library)
            text("p", NOTHING_SAFE, "soft")
            return
        for said in plan.said:
            text("p", said, "soft")
        if plan.state == "proposed":
            if season.is_ahead(library):
                text("p", "The season you accepted stands until this one is accepted, and again if it is dropped.")
            command_form(library, ["season", "accept"], (), "Accept this season", f"{base}/season", bare=True)
            undo = ["edit", "undo", str(plan.number)]
            command_form(library, undo, (), "Drop this proposal", f"{base}/season", bare=True)
        changes: SeasonChanges | None = found["changes"]
        if changes is not None and changes.changes:
            _changes(base, library, changes)
        if found["reason"]:
            text("p", f"What would change is not known: {found['reason']}.", "soft")
        _picture(base, plan)
        _standing(library, plan)
        _along(library, plan)
        race = dt.date.fromisoformat(plan.race.date)
        comment_box(library, f"{base}/season", "Comments on the race and the way to it", {"race": race})
        heading("Week by week")
        for week in plan.weeks:
            _week(base, week, plan.asked_on)
        for caution in (*plan.cautions, NOTHING_SAFE):
            text("p", caution, "soft")
        with ui.element("details"):
            text("summary", "Other wishes make another season")
            _wishes(base, library)


def _wishes(base: str, library: Library) -> None:
    files: list[str] = []
    _from_files(files)
    command_form(
        library,
        ["season", "new"],
        WISHES,
        "Lay out the season",
        f"{base}/season",
        needed=("race",),
        fixed=files,
        prefix="season-",
    )
    with ui.element("p"):
        method_link(base, "season", "How a season is laid out")


def _from_files(options: list[str]) -> None:
    """Where the race's course and a shelf of one's own are dropped: options of the command, as dropped last."""
    folder = tempfile.TemporaryDirectory(prefix="footwork-season-")  # gone with the page
    with ui.element("details"):
        text("summary", "The race's course, or sessions of your own")
        text(
            "p",
            "A course as GPX or FIT tells length and climb. Sessions of your own are a YAML list of name, purpose, "
            "text with {n}, and sizes; they take the place of ours for their purpose.",
            "soft",
        )
        said = text("p", "")
        said.props["aria-live"] = "polite"

        async def received(event: events.UploadEventArguments) -> None:
            name = jobs.safe_name(event.file.name, len(options))
            option = "--shelf" if name.lower().endswith((".yaml", ".yml")) else "--course"
            await event.file.save(Path(folder.name) / name)
            options[:] = [o for o in options if not o.startswith(option)] + [f"{option}={Path(folder.name) / name}"]
            said.set_text(f"{event.file.name} is taken as the {'sessions' if option == '--shelf' else 'course'}.")

        with ui.element("div").classes("upload"):
            ui.upload(label="Drop a course or a shelf here", auto_upload=True, on_upload=received).props(
                'flat bordered color="transparent" text-color="inherit"'
            )


def _changes(base: str, library: Library, found: SeasonChanges) -> None:
    heading("Changes that wait")
    for change in found.changes:
        with ui.element("div").classes("row-of"):
            text("span", change.sentence)
            command_form(library, ["season", "accept", str(change.id)], (), "Accept", f"{base}/season", bare=True)
    if len(found.changes) > 1:
        command_form(library, ["season", "accept"], (), "Accept all", f"{base}/season", bare=True)
    for caution in found.cautions:
        text("p", caution, "soft")


def _picture(base: str, plan: SeasonPlan) -> None:
    weeks = [w.to_json() for w in plan.weeks]
    with ui.element("div").classes("wide-only"):
        show_picture(season_bars(weeks, plan.asked_on), "The season")
    with ui.element("div").classes("narrow-only"):
        show_picture(season_bars(weeks, plan.asked_on, narrow=True), "The season")
    with ui.element("div").classes("key"):
        for kind, label in (("outline", "asked"), ("ranbar", "run"), ("usual", "taper and race")):
            with ui.element("span"):
                ui.html(f'<i class="{kind}"></i>', sanitize=False, tag="span")
                text("span", label)
    with ui.element("p"):
        method_link(base, "season", "How a season is laid out")


def _standing(library: Library, plan: SeasonPlan) -> None:
    usual = plan.usual
    text("p", race_words(plan.race, library.setting("units") == "imperial"))
    text(
        "p",
        f"The season continues from {usual['cp_minutes']:.0f} CP-minutes and {format_duration(usual['duration_s'])} in "
        f"{usual['runs']:.0f} runs a week, the longest {format_duration(usual['longest_s'])}.",
    )


def _along(library: Library, plan: SeasonPlan) -> None:
    files = [
        ("Season as PDF", "season.pdf", lambda: season_sheet(plan)),
        ("Four weeks as PDF", "four-weeks.pdf", lambda: season_sheet(plan, 4)),
    ]
    if plan.state == "accepted":
        files.append(("Calendar", "season.ics", lambda: season.season_calendar(library)))
        files.append(("Four weeks for the watch", "four-weeks.zip", lambda: _zipped(library)))
    downloads(files)


def _zipped(library: Library) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as box:
        for name, content in season.season_workouts(library, 4):
            box.writestr(name, content)
    return held.getvalue()


def _week(base: str, week: PlannedWeek, today: str) -> None:
    over = (dt.date.fromisoformat(week.monday) + dt.timedelta(days=7)).isoformat() <= today
    with ui.element("details") as box:
        box.props["open"] = not over and week.monday <= today
        ran = f", {week.run.value:.0f} run" if week.run is not None and week.run.value is not None else ""
        text("summary", f"{day_name(week.monday)}: {PHASES[week.phase]}, {week.asked:.0f} CP-minutes asked{ran}")
        text("p", f"{week.reason[:1].upper()}{week.reason[1:]}.", "soft")
        table(
            ["day", "session", "time", "CP-minutes"],
            [
                [
                    day_name(s.date),
                    s.name if s.name == s.text else f"{s.name}: {s.text}",
                    format_duration(s.duration_s),
                    f"{s.cp_minutes:.0f}",
                ]
                for s in week.sessions
            ],
        )
        for wish in week.gave_way:
            text("p", f"Not to be had: {wish}.", "soft")
        if not week.proven:
            text("p", "Good, but not proven to be the best week.", "soft")


PAGES = (Page("/season", show_season, data, nav="Season", place=5),)
