"""One run: linked panes over time or distance, domains, best efforts against the runner's, laps, marks, cleaning."""

from __future__ import annotations

import asyncio
import datetime as dt
from collections.abc import Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import numpy as np
from nicegui import ui

from footwork.charts import Chart, Mark, Pane, Span
from footwork.charts.course_picture import track
from footwork.errors import FootworkError
from footwork.history import private_places
from footwork.quantities import Estimate, Floats, describe_weather, format_distance, format_duration, format_pace, plain
from footwork.questions.today import run_verdicts
from footwork.results.effort import BalanceAlong
from footwork.signals import Bools, Signals
from footwork.web import jobs
from footwork.web.declaration import Page
from footwork.web.drawing import show_chart, show_picture, smooth, zooming
from footwork.web.layout import (
    domain_strip,
    folded,
    heading,
    link,
    measured,
    method_link,
    note,
    page,
    scale_links,
    table,
    text,
    whisker,
    whole_number,
)
from footwork.web.page_words import sentence as spoken
from footwork.web.pages import efforts_page
from footwork.web.pages.comment_box import comment_box
from footwork.wording.due_words import long_date
from footwork.wording.run_titles import as_described

if TYPE_CHECKING:
    from footwork.api import Library

_MARKS = {
    "race": "a race",
    "test": "a test",
    "maximal": "all I had",
    "easy": "easy",
    "long": "a long run",
    "brick": "after a ride",
    "treadmill": "on a treadmill",
}


def data(library: Library, run_id: str, scale: str = "") -> dict[str, Any]:
    """Shown by the page and its twin; ``scale`` adds the mean power on that one."""
    found = library.run(whole_number(run_id))
    out: dict[str, Any] = found.to_json()
    out["load"] = library.run_load(int(run_id))
    out["critical_power"] = _critical_power(library, found.row.scale_key)
    with suppress(FootworkError):
        balance = library.balance(int(run_id))
        out["balance"] = {name: balance[name] for name in ("minimum", "minimum_at_s", "w_prime", "as_of")}
    if scale:
        out["on_scale"] = plain(library.mean_on(int(run_id), scale))
    return out


def _critical_power(library: Library, scale_key: str | None) -> Estimate:
    if scale_key is None:
        return Estimate.withheld("W", "critical-power", "this run has no power")
    try:
        found: Estimate = library.capacity(scale=scale_key).critical_power
        return found
    except FootworkError as error:
        return Estimate.withheld("W", "critical-power", str(error))


def panes(
    signals: Signals,
    found: dict[str, Any],
    by: str,
    imperial: bool,
    efforts: Sequence[dict[str, Any]] = (),
    balance: BalanceAlong | None = None,
) -> Chart:
    """Power with the CP band, heart rate, pace, cadence, W′ balance and altitude, the efforts shaded in all."""
    over_distance = by == "distance" and np.isfinite(signals.get("distance")).any()
    x = _axis(signals, by)
    cp: Estimate = found["critical_power"]
    made = []
    if "power" in signals:
        marks = [Mark("line", x, np.where(signals.timer, signals["power"], np.nan))]
        if cp.low is not None and cp.high is not None and cp.value is not None:
            ends = np.array([x[0], x[-1]])
            marks.insert(0, Mark("band", ends, np.full(2, cp.low), np.full(2, cp.high), f"CP {cp.value:.0f}"))
        made.append(Pane("power, W", marks, height=140))
    if np.isfinite(signals.get("heart_rate")).any():
        rate, sound = signals["heart_rate"], signals.sound_heart_rate
        rates = [Mark("line", x, sound)]
        if np.isfinite(rate[~np.isfinite(sound)]).any():
            # One second more at each end, so that what is not counted joins what is.
            beside = np.convolve(np.isfinite(rate) & ~np.isfinite(sound), np.ones(3), mode="same") > 0
            rates.insert(0, Mark("line", x, np.where(beside, rate, np.nan), soft=True))
        made.append(Pane("heart rate, bpm" + ("; grey is not counted" if len(rates) > 1 else ""), rates, height=96))
    if np.isfinite(signals.get("speed")).any():
        speed = smooth(signals["speed"], 9)
        made.append(
            Pane(
                f"pace, min/{'mi' if imperial else 'km'}",
                [Mark("line", x, np.where(speed > 0.8, speed, np.nan))],
                "pace-mile" if imperial else "pace",
                96,
            )
        )
    if np.isfinite(signals.get("cadence")).any():
        cadence = smooth(signals["cadence"], 5)
        made.append(Pane("cadence, steps/min", [Mark("line", x, np.where(cadence > 100, cadence, np.nan))], height=72))
    if balance is not None:
        at = x[np.clip(np.array(balance["seconds"]), 0, len(x) - 1)]
        low, middle, high = (np.array(balance[k]) / 1000 for k in ("low_j", "middle_j", "high_j"))
        made.append(Pane("W′ balance, kJ", [Mark("band", at, low, high), Mark("line", at, middle)], height=84))
    if np.isfinite(signals.get("altitude")).any():
        made.append(Pane("altitude, m", [Mark("line", x, signals["altitude"])], height=72))
    return Chart(
        made,
        "distance" if over_distance else "time",
        f"Power, heart rate, pace and altitude of run {found['id']}",
        imperial,
        tuple(Span(e["span"][0], e["span"][1], e["label"]) for e in spans_of(efforts, x) if e["label"]),
    )


