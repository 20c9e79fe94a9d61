"""Many race days of one plan: the stores of each day, and runners who ease when they feel that the plan is too much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from footwork.physiology.endurance import power_at, tail_start, time_to_exhaustion
from footwork.planning.course import Course
from footwork.planning.pacing import MEMORY_S, SLOWEST, mean_power
from footwork.quantities import Floats

METHOD_VERSION = 1
CHECKS = 20  # times in a race that a runner asks how it goes; our convention
SENSE_SD = 0.025  # of what is felt to be possible, at the start; less as the finish comes near; our convention
NOTICED = 0.015  # what is less too much than this is not felt; our convention
KEPT = 0.03  # of endurance, that easing aims to bring home; our convention
LEAST_EASED = 0.7  # of the plan, however bad the day
COLLAPSE = 0.8  # share of the plan, and of CP at most, that is left once a store is empty; our convention
LATE = 1.01  # a day that ends later than this many times the planned time is missed
NEARLY_EMPTY = 0.1  # of W′ left: the runner feels it and falls to CP


@dataclass(frozen=True)
class Days:
    """Race days: finish times [s]; by segment the share of them in which a store is empty, and of those that run there
    at 1 % less than planned and lower; and each day's time over what it would be with its watts held to the end [1]."""

    times: Floats
    dry: Floats
    easing: Floats
    eased: Floats

    def late(self, planned: float) -> float:
        """Share of days that end more than 1 % later than a time [s]."""
        return float((self.times > LATE * planned).mean())

    @property
    def gave_way(self) -> float:
        """Share of days on which the runner must ease so much that it costs more than 1 %."""
        return float((self.eased > LATE).mean())


def days(
    power: Floats,
    course: Course,
    speed: Floats,
    critical_power: Floats,
    w_prime: Floats,
    tail: Floats,
    needs: Floats,
    execution: Floats,
    memory: float = MEMORY_S,
    eases: bool = True,
) -> Days:
    """Run a plan on many days.

    Parameters
    ----------
    power, speed : numpy.ndarray, shape (s,)
        The plan's power [W], and its speed on a day as expected [m/s].
    critical_power, w_prime, tail : numpy.ndarray, shape (k,)
        Joint draws. [W], [J], γ
    needs : numpy.ndarray, shape (k,)
        Factor by which that day needs more power for a speed.
    execution : numpy.ndarray, shape (k,)
        Factor by which the runner holds more power than planned.
    memory : float
        Of endurance. [s]
    eases : bool
        Whether the runner decides anew along the way; else the power is run whatever comes.

    Returns
    -------
    Days
        At twenty points on the way the runner feels, with an error that shrinks towards the finish, what can still be
        held to the end, and eases to it where the plan asks for 1.5 % more. With a tenth of W′ left power falls to CP.
        From where a store is empty the runner goes on at 80 % of what was planned, and of CP at most.
    """
    k, n = len(critical_power), len(power)
    deficit, spent, clock = np.zeros(k), np.zeros(k), np.zeros(k)
    t_star, p_star, gamma = tail_start(critical_power, w_prime, tail)
    empty = np.zeros(k, dtype=np.bool_)
    dry, easing = np.zeros(n), np.zeros(n)
    lasts = course.length / speed
    felt = mean_power(power, lasts, memory)
    rest, level = _rest(felt, lasts, critical_power, w_prime, tail)
    rng = np.random.default_rng(29)
    ask = set(np.unique(np.linspace(0, n, CHECKS + 1).astype(int)[1:-1]).tolist()) if eases else set()
    share = np.ones(k)
    rows = zip(
        power.tolist(), felt.tolist(), lasts.tolist(), course.stops.tolist(), course.length.tolist(), strict=True
    )
    for i, (p, mean, planned, stood, length) in enumerate(rows):
        if i in ask:
            left = np.maximum(1.0 - KEPT - spent, 1e-3)
            held = np.full(k, level[i])
            for _ in range(2):  # the time that is left follows from what is held
                held = np.maximum(
                    power_at(rest[i] * needs * level[i] / held / left, critical_power, w_prime, tail), 1.0
                )
            can = held / (level[i] * execution)
            noise = SENSE_SD * (rest[i] / rest[0]) ** 0.5 * rng.standard_normal(k)
            can = can * np.exp(noise)
            share = np.where(can < 1.0 - NOTICED, np.maximum(can, LEAST_EASED), 1.0)
        held = p * execution * share
        if eases:
            held = np.where(deficit > (1 - NEARLY_EMPTY) * w_prime, np.minimum(held, critical_power), held)
        held = np.where(empty, np.minimum(COLLAPSE * np.minimum(critical_power, p * execution), held), held)
        # Near the plan speed follows power in proportion, since a metre costs nearly the same at any speed.
        seconds = np.minimum(planned * needs * p / held, length / SLOWEST) if p > 0 else planned * needs
        above = held - critical_power
        deficit = deficit * np.exp(np.minimum(above, 0.0) * seconds / w_prime) + np.maximum(above, 0.0) * seconds
        taken = mean * held / p if p > 0 else held
        slow = np.exp(np.clip((taken / p_star - 1) / gamma, -50.0, 0.0)) / t_star
        spent = spent + seconds * np.where(taken >= p_star, (taken - critical_power) / w_prime, slow)
        clock += seconds + stood
        empty |= (deficit >= w_prime) | (spent >= 1.0)
        dry[i] = empty.mean()
        easing[i] = (held < p * execution / LATE).mean()
        deficit *= np.exp(-critical_power * stood / w_prime)
    stood = float(course.stops.sum())
    return Days(clock, dry, easing, clock / (lasts.sum() * needs / execution + stood))


def _rest(felt: Floats, lasts: Floats, cp: Floats, wp: Floats, tail: Floats) -> tuple[Floats, Floats]:
    """Of what is left of the plan from each segment on: its time [s], and the even power that spends as much endurance
    of the middle runner [W]."""
    middle = [float(np.median(v)) for v in (cp, wp, tail)]
    spends = lasts / time_to_exhaustion(np.maximum(felt, 1.0), *middle)
    rest, spent = (np.cumsum(v[::-1])[::-1] for v in (lasts, spends))
    return rest, power_at(rest / np.maximum(spent, 1e-12), *middle)
