"""Borders of the domains on a scale, by the critical power that was accepted on each day, or else today's proposal
without what weeks without running took since."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from footwork.errors import NotEnoughData
from footwork.history.log import accepted
from footwork.history.scales import conversions
from footwork.history.scales.scale_rows import StreamRows
from footwork.physiology import lay_off
from footwork.physiology.lay_off import LayOff
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
    """Domain borders by today's proposal, what was accepted when, and weeks without running; all in watts of one
    scale."""

    proposed: list[Estimate]
    accepted: list[tuple[dt.date, float]]
    lay_offs: Sequence[LayOff] = ()
    lost: float = 0.0  # what these took of the proposal [1]

    def factor(self, day: dt.date) -> float:
        """CP of a day over today's proposal: the accepted one; where none was by then, what weeks without running took
        is of their own days.

        [1].
        """
        entry = accepted.in_force(self.accepted, day)
        if entry is not None:
            return entry[1] / float(self.proposed[1].value or 1.0)
        return (1.0 - lay_off.lost_on(self.lay_offs, day.toordinal())) / (1.0 - self.lost) if self.lost else 1.0

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
    assert made.date is not None  # of a library
    lay_offs = capacity.lay_offs(library, made.date)
    return Borders(found, entries, lay_offs, lay_off.lost_on(lay_offs, made.date.toordinal()))
