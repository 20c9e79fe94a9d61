"""A `Chart` as options for the web's chart component: linked panes, one cursor, a readout that stands still."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np

from footwork.charts import Chart, Mark, Pane, Span, thin
from footwork.quantities import MILE_M, Floats

_LEFT, _RIGHT, _TOP, _GAP = 46, 52, 46, 38
_INK, _SOFT, _RULE, _ACCENT, _BAND = "var(--ink)", "var(--soft)", "var(--rule)", "var(--accent)", "var(--band)"
_SMALL = {"color": _SOFT, "fontSize": 12, "distance": 5}
MANY_POINTS = 400  # more are smaller, and one shape
# Constant functions of the page; numbers only ever reach them as data.
_CLOCK = (
    "(v) => { v = Math.round(v); const h = Math.floor(v / 3600), m = Math.floor(v / 60) % 60, s = v % 60; return "
    "(h ? h + ':' + String(m).padStart(2, '0') : m) + ':' + String(s).padStart(2, '0'); }"
)
_MONTHS = "['Jan','Feb','Mar','Apr','May','Jun','Jul','Aug','Sep','Oct','Nov','Dec'][d.getUTCMonth()]"
_OF_DAY = "(v) => { const d = new Date((v - 719163) * 864e5); return "
_DATE = _OF_DAY + f"d.getUTCDate() + ' ' + {_MONTHS} + (d.getUTCMonth() === 0 ? ' ' + d.getUTCFullYear() : ''); }}"
_DATE_OF_YEARS = _OF_DAY + f"d.getUTCDate() + ' ' + {_MONTHS} + ' ' + d.getUTCFullYear(); }}"
_MONTH_OF_YEARS = _OF_DAY + f"{_MONTHS} + ' ' + d.getUTCFullYear(); }}"
_YEARS_D = 330  # a span of more names the year of each of its dates
_WATTS = "(v) => Math.round(v) + ' W'"
_SHORT = (
    "(v) => { v = Math.round(v); if (v < 60) return v + ' s'; if (v < 3600) return Math.round(v / 6) / 10 + ' "
    "min'; return Math.round(v / 360) / 10 + ' h'; }"
)


def _pace(metres: float) -> str:
    return (
        f"(v) => {{ if (!(v > 0.05)) return ''; const s = Math.round({metres} / v); return Math.floor(s / 60) + "
        "':' + String(s % 60).padStart(2, '0'); }"
    )


def _number(pane: Pane) -> str:
    if pane.form == "pace":
        return _pace(1000.0)
    if pane.form == "pace-mile":
        return _pace(MILE_M)
    return "(v) => (Math.abs(v) < 10 ? Math.round(v * 10) / 10 : Math.round(v))"


def height(chart: Chart) -> int:
    """Pixels the chart needs."""
    return _TOP + sum(p.height + _GAP for p in chart.panes)


def options(chart: Chart, window: tuple[float, float] | None = None) -> dict[str, Any]:
    """Options of the chart component; ``window`` (in axis units) gives more points where the reader zoomed in."""
    grids: list[dict[str, Any]] = []
    x_axes: list[dict[str, Any]] = []
    y_axes: list[dict[str, Any]] = []
    titles: list[dict[str, Any]] = []
    series: list[dict[str, Any]] = []
    top = _TOP
    right = _right(chart)
    unit = (1 / MILE_M if chart.imperial else 1e-3) if chart.axis == "distance" else 1.0
    named = {
        "time": _CLOCK,
        "log-time": _SHORT,
        "date": _DATE_OF_YEARS if _of_years(chart) else _DATE,
        "watts": _WATTS,
        "count": "(v) => Math.round(v)",
        "pace": _pace(1000.0),
        "pace-mile": _pace(MILE_M),
    }
    shown = named.get(chart.axis, f"(v) => Math.round(v * {unit} * 10) / 10")
    for index, pane in enumerate(chart.panes):
        last = index == len(chart.panes) - 1
        grids.append({"left": _LEFT, "right": right, "top": top, "height": pane.height, "outerBoundsMode": "none"})
        titles.append(
            {
                "text": pane.title,
                "left": 0,
                "top": top - 21,
                "padding": 0,
                "textStyle": {"fontSize": 13, "fontWeight": "normal", "color": _SOFT},
            }
        )
        low, high = _range(pane)
        x_axes.append(
            {
                "type": "log" if chart.axis == "log-time" else "value",
                "gridIndex": index,
                "min": "dataMin",
                "max": "dataMax",
                "axisLine": {"onZero": False, "lineStyle": {"color": _RULE}},
                "axisTick": {"show": False},
                "splitLine": {"show": False},
                "axisLabel": {
                    "show": last,
                    "color": _SOFT,
                    "fontSize": 13,
                    "margin": 12,
                    ":formatter": _MONTH_OF_YEARS if _of_years(chart) else shown,
                    "hideOverlap": True,
                    **({"customValues": _log_ticks(chart)} if chart.axis == "log-time" else {}),
                    **({"customValues": _date_ticks(chart)} if chart.axis == "date" else {}),
                },
                **({"interval": _tick(chart)} if chart.axis == "time" else {}),
                "axisPointer": {
                    "show": True,
                    "label": {"show": False},
                    "lineStyle": {"color": _SOFT, "type": "solid", "width": 1},
                },
            }
        )
        y_axes.append(
            {
                "type": "value",
                "gridIndex": index,
                "min": low,
                "max": high,
                "interval": max(high - low, 1e-6),
                "splitNumber": 1,
                "inverse": False,
                "axisLine": {"show": False},
                "axisTick": {"show": False},
                "splitLine": {"show": False},
                "axisLabel": {
                    "color": _SOFT,
                    "fontSize": 13,
                    "margin": 6,
                    ":formatter": _number(pane),
                    "customValues": _round_ticks(pane, low, high),
                },
            }
        )
        drawn: list[dict[str, Any]] = []
        for number, mark in enumerate(pane.marks):
            drawn += _series(mark, pane, index, number, window)
        if drawn and chart.spans:
            drawn[0]["markArea"] = _areas(chart.spans, index == 0)
        series += drawn
        top += pane.height + _GAP
    axes = list(range(len(chart.panes)))
    readout = (
        "(items) => { if (!items.length) return ''; const x = ("
        + shown
        + ")(items[0].axisValue); const seen = {}; let out = '';"
        "for (const i of items) { if (!i.seriesId.startsWith('read:') || i.value[1] == null || "
        "seen[i.seriesId]) continue; seen[i.seriesId] = 1;"
        " const f = [" + ",".join(_number(p) for p in chart.panes) + "][i.axisIndex];"
        " out += '&ensp; ' + i.seriesName + ' <b>' + f(i.value[1]) + '</b>'; } return x + out; }"
    )
    return {
        "animation": False,
        "title": titles,
        "grid": grids,
        "xAxis": x_axes,
        "yAxis": y_axes,
        "series": series,
        "textStyle": {"fontFamily": "inherit"},
        "axisPointer": {"link": [{"xAxisIndex": "all"}], "snap": False},
        "tooltip": {
            "trigger": "axis",
            "position": [0, -6],
            "backgroundColor": "transparent",
            "borderWidth": 0,
            "padding": 0,
            "confine": False,
            "extraCssText": "box-shadow:none;white-space:normal",
            "textStyle": {"color": _INK, "fontSize": 14},
            ":formatter": readout,
            "transitionDuration": 0,
        },
        "dataZoom": [
            {
                "type": "inside",
                "xAxisIndex": axes,
                "filterMode": "none",
                "zoomOnMouseWheel": "ctrl",
                "moveOnMouseWheel": False,
            }
        ],
        "aria": {"enabled": True, "label": {"enabled": True, "description": chart.alt}},
        "toolbox": {"show": False},
    }


def _areas(spans: tuple[Span, ...], named: bool) -> dict[str, Any]:
    """Shades over stretches of the axis, named where it is asked."""
    label = {"show": named, "position": "top", "color": _SOFT, "fontSize": 12, "distance": 3}
    return {
        "silent": True,
        "itemStyle": {"color": _RULE, "opacity": 0.38},
        "label": label,
        "data": [[{"xAxis": s.start, "name": s.label if named else ""}, {"xAxis": s.end}] for s in spans],
    }


def _round_ticks(pane: Pane, low: float, high: float) -> list[float]:
    """The ends of a vertical axis and two or three round values between, none too near to another to be read."""
    metres = {"pace": 1000.0, "pace-mile": MILE_M}.get(pane.form)
    ends = [low, high] if metres is None else [metres / max(v, 0.05) for v in (high, low)]
    plain = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000)
    steps = plain if metres is None else (5, 10, 15, 30, 60, 120)
    step = next((s for s in steps if (ends[1] - ends[0]) / s <= 4), steps[-1])
    inner = [step * k for k in range(int(np.ceil(ends[0] / step)), int(ends[1] // step) + 1)]
    apart = 22.0 / pane.height * (high - low)  # pixels that two labels need between them
    out = [low, high]
    for value in inner if metres is None else [metres / v for v in inner if v > 0]:
        same = metres is None and any(_shown(value) == _shown(other) for other in out)
        if not same and all(abs(value - other) >= apart for other in out):
            out.append(value)
    return sorted(out)


def _shown(value: float) -> float:
    """A number as an axis writes it."""
    return round(value, 1 if abs(value) < 10 else 0)


def plot_area(chart: Chart) -> tuple[float, float, float, float]:
    """Where a chart's panes lie, for what is laid over them: pixels from the left and the right, and the ends of its
    axis."""
    low, high = _extent(chart)
    return _LEFT, _right(chart), low, high


def _right(chart: Chart) -> float:
    return max([_RIGHT, *(8 * len(m.label) + 14 for p in chart.panes for m in p.marks)])


def _extent(chart: Chart) -> tuple[float, float]:
    x = np.concatenate([m.x for p in chart.panes for m in p.marks])
    return float(np.nanmin(x)), float(np.nanmax(x))


def _tick(chart: Chart) -> float:
    """Seconds between labels: a step that people count in."""
    low, high = _extent(chart)
    return float(
        next((s for s in (10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400) if (high - low) / s <= 7), 43200)
    )


def _log_ticks(chart: Chart) -> list[float]:
    low, high = _extent(chart)
    return [float(t) for t in (5, 15, 60, 180, 600, 1800, 7200, 28800) if low <= t <= high]


def _of_years(chart: Chart) -> bool:
    low, high = _extent(chart)
    return chart.axis == "date" and high - low > _YEARS_D


def _date_ticks(chart: Chart) -> list[float]:
    """Days that are named below, over years the first of a month: so few that their names keep apart on a phone."""
    low, high = _extent(chart)
    if _of_years(chart):
        months = range(int(low / 365.2425 * 12) - 1, int(high / 365.2425 * 12) + 2)
        days = [dt.date(m // 12 + 1, m % 12 + 1, 1).toordinal() for m in months]
        days = [day for day in days if low <= day <= high]
        every = next(n for n in (3, 4, 6, 12, 24, 36, 60, 120, 1200) if len(days) / n <= 4.5)
        return [float(day) for day in days if (dt.date.fromordinal(day).month - 1) % every == 0][:: max(every // 12, 1)]
    step = next((s for s in (1, 2, 7, 14, 28, 61, 91, 182, 365) if (high - low) / s <= 4.5), 730)
    return [float(day) for day in np.arange(low + 0.5 * ((high - low) % step), high + 0.1, step)]


def _range(pane: Pane) -> tuple[float, float]:
    values = np.concatenate([v for m in pane.marks for v in (m.y, m.y2 if m.y2 is not None else m.y)])
    values = values[np.isfinite(values)]
    if not len(values):
        return 0.0, 1.0
    low, high = np.percentile(values, [0.5, 99.8]) if len(values) > 400 else (values.min(), values.max())
    for mark in pane.marks:  # a band is never cut off, however few its corners
        if mark.kind == "band" and mark.y2 is not None:
            low, high = min(low, float(np.nanmin(mark.y))), max(high, float(np.nanmax(mark.y2)))
    room = max((high - low) * 0.06, 1e-3)
    step = 10.0 if high - low > 40 else 1.0 if high - low > 4 else 0.1
    bottom = float(np.floor((low - room) / step) * step)
    return max(bottom, 0.0) if values.min() >= 0 else bottom, float(np.ceil((high + room) / step) * step)


def _series(
    mark: Mark, pane: Pane, index: int, number: int, window: tuple[float, float] | None
) -> list[dict[str, Any]]:
    common = {
        "xAxisIndex": index,
        "yAxisIndex": index,
        "symbol": "none",
        "silent": True,
        "animation": False,
        "emphasis": {"disabled": True},
    }
    name = pane.title.partition(",")[0]
    if mark.kind == "band" and mark.y2 is not None:
        low, high = np.minimum(mark.y, mark.y2), np.maximum(mark.y, mark.y2)
        base = {
            **common,
            "type": "line",
            "stack": f"band{index}-{mark.x[0]:.0f}",
            "stackStrategy": "all",
            "lineStyle": {"opacity": 0},
        }
        label = {"show": bool(mark.label), "formatter": mark.label, "color": _SOFT, "fontSize": 13, "distance": 4}
        return [
            {**base, "data": _pairs(mark.x, low)},
            {
                **base,
                "data": _pairs(mark.x, high - low),
                "areaStyle": {"color": _BAND, "opacity": 1},
                "endLabel": {**label, "valueAnimation": False},
            },
        ]
    x, y = mark.x, mark.y
    if window is not None:
        inside = (x >= window[0]) & (x <= window[1])
        margin = np.convolve(inside, np.ones(3), mode="same") > 0
        x, y = x[margin], y[margin]
    if mark.kind == "points":
        return [
            {
                **common,
                "type": "scatter",
                "symbol": "circle",
                "symbolSize": 4 if mark.soft or len(x) >= MANY_POINTS else 8,
                # Thousands of points as one shape: a browser takes a third of a second for as many of their own.
                **({} if mark.names else {"large": True, "largeThreshold": MANY_POINTS}),
                "z": 10,
                "data": _named(_pairs(x, y), mark.names),
                "itemStyle": {"color": _ACCENT if mark.accent else _SOFT if mark.soft else _INK},
                "label": {"show": bool(mark.names), "formatter": "{b}", "position": "top", **_SMALL},
                "labelLayout": {"hideOverlap": True},
            }
        ]
    x, y = thin(x, y)
    colour = _ACCENT if mark.accent else _SOFT if mark.soft else _INK
    return [
        {
            **common,
            "id": f"read:{index}:{number}",
            "name": mark.label or name,
            "type": "line",
            "connectNulls": False,
            "data": _pairs(x, y),
            "labelLayout": {"moveOverlap": "shiftY"},
            "lineStyle": {"color": colour, "width": 1.3},
            "itemStyle": {"color": colour},
            "endLabel": {
                "show": bool(mark.label),
                "formatter": mark.label,
                "color": colour,
                "fontSize": 13,
                "distance": 4,
            },
        }
    ]


Pairs = tuple[tuple[float, float | None], ...]


def _named(pairs: Pairs, names: tuple[str, ...]) -> Pairs | tuple[dict[str, Any], ...]:
    return tuple({"value": p, "name": n} for p, n in zip(pairs, names, strict=True)) if names else pairs


def _pairs(x: Floats, y: Floats) -> Pairs:
    """Points of a series: tuples, since pages watch every list in a chart for changes, one by one."""
    rows = zip(
        np.round(x, 2).tolist(), np.round(np.asarray(y, dtype=float), 3).tolist(), np.isfinite(y).tolist(), strict=True
    )
    return tuple((a, b if known else None) for a, b, known in rows)
