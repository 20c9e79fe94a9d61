"""Devices: scales, how their watts convert, where one jumped, device checks, and what the runner decides about them."""

from __future__ import annotations

import asyncio
import datetime as dt
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from nicegui import ui

from footwork.charts import Chart, Mark, Pane
from footwork.errors import FootworkError
from footwork.quantities import Estimate, format_duration
from footwork.questions.devices import PROTOCOL
from footwork.web.declaration import Page
from footwork.web.drawing import show_chart
from footwork.web.forms import Field, command_form
from footwork.web.layout import folded, heading, link, method_link, page, table, text, whisker, whole_number
from footwork.web.page_words import sentence

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.whose_watts import DeviceCheck, Devices


def data(library: Library) -> Devices:
    """Shown by the page and its twin."""
    found: Devices = library.devices()
    return found


def check_data(library: Library, run_id: str, start: str = "") -> DeviceCheck:
    """What the page of one check shows; ``start`` in seconds."""
    found: DeviceCheck = library.device_check(whole_number(run_id), whole_number(start) if start else None)
    return found


def drift_chart(name: str, drift: dict[str, Any]) -> Chart:
    """Each run's watts at easy speed against the device's own line, and its level between jumps."""
    x = np.array([dt.date.fromisoformat(p["date"]).toordinal() for p in drift["points"]], dtype=float)
    y = 100 * np.array([p["share"] for p in drift["points"]])
    edges = [x[0], *(dt.date.fromisoformat(j["date"]).toordinal() for j in drift["jumps"]), x[-1] + 1]
    marks = [Mark("points", x, y, soft=True)]
    for low, high in pairwise(edges):
        inside = (x >= low) & (x < high)
        if inside.any():
            level = float(np.median(y[inside]))
            marks.append(Mark("line", np.array([low, min(high, x[-1])]), np.full(2, level), accent=True))
    return Chart(
        [Pane("watts at easy speed against the usual, %", marks, height=150)],
        "date",
        f"Watts of {name} at easy speed from run to run",
    )


async def show_devices(base: str, library: Library) -> None:
    try:
        found = await asyncio.to_thread(data, library)
    except FootworkError as error:
        with page(base, "Devices", "Devices", sentence(str(error))):
            link("Add recordings", f"{base}/", "button")
        return
    with page(base, "Devices", "Devices", found["sentence"]):
        table(
            ["scale", "runs", "from", "to", "time", "accepted CP"],
            [
                [
                    s["name"] + (" (main)" if s["main"] else ""),
                    str(s["runs"]),
                    s["first"],
                    s["last"],
                    format_duration(s["duration_s"]),
                    f"{s['accepted']['critical_power_w']:.0f} W" if s["accepted"] else "none",
                ]
                for s in found["scales"]
            ],
            labelled=True,
        )
        text(
            "p",
            "Watts of different devices are never mixed. A scale with converted watts counts the others' "
            "runs too, with the error of the conversion.",
            "soft",
        )
        link("Power at speed", f"{base}/power-at-speed", "button")
        _conversions(base, found)
        _drift(base, library, found)
        _checks(base, found)
        _decide(library, base, found)


async def show_protocol(base: str, library: Library) -> None:
    with page(
        base, "Devices", "The device check", "Half an hour that shows how well a device repeats itself and follows."
    ):
        with ui.element("ol").classes("steps"):
            for line in PROTOCOL:
                text("li", line)
        text(
            "p",
            "Add the recording afterwards: Footwork finds the six steps by itself. This page prints on one sheet.",
            "soft",
        )
        link("All devices", f"{base}/devices", "button")


async def show_checked(base: str, library: Library, run_id: str, start: str = "") -> None:
    try:
        found = await asyncio.to_thread(check_data, library, run_id, start)
    except FootworkError as error:
        with page(base, "Devices", "Device check", sentence(str(error))):
            link("How to run one", f"{base}/devices/check", "button")
        return
    with page(base, "Devices", f"Device check of {found['date']}", found["devices"][0]["sentence"]):
        link("The run", f"{base}/runs/{found['run']}", "button")
        for index, told in enumerate(found["devices"]):
            _one_check(base, index, told)


def _conversions(base: str, found: Devices) -> None:
    if not found["conversions"]:
        return
    heading(f"Converted to {found['main']}")
    with ui.element("div").classes("numbers"):
        for index, c in enumerate(found["conversions"]):
            told = f"single runs within {196 * c['run_spread']:.1f} %" if c["run_spread"] is not None else ""
            whisker(
                base,
                f"{c['from']}, factor",
                f"conversions.{index}.factor",
                Estimate.from_json(c["factor"]),
                told,
                digits=3,
            )
    for c in found["conversions"]:
        text("p", c["sentence"])
    with ui.element("p"):
        method_link(base, "conversion")


