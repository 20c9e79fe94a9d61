"""How much was done: time in domains of runs, and load of every activity by day, week and month."""

from __future__ import annotations

from footwork.questions.load.activities import Loads, loads_of
from footwork.questions.load.answered import response_to_load
from footwork.questions.load.spans import last_days, load_by, usual_week
from footwork.questions.load.time_in_domains import (
    above_moderate,
    domains_of,
    domains_of_runs,
    load_of_run,
    load_of_runs,
    load_of_span,
)

__all__ = [
    "Loads",
    "above_moderate",
    "domains_of",
    "domains_of_runs",
    "last_days",
    "load_by",
    "load_of_run",
    "load_of_runs",
    "load_of_span",
    "loads_of",
    "response_to_load",
    "usual_week",
]
