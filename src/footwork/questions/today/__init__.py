from __future__ import annotations

from footwork.questions.today.due import what_is_due
from footwork.wording.due_words import due_sentence

__all__ = ["due_sentence", "what_is_due"]
