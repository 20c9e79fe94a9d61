"""A report to a runner: what was asked and run, what changed and why, numbers with their intervals, what comes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypedDict

from footwork.quantities import Estimate
from footwork.results.base import Result


class ReportWeek(TypedDict):
    """A week's Monday, load asked and run with its interval. [CP-min]"""

    monday: str
    asked: float
    run: Estimate


class ReportPoint(TypedDict):
    """Critical power of a day with its interval; None where it was withheld. [W]"""

    date: str
    value: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class ReportPart(Result):
    """One part of a report: its title, sentences, and a table where it has one; ``picture`` names one that goes with
    it, and ``sheet`` begins a new page on paper."""

    title: str
    sentences: list[str]
    headers: list[str]
    rows: list[list[str]]
    picture: str = ""
    sheet: bool = False


@dataclass(frozen=True, kw_only=True)
class Report(Result):
    """A report on a week, a block of four or a season, to be read by the runner; ``question`` is what is asked of
    them."""

    kind: str
    first: str
    last: str
    asked_on: str
    title: str
    parts: list[ReportPart]
    question: str
    weeks: list[ReportWeek]
    capacity: list[ReportPoint]
    curve: list[dict[str, float]]
