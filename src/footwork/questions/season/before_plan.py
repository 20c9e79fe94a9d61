"""What a plan continues from: usual week, best weeks, longest run, hard share, and the last days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from footwork.errors import NotEnoughData
from footwork.history.catalogue import RunRow
from footwork.physiology import lay_off
from footwork.physiology.load_ways import weight
from footwork.planning.families import LONG_MIN
from footwork.planning.season_days import Past
from footwork.planning.season_weeks import GROWTH, Standing
from footwork.questions import load
from footwork.questions.load import Loads, loads_of
from footwork.questions.season.wishes import SeasonWishes

if TYPE_CHECKING:
    from footwork.history.book import History

USUAL_WEEKS, HARD_WEEKS, YEAR_WEEKS = 8, 12, 52
EASY_SHARE = 0.70  # of CP, at which a week without any recordings is taken to be run
HARD_UNKNOWN, HARD_MOST = 0.15, 0.25  # hard share of running where nothing tells it, and the most that is asked unasked
HARD_LEAST = 0.05
KEPT_UP = 0.7  # of what a week asked: under it the week is repeated; our convention
HARD_RUN_S = 480.0  # above the moderate border: such a run was hard; our convention


@dataclass(frozen=True)
class Days:
    """Running load [CP-min], running time and longest run [min] by day."""

    load: dict[dt.date, float]
    minutes: dict[dt.date, float]
    longest: dict[dt.date, float]
    runs: dict[dt.date, int]

    def weeks(self, before: dt.date, count: int) -> list[tuple[float, float, int]]:
        """Load, minutes and runs of so many complete weeks before a Monday, the latest first, from the first run on."""
        out = []
        for back in range(1, count + 1):
            monday = before - dt.timedelta(weeks=back)
            days = [monday + dt.timedelta(days=k) for k in range(7)]
            if self.load and days[-1] < min(self.load):
                break
            sums = [sum(of.get(d, 0) for d in days) for of in (self.load, self.minutes, self.runs)]
            out.append((float(sums[0]), float(sums[1]), int(sums[2])))
        return out


def days_until(library: History, day: dt.date) -> Days:
    """Every day that had a run, up to a day and with it."""
    loads: Loads = loads_of(library)
    out = Days({}, {}, {}, {})
    for a in loads.found:
        on = dt.date.fromisoformat(a.date)
        if a.sport == "running" and on <= day:
            out.load[on] = out.load.get(on, 0.0) + (a.load.value or 0.0)
            out.minutes[on] = out.minutes.get(on, 0.0) + a.duration_s / 60.0
            out.longest[on] = max(out.longest.get(on, 0.0), a.duration_s / 60.0)
            out.runs[on] = out.runs.get(on, 0) + 1
    return out


def standing_of(
    library: History, wishes: SeasonWishes, day: dt.date, days: Days, asked: Mapping[dt.date, float]
) -> Standing:
    """What a plan continues from on a day; ``asked`` are the loads that its weeks so far asked for [CP-min].

    Raises
    ------
    NotEnoughData
        Fewer than three usual weeks, and no hours of one were told.
    """
    monday = day - dt.timedelta(days=day.weekday())
    # After months without running the weeks before them are the usual ones, and the steps of a return come off these.
    last = max((d for d in days.load if d <= day), default=day)
    there = min(monday, last - dt.timedelta(days=last.weekday()) + dt.timedelta(days=7))
    usual = load.usual_week(library, there)
    recent = [w for w in days.weeks(there, USUAL_WEEKS) if w[1] > 0]
    if usual is None and wishes.usual is None:
        raise NotEnoughData(
            f"a plan continues from your usual week, and {len(recent)} complete week{'s' if len(recent) != 1 else ''} "
            "of runs before this one do not tell it: it takes three, or say how many hours a week you usually run"
        )
    minutes = float(np.median([w[1] for w in recent])) if recent else 0.0
    loaded = usual.cp_minutes if usual is not None else 0.0
    if wishes.usual is not None:
        minutes = 60.0 * wishes.usual
        loaded = minutes * float(weight(EASY_SHARE))
    runs = float(np.median([w[2] for w in recent])) if recent else 3.0
    weeks = [w[0] for w in days.weeks(monday, YEAR_WEEKS)]
    best = max((float(np.mean(weeks[k : k + 4])) for k in range(len(weeks) - 3)), default=loaded)
    continued = _achieved(loaded, weeks, [asked.get(monday - dt.timedelta(weeks=k)) for k in (1, 2)])
    minutes *= continued / loaded if loaded else 1.0
    # So are the longest runs: the month before running stopped, of which the return takes its share.
    since = (last if days_off(days, day) else day) - dt.timedelta(days=29)
    longest = max((m for d, m in days.longest.items() if since <= d <= day), default=0.0)
    if not longest and wishes.usual is not None:
        longest = 0.35 * minutes
    # Rounded as offers are, so that the same weeks give the same plan everywhere.
    loaded, best, longest, minutes, runs = (round(v, 1) for v in (loaded, max(best, loaded), longest, minutes, runs))
    return Standing(loaded, best, longest, round(hard_share(library, day), 3), minutes, runs, days_off(days, day))


def _achieved(usual: float, run: list[float], asked: list[float | None]) -> float:
    """The week that a plan continues from [CP-min].

    Without a plan so far the usual one, or what the last two weeks came to where both stayed under seven tenths of it.
    With one the best of the last four weeks; after a week under seven tenths of what was asked that week is repeated;
    after two the target becomes what was achieved.
    """
    last, before = (run[k] / float(a) if k < len(run) and (a := asked[k]) else None for k in (0, 1))
    if last is None:
        short = len(run) >= 2 and 0.0 < max(run[:2]) < KEPT_UP * usual and min(run[:2]) > 0.0
        return max(float(np.mean(run[:2])), 0.5 * usual) if short else usual
    if last < KEPT_UP and before is not None and before < KEPT_UP:
        return max(float(np.mean(run[:2])), 0.5 * usual)
    best = max([usual, *run[:4]])
    return min(best, float(asked[0] or 0.0) / GROWTH) if last < KEPT_UP else best


def hard_share(library: History, day: dt.date) -> float:
    """Share of running time above the moderate border in the twelve weeks until a day; never grown beyond a quarter."""
    found = load.load_of_span(library, day - dt.timedelta(weeks=HARD_WEEKS) + dt.timedelta(days=1), day)
    spent = found["seconds_in_domains"]
    total = sum(spent.values())
    if total < 3600.0:
        return HARD_UNKNOWN
    return float(np.clip(load.above_moderate(spent) / total, HARD_LEAST, HARD_MOST))


def days_off(days: Days, day: dt.date) -> int:
    """Days without running until a day, where they are more than the usual gaps of the twelve weeks before them; 0
    where they are nothing unusual."""
    ran = sorted(d.toordinal() for d in days.load if d <= day)
    if not ran:
        return 0
    off = day.toordinal() - ran[-1]
    return off if off > lay_off.usual_gap([d for d in ran if ran[-1] - d <= lay_off.RECENT]) else 0


def days_without(library: History, day: dt.date) -> int:
    """`days_off` of a library on a day [d]."""
    return days_off(days_until(library, day), day)


def past_of(library: History, rows: list[RunRow], days: Days, day: dt.date) -> Past:
    """Loads and longest runs of a month, hard and long days of the last three, and the last test or race."""
    since = day - dt.timedelta(days=40)
    near = [r for r in rows if 0 <= (day - r.local.date()).days <= 2]
    spent = load.domains_of_runs(library, near)
    hard = {
        r.local.date()
        for r in near
        if {"race", "test", "maximal"} & set(r.marks)
        or r.duration_s >= 60 * LONG_MIN
        or (r.id in spent and load.above_moderate(spent[r.id]) >= HARD_RUN_S)
    }
    tested = max(
        (r.local.date() for r in rows if {"race", "test"} & set(r.marks) and r.local.date() <= day), default=None
    )
    return Past(
        {d: round(v, 1) for d, v in days.load.items() if since <= d <= day},
        {d: round(v, 1) for d, v in days.longest.items() if since <= d <= day},
        frozenset(hard),
        tested,
    )
