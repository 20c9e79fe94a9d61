"""A race plan on the page: numbers, map, ways to run it, race days, what if, and what is taken along."""

from __future__ import annotations

import asyncio
import json
from typing import Any

import numpy as np
from nicegui import ui

from footwork.charts import Chart, Mark, Pane
from footwork.errors import FootworkError
from footwork.quantities import format_distance, format_duration, format_pace
from footwork.questions import race
from footwork.questions.race import Change, RacePlan
from footwork.reports import race_card
from footwork.results.race import Strategies
from footwork.web.drawing import show_chart
from footwork.web.forms import downloads, unfolded
from footwork.web.forms import sentence as spoken
from footwork.web.layout import heading, note, table, text, whisker

MAP_WIDTH, MAP_HEIGHT = 620, 340
# A constant function of the page: the pointer of the chart moves the dot on the map.
_FOLLOW = """(e) => { const map = document.querySelector('svg.track'); if (!map || !e.axesInfo || !e.axesInfo.length)
return; const way = JSON.parse(map.dataset.way), x = e.axesInfo[0].value; let i = 0; while (i < way.length - 1 && way[i
+ 1][0] <= x) i++; const dot = map.querySelector('.here'); dot.setAttribute('cx', way[i][1]); dot.setAttribute('cy',
way[i][2]); dot.style.display = 'inline'; }"""
SLIDERS = (
    ("power", "Power of the plan, %", -10.0, 10.0, 0.5),
    ("critical_power", "Critical power, %", -10.0, 10.0, 0.5),
    ("mass", "Mass, kg", -8.0, 8.0, 0.5),
    ("warmer", "Warmth, °C", -15.0, 15.0, 1.0),
    ("wind", "Wind, m/s", -8.0, 8.0, 0.5),
)


def sentence(plan: RacePlan, imperial: bool = False) -> str:
    if plan.distance is not None:
        return (
            f"In {format_duration(plan.time.value or 0)} at even power you can cover about "
            f"{format_distance(plan.distance.value or 0, imperial)}."
        )
    goal = plan.goal
    if goal and goal["critical_power_needed"] is not None:
        needed = goal["critical_power_needed"]
        return (
            f"{format_duration(goal['time_s'])} is out of reach today: it would take a CP of {needed.value:.0f} W "
            f"({needed.low:.0f} to {needed.high:.0f}). Below is what you can do."
        )
    if goal:
        return (
            f"{format_duration(goal['time_s'])} has a chance of {100 * goal['chance']:.0f} %: hold about "
            f"{plan.power.value:.0f} W."
        )
    mine = plan.strategies["strategies"][plan.strategies["chosen"]]
    if abs(mine["time_s"] - (plan.time.value or 0)) > 3:
        return (
            f"The plan, {plan.strategies['chosen'].replace('-', ' ')}: about {mine['mean_power_w']:.0f} W and "
            f"{format_duration(mine['time_s'])}. All you have at even power, most likely: {plan.power.value:.0f} "
            f"W and {format_duration(plan.time.value or 0)}, between {format_duration(plan.time.low or 0)} and "
            f"{format_duration(plan.time.high or 0)}."
        )
    return (
        f"Hold about {plan.power.value:.0f} W and expect {format_duration(plan.time.value or 0)}, between "
        f"{format_duration(plan.time.low or 0)} and {format_duration(plan.time.high or 0)}."
    )


def show(base: str, plan: RacePlan, imperial: bool, name: str) -> None:
    """The whole plan."""
    text("p", sentence(plan, imperial))
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
    _course(plan, imperial)
    drawn = strategies_chart(plan, imperial)
    if drawn.panes:
        made = show_chart(drawn)
        ui.run_javascript(
            f"const bind = () => {{ const c = getElement({made.id})?.chart; if (!c) return setTimeout(bind, "
            f"100); c.on('updateAxisPointer', {_FOLLOW}); }}; bind();"
        )
    _instructions(plan.strategies, imperial)
    _take_along(plan, name, imperial)
    _strategies(base, plan.strategies, imperial)
    _what_if(plan, imperial)
    heading(f"Splits of the plan, {plan.strategies['chosen'].replace('-', ' ')}")
    clock, watch = any(s["clock"] for s in plan.splits), plan.course["watch_share"] != 1.0
    table(
        [
            "distance",
            *(["watch shows"] if watch else []),
            "time",
            *(["clock"] if clock else []),
            "split pace",
            "rise",
            "power",
        ],
        [
            [
                format_distance(s["distance_m"], imperial),
                *([format_distance(s["watch_m"], imperial)] if watch else []),
                format_duration(s["time_s"]),
                *([s["clock"][11:16]] if clock else []),
                format_pace(s["speed_mps"], imperial),
                f"{s['rise_m']:+.0f} m" if abs(s["rise_m"]) >= 0.5 else "level",
                f"{s['power_w']:.0f} W",
            ]
            for s in plan.splits
        ],
    )


