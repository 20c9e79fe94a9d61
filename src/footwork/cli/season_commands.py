"""What was done and what comes: load, the season, and its weeks."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from footwork.cli.common import Json, app, day, opened, out, remembered, say
from footwork.errors import UsageError

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.results.planned_season import SeasonPlan

ACTIVITIES_SHOWN = 10
MOST_WEEKS = 80


@app.command()
@remembered
def load(
    by: Annotated[str, typer.Option(help="day, week or month.")] = "week",
    since: Annotated[str | None, typer.Option(help="First day, YYYY-MM-DD; as many as are usual by default.")] = None,
    until: Annotated[str | None, typer.Option(help="Last day; today by default.")] = None,
    as_json: Json = False,
) -> None:
    """Load of every activity, running and all sports, with its interval and how it is known."""
    from footwork.quantities import format_distance, format_duration
    from footwork.wording.load_words import BY, how_known, span_name

    with opened() as library:
        found = library.load_by(by.strip().lower(), day(since), day(until))
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out(found)
    say(found.sentence)
    for span in found.spans[::-1]:
        name = span_name(dt.date.fromisoformat(span.first), found.by)
        parts = [_load(span.running, span.runs)]
        if span.activities > span.runs:
            parts.append(f"all sports {_load(span.all_sport, span.activities)}")
        if span.runs:
            parts.append(format_duration(span.duration_s))
            parts.append(format_distance(span.distance_m, imperial))
            parts.append(f"{span.climb_m:.0f} m up, {span.descent_m:.0f} m down")
        say(f"{name:>8}  {'  '.join(parts)}  {how_known(span.to_json())}")
    usual = found.usual_week
    if usual is not None:
        say(
            f"Usual week  {usual.cp_minutes:.0f} CP-minutes of running, half of {usual.weeks} weeks {usual.low:.0f} to "
            f"{usual.high:.0f}; {usual.all_sport:.0f} with all sports."
        )
    for activity in found.activities[:ACTIVITIES_SHOWN]:
        what = f"run {activity.run}" if activity.run is not None else activity.sport
        others = ", ".join(f"{v:.0f} {BY[w]}" for w, v in activity.ways.items() if w != activity.way)
        told = "; ".join([BY.get(activity.way, "not known"), *activity.notes])
        say(
            f"{activity.date}  {what:<10} {format_duration(activity.duration_s):>8}  {_load(activity.load, 1)}  {told}"
            + (f" (else {others})" if others else "")
        )
    for way, of in found.calibrations.items():
        days = f"{of['days']:.0f} days" if of["days"] >= 5 else f"{of['days']:.0f} days, too few: taken as it is"
        say(f"{BY[way].capitalize()}: counted times {of['factor']:.2f}, {of['low']:.2f}–{of['high']:.2f} ({days})")
    return None


def _load(load: Any, count: int) -> str:
    if not count:
        return "no run"
    return "load not known" if load.value is None else f"{load.value:.0f} CP-minutes, {load.low:.0f}–{load.high:.0f}"


season = typer.Typer(
    help="A season backwards from a race: new, show, accept, solve, export, save, from.", no_args_is_help=True
)
app.add_typer(season, name="season")
AsOf = Annotated[str | None, typer.Option(help="As if it were this day, YYYY-MM-DD; today by default.")]
RaceDay = Annotated[str | None, typer.Option("--race", help="Day of the race, YYYY-MM-DD.")]
Distance = Annotated[str | None, typer.Option(help="5km, 10mi, half, marathon; a half marathon without it.")]
CourseFile = Annotated[Path | None, typer.Option(help="The race's course as GPX or FIT: its length and climb.")]
Hours = Annotated[
    str | None,
    typer.Option(help="Hours a week at most, as 6 or 5:30:00; those of kept rides and swims are among them."),
]
Days = Annotated[str | None, typer.Option(help="Free days, as tue,thu,sat,sun; all by default.")]
Long = Annotated[str | None, typer.Option("--long", help="Day liked best for the long run.")]
Runs = Annotated[str | None, typer.Option(help="Runs a week; as many as are usual by default.")]
Hard = Annotated[str | None, typer.Option(help="Hard sessions a week, 0 to 3.")]
Easier = Annotated[str | None, typer.Option(help="Every which week is an easier one: 3, 4, 5 or none.")]
Keep = Annotated[
    list[str] | None,
    typer.Option(help="A session kept to a weekday, as 'tue 60 min easy', 'sat ride 3 h hard'; may be repeated."),
]
Also = Annotated[list[str] | None, typer.Option(help="Another race, as '2027-01-17 10km B'; may be repeated.")]
Away = Annotated[
    list[str] | None, typer.Option(help="Days without running, as 2026-12-24..2027-01-01; may be repeated.")
]
NoTests = Annotated[bool, typer.Option("--no-tests", help="Propose no tests.")]
Shelf = Annotated[Path | None, typer.Option(help="Sessions of your own, as YAML.")]
Usual = Annotated[str | None, typer.Option(help="Hours of running in a usual week, where recordings do not tell.")]


@season.command("new")
def season_new(
    race: RaceDay = None,
    distance: Distance = None,
    course: CourseFile = None,
    hours: Hours = None,
    days: Days = None,
    long_day: Long = None,
    runs: Runs = None,
    hard: Hard = None,
    easier: Easier = None,
    keep: Keep = None,
    also: Also = None,
    away: Away = None,
    no_tests: NoTests = False,
    shelf: Shelf = None,
    usual: Usual = None,
    name: Annotated[str | None, typer.Option(help="Name of the race.")] = None,
    date: AsOf = None,
    as_json: Json = False,
) -> None:
    """Lay out a season and keep it as a proposal."""
    told = _wishes(locals())
    with opened() as library:
        _show_season(library, library.new_season(day(date), **told), as_json)


@season.command("from")
def season_from(
    file: Annotated[Path, typer.Argument(help="A template that 'season save' wrote.")],
    race: RaceDay = None,
    distance: Distance = None,
    course: CourseFile = None,
    hours: Hours = None,
    days: Days = None,
    keep: Keep = None,
    also: Also = None,
    away: Away = None,
    date: AsOf = None,
    as_json: Json = False,
) -> None:
    """Lay out a season from a template; what is given beside wins."""
    told = _wishes(locals())
    with opened() as library:
        _show_season(library, library.season_from(file, day(date), **told), as_json)


def _wishes(given: dict[str, Any]) -> dict[str, Any]:
    told = {k: v for k, v in given.items() if k not in ("date", "as_json", "file", "no_tests", "long_day", "shelf")}
    told["long"] = given.get("long_day")
    if given.get("days") is not None and not given["days"].strip():
        raise UsageError("no day is free: name at least one, as --days tue,thu,sat,sun")
    if given.get("no_tests"):
        told["tests"] = False
    if given.get("shelf"):
        from footwork.questions.season import from_yaml

        told["shelf"] = from_yaml(given["shelf"]).get("shelf")
    return {k: v for k, v in told.items() if v is not None}


@season.command("show")
def season_show(date: AsOf = None, as_json: Json = False) -> None:
    """The season week by week, as it is proposed or as it was accepted and run."""
    with opened() as library:
        _show_season(library, library.season(day(date)), as_json)


@season.command("accept")
def season_accept(
    changes: Annotated[list[int] | None, typer.Argument(help="Numbers of changes; all by default.")] = None,
    date: AsOf = None,
    as_json: Json = False,
) -> None:
    """Accept the proposed season, or changes that 'season solve' proposes."""
    with opened() as library:
        if not changes and library.season(day(date)).state == "proposed":
            return _show_season(library, library.accept_season(day(date)), as_json)
        before = library.season_changes(day(date))
        left = library.accept_changes(changes or (), day(date))
    if as_json:
        return out(left)
    for change in before.changes:
        if not changes or change.id in changes:
            say(f"Accepted: {change.sentence}")
    return say(left.sentence)


@season.command("solve")
@remembered
def season_solve(date: AsOf = None, as_json: Json = False) -> None:
    """What would change by what was run, missed and told in the diary; nothing is changed until it is accepted."""
    with opened() as library:
        found = library.season_changes(day(date))
    if as_json:
        return out(found)
    say(found.sentence)
    for change in found.changes:
        say(f"{change.id:>3}  {change.sentence}")
    if found.changes:
        say("footwork season accept takes all of them, footwork season accept 1 3 some.")
        for caution in found.cautions:
            say(caution)
    return None


@season.command("save")
def season_save(file: Annotated[Path, typer.Argument(help="YAML file to write.")]) -> None:
    """Keep the newest season's wishes as a template of your own."""
    from footwork.maintenance import export

    with opened() as library:
        text = library.season_template()
    export.write_whole(file, text.encode())
    say(f"Wrote {file}: footwork season from {file} --race DAY makes a season of it.")


