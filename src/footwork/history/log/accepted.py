"""The critical power that the runner or coach accepted, from a date on, per scale."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, insert, select

from footwork.errors import UsageError
from footwork.history import catalogue
from footwork.history.scales import scale_keys
from footwork.store import schema

if TYPE_CHECKING:
    from footwork.history.book import History


def accept(library: History, watts: float, date: dt.date | None = None, scale: str | None = None) -> dict[str, Any]:
    """Accept a CP [W] from a date on, on one scale; what was accepted for that very day before is replaced.

    Raises
    ------
    UsageError
        A CP that no runner has, a date in the future, or an unknown scale.
    """
    day = date or min(library.current_day(), dt.date.today())
    if not 50 <= watts <= 700:
        raise UsageError(f"a critical power of {watts:g} W cannot be: give 50 to 700 W")
    if day > dt.date.today():
        raise UsageError(f"{day} lies in the future: a CP is accepted from today or earlier")
    rows = library.runs()
    newest = max((r.local.date() for r in rows), default=day)
    # Accepted today, weeks after the newest run, it is of the scale that was in use then.
    key, name = catalogue.choose_scale(library, rows, min(day, newest), scale)
    if not key:
        raise UsageError("there are no watts yet to accept a critical power for: add runs with power, or a mass")
    key = scale_keys.plain_key(key)
    table = schema.accepted
    with library.writing() as connection:
        connection.execute(delete(table).where(table.c.scale_key == key, table.c.date == day.isoformat()))
        connection.execute(insert(table).values(scale_key=key, date=day.isoformat(), critical_power=watts))
    return {"date": day.isoformat(), "critical_power_w": watts, "scale": name}


def forget(library: History, date: dt.date, scale: str | None = None) -> int:
    """Take back what was accepted on a date; returns how many entries that were."""
    keys = _keys(library, catalogue.choose_scale(library, library.runs(), date, scale)[0])
    table = schema.accepted
    with library.writing() as connection:
        done = connection.execute(delete(table).where(table.c.scale_key.in_(keys), table.c.date == date.isoformat()))
    return int(done.rowcount)


def _keys(library: History, key: str) -> list[str]:
    """The scale itself first, then those that were joined into it: what was accepted on them keeps its force."""
    plain = scale_keys.plain_key(key)
    joined = scale_keys.placing(library).joined
    out = [plain]
    for source in joined:
        into = source
        for _ in joined:
            into = joined.get(into, into)
        if into == plain and source != plain:
            out.append(source)
    return out


def entries(library: History, key: str) -> list[tuple[dt.date, float]]:
    """Accepted CPs of a scale [W], the oldest first; of one day its own before that of a scale joined into it."""
    table = schema.accepted

    def make() -> list[tuple[dt.date, float]]:
        found: dict[dt.date, float] = {}
        with library.reading() as connection:
            for scale_key in _keys(library, key):
                rows = connection.execute(
                    select(table.c.date, table.c.critical_power).where(table.c.scale_key == scale_key)
                ).all()
                for day, watts in rows:
                    found.setdefault(dt.date.fromisoformat(day), float(watts))
        return sorted(found.items())

    found: list[tuple[dt.date, float]] = library.cached(("accepted", scale_keys.plain_key(key)), make)
    return found


def in_force(known_entries: list[tuple[dt.date, float]], day: dt.date) -> tuple[dt.date, float] | None:
    """The accepted CP of a day: the newest entry not after it.

    Returns the date and the power [W].
    """
    known = [e for e in known_entries if e[0] <= day]
    return known[-1] if known else None
