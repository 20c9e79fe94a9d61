"""The race: inputs beside the plan, which follows them."""

from __future__ import annotations

import asyncio
import json
import tempfile
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from nicegui import events, ui

from footwork.charts import Chart, Mark, Pane
from footwork.errors import FootworkError, UsageError
from footwork.library import handout
from footwork.library.race import CAUTION, RacePlan, splits_every
from footwork.library.road import Weather, read_track
from footwork.quantities import (
    format_distance,
    format_duration,
    format_pace,
    parse_date,
    parse_distance,
    parse_duration,
)
from footwork.reports import race_card
from footwork.signals import Course
from footwork.web import jobs
from footwork.web.layout import heading, note, page, table, text, whisker
from footwork.web.pages.run import show_chart

FIELDS = (
    ("distance", "Distance", "half"), ("time", "Goal time, or time alone", ""), ("temperature", "Temperature, °C", ""),
    ("humidity", "Humidity, %", ""), ("wind", "Wind, m/s, or 5@240", ""), ("altitude", "Altitude, m", ""), ("metar", "or a METAR line", ""), ("risk", "Chance of running dry you accept, %", "about 50"),
)  # fmt: skip


def answer(library: Any, course: Course | None = None, **given: str) -> RacePlan:
    """A plan from the page's texts. Raises UsageError for a text that is no number."""
    unknown = set(given) - {name for name, _, _ in FIELDS} - {"scale", "date", "strategy"}
    if unknown:
        raise UsageError(f"this page knows no {', '.join(sorted(unknown))}")
    asked = {name: value.strip() for name, value in given.items()}
    speed, at, source = asked.get("wind", "").partition("@")
    humidity = _number(asked.get("humidity", ""), "humidity")
    sky = Weather(
        _number(speed, "wind"), _number(source, "wind direction") if at else None, _number(asked.get("temperature", ""), "temperature"),
        None if humidity is None else humidity / 100, _number(asked.get("altitude", ""), "altitude"),
    )  # fmt: skip
    if asked.get("metar"):
        sky = sky.over(asked["metar"])
    distance = parse_distance(asked["distance"]) if asked.get("distance") else None
    if distance is None and course is None and not asked.get("time"):
        distance = parse_distance("half")
    time = parse_duration(asked["time"]) if asked.get("time") else None
    every = splits_every(library.setting("units") == "imperial")
    found: RacePlan = library.race(
        distance=distance,
        time=time,
        course=course,
        weather=sky,
        scale=asked.get("scale") or None,
        date=parse_date(asked["date"]) if asked.get("date") else None,
        split=every,
        strategy=asked.get("strategy") or None,
        risk=None if not asked.get("risk") else (_number(asked["risk"], "the chance") or 0.0) / 100,
    )
    return found


def _number(text_: str, what: str) -> float | None:
    if not text_:
        return None
    try:
        return float(text_.replace(",", "."))
    except ValueError:
        raise UsageError(f"{what} '{text_}' is not a number") from None


def data(library: Any, **given: str) -> dict[str, Any]:
    """Shown by the page and its twin; the twin takes the page's fields as a query."""
    return answer(library, None, **given).to_json()


def sentence(plan: RacePlan) -> str:
    if plan.distance is not None:
        return f"In {format_duration(plan.time.value or 0)} at even power you can cover about {format_distance(plan.distance.value or 0)}."
    goal = plan.goal
    if goal and goal["critical_power_needed"] is not None:
        needed = goal["critical_power_needed"]
        return f"{format_duration(goal['time_s'])} is out of reach today: it would take a CP of {needed.value:.0f} W ({needed.low:.0f} to {needed.high:.0f}). Below is what you can do."
    if goal:
        return f"{format_duration(goal['time_s'])} has a chance of {100 * goal['chance']:.0f} %: hold about {plan.power.value:.0f} W."
    return f"Hold about {plan.power.value:.0f} W and expect {format_duration(plan.time.value or 0)}, between {format_duration(plan.time.low or 0)} and {format_duration(plan.time.high or 0)}."


def profile_chart(plan: RacePlan, imperial: bool) -> Chart:
    """Height and pace along the course."""
    x = np.array([0.0] + [p["end_m"] for p in plan.profile])
    rise = np.array([0.0] + [p["rise_m"] for p in plan.profile])
    speed = np.array([p["speed_mps"] for p in plan.profile])
    panes = [
        Pane(
            f"pace at even power, min/{'mi' if imperial else 'km'}",
            [Mark("line", x, np.append(speed[:1], speed))],
            "pace-mile" if imperial else "pace",
        )
    ]
    if np.ptp(rise) > 2:
        panes.append(Pane("height above the start, m", [Mark("line", x, rise)], height=120))
    return Chart(panes, "distance", "Pace and height along the course", imperial)


