"""Corrections, diary, weather, and keeping the library safe."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from footwork.cli.common import Json, app, day, folder, opened, out, plural, progress, say, way_out
from footwork.errors import UsageError

if TYPE_CHECKING:
    from footwork.api import Library

Run = Annotated[int, typer.Argument(help="Number of the run.")]
From = Annotated[str | None, typer.Option("--from", help="Elapsed time it begins at, as 12:30; by default the start.")]
To = Annotated[str | None, typer.Option("--to", help="Elapsed time it ends at; by default the end.")]
edit = typer.Typer(
    help="Correct runs. Every edit is listed and can be undone, but delete --forever.", no_args_is_help=True
)
app.add_typer(edit, name="edit")


def _told(as_json: bool, library: Library, sentence: str, **more: Any) -> None:
    """Say what was done and how to undo it."""
    newest = library.edits()[0]
    if as_json:
        return out({"edit": newest["id"], **more})
    return say(f"{sentence} Undo with 'footwork edit undo {newest['id']}'.")


def _seconds(text: str | None) -> float | None:
    from footwork.quantities import parse_duration

    if text and not text.strip("0: "):  # the start itself, which is no duration
        return 0.0
    return parse_duration(text) if text else None


@edit.command("list")
def edit_list(
    run: Annotated[int | None, typer.Argument(help="Of this run only.")] = None,
    undone: Annotated[bool, typer.Option("--undone", help="Also those that were undone.")] = False,
    as_json: Json = False,
) -> None:
    """What was said about runs, the newest first."""
    with opened() as library:
        found = library.edits(run, undone)
    if as_json:
        return out(found)
    if not found:
        say("Nothing was edited.")
    for e in found:
        of = f"run {e['run']}" if e["run"] is not None else str(e["date"] or "")
        say(f"{e['id']:>5}  {of:<10}  {e['sentence']}{'  (undone)' if e['undone'] else ''}")
    return None


@edit.command()
def undo(number: Annotated[int, typer.Argument(help="Number of the edit.")], as_json: Json = False) -> None:
    """Take one edit back."""
    with opened() as library:
        what = library.undo(number)
    if as_json:
        return out({"undone": number, "what": what})
    return say(f"Undone: {what}.")


@edit.command()
def distance(
    run: Run, metres: Annotated[str, typer.Argument(help="The true distance, as 10km.")], as_json: Json = False
) -> None:
    """Correct the distance; speed and modelled power follow."""
    from footwork.quantities import format_distance, parse_distance

    with opened() as library:
        library.correct_distance(run, parse_distance(metres))
        _told(as_json, library, f"Run {run} is {format_distance(parse_distance(metres))} long now.")


@edit.command()
def trim(run: Run, begin: From = None, end: To = None, as_json: Json = False) -> None:
    """Keep only a part of a run."""
    if begin is None and end is None:
        raise UsageError("say what to keep: --from 5:00, --to 58:00 or both")
    with opened() as library:
        library.trim(run, _seconds(begin), _seconds(end))
        _told(as_json, library, f"Run {run} is trimmed.")


@edit.command()
def exclude(
    run: Run,
    begin: From = None,
    end: To = None,
    signal: Annotated[str | None, typer.Option(help="Only this signal: power, heart_rate, speed or cadence.")] = None,
    as_json: Json = False,
) -> None:
    """Leave seconds, a signal, or without options the whole run, out of every analysis."""
    with opened() as library:
        library.leave_out(run, _seconds(begin), _seconds(end), signal)
        _told(as_json, library, "That part is left out of every analysis.")


@edit.command()
def split(
    run: Run, at: Annotated[str, typer.Option(help="Elapsed time to split at, as 30:00.")], as_json: Json = False
) -> None:
    """Make two runs of one."""
    with opened() as library:
        _, new = library.split(run, _seconds(at) or 0.0)
        _told(as_json, library, f"The part from {at} on is run {new} now.", new_run=new)


@edit.command()
def merge(run: Run, other: Annotated[int, typer.Argument(help="The other run.")], as_json: Json = False) -> None:
    """Make one run of two that follow each other; the time between is a pause."""
    with opened() as library:
        library.merge(run, other)
        kept = library.edits()[0]["run"]
        _told(as_json, library, f"Runs {run} and {other} are one now, run {kept}.", run=kept)


@edit.command()
def pair(
    run: Run, other: Annotated[int, typer.Argument(help="The same run by the second device.")], as_json: Json = False
) -> None:
    """Say that two runs are one, recorded by two devices whose clocks are far apart."""
    with opened() as library:
        library.pair(run, other)
        _told(as_json, library, f"Run {other} is a recording of run {run} now: footwork compare {run}.")


@edit.command()
def lap(run: Run, begin: From = None, end: To = None, as_json: Json = False) -> None:
    """Add a lap by hand."""
    if begin is None or end is None:
        raise UsageError("a lap needs both ends: --from 12:00 --to 16:00")
    with opened() as library:
        library.add_lap(run, _seconds(begin) or 0.0, _seconds(end) or 0.0)
        _told(as_json, library, f"Run {run} has the lap.")


@edit.command()
def delete(
    run: Run,
    forever: Annotated[
        bool, typer.Option("--forever", help="Also remove the original file; this cannot be undone.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    as_json: Json = False,
) -> None:
    """Hide a run, or remove it for ever."""
    with opened() as library:
        if not forever:
            library.delete(run)
            return _told(as_json, library, f"Run {run} is deleted; its file is kept.")
        also = [r for r in library.bound_to(run) if r != run]
        if not yes:
            more = f" Its file also holds run {', '.join(map(str, also))}, which goes with it." if also else ""
            typer.confirm(
                f"Remove run {run}, its original file and all that was said about it?{more} This cannot be undone",
                abort=True,
                err=True,
            )
        gone = library.delete(run, forever=True)
    if as_json:
        return out({"deleted": gone})
    return say(f"Gone for ever: run {', '.join(map(str, gone))}.")


@app.command()
def diary(
    run: Annotated[int | None, typer.Argument(help="Number of the run; without one it is about a day.")] = None,
    date: Annotated[str | None, typer.Option(help="The day, YYYY-MM-DD; today by default.")] = None,
    exertion: Annotated[float | None, typer.Option(help="How hard it was, 0 to 10.")] = None,
    sleep: Annotated[float | None, typer.Option(help="Hours slept.")] = None,
    resting_heart_rate: Annotated[float | None, typer.Option(help="Resting heart rate in bpm.")] = None,
    soreness: Annotated[float | None, typer.Option(help="0 to 10.")] = None,
    overnight_hrv: Annotated[float | None, typer.Option(help="Heart rate variability of the night in ms.")] = None,
    illness: Annotated[str | None, typer.Option(help="What it is, as 'cold'.")] = None,
    injury: Annotated[str | None, typer.Option(help="What it is, as 'left calf'.")] = None,
    well: Annotated[bool, typer.Option("--well", help="Well again: ends illness and injury.")] = False,
    note: Annotated[str | None, typer.Option(help="Anything else.")] = None,
    period: Annotated[
        str | None, typer.Option(help="'begins', of its first day: the signs take the cycle off. Only if you want.")
    ] = None,
    pregnancy: Annotated[
        str | None, typer.Option(help="'begins' or 'over': no maximal test, no heart rates to aim for meanwhile.")
    ] = None,
    heart_medication: Annotated[
        str | None, typer.Option(help="'begins' or 'over': the same, of medicine that acts on the heart.")
    ] = None,
    clear: Annotated[list[str] | None, typer.Option(help="Take this field back; repeatable.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Many days from a CSV file; with --columns.")] = None,
    columns: Annotated[
        str, typer.Option(help="Its columns, as 'date=Day; sleep=Hours; resting_heart_rate=Pulse'.")
    ] = "date=date; sleep=sleep; resting_heart_rate=resting_heart_rate",
    as_json: Json = False,
) -> None:
    """Write how a run or a day felt; without values, read the diary."""
    from footwork.questions import season
    from footwork.wording.cautions import held_back

    given = {
        "exertion": exertion,
        "sleep": sleep,
        "resting_heart_rate": resting_heart_rate,
        "soreness": soreness,
        "overnight_hrv": overnight_hrv,
        "illness": illness,
        "injury": injury,
        "well": "again" if well else None,
        "note": note,
        "period": period,
        "pregnancy": pregnancy,
        "heart_medication": heart_medication,
    }
    values: dict[str, Any] = {n: v for n, v in given.items() if v is not None}
    values |= {name.replace("-", "_"): None for name in clear or []}
    with opened(create=bool(values or csv)) as library:
        if csv is not None:
            pairs = [part.split("=", 1) for part in columns.split(";") if "=" in part]
            many = library.diary_from(csv, {field.strip(): column.strip() for field, column in pairs})
            return out({"new": many}) if as_json else say(f"{plural(many, 'new value')} from {csv.name}.")
        if values:
            library.tell(run, day(date), **values)
        found, caution = library.diary(), held_back(library.health())
        waits = season.waiting(library) if {"illness", "injury", "well"} & values.keys() else ""
    if run is not None:
        found = [row for row in found if row["run"] == run]
    elif date:
        found = [row for row in found if row["date"] == day(date).isoformat()]  # type: ignore[union-attr]
    if as_json:
        return out(found)
    if not found:
        say("The diary is empty there.")
    for row in found:
        words = [
            f"{n.replace('_', ' ')} {v if isinstance(v, str) else f'{v:g}'}"
            for n, v in row.items()
            if n not in ("date", "run", "from_file")
        ]
        if row.get("from_file"):
            words.append(f"{', '.join(n.replace('_', ' ') for n in row['from_file'])} from file")
        of = f"  run {row['run']}" if row["run"] else ""
        say(f"{row['date']}{of}  {'; '.join(words)}")
    if caution:
        say(f"Caution: {caution}{way_out(caution)}")
    if waits:
        say(f"Season: {waits} footwork season solve shows them.")
    return None


privacy = typer.Typer(help="What a coach may see: show, consent, diary.", no_args_is_help=True)
app.add_typer(privacy, name="privacy")


@privacy.command("show")
def privacy_show(as_json: Json = False) -> None:
    """Whether consent is written down, and whether a coach sees diary and health."""
    with opened() as library:
        _say_sharing(library, as_json)


@privacy.command("consent")
def privacy_consent(
    note: Annotated[str, typer.Argument(help="How it was given, as 'by mail'.")] = "",
    date: Annotated[str | None, typer.Option(help="The day it was given; today by default.")] = None,
    withdraw: Annotated[
        bool, typer.Option("--withdraw", help="It is withdrawn, and the diary no longer shared.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Write down that the runner consents to a coach reading this library."""
    with opened() as library:
        if withdraw:
            library.withdraw_consent()
        else:
            library.consent(note, day(date))
        _say_sharing(library, as_json)


