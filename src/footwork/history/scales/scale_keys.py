"""Which scale a recording is on: the key of its file, what the runner joined and broke, and the names shown."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import select

from footwork.errors import UsageError
from footwork.history.log import parts
from footwork.store import schema

if TYPE_CHECKING:
    from footwork.history.book import History

MODEL = "model"


CONVERTED = "+converted"  # ends the key of a scale on which the other scales' runs count too, their watts converted


CONVERTED_NAME = " with converted watts"


def plain_key(key: str) -> str:
    """The key of the scale itself."""
    return key.removesuffix(CONVERTED)


@dataclass(frozen=True)
class Placing:
    """What the runner decided: scales that are one, and dates from which a device counts as a new scale."""

    joined: dict[str, str]
    breaks: dict[str, tuple[str, ...]]  # key of the scale: dates in order

    def key(self, raw: str, day: dt.date | str) -> str:
        """The scale of a recording of a day by the key its file gave."""
        of, text = raw, str(day)
        for _ in range(20):
            started = [d for d in self.breaks.get(of, ()) if d <= text]
            into = self.joined.get(of)
            if started:  # what was broken off went its own way, also where the rest was joined
                of = f"{of}@{started[-1]}"
            elif into is not None:
                of = into
            else:
                return of
        return of

    def raws(self, key: str) -> set[str]:
        """Keys of files whose recordings may be on a scale."""
        found = {key, key.partition("@")[0]}
        for _ in range(20):
            more = {
                raw.partition("@")[0]
                for raw, into in self.joined.items()
                if into in found or into.partition("@")[0] in found
            }
            if more <= found:
                break
            found |= more
        return found


def placing(library: History) -> Placing:
    """What the runner decided about scales so far."""

    def make() -> Placing:
        with library.reading() as connection:
            told = parts.read_entries(connection, "scale-join", "scale-break")
        joined = {e.payload["scale"]: e.payload["into"] for e in told if e.kind == "scale-join"}
        dates: dict[str, list[str]] = {}
        for e in told:
            if e.kind == "scale-break":
                dates.setdefault(e.payload["scale"], []).append(e.payload["date"])
        return Placing(joined, {k: tuple(sorted(set(v))) for k, v in dates.items()})

    found: Placing = library.cached("placing", make)
    return found


def names(library: History) -> dict[str, str]:
    """Scale keys in use and the names they are shown by."""

    def make() -> dict[str, str]:
        decided = placing(library)
        with library.reading() as connection:
            known = dict(connection.execute(select(schema.scale.c.key, schema.scale.c.name)).tuples().all())
            used = set(connection.execute(select(schema.stream.c.scale_key).distinct()).scalars())
        broken = {f"{k}@{d}" for k, dates in decided.breaks.items() for d in dates}
        return {
            MODEL: MODEL,
            **{k: n for k, n in known.items() if k not in decided.joined and (k in used or k in broken)},
        }

    found: dict[str, str] = library.cached("scales", make)
    return dict(found)


def kind(library: History, key: str) -> str:
    """Of which kind the devices of a scale are: foot sensor, device, model, GPX file or CSV file; empty where none
    is."""
    if plain_key(key) == MODEL:
        return MODEL
    raws = placing(library).raws(plain_key(key))
    with library.reading() as connection:
        table = schema.stream
        found = set(connection.execute(select(table.c.kind).distinct().where(table.c.scale_key.in_(raws))).scalars())
    return found.pop() if len(found) == 1 else ""


def shown(library: History, raw: str, day: dt.date) -> str:
    """Name of the scale of a recording of a day by the key its file gave."""
    key = placing(library).key(raw, day)
    return names(library).get(key, key)


def known(library: History, name: str) -> str:
    """Key of a scale by its name. Raises UsageError where there is none."""
    for key, called in names(library).items():
        if name.strip().lower() in (key.lower(), called.lower()):
            return key
    raise UsageError(
        f"there is no scale '{name}': there are {', '.join(n for n in names(library).values() if n != MODEL)}"
    )
