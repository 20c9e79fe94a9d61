"""A session as steps, repeats and targets, and its one canonical wording."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from footwork.quantities import MILE_M, format_duration

MOST_REPEATS = 100

Quantity = Literal["cp", "watts", "domain", "w_prime", "pace", "heart_rate", "exertion"]


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


DOMAINS = ("moderate", "heavy", "severe", "extreme")


# Share of CP for a perceived exertion of 1 to 10, by common practice without a source; domains by their borders.
EXERTION_CP = {1: 0.45, 2: 0.55, 3: 0.65, 4: 0.75, 5: 0.82, 6: 0.89, 7: 0.95, 8: 1.0, 9: 1.07, 10: 1.2}


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
                return f"at {span(100 * self.low, 100 * self.high)} % CP"
            case "w_prime":
                return f"spending {span(100 * self.low, 100 * self.high)} % of W′"
            case "watts":
                return f"at {span(self.low, self.high)} W"
            case "heart_rate":
                return f"at {span(self.low, self.high)} bpm"
            case "exertion":
                return f"at exertion {span(self.low, self.high)}"
            case _:
                # The slower end first, as paces are said.
                slow, fast = (clock(1000 / v) for v in (self.low, self.high))
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
            size = time(self.seconds)
        elif self.metres is not None:
            size = way(self.metres)
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
        yield from unrolled(self.items, ())

    @property
    def unknowns(self) -> int:
        """How many ``?`` it holds, each counted once however often it is run."""
        return unknowns(self.items)


def folded(steps: Sequence[Item]) -> tuple[Item, ...]:
    """Steps with what comes again and again written as repeats: the longest saving first, from the left."""
    items = list(steps)
    before = 0
    while before != len(items):  # sets of repeats fold once their repeats have
        before = len(items)
        fold(items)
    return tuple(items)


def fold(items: list[Item]) -> None:
    """Write neighbouring alike steps as repeats, in place, the first saving found."""
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


def unrolled(items: Sequence[Item], at: tuple[int, ...]) -> Iterator[tuple[Step, tuple[int, ...]]]:
    for item in items:
        if isinstance(item, Step):
            yield item, at
        else:
            for k in range(item.count or 1):
                yield from unrolled(item.items, (*at, k + 1))


def unknowns(items: Sequence[Item]) -> int:
    """How many ``?`` there are."""
    return sum(int(bool(i.unknown)) if isinstance(i, Step) else int(i.count is None) + unknowns(i.items) for i in items)


def span(low: float, high: float) -> str:
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def clock(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02}"


def time(seconds: float) -> str:
    if seconds < 120 and seconds % 60:
        return f"{seconds:g} s"
    if seconds % 60 == 0 and seconds < 3 * 3600:
        return f"{seconds / 60:g} min"
    return format_duration(seconds)


def way(metres: float) -> str:
    quarters = round(4 * metres / MILE_M)
    if quarters and round(MILE_M * quarters / 4, 1) == metres and metres % 10:
        return f"{quarters / 4:g} mi"
    if metres < 50:
        return f"{metres:g} metres"
    return (
        f"{metres / 1000:g} km" if metres >= 1000 and metres % 100 == 0 else f"{metres:.1f}".removesuffix(".0") + " m"
    )


def possible(target: Target) -> bool:
    """Whether a target lies within what is run."""
    limit = LIMITS.get(target.quantity)
    return limit is None or bool(target.word) or (limit[0] <= target.low <= target.high <= limit[1])
