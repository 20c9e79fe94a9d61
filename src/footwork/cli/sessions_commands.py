"""Efforts of a run, and sessions, on the command line."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated, Any

import typer

from footwork.cli.common import Date, Efforts, Json, Mass, Scale, app, asked, day, opened, out, remembered, say, way_out
from footwork.errors import FootworkError, UsageError
from footwork.wording.cautions import before_hard_work, held_back, physician_words

session = typer.Typer(
    help="Sessions in plain words: new, list, preview, solve, export, match, shelf.", no_args_is_help=True
)
app.add_typer(session, name="session")
Words = Annotated[
    str, typer.Argument(help="The session in plain words, the number of a kept one, or a name of the shelf.")
]


@app.command()
@remembered
def efforts(
    what: Annotated[str, typer.Argument(help="Number of a run, or a recording that need not be in the library.")],
    signal: Annotated[
        str | None,
        typer.Option(help="Find them in power, pace, speed or heart_rate; the first that is there by default."),
    ] = None,
    correct: Annotated[
        str | None,
        typer.Option(help="Your own division, as '0:00 warm-up, 15:00 work, 19:00 recovery'; edit undo takes it back."),
    ] = None,
    balance: Annotated[bool, typer.Option("--balance", help="W′ balance along the run, with its interval.")] = False,
    as_json: Json = False,
) -> None:
    """Warm-up, work, recovery and cool-down of a run, found without laps."""
    from footwork.questions import runs
    from footwork.wording.run_titles import division

    name = signal.strip().lower().replace("-", "_") if signal else None
    if not (what.isascii() and what.isdigit()) or Path(what).exists():
        if correct or balance:
            raise UsageError("corrections and W′ balance are of runs in the library: name one by its number")
        path = Path(what)
        if not path.is_file():
            raise UsageError(f"there is no file {path}")
        reading, run, looks = runs.reading_of_file(path, name), None, None
        found, otherwise = reading.efforts, reading.otherwise
        imperial, left = False, None
    else:
        run = int(what)
        with opened() as library:
            imperial = library.setting("units") == "imperial"
            if correct is not None:
                name = None
                edit = library.correct_efforts(run, correct)
                if not as_json:
                    say(f"Kept as edit {edit}: footwork edit undo {edit} takes it back.")
            found, otherwise = library.efforts(run, name), library.efforts_otherwise(run, name)
            left = library.balance(run) if balance else None
            looks = library.recognised(run)
    if as_json:
        return out(left if balance else found)
    _listed(found, otherwise, imperial)
    if otherwise and run is not None and name is None:
        say(f"If so: footwork efforts {run} --correct '{division(otherwise)}'")
    if looks is not None:
        say(f"{looks['sentence']} footwork mark {run} --as {looks['kind']}")
    if left is not None:
        least, at = left["minimum"], left["minimum_at_s"]
        from footwork.quantities import format_duration

        say(
            f"W′ balance was least at {format_duration(at)}: {least['value'] / 1000:.1f} kJ  "
            f"{least['low'] / 1000:.1f}–{least['high'] / 1000:.1f}, "
            f"of {left['w_prime']['value'] / 1000:.1f} kJ on {left['scale']}, by what was known on "
            f"{left['as_of']}. Recovery was measured in cycling."
        )
        for e in found:
            a, b = (min(int(v) // 5, len(left["middle_j"]) - 1) for v in (e["start_s"], e["end_s"]))
            say(
                f"  {format_duration(e['start_s']) if e['start_s'] else '0:00':>8}  {e['kind']:<9} from "
                f"{left['middle_j'][a] / 1000:.1f} to {left['middle_j'][b] / 1000:.1f} kJ"
                f"  {left['low_j'][b] / 1000:.1f}–{left['high_j'][b] / 1000:.1f}"
            )
    return None


LEAST_STOOD_S = 5


def _listed(found: list[dict[str, Any]], otherwise: list[dict[str, Any]], imperial: bool) -> None:
    from footwork.quantities import format_distance, format_duration, format_pace
    from footwork.wording.run_titles import not_sure, run_title

    say(f"{run_title(found)}.")
    say("      from  kind       lasts      way  power, pace, heart rate, mean slope")
    for e in found:
        seconds = e["end_s"] - e["start_s"] - e["standing_s"]
        way = format_distance(e["speed"] * seconds, imperial) if e["speed"] else ""
        parts = [
            f"{e['power']:.0f} W" if e["power"] is not None else "",
            format_pace(e["speed"], imperial) if e["speed"] and e["speed"] > 0.5 else "",
            f"{e['heart_rate']:.0f} bpm" if e["heart_rate"] is not None else "",
            f"slope {100 * e['grade']:+.1f} %" if e["grade"] is not None and abs(e["grade"]) >= 0.005 else "",
            f"stood {format_duration(e['standing_s'])}" if e["standing_s"] >= LEAST_STOOD_S else "",
        ]
        size = format_duration(e["end_s"] - e["start_s"])
        say(
            f"  {format_duration(e['start_s']):>8}  {e['kind']:<9} {size:>7} {way:>8}  "
            + "  ".join(p for p in parts if p)
            + ("" if e["sure"] else "  not sure")
        )
    if otherwise:
        say(not_sure(found, otherwise))


@session.command()
def new(
    text: Annotated[str | None, typer.Argument(help="The session in plain words, or a name of the shelf.")] = None,
    date: Annotated[str | None, typer.Option(help="Day it is planned for, YYYY-MM-DD; today by default.")] = None,
    name: Annotated[str, typer.Option(help="What to call it.")] = "",
    from_: Annotated[Path | None, typer.Option("--from", help="A FIT workout or YAML file instead of words.")] = None,
    as_json: Json = False,
) -> None:
    """Keep a session for a day."""
    from footwork.planning.session_words import parse
    from footwork.questions import sessions
    from footwork.wording.session_verdicts import doubt_to_finish

    if (text is None) == (from_ is None):
        raise UsageError("give a session in words, or a file with --from")
    planned = day(date)
    with opened() as library:
        if from_ is not None:
            called, words, on = sessions.from_file(from_)
            planned = planned or on
        else:
            words, called = sessions.worded(library, text or "")
        number = library.plan_session(words, planned, name or called)
        row = sessions.kept_session(library, number)
        held = held_back(library.health())
        dry = sessions.run_dry_probability(library, row["text"])
    if as_json:
        return out({**row, "held_back": held, "caution": before_hard_work("session"), "run_dry_probability": dry})
    say(f"Session {number} for {row['date']}: {row['text']} (footwork edit undo {number} takes it back)")
    for text_ in sessions.restless(parse(row["text"]).items):
        say(f"Note: {text_}")
    if doubt := doubt_to_finish(dry):
        say(f"{doubt}; session preview {number} shows where.")
    say(f"Caution: {held or before_hard_work('session')}{way_out(held or '')}")
    return None


Number = Annotated[int, typer.Argument(help="Number of the kept session.")]


@session.command()
def change(
    number: Number,
    date: Annotated[str | None, typer.Option(help="Move it to this day, YYYY-MM-DD.")] = None,
    text: Annotated[str | None, typer.Option(help="Other words for it.")] = None,
    name: Annotated[str | None, typer.Option(help="Another name.")] = None,
    as_json: Json = False,
) -> None:
    """Move a kept session to another day, or say it otherwise."""
    if date is None and text is None and name is None:
        raise UsageError("say what changes: --date, --text or --name")
    with opened() as library:
        _changed(library, [library.change_session(number, day(date), text, name)], as_json)


@session.command()
def drop(number: Number, as_json: Json = False) -> None:
    """Keep a session no longer."""
    with opened() as library:
        rows = {r["id"]: r for r in library.sessions()}
        library.drop_session(number)
    if as_json:
        return out({"dropped": number})
    row = rows[number]
    return say(f"Session {number} for {row['date']} is kept no longer: {row['name'] or row['text']}.")


@session.command()
def copy(number: Number, date: Annotated[str, typer.Argument(help="Day, YYYY-MM-DD.")], as_json: Json = False) -> None:
    """Keep a session for another day too."""
    with opened() as library:
        _changed(library, [library.copy_session(number, date)], as_json)


@session.command()
def repeat(
    number: Number, weeks: Annotated[int, typer.Option(help="In how many weeks after it.")] = 1, as_json: Json = False
) -> None:
    """Keep a session on its weekday in the weeks after it."""
    with opened() as library:
        _changed(library, library.repeat_session(number, weeks), as_json)


def _changed(library: Any, numbers: list[int], as_json: bool) -> None:
    from footwork.questions import sessions
    from footwork.wording.session_verdicts import doubt_to_finish

    rows = [r for r in reversed(library.sessions()) if r["id"] in numbers]
    held = held_back(library.health())
    if as_json:
        return out(rows)
    for r in rows:
        say(f"Session {r['id']} for {r['date']}: {r['name'] + ': ' if r['name'] else ''}{r['text']}")
    if rows and (doubt := doubt_to_finish(sessions.run_dry_probability(library, rows[0]["text"]))):
        say(f"{doubt}.")
    caution = f"{held or before_hard_work('session')}{way_out(held or '')}"
    say("footwork session drop NUMBER takes one away; session change moves it, edit undo takes a change back.")
    say(caution)
    return None


@session.command("list")
@remembered
def list_(as_json: Json = False) -> None:
    """Kept sessions beside the runs of their days: what is to come, the next first, then what was."""
    with opened() as library:
        found, today = library.sessions(), library.current_day().isoformat()
    if as_json:
        return out(found)
    if not found:
        say(
            'No session is kept: footwork session new "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), '
            '10 min easy"'
        )
    ahead = [r for r in found if str(r["date"]) >= today]
    for r in [*reversed(ahead), *found[len(ahead) :]]:
        left = "  to come" if str(r["date"]) >= today else "  no run that day"
        done = f"  run {', '.join(map(str, r['runs']))}" if r["runs"] else left
        say(f"{r['id']:>4}  {r['date']}  {(r['name'] + ': ') if r['name'] else ''}{r['text']}{done}")
    return None


def _previewed(found: Any, imperial: bool, pause: str) -> None:
    from footwork.quantities import format_duration, format_pace
    from footwork.questions import sessions
    from footwork.wording.session_verdicts import runs_out

    if found["held_back"]:
        say(f"Caution: {found['held_back']}{way_out(found['held_back'])}")
    say(found["text"])
    least = sessions.minimum(found)
    dry = 100 * found["run_dry_probability"]
    ends = f"{(least.low or 0) / 1000:.1f}–{(least.high or 0) / 1000:.1f}"
    where = runs_out(found)
    lowest = f"runs out {where}" if where else f"at its lowest {(least.value or 0) / 1000:.1f} kJ  {ends}"
    say(
        f"{format_duration(found['duration_s'])}, {found['cp_minutes']:.0f} CP-minutes on {found['scale']}, "
        f"shares of {'accepted' if found['accepted'] else 'estimated'} CP {found['critical_power_w']:.0f} W. "
        f"W′ {lowest}; chance of running dry {dry:.0f} %."
    )
    for s in found["steps"]:
        at = f"{'.'.join(map(str, s['repeat']))}" if s["repeat"] else ""
        pace = format_pace(s["speed_mps"], imperial) if s["speed_mps"] else ""
        rate = f"{s['heart_rate_bpm']:.0f} bpm" if s["heart_rate_bpm"] else ""
        chance = f"  dry by then {100 * s['dry_by']:.0f} %" if s["dry_by"] >= 0.005 else ""
        say(
            f"  {format_duration(s['start_s']) if s['start_s'] else '0:00':>8} {at:>5}  {s['text']:<28} "
            f"{s['power_w']:>4.0f} W  {pace:>9}  {rate:>7}  {s['domain']:<8}  "
            f"W′ {max(s['w_prime_j'], 0.0) / 1000:.1f} kJ{chance}"
        )
    spent = ", ".join(f"{n} {format_duration(s)}" for n, s in found["seconds_in_domains"].items() if s)
    say(f"Time in domains: {spent}.")
    hardest = found["steps"][found["hardest"]]
    if len(found["steps"]) > 1:
        say(
            f"Hardest, by the chance of running dry in it, else by where W′ is lowest: {hardest['text']} at "
            f"{format_duration(hardest['start_s']) if hardest['start_s'] else '0:00'}."
        )
    if found["kinder"]:
        say(f"Kinder, {found['kinder']['change']}: {found['kinder']['text']}")
    for text in filter(None, (pause, *found["of_capacity"], *found["warnings"])):
        say(f"Note: {text}")


@session.command()
@remembered
def preview(
    what: Words,
    date: Date = None,
    scale: Scale = None,
    effort: Efforts = None,
    mass: Mass = None,
    as_json: Json = False,
) -> None:
    """What a session asks: power, pace, W′, load, and whether it can be finished."""
    from footwork.questions import sessions

    with asked(effort) as library:
        words, _ = sessions.worded(library, what)
        found = library.session(words, day(date), scale, efforts=tuple(effort or ()), mass=mass)
        pause = "" if effort or date else library.pause()
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out(found)
    return _previewed(found, imperial, pause)


@session.command()
@remembered
def solve(
    what: Annotated[
        str, typer.Argument(help="A session with one ?: 5 x (4 min at ?, 2 min easy), or ? min easy, or ? x (...).")
    ],
    leave: Annotated[float, typer.Option(help="Share of W′ left where it is lowest, as 0.2.")] = 0.2,
    date: Date = None,
    scale: Scale = None,
    effort: Efforts = None,
    mass: Mass = None,
    as_json: Json = False,
) -> None:
    """The power, the rest or the number of repeats at which a share of W′ is left."""
    with asked(effort) as library:
        found = library.solve_session(what, leave, date=day(date), scale=scale, efforts=tuple(effort or ()), mass=mass)
        pause = "" if effort or date else library.pause()
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out(found)
    return _previewed(found, imperial, pause)


@session.command()
def export(
    what: Annotated[
        str | None, typer.Argument(help="Words, a kept session's number or a name of the shelf; none for --ics of all.")
    ] = None,
    fit: Annotated[Path | None, typer.Option(help="FIT workout for the watch.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="PDF for paper.")] = None,
    yaml: Annotated[Path | None, typer.Option(help="YAML file.")] = None,
    ics: Annotated[Path | None, typer.Option(help="iCalendar with all kept sessions.")] = None,
    scale: Scale = None,
    effort: Efforts = None,
    mass: Mass = None,
) -> None:
    """Take a session along: FIT workout, PDF, YAML; or all kept ones as a calendar."""
    from footwork.maintenance import export
    from footwork.questions import sessions

    for path, ending in ((fit, ".fit"), (pdf, ".pdf"), (yaml, ".yaml"), (ics, ".ics")):
        if path is not None:
            export.check_out(path, ending)
    if not any((fit, pdf, yaml, ics)):
        raise UsageError("say what to write: --fit, --pdf, --yaml or --ics")
    if what is None and any((fit, pdf, yaml)):
        raise UsageError("say which session: its words, its number or a name of the shelf")
    stated: dict[str, Any] = {"efforts": tuple(effort or ()), "mass": mass}
    with asked(effort) as library:
        calendar = sessions.calendar(library) if ics is not None else b""
        if what is not None and any((fit, pdf, yaml)):
            words, name = sessions.worded(library, what)
            sessions.allowed(library)
            found = library.session(words, None, scale, **stated)
            if fit is not None:
                export.write_whole(fit, sessions.session_workout(library, words, name, scale=scale, **stated))
            if yaml is not None:
                export.write_whole(yaml, sessions.yaml_of({"name": name, "text": found["text"]}).encode())
            if pdf is not None:
                from footwork.reports import session_sheet

                export.write_whole(pdf, session_sheet(found, name, library.setting("units") == "imperial"))
        if ics is not None:
            export.write_whole(ics, calendar)
    for path in (fit, pdf, yaml, ics):
        if path is not None:
            say(f"Wrote {path}.")
    return None


@session.command()
@remembered
def match(
    run: Annotated[int, typer.Argument(help="Number of the run.")],
    session_: Annotated[
        str | None, typer.Option("--session", help="Words, number or shelf name; the one kept for that day by default.")
    ] = None,
    as_json: Json = False,
) -> None:
    """A run against a session: each step against its band, and one verdict."""
    from footwork.quantities import format_duration
    from footwork.questions import sessions

    with opened() as library:
        imperial = library.setting("units") == "imperial"
        if session_ is None:
            mine = [r for r in library.sessions() if run in r["runs"]]
            if not mine:
                raise UsageError(f"no session is kept for the day of run {run}: name one with --session")
            words = mine[0]["text"]
        else:
            words, _ = sessions.worded(library, session_)
        found = library.match_session(run, words)
    if as_json:
        return out(found)
    say(f"{found['verdict']} {found['next']}")
    say(f"Caution: {before_hard_work('session')}")
    for s in found["steps"]:
        if not s["found"]:
            if s["work"]:
                say(f"  {s['text']}: not run")
            continue
        if not s["work"]:
            continue
        was, band = sessions.against(s, imperial)
        share = f"{100 * s['in_band']:.0f} % in the band" if s["in_band"] is not None else ""
        fade = f", second half {round(-100 * s['fade_share']):+d} %" if s["fade_share"] is not None else ""
        rate = f", heart rate to {s['heart_rate_end_bpm']:.0f} bpm" if s["heart_rate_end_bpm"] is not None else ""
        rate += f", {s['heart_rate_drop_bpm']:.0f} less a minute after" if s["heart_rate_drop_bpm"] is not None else ""
        left = (
            f", W′ {s['w_prime_start_j'] / 1000:.1f} to {s['w_prime_end_j'] / 1000:.1f} kJ"
            if s["w_prime_end_j"] is not None and s["w_prime_start_j"] is not None
            else ""
        )
        say(
            f"  {format_duration(s['start_s']) if s['start_s'] else '0:00':>8}  {s['text']}: "
            f"{format_duration(s['end_s'] - s['start_s'])}{f' at {was}' if was else ''} against "
            f"{band}{', ' if share else ''}{share}{fade}{rate}{left}"
        )
    if found["rests"]:
        say(
            f"  Rests between: {format_duration(found['rests']['run_s'])} where "
            f"{format_duration(found['rests']['asked_s'])} were asked, on average."
        )
    for e in found["extra"]:
        say(
            (
                f"  {format_duration(e['start_s']) if e['start_s'] else '0:00':>8}  extra: "
                f"{format_duration(e['end_s'] - e['start_s'])}"
            )
            + (f" at {e['power']:.0f} W" if e["power"] is not None else "")
        )
    return None


@session.command()
@remembered
def compare(
    first: Annotated[int, typer.Argument(help="Number of the earlier run.")],
    second: Annotated[int, typer.Argument(help="Number of the later run.")],
    as_json: Json = False,
) -> None:
    """The same session weeks apart: pace and heart rate at the same watts, with intervals, and what else differed."""
    from footwork.quantities import Estimate, describe

    with opened() as library:
        found = library.compare_sessions(first, second)
    if as_json:
        return out(found)
    say(found["sentence"])
    for name, words in (
        ("power", "Power"),
        ("speed", "Speed"),
        ("speed_at_power", "Speed at the same watts"),
        ("heart_rate_at_power", "Heart rate at the same watts"),
    ):
        say(f"{words:<29} {describe(Estimate.from_json(found[name]), 1)}")
    if found["differed"]:
        say(f"Differed: {', '.join(found['differed'])}.")
    return None


@session.command()
@remembered
def shelf(
    name: Annotated[str | None, typer.Argument(help="Which; all by default.")] = None, as_json: Json = False
) -> None:
    """Classic sessions by purpose, and the usual tests with what each can and cannot tell."""
    from dataclasses import asdict

    from footwork.planning import shelf as shelves

    entries = [shelves.find(name)] if name else list(shelves.SHELF)
    if entries == [None]:
        raise UsageError(f"'{name}' is not on the shelf: footwork session shelf lists it")
    if as_json:
        return out([asdict(e) for e in entries if e])
    for e in entries:
        if e is not None:
            say(f"{e.name} ({e.purpose}): {e.text}")
            for line in (e.protocol, e.tells) if name else ():
                if line:
                    say(f"  {line}")
    try:
        with opened() as library:
            held = held_back(library.health())
            decides = physician_words(library.context(), dt.date.today())
    except FootworkError:  # the shelf needs no library
        held, decides = None, ""
    if decides:
        say(decides)
    say(f"Caution: {held or before_hard_work('session')}{way_out(held or '')}")
    return None
