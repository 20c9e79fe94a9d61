"""Efforts of a run, and sessions, on the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from footwork.cli.common import Json, app, opened, out, say
from footwork.errors import UsageError


@app.command()
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
    from footwork.library import intervals

    name = signal.strip().lower().replace("-", "_") if signal else None
    if not what.isdigit() or Path(what).exists():
        if correct or balance:
            raise UsageError("corrections and W′ balance are of runs in the library: name one by its number")
        path = Path(what)
        if not path.is_file():
            raise UsageError(f"there is no file {path}")
        found, run = intervals.of_file(path, name), None
        imperial, left = False, None
    else:
        run = int(what)
        with opened() as library:
            imperial = library.setting("units") == "imperial"
            if correct is not None:
                edit = library.correct_efforts(run, correct)
                if not as_json:
                    say(f"Kept as edit {edit}: footwork edit undo {edit} takes it back.")
            found = library.efforts(run, name)
            left = library.balance(run) if balance else None
    if as_json:
        return out(left if balance else found)
    _listed(found, imperial)
    if left is not None:
        least, at = left["minimum"], left["minimum_at_s"]
        from footwork.quantities import format_duration

        say(
            f"W′ balance was least at {format_duration(at)}: {least['value'] / 1000:.1f} kJ  {least['low'] / 1000:.1f}–{least['high'] / 1000:.1f}, "
            f"of {left['w_prime']['value'] / 1000:.1f} kJ on {left['scale']}, by what was known on {left['as_of']}. Recovery was measured in cycling."
        )
    return None


def _listed(found: list[dict[str, Any]], imperial: bool) -> None:
    from footwork.quantities import format_duration, format_pace

    groups = [g for g in dict.fromkeys(e["group"] for e in found) if g]
    works = [e for e in found if e["kind"] == "work"]
    if len(found) == 1:
        say("One effort of one level.")
    else:
        say(f"{len(works)} effort{'s' if len(works) != 1 else ''}" + (f": {', '.join(groups)}." if groups else "."))
    for e in found:
        parts = [
            f"{e['power']:.0f} W" if e["power"] is not None else "",
            format_pace(e["speed"], imperial) if e["speed"] and e["speed"] > 0.5 else "",
            f"{e['heart_rate']:.0f} bpm" if e["heart_rate"] is not None else "",
            f"{100 * e['grade']:+.1f} %" if e["grade"] is not None and abs(e["grade"]) >= 0.005 else "",
        ]
        size = format_duration(e["end_s"] - e["start_s"])
        say(
            f"  {format_duration(e['start_s']) if e['start_s'] else '0:00':>8}  {e['kind']:<9} {size:>7}  "
            + "  ".join(p for p in parts if p)
        )
