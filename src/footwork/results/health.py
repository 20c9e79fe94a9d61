"""Whether the diary lets hard running be proposed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Spell:
    """A time in which a physician decides what is hard enough: its first day and its last, None while it goes on."""

    since: dt.date
    until: dt.date | None


@dataclass(frozen=True)
class Context:
    """What the runner chose to tell of what moves heart rate: pregnancy and medicine that acts on the heart, as spells
    without their names, and first days of periods, the earliest first. It is for the runner alone: no answer that can
    be passed on says which it is, and to a coach who is not shown the diary (``told`` False) none says that there is
    anything."""

    spells: tuple[Spell, ...] = ()
    periods: tuple[dt.date, ...] = ()
    told: bool = True

    def physician_decides(self, day: dt.date) -> bool:
        """Whether a day lies in a spell."""
        return any(s.since <= day and (s.until is None or day <= s.until) for s in self.spells)

    def moved_within(self, first: dt.date, last: dt.date) -> bool:
        """Whether a spell began or ended in these days, so that heart rates of both sides cannot be compared."""
        ends = [d for s in self.spells for d in (s.since, s.until) if d is not None]
        return any(first < d <= last for d in ends)


@dataclass(frozen=True)
class Health:
    """What the diary tells of a day that holds hard running back.

    ``state`` is ``ill``, ``injured`` or ``returning``; ``since`` the entry's day, or the day the runner was well again;
    ``until`` the last easy day of a return; ``asks`` whether an entry is so old that the runner
    should say whether it still holds; ``told`` False for a coach whom the runner does not show the diary.
    """

    state: Literal["ill", "injured", "returning"]
    since: dt.date
    until: dt.date | None = None
    asks: bool = False
    told: bool = True

    def waits(self, hard: bool, day: dt.date) -> bool:
        """Whether a session of a day waits: each while illness or injury lasts, then hard ones for some days. To who is
        not told of the diary each waits, so that none tells of a return."""
        if self.state != "returning" or not self.told or self.until is None:
            return True
        return hard and day <= self.until


@dataclass(frozen=True)
class Sharing:
    """What a coach may see: the day consent was given (None without), its note, and whether the diary is shared."""

    consent: dt.date | None = None
    note: str = ""
    diary: bool = False
