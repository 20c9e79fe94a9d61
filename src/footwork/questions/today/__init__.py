from __future__ import annotations

from footwork.questions.today.due import capacity_of, what_is_due, what_waits
from footwork.questions.today.weeks import run_verdicts
from footwork.wording.due_words import due_sentence

__all__ = ["capacity_of", "due_sentence", "run_verdicts", "what_is_due", "what_waits"]
