"""Two devices on one run: the verdict, overlaid traces, the difference over time and against the mean, the numbers."""

from __future__ import annotations

import asyncio
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from nicegui import ui

from footwork.charts import Chart, Mark, Pane
from footwork.errors import FootworkError
from footwork.quantities import Estimate
from footwork.questions import devices
from footwork.questions.devices import SIGNALS
from footwork.web.declaration import Page
from footwork.web.drawing import show_chart, smooth
from footwork.web.layout import heading, link, method_link, page, table, text, whisker, whole_number
from footwork.web.page_words import sentence

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.whose_watts import DeviceComparison

DIGITS = {"W": 1, "bpm": 1, "m/s": 3, "m": 3}


def data(library: Library, run_id: str, first: str = "1", second: str = "2") -> DeviceComparison:
    """Shown by the page and its twin."""
    found: DeviceComparison = library.compare(*(whole_number(v) for v in (run_id, first, second)))
    return found


def chart(traces: dict[str, Any]) -> Chart:
    """Both traces, and their difference over time."""
    x, a, b = traces["time"], smooth(traces["first"], 30), smooth(traces["second"], 30)
    return Chart(
        [
            Pane(
                "power, W, mean of 30 s",
                [Mark("line", x, a, label="first"), Mark("line", x, b, label="second", soft=True)],
                height=170,
            ),
            Pane("second minus first, W", [Mark("line", x, b - a)]),
        ],
        "time",
        "Power of both devices and their difference over the run",
    )


def differences(traces: dict[str, Any], found: DeviceComparison) -> Chart:
    """Difference over the mean of both, for every half minute, with the bias and its limits (Bland and Altman's
    picture)."""
    a, b = smooth(traces["first"], 30)[15::30], smooth(traces["second"], 30)[15::30]
    known = np.isfinite(a) & np.isfinite(b)
    mean, d = 0.5 * (a + b)[known], (b - a)[known]
    rows = found["levels"].get("30 s", {}).get("power", found["power"])
    ends = np.array([mean.min(), mean.max()])
    limits = rows["limits_of_agreement"]
    marks = [
        Mark("band", ends, np.full(2, rows["bias"]["low"]), np.full(2, rows["bias"]["high"])),
        Mark("line", ends, np.full(2, rows["bias"]["value"]), label="bias", accent=True),
        *(Mark("line", ends, np.full(2, limits[k]["value"]), label=f"{k} limit", soft=True) for k in ("low", "high")),
        Mark("points", mean, d),
    ]
    return Chart(
        [Pane("second minus first, W, each half minute", marks, height=240)],
        "watts",
        "Difference over the mean of both devices",
    )