def spans_of(efforts: Sequence[dict[str, Any]], x: Floats) -> list[dict[str, Any]]:
    """Where efforts lie on the axis, and for work a label: its number among the work."""
    out, number = [], 0
    for effort in efforts:
        ends = (float(x[min(max(int(effort[k]), 0), len(x) - 1)]) for k in ("start_s", "end_s"))
        number += effort["kind"] == "work"
        labelled = effort["kind"] == "work" and len(efforts) > 1
        out.append({"span": tuple(ends), "label": str(number) if labelled else ""})
    return out


def track_of(signals: Signals, hidden: Bools, found: dict[str, Any], imperial: bool) -> str | None:
    """The way of a run from above, as thick as its effort, without ``hidden`` seconds; None without positions."""
    latitude, longitude = (np.where(hidden, np.nan, signals.get(n)) for n in ("latitude", "longitude"))
    known = np.flatnonzero(np.isfinite(latitude) & np.isfinite(longitude) & np.isfinite(signals.get("distance")))
    if len(known) < 60:
        return None
    known_power = "power" in signals and bool(np.isfinite(signals["power"]).any())
    effort = smooth(np.where(signals.timer, signals["power"] if known_power else signals.get("speed"), np.nan), 31)
    if not np.isfinite(effort).any():
        effort = np.ones(len(effort))
    at = known[np.unique(np.linspace(0, len(known) - 1, 400).astype(int))]
    effort = np.nan_to_num(effort[at[:-1]], nan=float(np.nanmedian(effort)))
    weather = found["weather"]
    told = weather is not None and weather.get("wind_from_deg") is not None and weather.get("wind_mps") is not None
    wind = (weather["wind_mps"], weather["wind_from_deg"]) if told else None
    way = signals["distance"]
    return track(latitude[at], longitude[at], np.maximum.accumulate(way[at] - way[at[0]]), effort, imperial, wind)


def best_chart(found: dict[str, Any], best: list[dict[str, Any]]) -> Chart:
    """This run's best efforts against the runner's."""
    mine = [b for b in found["mean_maximal_power"] if b["duration_s"] >= 5]
    x, y = np.array([b["duration_s"] for b in mine], float), np.array([b["power_w"] for b in mine], float)
    marks = []
    if best:
        kept = [b for b in best if b["duration_s"] >= 5]
        marks.append(
            Mark(
                "line",
                np.array([b["duration_s"] for b in kept], float),
                np.array([b["power_w"] for b in kept], float),
                label="best",
                soft=True,
            )
        )
    marks.append(Mark("line", x, y, label="this run"))
    return Chart(
        [Pane("mean maximal power, W", marks, height=190)],
        "log-time",
        "Best mean power by duration of this run and of the last months",
    )


