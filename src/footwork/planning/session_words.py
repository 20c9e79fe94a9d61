"""Sessions in plain trade English: steps and repeats, read from free wording and printed in one canonical wording."""

from __future__ import annotations

import contextlib
import difflib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from footwork.errors import UsageError
from footwork.quantities import MILE_M, format_duration

METHOD_VERSION = 1
Quantity = Literal["cp", "watts", "domain", "w_prime", "pace", "heart_rate", "exertion"]
LONGEST_TEXT = 4000
LONGEST_S, LONGEST_M, MOST_REPEATS, MOST_STEPS = 24 * 3600.0, 300_000.0, 100, 400
# What words mean as a share of CP: low and high; our conventions, after the trade's use.
WORDS: dict[str, tuple[float, float]] = {
    "rest": (0.0, 0.0),
    "walk": (0.25, 0.45),
    "jog": (0.50, 0.68),
    "easy jog": (0.50, 0.68),
    "easy": (0.62, 0.78),
    "steady": (0.78, 0.88),
    "marathon effort": (0.85, 0.92),
    "threshold": (0.94, 1.0),
    "hard": (1.03, 1.10),
    "strides": (1.25, 1.45),
    "all out": (1.5, 1.7),
}
_SAME = {
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
DOMAINS = ("moderate", "heavy", "severe", "extreme")
# Share of CP for a perceived exertion of 1 to 10, by common practice without a source; domains by their borders.
EXERTION_CP = {1: 0.45, 2: 0.55, 3: 0.65, 4: 0.75, 5: 0.82, 6: 0.89, 7: 0.95, 8: 1.0, 9: 1.07, 10: 1.2}
RACE_CP = {
    "5": (1.0, 1.03),
    "10": (0.96, 0.99),
    "half": (0.90, 0.93),
}  # what a race of that length is run at; our conventions
DOMAIN_CP = {"moderate": (0.62, 0.78), "heavy": (0.82, 0.98), "severe": (1.02, 1.12), "extreme": (1.25, 1.5)}
LIMITS: dict[str, tuple[float, float, str]] = {
    "cp": (0.2, 3.0, "20 to 300 % of CP"),
    "watts": (30, 1500, "30 to 1500 W"),
    "w_prime": (0.01, 1.0, "1 to 100 % of W′"),
    "pace": (1.0, 9.0, "1:51 to 16:40 a kilometre"),
    "heart_rate": (60, 230, "60 to 230 bpm"),
    "exertion": (1, 10, "1 to 10"),
}


@dataclass(frozen=True)
class Target:
    """How hard: a quantity and its band; shares of CP and W′ as numbers from 0, pace as speed [m/s]. ``word`` is the
    trade's word that it came from, or the domain's name. A band of one value is a single value."""

    quantity: Quantity
    low: float
    high: float
    word: str = ""

    @property
    def middle(self) -> float:
        return 0.5 * (self.low + self.high)

    def text(self) -> str:
        """Canonical wording."""
        if self.quantity == "domain":
            return f"in the {self.word} domain"
        if self.word:
            return self.word
        one = self.low == self.high
        match self.quantity:
            case "cp":
                return f"at {_span(100 * self.low, 100 * self.high)} % CP"
            case "w_prime":
                return f"spending {_span(100 * self.low, 100 * self.high)} % of W′"
            case "watts":
                return f"at {_span(self.low, self.high)} W"
            case "heart_rate":
                return f"at {_span(self.low, self.high)} bpm"
            case "exertion":
                return f"at exertion {_span(self.low, self.high)}"
            case _:
                # The slower end first, as paces are said.
                slow, fast = (_clock(1000 / v) for v in (self.low, self.high))
                return f"at {slow}/km" if one else f"at {slow} to {fast}/km"


@dataclass(frozen=True)
class Step:
    """One step: how long [s], how far [m], or until pressed (neither); ``unknown`` where ``?`` stands for the duration
    or the target."""

    target: Target | None
    seconds: float | None = None
    metres: float | None = None
    unknown: Literal["", "duration", "target"] = ""

    def text(self) -> str:
        """Canonical wording."""
        if self.unknown == "duration":
            size = "? min"
        elif self.seconds is not None:
            size = _time(self.seconds)
        elif self.metres is not None:
            size = _way(self.metres)
        else:
            size = "until pressed"
        how = "at ?" if self.unknown == "target" else self.target.text() if self.target else ""
        return f"{size} {how}".strip()


@dataclass(frozen=True)
class Repeat:
    """Items run again and again; ``count`` is None where ``?`` stands for it."""

    count: int | None
    items: tuple[Item, ...]

    def text(self) -> str:
        inside = ", ".join(i.text() for i in self.items)
        number = "?" if self.count is None else str(self.count)
        return (
            f"{number} x ({inside})"
            if len(self.items) > 1 or isinstance(self.items[0], Repeat)
            else f"{number} x {inside}"
        )


Item = Step | Repeat


@dataclass(frozen=True)
class Session:
    """A session: its items in order."""

    items: tuple[Item, ...]

    def text(self) -> str:
        """The one canonical wording; reading it gives the same session."""
        return ", ".join(i.text() for i in self.items)

    def steps(self) -> Iterator[tuple[Step, tuple[int, ...]]]:
        """Steps in the order they are run, each with its number in every repeat around it, the outermost first."""
        yield from _unrolled(self.items, ())

    @property
    def unknowns(self) -> int:
        """How many ``?`` it holds, each counted once however often it is run."""
        return _unknowns(self.items)


def folded(steps: Sequence[Item]) -> tuple[Item, ...]:
    """Steps with what comes again and again written as repeats: the longest saving first, from the left."""
    items = list(steps)
    before = 0
    while before != len(items):  # sets of repeats fold once their repeats have
        before = len(items)
        _fold(items)
    return tuple(items)


def _fold(items: list[Item]) -> None:
    for size in range(1, 5):
        at = 0
        while at + 2 * size <= len(items):
            block, count = items[at : at + size], 1
            while items[at + count * size : at + (count + 1) * size] == block:
                count += 1
            # The last rest of a set is often left out or another: a set still reads as one with it apart.
            count = min(count, MOST_REPEATS)
            if count > 1 and not (size == 1 and isinstance(block[0], Repeat)):
                items[at : at + count * size] = [Repeat(count, tuple(block))]
            at += 1


def _unrolled(items: Sequence[Item], at: tuple[int, ...]) -> Iterator[tuple[Step, tuple[int, ...]]]:
    for item in items:
        if isinstance(item, Step):
            yield item, at
        else:
            for k in range(item.count or 1):
                yield from _unrolled(item.items, (*at, k + 1))


def _unknowns(items: Sequence[Item]) -> int:
    return sum(
        int(bool(i.unknown)) if isinstance(i, Step) else int(i.count is None) + _unknowns(i.items) for i in items
    )


def _span(low: float, high: float) -> str:
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def _clock(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02}"


def _time(seconds: float) -> str:
    if seconds < 120 and seconds % 60:
        return f"{seconds:g} s"
    if seconds % 60 == 0 and seconds < 3 * 3600:
        return f"{seconds / 60:g} min"
    return format_duration(seconds)


def _way(metres: float) -> str:
    quarters = round(4 * metres / MILE_M)
    if quarters and round(MILE_M * quarters / 4, 1) == metres and metres % 10:
        return f"{quarters / 4:g} mi"
    if metres < 50:
        return f"{metres:g} metres"
    return (
        f"{metres / 1000:g} km" if metres >= 1000 and metres % 100 == 0 else f"{metres:.1f}".removesuffix(".0") + " m"
    )


_NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_NUMBER = r"\d+(?:[.,]\d+)?"
_RANGE = rf"({_NUMBER})\s*(?:(?:-|–|to)\s*({_NUMBER}))?"
_DURATION = re.compile(
    rf"(?P<unknown>\?)\s*(?:min(?:utes?)?|m(?:etres?)?|s(?:ec(?:onds?)?)?)?\b|(?P<pressed>until (?:i )?press(?:ed)?)"
    rf"|(?P<clock>\d+(?::[0-5]\d){{1,2}})(?!\s*(?:-|–|to|/))"
    rf"|(?P<h>{_NUMBER})\s*h(?:ours?|rs?)?\s*(?:(?P<hm>\d+)(?![\d.,])\s*(?:min(?:utes?)?)?)?\b"
    rf"|(?P<min>{_NUMBER})\s*(?:min(?:utes?|s)?|′|')(?:\s*(?P<minsec>\d+)\s*(?:s(?:ec(?:onds?)?)?|″|\"))?(?![a-z])"
    rf"|(?P<s>{_NUMBER})\s*(?:s(?:ec(?:onds?|s)?)?|″|\")(?![a-z])|(?P<km>{_NUMBER})\s*(?:km|k|kilomet(?:re|er)s?)\b|(?P<mi>{_NUMBER})\s*(?:mi|miles?)\b|(?P<m>{_NUMBER})\s*m(?:et(?:re|er)s?)?\b",
    re.IGNORECASE,
)
_PACE = r"(\d+:[0-5]\d)"


def parse(text: str) -> Session:
    """A session of one line, as ``15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy``.

    Steps are divided by commas, ``+``, ``;`` or ``then``. A step is a duration (time, distance or ``until pressed``)
    and how hard: a share of CP, watts, a domain, a share of W′ spent, a pace, a heart rate, an exertion from 1 to 10,
    or a word of the trade. ``?`` stands for one unknown.

    Raises
    ------
    UsageError
        What cannot be read, with the place; a step of no length; repeats without end; an intensity that nobody runs.
    """
    try:
        return _parsed(text)
    except UsageError as error:  # what was typed is echoed in part
        raise UsageError(re.sub(r"'([^']{90})[^']{20,}'", r"'\1…'", str(error))) from None


def _parsed(text: str) -> Session:
    clean = ", ".join(line for line in text.replace("×", "x").replace("’", "'").splitlines() if line.strip())
    clean = " ".join(clean.split())
    # What coaches shorten: w/, off 90 s, full stops between steps, per cent, 5 * 3 min.
    for pattern, plain in (
        (r"\bw/u\b", "warm up"),
        (r"\bc/d\b", "cool down"),
        (r"\bhalf an hour\b", "30 min"),
        (r"\b(?:an|one) hour\b", "1 h"),
        (
            rf"\b({'|'.join(_NUMBERS)})\b(?=\s*(?:x|times|sets?|min\w*|sec\w*|h(?:ours?)?|k|m|km|metres?|meters?|miles?)\b)",
            lambda f: str(_NUMBERS.index(f.group().lower()) + 1),
        ),
        (r"\brec\b", "recovery"),
        (r"\bw/\s*", "with "),
        (r"\boff\s+(?=\d)", "with "),
        (r"\bper\s?cent\b", "%"),
        (r"(?<=[a-z])\.(?=\s|$)", ","),
        (r"(?<=\d)\s*\*\s*(?=[\d(])", " x "),
    ):
        clean = re.sub(pattern, plain, clean, flags=re.IGNORECASE)
    clean = clean.strip(" ,")
    if len(clean) > LONGEST_TEXT or re.search(r"\d{7}", clean):
        raise UsageError(f"a session is at most {LONGEST_TEXT} characters, with numbers of at most six digits")
    if not clean:
        raise UsageError("an empty session: write steps, as 15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog)")
    items, rest = _items(clean, 0)
    if rest != len(clean):
        raise UsageError(f"a bracket closes that was not opened: '{clean[max(rest - 15, 0) : rest + 1]}'")
    made = Session(tuple(items))
    if sum(1 for _ in _limited(made)) > MOST_STEPS:
        raise UsageError(f"this session has more than {MOST_STEPS} steps: a watch and a runner hold fewer")
    if made.unknowns > 1:
        raise UsageError("only one ? can be solved for")
    return made


def _limited(session: Session) -> Iterator[Step]:
    for index, (step, _) in enumerate(session.steps()):
        if index > MOST_STEPS:
            return
        yield step


def _items(text: str, at: int, depth: int = 0) -> tuple[list[Item], int]:
    """Items from a place on to the closing bracket or the end."""
    if depth > 4:
        raise UsageError("repeats within repeats within repeats: four deep is enough")
    out: list[Item] = []
    start = at
    while at <= len(text):
        here = text[at] if at < len(text) else ""
        if here == "(":
            head = text[start:at].strip().strip(",;+").strip()
            # A bracket behind repeats holds the rest after each, as 5 x 4 min hard (2 min jog).
            before = (
                _piece(head) if re.match(r"(?:\d+|\?)\s*(?:x|times|sets? of)\s*\S*\d", head, re.IGNORECASE) else None
            )
            count = _count(head) if before is None else None
            inner, at = _items(text, at + 1, depth + 1)
            if at >= len(text) or text[at] != ")":
                raise UsageError(f"the bracket after '{head or '('}' is never closed")
            if not inner:
                raise UsageError(f"there is nothing to repeat in '{head} ()'")
            if before is None:
                out.append(_repeat(count, inner))
            elif isinstance(before, Repeat):
                rests = [_rested(i) for i in inner]
                out.append(replace(before, items=(*before.items, *rests)))
            else:
                raise UsageError(f"'{head}' before a bracket is no number of repeats: write 5 x (...)")
            at += 1
            start = at
            continue
        parting = re.compile(r"(?:(?<!\d),|,(?!\d)|;|\+|\bthen\b)\s*", re.IGNORECASE).match(text, at)
        if here in ("", ")") or parting:
            piece = text[start:at].strip()
            if piece.lower().startswith("with ") and out and isinstance(out[-1], Repeat):
                out[-1] = replace(out[-1], items=(*out[-1].items, _rested(_step(piece[5:]))))
            elif piece:
                out.append(_piece(piece))
            if not parting:
                return out, at
            at = parting.end()
            start = at
            continue
        at += 1
    return out, at


_COUNT = r"(?:(\d+)|(\?))\s*(?:x|times|sets?|\*)?(?:\s*of)?"


def _rested(item: Item) -> Item:
    """A rest that says no more than how long it is, is jogged."""
    if isinstance(item, Step) and item.target is None and not item.unknown:
        return replace(item, target=Target("cp", *WORDS["easy jog"], "easy jog"))
    return item


def _count(head: str) -> int | None:
    found = re.fullmatch(_COUNT, head.lower())
    if head and found is None:
        raise UsageError(f"'{head}' before a bracket is no number of repeats: write 5 x (...)")
    if not head:
        return 1
    assert found is not None
    return None if found.group(2) else int(found.group(1))


def _repeat(count: int | None, inner: Sequence[Item]) -> Item:
    if count is not None and not 1 <= count <= MOST_REPEATS:
        raise UsageError(f"{count} repeats cannot be run: give 1 to {MOST_REPEATS}")
    return Repeat(count, tuple(inner))


def _piece(text: str) -> Item:
    """A step, or ``6 x 800 m at 110 % CP`` without brackets."""
    many = re.match(r"(?:(\d+)|(\?))\s*(?:x|times|sets?(?=\s+of))\s+(?:of\s+)?", text, re.IGNORECASE) or re.match(
        r"(?:(\d+)|(\?))\s*x\s*(?=\d)", text, re.IGNORECASE
    )
    if many:
        # What comes "with" the repeats is the rest after each.
        parts = re.split(r"\s+with\s+(?=\d)", text[many.end() :], maxsplit=1, flags=re.IGNORECASE)
        return _repeat(_count(many.group().strip()), [_step(parts[0]), *(_rested(_step(part)) for part in parts[1:])])
    return _step(text)


def _step(text: str) -> Step:
    found = _DURATION.search(text)
    if found is None:
        if re.search(r"\bfor\s*ever|until (?:tired|exhausted|failure)|as long as", text, re.IGNORECASE):
            raise UsageError(f"'{text}' has no end: give it a time, a distance, or 'until pressed'")
        raise UsageError(
            f"'{text}' has no duration: begin with a time or a distance, as 4 min, 90 s, 1:30, 800 m or 'until pressed'"
        )
    step = _size(found, text)
    words = f"{text[: found.start()]} {text[found.end() :]}"
    words = re.sub(r"\b(?:of|for|with|running|run|then|between|rest of)\b", " ", words, flags=re.IGNORECASE)
    words = " ".join(words.split()).strip(" .:-")
    if step.metres and (told := re.fullmatch(r"in (.+)", words, re.IGNORECASE)):
        lasts = _DURATION.fullmatch(told.group(1).strip())
        seconds = _size(lasts, text).seconds if lasts else None
        if seconds:  # 400 m in 88 s is a pace
            pace = 1000 / max(round(1000 * seconds / step.metres), 1)
            return replace(step, target=_checked("pace", pace, pace, text))
    if re.fullmatch(r"(?:at )?\?\s*(?:w|watts?|% cp|%|/km)?", words, re.IGNORECASE):
        if step.unknown:
            raise UsageError("only one ? can be solved for")
        return replace(step, unknown="target")
    return replace(step, target=_target(words, text)) if words else step


def _size(found: re.Match[str], text: str) -> Step:
    group = {k: v for k, v in found.groupdict().items() if v}

    def number(name: str) -> float:
        return float(group[name].replace(",", "."))

    seconds = metres = None
    if "unknown" in group:
        return Step(None, unknown="duration")
    if "pressed" in group:
        return Step(None)
    if "clock" in group:
        seconds = 0.0
        for part in group["clock"].split(":"):
            seconds = 60 * seconds + float(part)
    elif "h" in group:
        seconds = 3600 * number("h") + 60 * float(group.get("hm", 0))
    elif "min" in group:
        seconds = 60 * number("min") + float(group.get("minsec", 0))
    elif "s" in group:
        seconds = number("s")
    elif "km" in group:
        metres = round(1000 * number("km"), 1)
    elif "mi" in group:
        metres = round(MILE_M * number("mi"), 1)
    else:
        metres = round(number("m"), 1)
    if "m" in group and number("m") < 50 and not re.search(r"met(?:re|er)", found.group(), re.IGNORECASE):
        raise UsageError(f"'{text}': write {group['m']} min for minutes, or {group['m']} metres")
    seconds = None if seconds is None else float(round(seconds))
    if (seconds is not None and not 1 <= seconds <= LONGEST_S) or (metres is not None and not 0 < metres <= LONGEST_M):
        raise UsageError(f"'{text}' cannot be run: a step lasts at least a second and at most a day, or 300 km")
    return Step(None, seconds, metres)


def _target(words: str, whole: str) -> Target:
    lower = words.lower().removeprefix("at ").removeprefix("@").strip().removeprefix("about ").removeprefix("around ")

    def band(found: re.Match[str], quantity: Quantity, scale: float = 1.0) -> Target:
        digits = 4 if scale < 1 else 1  # as many as the wording prints
        low = round(float(found.group(1).replace(",", ".")) * scale, digits)
        high = low if found.group(2) is None else round(float(found.group(2).replace(",", ".")) * scale, digits)
        return _checked(quantity, min(low, high), max(low, high), whole)

    two = re.match(r"\d+:\d\d\s*/(km|mi)\w*\s*(?:-|–|to)\s*\d+:\d\d\s*/(km|mi)", lower)
    if two and two.group(1) != two.group(2):
        raise UsageError(f"'{whole}': give both paces in one unit")
    lower = re.sub(r"(\d:\d\d)\s*/(?:km|mi|mile)(\s*(?:-|–|to)\s*\d+:\d\d\s*/)", r"\1\2", lower)
    pace = rf"{_PACE}\s*(?:(?:-|–|to)\s*{_PACE})?\s*(?:min\s*)?(?:/|per |a )\s*(km|k|mile|mi)"
    for pattern, quantity, scale in (
        (rf"(?:spend(?:ing)?\s*)?{_RANGE}\s*%\s*(?:of )?(?:the )?(?:w'|w′|w prime)", "w_prime", 0.01),
        (rf"{_RANGE}\s*%\s*(?:of )?(?:cp|critical power)", "cp", 0.01),
        (rf"{_RANGE}\s*(?:w|watts?)", "watts", 1.0),
        (rf"{_RANGE}\s*(?:bpm|beats(?: a minute)?)", "heart_rate", 1.0),
        (rf"(?:heart rate|hr)\s*{_RANGE}", "heart_rate", 1.0),
        (rf"(?:rpe|exertion|perceived exertion|effort)\s*{_RANGE}(?:\s*(?:/|of)\s*10)?", "exertion", 1.0),
    ):
        found = re.fullmatch(pattern, lower)
        if found:
            return band(found, quantity, scale)  # type: ignore[arg-type]
    if found := re.fullmatch(pace, lower):
        unit = MILE_M if found.group(3).startswith("mi") else 1000.0
        speeds = []
        for clock in (found.group(1), found.group(2) or found.group(1)):
            minutes, seconds = clock.split(":")
            if not int(minutes) + int(seconds):
                raise UsageError(f"'{whole}' cannot be run: give {LIMITS['pace'][2]}")
            speeds.append(unit / (60 * float(minutes) + float(seconds)))
        # Canonical paces are whole seconds a kilometre.
        low, high = (1000 / max(round(1000 / v), 1) for v in (min(speeds), max(speeds)))
        return _checked("pace", low, high, whole)
    if found := re.fullmatch(rf"{_RANGE}\s*(km/h|kmh|kph|mph)", lower):
        hour = MILE_M if found.group(3) == "mph" else 1000.0
        ends = sorted(float(v.replace(",", ".")) * hour / 3600 for v in found.groups()[:2] if v)
        if not ends[0]:
            raise UsageError(f"'{whole}' cannot be run: give {LIMITS['pace'][2]}")
        low, high = (1000 / max(round(1000 / v), 1) for v in (ends[0], ends[-1]))
        return _checked("pace", low, high, whole)
    if found := re.fullmatch(r"(\d{1,2})\s*(?:/|out of)\s*10", lower):
        return _checked("exertion", float(found.group(1)), float(found.group(1)), whole)
    if re.fullmatch(rf"{_PACE}(?:\s*(?:-|–|to)\s*{_PACE})?(?:\s*pace)?", lower):
        raise UsageError(f"'{whole}': a pace needs its unit, as 4:30/km or 7:15/mi")
    if re.search(r"\bzone|\bz\d|\bftp\b|vo2|\blt\d?\b|max ?hr|hr ?max", lower):
        raise UsageError(
            f"'{whole}': zones and thresholds of other systems are not known here: write a share of CP, as "
            "105 % CP, a domain, as in the severe domain, or beats, as 150 bpm"
        )
    if re.fullmatch(r"cp|critical power", lower):
        return Target("cp", 1.0, 1.0)
    if race := re.fullmatch(r"(5|10|half marathon|half)\s*(?:k|km)?\s*(?:race )?(?:pace|effort)", lower):
        return Target("cp", *RACE_CP[race.group(1).removesuffix(" marathon")])
    domain = re.fullmatch(r"(?:in )?(?:the )?(moderate|heavy|severe|extreme)(?: domain)?", lower)
    if domain:
        low, high = DOMAIN_CP[domain.group(1)]
        return Target("domain", low, high, domain.group(1))
    word = _SAME.get(lower, lower)
    if word in WORDS:
        return Target("cp", *WORDS[word], word)
    if re.fullmatch(rf"{_RANGE}\s*%", lower):
        raise UsageError(f"'{whole}': per cent of what? write {lower} CP, or {lower} of W'")
    # Two words of one intensity, as easy at 5:30/km or jog recovery: the second, which is often a number.
    parts = lower.split()
    for k in range(len(parts) - 1, 0, -1):
        first = " ".join(parts[:k])
        if _SAME.get(first, first) in WORDS:
            with contextlib.suppress(UsageError):
                return _target(" ".join(parts[k:]), whole)
    near = difflib.get_close_matches(lower, [*WORDS, *_SAME], 1)
    hint = f" (did you mean {near[0]}?)" if near else ""
    raise UsageError(
        f"'{whole}': '{words}' is no intensity{hint}: write 105 % CP, 280 W, 4:30/km, 150 bpm, exertion 7, in "
        f"the heavy domain, 30 % of W', or one of {', '.join(WORDS)}"
    )


def possible(target: Target) -> bool:
    """Whether a target lies within what is run."""
    limit = LIMITS.get(target.quantity)
    return limit is None or bool(target.word) or (limit[0] <= target.low <= target.high <= limit[1])


def _checked(quantity: Quantity, low: float, high: float, whole: str) -> Target:
    least, most, words = LIMITS[quantity]
    if not (least <= low and high <= most):
        raise UsageError(f"'{whole}' cannot be run: give {words}")
    return Target(quantity, low, high)
