"""Questions about what the runner can hold and run, and how each number is known."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from footwork.cli.common import Date, Efforts, Json, Mass, Scale, app, asked, day, opened, out, plural, say
from footwork.errors import UsageError


@app.command()
def capacity(
    effort: Efforts = None,
    date: Date = None,
    scale: Scale = None,
    mass: Mass = None,
    since: Annotated[
        str | None, typer.Option(help="With --until: best efforts, domains and CP-minutes of this span instead.")
    ] = None,
    until: Annotated[str | None, typer.Option(help="End of the span, YYYY-MM-DD.")] = None,
    history: Annotated[
        bool, typer.Option("--history", help="How it got here: month by month, what moved it, which test tells most.")
    ] = False,
    accept: Annotated[float | None, typer.Option(help="Accept this CP in watts, from --date or today on.")] = None,
    withdraw: Annotated[str | None, typer.Option(help="Take back the CP accepted on this date, YYYY-MM-DD.")] = None,
    as_json: Json = False,
) -> None:
    """Critical power, W′ and domains, each with its interval and evidence."""
    from footwork.quantities import describe, format_duration, format_pace

    with asked(effort) as library:
        if accept is not None:
            entry = library.accept(accept, day(date), scale)
            if not as_json:
                say(f"Accepted {entry['critical_power_w']:.0f} W on {entry['scale']} from {entry['date']} on.")
        if withdraw is not None:
            gone = library.withdraw(day(withdraw), scale)
            if not gone:
                raise UsageError(f"nothing was accepted on {withdraw} on that scale")
        made = library.capacity(effort or (), day(date), scale, mass)
        result = made.to_json() if effort else library.history(day(date), scale)
        span = None
        if since or until:
            span = {"since": since, "until": until, **library.load(day(since), day(until))}
            result["curve"] = library.best_curve(day(since), day(until), made.scale_key or scale)
            result["span"] = span
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out(result)
    kind = made.evidence["kind"]
    say(f"As of {made.date}" + (f", on {made.scale}" if made.scale else "") + f": {made.evidence['sentence']}.")
    say(f"Critical power   {describe(made.critical_power, 0, kind)}")
    if made.accepted is not None:
        say(
            f"Accepted         {made.accepted['critical_power_w']:.0f} W from {made.accepted['date']}: domains and load use it"
        )
    if made.w_prime.value is not None:
        say(f"W′               {describe(made.w_prime.scaled(1e-3, 'kJ'), 1)}")
        say(f"Tail γ           {describe(made.tail, 3)}")
    if made.critical_speed.value is not None:
        ends = [
            format_pace(v, imperial)
            for v in (made.critical_speed.value, made.critical_speed.high or 0, made.critical_speed.low or 0)
        ]
        say(f"Critical speed   {ends[0]}  {ends[1]} to {ends[2]}")
    for name, border in made.domains.items():
        if border["power"].value is None and border["speed"].value is None:
            continue
        text = (
            f"{name.replace('_', ' to '):<20} {describe(border['power'])}"
            if border["power"].value is not None
            else f"{name.replace('_', ' to '):<20}"
        )
        if border["speed"].value is not None:
            s = border["speed"]
            text += f"; {format_pace(s.value, imperial)}  {format_pace(s.high, imperial).split()[0]}–{format_pace(s.low, imperial).split()[0]}"
        if border["heart_rate"].value is not None or name != "severe_extreme":
            text += f"; heart rate {describe(border['heart_rate'])}"
        say(text)
    if made.forms:
        say(
            "Forms (error in): "
            + "; ".join(
                f"{f['form']} ({f['error_in']}) CP {describe(f['critical_power'])}, W′ {describe(f['w_prime'].scaled(1e-3, 'kJ'), 1)}"
                for f in made.forms
            )
        )
    points = {c["duration_s"]: c for c in result["curve"]}
    if points:
        say(
            "Best: "
            + ", ".join(
                f"{format_duration(d)} {points[d]['power_w']:.0f} W (run {points[d]['run']})"
                for d in (60, 180, 420, 720, 1200, 3600)
                if d in points
            )
        )
    if span:
        spent = ", ".join(f"{n} {format_duration(s)}" for n, s in span["seconds_in_domains"].items())
        say(
            f"{plural(span['runs'], 'run')} in the span: {spent}; {span['cp_minutes']:.0f} CP-minutes ({span['critical_power']})."
        )
    if history and "history" in result:  # stated efforts have none
        _history(result)
    for text in made.warnings:
        say(f"Note: {text}")
    if kind in ("lower bound", "none", "habitual"):
        say(
            "A test or race settles it: run 3, 7 and 12 minutes all you can on rested days, only if you are well and warmed up (footwork methods cautions), then mark the run."
        )
    return None


def _history(result: dict[str, Any]) -> None:
    """The first proposal of each month, what moved it, and the tests by what they would tell."""
    seen: set[str] = set()
    for row in result["history"]:
        if row["date"][:7] not in seen:
            seen.add(row["date"][:7])
            cp = row["critical_power"]
            shown = "withheld" if cp["value"] is None else f"{cp['value']:.0f} W  {cp['low']:.0f}–{cp['high']:.0f}"
            say(f"{row['date']}  {shown}, {row['evidence']}")
    for row in result["moved"][:10]:
        run = f"run {row['run']}" if row["run"] else row["label"]
        say(f"Moved on {row['date']} by {run} ({row['kind']}): {row['before_w']:.0f} to {row['after_w']:.0f} W")
    for row in result["tests"]:
        say(
            f"A test of {row['test']} would narrow the interval from ±{row['half_width_now_w']:.0f} to about ±{row['half_width_after_w']:.0f} W"
        )


@app.command()
def today(as_json: Json = False) -> None:
    """What is new and what is due: the week, critical power, a test, an accepted CP that the evidence left."""
    from footwork.library.today import sentence
    from footwork.quantities import Estimate, describe

    with opened() as library:
        found = library.today()
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out(found)
    say(sentence(found, imperial))
    if not found["runs"]:
        return None
    load = Estimate.from_json(found["week"]["load"])
    say(f"Load             {describe(load)}")
    say(f"Critical power   {describe(Estimate.from_json(found['critical_power']), 0, found['kind'])}")
    for item in found["due"]:
        say(f"Due: {item['what']}: {item['why']}.")
    return None


@app.command()
def usual(date: Date = None, scale: Scale = None, as_json: Json = False) -> None:
    """Usual watts for easy, steady and hard running, and how the newest run compares."""
    from footwork.quantities import format_pace

    with opened() as library:
        found = library.usual(day(date), scale)
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out(found)
    newest = found["newest"]
    say(f"As of {found['date']}, on {found['scale']}." + (f" {newest['sentence']}" if newest else ""))
    if found["reason"]:
        say(f"{found['reason'][0].upper()}{found['reason'][1:]}.")
    for group in found["groups"]:
        power = group["power"]
        if power["value"] is None:
            say(f"{group['name']:<8} withheld: {power['reason']}")
            continue
        rate = group["heart_rate"]
        text = f"{group['name']:<8} {power['value']:.0f} W  {power['low']:.0f}–{power['high']:.0f}, from run to run ±{group['spread_w']:.0f} W; {format_pace(group['speed']['value'], imperial)}"
        say(text + (f"; {rate['value']:.0f} bpm" if rate["value"] is not None else "") + f" ({group['runs']} runs)")
    for row in found["at_pace"]:
        p = row["power"]
        say(
            f"flat at {format_pace(row['speed_mps'], imperial)}: {p['value']:.0f} W  {p['low']:.0f}–{p['high']:.0f}, day to day ±{row['spread_w']:.0f} W"
        )
    for row in found["effects"]:
        e = row["effect"]
        if e["value"] is not None:
            say(f"{row['change']}: {e['value']:+.1f} {e['unit']} {row['of']}  {e['low']:+.1f} to {e['high']:+.1f}")
    for row in found["runs"][1:]:
        if row["power_unusual"] or row["heart_rate_unusual"]:
            say(f"{row['date']}, run {row['run']}: {row['sentence']}")
    return None


@app.command()
def compare(
    what: Annotated[list[str], typer.Argument(help="Number of a run with two devices, or two files.")],
    first: Annotated[int, typer.Option(help="Which recording of the run is the first.")] = 1,
    second: Annotated[int, typer.Option(help="Which is the second; differences are second minus first.")] = 2,
    as_json: Json = False,
) -> None:
    """Two devices on one run: clocks, agreement, and whether to mix their watts."""
    from footwork.library import compare as comparing

    if len(what) == 1 and what[0].isdigit():
        with opened() as library:
            found = library.compare(int(what[0]), first, second)
    elif len(what) == 2:
        found = comparing.of_files([Path(w) for w in what])
    else:
        raise UsageError("name one run by its number, or two files")
    if as_json:
        return out(found)
    say(found["verdict"])
    say(f"First: {found['first']}. Second: {found['second']}. {found['common_s'] / 60:.0f} minutes together.")
    lag = found["lag"]
    say(
        f"The second clock is {lag['value']:+.1f} s late  {lag['low']:+.1f} to {lag['high']:+.1f}, by {found['lag_by'].replace('_', ' ')}."
    )
    for level, rows in (("1 s", found), *found["levels"].items()):
        for name in comparing.SIGNALS:
            if name not in rows:
                continue
            r = rows[name]
            low, high = r["limits_of_agreement"]["low"], r["limits_of_agreement"]["high"]
            say(
                f"{name.replace('_', ' ')} at {level}: bias {_signed(r['bias'])}; limits {_signed(low)} and {_signed(high)}; concordance {r['concordance']['value']:.3f}; "
                f"line {r['deming']['slope']['value']:.3f} times {r['deming']['intercept']['value']:+.1f}; typical error {r['typical_error']['value']:.2f} {r['typical_error']['unit']}; "
                f"{r['n']} pairs worth {r['n_effective']:.0f}"
            )
    for name, reason in found["reasons"].items():
        say(f"{name.replace('_', ' ')}: not compared, {reason}.")
    for kind, parts in found["splits"].items():
        for p in parts:
            say(f"power by {kind}, {p['part']}: bias {_signed(p['bias'])}, {_signed(p['bias_share'])}")
    return None


def _signed(e: dict[str, Any]) -> str:
    digits = 3 if e["unit"] in ("m", "m/s") else 1
    return f"{e['value']:+.{digits}f} {e['unit']} ({e['low']:+.{digits}f} to {e['high']:+.{digits}f})"


@app.command()
def race(
    distance: Annotated[
        str | None, typer.Option(help="10km, 5mi, half, marathon; with --course the official distance.")
    ] = None,
    time: Annotated[
        str | None, typer.Option(help="Alone: a race of that time. With a distance or course: the goal.")
    ] = None,
    course: Annotated[Path | None, typer.Option(help="Course as GPX, or a recording of it.")] = None,
    date: Date = None,
    scale: Scale = None,
    effort: Efforts = None,
    mass: Mass = None,
    wind: Annotated[
        str | None,
        typer.Option(help="Wind at 10 m: 5@240 is 5 m/s from 240 degrees; a plain 3 is a headwind all the way."),
    ] = None,
    temperature: Annotated[float | None, typer.Option(help="Air temperature in degrees Celsius.")] = None,
    humidity: Annotated[float | None, typer.Option(help="Relative humidity in percent.")] = None,
    altitude: Annotated[float | None, typer.Option(help="Altitude of the race in metres.")] = None,
    metar: Annotated[
        str | None, typer.Option(help="Weather as a METAR line; what is given beside it counts first.")
    ] = None,
    strategy: Annotated[str, typer.Option(help="Which the race days are of: best, even-power or even-pace.")] = "best",
    risk: Annotated[
        float | None, typer.Option(help="Chance of running dry to plan for, as 0.2; without it about one half.")
    ] = None,
    card: Annotated[Path | None, typer.Option(help="Write a wrist band and pocket sheet, as PDF.")] = None,
    fit: Annotated[
        Path | None, typer.Option(help="Write a FIT workout for the watch, a step with a power band a stretch.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Watts, pace, time and splits for a race; the quickest plan beside even power and even pace, and the risk of each."""
    from footwork.library.race import Weather, check_out, splits_every, workout_of, write_whole
    from footwork.quantities import (
        describe,
        format_distance,
        format_duration,
        format_pace,
        parse_distance,
        parse_duration,
    )

    for path, ending in ((card, ".pdf"), (fit, ".fit")):
        if path is not None:
            check_out(path, ending)
    speed, source = parse_wind(wind)
    sky = Weather(speed, source, temperature, None if humidity is None else humidity / 100, altitude)
    if metar is not None:
        sky = sky.over(metar)
    with asked(effort) as library:
        imperial = library.setting("units") == "imperial"
        plan = library.race(
            distance=parse_distance(distance) if distance else None, time=parse_duration(time) if time else None,
            course=course, date=day(date), scale=scale, efforts=tuple(effort or ()), mass=mass, weather=sky,
            split=splits_every(imperial), strategy=strategy.strip().lower(), risk=risk,
        )  # fmt: skip
    if fit is not None:
        write_whole(fit, workout_of(plan, course.stem if course else ""))
    if card is not None:
        from footwork.reports import race_card

        write_whole(card, race_card(plan, course.stem if course else "", imperial))
    if as_json:
        return out(plan.to_json())
    values = (plan.time.value or 0.0, plan.time.low or 0.0, plan.time.high or 0.0)
    goal = plan.goal
    if plan.distance is not None:
        say(f"In {format_duration(values[0])} at even power: {format_distance(plan.distance.value or 0, imperial)}.")
    elif goal and goal["critical_power_needed"] is not None:
        say(
            f"{format_duration(goal['time_s'])} is out of reach today (chance {100 * goal['chance']:.0f} %): it would take a CP of {describe(goal['critical_power_needed'])}, against {describe(plan.critical_power)}. What you can do:"
        )
    elif goal:
        say(f"{format_duration(goal['time_s'])} has a chance of {100 * goal['chance']:.0f} %.")
    say(f"Power  {describe(plan.power)}" + (f" on {plan.scale}" if plan.measured else " (modelled watts)"))
    if plan.distance is None:
        say(f"Time   {format_duration(values[0])}  {format_duration(values[1])} to {format_duration(values[2])}")
    else:
        say(f"Distance  {describe(plan.distance)}")
    say(
        f"Pace   {format_pace(1000 / (plan.pace.value or 1), imperial)}  {format_pace(1000 / (plan.pace.low or 1), imperial)} to {format_pace(1000 / (plan.pace.high or 1), imperial)}"
    )
    say("Splits at that power:")
    for row in plan.splits:
        rise = f"{row['rise_m']:+.0f} m" if abs(row["rise_m"]) >= 0.5 else ""
        say(
            f"  {format_distance(row['distance_m'], imperial):>9}  {format_duration(row['time_s']):>8}  {format_pace(row['speed_mps'], imperial):>10}  {rise}".rstrip()
        )
    _strategies(plan.strategies, imperial)
    for path in (card, fit):
        if path is not None:
            say(f"Wrote {path}.")
    for text in plan.warnings:
        say(f"Note: {text}")
    return None