def register(base: str, library: Any) -> None:
    @ui.page(f"{base}/race")
    async def race(
        distance: str = "",
        time: str = "",
        temperature: str = "",
        humidity: str = "",
        wind: str = "",
        altitude: str = "",
        metar: str = "",
        risk: str = "",
    ) -> None:
        asked = {
            "distance": distance,
            "time": time,
            "temperature": temperature,
            "humidity": humidity,
            "wind": wind,
            "altitude": altitude,
            "metar": metar,
            "risk": risk,
        }
        imperial = library.setting("units") == "imperial"
        given = {name: asked.get(name, "") for name, _, _ in FIELDS}
        state: dict[str, Any] = {"course": None, "turn": 0}

        async def follow() -> None:
            state["turn"] += 1
            turn = state["turn"]
            await asyncio.sleep(0.25)  # typing settles
            if turn != state["turn"]:
                return
            try:
                plan = await asyncio.to_thread(lambda: answer(library, state["course"], **given))
            except FootworkError as error:
                plan = None
                message = f"{str(error)[0].upper()}{str(error)[1:]}."
            if turn != state["turn"]:
                return
            shown.clear()
            with shown:
                if plan is None:
                    text("p", message)
                else:
                    _plan(base, plan, imperial)
                    _files(plan, state["course"])

        with page(
            base,
            "Race",
            "Race",
            "The watts for a race, so as neither to blow up nor to finish with energy left.",
            wide=True,
        ):
            with ui.element("div").classes("split"):
                with ui.element("div"):
                    with ui.element("div").classes("fw-form"):
                        for name, label, default in FIELDS:
                            with ui.element("label"):
                                text("span", label)
                                # No value is bound: a page that redraws would put it back over what was typed.
                                box = ui.element("input").props(f'type="text" autocomplete="off" name="{name}"')
                                box.props["placeholder"] = default

                                async def changed(event: Any, name: str = name) -> None:
                                    given[name] = str(event.args["value"])
                                    await follow()

                                box.on("input", changed, js_handler="(e) => emit({value: e.target.value})")
                    text(
                        "p",
                        "Distance as 10km, 5mi, half or marathon. A course as GPX takes the distance from the file:",
                        "soft",
                    )

                    async def received(event: events.UploadEventArguments) -> None:
                        try:
                            state["course"] = await read_elsewhere(event)
                        except FootworkError as error:
                            ui.notify(f"{str(error)[0].upper()}{str(error)[1:]}.")
                            return
                        given["distance"] = ""
                        fill({"distance": ""})
                        await follow()

                    with ui.element("div").classes("upload"):
                        ui.upload(label="Drop a course here", auto_upload=True, on_upload=received).props(
                            'flat bordered color="transparent" text-color="inherit"'
                        )
                shown = ui.element("div")
            fill({name: value for name, value in given.items() if value})
            with shown:
                try:
                    plan = await asyncio.to_thread(lambda: answer(library, None, **given))
                    _plan(base, plan, imperial)
                    _files(plan, None)
                except FootworkError as error:
                    text("p", f"{str(error)[0].upper()}{str(error)[1:]}.")


def strategies_chart(found: dict[str, Any], imperial: bool) -> Chart:
    """Power of the three ways, and the stores and the risk of the chosen one, along the course."""
    rows = found["strategies"]
    x = np.array([0.0] + [s["end_m"] for s in rows["best"]["segments"]])

    def line(name: str, key: str, first: float | None = None) -> np.ndarray:
        values = np.array([s[key] for s in rows[name]["segments"]])
        return np.append(values[:1] if first is None else [first], values)

    chosen = found["chosen"]
    other = "even-pace" if chosen != "even-pace" else "best"
    powers = [
        Mark("line", x, line(other, "power_w"), label=other, soft=True),
        Mark("line", x, line(chosen, "power_w"), label=chosen),
    ]
    stores = (
        Pane("effort, W", powers, height=150),
        Pane(f"W′ left, kJ, {chosen}", [Mark("line", x, line(chosen, "w_prime_j", float(found["w_prime_j"])) / 1000)], height=90),
        Pane(f"endurance left, %, {chosen}", [Mark("line", x, 100 * line(chosen, "endurance_left", 1.0))], height=90),
        Pane("chance that a store is empty by here, %", [Mark("line", x, 100 * np.append(0.0, found["dry_by_segment"]))], height=90),
    )  # fmt: skip
    # A line that never moves tells nothing that the table does not.
    panes = [p for p in stores if max(float(np.ptp(m.y)) for m in p.marks) > 1.0]
    return Chart(panes, "distance", "Power, both stores and the chance of running dry along the course", imperial)


def _instructions(found: dict[str, Any], imperial: bool) -> None:
    heading("How to run it")
    table(
        ["from", "to", "watts shown", "band", "road", "watch"],
        [
            [format_distance(i["start_m"], imperial), format_distance(i["end_m"], imperial), f"{i['power_w']:.0f} W", f"{i['low_w']:.0f}–{i['high_w']:.0f}",
             i["where"], f"{i['watch']} mean"]
            for i in found["instructions"]
        ],
        labelled=True,
    )  # fmt: skip
    cost = found["simplifying_costs_s"]
    text(
        "p",
        "Watts as your device shows them: lower where it is dull on slopes or blind to wind, for the same effort."
        + (f" Running these stretches instead of every metre costs {cost:.0f} s." if cost >= 0.5 else ""),
        "soft",
    )


