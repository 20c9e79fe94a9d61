"""All runs: sort and filter thousands at once."""

from __future__ import annotations

import asyncio
from typing import Any

from nicegui import ui

from footwork.quantities import MILE_M, format_distance, format_duration, format_pace
from footwork.web.layout import page, text


def data(library: Any) -> list[dict[str, Any]]:
    """Shown by the page and its twin."""
    return [row.to_json() for row in library.runs()]


def grid_rows(rows: list[dict[str, Any]], imperial: bool) -> list[dict[str, Any]]:
    """Rows for the grid: numbers for sorting, and the same in two lines for a phone."""
    metres = MILE_M if imperial else 1000.0
    out = []
    for r in rows:
        distance, power, rate = r["distance_m"], r["power_w"], r["heart_rate_bpm"]
        whose = r["power_scale"] if r["measured"] else "modelled" if power is not None else ""
        pace = r["duration_s"] * metres / distance if distance else None
        day = r["date"][:16].replace("T", " ")
        marks = ", ".join(r["marks"])
        first = f"{day}  {format_distance(distance, imperial) if distance else ''}  {format_duration(r['duration_s'])}"
        second = "  ".join(t for t in (
            f"{power:.0f} W {whose}" if power is not None else "no power", f"{rate:.0f} bpm" if rate else "",
            format_pace(distance / r["duration_s"], imperial) if distance else "", marks) if t)  # fmt: skip
        out.append({
            "id": r["id"], "date": day, "distance": round(distance / metres, 2) if distance else None, "time": round(r["duration_s"]),
            "pace": round(pace) if pace and pace < 3600 else None, "power": round(power) if power is not None else None, "scale": whose,
            "rate": round(rate) if rate else None, "climb": round(r["climb_m"]) if r["climb_m"] is not None else None,
            "marks": marks, "two": f"{first}\n{second}",
        })  # fmt: skip
    return out


_CLOCK = "(p) => { if (p.value == null) return ''; const v = p.value, h = Math.floor(v / 3600), m = Math.floor(v / 60) % 60, s = v % 60; return (h ? h + ':' + String(m).padStart(2, '0') : m) + ':' + String(s).padStart(2, '0'); }"
_FIT_WIDTH = (
    "(p) => { const narrow = p.clientWidth < 640; if (p.api.fwNarrow === narrow) return; p.api.fwNarrow = narrow;"
    " p.api.setColumnsVisible(['two'], narrow);"
    " p.api.setColumnsVisible(['date','distance','time','pace','power','scale','rate','climb','marks'], !narrow);"
    " p.api.setGridOption('rowHeight', narrow ? 62 : 38); p.api.setGridOption('headerHeight', narrow ? 0 : 38);"
    " p.api.setGridOption('floatingFiltersHeight', narrow ? 0 : 38); p.api.resetRowHeights(); p.api.sizeColumnsToFit(); }"
)


def register(base: str, library: Any) -> None:
    @ui.page(f"{base}/runs")
    async def runs() -> None:
        rows = await asyncio.to_thread(data, library)
        imperial = library.setting("units") == "imperial"
        unit = "mi" if imperial else "km"
        measured = sum(r["measured"] for r in rows)
        lede = (
            f"{len(rows)} runs, {measured} with measured power. Find, sort or filter them, and open a run by its row."
            if rows
            else "No runs yet: add recordings on the Today page."
        )
        with page(base, "Runs", "Runs", lede, wide=True):
            if not rows:
                return
            with ui.element("label").classes("find"):
                text("span", "Find, for example race, 2026-05 or foot")
                box = ui.element("input").props('type="search" autocomplete="off"')
            grid: ui.aggrid
            box.on(
                "input",
                lambda e: grid.run_grid_method("setGridOption", "quickFilterText", str(e.args["value"])),
                js_handler="(e) => emit({value: e.target.value})",
            )
            plain = {"floatingFilter": True, "suppressFloatingFilterButton": True}
            number = {**plain, "filter": "agNumberColumnFilter", "type": "rightAligned",
                      "filterParams": {"defaultOption": "greaterThanOrEqual", "filterPlaceholder": "at least"}}  # fmt: skip
            words = {**plain, "filter": "agTextColumnFilter", "filterParams": {"filterPlaceholder": "contains"}}
            grid = ui.aggrid({
                "columnDefs": [
                    {"field": "date", "headerName": "date", "width": 172, **words},
                    {"field": "distance", "headerName": f"distance, {unit}", "width": 122, **number},
                    {"field": "time", "headerName": "time", "width": 100, ":valueFormatter": _CLOCK, "type": "rightAligned"},
                    {"field": "pace", "headerName": f"pace, /{unit}", "width": 105, ":valueFormatter": _CLOCK, "type": "rightAligned"},
                    {"field": "power", "headerName": "power, W", "width": 105, **number},
                    {"field": "scale", "headerName": "whose watts", "width": 140, **words},
                    {"field": "rate", "headerName": "heart rate", "width": 110, **number},
                    {"field": "climb", "headerName": "climb, m", "width": 100, **number},
                    {"field": "marks", "headerName": "marks", "width": 110, **words},
                    {"field": "two", "headerName": "run", "hide": True, "cellClass": "two", "flex": 1},
                ],
                "rowData": grid_rows(rows, imperial), "rowHeight": 38, "headerHeight": 38, "suppressCellFocus": False,
                "defaultColDef": {"sortable": True, "resizable": True, "suppressHeaderMenuButton": True, "suppressHeaderFilterButton": True}, ":getRowId": "(p) => String(p.data.id)",
                ":onGridSizeChanged": _FIT_WIDTH, "alwaysMultiSort": False, "animateRows": False,
                ":onRowClicked": f"(p) => window.location.assign('{base}/runs/' + p.data.id)",
                ":onCellKeyDown": f"(p) => {{ if (p.event.key === 'Enter') window.location.assign('{base}/runs/' + p.data.id); }}",
            }, theme="quartz", auto_size_columns=False)  # fmt: skip
            grid.classes("fw-grid")
