from __future__ import annotations

from footwork.questions.trials.joining import join_trial
from footwork.questions.trials.trial_design import (
    design_trial,
    keep_trial,
    kept_trial,
    listed_trials,
    order_words,
    schedule,
    trial_told,
    trial_workout,
)
from footwork.questions.trials.trial_effects import analyse_trial, cadence_history
from footwork.wording.cautions import TRIAL as CAUTION
from footwork.wording.trial_words import WATTS_WARNING

__all__ = [
    "CAUTION",
    "WATTS_WARNING",
    "analyse_trial",
    "cadence_history",
    "design_trial",
    "join_trial",
    "keep_trial",
    "kept_trial",
    "listed_trials",
    "order_words",
    "schedule",
    "trial_told",
    "trial_workout",
]
