"""This week: what to do next, six weeks as run and asked, the newest run, and the place to drop recordings."""

from __future__ import annotations

import asyncio
import datetime as dt
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nicegui import events, ui

from footwork.charts.weeks_picture import six_weeks
from footwork.errors import UsageError
from footwork.physiology.domains import NAMES
from footwork.quantities import Estimate, format_distance, format_duration, format_pace, signed
from footwork.questions.runs import run_titles
from footwork.questions.sessions import session_workout
from footwork.web import jobs
from footwork.web.declaration import Page
from footwork.web.forms import Field, downloads, inputs
from footwork.web.layout import Text, heading, link, measured, method_link, note, page, table, text, whisker
from footwork.web.page_words import sentence
from footwork.web.pages.comment_box import comment_box
from footwork.wording.due_words import ago, long_date
from footwork.wording.season_words import day_name
from footwork.wording.session_verdicts import doubt_to_finish
from footwork.wording.sign_words import value_words

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.planned_season import WeekAnswer
    from footwork.results.sign_patterns import SignsAnswer
    from footwork.results.today import Due


SHOWN_ADDED, TOLD_ADDED = 12, 300  # runs that are named when they come in, and counted
LOOKS_S = 15.0  # between looks whether something new came in


def data(library: Library, date: str = "") -> Due:
    """Shown by the page and its twin, as of today or as another day knew it. Raises UsageError for no date."""
    found: Due = library.today(date or None)
    return found


def show_beginning(base: str, library: Library) -> None:
    """Three ways to begin, on a library without runs."""
    with page(
        base, "This week", "Three ways to begin", "There are no runs here yet. Everything stays on this machine."
    ):
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


async def show_week(base: str, library: Library, date: str = "", added: str = "") -> None:
    try:
        found = await asyncio.to_thread(data, library, date)
    except UsageError as error:
        with page(base, "This week", "No such day", sentence(str(error))):
            link("This week", f"{base}/", "button")
        return
    if not library.runs() and not found["next"]:
        show_beginning(base, library)
        return
    imperial = library.setting("units") == "imperial"
    on = dt.date.fromisoformat(found["asked_on"])
    newest = found["newest"]
    year = f" {on.year}" if on.year != dt.date.today().year else ""
    told = f"{long_date(on)}{year}. {found['reason']}".strip()
    with page(base, "This week", found["headline"], told):
        await _added(base, library, added)
        await _asked_and_run(base, library, on)
        _numbers(base, found, imperial)
        if newest:
            _weeks(base, found, on, library.current_day())
        if found["next"]:
            _next(base, library, found, imperial)
        if newest:
            _newest(base, found, imperial)
        for item in found["due"]:
            with ui.element("p").classes("note"):
                link(item["what"], f"{base}/{item['page']}")
                text("span", f": {item['why']}. {item.get('caution', '')}".rstrip())
        with ui.element("div").classes("row-of asking"):
            link("Write how it felt", f"{base}/diary", "button")
            link("I am ill or injured", f"{base}/diary?tell=illness", "button")
            link("Plan a race", f"{base}/race", "button")
            link("Write a report", f"{base}/report", "button")
        monday = on - dt.timedelta(days=on.weekday())
        comment_box(library, f"{base}/?date={on}", "Comments on this week", {"week": monday})
        with ui.element("div").classes("on-screen"):
            heading("Add recordings")
            uploader(base, library)
        _renewed(base, library)


def _renewed(base: str, library: Library) -> None:
    """The page says so when a run comes in from elsewhere, and leads to itself with it."""
    known = {r.id for r in library.runs()}
    told = ui.element("div")

    async def look() -> None:
        new = sorted({r.id for r in await asyncio.to_thread(library.runs)} - known, reverse=True)
        if new:
            known.update(new)
            told.clear()
            with told, ui.element("p").classes("note"):
                word = "A new run has" if len(new) == 1 else f"{len(new)} new runs have"
                text("span", f"{word} come in. ")
                link("Show this week with them", f"{base}/?added={','.join(map(str, new[:TOLD_ADDED]))}")

    ui.timer(LOOKS_S, look)


async def _added(base: str, library: Library, numbers: str) -> None:
    """What has just come in, by what it was."""
    wanted = {int(n) for n in numbers.split(",") if n.isascii() and n.isdigit() and len(n) < 12}
    rows = [r for r in library.runs() if r.id in wanted]
    if not rows:
        return
    titles = await asyncio.to_thread(run_titles, library, rows[:SHOWN_ADDED])
    with ui.element("p").classes("note"):
        text("span", "Added just now: ")
        for number, row in enumerate(rows[:SHOWN_ADDED]):
            text("span", ", " if number else "")
            link(f"{titles[row.id] or 'a run'} on {long_date(row.local.date())}", f"{base}/runs/{row.id}")
        if (more := len(rows) - SHOWN_ADDED) > 0:
            text("span", " and ")
            link(f"{more} more", f"{base}/runs")
        text("span", ".")
    for problem in jobs.left_out.pop(library.folder, [])[:SHOWN_ADDED]:
        note(problem)


