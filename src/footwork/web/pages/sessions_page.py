"""Sessions: written in plain words with a live preview, kept for a day beside what was run, and held against it."""

from __future__ import annotations

import asyncio
import datetime as dt
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import numpy as np
from nicegui import ui

from footwork.charts import Chart, Mark, Pane
from footwork.errors import FootworkError, UsageError
from footwork.history.log import entries
from footwork.planning import shelf
from footwork.quantities import format_duration, format_pace
from footwork.questions.sessions import against, calendar, minimum, session_workout, worded, yaml_of
from footwork.reports import session_sheet
from footwork.web.declaration import Page
from footwork.web.drawing import show_chart
from footwork.web.forms import Field, command_form, downloads
from footwork.web.layout import (
    domain_strip,
    fill,
    folded,
    link,
    measured,
    method_link,
    note,
    page,
    pause_note,
    table,
    text,
    whisker,
    whole_number,
)
from footwork.web.page_words import sentence
from footwork.web.pages import session_week
from footwork.wording import cautions
from footwork.wording.session_verdicts import can_finish, runs_out

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.session import SessionMatch, SessionPreview

BUILDER = {
    "warm": "Warm-up",
    "count": "Repeats",
    "work": "Each, a time or distance",
    "how": "How hard",
    "rest": "Rest between",
    "between": "How",
    "cool": "Cool-down",
}
BUILT = {
    "warm": "15 min",
    "count": "5",
    "work": "4 min",
    "how": "at 105 % CP",
    "rest": "2 min",
    "between": "easy jog",
    "cool": "10 min",
}
EXAMPLE = "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy"


def data(library: Library, session: str = "", scale: str = "") -> dict[str, Any]:
    """Shown by the page and its twin: the preview of a session in words, and the kept ones."""
    return {
        "preview": library.session(worded(library, session or EXAMPLE)[0], None, scale or None),
        "kept": library.sessions(),
    }


def match_data(library: Library, run_id: str, session: str = "") -> SessionMatch:
    """A run against a session, in words or the one kept for its day."""
    number = whole_number(run_id)
    entries.library_row(library, number)
    words = worded(library, session)[0].strip() or next(
        (r["text"] for r in library.sessions() if number in r["runs"]), ""
    )
    if not words:
        raise UsageError(f"no session is kept for the day of run {number}: name one, in words or as on the shelf")
    found: SessionMatch = library.match_session(number, words)
    return found


def chart(found: SessionPreview) -> Chart:
    """Power over time, and W′ with its interval at the end of each step."""
    x = np.array([v for s in found["steps"] for v in (s["start_s"], s["start_s"] + s["duration_s"])])
    power = np.array([v for s in found["steps"] for v in (s["power_w"], s["power_w"])])
    ends = np.array([0.0, *(s["start_s"] + s["duration_s"] for s in found["steps"])])
    first = found["w_prime_j"]
    low, middle, high = (
        np.array([first if k == "w_prime_j" else np.nan, *(s[k] for s in found["steps"])]) / 1000
        for k in ("w_prime_low_j", "w_prime_j", "w_prime_high_j")
    )
    cp = np.full(2, found["critical_power_w"])
    panes = [
        Pane(
            "power, W",
            [Mark("line", np.array([0.0, x[-1]]), cp, label=f"CP {cp[0]:.0f}", soft=True), Mark("line", x, power)],
            height=140,
        )
    ]
    if np.nanmax(high) - np.nanmin(low) > 0.5:
        panes.append(
            Pane("W′ balance, kJ", [Mark("band", ends[1:], low[1:], high[1:]), Mark("line", ends, middle)], height=110)
        )
    return Chart(panes, "time", "Power and W′ balance of the session")


