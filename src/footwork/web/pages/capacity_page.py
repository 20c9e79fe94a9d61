"""What the runner can hold: curve, model, evidence, domains."""

from __future__ import annotations

import asyncio
import datetime as dt
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import numpy as np
from nicegui import ui

from footwork.charts import Chart, Mark, Pane
from footwork.errors import FootworkError
from footwork.quantities import Estimate, format_duration, format_pace, parse_date
from footwork.questions.capacity import Capacity
from footwork.web.declaration import Page
from footwork.web.drawing import show_chart
from footwork.web.forms import Field, command_form
from footwork.web.layout import folded, heading, link, note, page, pause_note, scale_links, table, text, whisker
from footwork.web.page_words import sentence as spoken
from footwork.wording.cautions import before_hard_work

if TYPE_CHECKING:
    from footwork.api import Library

_BORDERS = {
    "moderate_heavy": "Moderate to heavy",
    "heavy_severe": "Heavy to severe (CP)",
    "severe_extreme": "Severe to extreme",
}


MOST_DAYS = 700  # in the picture through time


def answer(library: Library, date: str = "", scale: str = "") -> Capacity:
    found: Capacity = library.capacity(date=parse_date(date) if date else None, scale=scale or None)
    return found


def data(library: Library, date: str = "", scale: str = "") -> dict[str, Any]:
    """Shown by the page and its twin."""
    found: dict[str, Any] = library.history(parse_date(date) if date else None, scale or None)
    return found


def sentence(found: Capacity) -> str:
    cp = found.critical_power
    if cp.value is None:
        return f"{cp.reason[0].upper()}{cp.reason[1:]}."
    return (
        f"Your critical power on {found.scale} is about {cp.value:.0f} W, {cp.low:.0f} to {cp.high:.0f}: "
        f"{found.evidence['sentence']}, as of {found.date}."
    )


def curve_chart(found: Capacity) -> Chart:
    """Best efforts as a line, the power-duration relationship as a band, the efforts that count as points."""
    rows = [r for r in found.curve if r["duration_s"] >= 10]
    x = np.array([r["duration_s"] for r in rows], float)
    marks = []
    if rows and "model" in rows[0]:
        modelled = [r for r in rows if 120 <= r["duration_s"] <= 4 * 3600]
        if modelled:
            mx = np.array([r["duration_s"] for r in modelled], float)
            low, high = (np.array([getattr(r["model"], end) for r in modelled], float) for end in ("low", "high"))
            marks.append(Mark("band", mx, low, high))
    marks.append(Mark("line", x, np.array([r["power_w"] for r in rows], float), label="best"))
    used = [e for e in found.evidence["efforts"] if e["kind"] == "maximal"]
    if used:
        marks.append(
            Mark(
                "points",
                np.array([e["duration_s"] for e in used], float),
                np.array([e["power_w"] for e in used], float),
                accent=True,
                names=_apart([np.log(e["duration_s"]) for e in used], [_short_date(e["label"]) for e in used], 0.5),
            )
        )
    return Chart(
        [Pane("mean maximal power, W", marks, height=280)],
        "log-time",
        "Best mean power by duration with the power-duration relationship as a band",
    )


def _apart(at: Sequence[float], names: Sequence[str], room: float) -> tuple[str, ...]:
    """Names of points with room between them along the axis; the later in the list stand."""
    out: list[str] = []
    for k, name in enumerate(names):
        out.append("" if any(abs(at[k] - other) < room for other in at[k + 1 :]) else name)
    return tuple(out)


def _short_date(label: str) -> str:
    """A date as a point's name, ``19 May``; what is no date as it is."""
    try:
        day = dt.date.fromisoformat(label)
    except ValueError:
        return label
    return f"{day.day} {day:%b}"


