"""What a run was, in a few words, from its efforts: one function for every page, command and sheet."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from footwork.analysis.repeats import round_seconds
from footwork.quantities import format_duration

NUMBERS = ("", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
HILLY = 0.012  # spread of the slopes of a run's efforts from which it is called hilly; our convention
MOST_GROUPS = 3
EVEN, SLIGHT = 1.08, 1.25  # work of less than so many times the watts of the other running: none, slight; ours
PARTS = 0.9  # of a run that is work: it had breaks, no recoveries; ours
STOOD = 0.2  # of a piece: one stood longer, and its watts tell nothing; ours
METHOD_VERSION = 5  # of these words: kept titles are found again
DIFFERENT = 0.4  # spread of ln duration from which pieces are named by their shortest and longest; our convention


def not_sure(found: Sequence[dict[str, Any]], otherwise: Sequence[dict[str, Any]]) -> str:
    """How else a run may be divided, of `runs.reading_of_run`, in a sentence; empty where its division is plain."""
    if not otherwise:
        return ""
    first, second = run_title(found), run_title(otherwise)
    if first != second:
        return f"Not sure: it may also be {second[0].lower()}{second[1:]}."
    if len(otherwise) == 1:
        return "Not sure that it has parts: it may also be one even effort."
    if len(found) == 1:
        return f"Not sure that it was run evenly: it may also have {len(otherwise)} parts."
    spans = [
        f"{format_duration(e['start_s'])} to {format_duration(e['end_s'])}"
        for e in otherwise
        if e["kind"] == "work" and not e["sure"]
    ]
    more = ", and elsewhere" if len(spans) > MOST_GROUPS else ""
    where = f": it may also be from {' and from '.join(spans[:MOST_GROUPS])}{more}" if spans else ""
    return f"Not sure where its work lies{where}."


def division(efforts: Sequence[dict[str, Any]]) -> str:
    """A division as it is written to be kept, as ``0:00 warm-up, 15:00 work``."""
    return ", ".join(f"{format_duration(e['start_s'])} {e['kind']}" for e in efforts)


def run_title(found: Sequence[dict[str, Any]], by_hand: bool = False) -> str:
    """A title of a run in words, as ``Three times eight minutes``.

    Parameters
    ----------
    found : sequence of dict
        As `runs.efforts_of_run` gives them; ``start_s`` and ``end_s`` [s].
    by_hand : bool
        Whether the runner said which they are: then work is work, however hard.
    """
    works = [e for e in found if e["kind"] == "work"]
    whole = found[-1]["end_s"] - found[0]["start_s"] - sum(e["standing_s"] for e in found) if found else 0.0
    grouped, harder = any(e["group"] for e in works), _harder(found)
    lasts = [e["end_s"] - e["start_s"] for e in works]
    if len(works) == 2 and not grouped and not by_hand and sum(lasts) >= PARTS * whole and _stood_between(found):
        return f"{_lasting(lasts[0])} and {_lasting(lasts[1])}, with a break".capitalize()
    if len(found) <= 1 or not works or (not grouped and not by_hand and harder < EVEN):
        minutes = round(whole / 60)
        if minutes % 60 == 0 and minutes:
            return "An even hour" if minutes == 60 else f"An even {_number(minutes // 60)} hours"
        return f"An even {_number(minutes)} minutes" if minutes > 1 else "One short effort"
    said: list[str] = []
    steps = len(works) > 1 and all(a["end_s"] == b["start_s"] for a, b in pairwise(works))
    if steps:
        said.append(_steps(works))
    for group in dict.fromkeys(e["group"] for e in works if not steps):
        members = [e for e in works if e["group"] == group]
        said.append(_group(group, len(members)) if group else _alone(members))
    if len(said) > MOST_GROUPS:
        said = [f"{_number(len(works))} efforts of {_lasting(min(lasts))} to {_lasting(max(lasts))}"]
    if EVEN <= harder < SLIGHT and not any(words.startswith("harder") for words in said):
        said.append("a little harder")
    slopes = [e["grade"] for e in works if e["grade"] is not None]
    if len(slopes) > 2 and float(np.std(slopes)) >= HILLY:
        said.append("up and down")
    elif slopes and float(np.mean(slopes)) >= 2 * HILLY and len(works) > 1:
        said.append("uphill")
    title = ", ".join(said)
    return title[:1].upper() + title[1:]


def of_marked(title: str | None, marks: Sequence[str]) -> str | None:
    """A title of a run that the runner marked: an even race or test is a race or test."""
    kind = next((mark for mark in ("race", "test") if mark in marks), None)
    if title is None or kind is None or not title.startswith("An even "):
        return title
    lasted = "an hour" if title == "An even hour" else title.removeprefix("An even ")
    return f"A {kind} of {lasted}"


def as_described(marks: Sequence[str], surface: str, shoe: str, left_out: bool = False) -> str:
    """What the runner said of a run, as sentences; empty where nothing was said."""
    parts = [f"Marked {', '.join(marks)}." if marks else "", f"On {surface}." if surface else ""]
    parts += [f"Shoe: {shoe}." if shoe else "", "Left out of every analysis." if left_out else ""]
    return " ".join(p for p in parts if p)


def short_title(title: str) -> str:
    """A title of repeats as short as a label, ``4 x 6 min``; empty for any other."""
    found = re.fullmatch(r"(\w+) times (?:about )?([\w:]+)(?: (minutes?|seconds|m|km))?(?:,.*)?", title)
    if found is None:
        return ""
    count, size, unit = found.groups()
    digits = [str(NUMBERS.index(w.lower())) if w.lower() in NUMBERS[1:] else w for w in (count, size)]
    unit = {"minutes": " min", "minute": " min", "seconds": " s", None: ""}.get(unit, f" {unit}")
    return f"{digits[0]} x {digits[1]}{unit}"


def _group(name: str, count: int) -> str:
    return f"{_number(count)} times {_size(name)}"


def _size(name: str) -> str:
    """What the repeats of a group are, as ``eight minutes`` of ``3 x 8:00``."""
    _, _, size = name.partition(" x ")
    clock = re.fullmatch(r"(?:(\d+):)?(\d+):(\d\d)", size)
    if clock:
        hours, minutes, seconds = (int(v or 0) for v in clock.groups())
        size = _lasting(3600 * hours + 60 * minutes + seconds)
    return size


def _steps(works: Sequence[dict[str, Any]]) -> str:
    """Work upon work: a run that gets harder."""
    group = works[0]["group"]
    one = group is not None and all(e["group"] == group for e in works)
    return f"harder in {_number(len(works))} steps{f' of {_size(group)}' if one else ''}"


def _alone(members: Sequence[dict[str, Any]]) -> str:
    lasts = [e["end_s"] - e["start_s"] for e in members]
    if len(members) == 1:
        return f"{_lasting(lasts[0])} of work"
    rises, falls = (all(y > x for x, y in pairwise(v)) for v in (lasts, lasts[::-1]))
    if len(members) > 2 and (rises or falls):
        return f"a ladder of {_number(len(members))}, {_lasting(lasts[0])} to {_lasting(lasts[-1])}"
    if len(members) > 2 and np.allclose(lasts, lasts[::-1], rtol=0.1, atol=5) and np.ptp(np.log(lasts)) > DIFFERENT:
        return f"a pyramid up to {_lasting(max(lasts))}"
    if np.ptp(np.log(lasts)) <= DIFFERENT:
        return f"{_number(len(members))} times about {_lasting(float(np.median(lasts)))}"
    if len(members) == 2:
        return f"efforts of {_lasting(lasts[0])} and {_lasting(lasts[1])}"
    return f"{_number(len(members))} efforts of {_lasting(min(lasts))} to {_lasting(max(lasts))}"


def _stood_between(found: Sequence[dict[str, Any]]) -> bool:
    """Whether the runner stood for much of what lies between the first and the last work."""
    at = [k for k, e in enumerate(found) if e["kind"] == "work"]
    between = found[at[0] + 1 : at[-1]]
    lasted = sum(e["end_s"] - e["start_s"] for e in between)
    return bool(sum(e["standing_s"] for e in between) > STOOD * lasted)


def _harder(found: Sequence[dict[str, Any]]) -> float:
    """How many times the watts of the other running the work has; infinite where there is none, or no power."""
    means = []
    for work in (True, False):
        ran = [e for e in found if (e["kind"] == "work") == work and e["power"]]
        ran = [e for e in ran if e["standing_s"] <= STOOD * (e["end_s"] - e["start_s"])]
        if not ran:
            return float("inf")
        means.append(float(np.average([e["power"] for e in ran], weights=[e["end_s"] - e["start_s"] for e in ran])))
    return means[0] / means[1]


def _number(count: int) -> str:
    return NUMBERS[count] if 0 < count < len(NUMBERS) else str(count)


def _lasting(seconds: float) -> str:
    rounded = round_seconds(seconds)
    minutes, rest = divmod(int(rounded), 60)
    if not minutes:
        return f"{rest} seconds"
    if rest:
        return format_duration(rounded)
    if minutes >= 60 and minutes % 60 == 0:
        return "one hour" if minutes == 60 else f"{_number(minutes // 60)} hours"
    return "one minute" if minutes == 1 else f"{_number(minutes)} minutes"
