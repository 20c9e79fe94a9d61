"""The runner's facts, the pages, the demo."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from footwork.cli.common import Json, app, day, folder, opened, out, plural, progress, say
from footwork.cli.keeping_commands import Passphrase, passphrase_of
from footwork.errors import UsageError

if TYPE_CHECKING:
    from footwork.web.entrance import OpenToOthers


@app.command()
def athlete(
    mass: Annotated[float | None, typer.Option(help="Body mass in kg.")] = None,
    max_heart_rate: Annotated[float | None, typer.Option(help="Highest heart rate in bpm.")] = None,
    resting_heart_rate: Annotated[float | None, typer.Option(help="Resting heart rate in bpm.")] = None,
    cycling_critical_power: Annotated[
        float | None, typer.Option(help="Critical power on the bicycle in W, for the load of rides.")
    ] = None,
    critical_swim_speed: Annotated[
        str | None, typer.Option(help="For the load of swims: as 1:45 for 100 m, or in m/s.")
    ] = None,
    date: Annotated[str | None, typer.Option(help="From this date on, YYYY-MM-DD; today by default.")] = None,
    units: Annotated[str | None, typer.Option(help="Show metric or imperial units.")] = None,
    zone: Annotated[str | None, typer.Option(help="Time zone for files that state none, as Europe/Lisbon.")] = None,
    as_json: Json = False,
) -> None:
    """Set dated facts about the runner, or print them all."""
    told = (mass, max_heart_rate, resting_heart_rate, cycling_critical_power, critical_swim_speed, units, zone)
    given = any(v is not None for v in told)
    with opened(create=given) as library:
        redone = library.athlete.set(
            day(date),
            progress("modelling"),
            mass=mass,
            max_heart_rate=max_heart_rate,
            resting_heart_rate=resting_heart_rate,
            cycling_critical_power=cycling_critical_power,
            critical_swim_speed=_swim_speed(critical_swim_speed),
        )
        if units is not None:
            library.set_setting("units", units.strip().lower())
        if zone is not None:
            library.set_setting("zone", zone.strip())
        facts = library.athlete.facts()
    if as_json:
        return out(facts)
    for name, values in facts.items():
        shown = ", ".join(
            (
                f"{v['value'] if isinstance(v['value'], str) else format(v['value'], 'g')} {v['unit']} from {v['date']}"
            ).replace("  ", " ")
            for v in values
        )
        say(f"{name.replace('_', ' ').capitalize()}: {shown or 'not given'}")
    if redone:
        say(f"Modelled power was made anew for {plural(redone, 'recording')}.")
    return None


@app.command()
def serve(
    folders: Annotated[list[Path] | None, typer.Argument(help="Library folders; by default the one library.")] = None,
    port: Annotated[int, typer.Option(help="Port on 127.0.0.1; 0 takes a free one.")] = 8383,
    open_browser: Annotated[bool, typer.Option("--open", help="Open the address in a browser.")] = False,
    watch: Annotated[
        str | None,
        typer.Option(help="A folder whose new recordings come in by themselves, now and later; '' watches none."),
    ] = None,
    open_to_others: Annotated[
        bool, typer.Option("--open-to-others", help="Also to other machines: over TLS, after a passphrase, logged.")
    ] = False,
    address: Annotated[str, typer.Option(help="With it: where to listen.")] = "0.0.0.0",
    name: Annotated[
        list[str] | None, typer.Option(help="With it: a name others reach this machine by; may be repeated.")
    ] = None,
    tls_certificate: Annotated[Path | None, typer.Option(help="With it: a PEM file.")] = None,
    tls_key: Annotated[Path | None, typer.Option(help="With it: its key, a PEM file.")] = None,
    passphrase_file: Passphrase = None,
    access_log: Annotated[Path, typer.Option(help="With it: where each visit gets a line.")] = Path(
        "footwork-visits.log"
    ),
    as_json: Json = False,
) -> None:
    """Serve the pages, on this machine only unless others are let in on purpose."""
    from footwork.web.server import serve as run_server

    others = None
    if open_to_others:
        others = _others(address, name or [], tls_certificate, tls_key, passphrase_file, access_log)
    elif name or tls_certificate or tls_key or passphrase_file:
        raise UsageError("a name, TLS files and a passphrase go with --open-to-others")

    if watch is not None:
        if folders and len(folders) > 1:
            raise UsageError("--watch belongs to one library: serve it alone")
        place = folders[0] if folders else folder()
        from footwork.api import Library

        with Library.open(place, create=not place.exists() or not any(place.iterdir())) as library:
            library.set_setting("watched", watch)
    run_server(folders or [folder()], port, open_browser, as_json, others)


def _others(
    address: str, names: list[str], certificate: Path | None, key: Path | None, passphrase_file: Path | None, log: Path
) -> OpenToOthers:
    """What serving to others takes; nothing of it may be missing."""
    from footwork.maintenance.encryption import checked
    from footwork.web.entrance import OpenToOthers

    if certificate is None or key is None or not names:
        raise UsageError("--open-to-others needs --tls-certificate, --tls-key and a --name: nothing is served without")
    for path in (certificate, key):
        if not path.is_file():
            raise UsageError(f"there is no file {path}")
    if not log.parent.is_dir():
        raise UsageError(f"there is no folder {log.parent}: make it first")
    return OpenToOthers(address, tuple(names), certificate, key, checked(passphrase_of(passphrase_file, True)), log)


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(help="Where the demo recordings and library go.")] = Path("demo-library"),
    squad: Annotated[
        bool, typer.Option("--squad", help="Twelve invented runners of these weeks instead, a coach's squad.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Make an invented runner's season and import it."""
    from footwork.demo import make
    from footwork.demo.club import make_club

    if squad:
        club = make_club(folder, progress("demo"))
        if as_json:
            return out(club)
        say(f"Twelve invented runners: {club['files']} files, libraries in {club['runners']}.")
        return say(f"Try: footwork squad {club['runners']}, or footwork serve {club['runners']}")
    made = make(folder, progress("demo"))
    if as_json:
        return out(made)
    say(f"An invented runner's season: {made['files']} files in {made['recordings']}, library in {made['library']}.")
    say(f"Try: footwork --library {made['library']} capacity")
    return None


def _swim_speed(told: str | None) -> float | None:
    """Speed [m/s] from a time for 100 m, or from itself."""
    from footwork.quantities import parse_duration

    if told is None:
        return None
    try:
        return 100.0 / parse_duration(told) if ":" in told else float(told.replace(",", "."))
    except (ValueError, ZeroDivisionError):
        raise UsageError(f"'{told}' is no swim speed: write 1:45 for 100 m, or 0.95 in m/s") from None
