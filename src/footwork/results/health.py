"""Whether the diary lets hard running be proposed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Health:
    """What the diary tells of a day that holds hard running back.

    ``state`` is ``ill``, ``injured`` or ``returning``; ``since`` the entry's day, or the day the runner was well again;
    ``until`` the last easy day of a return; ``asks`` whether an entry is so old that the runner
    should say whether it still holds.
    """

    state: Literal["ill", "injured", "returning"]
    since: dt.date
    until: dt.date | None = None
    asks: bool = False
