"""Signs: whether several weak channels together ask the runner to check how they are, and runs that were very long."""

from __future__ import annotations

from footwork.questions.signs.watched_days import LONG_RUN_DAYS, LONG_RUN_SHARE, long_run_words, signs_of

__all__ = ["LONG_RUN_DAYS", "LONG_RUN_SHARE", "long_run_words", "signs_of"]
