"""Devices: scales, conversions, drift and the device check; and power at speed."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from footwork.cli.common import Date, Json, Scale, app, day, opened, out, remembered, say
from footwork.errors import UsageError

devices = typer.Typer(
    help="Devices and their scales: conversions, drift, checks; rename, join, break.", invoke_without_command=True
)
app.add_typer(devices, name="devices")
Name = Annotated[str, typer.Argument(help="Name of the scale.")]


@devices.callback()
def devices_list(context: typer.Context, as_json: Json = False) -> None:
    """Scales, conversions to the main one, drift."""
    if context.invoked_subcommand is None:
        _all_devices(as_json=as_json)


@remembered
def _all_devices(as_json: bool) -> None:
    from footwork.quantities import format_duration

    with opened() as library:
        found = library.devices()
    if as_json:
        return out(found)
    say(found["sentence"])
    for s in found["scales"]:
        accepted = f", accepted CP {s['accepted']['critical_power_w']:.0f} W" if s["accepted"] else ""
        say(
            f"{s['name']}{' (main)' if s['main'] else ''}: {s['runs']} run{'s' if s['runs'] != 1 else ''} "
            f"from {s['first']} to {s['last']}, {format_duration(s['duration_s'])}{accepted}"
        )
        if s["drift"] and s["drift"]["reason"]:
            say(f"  drift not watched: {s['drift']['reason']}")
        for jump in s["drift"]["jumps"] if s["drift"] else []:
            say(f"  {jump['sentence']}")
            say(f'  Where it is the device: footwork devices break "{s["name"]}" {jump["date"]}')
        for check in s["checks"]:
            for told in check["devices"]:
                say(f"  check of {check['date']}, run {check['run']}, {told['scale']}: {told['sentence']}")
    for c in found["conversions"]:
        say(c["sentence"])
    return None


@devices.command()
def rename(
    name: Name, new: Annotated[str, typer.Argument(help="What to call it from now on.")], as_json: Json = False
) -> None:
    """Give a scale another name."""
    with opened() as library:
        shown = library.rename_scale(name, new)
    if as_json:
        return out({"name": shown})
    return say(f"It is called {shown} now.")


@devices.command()
def join(
    name: Name, into: Annotated[str, typer.Argument(help="The scale it is really on.")], as_json: Json = False
) -> None:
    """Count two scales as one, as where one device's files name it differently."""
    with opened() as library:
        edit = library.join_scales(name, into)
    if as_json:
        return out({"edit": edit})
    return say(f"{name} counts as {into} now. Undo with 'footwork edit undo {edit}'.")


@devices.command("break")
def break_(
    name: Name,
    date: Annotated[str, typer.Argument(help="First day of the new scale, YYYY-MM-DD.")],
    as_json: Json = False,
) -> None:
    """Accept a break: from that day on the device counts as a new scale."""
    when = day(date)
    assert when is not None
    with opened() as library:
        edit, shown = library.break_scale(name, when)
    if as_json:
        return out({"edit": edit, "scale": shown})
    return say(
        f"From {when} on its watts are on the scale '{shown}'; an accepted CP stays where it was. Undo with "
        f"'footwork edit undo {edit}'."
    )


@devices.command()
def check(
    run: Annotated[
        int | None, typer.Argument(help="Number of the run; without one the instructions are printed.")
    ] = None,
    start: Annotated[str | None, typer.Option(help="Elapsed time at which the first step began, as 10:00.")] = None,
    as_json: Json = False,
) -> None:
    """The device check: how to run it, and what a run of it says."""
    from footwork.quantities import parse_duration
    from footwork.questions.devices import PROTOCOL

    if run is None:
        if start is not None:
            raise UsageError("--start belongs to a run: name its number")
        if as_json:
            return out({"protocol": list(PROTOCOL)})
        say("The device check, about 30 minutes:")
        for number, line in enumerate(PROTOCOL, start=1):
            say(f"{number}. {line}")
        return None
    with opened() as library:
        found = library.device_check(run, parse_duration(start) if start else None)
    if as_json:
        return out(found)
    for told in found["devices"]:
        say(f"{told['scale']}: {told['sentence']}")
        for s in told["steps"]:
            pace = f"{s['speed_mps']:.2f} m/s  " if s["speed_mps"] else ""
            say(f"  round {s['round']}, step {s['step']}: {pace}{s['power_w']:.1f} W")
        say(
            f"  typical error {_whole(told['typical_error'])}; repeatability {_whole(told['repeatability'])}; "
            f"linearity {_whole(told['linearity'])}"
        )
    return None


def _whole(e: dict[str, Any]) -> str:
    if e["value"] is None:
        return f"withheld: {e['reason']}"
    return f"{e['value']:.2f} {e['unit']} ({e['low']:.2f} to {e['high']:.2f})".replace("  ", " ")


@app.command("power-at-speed")
@remembered
def power_at_speed(date: Date = None, scale: Scale = None, as_json: Json = False) -> None:
    """What a scale shows at your paces, flat, uphill, downhill and in wind."""
    from footwork.quantities import format_pace

    with opened() as library:
        found = library.power_at_speed(day(date), scale)
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out(found)
    basis = {"model": "the physics model", "prior": "what foot sensors usually show, not your runs"}.get(
        found["source"], f"{found['minutes']} level minutes of {found['runs']} runs"
    )
    say(f"As of {found['date']}, on {found['scale']}, from {basis}. {found['sentence']}")
    for row in found["at"]:
        p, kg = row["power"], row["specific_power"]
        each = f", {kg['value']:.2f} W/kg" if kg["value"] is not None else ""
        say(
            f"flat at {format_pace(row['speed_mps'], imperial)}: {p['value']:.0f} W  "
            f"{p['low']:.0f}–{p['high']:.0f}{each}"
        )
    for e in found["effects"]:
        v = e["effect"]
        unit = " %" if v["unit"] == "%" else ""
        say(
            f"{e['what']}: {v['value']:.2f}{unit}  {v['low']:.2f} to {v['high']:.2f}; your runs tell "
            f"{100 * e['learned_share']:.0f} % of it"
        )
    error = found["held_out"]["run_error"]
    if error["value"] is None:
        say(f"Error of modelled power withheld: {error['reason']}.")
    else:
        say(
            f"Modelled power on runs held out: a run's mean within a typical {error['value']:.1f} % "
            f"({error['low']:.1f} to {error['high']:.1f}), {error['n']} runs."
        )
    return None
