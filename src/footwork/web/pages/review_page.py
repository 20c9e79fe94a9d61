"""After the race: one race against the plan of the day before, and the log of predictions."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import numpy as np
from nicegui import ui

from footwork.charts import Chart, Mark, Pane
from footwork.errors import FootworkError
from footwork.quantities import Estimate, format_distance, format_duration, format_lost, format_pace, parse_distance
from footwork.questions import race
from footwork.web.declaration import Page
from footwork.web.drawing import show_chart
from footwork.web.layout import heading, link, note, page, table, text, unbroken, whisker, whole_number
from footwork.web.page_words import sentence

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.race import PastPredictions, RaceReview


def data(library: Library, run_id: str, distance: str = "") -> RaceReview:
    """Shown by the page of one race and its twin; ``distance`` is the official one."""
    asked = {"distance": parse_distance(distance)} if distance.strip() else {}
    every = race.splits_every(library.setting("units") == "imperial")
    found: RaceReview = library.review(whole_number(run_id), split=every, **asked)
    return found


def log_data(library: Library) -> PastPredictions:
    """Shown by the log and its twin."""
    found: PastPredictions = library.predictions()
    return found


def chart(found: RaceReview, imperial: bool) -> Chart:
    """Pace and power as run beside the plan, and the stores that they emptied."""
    rows = found["rows"]
    lengths = np.array([r["length_m"] for r in rows])
    x = np.repeat(np.concatenate([[0.0], np.cumsum(lengths)]), 2)[1:-1]

    def steps(values: list[float]) -> np.ndarray:
        return np.repeat(np.array(values, dtype=float), 2)

    behind = np.cumsum([0.0, *(r["time_s"] - r["planned_s"] for r in rows)])
    panes = [
        Pane(
            "seconds behind the plan; it rises where time was lost",
            [Mark("line", np.concatenate([[0.0], np.cumsum(lengths)]), behind)],
            height=110,
        ),
        Pane(
            f"pace, min/{'mi' if imperial else 'km'}",
            [
                Mark("line", x, steps([r["length_m"] / r["planned_s"] for r in rows]), label="planned", soft=True),
                Mark("line", x, steps([r["length_m"] / r["time_s"] for r in rows]), label="run"),
            ],
            "pace-mile" if imperial else "pace",
        ),
    ]
    if all(r["power_w"] is not None for r in rows):
        panes.append(
            Pane(
                "watts shown, W",
                [
                    Mark("line", x, steps([r["planned_power_w"] for r in rows]), label="planned", soft=True),
                    Mark("line", x, steps([r["power_w"] for r in rows]), label="run"),
                ],
            )
        )
    stores = found["stores"]
    if stores is not None:
        at = np.array([0.0, *(p["end_m"] for p in stores["profile"])])
        spent = 100 * np.array([0.0, *(p["endurance_spent"] for p in stores["profile"])])
        w = np.array([p["w_prime_j"] for p in stores["profile"]]) / 1000
        panes.append(Pane("endurance spent by what was known, %", [Mark("line", at, spent)], height=90))
        if np.ptp(w) > 1.0:
            panes.append(Pane("W′ left by what was known, kJ", [Mark("line", at[1:], w)], height=90))
    return Chart(panes, "distance", "The race as run beside its plan, along the way", imperial)


def _lost(seconds: float | None) -> str:
    return "" if seconds is None else format_lost(seconds)


async def show_log(base: str, library: Library) -> None:
    found = await asyncio.to_thread(log_data, library)
    imperial = library.setting("units") == "imperial"
    with page(base, "Race", "Predictions against results", found["sentence"]):
        text(
            "p",
            "Each race is predicted from the evidence of the days before it alone, on its own track and "
            "in the weather kept of it. "
            "A run joins when it is marked as race; its warm-up and cool-down are left out.",
            "soft",
        )
        error = Estimate.from_json(found["error"])
        with ui.element("div").classes("numbers"):
            whisker(base, "Mean error, slower than predicted is positive", "error", error, "", 1)
        table(
            ["race", "distance", "time", "predicted", "eight of ten days", "error"],
            [
                [
                    (
                        unbroken(r["date"]),
                        f"{base}/runs/{r['run']}/review" if r["predicted"] else f"{base}/runs/{r['run']}",
                    ),
                    format_distance(r["distance_m"], imperial),
                    format_duration(r["time_s"]),
                    *(
                        (
                            format_duration(r["predicted"]["p50"]),
                            f"{format_duration(r['predicted']['p10'])}–{format_duration(r['predicted']['p90'])}",
                            f"{100 * r['error_share']:+.1f} %",
                        )
                        if r["predicted"]
                        else ("none", r["reason"], "")
                    ),
                ]
                for r in found["races"]
            ],
            labelled=True,
        )


async def show_review(base: str, library: Library, run_id: str, distance: str = "") -> None:
    imperial = library.setting("units") == "imperial"
    try:
        found = await asyncio.to_thread(data, library, run_id, distance)
    except FootworkError as error:
        with page(base, "Race", f"Run {run_id} against its plan", sentence(str(error))):
            link("Back to the run", f"{base}/runs/{run_id}", "button")
        return
    with page(base, "Race", f"Run {run_id} against its plan", found["sentence"]):
        with ui.element("div").classes("row-of"):
            link("The run", f"{base}/runs/{run_id}", "button")
            link("All races", f"{base}/race/log", "button")
        table(
            ["", "time"],
            [
                ["As run", format_duration(found["time_s"])],
                [f"Planned by what was known on {found['evidence_until']}", format_duration(found["planned_s"])],
                ["By effort", _lost(found["effort_s"]) or "no power"],
                ["By road, weather, device and form", _lost(found["other_s"]) or "no power"],
                ["Hills in the plan", _lost(found["hills_s"])],
                ["Wind in the plan", _lost(found["wind_s"])],
            ],
            two_line=False,
        )
        heading("Along the way")
        show_chart(chart(found, imperial))
        table(
            ["to", "pace", "planned", "watts", "planned", "by effort", "by the rest"],
            [
                [
                    format_distance(r["distance_m"], imperial),
                    format_pace(r["length_m"] / r["time_s"], imperial),
                    format_pace(r["length_m"] / r["planned_s"], imperial),
                    "" if r["power_w"] is None else f"{r['power_w']:.0f} W",
                    f"{r['planned_power_w']:.0f} W",
                    _lost(r["effort_s"]),
                    _lost(r["other_s"]),
                ]
                for r in found["rows"]
            ],
            labelled=True,
        )
        stores = found["stores"]
        if stores is not None:
            heading("The stores")
            spent = stores["endurance_spent"]
            text(
                "p",
                (
                    f"W′ was least at {format_distance(stores['w_prime_least_at_m'], imperial)}, "
                    f"{stores['w_prime_least_j'] / 1000:.1f} kJ. "
                )
                + (
                    f"{100 * spent:.0f} % of endurance was spent. "
                    if spent <= 1
                    else "More endurance was spent than was known of. "
                )
                + (
                    "The chance that a store was empty before the finish is "
                    f"{100 * stores['dry_probability']:.0f} %, by what was known."
                ),
            )
        if found["tail_after"] is not None:
            heading("What it taught")
            with ui.element("div").classes("numbers"):
                whisker(base, "Tail γ before", "tail_before", Estimate.from_json(found["tail_before"]), digits=3)
                whisker(base, "Tail γ with this race", "tail_after", Estimate.from_json(found["tail_after"]), digits=3)
            text(
                "p",
                "The tail says how fast the power that can be held falls with time. A run marked as race "
                "counts as evidence of it.",
                "soft",
            )
        note("The plan rests on what was known the day before; the race itself had no part in it.", base, "review")


PAGES = (Page("/race/log", show_log, log_data), Page("/runs/{run_id}/review", show_review, data))
