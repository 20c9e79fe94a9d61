"""Running after cycling: what a ride takes from the run, from the literature and from the runner's own brick runs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import efforts, speed
from footwork.analysis.summary import AT
from footwork.errors import UsageError
from footwork.history import catalogue
from footwork.history.log.entries import MAXIMAL_MARKS
from footwork.history.scales import conversions
from footwork.physiology.endurance import power_at
from footwork.planning import conditions
from footwork.quantities import Estimate, Floats, plain
from footwork.questions import capacity
from footwork.questions.capacity import DRAWS, Capacity

if TYPE_CHECKING:
    from footwork.history.book import History

NEEDS_SD = 0.02  # how much more or less a device may show at a speed after a ride, before any brick run; our convention


BEST_SD = 0.03  # of one maximal brick run about what was expected of it; our convention


@dataclass(frozen=True)
class Effect:
    """What a ride changes: logarithms of the factor on what can be held, and on the watts that a speed takes, mean and
    SD, and how many brick runs tell it."""

    capacity: tuple[float, float]
    needs: tuple[float, float]
    bricks: int
    maximal: int

    def capacity_draws(self, count: int) -> Floats:
        """Draws of what is left of CP after the ride [1], shape (count,)."""
        return np.asarray(np.exp(_draws(self.capacity, count, 17)), dtype=float)

    def needs_draws(self, count: int) -> Floats:
        """Draws of how much more running costs after it [1], shape (count,)."""
        return np.asarray(np.exp(_draws(self.needs, count, 19)), dtype=float)

    @property
    def sentence(self) -> str:
        """What the ride takes, and whence that is known."""
        loss, more = 100 * (1 - np.exp(self.capacity[0])), 100 * (np.exp(self.needs[0]) - 1)
        own = f" and {_runs(self.maximal, 'maximal ')}" if self.maximal else ""
        shown = f"; {_runs(self.bricks)} of yours: {more:+.1f} % watts at a speed" if self.bricks else ""
        return (
            f"After the ride about {loss:.0f} % less can be held, by the literature{own}{shown}. "
            "The first minutes off the bicycle feel worse than they are."
        )

    def to_json(self) -> dict[str, Any]:
        """As JSON: shares with their source."""

        def share(pair: tuple[float, float], n: int) -> Estimate:
            middle, sd = pair
            low, high = (100 * (float(np.exp(middle + k * sd)) - 1) for k in (-1.96, 1.96))
            return Estimate(100 * (float(np.exp(middle)) - 1), low, high, "%", n, "brick", "brick runs")

        out: dict[str, Any] = plain(
            {
                "held": share(self.capacity, self.maximal),
                "watts_at_speed": share(self.needs, self.bricks),
                "sentence": self.sentence,
            }
        )
        return out


def _runs(count: int, kind: str = "") -> str:
    return f"{count} {kind}brick run{'s' if count != 1 else ''}"


def _draws(pair: tuple[float, float], count: int, seed: int) -> Floats:
    return np.asarray(pair[0] + pair[1] * np.random.default_rng(seed).standard_normal(count), dtype=float)


def ride_effect(library: History, made: Capacity, ride: float) -> Effect:
    """What a ride of so many seconds changes for this runner.

    The literature's cost is the prior, in full from an hour on. Each brick run tells
    how its watts at a speed differ from fresh runs of the same scale, and a maximal one also how its power differs from
    what the runner should have held fresh.

    ``ride`` [s].
    """
    if not ride > 0:
        raise UsageError("a ride before the run lasts longer than nothing")
    prior = conditions.after_ride(ride)
    relation = made.power_at_speed
    if not made.scale_key or relation is None or made.posterior is None or made.date is None:
        return Effect(prior, (0.0, NEEDS_SD), 0, 0)
    after = catalogue.bricks(library)
    rows = [r for r in conversions.rows_on_scale(library, made.scale_key) if r.run in after and r.date <= made.date]
    dearer, weaker = [], []
    for row in rows:
        steady = speed.steady(row.blocks)
        if len(steady) >= 5:
            dearer.append(float(np.mean(np.log(steady[:, AT["power"]] / relation.shown(steady, row.sky)))))
        hardest = efforts.maximal_efforts(capacity.best_of(row), 1) if row.marks & MAXIMAL_MARKS else []
        for lasted, power in hardest:
            fresh = float(np.median(power_at(lasted, *made.posterior.draws(DRAWS))))
            weaker.append(float(np.log(power / fresh)))
    return Effect(
        conditions.combined(prior, weaker, BEST_SD),
        conditions.combined((0.0, NEEDS_SD), dearer, max(relation.day_sd, 0.01)),
        len(dearer),
        len(weaker),
    )
