"""Progress: one sentence and the band, what else could be the cause, runs against each other."""

from __future__ import annotations

import asyncio
import datetime as dt
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import numpy as np
from nicegui import ui

from footwork.analysis.summary import IN_ROWS
from footwork.charts import Chart, Mark, Pane
from footwork.errors import FootworkError, UsageError
from footwork.quantities import Estimate, describe, format_pace, parse_date, signed
from footwork.questions import trials
from footwork.signals import FORM
from footwork.web.declaration import Page
from footwork.web.drawing import show_chart
from footwork.web.forms import Field, inputs, unfolded
from footwork.web.layout import (
    folded,
    heading,
    link,
    method_link,
    note,
    page,
    scale_links,
    table,
    text,
    unbroken,
    whisker,
    whole_number,
)
from footwork.web.page_words import sentence
from footwork.wording.due_words import long_date

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.progress import PeriodComparison, RunDrift, SeasonProgress


def data(
    library: Library, since: str = "", until: str = "", date: str = "", scale: str = "", worthwhile: str = ""
) -> SeasonProgress:
    """Shown by the page and its twin."""
    days = [parse_date(d) if d.strip() else None for d in (since, until, date)]
    try:
        least = float(worthwhile.replace(",", ".")) if worthwhile.strip() else None
    except ValueError:
        raise UsageError(f"'{worthwhile}' is no number of per cent") from None
    found: SeasonProgress = library.progress(*days, scale=scale or None, worthwhile=least)
    return found


def compare_data(library: Library, first: str = "", second: str = "", scale: str = "") -> PeriodComparison:
    """Shown by the comparison and its twin."""
    found: PeriodComparison = library.compare_runs(first, second, scale=scale or None)
    return found


def within_data(library: Library, run_id: str) -> RunDrift:
    """Shown by a run's drift page and its twin."""
    found: RunDrift = library.within(whole_number(run_id))
    return found


def chart(found: SeasonProgress) -> Chart:
    """Power at the reference heart rate, and heart rate at the reference power, each with its 95 % band."""
    x = np.array([dt.date.fromisoformat(r["date"]).toordinal() for r in found["series"]], dtype=float)
    panes = []
    for name, title in (
        ("power", f"power at {found['reference_heart_rate_bpm']:g} bpm, W"),
        ("heart_rate", f"heart rate at {found['reference_power_w']:g} W, bpm"),
    ):
        low, middle, high = (
            np.array([r[name][k] for r in found["series"]], dtype=float) for k in ("low", "value", "high")
        )
        marks = [Mark("band", x, low, high), Mark("line", x, middle, accent=True)]
        if name == "heart_rate":
            at = np.array([dt.date.fromisoformat(r["date"]).toordinal() for r in found["each"]], dtype=float)
            marks.append(
                Mark("points", at, np.array([r["heart_rate_bpm"] for r in found["each"]], dtype=float), soft=True)
            )
        panes.append(Pane(title, marks, height=170))
    return Chart(panes, "date", "Power at a heart rate, and heart rate at a power, through the season")


def drift_chart(found: RunDrift) -> Chart:
    """Heart rate at the run's mean power, minute by minute, and the straight drift."""
    x, y = (np.array([p[k] for p in found["points"]]) for k in ("elapsed_s", "heart_rate_bpm"))
    rise = found["drift"]["value"] * (x - x.mean()) / 3600
    return Chart(
        [
            Pane(
                f"heart rate at {found['power_w']:.0f} W, bpm",
                [Mark("points", x, y), Mark("line", x, y.mean() + rise, accent=True)],
                height=190,
            )
        ],
        "time",
        "Heart rate at the run's mean power over time",
    )


def _chances(found: SeasonProgress) -> None:
    decision = found["decision"]
    if decision["probability_better"] is None:
        return
    with folded("How sure, in numbers"):
        _in_numbers(found, decision)


