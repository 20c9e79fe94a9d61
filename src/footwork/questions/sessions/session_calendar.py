"""Kept sessions as a calendar: each stays one event, and one that was dropped takes itself out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from footwork.errors import UsageError
from footwork.formats import ical
from footwork.history.log import parts
from footwork.wording.cautions import before_hard_work

if TYPE_CHECKING:
    from footwork.history.book import History

SPARING = ("easy", "long")  # purposes of a plan's sessions that need no word on hard running


def calendar(library: History, beside: Sequence[ical.Event] = (), today: dt.date | None = None) -> bytes:
    """Kept sessions, and events beside them, as iCalendar (RFC 5545), whole days, in their words. A session from today
    on that was dropped since it was kept stands as cancelled, for a calendar that took it before.

    Raises UsageError where there is none.
    """
    with library.reading() as connection:
        told = [e for e in parts.read_entries(connection, "session", undone=True) if e.date]
    ends: dict[int, parts.Entry] = {}  # how each session stands at last
    changes: dict[int, int] = {}
    for e in told:
        first = int(e.payload.get("first", e.id))
        changes[first] = changes.get(first, -1) + 1 + (e.undone_at is not None)
        if first not in ends or e.undone_at is None or ends[first].undone_at is not None:
            ends[first] = e
    now = (today or library.current_day()).isoformat()
    standing = {first: e for first, e in ends.items() if e.undone_at is None or str(e.date) >= now}
    if not standing:
        raise UsageError(
            "no session is kept for a day, so there is nothing for a calendar: footwork session new keeps one"
        )
    events = [
        ical.Event(
            f"session-{first}@footwork",
            dt.date.fromisoformat(str(e.date)),
            e.payload["name"] or "Running session",
            _with_caution(e.payload),
            changes[first],
            e.undone_at is not None,
        )
        for first, e in sorted(standing.items(), key=lambda of: (str(of[1].date), of[0]), reverse=True)
    ]
    return ical.encode([*events, *beside])


def _with_caution(row: dict[str, Any]) -> str:
    """The words of a session, with those on hard running where it may be hard."""
    text = str(row["text"])
    if (row.get("of_plan") or {}).get("purpose") in SPARING and "%" not in text:
        return text
    return f"{text}\n{before_hard_work('session')}"
