"""What is known from a day on, and the day that counts as today."""

from __future__ import annotations

import datetime as dt

ARCHIVE_DAYS = 84  # of a run on its arrival: nothing is said of today from it. `physiology.habitual.PAUSE_DAYS`


def old_on_arrival(day: dt.date, arrived: dt.date) -> bool:
    """Whether what is of a day was over twelve weeks old when it came in."""
    return (arrived - day).days > ARCHIVE_DAYS


def counts_as_today(newest: dt.date, archive: bool, today: dt.date) -> dt.date:
    """The day that is meant where none is told.

    Today, also after a long pause; in an archive the day of its newest run. A run of tomorrow is from where it is
    tomorrow.

    Parameters
    ----------
    newest : date
        Local day of the newest run.
    archive : bool
        Whether that run was old when it came in.
    """
    return newest if archive or (newest - today).days == 1 else today


def in_force(dated: list[tuple[str, float]], date: str) -> float | None:
    """The value in force on a date, as a body mass [kg]; before the first entry, the first holds."""
    value = dated[0][1] if dated else None
    for day, given in dated:
        if day <= date:
            value = given
    return value
