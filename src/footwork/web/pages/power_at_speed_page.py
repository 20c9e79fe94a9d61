"""Power at speed: the line with its band over the data, what slopes, wind and warmth add, and how good modelled power
is."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

import numpy as np
from nicegui import ui

from footwork.charts import Chart, Mark, Pane
from footwork.errors import FootworkError
from footwork.quantities import Estimate, format_pace, parse_date
from footwork.web.declaration import Page
from footwork.web.drawing import show_chart
from footwork.web.layout import heading, link, method_link, page, scale_links, table, text, whisker
from footwork.web.page_words import sentence

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.whose_watts import PowerOfScale


def data(library: Library, date: str = "", scale: str = "") -> PowerOfScale:
    """Shown by the page and its twin."""
    found: PowerOfScale = library.power_at_speed(parse_date(date) if date else None, scale or None)
    return found


def chart(found: PowerOfScale, imperial: bool) -> Chart:
    """Flat watts over pace: steady minutes as points, the band of a single day, the line."""
    v = np.array([r["speed_mps"] for r in found["at"]])
    line, low, high = (
        np.array([r[of][end] for r in found["at"]])
        for of, end in (("power", "value"), ("one_day", "low"), ("one_day", "high"))
    )
    marks = [Mark("band", v, low, high), Mark("line", v, line, accent=True)]
    if found["points"]:
        marks.insert(
            1,
            Mark(
                "points",
                np.array([p["speed_mps"] for p in found["points"]]),
                np.array([p["power_w"] for p in found["points"]]),
            ),
        )
    return Chart(
        [Pane("flat power, W", marks, height=260)],
        "pace-mile" if imperial else "pace",
        "Flat power over pace with the runs behind it",
    )


async def show_power_at_speed(base: str, library: Library, date: str = "", scale: str = "") -> None:
    try:
        found = await asyncio.to_thread(data, library, date, scale)
    except FootworkError as error:
        with page(base, "Devices", "Power at speed", sentence(str(error))):
            link("All devices", f"{base}/devices", "button")
        return
    imperial = library.setting("units") == "imperial"
    basis = {"model": "From the physics model", "prior": "From what foot sensors usually show, not from your runs"}.get(
        found["source"], f"From {found['minutes']} level minutes of {found['runs']} runs on {found['scale']}"
    )
    with page(base, "Devices", "Power at speed", f"{basis}. {found['sentence']}"):
        scale_links(base, library, "power-at-speed", found["scale"])
        show_chart(chart(found, imperial))
        text(
            "p",
            "Points are level, steady minutes of each run. The band holds 95 % of single days; the line "
            "itself is surer.",
            "soft",
        )
        table(
            ["pace", "flat power", "interval", "per kg"],
            [
                [
                    format_pace(r["speed_mps"], imperial),
                    f"{r['power']['value']:.0f} W",
                    f"{r['power']['low']:.0f}–{r['power']['high']:.0f} W",
                    f"{r['specific_power']['value']:.2f} W/kg"
                    if r["specific_power"]["value"] is not None
                    else "mass not known",
                ]
                for r in found["at"]
            ],
            labelled=True,
        )
        if found["effects"]:
            heading("Slopes, wind and warmth")
            table(
                ["what", "this device", "interval", "told by your runs"],
                [
                    [
                        f"{e['what'][0].upper()}{e['what'][1:]}",
                        _value(e["effect"], "value"),
                        f"{_value(e['effect'], 'low')} to {_value(e['effect'], 'high')}",
                        f"{100 * e['learned_share']:.0f} %",
                    ]
                    for e in found["effects"]
                ],
                labelled=True,
            )
            text(
                "p",
                "Shares are of what the literature lets expect: 1 is all of it, 0 none. A device that is "
                "blind to wind has a share near 0. "
                "What your runs do not tell stays near our first guess.",
                "soft",
            )
        heading("Modelled power on this scale")
        text(
            "p",
            "Runs without a meter get watts by this relation. How far it was off on measured runs that "
            "it was not learned from:",
            "soft",
        )
        with ui.element("div").classes("numbers"):
            for label, key in (
                ("A run's mean, typical error", "run_error"),
                ("Its bias", "run_bias"),
                ("A minute, typical error", "minute_error"),
            ):
                whisker(base, label, f"held_out.{key}", Estimate.from_json(found["held_out"][key]), digits=1)
        with ui.element("p"):
            method_link(base, "power-at-speed")


def _value(e: dict[str, Any], end: str) -> str:
    return f"{e[end]:+.1f} %" if e["unit"] == "%" else f"{e[end]:.2f}"


PAGES = (Page("/power-at-speed", show_power_at_speed, data),)
