"""Energy and carbohydrate of a race, as published guidance gives them in general."""

from __future__ import annotations

from dataclasses import dataclass

from footwork.wording.cautions import FUEL

METHOD_VERSION = 1
ENERGY = 1.0  # kcal per kg and km
# Up to how many hours, and grams an hour from and to (Jeukendrup 2014; 30 g/h for one to two hours from memory).
_GUIDANCE = ((0.75, 0, 0), (1.25, 0, 30), (2.0, 30, 30), (3.0, 30, 60), (float("inf"), 60, 90))


@dataclass(frozen=True)
class Fuel:
    """Energy of a race [kcal], None without a mass, and carbohydrate from and to [g/h]."""

    energy: float | None
    low: int
    high: int

    @property
    def sentence(self) -> str:
        """What guidance says, and its caution."""
        energy = "" if self.energy is None else f"About {round(self.energy, -1):.0f} kcal. "
        if not self.high:
            return f"{energy}So short a race needs no carbohydrate on the way."
        amount = (
            f"up to {self.high}"
            if not self.low
            else f"{self.high}"
            if self.low == self.high
            else f"{self.low} to {self.high}"
        )
        mixed = ", of mixed sugars" if self.high > 60 else ""
        return f"{energy}Published guidance: {amount} g of carbohydrate an hour{mixed}. {FUEL}"


def guidance(distance: float, time: float, mass: float | None) -> Fuel:
    """Fuel of a race.

    Parameters
    ----------
    distance, time : float
        [m], [s]
    mass : float or None
        [kg]

    References
    ----------
    .. [1] Rapoport B.I. (2010), PLoS Comput Biol 6:e1000960 (about 1 kcal/kg/km).
    .. [2] Jeukendrup A. (2014), Sports Med 44 Suppl 1:25-33, doi:10.1007/s40279-014-0148-z.
    """
    low, high = next((a, b) for hours, a, b in _GUIDANCE if time / 3600 <= hours)
    return Fuel(None if mass is None else ENERGY * mass * distance / 1000, low, high)
