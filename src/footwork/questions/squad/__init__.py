"""Several runners as a coach reads them."""

from __future__ import annotations

from footwork.questions.squad.prescribing import nothing_known, prescribed
from footwork.questions.squad.row_of_many import population_row
from footwork.questions.squad.side_by_side import figures_of, side_by_side
from footwork.questions.squad.squad_line import line_of

__all__ = ["figures_of", "line_of", "nothing_known", "population_row", "prescribed", "side_by_side"]
