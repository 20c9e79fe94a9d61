"""Sessions in plain trade English: steps and repeats, read from free wording and printed in one canonical wording."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

from footwork.errors import UsageError
from footwork.planning.session_steps import MOST_REPEATS, WORDS, Item, Repeat, Session, Step, Target
from footwork.planning.session_targets import NUMBER, checked, read_target
from footwork.quantities import MILE_M

METHOD_VERSION = 1
LONGEST_TEXT = 4000
LONGEST_S, LONGEST_M, MOST_STEPS = 24 * 3600.0, 300_000.0, 400


_NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_DURATION = re.compile(
    rf"(?P<unknown>\?)\s*(?:min(?:utes?)?|m(?:etres?)?|s(?:ec(?:onds?)?)?)?\b|(?P<pressed>until (?:i )?press(?:ed)?)"
    rf"|(?P<clock>\d+(?::[0-5]\d){{1,2}})(?:\s*min(?:utes?|s)?\b)?(?!\s*(?:-|–|to|/))"
    rf"|(?P<h>{NUMBER})\s*h(?:ours?|rs?)?\s*(?:(?P<hm>\d+)(?![\d.,])\s*(?:min(?:utes?)?)?)?\b"
    rf"|(?P<min>{NUMBER})\s*(?:min(?:utes?|s)?|′|')(?:\s*(?P<minsec>\d+)\s*(?:s(?:ec(?:onds?)?)?|″|\"))?(?![a-z])"
    rf"|(?P<s>{NUMBER})\s*(?:s(?:ec(?:onds?|s)?)?|″|\")(?![a-z])|(?P<km>{NUMBER})\s*(?:km|k|kilomet(?:re|er)s?)\b|(?P<mi>{NUMBER})\s*(?:mi|miles?)\b|(?P<m>{NUMBER})\s*m(?:et(?:re|er)s?)?\b",
    re.IGNORECASE,
)


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
        raise UsageError(re.sub(r"(?<!\w)'([^']{90})[^']{20,}'", r"'\1…'", str(error))) from None


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
            return replace(step, target=checked("pace", pace, pace, text))
    if re.fullmatch(r"(?:at )?\?\s*(?:w|watts?|% cp|%|/km)?", words, re.IGNORECASE):
        if step.unknown:
            raise UsageError("only one ? can be solved for")
        return replace(step, unknown="target")
    return replace(step, target=read_target(words, text)) if words else step


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
