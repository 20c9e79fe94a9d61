"""Recordings in, runs listed, shown, marked and written out."""

from __future__ import annotations

import datetime as dt
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from footwork.cli.common import (
    Json,
    app,
    day,
    not_withheld,
    opened,
    out,
    plural,
    progress,
    remembered,
    say,
    without_damaged,
)
from footwork.errors import UsageError

if TYPE_CHECKING:
    from footwork.api import Library

MOST_TITLES = 200  # found from the signals at one time


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
    from footwork.history.recordings import workers

    workers.make_ready(paths)
    count = os.cpu_count() or 1
    count += count > 1  # one more than cores, since each waits for its disk
    with opened(create=True) as library:
        report = library.add(paths, start=begin, workers=count, progress=progress("adding"))
        _tell_import(library, report, as_json)
    if report["failed"]:
        raise typer.Exit(3)


def _tell_import(library: Library, report: dict[str, Any], as_json: bool) -> None:
    from footwork.questions import season

    if as_json:
        out(report)
    else:
        known = len(report["duplicates"])
        say(
            f"Added {plural(len({r for e in report['added'] for r in e['runs']}), 'run')}"
            + (f", {known} already known" if known else "")
            + (f", {plural(len(report['healed']), 'damaged original')} put right" if report["healed"] else "")
            + (f", days told by {plural(len(report['told']), 'file')}" if report["told"] else "")
            + (f", {len(report['skipped'])} skipped" if report["skipped"] else "")
            + (f", {len(report['failed'])} failed" if report["failed"] else "")
            + "."
        )
        for kind in ("recovered", "healed", "skipped", "failed"):
            for entry in report[kind][:20]:
                say(f"{kind}: {entry['file']}: {entry['reason']}", err=True)
            if len(report[kind]) > 20:
                say(f"{kind}: and {len(report[kind]) - 20} more; --json lists all", err=True)
        if (report["added"] or report["told"]) and (waits := season.waiting(library)):
            say(f"Season: {waits} footwork season solve shows them.")


@app.command()
@remembered
def runs(
    everything: Annotated[bool, typer.Option("--all", help="All runs as plain lines.")] = False,
    find: Annotated[
        str, typer.Option(help="Words in date, marks, shoe, surface, note or whose watts, as 'trail windy'.")
    ] = "",
    since: Annotated[str | None, typer.Option(help="From this date, YYYY-MM-DD.")] = None,
    until: Annotated[str | None, typer.Option(help="To this date, YYYY-MM-DD.")] = None,
    mark: Annotated[str, typer.Option(help="Only runs with this mark.")] = "",
    shoe: Annotated[str, typer.Option(help="Only runs in this shoe.")] = "",
    distance: Annotated[str, typer.Option(help="Between two distances, as 10km..21.1km; one end may be empty.")] = "",
    power: Annotated[str, typer.Option(help="Mean watts between two values, as 200..250.")] = "",
    temperature: Annotated[str, typer.Option(help="Degrees Celsius between two values, where weather is known.")] = "",
    wind: Annotated[str, typer.Option(help="Wind in m/s between two values, where weather is known.")] = "",
    by: Annotated[str, typer.Option(help="Add up by week or month.")] = "",
    other_sports: Annotated[
        bool, typer.Option("--other-sports", help="List the recordings of other sports instead.")
    ] = False,
    as_json: Json = False,
) -> None:
    """List, find and add up runs: date, distance, time, power and whose watts, heart rate."""
    from footwork.quantities import format_distance, format_duration, format_pace, parse_distance
    from footwork.questions.runs import run_titles

    def ends(text: str, what: str, read: Any = float) -> tuple[float | None, float | None]:
        low, dots, high = text.partition("..")
        try:
            if text and not dots:
                raise ValueError
            least, most = read(low) if low.strip() else None, read(high) if high.strip() else None
            if least is not None and most is not None and least > most:
                raise ValueError
            return least, most
        except ValueError:
            raise UsageError(f"--{what} '{text}' is no range: write it as 200..250, 200.. or ..250") from None

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
        rows = library.find(
            text=find,
            since=day(since),
            until=day(until),
            mark=mark.strip().lower(),
            shoe=shoe,
            distance=ends(distance, "distance", parse_distance),
            power=ends(power, "power"),
            temperature=ends(temperature, "temperature"),
            wind=ends(wind, "wind"),
        )
        imperial = library.setting("units") == "imperial"
        if by:
            groups = library.totals(by.strip().lower(), rows)
            if as_json:
                return out(groups)
            for g in groups:
                spent = ", ".join(f"{n} {format_duration(s)}" for n, s in g["seconds_in_domains"].items() if s)
                say(
                    (
                        f"{g['start'] if by == 'week' else g['start'][:7]}  {plural(g['runs'], 'run'):>7}  "
                        f"{format_duration(g['duration_s']):>8}  {format_distance(g['distance_m'], imperial):>9}  "
                        f"{g['climb_m']:.0f} m up  {_load(g)}  {spent}"
                    ).rstrip()
                )
            return None
        shown = rows if everything else rows[:20]
        titles = {} if as_json else run_titles(library, shown, MOST_TITLES)
    if as_json:
        return out([row.to_json() for row in rows])
    if not everything:
        say(f"{plural(len(rows), 'run')}{', the last 20:' if len(rows) > 20 else '.'}")
    for row in shown:
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
            (
                f"{row.id:>5}  {row.local:%Y-%m-%d %H:%M}  {distance:>9}  {format_duration(row.duration_s):>8}  "
                f"{pace:>10}  {power:>14}  {scale:<14}  {rate:>7}  "
                f"{', '.join(filter(None, [titles[row.id], *_tags(row)]))}"
            ).rstrip()
        )
    if sum(not row.entered_by_hand for row in shown) > MOST_TITLES and None in titles.values():
        say("What some runs were is not found yet: ask again for more of it.", err=True)
    return None