def sentence(found: dict[str, Any], imperial: bool) -> str:
    """When, how far and with whose watts."""
    at = dt.datetime.fromisoformat(found["date"])
    out = [f"Run {found['id']}, {long_date(at.date())} {at.year}, {at:%H:%M}."]
    if found["distance_m"]:
        out.append(
            f"{format_distance(found['distance_m'], imperial)} in {format_duration(found['duration_s'])}, "
            f"{format_pace(found['distance_m'] / found['duration_s'], imperial)}."
        )
    else:
        out.append(f"{format_duration(found['duration_s'])}.")
    if found["entered_by_hand"]:
        out.append("Entered by hand: there is no recording.")
    elif found["power_w"] is None and any(p for r in found["recordings"] for p in r["power"]):
        out.append("Power is withheld: it is left out by an edit.")
    elif found["power_w"] is None:
        out.append("Power is withheld: none was recorded, and modelling it needs your mass.")
    if found["legs_before"]:
        out.append(f"Run after {' and '.join(found['legs_before'])}.")
    out.append(as_described(found["marks"], found["surface"], found["shoe"], found["left_out"]))
    return " ".join(t for t in out if t)


def _worked_out(library: Library, run_id: str, scale: str) -> dict[str, Any]:
    """Everything that the page shows of a run."""
    found = data(library, run_id, scale)
    number = int(run_id)
    row = library.run(number).row
    out: dict[str, Any] = {
        "found": found,
        "row": row,
        "signals": None,
        "efforts": [],
        "otherwise": [],
        "balance": None,
        "best": [],
        "library": library,
    }
    if found["entered_by_hand"]:
        return out
    out["signals"] = library.signals(number)
    with suppress(FootworkError):
        out["efforts"], out["otherwise"] = library.efforts(number), library.efforts_otherwise(number)
    with suppress(FootworkError):
        out["balance"] = library.balance(number)
    out["best"] = library.best_curve(None, None, row.scale_key) if row.scale_key else []
    out["verdicts"] = run_verdicts(library, row)
    out["looks"], out["trials"] = library.recognised(number), library.trials()
    return out


async def show_run(base: str, library: Library, run_id: str, by: str = "time", scale: str = "") -> None:
    try:
        made = await asyncio.to_thread(_worked_out, library, run_id, scale)
    except FootworkError as error:
        with page(base, "Runs", "This run cannot be shown", spoken(str(error))):
            link("All runs", f"{base}/runs")
        return
    imperial = library.setting("units") == "imperial"
    found, row, signals = made["found"], made["row"], made["signals"]
    with page(base, "Runs", found["title"] or "A run", sentence(found, imperial)):
        if signals is None:
            _marks(base, library, row.id, found["marks"])
            _told(base, library, found)
            return
        against, asked = made["verdicts"]
        for verdict, key in ((asked, "sessions"), (against, "usual")):
            if verdict:
                note(verdict, base, key)
        _marks(base, library, row.id, found["marks"])
        others_look = jobs.open_to_others or library.for_coach
        hidden = private_places.near_places(signals, library.places() if others_look else [])
        drawn = track_of(signals, hidden, found, imperial)
        with ui.element("div").classes("beside" if drawn else ""):
            _numbers(base, found, made["balance"])
            if drawn is not None:
                with ui.element("div"):
                    show_picture(drawn, f"The way of run {row.id} from above, as thick as its effort")
        _panes(base, made, by, imperial, scale)
        if found["load"]:
            domain_strip(found["load"]["seconds_in_domains"])
            with ui.element("p"):
                method_link(base, "domains", "How domains are known")
        x = _axis(signals, by)
        efforts_page.section(base, library, row.id, imperial, made, [e["span"] for e in spans_of(made["efforts"], x)])
        _laps(found, imperial)
        if found["mean_maximal_power"]:
            with folded("Best efforts of this run"):
                show_chart(best_chart(found, made["best"]))
                with ui.element("p"):
                    method_link(base, "mean-maximal", "How best efforts are found")
        _told(base, library, found)
        _recordings(base, found)
        _heart_rate(base, library, found)
        _cleaning(base, found)