@privacy.command("diary")
def privacy_diary(shared: Annotated[str, typer.Argument(help="on or off.")], as_json: Json = False) -> None:
    """Let a coach see diary and health, or not; off, a coach reads of them only 'not now'."""
    if shared.strip().lower() not in ("on", "off"):
        raise UsageError(f"'{shared}' is neither: write footwork privacy diary on, or off")
    with opened() as library:
        library.share_diary(shared.strip().lower() == "on")
        _say_sharing(library, as_json)


def _say_sharing(library: Library, as_json: bool) -> None:
    found = library.sharing()
    if as_json:
        return out({"consent": found.consent, "note": found.note, "diary": found.diary})
    if found.consent is None:
        say("No consent is written down: a coach's squad shows of the diary only 'not now'.")
    else:
        say(f"Consent of {found.consent}{': ' if found.note else ''}{found.note}.")
        say("Diary and health are shared." if found.diary else "Diary and health are not shared.")
    return say("Who holds the library's folder can read all of it.")


@app.command()
def weather(
    run: Annotated[int | None, typer.Argument(help="Number of the run.")] = None,
    temperature: Annotated[float | None, typer.Option(help="Degrees Celsius.")] = None,
    humidity: Annotated[float | None, typer.Option(help="Percent.")] = None,
    wind: Annotated[str | None, typer.Option(help="At 10 m, as 5@240: m/s, and the degrees it comes from.")] = None,
    pressure: Annotated[float | None, typer.Option(help="At sea level, hPa.")] = None,
    metar: Annotated[str | None, typer.Option(help="A METAR line near the run in time.")] = None,
    file: Annotated[
        Path | None, typer.Option(help="For many runs: a CSV, or METAR lines that begin with a date (docs/formats.md).")
    ] = None,
    as_json: Json = False,
) -> None:
    """Tell the weather of a run, or of many from a file; usual watts take it into account."""
    from footwork.quantities import parse_wind

    if (run is None) == (file is None):
        raise UsageError("name a run, or a file for many with --file")
    with opened() as library:
        if file is not None:
            told = library.weather_from(file)
            if as_json:
                return out(told)
            return say(
                f"{plural(told['reports'], 'report')} read; {plural(len(told['runs']), 'run')} got the "
                "weather nearest in time and place."
            )
        speed, source = parse_wind(wind) if wind is not None else (None, None)
        values = {
            "temperature_c": temperature,
            "humidity": None if humidity is None else humidity / 100,
            "wind_mps": speed,
            "wind_from_deg": source,
            "pressure_pa": None if pressure is None else pressure * 100,
        }
        if metar or any(v is not None for v in values.values()):
            library.set_weather(run, metar=metar, **values)
        row = library.run(run).row
    if as_json:
        return out({"id": run, "weather": row.weather})
    from footwork.quantities import describe_weather

    return say(
        f"Run {run}: {describe_weather(row.weather)}." if row.weather else f"The weather of run {run} is not known."
    )


