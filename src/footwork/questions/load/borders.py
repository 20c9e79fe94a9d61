"""Borders of the domains on a scale, by the critical power that was accepted on each day or else today's proposal."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from footwork.errors import NotEnoughData
from footwork.history.log import accepted
from footwork.history.scales import conversions
from footwork.history.scales.scale_rows import StreamRows
from footwork.quantities import Estimate
from footwork.questions import capacity
from footwork.questions.capacity import BORDERS

if TYPE_CHECKING:
    from footwork.history.book import History


def rows_by_run(library: History, key: str) -> dict[int, StreamRows]:
    found: dict[int, StreamRows] = library.cached(
        ("by run", key), lambda: {r.run: r for r in conversions.rows_on_scale(library, key)}
    )
    return found


@dataclass(frozen=True)
class Borders:
    """Domain borders by today's proposal, and what was accepted when; all in watts of one scale."""

    proposed: list[Estimate]
    accepted: list[tuple[dt.date, float]]

    def factor(self, day: dt.date) -> float:
        """Accepted CP of a day over today's proposal; 1 where none was accepted by then.

        [1].
        """
        entry = accepted.in_force(self.accepted, day)
        return 1.0 if entry is None else entry[1] / float(self.proposed[1].value or 1.0)

    def at(self, factor: float) -> list[Estimate]:
        """Borders for that CP; the lower two follow it, the last keeps its distance above.

        ``factor`` [1]; the borders [W].
        """
        lower, cp, upper = self.proposed
        moved = cp.scaled(factor, "W")
        shift = (moved.value or 0.0) - (cp.value or 0.0)
        top = Estimate(
            (upper.value or 0.0) + shift,
            (upper.low or 0.0) + shift,
            (upper.high or 0.0) + shift,
            "W",
            upper.n,
            upper.method,
        )
        return [lower.scaled(factor, "W"), moved, top]


def borders_of(library: History, scale_key: str | None) -> Borders | None:
    found: Borders | None = library.cached(("borders", scale_key), lambda: _find_borders(library, scale_key))
    return found


def _find_borders(library: History, scale_key: str | None) -> Borders | None:
    if scale_key is None:
        return None
    try:
        made = capacity.estimate_capacity(library, scale=scale_key)
    except NotEnoughData:
        return None
    found = [made.domains[b]["power"] for b in BORDERS]
    if any(b.value is None for b in found):
        return None
    entries = accepted.entries(library, scale_key)
    if made.accepted is not None and made.critical_power.value:  # back from the accepted CP to the proposal
        plain = Borders(found, [])
        found = plain.at(made.critical_power.value / float(made.accepted["critical_power_w"]))
    return Borders(found, entries)