def _in_numbers(found: SeasonProgress, decision: Any) -> None:
    text(
        "p",
        f"Probability of a worthwhile gain, {found['smallest_worthwhile_change_percent']:g} % and more: "
        f"{100 * decision['probability_better']:.1f} %; of a worthwhile loss "
        f"{100 * decision['probability_worse']:.1f} %. "
        f"A verdict needs {100 * decision['needed']:.1f} %, for the {decision['looks']} weekly looks of a "
        f"whole season. Prior: {found['prior']}.",
        "soft",
    )


def show(base: str, library: Library, found: SeasonProgress, imperial: bool) -> None:
    """The page's body."""
    scale_links(base, library, "progress", found["scale"])
    with ui.element("div").classes("numbers"):
        change = Estimate.from_json(found["change"])
        whisker(
            base,
            f"Change of power at {found['reference_heart_rate_bpm']:g} bpm, since {unbroken(found['since'])}",
            "change",
            change,
            digits=1,
        )
        whisker(
            base,
            f"Change of heart rate at {found['reference_power_w']:g} W",
            "change_heart_rate",
            Estimate.from_json(found["change_heart_rate"]),
            digits=1,
        )
    show_chart(chart(found))
    text(
        "p",
        f"{found['runs']} runs and {found['minutes']} minutes on {found['scale']}; at reference conditions: "
        f"{found['conditions']}. Every minute with sound heart rate counts, {100 * found['heart_rate_sound']:.0f} % of "
        "the time it was recorded, also of hills and intervals; each point is a run, brought to those conditions.",
        "soft",
    )
    for warning in found["warnings"]:
        note(warning, base, "progress")
    for line in found["differences_in_conditions"]:
        note(f"Not the same in the first and the last third: {line}.", base, "progress")
    if found["results"]:
        heading("By tests and races")
        for r in found["results"]:
            text(
                "p",
                f"{unbroken(r['date'])}: critical power {describe(Estimate.from_json(r['critical_power']))}, "
                f"{r['evidence']}.",
            )
        text("p", "Heart rate has no part in these; where both say the same, it is surer.", "soft")
    _chances(found)
    if found["effects"]:
        with folded("What heart rate goes with"):
            table(
                ["with", "heart rate", "interval"],
                [
                    [
                        f"{e['of'][0].upper()}{e['of'][1:]}",
                        f"{e['effect']['value']:+.1f} bpm",
                        f"{e['effect']['low']:+.1f} to {e['effect']['high']:+.1f}",
                    ]
                    for e in found["effects"]
                ],
            )
    if found["durability"]:
        with folded("After so much work in a run"):
            table(
                ["work", "heart rate at the same power", "interval", "runs"],
                [
                    [
                        f"{d['from_kj']} to {d['to_kj']} kJ",
                        f"{d['rise']['value']:+.1f} bpm",
                        f"{d['rise']['low']:+.1f} to {d['rise']['high']:+.1f}",
                        str(d["rise"]["n"]),
                    ]
                    for d in found["durability"]
                ],
                labelled=True,
            )
    months = [m for m in found["speed"]["months"] if m["speed"]["value"] is not None]
    if months:
        with folded(f"Flat speed at {found['speed']['power_w']:g} W, by month"):
            table(
                ["month", "pace", "interval", "runs"],
                [
                    [
                        m["month"],
                        format_pace(m["speed"]["value"], imperial),
                        f"{format_pace(m['speed']['high'], imperial)} to {format_pace(m['speed']['low'], imperial)}",
                        str(m["speed"]["n"]),
                    ]
                    for m in months
                ],
                labelled=True,
            )
            text("p", found["speed"]["sentence"], "soft")
    measures = [m for m in found["form"]["measures"] if m["change"]["value"] is not None]
    if measures:
        with folded("Form at the same speed"):
            rows = []
            for m in measures:
                d, c = (3, m["change"]) if m["unit"] == "m" else (1, m["change"])
                rows.append(
                    [
                        m["name"].replace("_", " ").capitalize(),
                        f"{m['months'][0]['mean']:.{d}f} {m['unit']}",
                        f"{m['months'][-1]['mean']:.{d}f} {m['unit']}",
                        f"{signed(c['value'], d)} ({signed(c['low'], d)} to {signed(c['high'], d)})",
                    ]
                )
            table(["measure", "first month", "last month", "change"], rows, labelled=True)
            text("p", f"{found['form']['sentence']} At {format_pace(measures[0]['speed_mps'], imperial)}.", "soft")


