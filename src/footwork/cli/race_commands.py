"""Race day on the command line: the question, the plan in words, and what is taken along."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from footwork.cli.common import Date, Efforts, Json, Mass, Scale, app, asked, out, remembered, say
from footwork.errors import UsageError
from footwork.wording.cautions import held_back


@app.command()
@remembered
def race(
    distance: Annotated[
        str | None, typer.Option(help="10km, 5mi, half, marathon; with --course the official distance.")
    ] = None,
    time: Annotated[
        str | None, typer.Option(help="Alone: a race of that time. With a distance or course: the goal.")
    ] = None,
    companion: Annotated[str | None, typer.Option(help="Pace of somebody to run with, as 5:30/km.")] = None,
    course: Annotated[
        str | None, typer.Option(help="Course as GPX, a recording of it, or the number of a run.")
    ] = None,
    laps: Annotated[int, typer.Option(help="How often the course is run.")] = 1,
    mark: Annotated[
        list[str] | None,
        typer.Option(
            help="Along the way: '12.5km: drinks, 20 s' stands, '3km-5km: sand, +15 %' costs. Repeat for more."
        ),
    ] = None,
    heights: Annotated[str | None, typer.Option(help="Run or recording that gives the course its heights.")] = None,
    flat: Annotated[bool, typer.Option("--flat", help="A course whose heights are not known is flat.")] = False,
    smoothing: Annotated[float, typer.Option(help="Smoothing of heights in metres (SD of the kernel).")] = 40.0,
    start: Annotated[
        str | None, typer.Option(help="Start of the race, as 2026-10-04T09:00; local without a zone.")
    ] = None,
    date: Date = None,
    scale: Scale = None,
    effort: Efforts = None,
    mass: Mass = None,
    wind: Annotated[
        str | None,
        typer.Option(
            help="Wind at 10 m: 5@240 is 5 m/s from 240 degrees; a plain 3 is a headwind all the way, -3 a tail wind."
        ),
    ] = None,
    temperature: Annotated[float | None, typer.Option(help="Air temperature in degrees Celsius.")] = None,
    humidity: Annotated[float | None, typer.Option(help="Relative humidity in percent.")] = None,
    altitude: Annotated[float | None, typer.Option(help="Altitude of the race in metres.")] = None,
    metar: Annotated[
        list[str] | None,
        typer.Option(
            help="Weather as a METAR line; what is given beside it counts first. Several with --start: hour by hour."
        ),
    ] = None,
    weather: Annotated[
        Path | None, typer.Option(help="Weather by the hour as CSV or dated METAR lines; needs --start.")
    ] = None,
    draft: Annotated[float, typer.Option(help="Share of the way in others' shelter, 0 to 1.")] = 0.0,
    strategy: Annotated[
        str | None, typer.Option(help="Which plan: quickest (default), even-power, even-pace or own.")
    ] = None,
    own: Annotated[
        list[str] | None, typer.Option(help="Your own watts up to a place, as 5km=250. Repeat for each stretch.")
    ] = None,
    negative_split: Annotated[float, typer.Option(help="How much harder the second half is to be, as 0.02.")] = 0.0,
    risk: Annotated[
        str | None,
        typer.Option(
            help="Share of race days that may end over 1 % later than planned; 20 %, one in five, by default."
        ),
    ] = None,
    after_ride: Annotated[
        str | None,
        typer.Option(
            help="The ride before the run of a triathlon: 1:10:00, '1:10:00 at 75 %' of an hour's power, "
            "'5:00:00 takes 9 %', or its recording."
        ),
    ] = None,
    transition: Annotated[
        list[str] | None,
        typer.Option(help="Time to change after the ride, as 1:30; given twice, before it and after it."),
    ] = None,
    suppose: Annotated[
        list[str] | None,
        typer.Option(
            help="Change one thing, at even power: power=1.03, critical-power=0.97, mass=-2, warmer=8 or wind=3. "
            "Repeat for more."
        ),
    ] = None,
    card: Annotated[Path | None, typer.Option(help="Write a wrist band and pocket sheet, as PDF.")] = None,
    fit: Annotated[
        Path | None, typer.Option(help="Write a FIT workout for the watch, a step with a power band a stretch.")
    ] = None,
    fit_course: Annotated[
        Path | None, typer.Option(help="Write a FIT course for the watch, with a point at each instruction.")
    ] = None,
    csv: Annotated[Path | None, typer.Option(help="Write the plan segment by segment, as CSV.")] = None,
    review: Annotated[
        int | None, typer.Option(help="Number of the run that was this race: it against the plan of the day before.")
    ] = None,
    log: Annotated[bool, typer.Option("--log", help="Predictions of past races against their results.")] = False,
    as_json: Json = False,
) -> None:
    """One plan for a race: the watts to hold, the time that makes, how often you make it, and what to do where."""
    from footwork.maintenance import export
    from footwork.questions import race

    kinds: tuple[tuple[Path | None, str, Callable[[Any, str], bytes]], ...] = (
        (fit, ".fit", race.race_workout),
        (fit_course, ".fit", race.race_course),
        (csv, ".csv", lambda plan, _: race.race_table(plan)),
        (card, ".pdf", lambda plan, name: _card(plan, name, imperial)),
    )
    written = [(path, ending, make) for path, ending, make in kinds if path is not None]
    for path, ending, _ in written:
        export.check_out(path, ending)
    question: dict[str, Any] = {
        "distance": distance,
        "time": time,
        "companion": companion,
        "course": course,
        "laps": laps,
        "marks": tuple(mark or ()),
        "heights": heights,
        "smoothing": smoothing,
        "flat": flat,
        "start": start,
        "scale": scale,
        "efforts": tuple(effort or ()),
        "mass": mass,
        "wind": wind,
        "temperature": temperature,
        "humidity": humidity,
        "altitude": altitude,
        "metar": tuple(metar or ()),
        "weather_file": weather,
        "draft": draft,
        "risk": risk,
        "strategy": strategy,
        "own": tuple(own or ()),
        "negative_split": negative_split,
        "after_ride": after_ride,
        "transitions": tuple(transition or ()),
    }
    name = Path(course).stem if course and not course.isdigit() else ""
    with asked(effort) as library:
        imperial = library.setting("units") == "imperial"
        question["split"] = race.splits_every(imperial)
        if log:
            return _log(library.predictions(), imperial, as_json)
        if review is not None:
            return _review(library.review(review, **_said(question)), imperial, as_json)
        plan = library.race(**question, date=date)
        pause, held = "" if effort or date else library.pause(), held_back(library.health())
    for path, _, make in written:
        export.write_whole(path, make(plan, name))
    changed = _changed(plan, suppose)
    if as_json:
        return out({**plan.to_json(), **({"suppose": changed} if changed else {})})
    if held:
        say(f"Caution: {held}")
    _plan(plan, imperial)
    _suppose(changed, suppose)
    for path, _, _ in written:
        say(f"Wrote {path}.")
    for text in filter(None, [pause, *(w for w in plan.warnings if w != held)]):
        say(f"Note: {text}")
    return None


def _suppose(changed: dict[str, Any] | None, texts: list[str] | None) -> None:
    from footwork.quantities import format_duration

    if changed:
        say(
            f"Supposed {', '.join(texts or ())}: {format_duration(changed['time_s'])} at "
            f"{changed['power_w']:.0f} W even effort; on {100 * changed['gives_way_probability']:.0f} days in a "
            f"hundred you must ease. The quickest plan with this one's reserve: "
            f"{format_duration(changed['quickest_time_s'])}."
        )


def _card(plan: Any, name: str, imperial: bool) -> bytes:
    from footwork.reports import race_card

    return race_card(plan, name, imperial)


def _changed(plan: Any, texts: list[str] | None) -> dict[str, Any] | None:
    """The plan after the changes of ``--suppose``, or None without any."""
    from footwork.questions import race
    from footwork.questions.race import LIMITS, Change

    if not texts:
        return None
    asked = {}
    for text in texts:
        name, equals, value = text.partition("=")
        try:
            asked[name.strip().replace("-", "_")] = float(value)
        except ValueError:
            equals = ""
        if not equals or name.strip().replace("-", "_") not in LIMITS:
            raise UsageError(
                f"--suppose '{text}' is no change: write power=1.03, critical-power=0.97, mass=-2, warmer=8 or wind=3"
            )
    change = Change(**asked)
    return {**race.even_power(plan, change), "quickest_time_s": race.optimum(plan, change)["time_s"], "change": asked}


def _plan(plan: Any, imperial: bool) -> None:
    from footwork.quantities import describe, format_distance, format_duration, format_pace
    from footwork.wording import race_words

    time, pace, best = plan.time, plan.pace, plan.best_time
    say(plan.sentence)
    say(f"Power  {describe(plan.power)} (effort)" + (f" on {plan.scale}" if plan.measured else " (modelled watts)"))
    if plan.distance is None:
        say(f"Time   {_range(time, format_duration)}")
    else:
        say(f"Distance  {describe(plan.distance)}")
    say(f"Pace   {_range(pace, lambda v: format_pace(1000 / v, imperial))}")
    if plan.distance is None and best.value < 0.99 * time.value:
        say(
            f"For all you most likely have: {plan.best_power.value:.0f} W, {format_duration(best.value)}; "
            "on half of race days that is too much."
        )
    if plan.last_race is not None:
        say(race_words.last_race(plan.last_race, imperial))
    if (ride := plan.conditions["after_ride"]) is not None:
        whole = ride["with_run"]
        parts = ", ".join(f"transition {format_duration(t)}" for t in ride["transitions_s"])
        say(
            f"From the end of the swim: {format_duration(whole['value'])}  {format_duration(whole['low'])} to "
            f"{format_duration(whole['high'])}, ride {format_duration(ride['ride_s'])}{', ' + parts if parts else ''}"
        )
    if plan.course["climb_m"]:
        say(f"Climb  {plan.course['climb_m']:.0f} m, heights smoothed over {plan.course['smoothing_m']:.0f} m")
    _instructions(plan.strategies, imperial)
    say("Mile by mile:" if imperial else "Kilometre by kilometre:")
    for row in plan.splits:
        rise = f"{row['rise_m']:+.0f} m" if abs(row["rise_m"]) >= 0.5 else ""
        at = f"  at {row['clock'][11:16]}" if row["clock"] else ""
        at += (
            f"  watch shows {format_distance(row['watch_m'], imperial)}" if row["watch_m"] != row["distance_m"] else ""
        )
        say(
            (
                f"  {format_distance(row['distance_m'], imperial):>9}  {format_duration(row['time_s']):>8}  "
                f"{format_pace(row['speed_mps'], imperial):>10}  {rise}{at}"
            ).rstrip()
        )
    _strategies(plan.strategies, imperial)


def _range(value: Any, form: Callable[[float], str]) -> str:
    """A number with its interval in a form of its own."""
    return f"{form(value.value)}  {form(value.low)} to {form(value.high)}"


def _said(question: dict[str, Any]) -> dict[str, Any]:
    """Only what was given: a review takes the rest from the run."""
    return {k: v for k, v in question.items() if v not in (None, (), "", False)}


def _review(found: dict[str, Any], imperial: bool, as_json: bool) -> None:
    from footwork.quantities import Estimate, describe, format_distance, format_duration, format_lost, format_pace

    if as_json:
        return out(found)
    say(found["sentence"])
    say(
        f"Planned with what was known by {found['evidence_until']} on {found['scale']}: "
        f"{format_duration(found['planned_s'])}. "
        f"Of the plan hills were {format_lost(found['hills_s'])} and wind {format_lost(found['wind_s'])}."
    )
    for row in found["rows"]:
        length = row["length_m"]
        parts = "" if row["effort_s"] is None else f"  effort {row['effort_s']:+.0f} s, rest {row['other_s']:+.0f} s"
        watts = "" if row["power_w"] is None else f"  {row['power_w']:.0f} W against {row['planned_power_w']:.0f}"
        say(
            f"  {format_distance(row['distance_m'], imperial):>9}  "
            f"{format_pace(length / row['time_s'], imperial):>10} against "
            f"{format_pace(length / row['planned_s'], imperial)}{watts}{parts}"
        )
    stores = found["stores"]
    if stores is not None:
        spent = stores["endurance_spent"]
        left = f"endurance spent {100 * spent:.0f} %" if spent <= 1 else "more endurance spent than was known of"
        least = stores["w_prime_least_j"] / 1000
        lowest = (
            f"W′ at its lowest {least:.1f} kJ at {format_distance(stores['w_prime_least_at_m'], imperial)}"
            if least >= 0
            else "More W′ spent than was known of"
        )
        say(
            f"{lowest}; {left}; "
            f"chance that a store was empty {100 * stores['dry_probability']:.0f} %; last third "
            f"{-100 * found['fade_share']:+.0f} % effort against the first."
        )
    if found["tail_after"] is not None:
        say(
            f"Tail γ {describe(Estimate.from_json(found['tail_before']), 3)} before, "
            f"{describe(Estimate.from_json(found['tail_after']), 3)} with this race."
        )
    return None


def _log(found: dict[str, Any], imperial: bool, as_json: bool) -> None:
    from footwork.quantities import format_distance, format_duration

    if as_json:
        return out(found)
    say(found["sentence"])
    for r in found["races"]:
        head = (
            f"{r['date']}  run {r['run']}  {format_distance(r['distance_m'], imperial)} in "
            f"{format_duration(r['time_s'])}"
        )
        p = r["predicted"]
        say(
            f"{head}: no prediction, {r['reason']}"
            if p is None
            else (
                f"{head}; predicted {format_duration(p['p50'])}  {format_duration(p['p10'])} to "
                f"{format_duration(p['p90'])}; {100 * r['error_share']:+.1f} %"
            )
        )
    return None


def _instructions(found: dict[str, Any], imperial: bool) -> None:
    """What to do where, with the watts that the device will show."""
    from footwork.quantities import format_distance, format_pace
    from footwork.wording.race_words import bands_words

    say("Watts your device will show, and the band in which they are free:")
    for i in found["instructions"]:
        watts = "as felt" if i["walked"] else f"{i['power_w']:.0f} W  {i['low_w']:.0f}–{i['high_w']:.0f}"
        until = f", until {i['until']}" if i["until"] not in ("", "finish") else ""
        watch = "" if i["walked"] else f"; watch the {i['watch']} mean"
        there = ", ".join(f"{p['name']} at {format_distance(p['at_m'], imperial)}" for p in i["passes"])
        passes = f" ({there})" if there else ""
        why = f"; {i['why']}" if i["why"] else ""
        say(
            f"  {format_distance(i['start_m'], imperial):>9} to {format_distance(i['end_m'], imperial):<9}  "
            f"{watts}  {format_pace(i['speed_mps'], imperial)}  {i['feels']}; {i['where']}{until}{watch}{passes}{why}"
        )
    say(bands_words(found["bands_cost_s"]))
    if found["simplifying_costs_s"] >= 0.5:
        say(f"Run so instead of by every metre, {found['simplifying_costs_s']:.0f} s are lost.")


def _strategies(found: dict[str, Any], imperial: bool) -> None:
    """The ways over the course, and what race days make of the chosen one."""
    from footwork.quantities import format_distance, format_duration

    own = "own" in found["strategies"]
    say("Ways to run it, with the same left at the end" + (", your own as you ask for it:" if own else ":"))
    for name, s in found["strategies"].items():
        behind = f"  {format_duration(s['behind_quickest_s'])} behind" if s["behind_quickest_s"] >= 0.5 else ""
        if s["limited_at_m"] is not None:
            behind = f"  not to be had: the climb to {format_distance(s['limited_at_m'], imperial)} limits it"
        dry = f"  a store is empty at {format_distance(s['dry_at_m'], imperial)}" if s["dry_at_m"] else ""
        say(f"  {name:<10}  {format_duration(s['time_s']):>8}  mean {s['mean_power_w']:.0f} W{behind}{dry}")
    say(found["why"])
    if found["negative_split_costs_s"] is not None:
        say(f"The harder second half costs {found['negative_split_costs_s']:.0f} s.")
    t = found["finish_time"]
    say(
        f"Of ten race days by {found['chosen']}, one is under {format_duration(t['p10'])}, five under "
        f"{format_duration(t['p50'])}, nine under {format_duration(t['p90'])}; "
        f"{100 * found['late_probability']:.0f} in a hundred end over 1 % later than planned, most of the spread from "
        f"{found['unknowns'][0]['what']}. On a weaker day you ease as you feel it."
    )
    if found["in_hand_share"] >= 0.002:
        say(
            f"The time has {100 * found['in_hand_share']:.1f} % in hand: what your device shows at a pace, and what "
            "you hold, differ from day to day."
        )
    if found["reserve"] < -0.005:
        say("That plan asks for more than you most likely have.")
    if min(s["grade"] for s in found["strategies"]["quickest"]["segments"]) < -0.03:
        shown = [d for d in found["descents"] if d["fastest_shown"]]
        said = ", ".join(
            f"{100 * d['fastest_share'] - 100:+.0f} % at {100 * d['grade']:.0f} %" for d in found["descents"]
        )
        how = "where your own running shows it" if shown else "by our convention: your own descents are not known"
        say(f"Descents no faster against the level than {said}, {how}.")
    say(f"Fuel: {found['fuel']['sentence']}")
