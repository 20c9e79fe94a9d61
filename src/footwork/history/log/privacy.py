"""What the runner lets a coach see: consent with its day and note, and whether the diary is shared."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from footwork.errors import UsageError
from footwork.history.log import entries, parts
from footwork.results.health import Sharing

if TYPE_CHECKING:
    from footwork.history.book import History


def sharing(library: History) -> Sharing:
    """What stands now. Without consent nothing of the diary is shared, whatever was said of it before."""

    def make() -> Sharing:
        with library.reading() as connection:
            told = parts.read_entries(connection, "privacy")
        consent: parts.Entry | None = None
        diary = False
        for entry in told:
            if "consent" in entry.payload:
                # Consent that was withdrawn and is given anew does not bring back what was shared under the old one.
                diary = diary and consent is not None and bool(entry.payload["consent"])
                consent = entry if entry.payload["consent"] else None
            else:
                diary = bool(entry.payload["diary"])
        if consent is None:
            return Sharing()
        return Sharing(dt.date.fromisoformat(str(consent.date)), str(consent.payload["note"]), diary)

    found: Sharing = library.cached("sharing", make)
    return found


def consent(library: History, note: str = "", date: dt.date | None = None) -> int:
    """Write down that the runner consents to a coach reading this library; returns the entry's number.

    Raises UsageError for a day to come.
    """
    day = date or dt.date.today()
    if day > dt.date.today():
        raise UsageError(f"{day} lies in the future: consent is written down on the day it is given")
    return entries.write(library, "privacy", None, {"consent": True, "note": " ".join(note.split())[:300]}, day)


def withdraw(library: History) -> int:
    """Write down that consent is withdrawn, and with it whatever was shared; returns the entry's number.

    Raises UsageError where there is none.
    """
    if sharing(library).consent is None:
        raise UsageError("no consent is written down, so there is none to withdraw")
    return entries.write(library, "privacy", None, {"consent": False, "note": ""}, dt.date.today())


def share_diary(library: History, shared: bool) -> int:
    """Let a coach see diary and health, or not; returns the entry's number.

    Raises UsageError without consent.
    """
    if shared and sharing(library).consent is None:
        raise UsageError("the diary is shared only with consent: footwork privacy consent writes it down first")
    return entries.write(library, "privacy", None, {"diary": shared}, dt.date.today())
