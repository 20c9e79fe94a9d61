"""The command line. Each command asks the `Library`, prints a sentence first, or with ``--json`` the object alone."""

from __future__ import annotations

import datetime as dt
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from footwork.errors import FootworkError, UsageError

app = typer.Typer(
    help="Running power on your own machine: recordings in; critical power, domains and race plans out.",
    no_args_is_help=True, add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)  # fmt: skip
_ASCII = str.maketrans({"′": "'", "–": "-", "−": "-", "°": " deg", "·": " ", "γ": "gamma", "†": "*", "≈": "~", "₀": "0", "±": "+/-",
                        "½": "1/2", "ρ": "rho", "²": "2", "³": "3", "Σ": "sum", "…": "..", "\u0304": ""})  # fmt: skip
Json = Annotated[bool, typer.Option("--json", help="Print the result as one JSON object, SI units.")]
Date = Annotated[str | None, typer.Option(help="As of this date, YYYY-MM-DD; by default the newest run's.")]
Scale = Annotated[
    str | None, typer.Option(help="Whose watts: a scale's name; by default the one most used in the six weeks before.")
]
Efforts = Annotated[
    list[str] | None,
    typer.Option(
        "--effort",
        help="A stated best: 3:00=361 (watts), 5km=20:30 (race), all-out=305. Repeatable; then these alone count.",
    ),
]
Mass = Annotated[float | None, typer.Option(help="Body mass in kg for this question only.")]
_folder = Path()


class Failure(typer.Exit):
    """An exit code with nothing left to say."""


@app.callback()
def main_options(
    library: Annotated[
        Path | None, typer.Option("--library", help="Library folder; by default $FOOTWORK_LIBRARY or ~/Footwork.")
    ] = None,
) -> None:
    global _folder
    _folder = library or Path(os.environ.get("FOOTWORK_LIBRARY") or Path.home() / "Footwork")


def say(text: str = "", err: bool = False) -> None:
    """Print a line that also survives a terminal that knows only ASCII."""
    stream = sys.stderr if err else sys.stdout
    try:
        text.encode(stream.encoding or "ascii")
    except UnicodeEncodeError:
        text = text.translate(_ASCII).encode("ascii", "replace").decode()
    print(text, file=stream)


def out(result: Any) -> None:
    """Print the JSON object; stdout holds nothing else."""
    from footwork.quantities import plain

    print(json.dumps(plain(result), ensure_ascii=True, allow_nan=False))


def opened(create: bool = False) -> Any:
    from footwork.library import Library

    return Library.open(_folder, create=create, progress=_progress("rebuilding"))


def asked(efforts: list[str] | None) -> Any:
    """The library, or an empty one where the question carries its own efforts and there is no library yet."""
    from footwork.library import Library

    if efforts and not (_folder / "library.sqlite").exists():
        return Library.from_nothing()
    return Library.open(_folder, create=False, progress=_progress("rebuilding"))


def _progress(verb: str) -> Callable[[int, int, str], None]:
    """Lines a parent process can follow, or one line redrawn on a terminal; silent for a handful of files."""
    lines = bool(os.environ.get("FOOTWORK_PROGRESS_LINES"))
    tty = sys.stderr.isatty()

    def report(done: int, total: int, name: str) -> None:
        if lines:
            print(json.dumps({"done": done, "total": total, "file": name}), file=sys.stderr, flush=True)
        elif tty and total > 3:
            width = 24 * done // max(total, 1)
            print(
                f"\r{verb} [{'#' * width}{'.' * (24 - width)}] {done}/{total}",
                end="\n" if done == total else "",
                file=sys.stderr,
                flush=True,
            )

    return report


def _day(text: str | None) -> dt.date | None:
    from footwork.quantities import parse_date

    return parse_date(text) if text else None


