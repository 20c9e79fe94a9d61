from __future__ import annotations

from footwork.questions.progress.season_model import season
from footwork.questions.progress.season_progress import progress_of_season
from footwork.questions.progress.two_periods import compare_periods
from footwork.questions.progress.untold_weather import worth_of_weather
from footwork.questions.progress.within_run import drift_within

__all__ = ["compare_periods", "drift_within", "progress_of_season", "season", "worth_of_weather"]
