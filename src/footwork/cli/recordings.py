"""Recordings in, runs listed, shown, marked and written out."""

from __future__ import annotations

import datetime as dt
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from footwork.cli.common import Json, app, opened, out, plural, progress, say
from footwork.errors import UsageError


@app.command()
def add(
    paths: Annotated[
        list[Path], typer.Argument(help="Recordings (FIT, GPX, CSV; also .gz and .zip) and folders of them.")
    ],
    start: Annotated[
        str | None,
        typer.Option(help="Start of a file that has no date, as 2026-04-14T18:05 (local) or with an offset."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Add recordings to the library; it is made where it does not exist."""
    if "" in sys.argv:
        raise UsageError("one of the paths is empty: name a file or folder")
    begin = None
    if start is not None:
        try:
            begin = dt.datetime.fromisoformat(start.replace("Z", "+00:00")).astimezone()
        except (ValueError, OverflowError):
            raise UsageError(f"--start '{start}' is not a time: write 2026-04-14T18:05") from None
    with opened(create=True) as library:
        report = library.add(paths, start=begin, workers=os.cpu_count() or 1, progress=progress("adding"))
    if as_json:
        out(report)
    else:
        known = len(report["duplicates"])
        say(f"Added {plural(len({r for e in report['added'] for r in e['runs']}), 'run')}"
            + (f", {known} already known" if known else "")
            + (f", {len(report['skipped'])} skipped" if report["skipped"] else "")
            + (f", {len(report['failed'])} failed" if report["failed"] else "") + ".")  # fmt: skip
        for kind in ("recovered", "skipped", "failed"):
            for entry in report[kind][:20]:
                say(f"{kind}: {entry['file']}: {entry['reason']}", err=True)
            if len(report[kind]) > 20:
                say(f"{kind}: and {len(report[kind]) - 20} more; --json lists all", err=True)
    if report["failed"]:
        raise typer.Exit(3)


@app.command()
def runs(
    everything: Annotated[bool, typer.Option("--all", help="All runs as plain lines.")] = False,
    other_sports: Annotated[
        bool, typer.Option("--other-sports", help="List the recordings of other sports instead.")
    ] = False,
    as_json: Json = False,
) -> None:
    """List runs: date, distance, time, power and whose watts, heart rate."""
    from footwork.quantities import format_distance, format_duration, format_pace

    with opened() as library:
        if other_sports:
            found = library.activities()
            if as_json:
                return out(found)
            for row in found:
                work = f"{row['work_j'] / 1000:.0f} kJ" if row["work_j"] else "no power"
                rate = f"{row['heart_rate_bpm']:.0f} bpm" if row["heart_rate_bpm"] else "no heart rate"
                say(f"{row['start']}  {row['sport']}  {format_duration(row['duration_s'])}  {work}  {rate}")
            return None
        rows = library.runs()
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out([row.to_json() for row in rows])
    if not everything:
        say(f"{plural(len(rows), 'run')}{', the last 20:' if len(rows) > 20 else '.'}")
    for row in rows if everything else rows[:20]:
        distance = format_distance(row.distance_m, imperial) if row.distance_m else "-"
        pace = format_pace(row.distance_m / row.duration_s, imperial) if row.distance_m else "-"
        power = (
            f"{row.power_w:.0f} W {'' if row.measured else 'modelled' if row.power_scale == 'model' else ''}".strip()
            if row.power_w is not None
            else "no power"
        )
        scale = f"{row.power_scale}" if row.measured else ""
        rate = f"{row.heart_rate_bpm:.0f} bpm" if row.heart_rate_bpm else "-"
        say(
            f"{row.id:>5}  {row.local:%Y-%m-%d %H:%M}  {distance:>9}  {format_duration(row.duration_s):>8}  {pace:>10}  {power:>14}  {scale:<14}  {rate:>7}  {', '.join(row.marks)}".rstrip()
        )
    return None


@app.command()
def show(run: Annotated[int, typer.Argument(help="Number of the run.")], as_json: Json = False) -> None:
    """One run: totals, domains, laps, best efforts, what was cleaned."""
    from footwork.quantities import format_distance, format_duration, format_pace

    with opened() as library:
        found = library.run(run)
        load = library.run_load(run)
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out({**found.to_json(), "load": load})
    row = found.row
    distance = f"{format_distance(row.distance_m, imperial)} in " if row.distance_m else ""
    say(f"{row.local:%A %d %B %Y, %H:%M}. {distance}{format_duration(row.duration_s)}"
        + (f", {format_pace(row.distance_m / row.duration_s, imperial)}" if row.distance_m else "") + ".")  # fmt: skip
    if row.power_w is not None:
        say(
            f"Power {row.power_w:.0f} W, "
            + (f"measured by {row.power_scale}." if row.measured else "modelled from speed and grade.")
        )
    else:
        say("Power withheld: none was recorded, and modelling it needs a mass (footwork athlete --mass KG).")
    if row.heart_rate_bpm:
        say(f"Heart rate {row.heart_rate_bpm:.0f} bpm.")
    if row.marks:
        say(f"Marked {', '.join(row.marks)}.")
    if load:
        spent = ", ".join(f"{name} {format_duration(s)}" for name, s in load["seconds_in_domains"].items())
        say(f"Domains: {spent}. {load['cp_minutes']:.0f} CP-minutes.")
    best = {b["duration_s"]: b["power_w"] for b in found.best}
    if best:
        say(
            "Best: "
            + ", ".join(f"{format_duration(d)} {best[d]:.0f} W" for d in (60, 180, 420, 720, 1200, 3600) if d in best)
            + "."
        )
    for index, lap in enumerate(found.laps, start=1):
        parts = [format_duration(lap["duration_s"])]
        parts += [f"{lap['distance_m']:.0f} m"] if lap["distance_m"] else []
        parts += [f"{lap['power_w']:.0f} W"] if lap["power_w"] is not None else []
        parts += [f"{lap['heart_rate_bpm']:.0f} bpm"] if lap["heart_rate_bpm"] is not None else []
        say(f"  lap {index}: {', '.join(parts)}")
    for r in found.recordings:
        if len(found.recordings) > 1 or len(r["power"]) > 1:
            watts = (
                ", ".join(f"{p['scale']} {p['power_w']:.0f} W" for p in r["power"] if p["power_w"] is not None)
                or "no power"
            )
            say(f"  recording {r['file']}: {watts}{' (shown)' if r['primary'] else ''}")
    for text in [*(f"lost: {t}" for t in found.lost), *found.notes, *(c["sentence"] for c in found.changes)]:
        say(f"  {text}")
    return None


@app.command()
def mark(
    run: Annotated[int, typer.Argument(help="Number of the run.")],
    as_: Annotated[str, typer.Option("--as", help="race, test, maximal, easy, long or treadmill.")],
    remove: Annotated[bool, typer.Option("--remove", help="Take the mark off.")] = False,
    as_json: Json = False,
) -> None:
    """Mark a run; efforts of races and tests count as maximal."""
    with opened() as library:
        marks = library.mark(run, as_.strip().lower(), remove)
    if as_json:
        return out({"id": run, "marks": marks})
    say(f"Run {run} is marked {', '.join(marks)}." if marks else f"Run {run} has no marks.")
    return None


@app.command()
def export(
    run: Annotated[int, typer.Argument(help="Number of the run.")],
    out_file: Annotated[Path, typer.Option("--out", help="F.csv or F.parquet.")],
    as_json: Json = False,
) -> None:
    """Write a run's 1 Hz signals to a file."""
    with opened() as library:
        seconds = library.export(run, out_file)
    if as_json:
        return out({"file": str(out_file), "rows": seconds})
    say(f"Wrote {seconds} seconds of run {run} to {out_file}.")
    return None
