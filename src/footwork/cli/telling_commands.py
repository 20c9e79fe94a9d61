"""What the runner and the coach tell: diary, comments, what is shared, weather."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from footwork.cli.common import Json, app, day, opened, out, plural, say, way_out
from footwork.errors import UsageError

if TYPE_CHECKING:
    from footwork.api import Library


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


Session = Annotated[int | None, typer.Option(help="On a kept session, by its number.")]
Week = Annotated[str | None, typer.Option(help="On the week of a day, YYYY-MM-DD.")]
Race = Annotated[str | None, typer.Option(help="On the race of a day, YYYY-MM-DD.")]


@app.command()
def comment(
    words: Annotated[
        list[str], typer.Argument(help="The number of a run, then what to say of it; or only what to say.")
    ],
    on_run: Annotated[int | None, typer.Option("--run", help="On a run, where its number is not said first.")] = None,
    session: Session = None,
    week: Week = None,
    race: Race = None,
    by: Annotated[str, typer.Option(help="Who says it; the runner by default.")] = "",
    as_json: Json = False,
) -> None:
    """Comment on a run, a session, a week or a race; it stands beside what it is about and can be undone."""
    first = words[0].strip()
    told = any(v is not None for v in (on_run, session, week, race))
    numbered = first.isascii() and first.isdigit() and len(words) > 1 and not told
    run = int(first) if numbered else on_run
    text = " ".join(words[1:] if numbered else words)
    with opened() as library:
        edit = library.comment(text, run, session, day(week), day(race), by)
        made = next(c for c in library.comments() if c["id"] == edit)
    if as_json:
        return out(made)
    return say(f"{_comment_words(made)} Undo with 'footwork edit undo {edit}'.")


@app.command()
def comments(
    run: Annotated[int | None, typer.Argument(help="Only those on this run.")] = None,
    session: Session = None,
    week: Week = None,
    race: Race = None,
    as_json: Json = False,
) -> None:
    """What coach and runner said of runs, sessions, weeks and races."""
    with opened() as library:
        found = library.comments(run, session, day(week), day(race))
    if as_json:
        return out(found)
    for row in found:
        say(_comment_words(row))
    if not found:
        say("Nothing was said there.")
    return None


def _comment_words(row: dict[str, Any]) -> str:
    return f"{row['at'][:10]} {row['by']} on {row['about']} {row['of']}: {row['text']}"


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