def _course(plan: RacePlan, imperial: bool) -> None:
    """The track drawn to scale, and what was made of the heights."""
    found = plan.course
    if found["track"] is None:
        return
    heading("The course")
    ui.html(track_svg(plan, imperial), sanitize=False)
    words = f"{format_distance(plan.question['distance_m'], imperial)}"
    if found["climb_m"]:
        words += (
            f", {found['climb_m']:.0f} m of climb with heights smoothed over {found['smoothing_m']:.0f} m; less "
            "smoothing finds more climb"
        )
    text("p", f"{words}. Numbers stand where an instruction begins; move over the chart below to find a place.", "soft")
    if found["marks"]:
        table(
            ["mark", "from", "to", "costs"],
            [
                [
                    m["name"],
                    format_distance(m["start_m"], imperial),
                    format_distance(m["end_m"], imperial) if m["end_m"] > m["start_m"] else "",
                    ", ".join(
                        [
                            *([f"{m['stop_s']:.0f} s"] if m["stop_s"] else []),
                            *([f"{100 * m['cost_share']:+.0f} % power"] if m["cost_share"] else []),
                        ]
                    )
                    or "nothing",
                ]
                for m in found["marks"]
            ],
            labelled=True,
        )


def track_svg(plan: RacePlan, imperial: bool) -> str:
    """The course from above as a drawing, north up. All text in it is numbers of our own."""
    lat, lon = np.array(plan.course["track"]).T
    east, north = (lon - lon.mean()) * np.cos(np.radians(lat.mean())), lat - lat.mean()
    scale = min((MAP_WIDTH - 60) / max(float(np.ptp(east)), 1e-9), (MAP_HEIGHT - 60) / max(float(np.ptp(north)), 1e-9))
    x = MAP_WIDTH / 2 + scale * (east - 0.5 * (east.max() + east.min()))
    y = MAP_HEIGHT / 2 - scale * (north - 0.5 * (north.max() + north.min()))
    metres = np.array([0.0, *(s["end_m"] for s in plan.profile)])
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
    way = json.dumps(
        [[round(float(m)), round(float(a), 1), round(float(b), 1)] for m, a, b in zip(metres, x, y, strict=True)]
    )
    labels, taken = "", list[tuple[float, float]]()
    for number, told in enumerate(plan.strategies["instructions"], start=1):
        a, b = (float(np.interp(told["start_m"], metres, v)) for v in (x, y))
        # A label gives way to those already there, as on laps that pass a place again.
        side = next(
            (s for s in (12, -12, 26, -26) if all(abs(a - p) > 14 or abs(b + s - q) > 14 for p, q in taken)), 12
        )
        taken.append((a, b + side))
        labels += (
            f'<circle cx="{a:.1f}" cy="{b:.1f}" r="3.5" class="from"/><text x="{a:.1f}" '
            f'y="{b + side + 4:.1f}">{number}</text>'
        )
    end = f'<rect x="{x[-1] - 4:.1f}" y="{y[-1] - 4:.1f}" width="8" height="8" class="end"/>'
    return (
        f'<svg class="track" viewBox="0 0 {MAP_WIDTH} {MAP_HEIGHT}" role="img" aria-label="The course from '
        f'above, north up" data-way="{way}">'
        f'<polyline points="{points}"/>{labels}{end}<circle class="here" r="6" cx="0" cy="0" '
        'style="display:none"/></svg>'
    )