def match_chart(library: Library, run_id: int, found: SessionMatch) -> Chart | None:
    """What was run over time with the bands that were asked; None where nothing was asked in what was recorded."""
    of = next((s["of"] for s in found["steps"] if s["work"] and s["found"] and s["banded"]), None)
    if of is None:
        return None
    signals, row = library.signals(run_id), entries.library_row(library, run_id)
    values = signals.sound_heart_rate if of == "heart_rate" else signals.get(row.column if of == "power" else "speed")
    n = len(values) // 10
    with np.errstate(invalid="ignore"):
        mean = np.array(
            [float(np.nanmean(v)) if np.isfinite(v).any() else np.nan for v in values[: 10 * n].reshape(-1, 10)]
        )
    x = np.asarray(10.0 * np.arange(n) + 5, dtype=float)
    marks = []
    for s in found["steps"]:
        if s["work"] and s["found"] and s["banded"] and s["of"] == of:
            at = np.array([float(s["start_s"]), float(s["end_s"])])
            marks.append(Mark("band", at, np.full(2, s["low"]), np.full(2, s["high"])))
    label = {"power": "power, W", "speed": "speed, m/s", "heart_rate": "heart rate, bpm"}[of]
    return Chart(
        [Pane(label, [*marks, Mark("line", x, mean)], height=200)],
        "time",
        "What was run, with the bands that were asked",
    )


def show(base: str, library: Library, found: SessionPreview, imperial: bool) -> None:
    """The preview."""
    text("h2", "Not now" if found["held_back"] else can_finish(found["run_dry_probability"]), "lead")
    if found["held_back"]:
        note(found["held_back"], base, "cautions")
    text("p", found["text"])
    least, hardest = minimum(found), found["steps"][found["hardest"]]
    with ui.element("div").classes("numbers"):
        if hardest["power_w"] >= 1:
            pace = f"about {format_pace(hardest['speed_mps'], imperial)} on the flat" if hardest["speed_mps"] else ""
            measured("Hardest part", f"{hardest['power_w']:.0f}", "W asked", pace, base, "w-prime-balance")
        if where := runs_out(found):
            measured("W′", "runs out", "", where, base, "w-prime-balance")
        else:
            whisker(base, "W′ at its lowest", "preview.w_prime_minimum_j", least.scaled(1e-3, "kJ"), digits=1)
    text(
        "p",
        f"{format_duration(found['duration_s'])}, {found['cp_minutes']:.0f} CP-minutes on {found['scale']}, "
        f"shares of {'your accepted' if found['accepted'] else 'the estimated'} CP of "
        f"{found['critical_power_w']:.0f} W. Chance of running dry before the end: "
        f"{100 * found['run_dry_probability']:.0f} %.",
    )
    if found["kinder"]:
        text("p", f"A kinder version, {found['kinder']['change']}: {found['kinder']['text']}.")
    show_chart(chart(found))
    domain_strip(found["seconds_in_domains"])
    with folded(f"Step by step, {len(found['steps'])} steps"):
        table(
            [
                "step",
                "from",
                "lasts",
                "power",
                "flat pace",
                "heart rate at its end",
                "domain",
                "W′ left",
                "dry by then",
            ],
            [
                [
                    (f"{'.'.join(map(str, s['repeat']))}: " if s["repeat"] else "") + s["text"],
                    format_duration(s["start_s"]) if s["start_s"] else "0:00",
                    format_duration(s["duration_s"]),
                    f"{s['power_w']:.0f} W" if s["power_w"] >= 1 else "rest",
                    format_pace(s["speed_mps"], imperial) if s["speed_mps"] else "",
                    f"{s['heart_rate_bpm']:.0f} bpm" if s["heart_rate_bpm"] else "",
                    s["domain"],
                    f"{max(s['w_prime_j'], 0.0) / 1000:.1f} kJ",
                    f"{100 * s['dry_by']:.0f} %",
                ]
                for s in found["steps"]
            ],
            labelled=True,
        )
        if len(found["steps"]) > 1:
            text(
                "p",
                "The hardest step, by the chance of running dry in it, else by where W′ is lowest: "
                f"{hardest['text']}, "
                f"at {format_duration(hardest['start_s']) if hardest['start_s'] else '0:00'}.",
                "soft",
            )
    for warning in (*found["of_capacity"], *found["warnings"]):
        note(warning, base, "sessions")
    if not found["held_back"]:
        _take_along(library, found)


def _take_along(library: Library, found: SessionPreview) -> None:
    words = found["text"]
    downloads(
        [
            ("Workout for the watch", "session.fit", lambda: session_workout(library, words, scale=found["scale"])),
            ("On paper", "session.pdf", lambda: session_sheet(found, "", library.setting("units") == "imperial")),
            ("As YAML", "session.yaml", lambda: yaml_of({"text": words}).encode()),
        ]
    )