async def show_capacity(base: str, library: Library, date: str = "", scale: str = "") -> None:
    try:
        found = await asyncio.to_thread(answer, library, date, scale)
        told = await asyncio.to_thread(data, library, date, scale)
    except FootworkError as error:
        with page(base, "Capacity", "Capacity", f"{str(error)[0].upper()}{str(error)[1:]}."):
            link("Add recordings", f"{base}/", "button")
        return
    imperial = library.setting("units") == "imperial"
    with page(base, "Capacity", "What you can hold", sentence(found)):
        if not date:
            pause_note(base, library)
        scale_links(base, library, "capacity", found.scale)
        kind = found.evidence["kind"]
        with ui.element("div").classes("numbers"):
            whisker(base, "Critical power", "critical_power", found.critical_power, kind)
            whisker(base, "W′, work above it", "w_prime", found.w_prime.scaled(1e-3, "kJ"), kind, 1)
            whisker(
                base,
                "Critical speed, flat",
                "critical_speed",
                found.critical_speed,
                "",
                2,
                lambda v: format_pace(v, imperial).split(" ")[0],
                "/mi" if imperial else "/km",
            )
        for warning in found.warnings:
            note(warning, base, "critical-power")
        if told.get("held_back"):
            note(told["held_back"], base, "cautions")
        elif kind in ("lower bound", "none", "habitual"):
            text("p", "Run 3, 7 and 12 minutes all you can on rested days, and mark the runs as tests.")
            note(before_hard_work("test"), base, "cautions")
        if found.unconfirmed is not None:
            _lone_run(base, library, found.unconfirmed)
        if found.curve:
            heading("Best efforts and what they imply")
            shown = (
                (
                    "The band is the 95 % interval of the power-duration relationship; points are the "
                    "maximal efforts it rests on. The line is the best mean power of the last four months over each "
                    "time, from any run: below the band you did not go to the end."
                )
                if found.critical_power.value
                else "Best mean power of the last four months."
            )
            text("p", shown, "soft")
            show_chart(curve_chart(found))
        _through_time(base, library, found, told)
        heading("Intensity domains")
        table(
            ["border", "power", "pace, flat", "heart rate"], [_border(n, b, imperial) for n, b in found.domains.items()]
        )
        if found.extrapolated:
            text("p", found.extrapolated, "soft")
        with ui.element("p"):
            link("How domains are known", f"{base}/methods#domains", "soft")
        if found.critical_power.value:
            with ui.element("p"):
                link("My numbers, with what you usually run, also on paper", f"{base}/numbers")
        _evidence(base, found)


def _lone_run(base: str, library: Library, of: dict[str, Any]) -> None:
    """A run that alone asks for more: what it says, and the two ways to settle it."""
    with ui.element("div").classes("row-of"):
        link(f"Look at run {of['run']} of {of['date']}", f"{base}/runs/{of['run']}", "button")
        for label, do in (
            ("It was a race or test", lambda: library.mark(of["run"], "test")),
            ("Leave it out", lambda: library.leave_out(of["run"])),
        ):
            button = text("button", label, "fw")

            async def press(_: Any, do: Callable[[], Any] = do) -> None:
                try:
                    await asyncio.to_thread(do)
                except FootworkError as error:
                    ui.notify(spoken(str(error)))
                    return
                ui.navigate.to(f"{base}/capacity")

            button.on("click", press)


def history_chart(told: dict[str, Any]) -> Chart:
    """Proposed CP as a band through the days, its middle as a line, the accepted CP as steps."""
    rows = _thinned(told["history"], {m["date"] for m in told["moved"][:8]})
    days = np.array([dt.date.fromisoformat(r["date"]).toordinal() for r in rows], float)
    low, value, high = (np.array([r["critical_power"][end] for r in rows], float) for end in ("low", "value", "high"))
    known = np.isfinite(value)  # withheld days leave a gap in the line and between the bands
    runs = np.split(np.arange(len(days)), np.flatnonzero(np.diff(known.astype(int))) + 1)
    marks = [Mark("band", days[r], low[r], high[r]) for r in runs if len(r) and known[r[0]]]
    marks.append(Mark("line", days, value, label="proposed", accent=True))
    steps = [(dt.date.fromisoformat(e["date"]).toordinal(), e["critical_power_w"]) for e in told["accepted_entries"]]
    if steps and len(days):
        at = np.array([next((w for d, w in reversed(steps) if d <= day), np.nan) for day in days])
        marks.append(Mark("line", days, at, label="accepted"))
    moved = [m for m in told["moved"][:8] if m["run"]]
    if moved:
        marks.append(
            Mark(
                "points",
                np.array([dt.date.fromisoformat(m["date"]).toordinal() for m in moved], float),
                np.array([m["after_w"] for m in moved], float),
                names=_apart(
                    [float(dt.date.fromisoformat(m["date"]).toordinal()) for m in moved],
                    [f"{m['after_w'] - m['before_w']:+.0f} W, {_short_date(m['date'])}" for m in moved],
                    0.3 * (len(days) or 1),  # as wide as a label is on a phone
                ),
            )
        )
    return Chart(
        [Pane("critical power, W", marks, height=200)], "date", "Proposed critical power day by day with its interval"
    )


