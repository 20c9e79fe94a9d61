"""Signs over days, to be looked at by the runner."""

from __future__ import annotations

from dataclasses import dataclass

from footwork.results.base import Result


@dataclass(frozen=True, kw_only=True)
class SignChannel(Result):
    """One channel: mean of the last days and median of the month before in its ``unit``, how far the one lies from the
    other in the runner's own spreads, bad upwards (None where it tells nothing yet), and days with a value;
    ``left_out`` by what the diary tells of a physician's say."""

    name: str
    unit: str
    felt: bool
    recent: float | None
    usual: float | None
    apart: float | None
    days: int
    left_out: bool = False


@dataclass(frozen=True, kw_only=True)
class SignPattern(Result):
    """A pattern, ``unwell`` (days) or ``worn`` (a week): ``state`` is check, quiet, silent or not enough; its score,
    the threshold it is held against, its channels and a sentence."""

    pattern: str
    state: str
    since: str | None
    score: float | None
    threshold: float | None
    channels: list[SignChannel]
    sentence: str


@dataclass(frozen=True, kw_only=True)
class SignsAnswer(Result):
    """What the last days show together, and runs much longer than those of the month before."""

    asked_on: str
    sentence: str
    patterns: list[SignPattern]
    long_runs: list[str]
    instead: str
