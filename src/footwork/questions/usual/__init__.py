from __future__ import annotations

from footwork.questions.usual.usual_running import usual_watts

__all__ = ["usual_watts"]