def _thinned(history: list[dict[str, Any]], moved: set[str]) -> list[dict[str, Any]]:
    """No more days than a screen has room for: every so many of a long history, the days that moved it, and the days
    beside which nothing is known."""
    step = len(history) // MOST_DAYS + 1
    known = [row["critical_power"]["value"] is not None for row in history]
    last = len(history) - 1
    return [
        row
        for k, row in enumerate(history)
        if k == 0 or (last - k) % step == 0 or row["date"] in moved or known[max(k - 1, 0)] != known[min(k + 1, last)]
    ]


def _through_time(base: str, library: Library, found: Capacity, told: dict[str, Any]) -> None:
    if found.critical_power.value is None:
        return
    heading("Through time")
    if sum(r["critical_power"]["value"] is not None for r in told["history"]) > 7:
        show_chart(history_chart(told))
    if told["moved"]:
        table(
            ["what moved it", "until", "kind", "critical power"],
            [
                [
                    (f"Run {m['run']}", f"{base}/runs/{m['run']}") if m["run"] else m["label"].capitalize(),
                    m["date"],
                    m["kind"],
                    f"{m['before_w']:.0f} → {m['after_w']:.0f} W",
                ]
                for m in told["moved"][:8]
            ],
        )
    heading("Accepted")
    chosen = found.accepted
    said = (
        f"{chosen['critical_power_w']:.0f} W since {chosen['date']}: domains and load use it."
        if chosen
        else "None yet: domains and load use the proposal."
    )
    text("p", said)
    with ui.element("div").classes("row-of"):
        proposed = round(found.critical_power.value or 0)
        if chosen is None or round(chosen["critical_power_w"]) != proposed:
            button = text("button", f"Accept {proposed} W from {found.date} on", "fw")

            async def press(_: Any) -> None:
                try:
                    await asyncio.to_thread(library.accept, proposed, found.date, found.scale_key)
                except FootworkError as error:
                    ui.notify(spoken(str(error)))
                    return
                ui.navigate.to(f"{base}/capacity?scale={quote(found.scale)}")

            button.on("click", press)
        if chosen is not None:
            taken = text("button", f"Take back {chosen['critical_power_w']:.0f} W of {chosen['date']}", "fw")

            async def take_back(_: Any) -> None:
                await asyncio.to_thread(library.withdraw, chosen["date"], found.scale_key)
                ui.navigate.to(f"{base}/capacity?scale={quote(found.scale)}")

            taken.on("click", take_back)
    with folded("Accept another critical power"):
        command_form(
            library,
            ["capacity"],
            (
                Field("accept", "Critical power, W", "--accept", form="number"),
                Field("from", "From which day, today if empty", "--date", form="date"),
            ),
            "Accept it",
            f"{base}/capacity?scale={quote(found.scale)}",
            needed=["accept"],
            fixed=[f"--scale={found.scale}"],
        )
    if told["tests"]:
        with folded("What a test would tell"):
            table(
                ["test", "interval now", "expected after"],
                [
                    [t["test"], f"± {t['half_width_now_w']:.0f} W", f"± {t['half_width_after_w']:.0f} W"]
                    for t in told["tests"]
                ],
            )
            note(before_hard_work("test"), base, "cautions")


def _border(name: str, border: dict[str, Estimate], imperial: bool) -> list[str]:
    def shown(e: Estimate, form: Any) -> str:
        if e.value is None or e.low is None or e.high is None:
            return f"withheld: {e.reason}"
        number, _, unit = form(e.value).partition(" ")
        low, high = (
            sorted(form(v).partition(" ")[0] for v in (e.low, e.high))
            if ":" in number
            else (form(e.low).partition(" ")[0], form(e.high).partition(" ")[0])
        )
        return f"{number} {unit}, {low}–{high}".replace(" ", "\u00a0")

    return [
        _BORDERS[name],
        shown(border["power"], lambda v: f"{v:.0f} W"),
        shown(border["speed"], lambda v: format_pace(v, imperial)),
        shown(border["heart_rate"], lambda v: f"{v:.0f} bpm"),
    ]


def _evidence(base: str, found: Capacity) -> None:
    if not found.evidence["efforts"]:
        return
    with folded(f"The {len(found.evidence['efforts'])} efforts it rests on"):
        table(
            ["effort", "power", "kind", "run"],
            [
                [
                    format_duration(e["duration_s"]),
                    f"{e['power_w']:.0f} W",
                    e["kind"],
                    (e["label"], f"{base}/runs/{e['run']}") if e["run"] else e["label"],
                ]
                for e in found.evidence["efforts"]
            ],
        )


PAGES = (Page("/capacity", show_capacity, data, nav="Capacity", place=3),)