def _axis(signals: Signals, by: str) -> Floats:
    """What the panes run over: seconds, or metres where the way is known."""
    if by == "distance" and np.isfinite(signals.get("distance")).any():
        return np.asarray(np.maximum.accumulate(np.nan_to_num(signals["distance"])))
    return np.asarray(signals["time"] - signals["time"][0])


def _panes(base: str, made: dict[str, Any], by: str, imperial: bool, scale: str) -> None:
    """The panes under one cursor."""
    found, row, signals = made["found"], made["row"], made["signals"]
    with ui.element("div").classes("row-of on-screen"):
        for key, label in (("time", "Over time"), ("distance", "Over distance")):
            button = link(label, f"{base}/runs/{row.id}?by={key}", "button")
            if by == key:
                button.props["aria-current"] = "true"
        text("span", "Hold Ctrl and scroll, or pinch, to zoom.", "soft")
    chart = panes(signals, found, by, imperial, made["efforts"], made["balance"])
    if chart.panes:
        zooming(chart)
    if row.scale_key:
        with folded("The same by another device's watts"):
            scale_links(base, made["library"], f"runs/{row.id}", scale or found["power_scale"], convertible=False)


def _numbers(base: str, found: dict[str, Any], balance: BalanceAlong | None) -> None:
    with ui.element("div").classes("numbers"):
        if found["power_w"] is not None:
            unit, method = ("W measured", "scales") if found["measured"] else ("W modelled", "modelled-power")
            measured("Mean power", f"{found['power_w']:.0f}", unit, found["power_scale"] or "", base, method)
        if "on_scale" in found:
            there = found["on_scale"]
            how = "converted" if there["converted"] else "as it was measured there"
            whisker(base, f"Mean power on {there['scale']}", "on_scale.power", Estimate.from_json(there["power"]), how)
        whisker(base, "Critical power on this scale", "critical_power", found["critical_power"], "as known now")
        if found["heart_rate_bpm"]:
            screened = found["heart_rate_screening"]
            told = f"{screened['verdict']}: {100 * screened['sound_share']:.0f} % of seconds count" if screened else ""
            measured(
                "Mean heart rate", f"{found['heart_rate_bpm']:.0f}", "bpm measured", told, base, "heart-rate-quality"
            )
        if found["load"]:
            load = found["load"]
            told = "; ".join([f"by {load['way']}", *load["notes"]])
            whisker(base, "Load", "load.load", load["load"], told, 0, unit="CP-minutes")
        if balance is not None:
            least = Estimate.from_json(balance["minimum"]).scaled(1e-3, "kJ")
            known = long_date(dt.date.fromisoformat(str(balance["as_of"])[:10]))
            when = f"at {format_duration(balance['minimum_at_s'])}, as known on {known}"
            whisker(base, "Lowest W′ balance", "balance.minimum", least, when, 1)


def _told(base: str, library: Library, found: dict[str, Any]) -> None:
    """Diary and weather, and where to correct."""
    heading("How it felt, and the weather")
    for name, value in found["diary"].items():
        if value is not None:
            text("p", f"{name.replace('_', ' ').capitalize()}: {value if isinstance(value, str) else f'{value:g}'}")
    if found["weather"]:
        text("p", f"Weather: {describe_weather(found['weather'])}.")
    if not found["weather"] and not any(v is not None for v in found["diary"].values()):
        text("p", "No exertion, note or weather yet.", "soft")
    link("Correct and describe", f"{base}/runs/{found['id']}/edit", "button")
    comment_box(library, f"{base}/runs/{found['id']}", "Comments", {"run": found["id"]})


def _laps(found: dict[str, Any], imperial: bool) -> None:
    if not found["laps"]:
        return
    with folded(f"{len(found['laps'])} laps"):
        _lap_table(found, imperial)