def _strategies(base: str, found: dict[str, Any], imperial: bool) -> None:
    heading("Three ways to run it")
    table(
        ["way", "time", "behind the quickest", "mean power", "least W′ left", "endurance left"],
        [
            [name.replace("-", " ").capitalize(), format_duration(s["time_s"]), format_duration(s["behind_best_s"]) if s["behind_best_s"] >= 0.5 else "none",
             f"{s['mean_power_w']:.0f} W", f"{min(r['w_prime_j'] for r in s['segments']) / 1000:.1f} kJ", f"{100 * s['segments'][-1]['endurance_left']:.0f} %"]
            for name, s in found["strategies"].items()
        ],
        labelled=True,
    )  # fmt: skip
    text("p", found["why"])
    drawn = strategies_chart(found, imperial)
    if drawn.panes:
        show_chart(drawn)
    heading("Fuel")
    text("p", found["fuel"]["sentence"])
    heading("Many race days")
    t = found["finish_time"]
    text(
        "p",
        f"Of ten race days run by this plan, one is under {format_duration(t['p10'])}, five under {format_duration(t['p50'])} and nine under "
        f"{format_duration(t['p90'])}. The chance of running dry is {100 * found['run_dry_probability']:.0f} %; then the rest is run at 80 % of CP."
        + (
            ""
            if found["reserve"]
            else " The plan spends all you most likely have: give a chance you accept for a safer one."
        ),
    )
    table(
        ["unknown", "spread of the time, alone"],
        [[u["what"][0].upper() + u["what"][1:], f"± {1.96 * u['sd_s']:.0f} s"] for u in found["unknowns"]],
        labelled=True,
    )
    solver = found["solver"]
    note(
        f"The quickest plan was found by optimal control: {solver['status']} after {solver['iterations']} steps, residual {solver['residual']:.0e}.",
        base,
        "pacing",
    )


def _files(plan: RacePlan, course: Course | None) -> None:
    """What is taken to the start line."""
    name = (course.name if course else "") or f"race-{plan.question['distance_m'] / 1000:.0f}km"

    async def card(_: Any) -> None:
        ui.download.content(await asyncio.to_thread(race_card, plan, course.name if course else ""), f"{name}.pdf")

    async def watch(_: Any) -> None:
        ui.download.content(await asyncio.to_thread(handout.workout, plan, name), f"{name}.fit")

    heading("Take it along")
    with ui.element("div").classes("row-of"):
        text("button", "Print a pace card", "fw").on("click", card)
        text("button", "Workout for the watch", "fw").on("click", watch)
    text(
        "p",
        "The card is a PDF with a wrist band and a pocket sheet; the workout is a FIT file with a band of watts for each stretch.",
        "soft",
    )


def fill(values: dict[str, str]) -> None:
    """Write texts into the form's fields; they reach the page as data."""
    for name, value in values.items():
        ui.run_javascript(f"document.querySelector('input[name={name}]').value = {json.dumps(value)}")


async def read_elsewhere(event: events.UploadEventArguments) -> Course:
    """An uploaded course, read by another process: the web process never decodes."""
    with tempfile.TemporaryDirectory(prefix="footwork-course-") as folder:
        path = Path(folder) / jobs.safe_name(event.file.name, 0)
        await event.file.save(path)
        with ProcessPoolExecutor(1, get_context("spawn")) as pool:
            return await asyncio.get_running_loop().run_in_executor(pool, read_track, path)


def _plan(base: str, plan: RacePlan, imperial: bool) -> None:
    text("p", sentence(plan))
    per = "/mi" if imperial else "/km"
    with ui.element("div").classes("numbers"):
        whisker(base, f"Power on {plan.scale}", "power", plan.power, "even effort")
        if plan.distance is not None:
            whisker(base, "Distance", "distance", plan.distance.scaled(1e-3, "km"), "", 2)
        else:
            whisker(base, "Time", "time", plan.time, "", 0, format_duration, " ")
        whisker(base, "Pace", "pace", plan.pace, "", 0, lambda v: format_pace(1000 / v, imperial).split(" ")[0], per)
    for warning in plan.warnings:
        note(warning, base, "race")
    if np.ptp([p["speed_mps"] for p in plan.profile]) > 0.05:
        show_chart(profile_chart(plan, imperial))
    _instructions(plan.strategies, imperial)
    _strategies(base, plan.strategies, imperial)
    heading("Splits at even power")
    table(
        ["distance", "clock", "split pace", "rise", "power"],
        [
            [format_distance(s["distance_m"], imperial), format_duration(s["time_s"]), format_pace(s["speed_mps"], imperial),
             f"{s['rise_m']:+.0f} m" if abs(s["rise_m"]) >= 0.5 else "level", f"{s['power_w']:.0f} W"]
            for s in plan.splits
        ],
    )  # fmt: skip
    note(CAUTION, base, "cautions")