def strategies_chart(plan: RacePlan, imperial: bool) -> Chart:
    """Height, pace and power of the chosen way beside another, and its stores and risk, along the course."""
    found = plan.strategies
    rows = found["strategies"]
    x = np.array([0.0] + [s["end_m"] for s in rows["best"]["segments"]])

    def line(name: str, key: str, first: float | None = None) -> np.ndarray:
        values = np.array([s[key] for s in rows[name]["segments"]])
        return np.append(values[:1] if first is None else [first], values)

    chosen = found["chosen"]
    other = "even-pace" if chosen != "even-pace" else "best"
    rise = np.array([0.0] + [p["rise_m"] for p in plan.profile])
    pace = f"pace, min/{'mi' if imperial else 'km'}, {chosen}"
    panes = (
        Pane("height above the start, m", [Mark("line", x, rise)], height=100),
        Pane(
            "effort, W",
            [
                Mark("line", x, line(other, "power_w"), label=other, soft=True),
                Mark("line", x, line(chosen, "power_w"), label=chosen),
            ],
            height=130,
        ),
        Pane(pace, [Mark("line", x, line(chosen, "speed_mps"))], "pace-mile" if imperial else "pace", height=100),
        Pane("wind against, m/s", [Mark("line", x, line(chosen, "headwind_mps"))], height=80),
        Pane(
            f"W′ left, kJ, {chosen}",
            [Mark("line", x, line(chosen, "w_prime_j", float(found["w_prime_j"])) / 1000)],
            height=80,
        ),
        Pane(f"endurance left, %, {chosen}", [Mark("line", x, 100 * line(chosen, "endurance_left", 1.0))], height=80),
        Pane(
            "chance that a store is empty by here, %",
            [Mark("line", x, 100 * np.append(0.0, found["dry_by_segment"]))],
            height=80,
        ),
    )
    # A line that never moves tells nothing that the table does not.
    least = {"pace": 0.05}
    shown = [p for p in panes if max(float(np.ptp(m.y)) for m in p.marks) > least.get(p.form.split("-")[0], 1.0)]
    return Chart(
        shown, "distance", "Height, power, pace, both stores and the chance of running dry along the course", imperial
    )


def _instructions(found: Strategies, imperial: bool) -> None:
    heading("How to run it")
    table(
        ["no.", "from", "to", "watts shown", "band", "road", "until", "watch"],
        [
            [
                str(number),
                format_distance(i["start_m"], imperial),
                format_distance(i["end_m"], imperial),
                *(("as felt", "") if i["walked"] else (f"{i['power_w']:.0f} W", f"{i['low_w']:.0f}–{i['high_w']:.0f}")),
                i["where"],
                i["until"] or format_distance(i["end_m"], imperial),
                "" if i["walked"] else f"{i['watch']} mean",
            ]
            for number, i in enumerate(found["instructions"], start=1)
        ],
        labelled=True,
    )
    cost = found["simplifying_costs_s"]
    text(
        "p",
        "Watts as your device shows them: lower where it is dull on slopes or blind to wind, for the same effort."
        + (f" Running these stretches instead of every metre costs {cost:.0f} s." if cost >= 0.5 else ""),
        "soft",
    )


def _strategies(base: str, found: Strategies, imperial: bool) -> None:
    heading("Ways to run it")
    table(
        ["way", "time", "behind the quickest", "mean power", "least W′ left", "endurance left"],
        [
            [
                name.replace("-", " ").capitalize(),
                format_duration(s["time_s"]),
                format_duration(s["behind_best_s"]) if s["behind_best_s"] >= 0.5 else "none",
                f"{s['mean_power_w']:.0f} W",
                f"{min(r['w_prime_j'] for r in s['segments']) / 1000:.1f} kJ",
                f"{100 * s['segments'][-1]['endurance_left']:.0f} %"
                + (f", empty at {format_distance(s['dry_at_m'], imperial)}" if s["dry_at_m"] else ""),
            ]
            for name, s in found["strategies"].items()
        ],
        labelled=True,
    )
    lean = found["negative_split_costs_s"]
    text("p", found["why"] + (f" The harder second half costs {lean:.0f} s." if lean is not None else ""))
    heading("Fuel")
    text("p", found["fuel"]["sentence"])
    heading("Many race days")
    t = found["finish_time"]
    text(
        "p",
        f"Of ten race days run by this plan, one is under {format_duration(t['p10'])}, five under "
        f"{format_duration(t['p50'])} and nine under "
        f"{format_duration(t['p90'])}. The chance of running dry is {100 * found['run_dry_probability']:.0f} "
        "%; then the rest is run at 80 % of the plan, and of CP at most."
        + (
            ""
            if found["reserve"] > 0
            else " The plan asks for more than you most likely have."
            if found["reserve"] < -0.005
            else " The plan spends all you most likely have: give a chance you accept for a safer one."
        ),
    )
    curve = found["finish_curve"]
    at, share = np.array([c["time_s"] for c in curve]), 100 * np.array([c["share"] for c in curve])
    show_chart(
        Chart(
            [Pane("race days finished by then, %", [Mark("line", at, share)], height=110)],
            "time",
            "Share of race days that are finished by each time",
        )
    )
    table(
        ["unknown", "spread of the time, alone"],
        [[u["what"][0].upper() + u["what"][1:], f"± {1.96 * u['sd_s']:.0f} s"] for u in found["unknowns"]],
        labelled=True,
    )
    solver = found["solver"]
    note(
        (
            f"The quickest plan was found by optimal control: {solver['status']} after {solver['iterations']} "
            f"steps, residual {solver['residual']:.0e}."
        )
        if solver["status"] == "converged"
        else f"Optimal control found no plan ({solver['status']}): even power stands in its place.",
        base,
        "pacing",
    )


