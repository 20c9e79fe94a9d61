from __future__ import annotations

from footwork.questions.today.due import what_is_due
from footwork.questions.today.weeks import run_verdicts
from footwork.wording.due_words import due_sentence

__all__ = ["due_sentence", "run_verdicts", "what_is_due"]
