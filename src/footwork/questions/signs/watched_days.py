"""The diary's and the runs' channels by day, held against the runner's own month."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import signs
from footwork.analysis.signs import Channel
from footwork.history.catalogue import RunRow
from footwork.history.log import diary
from footwork.quantities import Floats, format_distance
from footwork.questions import load
from footwork.results.sign_patterns import SignChannel, SignPattern, SignsAnswer
from footwork.wording.sign_words import ILL, INSTEAD, NOT_SHARED, check_words, not_enough_words, quiet_words

if TYPE_CHECKING:
    from footwork.history.book import History

LOOKED_BACK = 180  # days
SHOWN_DAYS = 2  # after its day a check still stands, for who did not look that day
LONG_RUN_DAYS, LONG_RUN_SHARE = 30, 1.10  # Schuster Brandt Frandsen et al. 2025, BJSM 59:1203
LONG_RUN_SHOWN = 7  # days for which it is said
HOT_C = 24.0  # from which heat moves heart rate at power more than a sign would; our convention
LEAST_LONG_M = 3000.0  # runs before that, of which one is much longer, tell nothing
# Name, unit, bad direction, felt, usual spread of one day (2 bpm of resting heart rate; the others our conventions).
CHANNELS = {
    "resting heart rate": ("bpm", 1, False, 2.0),
    "overnight variability": ("ln ms", -1, False, 0.12),
    "sleep": ("h", -1, False, 0.8),
    "soreness": ("of 10", 1, True, 1.2),
    "heart rate at power": ("%", 1, False, 5.0),
    "exertion above its load": ("%", 1, True, 25.0),
}
# What a cycle and medicine move, and by how much the second part of a cycle usually does: Shilaih et al. 2017, Sci Rep
# 7:1294, 3.8 bpm at its height; of the others the runner's own values tell it.
OF_THE_HEART = {"resting heart rate": 3.0, "overnight variability": 0.0, "heart rate at power": 0.0}
OF = {
    "unwell": ("resting heart rate", "heart rate at power", "sleep", "soreness", "overnight variability"),
    "worn": ("exertion above its load", "soreness", "sleep"),
}


def signs_of(library: History, date: dt.date | None = None) -> SignsAnswer:
    """What the days until one show together."""
    today = date or library.current_day()
    if library.diary_withheld:
        long_runs = _long_runs(library, today)
        only = " ".join([NOT_SHARED, *long_runs])
        return SignsAnswer(asked_on=today.isoformat(), sentence=only, patterns=[], long_runs=long_runs, instead="")
    found = _channels(library, today)
    hidden = frozenset(OF_THE_HEART) if library.context().physician_decides(today) else frozenset[str]()
    patterns = [_pattern(name, found, today, hidden) for name in OF]
    due = [p for p in patterns if p.state == "check"]
    long_runs = _long_runs(library, today)
    watched = any(p.state in ("quiet", "silent") for p in patterns)
    quiet = "Nothing asks for a check." if watched else "Not enough to watch."
    health = library.health(today)
    ill = health is not None and health.state == "ill"
    said = [ILL] if ill else [p.sentence for p in due]
    return SignsAnswer(
        asked_on=today.isoformat(),
        sentence=" ".join([*said, *long_runs]) or quiet,
        patterns=patterns,
        long_runs=long_runs,
        instead=INSTEAD if due and not ill else "",
    )


def _channels(library: History, today: dt.date) -> dict[str, Channel]:
    first = today - dt.timedelta(days=LOOKED_BACK - 1)
    values: dict[str, Floats] = {name: np.full(LOOKED_BACK, np.nan) for name in CHANNELS}
    for row in library.diary(first, today):
        if row["run"] is None:
            at = (dt.date.fromisoformat(row["date"]) - first).days
            for name in ("resting heart rate", "sleep", "soreness"):
                told = row.get(name.replace(" ", "_"))
                if isinstance(told, float):
                    values[name][at] = told
            if isinstance(row.get("overnight_hrv"), float):
                values["overnight variability"][at] = np.log(row["overnight_hrv"])
    hot = {r.id for r in library.runs() if r.weather and (r.weather.get("temperature_c") or 0.0) >= HOT_C}
    for a in load.loads_of(library).found:
        at = (dt.date.fromisoformat(a.date) - first).days
        if a.sport != "running" or not 0 <= at < LOOKED_BACK:
            continue
        watts = a.ways.get("running power")
        if watts and a.ways.get("heart rate") and a.run not in hot:
            values["heart rate at power"][at] = 100.0 * np.log(a.ways["heart rate"] / watts)
        if watts and a.ways.get("exertion"):
            values["exertion above its load"][at] = 100.0 * np.log(a.ways["exertion"] / watts)
    context = library.context()
    hidden = [context.physician_decides(first + dt.timedelta(days=k)) for k in range(LOOKED_BACK)]
    begun = [(d - first).days for d in context.periods if d <= today]
    for name, usual in OF_THE_HEART.items():
        values[name][hidden] = np.nan
        values[name] = signs.without_cycle(values[name], begun, usual)
    for at in _left_out(library, first, today):
        for of_days in values.values():
            of_days[at] = np.nan
    return {name: Channel(name, bad, felt, spread, values[name]) for name, (_, bad, felt, spread) in CHANNELS.items()}


def _left_out(library: History, first: dt.date, today: dt.date) -> list[int]:
    """Days that tell nothing of a usual day: those after a race or test, and ill ones, whose low rates afterwards would
    read as recovered."""
    raced = {r.local.date() + dt.timedelta(days=1) for r in library.runs() if {"race", "test"} & set(r.marks)}
    out = []
    for at in range((today - first).days + 1):
        day = first + dt.timedelta(days=at)
        if day in raced:
            out.append(at)
    ill = [d for d in diary.days(library, first, today) if d["run"] is None and "illness" in d]
    for row in ill:
        at = (dt.date.fromisoformat(row["date"]) - first).days
        health = diary.health(library, dt.date.fromisoformat(row["date"]))
        if health is not None and health.state == "ill" and at < LOOKED_BACK - 1:
            out.append(at)
    return out


def _pattern(name: str, found: dict[str, Channel], today: dt.date, hidden: Collection[str]) -> SignPattern:
    channels = [found[c] for c in OF[name]]
    recent = signs.RECENT[name]
    score, count = signs.scores(channels, recent)
    thresholds = signs.THRESHOLDS[name]
    due = signs.checks(score, count, thresholds)
    last = len(score) - 1
    told = [replace(_told(c, recent), left_out=c.name in hidden) for c in channels]
    now = float(score[last]) if np.isfinite(score[last]) else None
    threshold = thresholds[min(max(int(count[last]), 2), max(thresholds))] if now is not None else None
    if due and last - due[-1] <= SHOWN_DAYS:
        state, sentence = "check", check_words(name, told)
    elif due and last - due[-1] <= signs.SILENT_DAYS:
        state, sentence = "silent", quiet_words(name, last - due[-1])
    elif now is None:
        state, sentence = "not enough", not_enough_words(name, told, signs.LEAST_DAYS)
    else:
        state, sentence = "quiet", quiet_words(name, None)
    recently = bool(due) and last - due[-1] <= signs.SILENT_DAYS
    since = (today - dt.timedelta(days=last - due[-1])).isoformat() if recently else None
    return SignPattern(
        pattern=name, state=state, since=since, score=now, threshold=threshold, channels=told, sentence=sentence
    )


def _told(channel: Channel, recent: int) -> SignChannel:
    values = channel.values
    late = values[-recent:]
    base = values[-recent - signs.GAP_DAYS - signs.BASE_DAYS : -recent - signs.GAP_DAYS]
    apart = signs.standardised(channel, recent)[-1]

    def of(some: Floats, how: Any) -> float | None:
        return float(how(some[np.isfinite(some)])) if np.isfinite(some).any() else None

    return SignChannel(
        name=channel.name,
        unit=CHANNELS[channel.name][0],
        felt=channel.felt,
        recent=of(late, np.mean),
        usual=of(base, np.median),
        apart=float(apart) if np.isfinite(apart) else None,
        days=int(np.isfinite(values).sum()),
    )


def _long_runs(library: History, today: dt.date) -> list[str]:
    imperial = library.setting("units") == "imperial"
    rows = [r for r in library.runs() if r.distance_m and r.local.date() <= today]
    out = []
    for row in rows:
        if (today - row.local.date()).days < LONG_RUN_SHOWN and (said := long_run_words(rows, row, imperial)):
            out.append(said)
    return out


def long_run_words(rows: list[RunRow], row: RunRow, imperial: bool = False) -> str:
    """What is said of a run more than a tenth longer than the longest of thirty days before it; empty otherwise."""
    day = row.local.date()
    before = [
        r.distance_m or 0.0
        for r in rows
        if r.id != row.id and 0 <= (day - r.local.date()).days <= LONG_RUN_DAYS and r.start < row.start
    ]
    longest, metres = max(before, default=0.0), row.distance_m or 0.0
    if longest < LEAST_LONG_M or metres <= LONG_RUN_SHARE * longest:
        return ""
    return (
        f"{format_distance(metres, imperial)} on {day} is {100 * (metres / longest - 1):.0f} % more than your longest "
        f"of 30 days ({format_distance(longest, imperial)}). Among 5,205 runners, runs beyond 110 % were followed by "
        "more overuse injuries."
    )
