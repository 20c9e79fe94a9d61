"""How hard: targets read from free wording."""

from __future__ import annotations

import contextlib
import difflib
import re

from footwork.errors import UsageError
from footwork.planning.session_steps import DOMAIN_CP, LIMITS, WORDS, Quantity, Target
from footwork.quantities import MILE_M

SAME = {
    "easy jogging": "easy jog",
    "easy running": "easy",
    "easily": "easy",
    "easy run": "easy",
    "jogging": "jog",
    "jog easy": "easy jog",
    "standing": "rest",
    "stand": "rest",
    "walking": "walk",
    "steadily": "steady",
    "tempo": "threshold",
    "at threshold": "threshold",
    "stride": "strides",
    "flat out": "all out",
    "all-out": "all out",
    "warm-up": "easy",
    "warm up": "easy",
    "cool-down": "easy",
    "cool down": "easy",
    "recovery": "easy jog",
    "float": "steady",
    "marathon pace": "marathon effort",
    "warmup": "easy",
    "cooldown": "easy",
    "wu": "easy",
    "cd": "easy",
}


RACE_CP = {
    "5": (1.0, 1.03),
    "10": (0.96, 0.99),
    "half": (0.90, 0.93),
}  # what a race of that length is run at; our conventions


NUMBER = r"\d+(?:[.,]\d+)?"


RANGE = rf"({NUMBER})\s*(?:(?:-|–|to)\s*({NUMBER}))?"


PACE = r"(\d+:[0-5]\d)"


def read_target(words: str, whole: str) -> Target:
    """How hard some words of a session ask for; ``whole`` is the step they are of, for the sentence of an error.

    Raises
    ------
    UsageError
        No intensity, one that cannot be run, or one that needs a unit; says what to write.
    """
    lower = words.lower().removeprefix("at ").removeprefix("@").strip().removeprefix("about ").removeprefix("around ")
    for read in (_number, _pace, _speed, _exertion):
        if (found := read(lower, whole)) is not None:
            return found
    _refuse_other_systems(lower, whole)
    if (found := _word(lower)) is not None:
        return found
    if re.fullmatch(rf"{RANGE}\s*%", lower):
        raise UsageError(f"'{whole}': per cent of what? write {lower} CP, or {lower} of W'")
    # Two words of one intensity, as easy at 5:30/km or jog recovery: the second, which is often a number.
    parts = lower.split()
    for k in range(len(parts) - 1, 0, -1):
        first = " ".join(parts[:k])
        if SAME.get(first, first) in WORDS:
            with contextlib.suppress(UsageError):
                return read_target(" ".join(parts[k:]), whole)
    near = difflib.get_close_matches(lower, [*WORDS, *SAME], 1, 0.75)  # nearer than fast is to float
    hint = f" (did you mean {near[0]}?)" if near else ""
    raise UsageError(
        f"'{whole}': '{words}' is no intensity{hint}: write 105 % CP, 280 W, 4:30/km, 150 bpm, exertion 7, in "
        f"the heavy domain, 30 % of W', or one of {', '.join(WORDS)}"
    )


# A number or a band with what it is of, and the scale it is written in.
_NUMBERS: tuple[tuple[str, Quantity, float], ...] = (
    (rf"(?:spend(?:ing)?\s*)?{RANGE}\s*%\s*(?:of )?(?:the )?(?:w'|w′|w prime)", "w_prime", 0.01),
    (rf"{RANGE}\s*%\s*(?:of )?(?:cp|critical power)", "cp", 0.01),
    (rf"{RANGE}\s*(?:w|watts?)", "watts", 1.0),
    (rf"{RANGE}\s*(?:bpm|beats(?: a minute)?)", "heart_rate", 1.0),
    (rf"(?:heart rate|hr)\s*{RANGE}", "heart_rate", 1.0),
    (rf"(?:rpe|exertion|perceived exertion|effort)\s*{RANGE}(?:\s*(?:/|of)\s*10)?", "exertion", 1.0),
)


def _number(lower: str, whole: str) -> Target | None:
    for pattern, quantity, scale in _NUMBERS:
        if found := re.fullmatch(pattern, lower):
            digits = 4 if scale < 1 else 1  # as many as the wording prints
            ends = [round(float(v.replace(",", ".")) * scale, digits) for v in found.group(1, 2) if v is not None]
            return checked(quantity, min(ends), max(ends), whole)
    return None


