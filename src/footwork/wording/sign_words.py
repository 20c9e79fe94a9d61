"""Signs in words: never a diagnosis, never that all is safe."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from footwork.quantities import signed
from footwork.wording.cautions import HEART_RATE_LEFT_OUT

if TYPE_CHECKING:
    from footwork.results.sign_patterns import SignChannel

DAYS = {"unwell": "2 days", "worn": "a week"}
INSTEAD = "An easy run, or none, would do instead of a hard session until you know; that is yours to decide."
ILL = "The diary tells of illness, which is what these signs would ask about: they say nothing more until you are well."
NOT_SHARED = "The diary is not shared, so no signs are shown."
WATCHED = {"unwell": "how you are", "worn": "how worn you are"}


def check_words(pattern: str, channels: Sequence[SignChannel]) -> str:
    """That the runner should check, with the channels that say so, the loudest first."""
    loud = sorted((c for c in channels if (c.apart or 0.0) >= 0.5), key=lambda c: -(c.apart or 0.0))
    names = _joined([c.name for c in loud])
    by = ", ".join(f"{c.name} {_change(c)}" for c in loud)
    have = "has" if len(loud) == 1 else "have"
    return (
        f"Check how you are: {names} {have} been off your usual for {DAYS[pattern]} ({by}). "
        "It may be nothing. If you feel unwell, rest; see a physician if it lasts or you are worried."
    )


def _change(channel: SignChannel) -> str:
    apart = (channel.recent or 0.0) - (channel.usual or 0.0)
    unit = "" if channel.unit in ("ln ms", "of 10") else f" {channel.unit}"
    if channel.unit == "ln ms":
        return f"{signed(100 * apart, 0)} %"
    return f"{signed(apart)}{unit}"


def _joined(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def quiet_words(pattern: str, days_ago: int | None) -> str:
    """That nothing is said: because nothing stands out, or because it was said a short while ago."""
    if days_ago is None:
        return f"{WATCHED[pattern].capitalize()}: nothing stands out together. That does not say all is well."
    said = f"a check was asked for {days_ago} day{'s' if days_ago != 1 else ''} ago"
    return f"{WATCHED[pattern].capitalize()}: {said}; nothing more is said for 14 days."


def value_words(value: float, unit: str) -> str:
    """A channel's value as one writes it down."""
    if unit == "ln ms":
        return f"{math.exp(value):.0f} ms"
    return f"{value:.{0 if unit in ('bpm', '%') else 1}f} {unit}"


def not_enough_words(pattern: str, channels: Sequence[SignChannel], least: int) -> str:
    """What is missing to watch a pattern: days, the last ones, or what the diary's context leaves out."""
    out = [c.name for c in channels if c.left_out]
    without = f" {_joined(out)[:1].upper()}{_joined(out)[1:]}: {HEART_RATE_LEFT_OUT}." if out else ""
    channels = [c for c in channels if not c.left_out]
    have = [c.name for c in channels if c.days >= least]
    lack = [f"{c.name} ({c.days} days)" for c in channels if c.days < least]
    late = [c.name for c in channels if c.days >= least and c.recent is None]
    if late and sum(c.days >= least for c in channels) >= 2:
        return (
            f"{WATCHED[pattern].capitalize()}: nothing was written of {_joined(late)} in the last {DAYS[pattern]}, so "
            f"nothing can be said.{without}"
        )
    told = "nothing is there"
    if have:
        told = f"only {have[0]} is there" if len(have) == 1 else f"{_joined(have)} are there"
    return (
        f"{WATCHED[pattern].capitalize()}: not enough to watch. It takes {least} days of at least two of these, one of "
        f"them felt; {told}, and too few days of {_joined(lack) if lack else 'what you feel'}.{without}"
    )
