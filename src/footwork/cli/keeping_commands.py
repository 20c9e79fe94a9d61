"""Corrections, and keeping the library safe."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from footwork.cli.common import Json, app, folder, not_withheld, opened, out, plural, progress, say, without_damaged
from footwork.errors import UsageError

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.maintenance.handover import Received

Run = Annotated[int, typer.Argument(help="Number of the run.")]
From = Annotated[str | None, typer.Option("--from", help="Elapsed time it begins at, as 12:30; by default the start.")]
To = Annotated[str | None, typer.Option("--to", help="Elapsed time it ends at; by default the end.")]
Passphrase = Annotated[
    Path | None,
    typer.Option("--passphrase-file", help="A file whose first line is the passphrase; asked for by default."),
]
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
        if library.for_coach:  # where they are is the runner's
            found = [{"name": p["name"]} for p in found]
    if as_json:
        return out(found)
    if not found:
        say("No private places: exports hold all positions.")
    for p in found:
        around = f": {p['radius_m']:.0f} m around {p['latitude']:.4f}, {p['longitude']:.4f}" if "radius_m" in p else ""
        say(p["name"] + around)
    return None


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="The file to write; it must not be there yet.")],
    encrypt: Annotated[
        bool, typer.Option("--encrypt", help="Unreadable without a passphrase, in the age format.")
    ] = False,
    passphrase_file: Passphrase = None,
    as_json: Json = False,
) -> None:
    """Write the whole library into one file and verify it."""
    if passphrase_file is not None and not encrypt:
        raise UsageError("a passphrase goes with --encrypt")
    with opened() as library:
        not_withheld(library, "backup")
        made = library.backup(file, passphrase_of(passphrase_file, confirm=True) if encrypt else None)
    if as_json:
        out(made)
    else:
        say(
            f"Backed up {plural(made['originals'], 'original')} and everything you said to {file} "
            f"({made['bytes'] / 1e6:.1f} MB{', encrypted' if encrypt else ''}), read back and compared."
        )
    without_damaged(made["damaged"])


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(help="The backup.")],
    into: Annotated[Path | None, typer.Option(help="The new folder; by default the library's (--library DIR).")] = None,
    passphrase_file: Passphrase = None,
    as_json: Json = False,
) -> None:
    """Make a library from a backup, in a new folder."""
    from footwork.api import Library
    from footwork.maintenance import backup as backups

    target = into or folder()
    words = passphrase_of(passphrase_file, confirm=False) if backups.is_encrypted(file) else None
    made = backups.restore(file, target, words)
    with Library.open(target, create=False) as library:
        count = len(library.runs())
    if as_json:
        out({"library": str(target), "runs": count, "damaged": made["damaged"]})
    else:
        say(f"Restored {plural(count, 'run')} into {target}.")
    without_damaged(made["damaged"])


def passphrase_of(file: Path | None, confirm: bool) -> str:
    """A passphrase from a file or asked for, never from the command line, where others could read it."""
    if file is not None:
        if not file.is_file():
            raise UsageError(f"there is no file {file}")
        try:
            return (file.read_text(encoding="utf-8").splitlines() or [""])[0]
        except UnicodeDecodeError:
            raise UsageError(f"{file.name} is no text: its first line is the passphrase") from None
    if not sys.stdin.isatty():
        raise UsageError("a passphrase is asked for on a terminal: name a file with --passphrase-file")
    return str(typer.prompt("Passphrase", hide_input=True, confirmation_prompt=confirm, err=True))


@app.command()
def handover(
    file: Annotated[Path, typer.Argument(help="A new file, as for-ben.age.")],
    plan: Annotated[bool, typer.Option("--plan", help="Sessions, season, comments and trials.")] = False,
    report: Annotated[bool, typer.Option("--report", help="The report on this week.")] = False,
    zones: Annotated[bool, typer.Option("--zones", help="The numbers, on paper and as JSON.")] = False,
    whole: Annotated[bool, typer.Option("--whole", help="The whole library, for another coach or machine.")] = False,
    with_diary: Annotated[bool, typer.Option("--with-diary", help="With the diary; without it by default.")] = False,
    with_location: Annotated[
        bool, typer.Option("--with-location", help="With --whole: positions near your private places too.")
    ] = False,
    passphrase_file: Passphrase = None,
    as_json: Json = False,
) -> None:
    """One encrypted file of what you choose, for the other side: by mail, shared folder or stick."""
    from footwork.maintenance import handover as hand
    from footwork.reports import letter

    if with_diary and not whole:
        raise UsageError("--with-diary goes with --whole: a plan, a report and zones hold none of it")
    if with_location and not whole:
        raise UsageError("--with-location goes with --whole: a plan, a report and zones hold no positions")
    with opened() as library:
        papers = letter.papers(library, report, zones)
        passphrase = passphrase_of(passphrase_file, True)
        made = hand.hand_over(library, file, passphrase, papers, plan, whole, with_diary, with_location)
    if as_json:
        out(made)
    else:
        say(f"Wrote {file}: {', '.join(made['holds'])}; {made['bytes'] / 1024:.0f} KB, encrypted in the age format.")
        say("Give the passphrase by another way than the file. Without it nothing in it can be read, by nobody.")
    without_damaged(made["damaged"])


@app.command()
def receive(
    file: Annotated[Path, typer.Argument(help="What 'handover' wrote.")],
    apply: Annotated[bool, typer.Option("--apply", help="Take it; without this it is only shown.")] = False,
    theirs: Annotated[
        bool, typer.Option("--theirs", help="Where both sides said something else, the other side's word counts.")
    ] = False,
    papers: Annotated[Path | None, typer.Option(help="A folder for the report and zones in it.")] = None,
    passphrase_file: Passphrase = None,
    as_json: Json = False,
) -> None:
    """Show what a handed-over file would change, entry by entry, and with --apply take it; conflicts are named."""
    from footwork.maintenance import export
    from footwork.maintenance import handover as hand

    passphrase = passphrase_of(passphrase_file, False)
    if not (folder() / "library.sqlite").exists():
        found = hand.receive_into(file, passphrase, folder()) if apply else hand.receive(file, passphrase, None)
    else:
        with opened() as library:
            found = hand.receive(file, passphrase, library, apply, theirs)
    if papers is not None:
        papers.mkdir(parents=True, exist_ok=True)
        for name, content in found.papers.items():
            export.write_whole(papers / Path(name).name, content)
    if as_json:
        told = {k: v for k, v in vars(found).items() if k not in ("papers", "united")}
        return out({**told, "papers": sorted(found.papers), **vars(found.united)})
    return _say_received(found, theirs)


def _say_received(found: Received, theirs: bool) -> None:
    say(f"Made at {found.made_at}; it holds {', '.join(found.holds)}.")
    if found.fresh:
        done = f"The library is in {folder()} now." if found.taken else f"--apply makes a library of it in {folder()}."
        return say(done)
    if found.recordings:
        say(f"{plural(found.recordings, 'recording')} {'came' if found.taken else 'would come'} in.")
    for lead, rows in (
        ("new", found.united.new),
        ("taken back", found.united.undone),
        ("conflict", found.united.conflicts),
        ("left out, what it is about is not here", found.united.without_run),
        ("could not be read", found.unread),
    ):
        for row in rows:
            say(f"  {lead}: {row}")
    if found.united.conflicts:
        took = theirs and found.taken
        say(
            "In conflicts the other side's word was taken."
            if took
            else "In conflicts what is here stays; --theirs takes the other side's word."
        )
    if not found.united.changes and not found.recordings:
        return say("Nothing of it is new here.")
    return say("Taken." if found.taken else "Nothing is changed yet: --apply takes it.")


@app.command()
@app.command("doctor", hidden=True)  # its name before; for one release
def check_up(
    copies: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[FOLDER]...", help="With --repair: where intact copies of damaged originals may be."),
    ] = None,
    repair: Annotated[bool, typer.Option("--repair", help="Mend what can be mended.")] = False,
    as_json: Json = False,
) -> None:
    """Check the library: databases, every original, results, signals, who may read it."""
    from footwork.maintenance.check_up import check_library

    if copies and not repair:
        raise UsageError("a folder to look for copies in goes with --repair")
    for path in copies or []:
        if not path.exists():
            raise UsageError(f"there is no folder or file {path}")
    found = check_library(folder(), repair, progress("checking"), copies or [])
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