def _drift(base: str, library: Library, found: Devices) -> None:
    heading("Does each device still show what it showed?")
    for s in found["scales"]:
        drift = s["drift"]
        if drift is None:
            continue
        text("h3", s["name"])
        if drift["reason"]:
            text("p", sentence(f"not watched: {drift['reason']}"), "soft")
            continue
        if not drift["jumps"]:
            text("p", f"No jump in {len(drift['points'])} runs.")
        show_chart(drift_chart(s["name"], drift))
        for jump in drift["jumps"]:
            text("p", jump["sentence"])
            command_form(
                library,
                ["devices", "break"],
                (),
                f"Count as a new scale from {jump['date']}",
                f"{base}/devices",
                fixed=[s["name"], jump["date"]],
            )
    with ui.element("p"):
        method_link(base, "drift")


def _checks(base: str, found: Devices) -> None:
    heading("Device checks")
    rows = [
        [
            (check["date"], f"{base}/devices/check/{check['run']}"),
            told["scale"],
            _between(told["coefficient_of_variation"], 1),
            _between(told["response"], 0),
        ]
        for s in found["scales"]
        for check in s["checks"]
        for told in check["devices"]
    ]
    if rows:
        table(["check", "scale", "repeats within", "follows in"], rows, labelled=True)
    else:
        text("p", "None among your runs yet.", "soft")
    link("How to run a check", f"{base}/devices/check", "button")


def _one_check(base: str, index: int, told: dict[str, Any]) -> None:
    heading(told["scale"])
    if index:
        text("p", told["sentence"])
    at = f"devices.{index}"
    with ui.element("div").classes("numbers"):
        for label, key, digits in (
            ("Typical error", "typical_error", 1),
            ("As a share", "coefficient_of_variation", 1),
            ("Repeatability", "repeatability", 1),
            ("Follows a step in", "response", 0),
            ("Off the line", "linearity", 1),
        ):
            whisker(base, label, f"{at}.{key}", Estimate.from_json(told[key]), digits=digits)
    table(
        ["step", "speed", "power"],
        [
            [
                f"Round {s['round']}, step {s['step']}",
                f"{s['speed_mps']:.2f} m/s" if s["speed_mps"] else "not known",
                f"{s['power_w']:.1f} W",
            ]
            for s in told["steps"]
        ],
        labelled=True,
    )
    text("p", "Six steps say little about a small error: repeat the check to narrow the intervals.", "soft")
    with ui.element("p"):
        method_link(base, "device-check")


def _between(e: dict[str, Any], digits: int) -> str:
    if e["value"] is None:
        return "withheld"
    return f"{e['value']:.{digits}f} {e['unit']}, {e['low']:.{digits}f}–{e['high']:.{digits}f}"


def _decide(library: Library, base: str, found: Devices) -> None:
    """Rename, join, break."""
    names = [s["name"] for s in found["scales"] if s["measured"]]
    if not names:
        return
    choices = tuple((n, n) for n in names)
    here = f"{base}/devices"
    with folded("Rename, break or join scales"):
        text("h3", "Rename a scale")
        command_form(
            library,
            ["devices", "rename"],
            (Field("scale", "Scale", choices=choices), Field("new", "New name")),
            "Rename",
            here,
            needed=["new"],
            prefix="rename-",
        )
        text("h3", "New scale from a date")
        text(
            "p",
            "After an update, a new placement or another mass setting. An accepted CP stays where it was; undo "
            "it in the library's list of edits.",
            "soft",
        )
        command_form(
            library,
            ["devices", "break"],
            (Field("scale", "Scale", choices=choices), Field("date", "First day", form="date")),
            "Break",
            here,
            needed=["date"],
            prefix="break-",
        )
        if len(names) > 1:
            text("h3", "One device under two names")
            command_form(
                library,
                ["devices", "join"],
                (Field("scale", "This scale", choices=choices), Field("into", "is really", choices=choices)),
                "Join",
                here,
                prefix="join-",
            )
        link("Edits that can be undone", f"{base}/library", "button").style("margin-top:12px")


PAGES = (
    Page("/devices", show_devices, data, nav="Devices", place=9),
    Page("/devices/check", show_protocol, None),
    Page("/devices/check/{run_id}", show_checked, check_data),
)
