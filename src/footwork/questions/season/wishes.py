"""What is wished of a season: read from words, checked, and kept in the log as plain data."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from footwork.errors import UsageError
from footwork.physiology.load_ways import of_exertion
from footwork.planning import families, session_words
from footwork.planning.families import Family, Offer
from footwork.planning.preview import Runner
from footwork.planning.week_days import Kept
from footwork.quantities import as_distance, as_duration, parse_date

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
HALF_M = 21_097.5
SOONEST_DAYS, LATEST_DAYS = 10, 550
MOST_HOURS, MOST_RUNS = 30.0, 7
_NEXT_WISH = re.compile(rf";\s*(?=(?:{'|'.join(DAYS)})\w*\s|\d{{4}}-)", re.IGNORECASE)
FELT, FELT_HARD = 4.0, 7.0  # exertion of another sport's session that is not said to be hard, and of one that is
HARD_RIDE_MIN = 20.0  # hard minutes of one that is; our convention
LONGEST_ABSENCE_DAYS = 120


@dataclass(frozen=True)
class SeasonWishes:
    """Of a season: day, distance [m] and name of the race; hours a week at most, those of kept rides, swims and
    others among them; free weekdays (0 for Monday) and those liked for the long run; runs and hard sessions a week
    (None: as usual); every which week is an easier one; sessions kept to a weekday, in words; other races; absences;
    tests; a shelf of one's own; running time of a usual week [h], where the recordings do not tell it."""

    date: dt.date
    metres: float
    name: str
    climb: float = 0.0
    hours: float | None = None
    days: tuple[int, ...] = tuple(range(7))
    long: tuple[int, ...] = ()
    runs: int | None = None
    hard: int | None = None
    easier: int = 4
    keep: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    away: tuple[str, ...] = ()
    tests: bool = True
    shelf: tuple[dict[str, Any], ...] = ()
    usual: float | None = None
    said: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """As the log and a template keep it."""
        out = {k: v for k, v in vars(self).items() if v not in (None, (), "")}
        for name in ("keep", "also", "away", "shelf", "said"):
            if name in out:
                out[name] = list(out[name])
        return {
            **out,
            "date": self.date.isoformat(),
            "days": [DAYS[d] for d in self.days],
            "long": [DAYS[d] for d in self.long],
        }


def read_wishes(today: dt.date, told: dict[str, Any]) -> SeasonWishes:
    """SeasonWishes from what a command line, a page or a template tells.

    Raises
    ------
    UsageError
        What cannot be, with what to write instead.
    """
    given = {k: v for k, v in told.items() if v not in (None, "", (), [])}
    unknown = set(given) - set(SeasonWishes.__dataclass_fields__) - {"race", "distance"}
    if unknown:
        raise UsageError(f"a season has no {', '.join(sorted(unknown))}")
    day = _day(given.get("race", given.get("date")), "the race")
    _in_time(day, today)
    said = list(given.get("said", ()))
    metres = given.get("metres")
    if metres is None and "distance" not in given:
        said.append("No distance was said: planned for a half marathon.")
    metres = float(metres if metres is not None else as_distance(given.get("distance", HALF_M)))
    if not 800 <= metres <= 300_000:
        raise UsageError(f"a race of {metres:g} m cannot be planned for: give 800 m to 300 km")
    made = SeasonWishes(
        day,
        metres,
        str(given.get("name") or race_name(metres))[:60],
        float(given.get("climb", 0.0)),
        _hours(given.get("hours"), "a week"),
        _weekdays(given.get("days"), tuple(range(7))),
        _weekdays(given.get("long"), ()),
        _number(given.get("runs"), "runs a week", 1, MOST_RUNS),
        _number(given.get("hard"), "hard sessions a week", 0, 3),
        _easier(given.get("easier", 4)),
        _several(given.get("keep", ())),
        _several(given.get("also", ())),
        _several(given.get("away", ())),
        bool(told.get("tests", True)) if told.get("tests") is not None else True,
        tuple(given.get("shelf", ())),
        _hours(given.get("usual"), "a usual week"),
        tuple(dict.fromkeys(said)),
    )
    if made.shelf:
        families.read_families(list(made.shelf))
    strange = [DAYS[d] for d in made.long if d not in made.days]
    if strange:
        raise UsageError(f"the long run is wished for {strange[0]}, which is not one of the free days")
    for text in made.keep:
        read_kept(text)
    other_races(made, today)
    _some_day_open(made, today)
    return made


def _some_day_open(made: SeasonWishes, today: dt.date) -> None:
    closed = closed_days(made)
    if made.date in closed:
        raise UsageError(f"you are away on {made.date}, the day of the race: end the absence before it")
    ahead = (today + dt.timedelta(days=k) for k in range(1, (made.date - today).days))
    if all(day in closed or day.weekday() not in made.days for day in ahead):
        raise UsageError("no day until the race is free: name fewer absences, or more days")


