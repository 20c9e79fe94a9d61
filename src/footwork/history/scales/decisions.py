"""What the runner decides about scales of watts: names, joins and breaks."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from sqlalchemy import insert, select, update

from footwork.errors import UsageError
from footwork.history.log import entries
from footwork.history.scales import conversions, scale_keys
from footwork.history.scales.scale_keys import CONVERTED_NAME, MODEL
from footwork.store import schema

if TYPE_CHECKING:
    from footwork.history.book import History


def rename(library: History, name: str, new: str) -> str:
    """Give a scale another name; returns it.

    Raises
    ------
    UsageError
        An unknown scale, or a name that is empty, too long or taken.
    """
    key, shown = scale_keys.known(library, name), " ".join(new.split())
    if key == MODEL:
        raise UsageError("modelled power keeps its name, so that it is never taken for a device")
    if not 1 <= len(shown) <= 40:
        raise UsageError("a scale's name has 1 to 40 characters")
    taken = {n.lower() for k, n in scale_keys.names(library).items() if k != key}
    if shown.lower() in taken or shown.lower().endswith(CONVERTED_NAME.strip()):
        raise UsageError(f"'{shown}' is taken: give the scale a name of its own")
    with library.writing() as connection:
        clash = connection.execute(
            select(schema.scale.c.id).where(schema.scale.c.name == shown, schema.scale.c.key != key)
        ).first()
        if clash:  # of a scale that is no longer in use
            connection.execute(
                update(schema.scale).where(schema.scale.c.id == clash[0]).values(name=f"{shown} (earlier)")
            )
        connection.execute(update(schema.scale).where(schema.scale.c.key == key).values(name=shown))
    return shown


def join(library: History, name: str, into: str) -> int:
    """Count two scales as one, as a device whose files name it differently; returns the number of the edit.

    Raises
    ------
    UsageError
        Unknown scales, the same one, or two that recorded the same run: then they are two devices.
    """
    a, b = scale_keys.known(library, name), scale_keys.known(library, into)
    if MODEL in (a, b):
        raise UsageError("modelled power is no device: it cannot be joined to one")
    if a == b:
        raise UsageError("name two different scales to join")
    both = {r.run for r in conversions.rows_on_scale(library, a)} & {
        r.run for r in conversions.rows_on_scale(library, b)
    }
    if both:
        raise UsageError(
            f"both recorded run {min(both)}, so they are two devices: their watts can be converted, not joined"
        )
    return entries.write(library, "scale-join", None, {"scale": a, "into": b, "name": name, "into_name": into})


def accept_break(library: History, name: str, date: dt.date) -> tuple[int, str]:
    """Let a device count as a new scale from a date on; returns the number of the edit and the new scale's name.

    Raises
    ------
    UsageError
        An unknown scale, or no run of it on one of the two sides.
    """
    key = scale_keys.known(library, name)
    if key == MODEL:
        raise UsageError("modelled power has no breaks")
    days = [r.date for r in conversions.rows_on_scale(library, key)]
    if not any(d < date for d in days) or not any(d >= date for d in days):
        raise UsageError(f"{scale_keys.names(library)[key]} has no runs on both sides of {date}")
    base = key.partition("@")[0]
    new, shown = (
        f"{base}@{date}",
        f"{scale_keys.names(library)[base if base in scale_keys.names(library) else key]} from {date}",
    )
    with library.writing() as connection:
        there = connection.execute(select(schema.scale.c.name).where(schema.scale.c.key == new)).scalar()
        if there is None:
            taken = set(connection.execute(select(schema.scale.c.name)).scalars())
            shown = next(n for n in (shown, *(f"{shown} ({k})" for k in range(2, 100))) if n not in taken)
            connection.execute(insert(schema.scale).values(key=new, name=shown))
    shown = shown if there is None else there
    return entries.write(library, "scale-break", None, {"scale": base, "date": str(date), "name": name}, date), shown
