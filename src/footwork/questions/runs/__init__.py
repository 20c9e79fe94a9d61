from __future__ import annotations

from footwork.questions.runs.finding import Wanted, find_runs, totals_of
from footwork.questions.runs.found_efforts import (
    balance_along,
    correct_efforts,
    efforts_of_run,
    reading_of_file,
    reading_of_run,
)
from footwork.questions.runs.one_run import Run, run_in_full
from footwork.questions.runs.titles import run_titles

__all__ = [
    "Run",
    "Wanted",
    "balance_along",
    "correct_efforts",
    "efforts_of_run",
    "find_runs",
    "reading_of_file",
    "reading_of_run",
    "run_in_full",
    "run_titles",
    "totals_of",
]
