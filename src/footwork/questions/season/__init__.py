"""The season and its weeks: planned backwards from a race, accepted, held against what was run, and adapted."""

from __future__ import annotations

from footwork.questions.season.before_plan import days_without
from footwork.questions.season.changes import accept_changes, season_changes, waiting
from footwork.questions.season.season_plan import (
    accept_season,
    accepted_races,
    accepted_weeks,
    is_ahead,
    new_season,
    season_calendar,
    season_from,
    season_template,
    season_workouts,
    show_season,
)
from footwork.questions.season.week import week_of
from footwork.questions.season.wishes import from_yaml

__all__ = [
    "accept_changes",
    "accept_season",
    "accepted_races",
    "accepted_weeks",
    "days_without",
    "from_yaml",
    "is_ahead",
    "new_season",
    "season_calendar",
    "season_changes",
    "season_from",
    "season_template",
    "season_workouts",
    "show_season",
    "waiting",
    "week_of",
]