@season.command("export")
def season_export(
    pdf: Annotated[Path | None, typer.Option(help="The season on paper.")] = None,
    ics: Annotated[
        Path | None, typer.Option(help="Its sessions and races as iCalendar; a changed plan updates them.")
    ] = None,
    fit: Annotated[Path | None, typer.Option(help="A folder for one FIT workout a session.")] = None,
    weeks: Annotated[int | None, typer.Option(help="Only so many weeks from today; 4 for FIT by default.")] = None,
    date: AsOf = None,
) -> None:
    """Take the season along: PDF, calendar, workouts for the watch."""
    from footwork.maintenance import export
    from footwork.questions import season as seasons
    from footwork.reports import season_sheet

    if pdf is None and ics is None and fit is None:
        raise UsageError("say what to write: --pdf, --ics or --fit")
    if weeks is not None and not 1 <= weeks <= MOST_WEEKS:
        raise UsageError(f"{weeks} weeks cannot be taken along: give 1 to {MOST_WEEKS}")
    with opened() as library:
        files = seasons.season_workouts(library, weeks or 4, day(date)) if fit is not None else []
        if pdf is not None:
            export.write_whole(pdf, season_sheet(library.season(day(date)), weeks))
            say(f"Wrote {pdf}.")
        if ics is not None:
            export.write_whole(ics, seasons.season_calendar(library))
            say(f"Wrote {ics}.")
        if fit is not None:
            fit.mkdir(parents=True, exist_ok=True)
            for name, content in files:
                export.write_whole(fit / name, content)
            say(f"Wrote {len(files)} workouts to {fit}.")
            if pause := library.pause():
                say(f"Note: {pause}")