def _day(told: Any, what: str) -> dt.date:
    if told is None:
        raise UsageError("a season needs the day of its race: --race 2027-03-14")
    return told if isinstance(told, dt.date) else parse_date(str(told))


def _in_time(day: dt.date, today: dt.date) -> None:
    left = (day - today).days
    if left <= 0:
        raise UsageError(f"the race on {day} is over: a plan is for a race to come")
    if left < SOONEST_DAYS:
        raise UsageError(
            f"the race is in {left} day{'s' if left > 1 else ''}: no training until then makes anyone faster. Run "
            "little, rest, and ask for the race itself"
        )
    if left > LATEST_DAYS:
        raise UsageError(f"the race on {day} is more than a year and a half away: plan for a nearer one first")


def race_name(metres: float) -> str:
    """What a race of a distance [m] is called."""
    for value, name in ((HALF_M, "half marathon"), (42_195.0, "marathon")):
        if abs(metres - value) < 10:
            return name
    return f"{metres / 1000:g} km" if metres >= 1000 else f"{metres:g} m"


def _several(told: Sequence[str]) -> tuple[str, ...]:
    """Wishes of one kind, each of its own or several with a ; between: before a weekday or a date, for within a session
    a ; parts its steps."""
    texts = [told] if isinstance(told, str) else told
    parts = (part.strip(" ;") for text in texts for part in _NEXT_WISH.split(str(text)))
    return tuple(dict.fromkeys(part for part in parts if part))  # said twice is wished once


def _hours(told: Any, what: str) -> float | None:
    if told is None:
        return None
    try:
        hours = float(str(told).lower().removesuffix("h").strip())
    except ValueError:
        short = re.fullmatch(r"(\d+:\d\d)\s*h?", str(told).strip().lower())  # of a week, 5:30 is hours and minutes
        hours = as_duration(f"{short.group(1)}:00" if short else str(told)) / 3600.0
    if not 0.25 <= hours <= MOST_HOURS:
        raise UsageError(f"{hours:g} hours {what} cannot be: give a quarter of an hour to {MOST_HOURS:g} h")
    return hours


def _number(told: Any, what: str, low: int, high: int) -> int | None:
    if told is None:
        return None
    text = str(told).strip()
    if not text.isascii() or not text.isdigit() or not low <= int(text) <= high:
        raise UsageError(f"'{told}' {what} cannot be: give {low} to {high}")
    return int(text)


def _easier(told: Any) -> int:
    if str(told).strip().lower() in ("none", "0"):
        return 0
    number = _number(told, "weeks between easier ones", 0, 5) or 0
    if number not in (0, 3, 4, 5):
        raise UsageError(f"every {number}. week an easier one is too often: give 3, 4, 5 or none")
    return number


def _weekdays(told: Any, without: tuple[int, ...]) -> tuple[int, ...]:
    if told is None:
        return without
    parts = re.split(r"[\s,;]+", told.strip().lower()) if isinstance(told, str) else [str(p).lower() for p in told]
    out = []
    for part in filter(None, parts):
        day = _weekday(part)
        if day is None:
            raise UsageError(f"'{part}' is no day of the week: write {', '.join(DAYS)}")
        out.append(day)
    if not out:
        raise UsageError("no day is free: name at least one, as tue,thu,sat,sun")
    return tuple(sorted(set(out)))


def _weekday(word: str) -> int | None:
    """Which day of the week a word names, written out or cut after three letters or more, with a full stop or as of
    many; None for no day."""
    word = word.lower().rstrip(".")
    word = word[:-1] if word.endswith("s") and word not in ("tues", "thurs") else word
    full = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
    return next((k for k, day in enumerate(full) if len(word) >= 3 and day.startswith(word)), None)


@dataclass(frozen=True)
class KeptDay:
    """A session that is kept to a weekday: words of a run, or another sport's minutes and whether it is hard."""

    weekday: int
    text: str
    minutes: float = 0.0
    hard: bool = False

    def offer(self, runner: Runner, border: float) -> Offer | None:
        """What it asks of a runner; None where it cannot be finished even if made kinder.

        ``border`` [W].
        """
        if self.minutes:
            load = of_exertion(self.minutes, FELT_HARD if self.hard else FELT)
            return Offer(self.text, families.OTHER, self.text, load, self.minutes, HARD_RIDE_MIN if self.hard else 0.0)
        made = families.offer(self.text, "easy", self.text, runner, border)
        return None if made is None else Offer("kept", made.purpose, made.text, made.load, made.minutes, made.hard)