def _strategies(found: dict[str, Any], imperial: bool) -> None:
    """Three ways over the course, what race days make of the chosen one, and how to run it."""
    from footwork.quantities import format_distance, format_duration

    say("Three ways to run it, with the same left at the end:")
    for name, s in found["strategies"].items():
        behind = f"  {format_duration(s['behind_best_s'])} behind" if s["behind_best_s"] >= 0.5 else ""
        say(f"  {name:<10}  {format_duration(s['time_s']):>8}  mean {s['mean_power_w']:.0f} W{behind}")
    say(found["why"])
    t = found["finish_time"]
    say(
        f"Of ten race days by {found['chosen']}, one is under {format_duration(t['p10'])}, five under {format_duration(t['p50'])}, nine under {format_duration(t['p90'])}; "
        f"chance of running dry {100 * found['run_dry_probability']:.0f} %, most of the spread from {found['unknowns'][0]['what']}."
    )
    if not found["reserve"] and found["run_dry_probability"] > 0.3:
        say("That plan spends all you most likely have: --risk 0.2 plans for running dry in one race of five.")
    say("Watts your device will show:")
    for i in found["instructions"]:
        say(
            f"  {format_distance(i['start_m'], imperial):>9} to {format_distance(i['end_m'], imperial):<9}  {i['power_w']:.0f} W  {i['low_w']:.0f}–{i['high_w']:.0f}  {i['where']}; watch the {i['watch']} mean"
        )
    if found["simplifying_costs_s"] >= 0.5:
        say(f"Run so, simplifying costs {found['simplifying_costs_s']:.0f} s.")
    say(f"Fuel: {found['fuel']['sentence']}")


def parse_wind(text: str | None) -> tuple[float | None, float | None]:
    """Metres a second and the degrees it comes from, from ``5@240`` or ``3``. Raises UsageError."""
    if text is None:
        return None, None
    speed, at, source = text.partition("@")
    try:
        if at and (float(source) < 0 or float(source) > 360):
            raise ValueError
        return float(speed), float(source) % 360 if at else None
    except ValueError:
        raise UsageError(f"--wind '{text}' is not a wind: write 5@240 (m/s from degrees) or 3") from None


@app.command()
def methods(
    name: Annotated[str | None, typer.Argument(help="Which method; all titles by default.")] = None,
    as_json: Json = False,
) -> None:
    """How each number is computed, from what, with which source."""
    from dataclasses import asdict

    from footwork.methods import METHODS

    if name is not None and name not in METHODS:
        raise UsageError(f"there is no method '{name}': {', '.join(METHODS)}")
    if as_json:
        return out({k: asdict(m) for k, m in METHODS.items() if name in (None, k)})
    for key, method in METHODS.items():
        if name is None:
            say(f"{key:<20} {method.title}")
        elif name == key:
            say(method.title)
            say(method.text)
            for line in [method.formula, *method.sources]:
                if line:
                    say(f"  {line}")
    return None