async def show_progress(
    base: str, library: Library, since: str = "", until: str = "", date: str = "", scale: str = "", worthwhile: str = ""
) -> None:
    imperial = library.setting("units") == "imperial"
    try:
        found, problem = await asyncio.to_thread(data, library, since, until, date, scale, worthwhile), ""
    except FootworkError as error:
        found, problem = None, sentence(str(error))
    with page(base, "Progress", "Progress", found["sentence"] if found else problem):
        if found:
            if alike := found["alike_since"]:
                with ui.element("p"):
                    text("span", f"From {long_date(parse_date(alike))} on heat hardly comes into it. ")
                    window = {"since": alike, "until": until, "date": date, "scale": scale, "worthwhile": worthwhile}
                    address = "&".join(f"{name}={quote(value)}" for name, value in window.items() if value.strip())
                    link("Ask of that time alone", f"{base}/progress?{address}")
            show(base, library, found, imperial)
        with ui.element("details"):
            text("summary", "Another window, or another smallest worthwhile change")
            given: dict[str, str] = {"since": since, "until": until, "worthwhile": worthwhile}
            inputs(
                [
                    Field("since", "First day", form="date"),
                    Field("until", "Last day"),
                    Field("worthwhile", "Smallest worthwhile change, %; 0.5 if empty"),
                ],
                given,
                "window-",
            )

            def asked(_: Any) -> None:
                words = "&".join(f"{k}={quote(v)}" for k, v in given.items() if v.strip())
                ui.navigate.to(f"{base}/progress?{words}")

            text("button", "Look at that", "fw").on("click", asked)
        _compare_form(base)
        unfolded(
            "How much entering the weather would narrow this",
            lambda: library.worth_of_weather(),
            lambda worth: text("p", worth["sentence"]),
        )
        unfolded("Heart rate and cadence in everyday runs", lambda: trials.cadence_history(library), _cadence)
        with ui.element("div").classes("row-of"):
            link("Trials of a change", f"{base}/trials", "button")
        with ui.element("p"):
            method_link(base, "progress", "How progress is told")


async def show_compare_runs(base: str, library: Library, first: str = "", second: str = "", scale: str = "") -> None:
    found: PeriodComparison | None = None
    problem = "Name two runs by their numbers, or two blocks of days."
    if first.strip() and second.strip():
        try:
            found, problem = await asyncio.to_thread(compare_data, library, first, second, scale), ""
        except FootworkError as error:
            problem = sentence(str(error))
    with page(base, "Progress", "Runs against each other", found["sentence"] if found else problem):
        _compare_form(base, first, second, opened=found is None)
        if found is not None:
            _compared(base, found)
        with ui.element("p"):
            method_link(base, "compare-runs", "How runs are compared")


async def show_drift(base: str, library: Library, run_id: str) -> None:
    try:
        found, problem = await asyncio.to_thread(within_data, library, run_id), ""
    except FootworkError as error:
        found, problem = None, sentence(str(error))
    with page(base, "Runs", f"Heart rate along run {run_id}", found["sentence"] if found else problem):
        with ui.element("div").classes("row-of"):
            link("The run", f"{base}/runs/{run_id}", "button")
            link("Progress", f"{base}/progress", "button")
        if found is not None:
            with ui.element("div").classes("numbers"):
                whisker(base, "Drift of this run", "drift", Estimate.from_json(found["drift"]), digits=1)
                if found["usual"]:
                    whisker(base, "Usual drift", "usual", Estimate.from_json(found["usual"]), digits=1)
            show_chart(drift_chart(found))
            text(
                "p",
                "Each point is a minute's heart rate, brought to the run's mean power and to the flat. "
                "The first ten minutes are left out.",
                "soft",
            )
        with ui.element("p"):
            method_link(base, "within-run", "How drift is told")


