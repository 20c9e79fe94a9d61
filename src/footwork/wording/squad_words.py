"""A squad in words."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from footwork.quantities import Estimate

if TYPE_CHECKING:
    from footwork.physiology.population import Learned
    from footwork.results.loads import UsualWeek
    from footwork.results.planned_season import AskedAndRun, WeekAnswer
    from footwork.results.squad import Prescribed, SquadLine, SquadRace, SquadWaits


def against_usual_words(seven: Estimate, usual: UsualWeek | None) -> str:
    """The load of seven days against the middle half of usual weeks [CP-min]; the interval decides, not the middle."""
    if usual is None or seven.value is None or seven.low is None or seven.high is None:
        return "not known"
    if seven.low > usual["high"]:
        return "above usual"
    if seven.high < usual["low"]:
        return "below usual"
    return "usual"


def sessions_words(rows: Sequence[AskedAndRun]) -> str:
    """What became of the sessions of a week so far; empty where none was asked."""
    asked = [r for r in rows if r.session is not None]
    if not asked:
        return ""
    done = sum(r.state in ("run", "moved") for r in asked)
    missed = sum(r.state in ("missed", "otherwise") for r in asked)
    return f"{done} of {len(asked)} run" + (f", {missed} not" if missed else "")


def first_words(
    pressing: Sequence[str],
    days_since: int | None,
    race: SquadRace | None,
    week: WeekAnswer,
    back: int,
    waits: Sequence[SquadWaits],
) -> list[str]:
    """Why a coach looks here first, in few words, the most pressing first."""
    missed = sum(r.state in ("missed", "otherwise") for r in week.rows)
    words = {
        "held": "not now",
        "check": "check how they are",
        "away": f"no run for {days_since} days",
        "race": "" if race is None else f"{race['name']} in {race['days']} day{'s' if race['days'] != 1 else ''}",
        "missed": f"{missed} sessions not run this week",
        "changes": "changes wait",
        "device": "a device jumped",
        "back": f"back after {back} days off",
        "above": "load above usual",
        "unusual": "unusual run",
        "waits": waits[0]["what"][:1].lower() + waits[0]["what"][1:] if waits else "",
    }
    return [words[k] for k in pressing]


# What became of a session of the week, in a field of a table; a session to come is only named.
STATES = {"run": "run", "moved": "moved", "otherwise": "run otherwise", "missed": "not run", "extra": "extra"}
STATES |= {"not now": "not now", "today": "today", "ahead": ""}


def week_words(line: SquadLine, monday: dt.date) -> list[str]:
    """A runner's week, a field a day from Monday on; where nothing was asked, runs are just what they were."""
    states = STATES if any(d["state"] != "extra" for d in line.days) else {**STATES, "extra": ""}
    out = []
    for ahead in range(7):
        day = (monday + dt.timedelta(days=ahead)).isoformat()
        told = [(d["name"], states.get(d["state"], d["state"])) for d in line.days if d["date"] == day]
        out.append("; ".join(f"{name}: {state}" if state and name else name or state for name, state in told))
    return out


def who_words(line: SquadLine) -> str:
    """A runner's name, and whether anything holds hard running back."""
    return f"{line.athlete}: not now" if line.health else line.athlete


def short_words(line: SquadLine) -> list[str]:
    """A line in five fields: who, why one looks there first, the last run, the week and usual, critical power."""
    if line.problem:
        return [line.athlete, line.problem, "", "", ""]
    days = "none" if line.days_since is None else {0: "today", 1: "yesterday"}.get(line.days_since, "")
    week = "not known" if line.run is None or line.run.value is None else f"{line.run.value:.0f}"
    week += f" of {line.asked:.0f}" if line.asked else ""
    power = line.critical_power
    known = power is not None and power.value is not None
    cp = f"{power.value:.0f} ({power.low:.0f} to {power.high:.0f})" if power is not None and known else "not known"
    return [
        line.athlete,
        "; ".join(line.first),
        days or f"{line.days_since} d ago",
        f"{week}; {line.against_usual}",
        cp,
    ]


def squad_sentence(lines: Sequence[SquadLine]) -> str:
    """A squad in a sentence."""
    look = sum(line.urgency >= 30 and not line.problem for line in lines)
    broken = sum(bool(line.problem) for line in lines)
    count = f"{len(lines)} runner{'s' if len(lines) != 1 else ''}"
    said = f"{count}: {look} to look at first" if look else f"{count}, none pressing"
    return said + (f", {broken} cannot be read." if broken else ".")


def figure_words(found: Estimate) -> str:
    """An estimate in a table's field, with its interval."""
    if found.value is None or found.low is None or found.high is None:
        return "not known"
    if found.value == found.low == found.high:
        return f"{found.value:g}"
    digits = 0 if abs(found.value) >= 20 else 1 if abs(found.value) >= 5 else 2
    return f"{found.value:.{digits}f} ({found.low:.{digits}f} to {found.high:.{digits}f})"


def prescribed_words(row: Prescribed) -> str:
    """What a session asks of one runner, in a line."""
    on = dt.date.fromisoformat(row.date)
    lead = f"{row.athlete}, {on:%a} {on.day} {on:%b} {on.year}: "
    if not row.text:
        return f"{lead}{row.state}{'' if row.why.startswith('Not now') else f': {row.why}'}".rstrip(".") + "."
    assert row.power is not None and row.finishes_kinder is not None
    kept = " Kept." if row.kept else ""
    there = f" Already on that day: {', '.join(row.already)}." if row.already and not row.kept else ""
    watts = f"hardest {row.power.low:.0f} to {row.power.high:.0f} W on {row.scale}"
    often = f"finished {100 * row.finishes_kinder:.0f} times in a hundred"
    why = f" ({row.why})" if row.why else ""
    lead += "a kinder version: " if row.state == "kinder" else ""
    return f"{lead}{row.text}; {watts}; {often}{why}.{there}{kept}"


PRIORS = {"reserve": ("W′ over critical power", " s"), "tail": ("the tail", "")}


def prior_words(name: str, prior: Learned | None, least: int) -> str:
    """A learned prior beside the literature's: middle, and between which two of three runners lie."""
    what, unit = PRIORS[name]
    if prior is None:
        return f"{what[:1].upper()}{what[1:]}: fewer than {least} runners' tests tell it, so the literature's is used."

    def told(mean: float, sd: float) -> str:
        middle, low, high = (math.exp(v) for v in (mean, mean - sd, mean + sd))
        digits = 0 if middle >= 10 else 3
        return f"{middle:.{digits}f}{unit} ({low:.{digits}f} to {high:.{digits}f} for two of three)"

    return (
        f"{what[:1].upper()}{what[1:]}: {told(prior.mean, prior.sd)}, by {prior.n} runners, who alone say "
        f"{told(prior.own_mean, prior.own_sd)}; the literature {told(prior.literature_mean, prior.literature_sd)}."
    )


def steps_words(row: Prescribed) -> str:
    """The different steps of a prescribed session in the runner's own watts, or why there are none."""
    return "; ".join(f"{s['text']}: {s['low_w']:.0f}–{s['high_w']:.0f} W" for s in row.steps) or row.state
