"""All runs: sort and filter thousands at once."""

from __future__ import annotations

import asyncio
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Any

from nicegui import ui

from footwork.history.catalogue import RunRow
from footwork.history.log.entries import MARKS
from footwork.physiology.domains import NAMES
from footwork.quantities import MILE_M, format_distance, format_duration, parse_date
from footwork.questions.load import domains_of_runs
from footwork.questions.runs import run_titles
from footwork.questions.sessions import listed_sessions
from footwork.web.declaration import Page
from footwork.web.forms import Field, command_form
from footwork.web.layout import domain_bar, heading, link, method_link, page, table, text

if TYPE_CHECKING:
    from footwork.api import Library

TITLES_NOW = 10  # of the runs that stand first; what is not known of the others is found while pages are served
SHOWN = 104  # weeks or months in one look


def data(
    library: Library, by: str = "", find: str = "", since: str = "", until: str = "", mark: str = "", shoe: str = ""
) -> list[dict[str, Any]]:
    """Runs, or with ``by`` their totals by week or month; shown by the page and its twin."""
    rows = library.find(
        text=find,
        since=parse_date(since) if since else None,
        until=parse_date(until) if until else None,
        mark=mark,
        shoe=shoe,
    )
    if by:
        found: list[dict[str, Any]] = library.totals(by, rows)
        return found
    titles = run_titles(library, rows[:TITLES_NOW]) | run_titles(library, rows, 0)
    domains = domains_of_runs(library, rows)
    asked = {str(s["date"]): s["name"] or s["text"] for s in listed_sessions(library)}
    return [
        {
            **row.to_json(),
            "title": titles[row.id],
            "seconds_in_domains": domains.get(row.id),
            "session": asked.get(row.date[:10]),
        }
        for row in rows
    ]


def grid_rows(rows: list[dict[str, Any]], imperial: bool) -> list[dict[str, Any]]:
    """Rows for the grid: numbers for sorting, without what is not known."""
    metres = MILE_M if imperial else 1000.0
    main = next((r["power_scale"] for r in rows if r["measured"]), None)
    out = []
    for r in rows:
        distance, power, rate = r["distance_m"], r["power_w"], r["heart_rate_bpm"]
        whose = r["power_scale"] if r["measured"] else "modelled" if power is not None else ""
        pace = r["duration_s"] * metres / distance if distance else None
        day = r["date"][:16].replace("T", " ")
        said = [
            *r["marks"],
            "session" if r["session"] else "",
            r["surface"],
            r["shoe"],
            "by hand" if r["entered_by_hand"] else "",
            "left out" if r["left_out"] else "",
            "modelled watts" if power is not None and not r["measured"] else "",
        ]
        marks = ", ".join(t for t in said if t)
        weather = r["weather"] or {}
        seconds = r["seconds_in_domains"]
        row = {
            "id": r["id"],
            "date": day[:10],
            "title": r["title"],
            "domains": [round(seconds[n]) for n in NAMES] if seconds else None,
            "distance": round(distance / metres, 2) if distance else None,
            "time": round(r["duration_s"]),
            "pace": round(pace) if pace and pace < 3600 else None,
            "power": round(power) if power is not None else None,
            "scale": whose,
            "rate": round(rate) if rate else None,
            "climb": round(r["climb_m"]) if r["climb_m"] is not None else None,
            "marks": marks,
            "warmth": weather.get("temperature_c"),
            "wind": round(weather["wind_mps"], 1) if "wind_mps" in weather else None,
            "short": ", ".join(r["marks"]),
            "whose": whose if whose != main else "",
        }
        out.append({name: value for name, value in row.items() if value not in (None, "")})
    return out


def listed(library: Library) -> list[dict[str, Any]]:
    """What the page's list holds."""
    return grid_rows(data(library), library.setting("units") == "imperial")


