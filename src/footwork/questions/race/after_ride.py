"""Running after cycling: what a ride takes from the run, from the literature and from the runner's own brick runs."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
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
from footwork.quantities import Estimate, Floats, as_duration, format_duration, plain
from footwork.questions import capacity
from footwork.questions.capacity import DRAWS, Capacity

if TYPE_CHECKING:
    from footwork.history.book import History

NEEDS_SD = 0.02  # how much more or less a device may show at a speed after a ride, before any brick run; our convention


STATED_SD = 0.02  # of what a ride is said to take; our convention


SHORT_RIDE_S = 600.0


BEST_SD = 0.03  # of one maximal brick run about what was expected of it; our convention


_RIDE = re.compile(
    r"(?P<time>\S+)(?:\s+at\s+(?P<share>\d+(?:[.,]\d+)?)\s*%)?(?:\s+takes\s+(?P<loss>\d+(?:[.,]\d+)?)\s*%)?"
)


@dataclass(frozen=True)
class Ride:
    """A ride before the run: its time [s], its intensity as a share of what the rider can hold for an hour, and what it
    is said to take from what can be held, as a share; None where that is not said. ``recorded`` is its file's name."""

    time: float
    intensity: float | None = None
    loss: float | None = None
    recorded: str = ""

    def checked(self) -> Ride:
        """Itself. Raises UsageError for a ride that cannot be before a run."""
        if not 0 < self.time <= 86400:
            raise UsageError("a ride before the run lasts up to a day")
        if self.intensity is not None and not 0.3 <= self.intensity <= 1.2:
            raise UsageError(f"a ride at {100 * self.intensity:g} % of an hour's power cannot be: give 30 to 120")
        if self.intensity is not None and self.intensity > 1.0 and self.time > 3600:
            raise UsageError("a ride of over an hour cannot be harder than an hour's power: give 30 to 100 %")
        if self.loss is not None and not 0 <= self.loss <= 0.5:
            raise UsageError(f"a ride that takes {100 * self.loss:g} % cannot be: give 0 to 50")
        return self


def as_ride(told: Any) -> Ride:
    """A ride from seconds, from text as ``1:10:00``, ``1:10:00 at 75 %`` or ``5:00:00 takes 9 %``, or from a recording.
    Raises UsageError."""
    if isinstance(told, Ride):
        return told.checked()
    if not isinstance(told, str):
        return Ride(as_duration(told)).checked()
    path = Path(told.strip())
    if path.is_file():
        return _recorded(path)
    found = _RIDE.fullmatch(told.strip())
    if found is None:
        raise UsageError(
            f"'{told}' is no ride: write 1:10:00, '1:10:00 at 75 %' or '5:00:00 takes 9 %', or give its file"
        )
    share, loss = (None if v is None else float(v.replace(",", ".")) / 100 for v in (found["share"], found["loss"]))
    time = as_duration(found["time"])
    if time < SHORT_RIDE_S and found["time"].count(":") == 1:
        time *= 60  # 1:10 is meant in hours: nobody rides so short before a run
    return Ride(time, share, loss).checked()


def _recorded(path: Path) -> Ride:
    """The ride of a file, the longest where it holds several."""
    from footwork.history.recordings.reading import read

    legs = read(path)
    rides = [r for r in legs if r.sport == "cycling"] if isinstance(legs, list) else []
    if not rides:
        raise UsageError(f"{path.name} holds no ride: give its time instead, as 1:10:00")
    times = [float(np.ptp(r.columns["time"])) for r in rides]
    return Ride(max(times), recorded=path.name).checked()


