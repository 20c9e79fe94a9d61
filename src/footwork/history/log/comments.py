"""Comments of coach and runner on a run, a session, a week or a race: entries of the log, with who and when."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from footwork.errors import UsageError
from footwork.history.log import entries, parts

if TYPE_CHECKING:
    from footwork.history.book import History

MOST = 2000  # characters
COACH, RUNNER = "coach", "runner"  # who writes, where no name is given


def comment(library: History, text: str, by: str = "", **about: Any) -> int:
    """Write a comment; returns its number, by which it can be undone.

    Parameters
    ----------
    text : str
        Up to `MOST` characters.
    by : str
        Who writes; the coach where a coach looks, else the runner.
    about
        One of ``run`` or ``session`` (a number), ``week`` or ``race`` (a day).

    Raises
    ------
    UsageError
        Nothing said, too much, nothing or more than one thing that it is about, or one that is not there.
    """
    told = "\n".join(" ".join(line.split()) for line in text.strip().splitlines())
    if not told:
        raise UsageError("a comment says something: write it in quotes")
    if len(told) > MOST:
        raise UsageError(f"a comment holds up to {MOST} characters, this one has {len(told)}")
    what, of = _about(library, about)
    run = int(of) if what == "run" else None
    payload = {"about": what, "of": of, "text": told, "by": " ".join(by.split())[:40] or _who(library)}
    return entries.write(library, "comment", run, payload, library.current_day())


def comments(library: History, **about: Any) -> list[dict[str, Any]]:
    """Comments, the earliest first, all or on one thing: ``id``, ``about`` (run, session, week or race), ``of`` (its
    number or day), ``text``, ``by`` and ``at`` (UTC)."""
    wanted = _about(library, about) if any(v is not None for v in about.values()) else None
    with library.reading() as connection:
        found = parts.read_entries(connection, "comment")
    return [
        {
            "id": e.id,
            **{k: e.payload[k] for k in ("about", "of", "text", "by")},
            "at": dt.datetime.fromtimestamp(e.entered_at, dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        }
        for e in found
        if wanted is None or (e.payload["about"], e.payload["of"]) == wanted
    ]


def _who(library: History) -> str:
    return COACH if library.for_coach else RUNNER


def _about(library: History, about: dict[str, Any]) -> tuple[str, str]:
    """What a comment is about, and its number or day; a week by its Monday, a session by its first number, which stays
    when it is moved."""
    told = {k: v for k, v in about.items() if v is not None}
    if len(told) != 1:
        raise UsageError("a comment is about one thing: a run, a session, a week or a race")
    what, of = next(iter(told.items()))
    if what == "run":
        return what, str(entries.library_row(library, int(of)).id)
    if what == "session":
        with library.reading() as connection:
            kept = {e.id: e for e in parts.read_entries(connection, "session")}
        if int(of) not in kept:
            raise UsageError(f"there is no session {of}: 'footwork session list' shows them")
        return what, str(kept[int(of)].payload.get("first", of))
    if what == "week":
        return what, (of - dt.timedelta(days=of.weekday())).isoformat()
    return "race", of.isoformat()
