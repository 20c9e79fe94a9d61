"""A coach's squad: several runners' libraries side by side."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from footwork.cli.common import Json, app, day, out, plural, progress, say
from footwork.errors import UsageError

if TYPE_CHECKING:
    from footwork.quantities import Estimate
    from footwork.results.squad import SquadLine


class _FoldersFirst(TyperGroup):
    """``squad DIR`` shows the lines; the other words are commands."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        if args and args[0] not in self.commands and args[0] not in ("-h", "--help"):
            args = ["show", *args]
        return super().parse_args(ctx, args)


squad = typer.Typer(
    cls=_FoldersFirst,
    help="Several runners: squad DIR… shows a line each, those who need the coach first; other words are below.",
    no_args_is_help=True,
)
app.add_typer(squad, name="squad")
Folders = Annotated[list[Path], typer.Argument(help="Folders that hold runners' libraries, or are ones.")]
Folder = Annotated[Path, typer.Argument(help="The folder that holds the runners' libraries.")]
AsOf = Annotated[str | None, typer.Option(help="As it was known on a day, YYYY-MM-DD; today by default.")]


@squad.command("show")
def squad_show(
    folders: Folders,
    group: Annotated[str, typer.Option(help="Only the runners of this group.")] = "",
    sort: Annotated[str, typer.Option(help="first, name, days, power, load or race.")] = "first",
    find: Annotated[str, typer.Option(help="Only lines that hold this text.")] = "",
    fresh: Annotated[bool, typer.Option("--fresh", help="Work every line out anew.")] = False,
    short: Annotated[bool, typer.Option("--short", help="One line a runner, in columns.")] = False,
    table: Annotated[Path | None, typer.Option(help="Write the lines as a table, .csv or .parquet.")] = None,
    date: AsOf = None,
    as_json: Json = False,
) -> None:
    """A line a runner: days since the last run, week, load, critical power, what changed, what waits."""
    from footwork.squad import Squad
    from footwork.wording.squad_words import short_words

    found = Squad.open(*folders).lines(day(date), group, sort, find, fresh=fresh, progress=progress("working out"))
    if table is not None:
        _write_table(table, found.athletes)
        if not as_json:
            say(f"Wrote {table}.")
    if as_json:
        return out(found)
    say(found.sentence)
    if short:
        return _say_columns(
            ["", "look first because of", "last run", "CP-minutes this week; seven days", "CP, W"],
            map(short_words, found.athletes),
        )
    for line in found.athletes:
        _say_line(line)
    return None