def read_kept(text: str) -> KeptDay:
    """``tue 60 min easy``, ``wed swim 1 h``, ``sat ride 3 h hard``.

    Raises
    ------
    UsageError
        No weekday, or neither a session nor a ride or swim.
    """
    words = text.strip().split(None, 1)
    weekday = _weekday(words[0]) if words else None
    if len(words) < 2 or weekday is None:
        raise UsageError(f"'{text}' is kept to no day: write tue 60 min easy, or sat ride 3 h")
    rest = words[1].strip()
    other = re.match(r"(ride|swim|strength|walk|other)\b\s*(.*)$", rest, re.IGNORECASE)
    if other is None:
        return KeptDay(weekday, session_words.parse(rest).text())
    hard = bool(re.search(r"\bhard\b", other.group(2), re.IGNORECASE))
    lasts = re.sub(r"\b(hard|easy)\b", "", other.group(2), flags=re.IGNORECASE).strip(" ,")
    minutes = session_words.parse(f"{lasts} easy").steps() if lasts[:1].isdigit() else []
    seconds = sum(step.seconds or 0.0 for step, _ in minutes)
    if not seconds:
        raise UsageError(f"'{text}' has no duration: write sat ride 3 h")
    return KeptDay(weekday, " ".join(rest.split()), seconds / 60.0, hard)


def kept_sessions(made: SeasonWishes, first: dt.date, runner: Runner, border: float) -> tuple[Kept, ...]:
    """Kept sessions on their days until the race. ``border`` [W].

    Raises UsageError for one that cannot be finished.
    """
    out = []
    for text in made.keep:
        row = read_kept(text)
        offer = row.offer(runner, border)
        if offer is None:
            raise UsageError(f"'{text}' is more than can be finished: make it shorter or easier")
        day = first + dt.timedelta(days=(row.weekday - first.weekday()) % 7)
        while day < made.date:
            out.append(Kept(day, offer, on_foot=not row.minutes))
            day += dt.timedelta(days=7)
    return tuple(k for k in out if k.date not in closed_days(made))


def other_races(made: SeasonWishes, today: dt.date) -> list[tuple[dt.date, float, str]]:
    """Day, distance [m] and rank of the races beside: ``2027-01-17 10km B``.

    Raises
    ------
    UsageError
        What cannot be read, a second A race, or one that is not before the race of the plan.
    """
    out = []
    for text in made.also:
        parts = text.split()
        rank = parts.pop().upper() if parts and parts[-1].upper() in ("A", "B", "C") else "C"
        if len(parts) != 2:
            raise UsageError(f"'{text}' is no other race: write its day, distance and rank, as 2027-01-17 10km B")
        day, metres = parse_date(parts[0]), as_distance(parts[1])
        if rank == "A":
            raise UsageError(f"a plan is for one race, on {made.date}: make the one on {day} a B or C race")
        if not today < day < made.date:
            raise UsageError(f"the race on {day} does not lie between today and the race of the plan, {made.date}")
        out.append((day, metres, rank))
    days = sorted(day for day, _, _ in out)
    if len(set(days)) < len(days):
        raise UsageError("two races on one day: only one can be run")
    return sorted(out)


def closed_days(made: SeasonWishes) -> frozenset[dt.date]:
    """Days of absences: ``2026-12-24..2027-01-01``, or one day. Raises UsageError."""
    out: set[dt.date] = set()
    for text in made.away:
        ends = [parse_date(part.strip()) for part in text.split("..")]
        if len(ends) > 2 or ends[-1] < ends[0] or (ends[-1] - ends[0]).days > LONGEST_ABSENCE_DAYS:
            raise UsageError(
                f"'{text}' is no absence: write 2026-12-24..2027-01-01, at most {LONGEST_ABSENCE_DAYS} days"
            )
        out |= {ends[0] + dt.timedelta(days=k) for k in range((ends[-1] - ends[0]).days + 1)}
    return frozenset(out)


def shelf_of(made: SeasonWishes) -> list[Family]:
    """Families of one's own."""
    return families.read_families(list(made.shelf)) if made.shelf else []


def to_yaml(made: SeasonWishes) -> str:
    """A template: everything but the day of the race, other races and absences."""
    import yaml

    told = {k: v for k, v in made.to_json().items() if k not in ("date", "also", "away", "said")}
    return str(yaml.safe_dump(told, sort_keys=False, allow_unicode=True))


def from_yaml(path: Path) -> dict[str, Any]:
    """What a template or a shelf of one's own tells.

    Raises
    ------
    UsageError
        No such file, or no YAML of ours.
    """
    import yaml

    if not path.is_file():
        raise UsageError(f"there is no file {path}")
    try:
        found = yaml.safe_load(path.read_text(encoding="utf-8"))
    except (yaml.YAMLError, UnicodeDecodeError, ValueError):
        raise UsageError(f"{path.name} is no YAML") from None
    if isinstance(found, list):
        return {"shelf": found}
    if not isinstance(found, dict):
        raise UsageError(f"{path.name} holds no season: 'footwork season save' writes one")
    return found