def _load(group: dict[str, Any]) -> str:
    """CP-minutes of a week or month with their interval, and what they leave out."""
    load, without = group["load"], group["runs_without_load"]
    left = f" (nothing tells the load of {without} more)" if without and load["value"] is not None else ""
    return (
        "load not known"
        if load["value"] is None
        else f"{load['value']:.0f} CP-minutes {load['low']:.0f}–{load['high']:.0f}{left}"
    )


def _tags(row: Any) -> list[str]:
    """What the runner said of a run, in words."""
    said = (
        *row.marks,
        row.surface,
        row.shoe,
        "by hand" if row.entered_by_hand else "",
        "left out" if row.left_out else "",
    )
    return [text for text in said if text]


@app.command()
@remembered
def show(
    run: Annotated[int, typer.Argument(help="Number of the run.")],
    scale: Annotated[
        str | None, typer.Option(help="Also its mean power on this scale, converted where need be.")
    ] = None,
    as_json: Json = False,
) -> None:
    """One run: totals, domains, laps, best efforts, what was cleaned."""
    from footwork.quantities import format_duration

    with opened() as library:
        found = library.run(run)
        load = library.run_load(run)
        there = library.mean_on(run, scale) if scale else None
        edits = [
            e["sentence"]
            for e in library.edits(run)
            if e["kind"] in ("trim", "leave-out", "distance", "split", "merge", "pair")
        ]
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out({**found.to_json(), "load": load, **({"on_scale": there} if there else {})})
    _totals(found, there, imperial)
    if found.title:
        say(f"{found.title}.")
    if load:
        spent = ", ".join(f"{name} {format_duration(s)}" for name, s in load["seconds_in_domains"].items())
        say(f"Domains: {spent}. {load['cp_minutes']:.0f} CP-minutes.")
    elif found.row.power_w is not None:
        scale = found.row.power_scale
        say(f"No domains: critical power is not known on {'modelled watts' if scale == 'model' else scale}.")
    best = {b["duration_s"]: b["power_w"] for b in found.best}
    if best:
        told = (f"{format_duration(d)} {best[d]:.0f} W" for d in (60, 180, 420, 720, 1200, 3600) if d in best)
        say(f"Best: {', '.join(told)}.")
    for index, lap in enumerate(found.laps, start=1):
        say(f"  lap {index}{' by hand' if lap['by'] == 'hand' else ''}: {_lap(lap, imperial)}")
    for r in found.recordings:
        if len(found.recordings) > 1 or len(r["power"]) > 1:
            watts = ", ".join(f"{p['scale']} {p['power_w']:.0f} W" for p in r["power"] if p["power_w"] is not None)
            say(f"  recording {r['file']}: {watts or 'no power'}{' (shown)' if r['primary'] else ''}")
    if found.clipped is not None:
        say(f"  {found.clipped['why'][0].upper()}{found.clipped['why'][1:]}.")
    for text in [*edits, *(f"lost: {t}" for t in found.lost), *found.notes, *(c["sentence"] for c in found.changes)]:
        say(f"  {text}")
    return None


