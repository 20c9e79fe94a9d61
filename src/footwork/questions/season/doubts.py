"""What a season cannot do: prepare for some races, or make a race certain that comes soon after weeks off."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

from footwork.planning.season_days import SeasonWeek
from footwork.planning.season_weeks import Race, Standing, return_steps
from footwork.questions import capacity

if TYPE_CHECKING:
    from footwork.history.book import History

DOUBT_DAYS, DOUBT_WEEKS = 14, 6  # without running, and to the race; our convention
UNDER_USUAL = 0.85  # of the usual week, under which even the fullest week of a plan is less; our convention
# Fokkema et al. 2020, Scand J Med Sci Sports, doi:10.1111/sms.13725: slower with a longest run under 25 km; the week is
# our convention.
THIN_WEEK_KM, THIN_LONGEST_KM, MARATHON_M = 40.0, 25.0, 42_195.0


def race_in_doubt(library: History, race: dt.date, today: dt.date) -> str:
    """What is to be said of a race that comes soon after weeks without running, until a usual week was run again; empty
    where none is."""
    breaks = [o for o in capacity.lay_offs(library, today) if o.back is None and o.again is None]
    off = max((o.days_off(today.toordinal()) for o in breaks), default=0)
    left = (race - today).days
    if off < DOUBT_DAYS or not 0 <= left <= DOUBT_WEEKS * 7:
        return ""
    return (
        f"After {off} days without running the race in {left} days is in doubt: capacity and what legs bear have "
        "fallen. Run it easily, or another one later; with illness or injury a physician decides."
    )


def thin(race: Race, weeks: Sequence[SeasonWeek]) -> list[str]:
    """What a plan cannot prepare for."""
    if race.metres < MARATHON_M - 1000.0:
        return []
    if race.metres > MARATHON_M + 3000.0:
        return [f"Plans here are made for races up to the marathon: this one alone does not prepare for {race.name}."]
    runs = [[k.offer.metres / 1000.0 for k in w.laid.sessions if k.on_foot] for w in weeks]
    sums, longest = [sum(week) for week in runs], max((m for week in runs for m in week), default=0.0)
    if max(sums) >= THIN_WEEK_KM and longest >= THIN_LONGEST_KM:
        return []
    return [
        f"This is thin for a marathon: at most {max(sums):.0f} km in a week and {longest:.0f} km in one run. Under "
        f"{THIN_WEEK_KM:.0f} km a week and {THIN_LONGEST_KM:.0f} km at once it was run much slower; more runs or "
        "a later race would help."
    ]


def under_usual(standing: Standing, weeks: Sequence[SeasonWeek]) -> list[str]:
    """That no week of a plan comes near the usual one, and why: its wishes leave no room, or days off come before."""
    most = max((w.load for w in weeks), default=0.0)
    if not weeks or most >= UNDER_USUAL * standing.load:
        return []
    roomy = max(w.week.most for w in weeks) >= UNDER_USUAL * standing.load
    if roomy and return_steps(standing.days_off):
        return [
            f"After {standing.days_off} days without running the weeks come back by steps: until the race they reach "
            f"{most:.0f} of your usual {standing.load:.0f} CP-minutes."
        ]
    return [
        f"Every week stays under your usual one: at most {most:.0f} of {standing.load:.0f} CP-minutes fit into the "
        "hours, days and runs that were given. It keeps some of what you have rather than builds; more hours or days "
        "would change that."
    ]