def _builder(state: dict[str, Any], follow: Callable[[], Awaitable[None]]) -> None:
    """Fields from which the usual shape of a session is written."""
    with folded("Build it from fields"):
        built = dict(BUILT)

        async def put(event: Any, name: str) -> None:
            built[name] = str(event.args["value"]).strip() or BUILT[name]
            state["words"] = (
                f"{built['warm']} easy, {built['count']} x ({built['work']} {built['how']}, "
                f"{built['rest']} {built['between']}), {built['cool']} easy"
            )
            fill({"session": state["words"]})
            await follow()

        with ui.element("div").classes("fw-form"):
            for name, label in BUILDER.items():
                with ui.element("label"):
                    text("span", label)
                    part = ui.element("input").props(f'type="text" autocomplete="off" name="build-{name}"')
                    part.props["placeholder"] = BUILT[name]

                    async def told(event: Any, name: str = name) -> None:
                        await put(event, name)

                    part.on("change", told, js_handler="(e) => emit({value: e.target.value})")


def _forms(base: str, library: Library, state: dict[str, Any]) -> None:
    """Keep the session, solve for its unknown, hold two runs of one session against each other."""
    with folded("Keep it for a day, with a name"):
        command_form(
            library,
            ["session", "new"],
            [Field("date", "Day, today if empty", "--date", form="date"), Field("name", "Name", "--name")],
            "Keep this session",
            lambda kept: f"{base}/sessions?session={quote(kept['text'])}&week={kept['date']}",
            prefix="keep-",
            bare=True,
            more=lambda: [state["words"]],
        )
    with folded("Solve for the unknown"):
        text(
            "p",
            "Write ? above for the power, a rest or the number of repeats, as 5 x (4 min at ?, 2 min easy jog).",
            "soft",
        )
        command_form(
            library,
            ["session", "solve"],
            [Field("leave", "Share of W′ to leave, 0.2 if empty", "--leave")],
            "Solve",
            lambda found: f"{found['text']}: {100 * found['run_dry_probability']:.0f} % chance of running dry.",
            prefix="solve-",
            bare=True,
            more=lambda: [state["words"]],
        )
    with folded("The same session weeks apart"):
        command_form(
            library,
            ["session", "compare"],
            [Field("first", "Number of the earlier run"), Field("second", "Number of the later run")],
            "Compare",
            lambda found: found["sentence"],
            needed=["first", "second"],
            prefix="compare-",
        )


def _monday(week: str, today: dt.date) -> dt.date:
    """The Monday of a day's week in the address; of today's where it is none."""
    try:
        day = dt.date.fromisoformat(week)
    except ValueError:
        day = today
    return day - dt.timedelta(days=day.weekday())


async def show_sessions(base: str, library: Library, session: str = "", scale: str = "", week: str = "") -> None:
    imperial = library.setting("units") == "imperial"
    try:  # a number or a name in the address; what is typed is words
        words = worded(library, session)[0]
    except FootworkError:
        words = session
    state: dict[str, Any] = {"words": words or EXAMPLE, "turn": 0}

    async def follow() -> None:
        state["turn"] += 1
        turn = state["turn"]
        try:
            found, problem = await asyncio.to_thread(library.session, state["words"], None, scale or None), ""
        except FootworkError as error:
            found, problem = None, sentence(str(error))
        if turn != state["turn"]:
            return
        shown.clear()
        with shown:
            if found is None:
                text("p", problem)
            else:
                show(base, library, found, imperial)

    async def typed(event: Any) -> None:
        state["words"] = str(event.args["value"])
        state["typed"] = state.get("typed", 0) + 1
        mine = state["typed"]
        await asyncio.sleep(0.25)  # typing settles
        if mine == state["typed"]:
            await follow()

    with page(
        base, "Sessions", "Sessions", "Write a session in plain words; see what it asks of you before you run it."
    ):
        with ui.element("label").classes("find").style("max-width:none"):
            text(
                "span",
                "Steps with commas between; repeats as 5 x (…); how hard as 105 % CP, 280 W, 4:30/km, "
                "150 bpm, exertion 7, in the heavy domain, easy, threshold",
            )
            box = ui.element("input").props('type="text" autocomplete="off" name="session"')
            box.on("input", typed, js_handler="(e) => emit({value: e.target.value})")
        fill({"session": state["words"]}, arriving=True)
        _builder(state, follow)
        with folded("A shelf of sessions and tests"):
            for entry in shelf.SHELF:
                with ui.element("p"):
                    link(entry.name.capitalize(), f"{base}/sessions?session={quote(entry.text)}")
                    text("span", f" {entry.purpose}. {entry.protocol} {entry.tells}".rstrip())
            if decides := cautions.physician_words(library.context(), dt.date.today()):
                note(decides, base, "cautions")
            note(cautions.before_hard_work("test"), base, "cautions")
        pause_note(base, library)
        shown = ui.element("div")
        _forms(base, library, state)
        await session_week.Week(base, library, lambda: state["words"], _monday(week, library.current_day())).section()
        downloads([("All as a calendar", "sessions.ics", lambda: calendar(library))])
        with ui.element("p"):
            method_link(base, "sessions", "How a preview is made")
        await follow()


