"""What a run made of a session: how near the asked it was, and what follows for the next time. Decisions, no words."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np

METHOD_VERSION = 1
HEART_OFF, OTHER_OFF = 12.0, 15.0  # per cent off what was asked that make it another session: heart rate, others; ours
START_HARD = 0.04  # a first quarter so much above the rest is a start too hard; our convention
UNEVEN = 0.35  # of the time in the band, below which it was run unevenly; our convention
OTHER_REST = 1.5  # rests so many times longer or shorter make another session; our convention
SPARE = 0.6  # of W′ left at the end from which one repeat more can be asked; our convention
NEAR = 3.0  # per cent within which it was run as asked; our convention
CUT, CUT_WAY, DRAWN_OUT = (
    0.9,
    0.95,
    1.3,
)  # shares of a time, of a distance, and of a time that were run; our conventions


class Advice(Enum):
    """What to ask the next time."""

    NO_WORK = "no work was found"
    NO_BAND = "there is no band to hold it against"
    ALL_OUT = "all out is as it comes"
    ANOTHER = "it looks like another session"
    ASK_AS_MANY = "ask for as many as were run"
    ASK_LESS = "ask less, or longer rests"
    BEGIN_SLOWER = "begin slower and let heart rate come up"
    HOLD_BAND = "hold the band"
    LOOK_WHY = "look at what was in the way"
    KEEP_RESTS = "keep to the rests"
    RUN_EVENLY = "run each piece more evenly"
    STOP_IN_TIME = "stop when it is done"
    ONE_MORE = "one repeat longer"
    SAME_AGAIN = "the same again"


@dataclass(frozen=True)
class Match:
    """How the work of a session was run."""

    done: int
    asked: int
    extra: int
    advice: Advice
    off: float | None = None  # mean distance from what was asked, outside its band [%]
    short: int = 0
    long: int = 0
    start_hard: float | None = None  # first quarter above the rest, where too hard [share]
    in_band: float | None = None  # time in the band, where it was uneven [share]
    rests: tuple[float, float] | None = None  # rests run and asked [s], where they differ much
    fade: float | None = None  # the last under the first, where it faded [%]


def outside(step: dict[str, Any]) -> float:
    """Share by which a step lies above (or below) what was asked: a single value, or the nearer end of a band."""
    return float(step["held"] / np.clip(step["held"], *step["ends"]) - 1)


def judge(
    done: list[dict[str, Any]], asked: int, extra: int, store: float | None, rests: dict[str, float] | None
) -> Match:
    """Judge the pieces of work that were run.

    Parameters
    ----------
    done : list of dict
        Each with ``held``, ``low``, ``high``, ``ends`` (in one unit), ``of``, ``banded``, ``open``, ``all_out``,
        ``start_s``, ``end_s``, ``asked_s`` [s], ``asked_m`` [m], ``speed_mps``, ``in_band``, ``start_share``,
        ``w_prime_end_j``.
    asked, extra : int
        Pieces of work that the session has, and pieces run beside it.
    store : float, optional
        W′. [J]
    rests : dict, optional
        ``run_s`` and ``asked_s``, the mean rests. [s]
    """
    if not done:
        return Match(0, asked, extra, Advice.NO_WORK)
    told = [s for s in done if s["held"] is not None and s["banded"]]
    if not told:
        advice = Advice.ALL_OUT if done[0]["all_out"] else Advice.NO_BAND
        return Match(len(done), asked, extra, advice)
    by_heart = all(s["of"] == "heart_rate" for s in told)
    off = 100 * float(np.mean([outside(s) for s in told]))
    short, long = sum(map(_cut_short, done)), sum(map(_drawn_out, done))
    starts = [s["start_share"] for s in done if s.get("start_share") is not None]
    hard = float(np.mean(starts)) if starts and float(np.mean(starts)) > START_HARD else None
    found = Match(len(done), asked, extra, Advice.ANOTHER, off, short, long, hard)
    if abs(off) > (HEART_OFF if by_heart else OTHER_OFF) or short + long > 0.7 * len(done) > 1:
        return found
    shares = [s["in_band"] for s in told if s["in_band"] is not None]
    in_band = float(np.mean(shares)) if shares else 1.0
    uneven = in_band < UNEVEN and abs(off) <= NEAR
    other = rests is not None and not 1 / OTHER_REST <= rests["run_s"] / rests["asked_s"] <= OTHER_REST
    share = [s["held"] / (0.5 * (s["low"] + s["high"])) - 1 for s in told]
    fall = 100 * (share[-1] - share[0]) if len(share) >= 3 else 0.0
    return Match(
        len(done),
        asked,
        extra,
        _next(found, fall, by_heart, other, uneven, _spare(done, store)),
        off,
        short,
        long,
        hard,
        in_band if uneven else None,
        (rests["run_s"], rests["asked_s"]) if other and rests is not None else None,
        fall if fall < -NEAR else None,
    )


def _next(found: Match, fall: float, by_heart: bool, other: bool, uneven: bool, spare: bool) -> Advice:
    off, missing = found.off or 0.0, found.done < found.asked
    rules = (
        (missing and not found.short and fall >= -NEAR and abs(off) <= NEAR, Advice.ASK_AS_MANY),
        (missing or found.short > 0 or fall < -NEAR, Advice.ASK_LESS),
        (off > NEAR and by_heart, Advice.BEGIN_SLOWER),
        (off > NEAR, Advice.HOLD_BAND),
        (off < -NEAR, Advice.LOOK_WHY),
        (other, Advice.KEEP_RESTS),
        (uneven, Advice.RUN_EVENLY),
        (found.long > 0, Advice.STOP_IN_TIME),
        (spare and found.done > 1, Advice.ONE_MORE),
    )
    return next((advice for holds, advice in rules if holds), Advice.SAME_AGAIN)


def _cut_short(step: dict[str, Any]) -> bool:
    lasted = step["end_s"] - step["start_s"]
    if step["asked_m"]:
        return bool(step["speed_mps"] and step["speed_mps"] * lasted < CUT_WAY * step["asked_m"])
    return step["asked_m"] is None and not step["open"] and bool(lasted < CUT * step["asked_s"])


def _drawn_out(step: dict[str, Any]) -> bool:
    lasted = step["end_s"] - step["start_s"]
    return step["asked_m"] is None and not step["open"] and bool(lasted > DRAWN_OUT * step["asked_s"])


def _spare(done: list[dict[str, Any]], store: float | None) -> bool:
    left = done[-1].get("w_prime_end_j")
    return left is not None and store is not None and bool(left > SPARE * store)