def _totals(found: Any, there: dict[str, Any] | None, imperial: bool) -> None:
    """When, how far, how fast, with what power and heart rate, and what the runner said of it."""
    from footwork.quantities import describe, describe_weather, format_distance, format_duration, format_pace

    row = found.row
    distance = f"{format_distance(row.distance_m, imperial)} in " if row.distance_m else ""
    pace = f", {format_pace(row.distance_m / row.duration_s, imperial)}" if row.distance_m else ""
    say(f"{row.local:%A %d %B %Y, %H:%M}. {distance}{format_duration(row.duration_s)}{pace}.")
    say(_power_sentence(found))
    if there is not None:
        watts = describe(there["power"]) if there["converted"] else f"{there['power'].value:.0f} W"
        say(f"On {there['scale']}, {'converted' if there['converted'] else 'measured'}: {watts}.")
    if row.heart_rate_bpm:
        say(f"Heart rate {row.heart_rate_bpm:.0f} bpm.")
    from footwork.analysis.screening import SOUND, WHOLE_RUN
    from footwork.wording.run_titles import as_described

    screened = found.heart_rate_screening
    if screened is not None and (screened["faults_s"] or screened["sound_share"] < SOUND):
        why = next((k for k in screened["faults_s"] if k.startswith(WHOLE_RUN)), None)
        said = why and f" ({why.removeprefix(WHOLE_RUN)}; if it is sound: footwork mark {row.id} --heart-rate sound)"
        share = f"{100 * screened['sound_share']:.0f} % of seconds count"
        say(f"Its heart rate is {screened['verdict']}: {share}{said or ''}.")
    if said := as_described(row.marks, row.surface, row.shoe, row.left_out):
        say(said)
    if row.weather:
        say(f"Weather: {describe_weather(row.weather)}.")
    for name, value in found.diary.items():
        if value is not None:
            say(f"{name.replace('_', ' ').capitalize()}: {value if isinstance(value, str) else f'{value:g}'}")


def _power_sentence(found: Any) -> str:
    row = found.row
    if row.entered_by_hand:
        return "Entered by hand: there is no recording."
    if row.power_w is not None:
        how = f"measured by {row.power_scale}." if row.measured else "modelled from speed and grade."
        return f"Power {row.power_w:.0f} W, {how}"
    if any(p for r in found.recordings for p in r["power"]):
        return "Power withheld: it is left out by an edit (footwork edit list)."
    return "Power withheld: none was recorded, and modelling it needs a mass (footwork athlete --mass KG)."


def _lap(lap: dict[str, Any], imperial: bool) -> str:
    from footwork.quantities import format_distance, format_duration, format_pace

    parts = [format_duration(lap["duration_s"])]
    parts += [format_distance(lap["distance_m"], imperial)] if lap["distance_m"] else []
    parts += [f"{lap['power_w']:.0f} W"] if lap["power_w"] is not None else []
    parts += [f"{lap['heart_rate_bpm']:.0f} bpm"] if lap["heart_rate_bpm"] is not None else []
    parts += [format_pace(lap["speed_mps"], imperial)] if lap["speed_mps"] else []
    parts += [lap["domain"]] if lap["domain"] else []
    return ", ".join(parts)


@app.command()
def mark(
    run: Annotated[int, typer.Argument(help="Number of the run.")],
    as_: Annotated[
        str | None, typer.Option("--as", help="race, test, maximal, easy, long, brick or treadmill.")
    ] = None,
    incline: Annotated[float | None, typer.Option(help="With --as treadmill: its incline in percent.")] = None,
    surface: Annotated[str | None, typer.Option(help="road, track, trail, grass or mixed; '' takes it back.")] = None,
    shoe: Annotated[str | None, typer.Option(help="Name of the shoe; '' takes it back.")] = None,
    heart_rate: Annotated[
        str | None, typer.Option(help="sound or doubtful: your word on its heart rate counts.")
    ] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Take the mark off.")] = False,
    as_json: Json = False,
) -> None:
    """Mark a run; efforts of races and tests count as maximal. Also its surface, shoe and sound or doubtful heart
    rate."""
    if as_ is None and surface is None and shoe is None and heart_rate is None:
        raise UsageError(
            "say which mark comes off, as --as test --remove"
            if remove
            else "say what to mark it as: --as race, --surface trail, --shoe NAME or --heart-rate doubtful"
        )
    with opened() as library:
        if heart_rate is not None:
            edit = library.judge_heart_rate(run, heart_rate.strip().lower())
            if not as_json:
                say(
                    f"Its heart rate is {heart_rate.strip().lower()}, edit {edit}: footwork edit undo {edit} undoes it."
                )
        if as_ is not None:
            library.mark(run, as_.strip().lower(), remove, incline, surface, shoe)
        library.describe_run(run, surface, shoe)
        row = library.run(run).row
    if as_json:
        return out({"id": run, "marks": row.marks, "surface": row.surface, "shoe": row.shoe})
    if heart_rate is None or _tags(row):
        say(f"Run {run} is marked {', '.join(_tags(row))}." if _tags(row) else f"Run {run} has no marks.")
    return None