_CLOCK = (
    "(p) => { if (p.value == null) return ''; const v = p.value, h = Math.floor(v / 3600), m = Math.floor(v / "
    "60) % 60, s = v % 60; return (h ? h + ':' + String(m).padStart(2, '0') : m) + ':' + String(s).padStart(2, "
    "'0'); }"
)
_DECIMALS = "(p) => p.value == null ? '' : p.value.toFixed({})"
# A run in two lines, for a phone.
_TWO_LINES = (
    f"(p) => {{ const r = p.data, clock = (value) => ({_CLOCK})({{ value }}); return r.date + '  ' + (r.title || '') + "
    "'\\n' + [r.distance && r.distance.toFixed(2) + ' UNIT', clock(r.time), "
    "r.power == null ? 'no power' : r.power + ' W', "
    # Whose watts takes the place of heart rate, where they are another device's than those of the newest run.
    "r.whose || (r.rate && r.rate + ' bpm'), r.pace && clock(r.pace) + ' /UNIT', r.short]"
    ".filter(Boolean).join('  '); }"
)
# What becomes of the rows that come, or do not.
_SHOW_ROWS = (
    "(rows) => p.api.setGridOption('rowData', rows), () => { "
    "p.api.setGridOption('overlayNoRowsTemplate', 'The runs could not be read: load the page again.'); "
    "p.api.setGridOption('rowData', []); }"
)
# A run's time in domains as a small bar, as long as its time against two hours.
_BAR = (
    "(p) => { const box = document.createElement('div'); box.className = 'domain-bar'; if (!p.value) return box; "
    "['moderate', 'heavy', 'severe', 'extreme'].forEach((name, k) => { const part = document.createElement('i'); "
    "part.className = 'd-' + name; part.style.width = Math.min(100 * p.value[k] / 7200, 100) + '%'; "
    "part.title = name + ' ' + Math.round(p.value[k] / 60) + ' min'; box.appendChild(part); }); return box; }"
)
_FIT_WIDTH = (
    "(p) => { const narrow = p.clientWidth < 640; if (p.api.fwNarrow === narrow) return; p.api.fwNarrow = narrow;"
    " p.api.setColumnsVisible(['two'], narrow);"
    " p.api.setColumnsVisible(p.api.getColumns().map((c) => c.getColId()).filter((c) => c !== 'two'), !narrow);"
    " p.api.setGridOption('rowHeight', narrow ? 62 : 38); p.api.setGridOption('headerHeight', narrow ? 0 : 38);"
    " p.api.setGridOption('floatingFiltersHeight', narrow ? 0 : 38); p.api.resetRowHeights(); "
    "p.api.sizeColumnsToFit(); }"
)


async def show_runs(base: str, library: Library, by: str = "") -> None:
    imperial = library.setting("units") == "imperial"
    if by in ("week", "month"):
        return _totals(base, await asyncio.to_thread(data, library, by), by, imperial)
    rows = await asyncio.to_thread(library.runs)
    unit = "mi" if imperial else "km"
    measured = sum(r.measured for r in rows)
    scales = {r.power_scale for r in rows if r.measured}
    by_whom = f", by {next(iter(scales))}" if len(scales) == 1 else ""
    lede = (
        f"{len(rows)} run{'s' if len(rows) != 1 else ''}, {measured} with measured power{by_whom}. Find, sort "
        "or filter them, and open a run by its row."
        if rows
        else "No runs yet: add recordings on This week."
    )
    with page(base, "Runs", "Runs", lede, wide=True):
        _ways(base, "")
        if not rows:
            _by_hand(base, library)
            return
        with ui.element("label").classes("find"):
            text("span", "Find, for example race, 2026-05, trail or foot")
            box = ui.element("input").props('type="search" autocomplete="off"')
        grid: ui.aggrid
        box.on(
            "input",
            lambda e: grid.run_grid_method("setGridOption", "quickFilterText", str(e.args["value"])),
            js_handler="(e) => emit({value: e.target.value})",
        )
        plain = {"floatingFilter": True, "suppressFloatingFilterButton": True}
        number = {
            **plain,
            "filter": "agNumberColumnFilter",
            "type": "rightAligned",
            "filterParams": {"defaultOption": "greaterThanOrEqual", "filterPlaceholder": "at least"},
        }
        words = {**plain, "filter": "agTextColumnFilter", "filterParams": {"filterPlaceholder": "contains"}}
        columns: list[dict[str, Any]] = [
            {"field": "id", "headerName": "no.", "width": 56, "type": "rightAligned"},
            {"field": "date", "headerName": "date", "width": 106, **words},
            {"field": "title", "headerName": "what it was", "width": 190, **words, "tooltipField": "title"},
            {"field": "domains", "headerName": "domains", "width": 76, ":cellRenderer": _BAR},
            {"field": "distance", "headerName": unit, "width": 66, ":valueFormatter": _DECIMALS.format(2), **number},
            {"field": "time", "headerName": "time", "width": 74, ":valueFormatter": _CLOCK, "type": "rightAligned"},
            {"field": "pace", "headerName": f"/{unit}", "width": 64, ":valueFormatter": _CLOCK, "type": "rightAligned"},
            {"field": "power", "headerName": "W", "width": 56, **number},
            {"field": "scale", "headerName": "watts of", "width": 112, **words},
            {"field": "rate", "headerName": "bpm", "width": 58, **number},
            {"field": "climb", "headerName": "m up", "width": 72, **number},
            {"field": "marks", "headerName": "marks, shoe", "width": 134, **words, "tooltipField": "marks"},
            {"field": "warmth", "headerName": "°C", "width": 54, ":valueFormatter": _DECIMALS.format(1), **number},
            {"field": "wind", "headerName": "wind m/s", "width": 84, ":valueFormatter": _DECIMALS.format(1), **number},
            {
                "colId": "two",
                "headerName": "run",
                "hide": True,
                "cellClass": "two",
                "flex": 1,
                ":valueGetter": _TWO_LINES.replace("UNIT", unit),
            },
        ]
        empty = _untold(rows, scales)
        # The rows come beside the page, so that neither waits for the other.
        coming = f"fetch('{base}/runs-list.json').then((found) => found.ok ? found.json() : Promise.reject(found))"
        ui.add_head_html(f"<script>window.fwRuns = {coming};</script>")
        grid = ui.aggrid(
            {
                "columnDefs": [c for c in columns if c.get("field") not in empty],
                ":onGridReady": f"(p) => (window.fwRuns || {coming}).then({_SHOW_ROWS})",
                "overlayLoadingTemplate": "Reading the runs…",
                "overlayNoRowsTemplate": "No run is to be shown.",
                "rowHeight": 38,
                "headerHeight": 38,
                "suppressCellFocus": False,
                "defaultColDef": {
                    "sortable": True,
                    "resizable": True,
                    "suppressHeaderMenuButton": True,
                    "suppressHeaderFilterButton": True,
                },
                ":getRowId": "(p) => String(p.data.id)",
                ":onGridSizeChanged": _FIT_WIDTH,
                "alwaysMultiSort": False,
                "animateRows": False,
                ":onRowClicked": f"(p) => window.location.assign('{base}/runs/' + p.data.id)",
                ":onCellKeyDown": f"(p) => {{ if (p.event.key === 'Enter') window.location.assign('{base}/runs/' + "
                "p.data.id); }",
            },
            theme="quartz",
            auto_size_columns=False,
        )
        grid.classes("fw-grid")
        _by_hand(base, library)


