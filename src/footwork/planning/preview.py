"""What a session asks of a runner before it is run: power, pace, W′, load, and whether it can be finished; and what is
unknown in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from footwork.errors import UsageError
from footwork.physiology.endurance import power_at, time_to_exhaustion
from footwork.physiology.load_ways import weight
from footwork.physiology.reserve import EXHAUSTION_SD_J
from footwork.planning.session_steps import DOMAIN_CP, EXERTION_CP, Item, Repeat, Session, Step, Target
from footwork.quantities import Floats

METHOD_VERSION = 1
OPEN_S = 300.0  # how long a step until pressed is taken to last; our convention
KINDER = 0.2  # chance of running dry that a kinder version keeps under
MOST_SOLVED = 40
BAND = 0.03  # half-width of a band around a single value; our convention
RECOVERY_CP = 0.8  # steps under this share of CP are no repeats
ALL_OUT, SHORTEST_LIMIT_S = "all out", 60.0  # from a minute on all out is what can be held for so long
UNTOLD_CP = 0.7  # a step without a target is run easily


@dataclass(frozen=True)
class Runner:
    """Joint draws of CP [W], W′ [J] and γ; accepted CP [W], which shares are of; flat speed [m/s] at a power [W]; power
    [W] at a heart rate [bpm], or None."""

    critical_power: Floats
    w_prime: Floats
    tail: Floats
    accepted: float
    speed: Callable[[Floats], Floats] | None = None
    power_of_speed: Callable[[float], float] | None = None
    power_of_heart: Callable[[float], float] | None = None


@dataclass(frozen=True)
class Row:
    """One step as it will be run: power and its band [W], duration [s], flat speed [m/s] or nan, its number in the
    repeats around it; W′ left at its end, low, middle and high [J]; chance that the runner has run dry by its end, and
    in it."""

    step: Step
    at: tuple[int, ...]
    power: float
    low: float
    high: float
    seconds: float
    speed: float
    w_prime: tuple[float, float, float]
    dry_by: float
    dry_in: float


def watts(target: Target | None, runner: Runner, seconds: float | None) -> tuple[float, float]:
    """Band of power [W] of a target.

    Raises
    ------
    UsageError
        A target that this runner's evidence cannot turn into watts.
    """
    if target is None:
        return UNTOLD_CP * runner.accepted, UNTOLD_CP * runner.accepted
    ends = (target.low, target.high)
    if target.word == ALL_OUT and seconds is not None and seconds >= SHORTEST_LIMIT_S:
        limit = float(np.median(power_at(seconds, runner.critical_power, runner.w_prime, runner.tail)))
        return limit, limit
    match target.quantity:
        case "cp":
            low, high = (v * runner.accepted for v in ends)
        case "domain":
            low, high = (v * runner.accepted for v in DOMAIN_CP[target.word])
        case "watts":
            low, high = ends
        case "exertion":
            low, high = (
                runner.accepted * float(np.interp(v, list(EXERTION_CP), list(EXERTION_CP.values()))) for v in ends
            )
        case "w_prime":
            if not seconds:
                raise UsageError("a share of W′ is spent over a time: give that step minutes, not metres")
            store = float(np.median(runner.w_prime))
            low, high = (float(np.median(runner.critical_power)) + v * store / seconds for v in ends)
        case "pace":
            if runner.power_of_speed is None:
                raise UsageError(
                    "a pace becomes watts by power at speed, which is not known: ten steady flat minutes give it"
                )
            low, high = (runner.power_of_speed(v) for v in ends)
        case _:
            if runner.power_of_heart is None:
                raise UsageError(
                    "a heart rate becomes watts by steady running with heart rate, of which there is not enough"
                )
            low, high = (runner.power_of_heart(v) for v in ends)
    return float(low), float(high)


def _all_out_s(step: Step, runner: Runner) -> float | None:
    """How long a step lasts, also where it is all out over a distance, which is run as fast as can be held for so
    long."""
    if step.target is None or step.target.word != ALL_OUT or step.seconds is not None:
        return step.seconds
    if step.metres is None:
        return OPEN_S
    if runner.speed is None:
        return None
    low, high = 5.0, 24 * 3600.0
    for _ in range(40):
        at = float(np.sqrt(low * high))
        power = max(float(np.median(power_at(at, runner.critical_power, runner.w_prime, runner.tail))), 31.0)
        low, high = (at, high) if float(runner.speed(np.array([power]))[0]) * at < step.metres else (low, at)
    return high


def banded(low: float, high: float) -> tuple[float, float]:
    """A band as it stands, or one about a single value.

    Both in one unit, [W], [m/s] or [bpm].
    """
    return (low, high) if low < high else (low * (1 - BAND), high * (1 + BAND))


def preview(session: Session, runner: Runner) -> list[Row]:
    """Every step of a session as it will be run, with W′ in the differential form over the draws.

    A draw has run dry where W′ is spent, or where steps without an easy one between last longer than their powers can
    be held.

    Raises UsageError for a step that this runner cannot be given, with what is missing.
    """
    cp, wp = runner.critical_power, runner.w_prime
    # The balance's own published error counts in proportion to what is spent, as along a run.
    error = (
        np.maximum(1 + EXHAUSTION_SD_J / wp * np.random.default_rng(23).standard_normal(len(cp)), 0.2)
        if len(cp) > 1
        else np.ones(1)
    )
    deficit, empty = np.zeros(len(cp)), np.zeros(len(cp), dtype=np.bool_)
    lasting = np.zeros(len(cp))  # share of what can be held, over steps that follow each other without an easy one
    out = []
    for step, at in session.steps():
        low, high = watts(step.target, runner, _all_out_s(step, runner))
        power = 0.5 * (low + high)
        speed = float(runner.speed(np.array([power]))[0]) if runner.speed is not None and power > 30 else float("nan")
        if step.seconds is not None:
            seconds = step.seconds
        elif step.metres is not None:
            if power <= 30:
                raise UsageError("standing covers no way: give that rest a time, or say walk or jog")
            if not speed > 0.3:
                raise UsageError(
                    "a distance becomes a time by power at speed, which is not known: give that step minutes"
                )
            seconds = step.metres / speed
        else:
            seconds = OPEN_S
        above = power - cp
        deficit = deficit * np.exp(np.minimum(above, 0.0) * seconds / wp) + np.maximum(above, 0.0) * seconds
        if power < RECOVERY_CP * runner.accepted:
            lasting[:] = 0.0
        else:
            lasting = lasting + seconds / time_to_exhaustion(power, cp, wp, runner.tail)
        now = (error * deficit >= wp) | (lasting >= 1.0)
        fresh = float((now & ~empty).mean())
        empty |= now
        left = np.quantile(wp - error * deficit, (0.025, 0.5, 0.975))
        out.append(
            Row(
                step,
                at,
                power,
                low,
                high,
                seconds,
                speed,
                (float(left[0]), float(left[1]), float(left[2])),
                float(empty.mean()),
                fresh,
            )
        )
    return out


def cp_minutes(rows: list[Row], accepted: float) -> float:
    """Load of a session: minutes weighted by how hard they are against the accepted CP.

    ``accepted`` [W]; the load [min].
    """
    powers, seconds = (np.array([getattr(r, name) for r in rows]) for name in ("power", "seconds"))
    return float((seconds * weight(powers / accepted)).sum() / 60.0)


def _mapped(items: tuple[Item, ...], change: Callable[[Item], Item]) -> tuple[Item, ...]:
    return tuple(change(replace(i, items=_mapped(i.items, change)) if isinstance(i, Repeat) else i) for i in items)


def eased(session: Session, runner: Runner) -> tuple[Session, str] | None:
    """A kinder version that is finished in four of five days: the hard steps up to 15 % easier, or else fewer repeats;
    and what was changed. None where the session is kind enough already, or no kinder version is."""
    if preview(session, runner)[-1].dry_by <= KINDER or any(
        s.target and s.target.word == ALL_OUT for s, _ in session.steps()
    ):
        return None  # what is meant to empty has no kinder version
    for share in np.arange(0.99, 0.845, -0.01):

        def easier(item: Item, share: float = float(share)) -> Item:
            if isinstance(item, Repeat) or item.target is None:
                return item
            low, high = watts(item.target, runner, item.seconds)
            if 0.5 * (low + high) < RECOVERY_CP * runner.accepted:
                return item
            low, high = (round(share * v / runner.accepted, 2) for v in (low, high))
            return replace(item, target=Target("cp", low, high))

        kinder = Session(_mapped(session.items, easier))
        if preview(kinder, runner)[-1].dry_by <= KINDER:
            return kinder, f"about {100 * (1 - share):.0f} % easier"

    def hard(repeat: Repeat) -> bool:
        """Whether a repeat itself holds a step over CP; sets of repeats stay as many as they are."""
        steps = [s for s in repeat.items if isinstance(s, Step) and s.target]
        return any(sum(watts(s.target, runner, s.seconds)) > 2 * runner.accepted for s in steps)

    for fewer in range(1, 12):

        def shorter(item: Item, fewer: int = fewer) -> Item:
            if not isinstance(item, Repeat) or not item.count or item.count < 2 or not hard(item):
                return item
            return replace(item, count=max(item.count - fewer, 1))

        kinder = Session(_mapped(session.items, shorter))
        if preview(kinder, runner)[-1].dry_by <= KINDER:
            return kinder, f"{fewer} repeat{'s' if fewer > 1 else ''} fewer in each set of hard ones"
    return None


def solve(session: Session, runner: Runner, leave: float) -> tuple[Session, float]:
    """Fill the ``?`` of a session so that the least W′, by the middle of what is known, is a share of it.

    Parameters
    ----------
    session : Session
        With exactly one unknown: a target (as a share of CP), a duration of rest, or a number of repeats.
    leave : float
        Share of W′ that is left where it is lowest, 0 to 0.95.

    Returns
    -------
    session, value
        The filled session, and what was found: share of CP, seconds, or repeats.

    Raises
    ------
    UsageError
        No unknown, a share that cannot be, or nothing that leaves so much.
    """
    if session.unknowns != 1:
        raise UsageError("put one ? where the answer goes, as 5 x (4 min at ?, 2 min easy)")
    if not 0 <= leave <= 0.95:
        raise UsageError(f"{leave:g} of W′ cannot be left: give 0 to 0.95")
    middle = replace(
        runner,
        critical_power=np.array([np.median(runner.critical_power)]),
        w_prime=np.array([np.median(runner.w_prime)]),
        tail=np.array([np.median(runner.tail)]),
    )
    store = float(middle.w_prime[0])

    def filled(value: float) -> Session:
        def fill(item: Item) -> Item:
            if isinstance(item, Repeat):
                return replace(item, count=round(value)) if item.count is None else item
            if item.unknown == "target":
                return replace(item, target=Target("cp", value, value), unknown="")
            return replace(item, seconds=value, unknown="") if item.unknown == "duration" else item

        return Session(_mapped(session.items, fill))

    def least(value: float) -> float:
        rows = preview(filled(value), middle)
        return -1.0 if rows[-1].dry_by > 0.5 else min(r.w_prime[1] for r in rows) / store

    kind = _unknown_kind(session.items)
    if kind == "duration" and any(s.unknown and s.target and s.target.word == ALL_OUT for s, _ in session.steps()):
        raise UsageError("all out leaves nothing, however long: give that step a power, or a time")
    find = {"target": _hardest, "duration": _right_time}.get(kind, _most_repeats)
    value = find(least, leave)
    return filled(value), value


def _border(holds: Callable[[float], bool], low: float, high: float) -> tuple[float, float]:
    """Ends of the span in which something ceases to hold, halved forty times."""
    for _ in range(40):
        at = 0.5 * (low + high)
        low, high = (at, high) if holds(at) else (low, at)
    return low, high


def _hardest(least: Callable[[float], float], leave: float) -> float:
    """The highest share of CP that leaves so much of W′."""
    low, high = 0.5, 2.5
    if least(low) < leave or least(high) > leave:
        raise UsageError("no power leaves so much of W′ there: ask for another share")
    return float(np.floor(_border(lambda at: least(at) >= leave, low, high)[0] * 1000) / 1000)  # never over the border


def _right_time(least: Callable[[float], float], leave: float) -> float:
    """The longest work, or the shortest rest, that leaves so much of W′ [s]."""
    low, high = 1.0, 3600.0
    short, long = least(low), least(high)
    if max(short, long) < leave:
        raise UsageError("nothing from a second to an hour there leaves so much of W′: make the work easier or shorter")
    if abs(short - long) < 1e-6:
        raise UsageError(
            "how long that step lasts does not change the least of W′: choose it freely, or ask for another"
        )
    if long < short:
        longest, _ = _border(lambda at: least(at) >= leave, low, high)
        return float(max(np.floor(longest / 5) * 5, 1.0))
    _, shortest = _border(lambda at: least(at) < leave, low, high)
    return float(np.ceil(shortest / 5) * 5)


def _most_repeats(least: Callable[[float], float], leave: float) -> float:
    """The most repeats that leave so much of W′."""
    if least(1) < leave:
        raise UsageError("not even one repeat leaves so much of W′: make it easier or shorter")
    value = 1.0
    while value < MOST_SOLVED and least(value + 1) >= leave:
        value += 1
    if value >= MOST_SOLVED:
        raise UsageError(
            "W′ comes back between the repeats, so it sets no limit to their number: choose it by time and feel"
        )
    return value


def _unknown_kind(items: tuple[Item, ...]) -> Literal["target", "duration", "count", ""]:
    for item in items:
        if isinstance(item, Step):
            if item.unknown:
                return item.unknown
        elif item.count is None:
            return "count"
        elif (inner := _unknown_kind(item.items)) != "":
            return inner
    return ""