async def _asked_and_run(base: str, library: Library, on: dt.date) -> None:
    """A check by the signs, what waits in the season, and the week's sessions as they were run."""
    signs, week = await asyncio.to_thread(lambda: (library.signs(on), library.week(on)))
    if signs.instead or signs.long_runs:
        note(f"{signs.sentence} {signs.instead}".strip(), base, "signs")
    with ui.element("details"):
        text("summary", "Signs that are watched")
        for pattern in signs.patterns:
            text("p", pattern.sentence)
        table(
            ["what", "last days", "usually", "off, in your own spreads"],
            [
                [
                    c.name,
                    value_words(c.recent, c.unit),
                    value_words(c.usual, c.unit),
                    "" if c.apart is None else signed(c.apart),
                ]
                for c in {c.name: c for p in signs.patterns for c in p.channels}.values()
                if c.recent is not None and c.usual is not None
            ],
        )
        with ui.element("p"):
            method_link(base, "signs", "How signs are watched")
    if not any(r.session for r in week.rows):
        return
    text("p", week.sentence)
    with ui.element("details"):
        text("summary", "Session by session")
        table(
            ["day", "session", "what became of it", "asked", "run"],
            [
                [
                    day_name(r.date),
                    (r.name, f"{base}/runs/{r.run}") if r.run else r.name,
                    f"{r.state}. {r.verdict}".rstrip(". "),
                    f"{r.cp_minutes:.0f}" if r.cp_minutes is not None else "",
                    f"{r.load.value:.0f}" if r.load is not None and r.load.value is not None else "",
                ]
                for r in week.rows
            ],
        )
    with ui.element("p"):
        link("The season, and what waits to be accepted", f"{base}/season")


def _numbers(base: str, found: Due, imperial: bool) -> None:
    """What comes next in watts, critical power, and the load of the week."""
    with ui.element("div").classes("numbers"):
        nearest = found["next"][0] if found["next"] else None
        if nearest and nearest["power_w"] and not nearest["not_now"]:
            speed = nearest["speed_mps"]
            pace = f"about {format_pace(speed, imperial)} on the flat" if speed else ""
            when = long_date(dt.date.fromisoformat(nearest["date"]))
            label = f"Hardest part, {when}" if "," in nearest["text"] else f"Next, {when}"
            measured(label, f"{nearest['power_w']:.0f}", "W asked", pace, base, "w-prime-balance")
        cp = Estimate.from_json(found["critical_power"])
        label = f"Critical power on {found['scale']}" if found["scale"] else "Critical power"
        whisker(base, label, "critical_power", cp, found["kind"])
        week = next((w for w in found["weeks"] if w["monday"] <= found["asked_on"] <= w["days"][6]["date"]), None)
        if week:
            load = Estimate.from_json(week["load"])
            monday = dt.date.fromisoformat(week["monday"])
            now = (dt.date.today() - monday).days < 7
            label = "Load of this week so far" if now else f"Load of the week of {monday.day} {monday:%B}"
            if week["runs"]:
                whisker(base, label, "week.load", load, "", 0, unit="CP-minutes")
            else:
                measured(label, "none", "yet", "no run this week", base, "cp-minutes")


def _weeks(base: str, found: Due, on: dt.date, today: dt.date) -> None:
    over = dt.date.fromisoformat(found["weeks"][-1]["monday"]) < on - dt.timedelta(days=on.weekday())
    heading("The last six weeks with runs" if over else "Six weeks")
    for narrow in (False, True):
        picture = six_weeks(found["weeks"], found["usual_week"], found["asked_on"], f"{base}/runs/", narrow)
        ui.html(picture, sanitize=False)
    with ui.element("div").classes("key"):
        for name in NAMES:
            with ui.element("span"):
                ui.html(f'<i class="d-{name}"></i>', sanitize=False, tag="span")
                text("span", name)
        for kind, label in (("outline", "asked, not run"), ("usual", "run, its domains not known")):
            with ui.element("span"):
                ui.html(f'<i class="{kind}"></i>', sanitize=False, tag="span")
                text("span", label)
        text("span", "length of a bar: time")
        text("span", "red: today" if on == dt.date.today() else f"red: {long_date(on)}")
        usual = found["usual_week"]
        if usual:
            text(
                "span",
                "at the right: the week's load as a stroke, on the band that half of the usual weeks lie in",
                "wide-only",
            )
    told = (
        f"A usual week is {usual['cp_minutes']:.0f} CP-minutes, the middle of {usual['weeks']} weeks; half of them lie "
        f"between {usual['low']:.0f} and {usual['high']:.0f}. "
        if usual
        else "A usual week is told once three of the eight weeks before hold runs. "
    )
    with ui.element("p").style("margin-top:10px"):
        text("span", told, "soft")
        link("Load of all activities", f"{base}/load", "soft")
        text("span", " ")
        method_link(base, "load", "How load is counted")
    first = dt.date.fromisoformat(found["weeks"][0]["monday"])
    with ui.element("div").classes("row-of"):
        if any(d["runs"] for w in found["weeks"][:1] for d in w["days"]):
            link("Earlier weeks", f"{base}/?date={first - dt.timedelta(days=1)}", "soft")
        if on < today:
            later = min(on + dt.timedelta(days=42), today)
            link("Later weeks", f"{base}/?date={later}", "soft")
            link("This week", f"{base}/", "soft")


