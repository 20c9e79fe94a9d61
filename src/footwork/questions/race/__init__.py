from __future__ import annotations

from footwork.questions.race.changed_plan import LIMITS, Change, can_change_wind, even_power, optimum
from footwork.questions.race.course_laid import lay, parse_mark, read_track
from footwork.questions.race.race_day import FORM_SD
from footwork.questions.race.race_plan import RacePlan, plan_race, splits_every
from footwork.questions.race.race_question import RaceQuestion
from footwork.questions.race.race_review import past_predictions, review_race
from footwork.questions.race.strategies import RaceDraws, StrategyBasis, Wishes, strategies_for
from footwork.questions.race.take_along import race_course, race_table, race_workout

__all__ = [
    "FORM_SD",
    "LIMITS",
    "Change",
    "RaceDraws",
    "RacePlan",
    "RaceQuestion",
    "StrategyBasis",
    "Wishes",
    "can_change_wind",
    "even_power",
    "lay",
    "optimum",
    "parse_mark",
    "past_predictions",
    "plan_race",
    "race_course",
    "race_table",
    "race_workout",
    "read_track",
    "review_race",
    "splits_every",
    "strategies_for",
]
