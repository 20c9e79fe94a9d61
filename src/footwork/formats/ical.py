"""Write iCalendar (RFC 5545): whole-day events."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Event:
    """One whole-day event; ``sequence`` grows with every change to it, and one that is ``cancelled`` was written
    before."""

    uid: str
    date: dt.date
    summary: str
    description: str = ""
    sequence: int = 0
    cancelled: bool = False


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\r", "").replace("\n", "\\n")


def _folded(line: str) -> str:
    """At most 75 octets a line; what follows begins with a space (section 3.1)."""
    out, now = [], b""
    for character in line:
        raw = character.encode()
        if len(now) + len(raw) > 74:
            out.append(now)
            now = b" "
        now += raw
    return b"\r\n".join([*out, now]).decode()


def encode(events: Sequence[Event], stamp: dt.datetime | None = None) -> bytes:
    """A calendar of events; ``stamp`` is when it was made, now by default."""
    made = (stamp or dt.datetime.now(dt.UTC)).strftime("%Y%m%dT%H%M%SZ")
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Footwork//sessions//EN", "CALSCALE:GREGORIAN"]
    for e in events:
        lines += [
            "BEGIN:VEVENT",
            f"UID:{e.uid}",
            f"DTSTAMP:{made}",
            f"DTSTART;VALUE=DATE:{e.date:%Y%m%d}",
            f"DTEND;VALUE=DATE:{e.date + dt.timedelta(days=1):%Y%m%d}",
            f"SEQUENCE:{e.sequence}",
            *(["STATUS:CANCELLED"] if e.cancelled else []),
            f"SUMMARY:{_escaped(e.summary)}",
            *([f"DESCRIPTION:{_escaped(e.description)}"] if e.description else []),
            "END:VEVENT",
        ]
    return ("\r\n".join(_folded(line) for line in [*lines, "END:VCALENDAR"]) + "\r\n").encode()