def _cadence(told: dict[str, Any]) -> None:
    table(
        ["cadence against the run's own at that speed, %", "heart rate at the same power", "minutes"],
        [[g["cadence"].capitalize(), f"{g['heart_rate_bpm']:+.1f} bpm", str(g["minutes"])] for g in told["groups"]],
        labelled=True,
    )
    text("p", told["sentence"], "soft")


def _compare_form(base: str, first: str = "", second: str = "", opened: bool = False) -> None:
    with ui.element("details") as box:
        box.props["open"] = opened
        text("summary", "Two runs or two blocks of weeks against each other")
        given = {"first": first, "second": second}
        inputs(
            [Field("first", "Run, or days as 2026-03-02..2026-03-29"), Field("second", "Against it: run, or days")],
            given,
            "pair-",
        )

        def asked(_: Any) -> None:
            ui.navigate.to(f"{base}/compare-runs?first={quote(given['first'])}&second={quote(given['second'])}")

        text("button", "Compare", "fw").on("click", asked)


WORDS = {
    "power_at_heart_rate": "Power at the same heart rate",
    "heart_rate_at_power": "Heart rate at the same power",
    "speed_at_power": "Speed at the same watts: the device",
    "cadence_at_speed": "Cadence at the same speed",
    "step_length_at_speed": "Step length at the same speed",
    **{f"{name}_at_speed": f"{FORM[name].words.capitalize()} at the same speed" for name in IN_ROWS},
}


def _compared(base: str, found: PeriodComparison) -> None:
    with ui.element("div").classes("numbers"):
        for o in found["outcomes"][:2]:
            whisker(base, WORDS[o["name"]], f"outcomes.{o['name']}", Estimate.from_json(o["difference"]), digits=1)
    rows = []
    for o in found["outcomes"]:
        e = o["difference"]
        d = 3 if e["unit"] == "m" else 1
        size = (
            f"{signed(e['value'], d)} {e['unit']} ({signed(e['low'], d)} to {signed(e['high'], d)})"
            if e["value"] is not None
            else f"withheld: {e['reason']}"
        )
        chance = (
            f"{100 * o['probability_worthwhile']:.0f} %"
            if o["probability_worthwhile"] is not None
            else "described only"
        )
        rows.append(
            [
                WORDS[o["name"]],
                size,
                f"{o['smallest_worthwhile_change']:g} {e['unit']}" if o["smallest_worthwhile_change"] else "",
                chance,
            ]
        )
    table(["outcome", "difference", "worthwhile from", "probability of a worthwhile gain"], rows, labelled=True)
    if found["differences_in_conditions"]:
        heading("Not the same on both sides")
        for line in found["differences_in_conditions"]:
            text("p", f"{line[0].upper()}{line[1:]}.")
    m = found["matched"]
    sides = [
        f"{len(s['runs'])} run{'s' if len(s['runs']) > 1 else ''} with {s['minutes']} matched minutes"
        for s in (found["first"], found["second"])
    ]
    text(
        "p",
        f"{sides[0]} against {sides[1]}, at {m['low_w']:.0f} to {m['high_w']:.0f} W on {found['scale']}; "
        f"slopes {m['slopes']}; temperature {m['temperature']}. Prior: {found['prior']}.",
        "soft",
    )


PAGES = (
    Page("/progress", show_progress, data, nav="Progress", place=7),
    Page("/compare-runs", show_compare_runs, compare_data),
    Page("/runs/{run_id}/drift", show_drift, within_data),
)