def difference_rows(traces: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Difference by fifths of the mean power: what a cloud of points would show, as a table that can be read."""
    a, b = smooth(traces["first"], 30)[::30], smooth(traces["second"], 30)[::30]
    known = np.isfinite(a) & np.isfinite(b)
    mean, d = 0.5 * (a + b)[known], (b - a)[known]
    edges = np.quantile(mean, np.linspace(0, 1, 6)) if len(mean) >= 25 else np.zeros(0)
    out = []
    for low, high in pairwise(edges):
        part = d[(mean >= low) & (mean <= high)]
        if len(part) >= 3:
            out.append(
                (f"{low:.0f} to {high:.0f} W", f"{part.mean():+.1f} W", f"{part.min():+.0f} to {part.max():+.0f} W")
            )
    return out


async def show_compare(base: str, library: Library, run_id: str, first: str = "1", second: str = "2") -> None:
    try:
        found = await asyncio.to_thread(data, library, run_id, first, second)
        traces = await asyncio.to_thread(devices.recording_traces, library, int(run_id), int(first), int(second))
    except FootworkError as error:
        with page(base, "Runs", "Two devices", sentence(str(error))):
            link("All runs", f"{base}/runs", "button")
        return
    with page(base, "Runs", f"Two devices on run {run_id}", found["verdict"]):
        link("Back to the run", f"{base}/runs/{run_id}", "button").style("margin-bottom:12px")
        text(
            "p",
            f"First: {found['first']}. Second: {found['second']}. {found['common_s'] / 60:.0f} minutes "
            "together; differences are second minus first.",
            "soft",
        )
        with ui.element("div").classes("numbers"):
            whisker(
                base,
                f"Second clock late, by {found['lag_by'].replace('_', ' ')}",
                "lag",
                Estimate.from_json(found["lag"]),
                digits=1,
            )
            if "power" in found:
                coarse = "30 s" if "power" in found["levels"].get("30 s", {}) else ""
                at, rows = (
                    (f"levels.{coarse}.power", found["levels"][coarse]["power"])
                    if coarse
                    else ("power", found["power"])
                )
                whisker(
                    base,
                    "Bias of power" + (", 30 s" if coarse else ""),
                    f"{at}.bias",
                    Estimate.from_json(rows["bias"]),
                    digits=1,
                )
                whisker(
                    base,
                    "Second over first, line's slope",
                    f"{at}.deming.slope",
                    Estimate.from_json(rows["deming"]["slope"]),
                    digits=3,
                )
                whisker(
                    base, "Typical error", f"{at}.typical_error", Estimate.from_json(rows["typical_error"]), digits=1
                )
        if "power" in found:
            show_chart(chart(traces))
            heading("Difference against the mean of both")
            show_chart(differences(traces, found))
            rows_ = difference_rows(traces)
            if rows_:
                table(["mean power", "mean difference", "smallest to largest"], rows_, labelled=True)
        with ui.element("details"):
            text("summary", "Every signal, span and part of the run")
            _numbers(found)
            _splits(found)
        for name, reason in found["reasons"].items():
            text("p", f"{name.replace('_', ' ').capitalize()} is not compared: {reason}.", "soft")
        with ui.element("p"):
            method_link(base, "agreement")


def _numbers(found: DeviceComparison) -> None:
    """What differs, and how alike the two are, each with its interval."""
    differ, alike = [], []
    for level, at in (("1 s", found), *found["levels"].items()):
        for name in SIGNALS:
            if name in at:
                r, first = at[name], f"{name.replace('_', ' ').capitalize()} at {level}"
                limits = r["limits_of_agreement"]
                differ.append([first, *(_signed(e) for e in (r["bias"], limits["low"], limits["high"]))])
                alike.append(
                    [
                        first,
                        _between(r["concordance"], 3),
                        f"{r['intraclass']['2,1']:.3f}",
                        _between(r["deming"]["slope"], 3),
                        f"{_between(r['typical_error'], DIGITS[r['typical_error']['unit']] + 1)} "
                        f"{r['typical_error']['unit']}",
                        f"{r['n']}, as good as {r['n_effective']:.0f}",
                    ]
                )
    heading("Difference, second minus first")
    table(["signal", "bias", "lower limit", "upper limit"], differ, labelled=True)
    text("p", "95 % of differences lie between the limits. Distance is that covered in each second.", "soft")
    heading("How alike they are")
    table(["signal", "concordance", "intraclass (2,1)", "slope", "typical error", "pairs"], alike, labelled=True)
    text("p", "Neighbouring seconds are alike, so many pairs are only as good as a few independent ones.", "soft")


def _between(e: dict[str, Any], digits: int) -> str:
    return f"{e['value']:.{digits}f}, {e['low']:.{digits}f}–{e['high']:.{digits}f}"


def _splits(found: DeviceComparison) -> None:
    if not found["splits"]:
        return
    heading("Power by intensity, slope and phase")
    table(
        ["part", "bias", "share"],
        [
            [
                p["part"][0].upper() + p["part"][1:],
                _signed(p["bias"]),
                f"{p['bias_share']['value']:+.1f} %, {p['bias_share']['low']:+.1f} to {p['bias_share']['high']:+.1f}",
            ]
            for parts in found["splits"].values()
            for p in parts
        ],
    )


def _signed(e: dict[str, Any]) -> str:
    digits = DIGITS[e["unit"]]
    return f"{e['value']:+.{digits}f} {e['unit']}, {e['low']:+.{digits}f} to {e['high']:+.{digits}f}"


PAGES = (Page("/runs/{run_id}/compare", show_compare, data),)
