"""Several runners as a coach reads them."""

from __future__ import annotations

from footwork.questions.squad.squad_line import line_of

__all__ = ["line_of"]