def _untold(rows: Sequence[RunRow], scales: Collection[str | None]) -> set[str]:
    """Columns of which no run tells anything, or all tell the same: they take no room."""
    weathers = [r.weather or {} for r in rows]
    told = {
        "warmth": any(w.get("temperature_c") is not None for w in weathers),
        "wind": any("wind_mps" in w for w in weathers),
        "climb": any(r.climb_m for r in rows),
        "rate": any(r.heart_rate_bpm for r in rows),
        "scale": len(scales) > 1,
    }
    return {column for column, there in told.items() if not there}


def _ways(base: str, current: str) -> None:
    """One by one, or added up."""
    with ui.element("div").classes("row-of"):
        for by, label in (("", "One by one"), ("week", "By week"), ("month", "By month")):
            made = link(label, f"{base}/runs{f'?by={by}' if by else ''}", "button")
            if by == current:
                made.props["aria-current"] = "true"


def _totals(base: str, groups: list[dict[str, Any]], by: str, imperial: bool) -> None:
    newest = groups[0] if groups else None
    lede = (
        (
            f"In the {by} of {_start(newest, by)}: {newest['runs']} run{'s' if newest['runs'] != 1 else ''}, "
            f"{format_distance(newest['distance_m'], imperial)} in {format_duration(newest['duration_s'])}."
        )
        if newest
        else "No runs yet: add recordings on This week."
    )
    with page(base, "Runs", f"Runs by {by}", lede, wide=True):
        _ways(base, by)
        if not groups:
            return
        longest = max(sum(g["seconds_in_domains"].values()) for g in groups[:SHOWN])
        table(
            [by, "domains", "runs", "time", "distance", "climb", "CP-minutes"],
            [
                [
                    _start(g, by),
                    domain_bar(g["seconds_in_domains"], longest),
                    str(g["runs"]),
                    format_duration(g["duration_s"]),
                    format_distance(g["distance_m"], imperial),
                    f"{g['climb_m']:.0f} m",
                    _load(g),
                ]
                for g in groups[:SHOWN]
            ],
            labelled=True,
        )
        text(
            "p",
            "CP-minutes and domains leave out runs whose scale has no critical power, and runs left out of analysis.",
            "soft",
        )
        with ui.element("p"):
            method_link(base, "cp-minutes")


def _start(group: dict[str, Any], by: str) -> str:
    return str(group["start"]) if by == "week" else str(group["start"])[:7]


def _load(group: dict[str, Any]) -> str:
    load = group["load"]
    return f"{load['value']:.0f}, {load['low']:.0f}–{load['high']:.0f}" if load["value"] is not None else "not known"


def _by_hand(base: str, library: Library) -> None:
    heading("Enter a run by hand")
    text(
        "p",
        "A run without a recording, or a past race result: races and tests count as evidence of what you can hold.",
        "soft",
    )
    command_form(
        library,
        ["enter"],
        (
            Field("start", "Day", form="date"),
            Field("time", "Time, as 42:50", "--time"),
            Field("distance", "Distance, as 10km", "--distance"),
            Field("heart_rate", "Mean heart rate, bpm", "--heart-rate"),
            Field("as", "Kind", "--as", (("", "a run"), *((m, m) for m in MARKS))),
        ),
        "Enter",
        f"{base}/runs",
        needed=["start", "time"],
    )


PAGES = (Page("/runs", show_runs, data, nav="Runs", place=1), Page("/runs-list", None, listed))