@app.command()
def places(
    add: Annotated[
        str | None, typer.Option(help="Keep positions around this place inside: LAT,LON in degrees.")
    ] = None,
    name: Annotated[str, typer.Option(help="What the place is called.")] = "home",
    radius: Annotated[float, typer.Option(help="Metres around it.")] = 300.0,
    remove: Annotated[str | None, typer.Option(help="Forget the place of this name.")] = None,
    as_json: Json = False,
) -> None:
    """Private places: exports leave out positions around them."""
    with opened() as library:
        if add is not None:
            try:
                latitude, longitude = (float(v) for v in add.split(","))
            except ValueError:
                raise UsageError(f"--add '{add}' is no place: write 46.2130,-21.7340") from None
            library.add_place(name, latitude, longitude, radius)
        if remove is not None:
            library.remove_place(remove)
        found = library.places()
    if as_json:
        return out(found)
    if not found:
        say("No private places: exports hold all positions.")
    for p in found:
        say(f"{p['name']}: {p['radius_m']:.0f} m around {p['latitude']:.4f}, {p['longitude']:.4f}")
    return None


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="The file to write; it must not be there yet.")], as_json: Json = False
) -> None:
    """Write the whole library into one file and verify it."""
    with opened() as library:
        made = library.backup(file)
    if as_json:
        return out(made)
    return say(
        f"Backed up {plural(made['originals'], 'original')} and everything you said to {file} "
        f"({made['bytes'] / 1e6:.1f} MB), read back and compared."
    )


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(help="The backup.")],
    into: Annotated[Path | None, typer.Option(help="The new folder; by default the library's (--library DIR).")] = None,
    as_json: Json = False,
) -> None:
    """Make a library from a backup, in a new folder."""
    from footwork.api import Library

    target = into or folder()
    with Library.restore(file, target) as library:
        count = len(library.runs())
    if as_json:
        return out({"library": str(target), "runs": count})
    return say(f"Restored {plural(count, 'run')} into {target}.")


@app.command()
@app.command("doctor", hidden=True)  # its name before; for one release
def check_up(
    repair: Annotated[bool, typer.Option("--repair", help="Rebuild what can be rebuilt.")] = False,
    as_json: Json = False,
) -> None:
    """Check the library: databases, every original, results, signals."""
    from footwork.maintenance.check_up import check_library

    found = check_library(folder(), repair, progress("checking"))
    if as_json:
        out(found)
    else:
        for check in found["checks"]:
            say(f"{'good ' if check['ok'] else 'WRONG'}  {check['name']}: {check['found']}")
        for text in found["repaired"]:
            say(f"repaired: {text}")
        for text in found["problems"]:
            say(f"footwork: {text}", err=True)
    if found["problems"]:
        raise typer.Exit(4)