def _plural(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


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
    begin = None
    if start is not None:
        try:
            begin = dt.datetime.fromisoformat(start.replace("Z", "+00:00")).astimezone()
        except (ValueError, OverflowError):
            raise UsageError(f"--start '{start}' is not a time: write 2026-04-14T18:05") from None
    with opened(create=True) as library:
        report = library.add(paths, start=begin, workers=os.cpu_count() or 1, progress=_progress("adding"))
    if as_json:
        out(report)
    else:
        known = len(report["duplicates"])
        say(f"Added {_plural(sum(len(e['runs']) for e in report['added']), 'run')}"
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
        say(f"{_plural(len(rows), 'run')}{', the last 20:' if len(rows) > 20 else '.'}")
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
def capacity(
    effort: Efforts = None,
    date: Date = None,
    scale: Scale = None,
    mass: Mass = None,
    since: Annotated[
        str | None, typer.Option(help="With --until: best efforts, domains and CP-minutes of this span instead.")
    ] = None,
    until: Annotated[str | None, typer.Option(help="End of the span, YYYY-MM-DD.")] = None,
    as_json: Json = False,
) -> None:
    """Critical power, W′ and domains, each with its interval and evidence."""
    from footwork.quantities import describe, format_duration, format_pace

    with asked(effort) as library:
        made = library.capacity(effort or (), _day(date), scale, mass)
        result = made.to_json()
        span = None
        if since or until:
            span = {"since": since, "until": until, **library.load(_day(since), _day(until))}
            result["curve"] = library.best_curve(_day(since), _day(until), scale)
            result["span"] = span
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out(result)
    kind = made.evidence["kind"]
    say(f"As of {made.date}" + (f", on {made.scale}" if made.scale else "") + f": {made.evidence['sentence']}.")
    say(f"Critical power   {describe(made.critical_power, 0, kind)}")
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
            text += f"; {format_pace(border['speed'].value, imperial)}"
        if border["heart_rate"].value is not None:
            text += f"; {describe(border['heart_rate'])}"
        say(text)
    if made.forms:
        say(
            "Forms (error in): "
            + "; ".join(
                f"{f['form']} ({f['error_in']}) CP {f['critical_power_w']:.0f} W, W′ {f['w_prime_j'] / 1000:.1f} kJ"
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
            f"{_plural(span['runs'], 'run')} in the span: {spent}; {span['cp_minutes']:.0f} CP-minutes ({span['critical_power']})."
        )
    for text in made.warnings:
        say(f"Note: {text}")
    if kind in ("lower bound", "none", "habitual"):
        say(
            "A test or race settles it: run 3, 7 and 12 minutes all you can on rested days, only if you are well and warmed up (footwork methods cautions), then mark the run."
        )
    return None


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
    as_json: Json = False,
) -> None:
    """Watts, pace, time and splits for a race at even power."""
    from footwork.library.race import Weather, splits_every
    from footwork.quantities import (
        describe,
        format_distance,
        format_duration,
        format_pace,
        parse_distance,
        parse_duration,
    )

    speed, source = _wind(wind)
    sky = Weather(speed, source, temperature, None if humidity is None else humidity / 100, altitude)
    with asked(effort) as library:
        imperial = library.setting("units") == "imperial"
        plan = library.race(
            distance=parse_distance(distance) if distance else None, time=parse_duration(time) if time else None,
            course=course, date=_day(date), scale=scale, efforts=tuple(effort or ()), mass=mass, weather=sky,
            split=splits_every(imperial),
        )  # fmt: skip
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
    for text in plan.warnings:
        say(f"Note: {text}")
    return None


def _wind(text: str | None) -> tuple[float | None, float | None]:
    if text is None:
        return None, None
    speed, at, source = text.partition("@")
    try:
        return float(speed), float(source) % 360 if at else None
    except ValueError:
        raise UsageError(f"--wind '{text}' is not a wind: write 5@240 (m/s from degrees) or 3") from None


@app.command()
def athlete(
    mass: Annotated[float | None, typer.Option(help="Body mass in kg.")] = None,
    max_heart_rate: Annotated[float | None, typer.Option(help="Highest heart rate in bpm.")] = None,
    resting_heart_rate: Annotated[float | None, typer.Option(help="Resting heart rate in bpm.")] = None,
    date: Annotated[str | None, typer.Option(help="From this date on, YYYY-MM-DD; today by default.")] = None,
    units: Annotated[str | None, typer.Option(help="Show metric or imperial units.")] = None,
    as_json: Json = False,
) -> None:
    """Set dated facts about the runner, or print them all."""
    with opened(create=True) as library:
        redone = library.athlete.set(
            _day(date),
            _progress("modelling"),
            mass=mass,
            max_heart_rate=max_heart_rate,
            resting_heart_rate=resting_heart_rate,
        )
        if units is not None:
            library.set_setting("units", units.strip().lower())
        facts = library.athlete.facts()
    if as_json:
        return out(facts)
    for name, values in facts.items():
        shown = ", ".join(f"{v['value']:g} {v['unit']} from {v['date']}" for v in values)
        say(f"{name.replace('_', ' ').capitalize()}: {shown or 'not given'}")
    if redone:
        say(f"Modelled power was made anew for {_plural(redone, 'recording')}.")
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


@app.command()
def serve(
    folders: Annotated[list[Path] | None, typer.Argument(help="Library folders; by default the one library.")] = None,
    port: Annotated[int, typer.Option(help="Port on 127.0.0.1; 0 takes a free one.")] = 8383,
    open_browser: Annotated[bool, typer.Option("--open", help="Open the address in a browser.")] = False,
) -> None:
    """Serve the pages on this machine only."""
    from footwork.web.server import serve as run_server

    run_server(folders or [_folder], port, open_browser)


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(help="Where the demo recordings and library go.")] = Path("demo-library"),
    as_json: Json = False,
) -> None:
    """Make an invented runner's season and import it."""
    from footwork.demo import make

    made = make(folder, _progress("demo"))
    if as_json:
        return out(made)
    say(f"An invented runner's season: {made['files']} files in {made['recordings']}, library in {made['library']}.")
    say(f"Try: footwork --library {made['library']} capacity")
    return None


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


def main() -> None:
    """Entry point: every error we know is one sentence on stderr and its documented exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        app()
    except FootworkError as error:
        if "--json" in sys.argv:
            print(json.dumps({"error": str(error)}))
        say(f"footwork: {error}", err=True)
        sys.exit(error.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        say("footwork: stopped; what was done before is kept", err=True)
        sys.exit(130)
    except OSError as error:
        say(f"footwork: {error.filename or 'the system'}: {error.strerror or error}", err=True)
        sys.exit(4)


if __name__ == "__main__":
    main()
