from __future__ import annotations

from footwork.questions.today.due import due_sentence, what_is_due

__all__ = ["due_sentence", "what_is_due"]
