"""My numbers: domains and usual running beside each other, flat watts at round paces, and how the last runs compare."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.errors import FootworkError
from footwork.quantities import Estimate, format_pace, parse_date
from footwork.reports import numbers_card, numbers_of
from footwork.web.declaration import Page
from footwork.web.forms import downloads
from footwork.web.layout import folded, heading, link, method_link, note, page, scale_links, table, text, whisker

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.usual import UsualRunning


def data(library: Library, date: str = "", scale: str = "") -> UsualRunning:
    """Shown by the page and its twin."""
    found: UsualRunning = library.usual(parse_date(date) if date else None, scale or None)
    return found


def sentence(found: UsualRunning) -> str:
    if found["reason"]:
        return f"{found['reason'][0].upper()}{found['reason'][1:]}."
    return f"Your newest run, on {found['scale']}: {found['newest']['sentence']}"


async def show_numbers(base: str, library: Library, date: str = "", scale: str = "") -> None:
    imperial = library.setting("units") == "imperial"
    try:
        found = await asyncio.to_thread(data, library, date, scale)
        told = await asyncio.to_thread(_told, library, date, scale, imperial)
    except FootworkError as error:
        with page(base, "My numbers", "My numbers", f"{str(error)[0].upper()}{str(error)[1:]}."):
            link("Add recordings", f"{base}/", "button")
        return
    with page(base, "My numbers", "My numbers", told["lede"] or sentence(found)):
        scale_links(base, library, "numbers", found["scale"])
        if told["domains"]:
            heading("Where each domain lies")
            table(
                ["", "W", "pace, flat", "bpm"],
                [[r["name"].capitalize(), r["watts"], r["pace"], r["rate"]] for r in told["domains"]],
                labelled=True,
            )
            with ui.element("p"):
                method_link(base, "domains", "How domains are known")
        heading("What you usually run")
        _groups(base, found, told, imperial)
        if told["differ"]:
            note(told["differ"], base, "usual")
        if found["at_pace"]:
            heading("Flat watts at your paces")
            table(
                ["pace", "power", "interval", "nineteen days in twenty"],
                [
                    [
                        format_pace(r["speed_mps"], imperial),
                        f"{r['power']['value']:.0f} W",
                        f"{r['power']['low']:.0f}–{r['power']['high']:.0f} W",
                        f"± {r['one_day_w']:.0f} W",
                    ]
                    for r in found["at_pace"]
                ],
                labelled=True,
            )
            with ui.element("p"):
                text("span", "They describe the device and your pace, not how economically you run. ", "soft")
                link("More on the device", f"{base}/power-at-speed", "soft")
        if told["domains"]:
            downloads([("On paper", "my-numbers.pdf", lambda: numbers_card(told))])
            for remark in told["notes"]:
                note(remark, base, "cautions")
        _effects(found)
        _last_runs(base, found)


def _told(library: Library, date: str, scale: str, imperial: bool) -> dict[str, Any]:
    """What the card holds, or nothing of it where critical power is withheld, and the page's first sentence."""
    held = library.capacity((), date or None, scale or None)
    try:
        told = numbers_of(library, held, imperial)
    except FootworkError:
        return {"domains": [], "usual": [], "differ": "", "notes": [], "lede": ""}
    if told["withheld"]:
        return {**told, "notes": [], "lede": f"Critical power is withheld on {told['scale']}: {told['withheld']}."}
    return {**told, "lede": f"Critical power {told['cp']} on {told['scale']}: {told['evidence']}. {told['holds']}"}


def _effects(found: UsualRunning) -> None:
    known = [e for e in found["effects"] if e["effect"]["value"] is not None]
    if not known:
        return
    with folded("What else goes with your watts"):
        table(
            ["with", "change", "interval"],
            [
                [
                    f"{e['change'][0].upper()}{e['change'][1:]}",
                    f"{e['effect']['value']:+.1f} {e['effect']['unit']} {e['of']}",
                    f"{e['effect']['low']:+.1f} to {e['effect']['high']:+.1f}",
                ]
                for e in known
            ],
        )
        text(
            "p",
            "What your runs do not tell is left out. These go together in your runs; none is proven to be the cause.",
            "soft",
        )


def _last_runs(base: str, found: UsualRunning) -> None:
    if not found["runs"]:
        return
    with folded("The last runs against the usual"):
        table(["run", "watts at pace", "heart rate at power"], [_row(base, r) for r in found["runs"]], labelled=True)
        with ui.element("p"):
            method_link(base, "usual")


def _groups(base: str, found: UsualRunning, told: dict[str, Any], imperial: bool) -> None:
    if not found["groups"]:
        note(
            "Easy, steady and hard are told apart by critical power, which is not known on this scale yet.",
            base,
            "usual",
        )
        return
    flat = {row["name"]: row["flat"] for row in told["usual"]}
    with ui.element("div").classes("numbers"):
        for index, group in enumerate(found["groups"]):
            power = Estimate.from_json(group["power"])
            pace = f"{format_pace(group['speed']['value'], imperial)}" if group["speed"]["value"] else ""
            whisker(base, f"{group['name'].capitalize()} running", f"groups.{index}.power", power, pace)
    table(
        ["", "SD from run to run", "pace as run", "flat pace", "heart rate", "runs"],
        [
            [
                g["name"].capitalize(),
                f"{g['spread_w']:.0f} W" if g["spread_w"] is not None else "not known",
                format_pace(g["speed"]["value"], imperial) if g["speed"]["value"] else "not known",
                flat.get(g["name"], ""),
                f"{g['heart_rate']['value']:.0f} bpm" if g["heart_rate"]["value"] else "not known",
                str(g["runs"]),
            ]
            for g in found["groups"]
        ],
        labelled=True,
    )


def _row(base: str, found: dict[str, Any]) -> list[Any]:
    def shown(e: dict[str, Any], unusual: bool) -> str:
        if e["value"] is None:
            return "not compared"
        return f"{round(e['value']):+d} {e['unit']}, {round(e['low']):+d} to {round(e['high']):+d}" + (
            ": unusual" if unusual else ""
        )

    return [
        (found["date"], f"{base}/runs/{found['run']}"),
        shown(found["power_excess"], found["power_unusual"]),
        shown(found["heart_rate_excess"], found["heart_rate_unusual"]),
    ]


PAGES = (
    Page("/numbers", show_numbers, data, nav="My numbers", place=2),
    Page("/usual", show_numbers, data),  # its address before; for one release
)