@app.command()
@remembered
def week(
    date: Annotated[str | None, typer.Option(help="Any day of the week; today by default.")] = None,
    as_json: Json = False,
) -> None:
    """A week: asked, run, moved, missed, extra; load and hard time asked against run; what comes next."""
    from footwork.quantities import format_duration
    from footwork.wording.season_words import day_name

    with opened() as library:
        found = library.week(day(date))
    if as_json:
        return out(found)
    say(found.sentence)
    if found.health:
        say(found.health)
    for row in found.rows:
        ran = f"  run {row.run}" if row.run else ""
        moved = f" on {day_name(row.run_date)}" if row.state == "moved" and row.run_date else ""
        loads = f"  {_load(row.load, 1)}" if row.load is not None else ""
        asked = f"  asked {row.cp_minutes:.0f}" if row.cp_minutes is not None else ""
        say(f"{day_name(row.date):<10} {row.state + moved:<8} {row.name}{ran}{loads}{asked}")
        if row.verdict:
            say(f"           {row.verdict}")
    if found.asked:
        say(
            f"Harder than easy {format_duration(found.hard_run_s)} of {format_duration(found.hard_asked_s)} asked, "
            f"longest run {format_duration(found.longest_run_s)} of {format_duration(found.longest_asked_s)}."
        )
    return None


