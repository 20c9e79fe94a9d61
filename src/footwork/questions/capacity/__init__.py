from __future__ import annotations

from footwork.questions.capacity.capacity_estimate import BORDERS, DRAWS, Capacity, best_curve, estimate_capacity, near
from footwork.questions.capacity.evidence import bests_of, clipped, held_for, lay_offs, prior_of, tests_until
from footwork.questions.capacity.through_time import every_day, history_told, what_moved, worthwhile_tests

__all__ = [
    "BORDERS",
    "DRAWS",
    "Capacity",
    "best_curve",
    "bests_of",
    "clipped",
    "estimate_capacity",
    "every_day",
    "held_for",
    "history_told",
    "lay_offs",
    "near",
    "prior_of",
    "tests_until",
    "what_moved",
    "worthwhile_tests",
]
