"""Families of sessions by purpose, each in several sizes, from which a week is put together, and what each size asks of
a runner: load, minutes, hard minutes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from footwork.errors import UsageError
from footwork.planning import preview, session_words
from footwork.planning.preview import KINDER, Runner

PURPOSES = ("easy", "long", "threshold", "severe", "hills", "race", "test")
OTHER = "other"  # purpose of a session of another sport
HARD_PURPOSES = ("threshold", "severe", "hills", "race", "test")
HARD_MIN = 8.0  # minutes above the moderate border from which a session is hard; our convention
LONG_MIN = 75.0  # a run as long as that is demanding by its length alone; our convention


@dataclass(frozen=True)
class Family:
    """Sessions of one purpose that differ in size: ``text`` holds ``{n}``, which takes each of ``sizes``."""

    name: str
    purpose: str
    text: str
    sizes: tuple[int, ...]


@dataclass(frozen=True)
class Offer:
    """One session that a week may hold: load [CP-min], minutes in all and minutes above the moderate border [min], and
    flat distance [m], nan where speed at power is not known."""

    name: str
    purpose: str
    text: str
    load: float
    minutes: float
    hard: float
    metres: float = float("nan")

    @property
    def is_hard(self) -> bool:
        return self.purpose in HARD_PURPOSES or self.hard >= HARD_MIN

    @property
    def demanding(self) -> bool:
        """Hard or long: 48 h lie between two of these. Long hours of another sport spare the legs."""
        return self.is_hard or (self.purpose != OTHER and (self.purpose == "long" or self.minutes >= LONG_MIN))


# Each at most a tenth more than the one before, so that a longest run can grow within its bound.
SIZES = (20, 25, 30, 33, 36, 39, 42, 46, 50, 55, 60, 65, 70)
EASY = (
    Family("easy run", "easy", "{n} min easy", (20, 25, *SIZES[2:])),
    Family("easy run with strides", "easy", "{n} min easy, 5 x (20 s strides, 70 s easy jog), 5 min easy", (30, 40)),
)
LONG = Family("long run", "long", "{n} min easy", (*SIZES[3:], *range(75, 245, 5)))
STEADY_END = Family(
    "long run with a steady end", "long", "{n} min easy, 20 min at 85 to 90 % CP, 5 min easy", tuple(range(40, 185, 5))
)
HARD = (
    Family(
        "threshold repeats",
        "threshold",
        "15 min easy, {n} x (8 min threshold, 2 min easy jog), 10 min easy",
        (2, 3, 4, 5),
    ),
    Family(
        "four minutes", "severe", "15 min easy, {n} x (4 min at 105 % CP, 2 min easy jog), 10 min easy", (2, 3, 4, 5, 6)
    ),
    Family("hills", "hills", "15 min easy, {n} x (75 s at 115 % CP, 2 min easy jog), 10 min easy", (6, 8, 10, 12)),
)
TEST = Family(
    "test: 12 and 3 minutes",
    "test",
    "15 min easy, 3 x (20 s strides, 1 min easy jog), 5 min easy, {n} min all out, 30 min easy jog, 3 min all out, "
    "10 min easy",
    (12,),
)


def race_family(share: float, minutes: float) -> Family:
    """Sessions near a race's power.

    Parameters
    ----------
    share : float
        The race's power over CP [1].
    minutes : float
        How long the race takes [min].
    """
    piece, rest = (3, 2) if minutes <= 30 else (6, 2) if minutes <= 60 else (10, 3) if minutes <= 130 else (15, 3)
    low, high = round(100 * (share - 0.015)), round(100 * (share + 0.015))
    text = f"15 min easy, {{n}} x ({piece} min at {low} to {high} % CP, {rest} min easy jog), 10 min easy"
    return Family("race rehearsal", "race", text, (2, 3, 4, 5))


def offers(families: Iterable[Family], runner: Runner, border: float) -> list[Offer]:
    """What each size of each family asks; a size that is not finished four days in five is made kinder, or left out.

    Parameters
    ----------
    families : iterable of Family
    runner : Runner
    border : float
        Between the moderate and the heavy domain [W].

    Raises
    ------
    UsageError
        A family whose text is no session.
    """
    out: dict[tuple[str, str], Offer] = {}
    for family in families:
        for size in family.sizes:
            made = offer(family.name, family.purpose, family.text.replace("{n}", str(size)), runner, border)
            if made is not None:
                out.setdefault((made.purpose, made.text), made)
    return list(out.values())


def offer(name: str, purpose: str, text: str, runner: Runner, border: float, as_it_is: bool = False) -> Offer | None:
    """What a session asks, or its kinder version; None where neither is finished four days in five. A test empties by
    design and is taken ``as_it_is``, as is what was accepted before."""
    session = session_words.parse(text)
    if session.unknowns:
        raise UsageError(f"a session of a plan holds no ?: '{text}'")
    rows = preview.preview(session, runner)
    if purpose != "test" and not as_it_is and rows[-1].dry_by > KINDER:
        kinder = preview.eased(session, runner)
        if kinder is None:
            return None
        session = kinder[0]
        rows = preview.preview(session, runner)
    # Rounded to what anybody could tell apart, so that the last digits of a processor do not choose between plans.
    return Offer(
        name,
        purpose,
        session.text(),
        round(preview.cp_minutes(rows, runner.accepted), 1),
        round(sum(r.seconds for r in rows) / 60.0, 1),
        round(sum(r.seconds for r in rows if r.power >= border) / 60.0, 1),
        sum(r.seconds * r.speed for r in rows if r.power > 30),
    )


def read_families(rows: object) -> list[Family]:
    """A coach's own families: a list of ``name``, ``purpose``, ``text`` with ``{n}`` and ``sizes``.

    Raises
    ------
    UsageError
        Another shape, an unknown purpose, or a text that is no session; the name of the family is in the sentence.
    """
    out = []
    for place, row in enumerate(rows if isinstance(rows, list) else [], 1):
        if not isinstance(row, dict) or not isinstance(row.get("text"), str):
            raise UsageError(f"session {place} of the shelf holds no text: write name, purpose, text and sizes")
        name = str(row.get("name") or f"session {place}")
        purpose, sizes = row.get("purpose"), row.get("sizes", [1])
        if purpose not in PURPOSES:
            raise UsageError(f"'{name}' has no purpose: write one of {', '.join(PURPOSES)}")
        whole = isinstance(sizes, list) and all(isinstance(s, int) and 1 <= s <= 300 for s in sizes) and sizes
        if not whole or len(sizes) > 20:
            raise UsageError(f"the sizes of '{name}' are whole numbers from 1 to 300, as [3, 4, 5]")
        for size in sizes:
            try:
                session_words.parse(row["text"].replace("{n}", str(size)))
            except UsageError as error:
                raise UsageError(f"'{name}': {error}") from None
        out.append(Family(name, str(purpose), row["text"], tuple(sizes)))
    if not out:
        raise UsageError("a shelf of one's own is a list of sessions: name, purpose, text with {n}, sizes")
    return out