@app.command()
def report(
    over_week: Annotated[bool, typer.Option("--week", help="On the week of the day; so by default.")] = False,
    over_block: Annotated[bool, typer.Option("--block", help="On the four weeks up to it.")] = False,
    over_season: Annotated[bool, typer.Option("--season", help="On the season up to it.")] = False,
    date: AsOf = None,
    pdf: Annotated[Path | None, typer.Option(help="Write it on paper.")] = None,
    html: Annotated[Path | None, typer.Option(help="Write it as one page for a browser or a letter.")] = None,
    text: Annotated[Path | None, typer.Option(help="Write it as Markdown, to be changed before it is sent.")] = None,
    source: Annotated[
        Path | None, typer.Option("--from", help="Set Markdown that was changed, with this report's pictures.")
    ] = None,
    as_json: Json = False,
) -> None:
    """A report to the runner: asked and run, what went well, what changed, checks, numbers, what comes, a question."""
    from footwork.charts.report_pictures import pictures
    from footwork.maintenance import export
    from footwork.reports import letter
    from footwork.wording.report_words import as_markdown

    kinds = [k for k, on in (("week", over_week), ("block", over_block), ("season", over_season)) if on] or ["week"]
    if len(kinds) > 1:
        raise UsageError("a report is on one of --week, --block and --season")
    for path, endings in ((pdf, (".pdf",)), (html, (".html", ".htm")), (text, (".md", ".txt"))):
        if path is not None:
            export.check_out(path, *endings)
    with opened() as library, library.seen_by_coach() as seen:  # what is passed on tells only what is shared
        found = seen.report(kinds[0], day(date))
    words = as_markdown(found) if source is None else letter.read(source)
    made = pictures(found)
    if text is not None:
        export.write_whole(text, words.encode())
    if html is not None:
        export.write_whole(html, letter.as_html(words, made).encode())
    if pdf is not None:
        export.write_whole(pdf, letter.on_paper(words, made, [p.title for p in found.parts if p.sheet]))
    if as_json:
        return out(found)
    written = [p for p in (pdf, html, text) if p is not None]
    for path in written:
        say(f"Wrote {path}.")
    return None if written else say(words.rstrip())


@app.command()
@remembered
def response(date: AsOf = None, as_json: Json = False) -> None:
    """Whether your tests tell how critical power follows load; withheld unless they foresee each other better by it."""
    with opened() as library:
        found = library.response(day(date))
    if as_json:
        return out(found)
    say(found.sentence)
    return say(found.would_tell)


@app.command()
@remembered
def signs(date: AsOf = None, as_json: Json = False) -> None:
    """Whether the last days together ask you to check how you are; and runs much longer than those of 30 days."""
    from footwork.wording.sign_words import value_words

    with opened() as library:
        found = library.signs(day(date))
    if as_json:
        return out(found)
    say(found.sentence)
    if found.instead:
        say(found.instead)
    for pattern in found.patterns:
        say(pattern.sentence if pattern.state != "check" else f"{pattern.pattern.capitalize()}: check.")
        for c in pattern.channels:
            if c.recent is not None and c.usual is not None:
                off = f", {c.apart:+.1f} of your own spreads" if c.apart is not None else ""
                say(f"    {c.name}: {value_words(c.recent, c.unit)}, usually {value_words(c.usual, c.unit)}{off}")
    return None


def _show_season(library: Library, found: SeasonPlan, as_json: bool) -> None:
    from footwork.quantities import format_duration
    from footwork.wording.season_words import NOTHING_SAFE, PHASES, day_name, race_words

    if as_json:
        return out(found)
    for text in (*found.said, found.sentence):
        say(text)
    say(race_words(found.race, library.setting("units") == "imperial"))
    usual = found.usual
    say(
        f"Continues from {usual['cp_minutes']:.0f} CP-minutes and {format_duration(usual['duration_s'])} in "
        f"{usual['runs']:.0f} runs a week, the longest {format_duration(usual['longest_s'])}."
    )
    for week in found.weeks:
        ran = f", run {_load(week.run, 1)}" if week.run is not None else ""
        say(
            f"Week of {day_name(week.monday)}: {PHASES[week.phase]}, {week.asked:.0f} CP-minutes asked{ran}, longest "
            f"{format_duration(week.longest_s)}. {week.reason[:1].upper()}{week.reason[1:]}."
        )
        for s in week.sessions:
            words = s.name if s.name == s.text else f"{s.name}: {s.text}"
            say(f"    {day_name(s.date):<10} {words}" + (f"  ({s.number})" if s.number else ""))
        for text in week.gave_way:
            say(f"    Not to be had: {text}.")
    for text in (*found.cautions, NOTHING_SAFE):
        say(text)
    if found.state == "proposed":
        say(
            f"footwork season accept keeps its sessions; footwork edit undo {found.number} drops this proposal, and "
            "footwork season new makes another."
        )
    return None
