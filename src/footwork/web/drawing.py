"""Charts on pages: shown, and with more points where the reader zooms in."""

from __future__ import annotations

from typing import Any

import numpy as np
from nicegui import ui

from footwork.charts import Chart, interactive
from footwork.web.layout import text


def smooth(values: Any, seconds: int) -> Any:
    """Mean of some seconds over what is known, so that ends and pauses keep their level."""
    known = np.isfinite(values)
    kernel = np.ones(seconds)
    number = np.convolve(known, kernel, mode="same")
    return np.where(known, np.convolve(np.nan_to_num(values), kernel, mode="same") / np.maximum(number, 1), np.nan)


def show_chart(chart: Chart, rows_below: bool = False) -> Any:
    """Place a chart on the page, to be saved as a picture; with ``rows_below`` the rows of a table point into it."""
    made = ui.echart(interactive.options(chart), renderer="svg").classes("chart")
    made.style(f"height:{interactive.height(chart)}px")
    made.props.update({"role": "img", "aria-label": chart.alt})  # also until the chart is drawn in it
    if rows_below:
        made.props["data-plot"] = " ".join(f"{v:.2f}" for v in interactive.plot_area(chart))
    save_as(made.html_id, chart.alt)
    return made


def save_as(element: str, told: str) -> None:
    """Words that save a picture of the page, by its element's id, as SVG, PNG or PDF under what it shows."""
    name = "-".join("".join(c if c.isalnum() else " " for c in told.lower()).split())[:60]
    with ui.element("div").classes("save"):
        for kind in ("svg", "png", "pdf"):
            button = text("button", f"Save as {kind.upper()}")
            button.props["aria-label"] = f"Save as {kind.upper()}: {told}"
            button.on("click", js_handler=f"() => window.footwork.save('{element}', '{kind}', '{name}')")


def show_picture(drawn: str, told: str) -> None:
    """Place SVG that we drew ourselves, to be saved as a picture."""
    made = ui.html(drawn, sanitize=False)
    save_as(made.html_id, told)


def zooming(chart: Chart) -> None:
    """A chart that brings more points where the reader zooms in, and into which rows below point."""
    made = show_chart(chart, rows_below=True)
    x = chart.panes[0].marks[-1].x

    def zoomed(event: Any) -> None:
        args = event.args or {}
        part = (args.get("batch") or [args])[0]
        start, end = part.get("start"), part.get("end")
        if start is None or end is None:
            return
        low, high = (float(x[0] + (x[-1] - x[0]) * share / 100) for share in (start, end))
        fresh = interactive.options(chart, None if end - start > 95 else (low, high))
        made.options["series"] = fresh["series"]
        made.options["xAxis"] = [{**axis, "min": float(x[0]), "max": float(x[-1])} for axis in fresh["xAxis"]]
        made.options["dataZoom"][0].update(start=start, end=end)
        made.update()

    made.on("chart:datazoom", zoomed, args=["start", "end", "batch"], throttle=0.3, leading_events=False)
