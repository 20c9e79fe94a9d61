from __future__ import annotations

from footwork.questions.usual.usual_running import run_against_usual, usual_watts

__all__ = ["run_against_usual", "usual_watts"]