def _lap_table(found: dict[str, Any], imperial: bool) -> None:
    table(
        ["lap", "time", "distance", "pace", "power", "heart rate", "domain"],
        [
            [
                f"Lap {i}" + (" by hand" if lap["by"] == "hand" else ""),
                format_duration(lap["duration_s"]),
                format_distance(lap["distance_m"], imperial) if lap["distance_m"] else "",
                format_pace(lap["speed_mps"], imperial) if lap["speed_mps"] else "",
                f"{lap['power_w']:.0f} W" if lap["power_w"] is not None else "",
                f"{lap['heart_rate_bpm']:.0f} bpm" if lap["heart_rate_bpm"] is not None else "",
                lap["domain"] or "",
            ]
            for i, lap in enumerate(found["laps"], start=1)
        ],
    )


def _recordings(base: str, found: dict[str, Any]) -> None:
    if len(found["recordings"]) < 2 and sum(len(r["power"]) for r in found["recordings"]) < 2:
        return
    heading("Recordings of this run")
    text("p", "Watts of different devices belong to different scales and are not mixed.", "soft")
    table(
        ["file", "power", "heart rate", ""],
        [
            [
                r["file"],
                ", ".join(f"{p['power_w']:.0f} W {p['scale']}" for p in r["power"] if p["power_w"] is not None)
                or "none",
                f"{r['heart_rate_bpm']:.0f} bpm" if r["heart_rate_bpm"] else "",
                "shown above" if r["primary"] else "",
            ]
            for r in found["recordings"]
        ],
    )
    link("Compare the devices", f"{base}/runs/{found['id']}/compare", "button").style("margin-top:12px")


def _marks(base: str, library: Library, run_id: int, marks: list[str]) -> None:
    with ui.element("div").classes("row-of marks on-screen"):
        text("span", "It was", "soft")
        for name, label in _MARKS.items():
            button = text("button", label, "fw on" if name in marks else "fw")
            button.props["aria-pressed"] = str(name in marks).lower()

            async def press(_: Any, name: str = name) -> None:
                try:
                    await asyncio.to_thread(library.mark, run_id, name, name in marks)
                except FootworkError as error:
                    ui.notify(spoken(str(error)))
                    return
                ui.navigate.to(f"{base}/runs/{run_id}")

            button.on("click", press)
        if "race" in marks:
            link("This race against the plan of the day before", f"{base}/runs/{run_id}/review")


def _heart_rate(base: str, library: Library, found: dict[str, Any]) -> None:
    """How much of the heart rate counts and why not more, and the runner's word on it."""
    screened = found["heart_rate_screening"]
    if not screened:
        return
    with folded("Heart rate, as it counts"):
        _judged(base, library, found, screened)


def _judged(base: str, library: Library, found: dict[str, Any], screened: dict[str, Any]) -> None:
    faults = [f"{kind.replace('_', ' ')} {format_duration(s)}" for kind, s in screened["faults_s"].items()]
    counts = f"{100 * screened['sound_share']:.0f} % of seconds count"
    text("p", f"{counts}. Not counted: {', '.join(faults)}." if faults else f"{counts}.")
    with ui.element("div").classes("row-of"):
        for value, label in (("sound", "My heart rate is sound"), ("doubtful", "My heart rate is doubtful")):

            async def press(_: Any, value: str = value) -> None:
                try:
                    await asyncio.to_thread(library.judge_heart_rate, found["id"], value)
                except FootworkError as error:
                    ui.notify(spoken(str(error)))
                    return
                ui.navigate.to(f"{base}/runs/{found['id']}")

            text("button", label, "fw").on("click", press)
        method_link(base, "heart-rate-quality")


def _cleaning(base: str, found: dict[str, Any]) -> None:
    with folded("What was cleaned"):
        _cleaned(base, found)


def _cleaned(base: str, found: dict[str, Any]) -> None:
    lines = [found["clipped"]["why"]] if found["clipped"] else []
    lines += [f"Lost: {t}" for t in found["lost"]] + found["notes"] + [c["sentence"] for c in found["changes"]]
    if not lines:
        text("p", "Nothing: every second is as it was recorded.")
    for line in lines:
        text("p", line[0].upper() + line[1:] + ".")
    with ui.element("p"):
        method_link(base, "cleaning")
    if found["lost"]:
        note("This recording was recovered from a damaged file.", base, "cleaning")


PAGES = (Page("/runs/{run_id}", show_run, data),)