def _say_columns(heads: list[str], rows: Iterable[list[str]]) -> None:
    """Rows in columns as wide as they need."""
    told = [heads, *rows]
    widths = [max(len(row[k]) for row in told) for k in range(len(heads))]
    for row in told:
        say("  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip())


@squad.command("week")
def squad_week(
    folders: Folders,
    group: Annotated[str, typer.Option(help="Only the runners of this group.")] = "",
    date: AsOf = None,
    as_json: Json = False,
) -> None:
    """The week of all: what each was asked and what became of it, a column a day."""
    from footwork.squad import Squad
    from footwork.wording.squad_words import week_words, who_words

    found = Squad.open(*folders).lines(day(date), group, "name", progress=progress("working out"))
    if as_json:
        return out(found)
    on = dt.date.fromisoformat(found.asked_on)
    monday = on - dt.timedelta(days=on.weekday())
    days = [f"{d:%a %d}{', today' if d == on else ''}" for d in (monday + dt.timedelta(days=k) for k in range(7))]
    _say_columns(["", *days], ([who_words(n), *week_words(n, monday)] for n in found.athletes if not n.problem))
    return say("A session to come is only named; 'run otherwise' had none of its work in it.")


@squad.command("report")
def squad_report(
    folder: Folder,
    to: Annotated[Path, typer.Option(help="A folder for the reports, a file a runner.")],
    group: Annotated[str, typer.Option(help="Only the runners of this group.")] = "",
    athlete: Annotated[list[str] | None, typer.Option(help="This runner too; may be repeated.")] = None,
    over: Annotated[str, typer.Option(help="week, block or season.")] = "week",
    form: Annotated[str, typer.Option(help="pdf, html, or text to be changed before it is sent.")] = "pdf",
    date: AsOf = None,
    as_json: Json = False,
) -> None:
    """Reports to several runners at once, a file each; of the diary they tell what is shared."""
    from footwork.maintenance import export
    from footwork.reports import letter
    from footwork.squad import Squad

    made = Squad.open(folder)
    if over not in letter.SPANS or form not in letter.FORMS:
        raise UsageError(f"a report is over {', '.join(letter.SPANS)}, as {', '.join(letter.FORMS)}")
    names = made.chosen(group, athlete or ())
    to.mkdir(parents=True, exist_ok=True)
    written, failed = [], []
    for name, file, content, wrong in letter.of_many(made, names, over, day(date), form):
        if wrong:
            failed.append({"athlete": name, "reason": wrong})
            continue
        export.write_whole(to / file, content)
        written.append(file)
    if as_json:
        out({"written": written, "failed": failed})
    else:
        say(f"Wrote {plural(len(written), 'report')} to {to}.")
        for row in failed:
            say(f"footwork: no report for {row['athlete']}: {row['reason']}", err=True)
    if failed:
        raise typer.Exit(3)


def _write_table(path: Path, lines: list[SquadLine]) -> None:
    from footwork.maintenance import export
    from footwork.squad import frame

    export.check_out(path, *export.ENDINGS)
    made = frame(lines)
    export.write_whole(path, export.csv_of(made) if path.suffix.lower() == ".csv" else made.write_parquet)


def _say_line(line: SquadLine) -> None:
    from footwork.quantities import format_duration
    from footwork.wording.season_words import day_name

    why = "; ".join(line.first)
    say(f"{line.athlete}{'  ' if why else ''}{why}")
    if line.problem:
        return say(f"    {line.problem}")
    days = "no run yet" if line.days_since is None else f"last run {line.days_since} d ago"
    week = f"week {_of(line.run)}" + (f" of {line.asked:.0f} CP-minutes asked" if line.asked else " CP-minutes")
    usual = "" if line.usual is None else f" (half of weeks {line.usual.low:.0f} to {line.usual.high:.0f})"
    done = f", {line.sessions}" if line.sessions else ""
    say(f"    {days}; {week}{done}; seven days {_of(line.seven_days)}, {line.against_usual}{usual}")
    power = line.critical_power
    if power is None or power.value is None:
        say(f"    CP not known: {power.reason if power is not None else 'no runs'}")
    else:
        old = f", the last {line.evidence_days} d ago" if line.evidence_days is not None else ""
        say(f"    CP {power.value:.0f} W, {power.low:.0f} to {power.high:.0f}, {line.scale}: {line.evidence}{old}")
    say(f"    {line.progress}")
    for text in (*line.changed, line.signs, line.health if line.shared else ""):
        if text:
            say(f"    {text}")
    if line.next is not None:
        say(f"    Next key session: {day_name(line.next['date'])} {line.next['name']}")
    if line.race is not None:
        say(f"    {line.race['name']} in {line.race['days']} d")
    for waits in line.waits:
        say(f"    Waits: {waits['what']}: {waits['why']}")
    for run in line.lately:
        watts = f", {run['power_w']:.0f} W" if run["power_w"] is not None else ""
        took = format_duration(run["duration_s"])
        say(f"    {day_name(run['date'])}: {run['title']}, {took}{watts} (run {run['run']})")
    for words in line.said:
        say(f"    Says on {words['about']} {words['of']}: {words['text']}")
    made = dt.datetime.fromisoformat(line.made_at).astimezone()
    return say(f"    as of {made:%d %b %H:%M}" + ("" if line.shared else ", the diary is not shared"))


def _of(found: Estimate | None) -> str:
    if found is None or found.value is None:
        return "load not known"
    return f"{found.value:.0f}, {found.low:.0f} to {found.high:.0f}" if found.value else "0"


@squad.command("group")
def squad_group(
    folder: Folder,
    name: Annotated[str, typer.Argument(help="Name of the group; without one all groups are listed.")] = "",
    athletes: Annotated[list[str] | None, typer.Argument(help="Who is put into it.")] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Take them out of it instead.")] = False,
    as_json: Json = False,
) -> None:
    """Put runners into a group, take them out, or list the groups."""
    from footwork.squad import Squad

    made = Squad.open(folder)
    name = " ".join(name.split())
    groups = made.put_in_group(name, athletes, remove) if athletes else made.groups()
    if name:
        groups = {g: ns for g, ns in groups.items() if g == name}
    if as_json:
        return out(groups)
    for group, names in groups.items():
        say(f"{group}: {', '.join(names) or 'nobody'}")
    if not groups:
        say("No group." if not name else f"Nobody is in {name}.")
    return None


@squad.command("refresh")
def squad_refresh(
    folder: Folder,
    table: Annotated[Path | None, typer.Option(help="Write the numbers of all as one table, .parquet or .csv.")] = None,
    workers: Annotated[
        int | None, typer.Option(help="Processes; as many as this machine has cores by default.")
    ] = None,
    scheduler: Annotated[
        str, typer.Option(help="Address of a Dask scheduler over the same folders, as tcp://host:8786.")
    ] = "",
    fresh: Annotated[bool, typer.Option("--fresh", help="Work every row out anew.")] = False,
    date: AsOf = None,
    as_json: Json = False,
) -> None:
    """Numbers of every library in one table, for questions over many; on this machine or on a cluster."""
    from footwork.errors import UsageError
    from footwork.maintenance import export
    from footwork.squad import Squad
    from footwork.squad.federation import refresh

    if workers is not None and not 1 <= workers <= 256:
        raise UsageError(f"{workers} processes cannot be: give 1 to 256")
    if table is not None:
        export.check_out(table, *export.ENDINGS)
    found = refresh(
        Squad.open(folder),
        date=day(date),
        workers=workers,
        scheduler=scheduler,
        fresh=fresh,
        progress=progress("refreshing"),
    )
    if table is not None and found.rows:
        found.write(table)
    if as_json:
        return out({"rows": found.rows, "failed": found.failed, "lost": found.lost, "read": found.read})
    say(f"{len(found.rows)} of {len(found.rows) + len(found.failed)} libraries, {found.read} unchanged.")
    for name, why in found.failed.items():
        say(f"{name}: {why}", err=True)
    for worker in found.lost:
        say(f"A worker was lost and its libraries done elsewhere: {worker}.", err=True)
    if table is not None and found.rows:
        say(f"Wrote {table}.")
    return None


@squad.command("priors")
def squad_priors(
    folder: Folder,
    on: Annotated[bool, typer.Option("--on", help="Use them in every library of the squad.")] = False,
    off: Annotated[bool, typer.Option("--off", help="Use the literature's again.")] = False,
    date: AsOf = None,
    as_json: Json = False,
) -> None:
    """What twenty tested runners or more tell of W′ over critical power and of the tail, shrunk to the literature."""
    from footwork.errors import UsageError
    from footwork.physiology.population import LEAST
    from footwork.squad import Squad
    from footwork.squad.federation import priors, use_priors
    from footwork.wording.squad_words import prior_words

    if on and off:
        raise UsageError("say --on or --off, not both")
    made = Squad.open(folder)
    found = {} if off else priors(made, day(date))
    if on and not any(found.values()):
        raise UsageError(f"nothing is learned yet: it takes {LEAST} runners whose tests tell something")
    changed = use_priors(made, found) if on or off else 0
    if as_json:
        return out({"priors": {k: None if p is None else vars(p) for k, p in found.items()}, "changed": changed})
    for name, prior in found.items():
        say(prior_words(name, prior, LEAST))
    if on or off:
        return say(f"{'Used' if on else 'No longer used'} in {changed} libraries.")
    return say("The literature's are used; --on uses these.") if any(found.values()) else None


@squad.command("erase")
def squad_erase(
    folder: Folder,
    athlete: Annotated[str, typer.Argument(help="Whose library is removed for ever.")],
    yes: Annotated[bool, typer.Option("--yes", help="Without asking.")] = False,
    as_json: Json = False,
) -> None:
    """Remove a runner's library with everything in it, and from every group; it cannot be undone."""
    from footwork.squad import Squad

    made = Squad.open(folder)
    place = made.folder_of(athlete)
    if not yes:
        if as_json:
            raise UsageError("erasing asks first: add --yes to answer it beforehand")
        typer.confirm(f"Remove {place} with all recordings and everything told, for ever?", abort=True, err=True)
    made.erase(athlete)
    if as_json:
        return out({"erased": athlete})
    say(f"Erased: {athlete}, with everything in {place}, and from every group.")
    return say(
        "What was written elsewhere may still hold it: backups, exports, hand-over files, tables of the squad, "
        "reports, calendars and paper. Remove those too, and empty the bins that your system keeps."
    )


Day = Annotated[str | None, typer.Option("--date", help="Its day, YYYY-MM-DD; today by default.")]


@squad.command("side")
def squad_side(
    folder: Folder,
    athletes: Annotated[list[str], typer.Argument(help="Two runners or more.")],
    date: AsOf = None,
    as_json: Json = False,
) -> None:
    """Runners side by side in shares of their own critical power, speed, changes and load, each with its interval."""
    from footwork.squad import Squad
    from footwork.wording.squad_words import figure_words

    found = Squad.open(folder).side_by_side(athletes, day(date))
    if as_json:
        return out(found)
    names = {row.key: f"{row.name}, {row.unit}" for row in found.rows}
    width = max(map(len, names.values()))
    say(f"{'':<{width}}  {'  '.join(f'{a:<20}' for a in found.athletes)}".rstrip())
    for row in found.rows:
        told = [figure_words(e) for e in row.estimates]
        say(f"{names[row.key]:<{width}}  {'  '.join(f'{t:<20}' for t in told) or f'refused: {row.refused}'}".rstrip())
    for row in found.rows:
        for athlete, estimate in zip(found.athletes, row.estimates, strict=False):
            if estimate.value is None:
                say(f"{athlete}, {row.name}: {estimate.reason}.")
    say("Watts of one kind of device hold what two such devices differ by: they are wider here than each alone.")
    scales = [f"{a}: {s or 'no watts'}" for a, s in zip(found.athletes, found.scales, strict=True)]
    return say(f"Watts of {', '.join(scales)}.")


@squad.command("prescribe")
def squad_prescribe(
    folder: Folder,
    sessions: Annotated[
        list[str], typer.Argument(help="Sessions in words, each with a day before it if wanted: 'tue 5 x (...)'.")
    ],
    group: Annotated[str, typer.Option(help="Only the runners of this group.")] = "",
    to: Annotated[list[str] | None, typer.Option(help="Only this runner; may be repeated.")] = None,
    date: Day = None,
    keep: Annotated[bool, typer.Option("--keep", help="Keep it in their libraries.")] = False,
    fit: Annotated[Path | None, typer.Option(help="A folder for one FIT workout a runner and session.")] = None,
    ics: Annotated[Path | None, typer.Option(help="One calendar of all.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="All on paper.")] = None,
    as_json: Json = False,
) -> None:
    """One session or several for many: each in their own watts, with their own chance to finish it."""
    from footwork.maintenance import export
    from footwork.reports import group_sheet
    from footwork.squad import Squad, calendar_of
    from footwork.wording.squad_words import prescribed_words

    made = Squad.open(folder)
    found = made.prescribe(sessions, made.chosen(group, to or ()), day(date), keep)
    if as_json:
        out(found)
    else:
        for row in found:
            say(prescribed_words(row) + (" Not kept." if keep and not row.kept else ""))
    files = made.workouts(found) if fit is not None else {}
    if fit is not None:
        fit.mkdir(parents=True, exist_ok=True)
        for name, content in files:
            export.write_whole(fit / name, content)
    if ics is not None:
        export.write_whole(ics, calendar_of(found))
    if pdf is not None:
        export.write_whole(pdf, group_sheet(found))
    if not as_json:
        for path in (fit, ics, pdf):
            if path is not None and path == fit and not files:
                say(f"Nothing is in {path}: no session could be told in anyone's watts.")
            elif path is not None:
                say(f"Wrote {path}.")