def _pace(lower: str, whole: str) -> Target | None:
    two = re.match(r"\d+:\d\d\s*/(km|mi)\w*\s*(?:-|–|to)\s*\d+:\d\d\s*/(km|mi)", lower)
    if two and two.group(1) != two.group(2):
        raise UsageError(f"'{whole}': give both paces in one unit")
    lower = re.sub(r"(\d:\d\d)\s*/(?:km|mi|mile)(\s*(?:-|–|to)\s*\d+:\d\d\s*/)", r"\1\2", lower)
    pattern = rf"{PACE}\s*(?:(?:-|–|to)\s*{PACE})?\s*(?:min\s*)?(?:/|per |a )\s*(km|k|mile|mi)"
    if (found := re.fullmatch(pattern, lower)) is None:
        return None
    unit = MILE_M if found.group(3).startswith("mi") else 1000.0
    speeds = []
    for clock in (found.group(1), found.group(2) or found.group(1)):
        minutes, seconds = clock.split(":")
        if not int(minutes) + int(seconds):
            raise UsageError(f"'{whole}' cannot be run: give {LIMITS['pace'][2]}")
        speeds.append(unit / (60 * float(minutes) + float(seconds)))
    return _whole_paces(min(speeds), max(speeds), whole)


def _speed(lower: str, whole: str) -> Target | None:
    if (found := re.fullmatch(rf"{RANGE}\s*(km/h|kmh|kph|mph)", lower)) is None:
        return None
    hour = MILE_M if found.group(3) == "mph" else 1000.0
    ends = sorted(float(v.replace(",", ".")) * hour / 3600 for v in found.groups()[:2] if v)
    if not ends[0]:
        raise UsageError(f"'{whole}' cannot be run: give {LIMITS['pace'][2]}")
    return _whole_paces(ends[0], ends[-1], whole)


def _whole_paces(low: float, high: float, whole: str) -> Target:
    """A band of speeds [m/s] whose canonical paces are whole seconds a kilometre."""
    low, high = (1000 / max(round(1000 / v), 1) for v in (low, high))
    return checked("pace", low, high, whole)


def _exertion(lower: str, whole: str) -> Target | None:
    if found := re.fullmatch(r"(\d{1,2})\s*(?:/|out of)\s*10", lower):
        return checked("exertion", float(found.group(1)), float(found.group(1)), whole)
    return None


def _refuse_other_systems(lower: str, whole: str) -> None:
    if re.fullmatch(rf"{PACE}(?:\s*(?:-|–|to)\s*{PACE})?(?:\s*pace)?", lower):
        raise UsageError(f"'{whole}': a pace needs its unit, as 4:30/km or 7:15/mi")
    if re.search(r"\bzone|\bz\d|\bftp\b|vo2|\blt\d?\b|max ?hr|hr ?max", lower):
        raise UsageError(
            f"'{whole}': zones and thresholds of other systems are not known here: write a share of CP, as "
            "105 % CP, a domain, as in the severe domain, or beats, as 150 bpm"
        )


def _word(lower: str) -> Target | None:
    if re.fullmatch(r"cp|critical power", lower):
        return Target("cp", 1.0, 1.0)
    if race := re.fullmatch(r"(5|10|half marathon|half)\s*(?:k|km)?\s*(?:race )?(?:pace|effort)", lower):
        return Target("cp", *RACE_CP[race.group(1).removesuffix(" marathon")])
    if domain := re.fullmatch(r"(?:in )?(?:the )?(moderate|heavy|severe|extreme)(?: domain)?", lower):
        low, high = DOMAIN_CP[domain.group(1)]
        return Target("domain", low, high, domain.group(1))
    word = SAME.get(lower, lower)
    return Target("cp", *WORDS[word], word) if word in WORDS else None


def checked(quantity: Quantity, low: float, high: float, whole: str) -> Target:
    """A target within what can be run, in the unit of its quantity [W, m/s, bpm or a share]. Raises UsageError."""
    least, most, words = LIMITS[quantity]
    if not (least <= low and high <= most):
        raise UsageError(f"'{whole}' cannot be run: give {words}")
    return Target(quantity, low, high)