@dataclass(frozen=True)
class Effect:
    """What a ride changes: logarithms of the factor on what can be held, and on the watts that a speed takes, mean and
    SD, and how many brick runs tell it."""

    capacity: tuple[float, float]
    needs: tuple[float, float]
    bricks: int
    maximal: int
    ride: Ride

    def capacity_draws(self, count: int) -> Floats:
        """Draws of what is left of CP after the ride [1], shape (count,)."""
        return np.asarray(np.exp(_draws(self.capacity, count, 17)), dtype=float)

    def needs_draws(self, count: int) -> Floats:
        """Draws of how much more running costs after it [1], shape (count,)."""
        return np.asarray(np.exp(_draws(self.needs, count, 19)), dtype=float)

    @property
    def sentence(self) -> str:
        """What the ride takes, and whence that is known."""
        middle, sd = self.capacity
        loss, low, high = (100 * (1 - float(np.exp(middle + z * sd))) for z in (0.0, 1.96, -1.96))
        more = 100 * (float(np.exp(self.needs[0])) - 1)
        whence = "as you say" if self.ride.loss is not None else "by the literature"
        own = f" and {_runs(self.maximal, 'maximal ')}" if self.maximal else ""
        shown = f"; after {_runs(self.bricks)} of yours the same speed took {more:+.1f} % watts" if self.bricks else ""
        known = "" if self.ride.intensity is not None or self.ride.loss is not None else " at an intensity not told"
        return (
            f"After the ride of {format_duration(self.ride.time)}{known} about {loss:.0f} % less can be held "
            f"({low:.0f} to {high:.0f} %), {whence}{own}{shown}. "
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
                "ride_s": self.ride.time,
                "intensity_share": self.ride.intensity,
                "sentence": self.sentence,
            }
        )
        return out


def _runs(count: int, kind: str = "") -> str:
    return f"{count} {kind}brick run{'s' if count != 1 else ''}"


def _draws(pair: tuple[float, float], count: int, seed: int) -> Floats:
    return np.asarray(pair[0] + pair[1] * np.random.default_rng(seed).standard_normal(count), dtype=float)


def ride_effect(library: History, made: Capacity, ride: Ride) -> Effect:
    """What a ride changes for this runner.

    The literature's cost is the prior, in full from an hour on. Each brick run tells
    how its watts at a speed differ from fresh runs of the same scale, and a maximal one also how its power differs from
    what the runner should have held fresh. What the ride is said to take stands in place of all that.

    Raises
    ------
    UsageError
        A ride longer than anything known, of which nobody says what it takes.
    """
    if ride.loss is not None:
        return Effect((float(np.log1p(-ride.loss)), STATED_SD), (0.0, NEEDS_SD), 0, 0, ride)
    if ride.time > conditions.LONGEST_RIDE_S:
        raise UsageError(
            f"a ride of {format_duration(ride.time)} is longer than anything known here "
            f"({format_duration(conditions.LONGEST_RIDE_S)}): say what it takes, as "
            f"'{format_duration(ride.time)} takes 9 %'"
        )
    prior = conditions.after_ride(ride.time, ride.intensity)
    relation = made.power_at_speed
    if not made.scale_key or relation is None or made.posterior is None or made.date is None:
        return Effect(prior, (0.0, NEEDS_SD), 0, 0, ride)
    after = catalogue.bricks(library)
    rows = [r for r in conversions.rows_on_scale(library, made.scale_key, made.date) if r.run in after]
    dearer, weaker = [], []
    for row in rows:
        steady = speed.steady(row.blocks)
        if len(steady) >= 5:
            dearer.append(float(np.mean(np.log(steady[:, AT["power"]] / relation.shown(steady, row.sky)))))
        hardest = efforts.maximal_efforts(capacity.bests_of([row])[0], 1) if row.marks & MAXIMAL_MARKS else []
        for lasted, power in hardest:
            fresh = float(np.median(power_at(lasted, *made.posterior.draws(DRAWS))))
            weaker.append(float(np.log(power / fresh)))
    return Effect(
        conditions.combined(prior, weaker, BEST_SD),
        conditions.combined((0.0, NEEDS_SD), dearer, max(relation.day_sd, 0.01)),
        len(dearer),
        len(weaker),
        ride,
    )