async def show_held_against(base: str, library: Library, run_id: str, session: str = "") -> None:
    try:
        found, problem = await asyncio.to_thread(match_data, library, run_id, session), ""
    except FootworkError as error:
        found, problem = None, sentence(str(error))
    imperial = library.setting("units") == "imperial"
    with page(
        base,
        "Sessions",
        f"Run {run_id} against its session",
        problem or f"{found['verdict']} {found['next']}" if found else problem,
    ):
        with ui.element("div").classes("row-of"):
            link("The run", f"{base}/runs/{run_id}", "button")
            link("Sessions", f"{base}/sessions", "button")
        with ui.element("details") as box:
            box.props["open"] = found is None
            text("summary", "Hold it against another session")
            with ui.element("label").classes("find").style("max-width:none"):
                text("span", "Session in words")
                field = ui.element("input").props('type="text" autocomplete="off" name="session"')

            async def compare(event: Any) -> None:
                ui.navigate.to(f"{base}/runs/{run_id}/session?session={quote(str(event.args['value']))}")

            field.on("change", compare, js_handler="(e) => emit({value: e.target.value})")
        if found is not None:
            text("p", found["text"])
            drawn = await asyncio.to_thread(match_chart, library, int(run_id), found)
            if drawn is not None:
                show_chart(drawn)
            table(
                ["step", "from", "lasted", "held", "asked", "in band", "second half", "heart rate at the end", "W′"],
                [
                    [
                        s["text"],
                        "not run" if not s["found"] else format_duration(s["start_s"]) if s["start_s"] else "0:00",
                        *(
                            (
                                format_duration(s["end_s"] - s["start_s"]),
                                *against(s, imperial),
                                f"{100 * s['in_band']:.0f} %" if s["in_band"] is not None else "",
                                f"{round(-100 * s['fade_share']):+d} %" if s["fade_share"] is not None else "",
                                f"{s['heart_rate_end_bpm']:.0f} bpm" if s["heart_rate_end_bpm"] is not None else "",
                                f"{s['w_prime_start_j'] / 1000:.1f} to {s['w_prime_end_j'] / 1000:.1f} kJ"
                                if s["w_prime_end_j"] is not None and s["w_prime_start_j"] is not None
                                else "",
                            )
                            if s["found"]
                            else ("",) * 7
                        ),
                    ]
                    for s in found["steps"]
                    if s["work"] or s["found"]
                ],
                labelled=True,
            )
            for e in found["extra"]:
                text(
                    "p",
                    f"Extra: {format_duration(e['end_s'] - e['start_s'])} of work from "
                    f"{format_duration(e['start_s']) if e['start_s'] else '0:00'}.",
                    "soft",
                )
            with ui.element("p"):
                method_link(base, "sessions", "How a run is matched")


PAGES = (
    Page("/sessions", show_sessions, data, nav="Sessions", place=4),
    Page("/runs/{run_id}/session", show_held_against, match_data),
)
