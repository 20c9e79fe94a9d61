"""Simulated runners who follow a plan as people do: they miss days, run more or less than asked, fall ill, travel; the
plan is solved again every week and on every day that they are ill."""

from __future__ import annotations

import datetime as dt
from functools import cache
from itertools import pairwise

import numpy as np

from footwork.planning import families, season_weeks, week_days
from footwork.planning.preview import Runner
from footwork.planning.season_days import Past, SeasonWeek, Wishes, lay_season
from footwork.planning.season_weeks import Race, Standing

DAY = dt.timedelta(days=1)
FIRST = dt.date(2026, 11, 30)
ILL_A_DAY, ILL_DAYS = 4.7e-3, 7  # Derman et al. 2022, BJSM 56:630; Snyders et al. 2022, BJSM 56:223
MISSED, SPREAD = 0.1, 0.12  # share of sessions that are not run, and SD of ln load of those that are


@cache
def shelf() -> list[families.Offer]:
    """What the runner may be asked."""
    rng = np.random.default_rng(0)
    runner = Runner(
        rng.normal(280, 5, 200), rng.normal(18_000, 1500, 200), np.full(200, 0.06), 280.0, lambda p: p / 84.0
    )
    wanted = [*families.EASY, families.LONG, families.STEADY_END, *families.HARD, families.race_family(0.93, 100.0)]
    return families.offers([*wanted, families.TEST], runner, 225.0)


def season(seed: int) -> dict[str, int]:
    """One season followed day by day: what went against the rules, how many changes were proposed, how many sessions
    were asked and run."""
    rng = np.random.default_rng(seed)
    metres = float(rng.choice([10_000, 21_097.5, 42_195]))
    race = Race(FIRST + int(rng.integers(60, 120)) * DAY, "A", metres, metres / 210.0, metres / 230.0, "race")
    usual = float(rng.uniform(80, 220))
    weekdays = tuple(sorted(int(d) for d in rng.choice(7, int(rng.integers(3, 7)), replace=False)))
    trip = FIRST + int(rng.integers(10, 50)) * DAY
    closed = {trip + k * DAY for k in range(int(rng.choice([0, 5, 9])))}
    load = {FIRST - k * DAY: usual / 4 for k in (2, 4, 6, 8)}
    longest = {FIRST - k * DAY: 0.3 * 2 * usual for k in (2, 9, 16)}
    demanding: set[dt.date] = set()
    plan: dict[dt.date, week_days.Kept] = {}
    wanted: dict[dt.date, float] | None = None
    ill_until = FIRST - DAY
    ill_since = FIRST
    reference = usual
    out = dict.fromkeys(("48 h", "ill day", "growth", "longest", "changes", "asked", "run", "weeks"), 0)
    day = FIRST
    while day < race.date:
        if day > ill_until and rng.random() < ILL_A_DAY:
            ill_since, ill_until = day, day + int(max(rng.normal(ILL_DAYS, 2), 2)) * DAY
        ill = ill_since <= day <= ill_until
        if day.weekday() == 0 or ill or day == ill_until + DAY:
            held = {ill_since + k * DAY for k in range((day - ill_since).days + 4)} if ill else set()
            easy = {ill_until + k * DAY for k in range(1, max((ill_until - ill_since).days, 3) + 1)}
            off = (day - max(load)).days
            standing = Standing(
                reference, 1.2 * usual, max(longest.values()), 0.18, 2 * reference, 4, off if off > 4 else 0
            )
            wishes = Wishes(
                min(len(weekdays), 5), 2, 3 * usual, weekdays, (6,), frozenset(closed | held), easy_only=frozenset(easy)
            )
            past = Past(load, longest, {d for d in demanding if (day - d).days <= 2})
            before = [k for d, k in plan.items() if d >= day]
            weeks = lay_season(day, race, standing, wishes, shelf(), past, (), before, wanted, day + 13 * DAY)
            new = {k.date: k for w in weeks for k in w.laid.sessions}
            out["changes"] += sum(new.get(d) != k for d, k in plan.items() if d >= day)
            _against(out, weeks, demanding, held, longest)
            plan = {**{d: k for d, k in plan.items() if d < day}, **new}
            wanted = {w.week.monday: w.week.load for w in weeks}
        asked = plan.get(day)
        if asked is not None:
            out["asked"] += 1
            out["ill day"] += ill
            if not ill and day not in closed and rng.random() > MISSED:
                out["run"] += 1
                share = float(np.exp(SPREAD * rng.standard_normal()))
                load[day] = asked.offer.load * share
                longest[day] = asked.offer.minutes * share
                if asked.offer.demanding:
                    demanding.add(day)
        if day.weekday() == 6:
            out["weeks"] += 1
            week = sum(v for d, v in load.items() if day - 7 * DAY < d <= day)
            reference = max(reference, min(week, 1.1 * reference)) if week >= 0.7 * reference else reference
        day += DAY
    return out


def _against(
    out: dict[str, int],
    weeks: list[SeasonWeek],
    demanding: set[dt.date],
    held: set[dt.date],
    longest: dict[dt.date, float],
) -> None:
    """Count what a plan asks against the rules."""
    days = {k.date: k.offer for w in weeks for k in w.laid.sessions}
    heavy = sorted({d for d, o in days.items() if o.demanding} | demanding)
    out["48 h"] += sum((b - a).days < 2 and b in days for a, b in pairwise(heavy))
    out["ill day"] += len(held & set(days))
    for w in weeks:
        out["growth"] += w.load > w.most + 0.51
    so_far = dict(longest)
    for d in sorted(days):
        most = max((m for e, m in so_far.items() if 0 < (d - e).days <= 30), default=0.0)
        out["longest"] += days[d].minutes > max(season_weeks.LONGEST * most, 30.0) + 1.01
        so_far[d] = days[d].minutes


def rows(seasons: int) -> list[str]:
    """As the table of recovery prints them."""
    found = [season(90_000 + k) for k in range(seasons)]
    total = {name: sum(f[name] for f in found) for name in found[0]}
    return [
        "| seasons | weeks | hard or long within 48 h | asked on an ill day | week over its bound | run over 110 % of "
        "the longest | sessions asked | run | sessions changed a week |",
        "|---|---|---|---|---|---|---|---|---|",
        f"| {seasons} | {total['weeks']} | {total['48 h']} | {total['ill day']} | {total['growth']} | "
        f"{total['longest']} | {total['asked']} | {total['run']} | {total['changes'] / total['weeks']:.1f} |",
    ]