def _what_if(plan: RacePlan, imperial: bool) -> None:
    """Sliders that even power follows at once and the quickest plan when they rest."""
    heading("What if")
    text(
        "p",
        "Against this plan, at even power with the same left at the end; with other power, whatever that leaves.",
        "soft",
    )
    state = dict.fromkeys((name for name, *_ in SLIDERS), 0.0)
    turn = {"now": 0}

    async def follow() -> None:
        turn["now"] += 1
        mine = turn["now"]
        change = Change(
            1 + state["power"] / 100, 1 + state["critical_power"] / 100, state["mass"], state["warmer"], state["wind"]
        )
        try:
            found = await asyncio.to_thread(race.even_power, plan, change)
        except FootworkError as error:
            told.set_text(spoken(str(error)))
            return
        if mine != turn["now"]:
            return
        told.set_text(
            f"{format_duration(found['time_s'])} at {found['power_w']:.0f} W, "
            f"{format_pace(plan.question['distance_m'] / found['time_s'], imperial)}; "
            f"chance of running dry {100 * found['dry_probability']:.0f} %."
        )
        best.set_text("")
        await asyncio.sleep(0.3)  # the slider rests
        if mine == turn["now"]:
            quickest = await asyncio.to_thread(race.optimum, plan, change)
            if mine == turn["now"]:
                best.set_text(
                    f"The quickest plan then takes {format_duration(quickest['time_s'])}."
                    if quickest["status"] == "converged"
                    else f"No quickest plan was found ({quickest['status']})."
                )

    with ui.element("div").classes("fw-form"):
        for name, label, low, high, step in SLIDERS:
            if (name == "mass" and plan.basis.mass is None) or (name == "wind" and not race.can_change_wind(plan)):
                continue
            with ui.element("label"):
                with ui.element("span"):
                    text("span", label + " ")
                    value = text("b", "as planned")
                box = ui.element("input")
                # The type comes last: only then the slider begins in its middle, which is the plan.
                box.props.update({"name": f"what-if-{name}", "min": low, "max": high, "step": step, "type": "range"})

                async def moved(event: Any, name: str = name, value: Any = value) -> None:
                    state[name] = float(event.args["value"])
                    value.set_text(f"{state[name]:+g}" if state[name] else "as planned")
                    await follow()

                box.on("input", moved, js_handler="(e) => emit({value: e.target.value})", throttle=0.05)
    told = text("p", "")
    told.props["aria-live"] = "polite"
    best = text("p", "", "soft")


def _take_along(plan: RacePlan, given: str, imperial: bool) -> None:
    """What is taken to the start line."""
    name = given or f"race-{plan.question['distance_m'] / 1000:.0f}km"
    files: list[tuple[str, str, Any]] = [
        ("Print a pace card", "pdf", lambda: race_card(plan, given, imperial)),
        ("Workout for the watch", "fit", lambda: race.race_workout(plan, name)),
        ("Plan as CSV", "csv", lambda: race.race_table(plan)),
    ]
    if plan.course["track"] is not None:
        files.insert(2, ("Course for the watch", "course.fit", lambda: race.race_course(plan, name)))
    downloads([(label, f"{name}.{ending}", make) for label, ending, make in files])
    unfolded(
        "Look at the card",
        lambda: race_card(plan, given, imperial, "svg"),
        # Our own typesetter's drawing, in which all text is outlines.
        lambda drawn: ui.html(drawn.decode(), sanitize=False).classes("paper"),
    )
    text(
        "p",
        "The card is a PDF with a wrist band and a pocket sheet. Workout and course are FIT files: a band of "
        "watts for each stretch, "
        "and a point on the way where each begins.",
        "soft",
    )
