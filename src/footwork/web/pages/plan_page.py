"""A race plan on the page: numbers, map, ways to run it, race days, what if, and what is taken along."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
from nicegui import ui

from footwork.charts import Chart, Mark, Pane, course_picture
from footwork.errors import FootworkError
from footwork.quantities import MILE_M, Floats, format_distance, format_duration, format_pace
from footwork.questions import race
from footwork.questions.race import Change, RacePlan
from footwork.reports import race_card
from footwork.results.race import Strategies, StrategiesByName, StrategiesInstruction, StrategiesSegment
from footwork.web.drawing import show_chart
from footwork.web.forms import downloads, unfolded
from footwork.web.layout import heading, note, table, text, whisker
from footwork.web.page_words import sentence as spoken
from footwork.wording.race_words import bands_words, last_race

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


def show(base: str, plan: RacePlan, imperial: bool, name: str) -> None:
    """The whole plan: all of it is one."""
    found = plan.strategies
    text("h2", plan.sentence, "lead")
    per = "/mi" if imperial else "/km"
    with ui.element("div").classes("numbers"):
        whisker(base, f"Effort, on {plan.scale}", "power", plan.power, "mean of the way")
        if plan.distance is not None:
            whisker(base, "Distance", "distance", plan.distance.scaled(1e-3, "km"), "", 2)
        else:
            whisker(base, "Time", "time", plan.time, "race days", 0, format_duration, " ")
        climb = f"{plan.course['climb_m']:.0f} m up" if plan.course["climb_m"] else ""
        whisker(
            base,
            "Pace over the whole",
            "pace",
            plan.pace,
            climb,
            0,
            lambda v: format_pace(1000 / v, imperial).split(" ")[0],
            per,
        )
    if plan.last_race is not None:
        text("p", last_race(plan.last_race, imperial))
    if (ride := plan.conditions["after_ride"]) is not None:
        count = len(ride["transitions_s"])
        stops = ("", " and one transition", " and two transitions")[count]
        text("p", f"With the ride{stops}, home {format_duration(ride['with_run']['value'])} after the swim.")
    _heights(plan, imperial)
    _instructions(base, found, imperial)
    _take_along(plan, name, imperial)
    with ui.element("div").classes("beside"):
        with ui.element("div"):
            _race_days(plan)
        if any(plan.course["track"] or ()):
            ui.html(_track(plan, imperial), sanitize=False)
    for warning in plan.warnings:
        note(warning, base, "race")
    if found["chosen"] != "own":
        with _folded("Change one thing"):
            _change(plan, imperial)
    with _folded("Mile by mile" if imperial else "Kilometre by kilometre"):
        _splits(plan, imperial)
    with _folded("Along the course: pace, wind, and what is spent"):
        _along(plan, imperial)
    with _folded("Other ways to run it"):
        _ways(base, found, imperial)
    if plan.course["marks"]:
        with _folded("Marks on the way"):
            _marks(plan, imperial)


@contextmanager
def _folded(label: str) -> Iterator[None]:
    with ui.element("details"):
        text("summary", label)
        yield


def _segments(plan: RacePlan) -> list[StrategiesSegment]:
    rows: list[StrategiesSegment] = plan.strategies["strategies"][plan.strategies["chosen"]]["segments"]
    return rows


def _columns(plan: RacePlan) -> tuple[Floats, Floats, Floats]:
    """Ends of the segments [m], with the start; effort [W] and headwind [m/s] of each."""
    rows = _segments(plan)
    ends = np.array([0.0, *(r["end_m"] for r in rows)])
    effort, wind = (np.array([r[k] for r in rows]) for k in ("power_w", "headwind_mps"))
    return ends, effort, wind


def _heights(plan: RacePlan, imperial: bool) -> None:
    """The picture of the course, where it has heights."""
    if plan.course["height_m"] is None:
        return
    ends, effort, wind = _columns(plan)
    begins = [i["start_m"] for i in plan.strategies["instructions"]]
    heights = np.array(plan.course["height_m"])
    text(
        "p",
        f"{heights.min():.0f} to {heights.max():.0f} m above the sea; the line is as thick as the effort.",
        "soft caption",
    )
    ui.html(
        course_picture.profile(ends, np.array(plan.course["height_m"]), effort, wind, begins, imperial), sanitize=False
    )


def _track(plan: RacePlan, imperial: bool) -> str:
    # Near a private place there are no positions: the way is drawn straight across.
    track = plan.course["track"]
    at = [i for i, place in enumerate(track) if place is not None]
    lat, lon = (np.interp(np.arange(len(track)), at, [track[i][k] for i in at]) for k in (0, 1))
    ends, effort, _ = _columns(plan)
    return course_picture.track(lat, lon, ends, effort, imperial)


def _splits(plan: RacePlan, imperial: bool) -> None:
    clock, watch = any(s["clock"] for s in plan.splits), plan.course["watch_share"] != 1.0
    table(
        [
            "distance",
            *(["watch shows"] if watch else []),
            "time",
            *(["clock"] if clock else []),
            "pace",
            "rise",
            "effort",
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


def _marks(plan: RacePlan, imperial: bool) -> None:
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
            for m in plan.course["marks"]
        ],
        labelled=True,
    )


def _along(plan: RacePlan, imperial: bool) -> None:
    drawn = strategies_chart(plan, imperial)
    if not drawn.panes:
        text("p", "Nothing changes along this course.", "soft")
        return
    made = show_chart(drawn)
    ui.run_javascript(
        f"const bind = () => {{ const c = getElement({made.id})?.chart; if (!c) return setTimeout(bind, "
        f"100); c.on('updateAxisPointer', {_FOLLOW}); }}; bind();"
    )


def strategies_chart(plan: RacePlan, imperial: bool) -> Chart:
    """Pace, effort and wind of the plan along the course beside another way, what it spends, and how many race days
    have eased."""
    found = plan.strategies
    rows = found["strategies"]
    x = np.array([0.0] + [s["end_m"] for s in rows["quickest"]["segments"]])

    def line(name: str, key: str, first: float | None = None) -> np.ndarray:
        values = np.array([s[key] for s in rows[name]["segments"]])
        return np.append(values[:1] if first is None else [first], values)

    chosen = found["chosen"]
    other = "even-pace" if chosen != "even-pace" else "quickest"
    panes = (
        Pane(
            "effort, W",
            [
                Mark("line", x, line(other, "power_w"), label=other.replace("-", " "), soft=True),
                Mark("line", x, line(chosen, "power_w"), label="this plan"),
            ],
            height=130,
        ),
        Pane(
            f"pace, min/{'mi' if imperial else 'km'}",
            [Mark("line", x, line(chosen, "speed_mps"))],
            "pace-mile" if imperial else "pace",
            height=100,
        ),
        Pane("wind against, m/s", [Mark("line", x, line(chosen, "headwind_mps"))], height=80),
        Pane("W′ left, kJ", [Mark("line", x, line(chosen, "w_prime_j", float(found["w_prime_j"])) / 1000)], height=80),
        Pane("endurance spent, %", [Mark("line", x, 100 * line(chosen, "endurance_spent", 0.0))], height=80),
        Pane(
            "race days that have eased here, %",
            [Mark("line", x, 100 * np.append(0.0, found["easing_by_segment"]))],
            height=80,
        ),
    )
    # A line that never moves tells nothing that the table does not.
    least = {"pace": 0.05}
    shown = [p for p in panes if max(float(np.ptp(m.y)) for m in p.marks) > least.get(p.form.split("-")[0], 1.0)]
    return Chart(shown, "distance", "Effort, pace, and what the plan spends along the course", imperial)


def _instructions(base: str, found: Strategies, imperial: bool) -> None:
    told = found["instructions"]
    words = ("", "One thing", "Two things", "Three things", "Four things", "Five things", "Six things", "Seven things")
    number = words[len(told)] if len(told) < len(words) else ""
    if len({f"{i['power_w']:.0f}" for i in told}) == 1 and not any(i["walked"] for i in told):
        heading(f"One thing to remember: {told[0]['power_w']:.0f} W all the way")  # the rows tell how it feels
    else:
        heading(f"{number} to remember" if number else f"{len(told)} stretches")
    with ui.element("table").classes("t plan"):
        with ui.element("thead"), ui.element("tr"):
            for label in ("", "where", "", "watts to read", "free within", "how it feels", "pace"):
                text("th", label)
        with ui.element("tbody"):
            for n, i in enumerate(told, start=1):
                with ui.element("tr"):
                    text("td", str(n))
                    text("td", _where(i, imperial))
                    with ui.element("td"):
                        text("span", _road(i))
                        if i["why"]:
                            text("div", i["why"], "soft why")
                    text("td", "as felt" if i["walked"] else f"{i['power_w']:.0f} W")
                    text("td", "" if i["walked"] else f"{i['low_w']:.0f}–{i['high_w']:.0f}")
                    text("td", i["feels"])
                    text("td", format_pace(i["speed_mps"], imperial).split(" ")[0])
    cost = found["simplifying_costs_s"]
    note(
        f"{bands_words(found['bands_cost_s'])} Watts are as your device shows them, and the bands hold its error on "
        "slopes." + (f" Running these stretches instead of every metre costs {cost:.0f} s." if cost >= 0.5 else ""),
        base,
        "pacing",
    )


def _where(i: StrategiesInstruction, imperial: bool) -> str:
    unit, name = (MILE_M, "mi") if imperial else (1000.0, "km")
    return f"{i['start_m'] / unit:.1f} to {i['end_m'] / unit:.1f} {name}"


def _road(i: StrategiesInstruction) -> str:
    """The road in words, where it ends, and which mean to watch."""
    until = f", until {i['until']}" if i["until"] not in ("", "finish") else ""
    watch = "" if i["walked"] else f"; watch the {i['watch']} mean"
    return f"{i['where'][0].upper()}{i['where'][1:]}{until}{watch}"


def _race_days(plan: RacePlan) -> None:
    heading("A hundred race days")
    found, t = plan.strategies, plan.strategies["finish_time"]
    times = found["hundred_days_s"]
    planned = found["strategies"][found["chosen"]]["time_s"]
    ui.html(
        course_picture.race_days(times, planned, f"plan {format_duration(planned)}", format_duration), sanitize=False
    )
    said = (
        f"Of ten, one is under {format_duration(t['p10'])}, five under {format_duration(t['p50'])} and nine under "
        f"{format_duration(t['p90'])}; {100 * found['late_probability']:.0f} in a hundred end over 1 % later than "
        "planned. On a weaker day you ease as you feel it."
    )
    if found["in_hand_share"] >= 0.002:
        said += (
            f" The time has {100 * found['in_hand_share']:.1f} % in hand, since what your device shows at a pace "
            "differs from day to day."
        )
    best = plan.best_time
    if plan.distance is None and best.value is not None and best.value < 0.99 * planned:
        said += (
            f" Faster plans exist: at {plan.best_power.value:.0f} W you would be home in "
            f"{format_duration(best.value)}, but on half of race days that is too much."
        )
    text("p", said)


def _behind(way: StrategiesByName, imperial: bool) -> str:
    """How far a way is behind the quickest, or which climb makes it none at all."""
    if way["limited_at_m"] is not None:
        return f"the climb to {format_distance(way['limited_at_m'], imperial)} limits it"
    return format_duration(way["behind_quickest_s"]) if way["behind_quickest_s"] >= 0.5 else "none"


def _ways(base: str, found: Strategies, imperial: bool) -> None:
    table(
        ["way", "time", "behind the quickest", "mean effort", "W′ at its lowest", "endurance spent"],
        [
            [
                name.replace("-", " ").capitalize(),
                format_duration(s["time_s"]),
                _behind(s, imperial),
                f"{s['mean_power_w']:.0f} W",
                f"{min(r['w_prime_j'] for r in s['segments']) / 1000:.1f} kJ",
                f"{100 * s['segments'][-1]['endurance_spent']:.0f} %"
                + (f", empty at {format_distance(s['dry_at_m'], imperial)}" if s["dry_at_m"] else ""),
            ]
            for name, s in found["strategies"].items()
        ],
        labelled=True,
    )
    lean = found["negative_split_costs_s"]
    text("p", found["why"] + (f" The harder second half costs {lean:.0f} s." if lean is not None else ""))
    text("p", found["fuel"]["sentence"])
    table(
        ["unknown", "spread of the time, alone"],
        [[u["what"][0].upper() + u["what"][1:], f"± {1.96 * u['sd_s']:.0f} s"] for u in found["unknowns"]],
        labelled=True,
    )
    if found["solver"]["status"] != "converged":
        note(
            f"The quickest way was not found ({found['solver']['status']}): even effort stands in its place.",
            base,
            "pacing",
        )


def _change(plan: RacePlan, imperial: bool) -> None:
    """Sliders that even power follows at once and the quickest plan when they rest."""
    text(
        "p",
        "Against this plan, at even effort with the same left at the end; with other watts, whatever that leaves.",
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
            f"on {100 * found['gives_way_probability']:.0f} days in a hundred you must ease."
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
                box.props.update({"name": f"change-{name}", "min": low, "max": high, "step": step, "type": "range"})

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