@app.command()
def enter(
    start: Annotated[str, typer.Argument(help="When it began, as 2024-09-29 or 2024-09-29T10:15 (local).")],
    time: Annotated[str, typer.Option(help="How long it took, as 42:50.")],
    distance: Annotated[str | None, typer.Option(help="How far, as 10km.")] = None,
    as_: Annotated[
        str | None, typer.Option("--as", help="race, test, maximal, easy, long, brick or treadmill.")
    ] = None,
    climb: Annotated[float | None, typer.Option(help="Metres climbed.")] = None,
    heart_rate: Annotated[float | None, typer.Option(help="Mean heart rate in bpm.")] = None,
    as_json: Json = False,
) -> None:
    """Enter a run that was not recorded, or a past race result."""
    from footwork.quantities import parse_distance, parse_duration

    try:
        begin = dt.datetime.fromisoformat(start.strip().replace("Z", "+00:00"))
    except ValueError:
        raise UsageError(f"'{start}' is not a time: write 2024-09-29 or 2024-09-29T10:15") from None
    if len(start.strip()) == 10:
        begin = begin.replace(hour=9)
    with opened(create=True) as library:
        run = library.enter_run(
            begin,
            parse_duration(time),
            metres=parse_distance(distance) if distance else None,
            climb=climb,
            heart_rate=heart_rate,
            name=as_.strip().lower() if as_ else None,
        )
    if as_json:
        return out({"id": run})
    say(f"Entered as run {run}.")
    return None


@app.command()
def export(
    run: Annotated[int | None, typer.Argument(help="Number of the run; without one --all is needed.")] = None,
    out_file: Annotated[Path | None, typer.Option("--out", help="F.csv or F.parquet; with --all a new folder.")] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="Everything in open formats: list, signals, facts, edits, originals.")
    ] = False,
    parquet: Annotated[bool, typer.Option("--parquet", help="With --all: signals as Parquet, not CSV.")] = False,
    with_location: Annotated[
        bool, typer.Option("--with-location", help="Positions near your private places too.")
    ] = False,
    anonymous: Annotated[
        bool, typer.Option("--anonymous", help="With --all: no names, notes, diary, places or originals, dates moved.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Write a run's 1 Hz signals to a file, or everything to a folder."""
    if anonymous and not everything:
        raise UsageError("--anonymous goes with --all")
    if out_file is None or (run is None) == (not everything):
        raise UsageError("name a run or --all, and where to with --out")
    with opened() as library:
        if everything:
            not_withheld(library, "copy")
            told = library.export_all(
                out_file,
                ending=".parquet" if parquet else ".csv",
                with_location=with_location,
                anonymous=anonymous,
                progress=progress("writing"),
            )
        else:
            told = library.export(run, out_file, with_location)
    if as_json:
        out({"file": str(out_file), **told})
        return without_damaged(told.get("damaged", []))
    hidden = f" Positions of {told['hidden']} seconds near private places were left empty." if told["hidden"] else ""
    if everything:
        kept = (
            f", {told['originals_left_out']} originals left out because of your private places"
            if told["originals_left_out"]
            else ""
        )
        say(
            f"Wrote {plural(told['runs'], 'run')}, {plural(told['signals'], 'recording')} and "
            f"{plural(told['originals'], 'original')}{kept} to {out_file}.{hidden}"
        )
    else:
        say(f"Wrote {told['rows']} seconds of run {run} to {out_file}.{hidden}")
    return without_damaged(told.get("damaged", []))