def _next(base: str, library: Library, found: Due, imperial: bool) -> None:
    """Sessions ahead: what each asks, and its way to the watch."""
    heading("Next")
    for session in found["next"]:
        day = dt.date.fromisoformat(session["date"])
        asks = [f"{session['power_w']:.0f} W"] if session["power_w"] else []
        asks += [f"about {format_pace(session['speed_mps'], imperial)}"] if session["speed_mps"] else []
        asks += [format_duration(session["duration_s"]) + " in all"] if session["duration_s"] else []
        with ui.element("div").classes("ahead"):
            text("span", long_date(day), "when")
            with ui.element("div"):
                link(f"{session['name'] or session['text']}", f"{base}/sessions?session={session['id']}")
                comment_box(library, f"{base}/", "Comments", {"session": session["id"]})
                if session["not_now"]:
                    text("div", "Kept, but not now.", "soft")
                else:
                    text("div", ", ".join([*([session["text"]] if session["name"] else []), *asks]), "soft")
                    if doubt := doubt_to_finish(session["run_dry_probability"]):
                        text("div", f"{doubt}.")
            if not session["not_now"]:
                downloads([("To the watch", f"session-{session['date']}.fit", _workout(library, session))])
    if found["caution"]:
        note(found["caution"], base, "cautions")


def _workout(library: Library, session: Any) -> Callable[[], bytes]:
    return lambda: session_workout(library, session["text"], session["name"])


def _newest(base: str, found: Due, imperial: bool) -> None:
    newest = found["newest"]
    at = dt.datetime.fromisoformat(newest["date"])
    gone = f", {ago(found['days_since'])}" if found["days_since"] else ""
    heading("Newest run")
    with ui.element("p"):
        link(newest["title"] or "A run", f"{base}/runs/{newest['id']}")
        line = f", {long_date(at.date())} at {at:%H:%M}{gone}: "
        if newest["distance_m"]:
            line += f"{format_distance(newest['distance_m'], imperial)} in {format_duration(newest['duration_s'])}, "
            line += f"{format_pace(newest['distance_m'] / newest['duration_s'], imperial)}"
        else:
            line += format_duration(newest["duration_s"])
        if newest["power_w"] is not None:
            line += f", {newest['power_w']:.0f} W {'measured' if newest['measured'] else 'modelled'}"
        text("span", f"{line}.")
    for verdict, key in ((newest["against_session"], "sessions"), (newest["against_usual"], "usual")):
        if verdict:
            note(verdict, base, key)


def uploader(base: str, library: Library) -> None:
    """Drag and drop, with progress and a report; the files are imported by another process."""
    state: dict[str, Any] = {"job": None}
    first = not library.runs()  # the page of a library without runs says so
    text("p", "FIT, GPX or CSV, also gzipped or zipped. They stay on this machine.", "soft")
    with ui.element("details"):
        text("summary", "A file that holds no date")
        inputs((Field("start", "When that run began", form="datetime-local"),), state, "upload-")
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
            status.set_text(sentence(f"nothing was added: {job.error}"))
            return
        r = job.report
        added = sorted({i for e in r["added"] for i in e.get("runs", [])}, reverse=True)
        status.set_text(
            f"Runs added: {len(added)}, {len(r['duplicates'])} "
            f"already known, {len(r['skipped'])} skipped, {len(r['failed'])} failed."
        )
        report.clear()
        with report:
            for kind in ("recovered", "healed", "failed", "skipped", "duplicates"):
                for entry in r[kind][:20]:
                    note(f"{entry['file']}, {kind}: {entry['reason']}")
            if r["failed"] or r["skipped"] or r["recovered"] or not added:
                link("Show the runs", f"{base}/runs", "button")
        went_wrong = r["failed"] or r["skipped"] or r["recovered"]
        if added and (first or not went_wrong):  # the page with them on it
            jobs.left_out[library.folder] = [f"{e['file']}: {e['reason']}" for e in went_wrong]
            ui.navigate.to(f"{base}/?added={','.join(map(str, added[:TOLD_ADDED]))}")

    box = ui.upload(label="Drop recordings here", multiple=True, auto_upload=True, on_multi_upload=received)
    box.classes("upload-box").props('flat bordered color="transparent" text-color="inherit"')
    with ui.element("div").classes("upload") as frame:
        box.move(frame)
    timer = ui.timer(0.5, follow, active=False)


def week_data(library: Library, date: str = "") -> WeekAnswer:
    """A week as it was asked and run, as the page shows it. Raises UsageError for no date."""
    return library.week(date or None)


def signs_data(library: Library, date: str = "") -> SignsAnswer:
    """Signs, as the page shows them. Raises UsageError for no date."""
    return library.signs(date or None)


PAGES = (
    Page("/", show_week, data, nav="This week", place=0, twin="/today.json"),
    Page("/week", None, week_data),
    Page("/signs", None, signs_data),
)
