"""What the evidence of one scale says of capacity on each day: tests where there are, everyday runs where not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from footwork.analysis import efforts
from footwork.analysis.efforts import Best
from footwork.physiology import habitual, tracking
from footwork.physiology.critical import FORM_BIAS, SHAPE_PRIOR, Evidence, Posterior, implied_critical_power
from footwork.physiology.lay_off import LayOff, lost_on
from footwork.quantities import Floats

METHOD_VERSION = 3
BOUND_DAYS = 365  # older runs say nothing of today, not even as a bound; our convention
# A run marked as maximal that shows less than these shares of what everyday runs ask for was none, or is doubted; ours.
NO_TEST, WEAK_TEST = 0.85, 0.97


@dataclass(frozen=True)
class Told:
    """What is known on a day.

    ``kind`` is ``tested``, ``habitual``, ``lower bound``, ``too old`` or ``none``; ``posterior`` is None for the last
    three, and ``lower_bound`` [W] then says what CP is at least, by the run of index ``bound_run``. ``front`` is that
    of the everyday runs, ``early`` whether the history is short, ``lone`` the index of a run that alone asks for more
    and by how much [1], ``clip`` what each run is clipped by [1], ``tests`` what tests did so far, ``beaten`` what was
    marked as a test and was none, ``weak`` what counts as one though everyday runs show more, with its share [1],
    ``lay_off`` weeks without running that weigh on the day.
    """

    day: int
    kind: str
    posterior: Posterior | None = None
    front: habitual.Front | None = None
    lower_bound: float | None = None
    bound_run: int | None = None
    early: bool = False
    lone: tuple[int, float] | None = None
    tests: list[tracking.Step] = field(default_factory=list)
    clip: Floats = field(default_factory=lambda: np.zeros(0))
    beaten: tuple[tracking.Dated, ...] = ()
    weak: tuple[tuple[tracking.Dated, float], ...] = ()
    lay_off: LayOff | None = None


@dataclass
class _Known:
    """Where the walk through the days stands."""

    clip: Floats
    leading: list[int] = field(default_factory=list)
    seen: int = 0
    tests: int = 0
    day: int = 0
    pruned: int = 0
    track: tracking.Track | None = None
    gap: habitual.OwnGap | None = None
    beaten: tuple[tracking.Dated, ...] = ()  # marked as tests, but everyday runs show far more
    weak: tuple[tuple[tracking.Dated, float], ...] = ()  # or some more


class CapacityDays:
    """All evidence of a scale, asked day by day.

    Parameters
    ----------
    bests : sequence of Best
        Runs in order of days.
    by_hand : sequence of tracking.Dated, optional
        Tests without a recording.
    lay_offs : sequence of LayOff, optional
        Weeks without running, the earliest first: evidence from before them says less.
    """

    def __init__(
        self, bests: Sequence[Best], by_hand: Sequence[tracking.Dated] = (), lay_offs: Sequence[LayOff] = ()
    ) -> None:
        self.bests = list(bests)
        self.lay_offs = list(lay_offs)
        self.everyday = everyday(self.bests)
        self._fronts = habitual.Fronts(self.everyday, self.lay_offs)
        found = [
            tracking.Dated(
                b.day, Evidence("maximal", tuple(t for t, _ in e), tuple(p for _, p in e), b.widening, b.label, b.run)
            )
            for b in self.bests
            if b.maximal and (e := efforts.maximal_efforts(b))
        ]
        self.tests = sorted([*found, *by_hand], key=lambda d: d.day)
        self._seen = np.unique([*self.everyday.day, *(t.day for t in self.tests)])
        self._tested: _Known | None = None  # after the newest test that was followed

    def clips(self, day: int) -> Floats:
        """What each run's log watts are clipped by [1], as far as it is known on a day [proleptic ordinal]."""
        return efforts.clips(self.everyday.day, self.everyday.level, day, 0, np.zeros(len(self.bests)))

    def on(self, day: int) -> Told:
        """What is known on a day [proleptic ordinal]; nothing later counts."""
        (told,) = self.through(day, day)
        return told

    def through(self, first: int, last: int) -> Iterator[Told]:
        """What was known on each day from first to last [proleptic ordinals], each without what came later."""
        known = self._start(first)
        for test in self.tests:  # a test is judged by the runs up to its own day
            if test.day < first and test.day > known.day:
                self._advance(known, test.day)
        for day in range(first, last + 1):
            self._advance(known, day)
            told = self._told(known)
            yield replace(told, beaten=known.beaten, weak=known.weak, lay_off=self._weighing(told, known.track))

    def _advance(self, known: _Known, day: int) -> None:
        """What is known some days later: clips, runs that can still matter, tests."""
        runs = self.everyday
        upto = int(np.searchsorted(runs.day, day, side="right"))
        if upto > known.seen:
            known.clip = efforts.clips(runs.day, runs.level, day, known.day, known.clip)
            known.leading += [i for i in range(known.seen, upto) if not runs.marked[i]]
            known.seen = upto
            if day - known.pruned >= efforts.CLIP_DAYS // 3:
                known.leading = self._fronts.leading(known.leading, known.clip, day - efforts.CLIP_DAYS)
                known.pruned = day
        known.day = day
        of_day = []
        while known.tests < len(self.tests) and self.tests[known.tests].day <= day:
            of_day.append(self.tests[known.tests])
            known.tests += 1
        if not of_day:
            return
        ahead = self._front(known)
        of_day = [self._clipped(t, known.clip) for t in of_day]
        counted = []
        for test in of_day:
            share = _share(test.evidence, ahead)
            if share < NO_TEST:
                known.beaten += (test,)
                continue
            counted.append(test)
            if share < WEAK_TEST:
                known.weak += ((test, share),)
        if not counted:
            return
        counted[0] = replace(counted[0], moved=self._moved(known.track, day), unseen=self._unseen(known.track, day))
        known.track = tracking.follow(counted, known.track)
        told = known.track.on(day)
        front = self._front(known, told.all_shapes)
        if front is not None and front.history >= habitual.OWN_GAP_DAYS:
            known.gap = habitual.own_gap(front.level, *tracking.level_of(told))
        if self._tested is None or known.day > self._tested.day:
            self._tested = replace(known, leading=list(known.leading))

    def _start(self, first: int) -> _Known:
        """Where to go on from to ``first`` [proleptic ordinal]: the newest test followed so far, or the beginning."""
        if self._tested is not None and self._tested.day < first:
            return replace(self._tested, leading=list(self._tested.leading))
        return _Known(np.zeros(len(self.bests)))

    def _clipped(self, test: tracking.Dated, clip: Floats) -> tracking.Dated:
        """A test without what its own speed shows to be the device's error."""
        at = np.flatnonzero(self.everyday.run == test.evidence.run)
        if not len(at) or not clip[at[0]]:
            return test
        powers = tuple(p * float(np.exp(-clip[at[0]])) for p in test.evidence.powers)
        return replace(test, evidence=replace(test.evidence, powers=powers))

    def _moved(self, track: tracking.Track | None, day: int) -> float:
        """How weeks without running, or the return from them, moved ln CP since the newest test [1]."""
        if track is None:
            return 0.0
        return float(np.log1p(-lost_on(self.lay_offs, day)) - np.log1p(-lost_on(self.lay_offs, track.day)))

    def _unseen(self, track: tracking.Track | None, day: int) -> int:
        """Days since the newest test over twelve weeks after anything was known of the runner [d]."""
        if track is None:
            return 0
        known = self._seen[(self._seen >= track.day) & (self._seen <= day)]
        return int(np.maximum(np.diff([track.day, *known, day]) - habitual.PAUSE_DAYS, 0).sum())

    def _front(self, known: _Known, shapes: Floats | None = None) -> habitual.Front | None:
        if not self.everyday.enough(known.day):
            return None
        log_prior = SHAPE_PRIOR if shapes is None else np.log(np.maximum(shapes, 1e-300))
        return self._fronts.on(known.day, known.clip, log_prior, known.leading)

    def _told(self, known: _Known) -> Told:
        day, track = known.day, known.track
        tests = [] if track is None else list(track.steps)
        tested = bool(tests) and day - tests[-1].day <= tracking.TESTED_DAYS
        if not tested and self.everyday.lacking(day) is not None:
            return self._bounded(known, tests)
        if track is None:
            front = self._front(known)
            assert front is not None  # told: there are enough runs
            found = habitual.alone(front)
        else:
            found = track.on(day, self._moved(track, day), self._unseen(track, day))
            front = self._front(known, found.all_shapes)
            if front is not None:
                found = habitual.with_level(found, front, known.gap)
        if tested:
            count = sum(len(s.evidence.durations) for s in tests if day - s.day <= tracking.TESTED_DAYS)
            lone = _lone(front)
            if lone and front is not None and front.uncapped <= tracking.level_of(found)[0] - FORM_BIAS:
                lone = None
            return Told(day, "tested", replace(found, n=count), front, lone=lone, tests=tests, clip=known.clip)
        assert front is not None
        found = replace(found, n=self._lately(day), n_of="runs")
        early = front.history < habitual.EARLY_DAYS
        return Told(day, "habitual", found, front, early=early, lone=_lone(front), tests=tests, clip=known.clip)

    def _weighing(self, told: Told, track: tracking.Track | None) -> LayOff | None:
        """The weeks without running by which anything of a day's answer counts less."""
        took = told.front is not None and told.front.lost > 0.0
        if not took and self._moved(track, told.day) >= 0.0:
            return None
        return max(self.lay_offs, key=lambda o: o.loss(told.day))

    def _lately(self, day: int) -> int:
        days = self.everyday.day[self.everyday.unmarked(day)]
        return int((day - days <= habitual.PAUSE_DAYS).sum())

    def _bounded(self, known: _Known, tests: list[tracking.Step]) -> Told:
        """Only a bound: what the best of all runs of the year, marked or not, asks for."""
        day, days = known.day, self.everyday.day
        which = np.flatnonzero((days <= day) & (day - days <= BOUND_DAYS) & np.isfinite(self.everyday.log_best[:, 0]))
        if len(which):
            front = self._fronts.on(day, known.clip, among=which)
            # In the first three weeks, and of a few runs, the best is all that is known, and an easy one more takes
            # nothing from it; later one alone is not believed far beyond the others.
            few = len(which) < habitual.LEAST_RUNS or day - days[which[0]] < habitual.TOLD_DAYS
            bound = float(np.exp(front.uncapped if few else front.level))
            lone = _lone(front) if few and front.uncapped - front.level < 1.0 else None  # else no other says anything
            return Told(
                day, "lower bound", None, front, bound, front.strongest[0], lone=lone, tests=tests, clip=known.clip
            )
        before = bool(tests) or bool(len(days) and days[0] <= day)
        return Told(day, "too old" if before else "none", tests=tests, clip=known.clip)


def everyday(bests: Sequence[Best]) -> habitual.Everyday:
    """The runs as the front takes them. Powers become ln of [W], minus infinity under 30 W."""
    of = np.array([*habitual.DURATIONS, *habitual.LONG_DURATIONS])
    watts = np.full((len(bests), len(of)), np.nan)
    places: dict[bytes, tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]] = {}
    for i, best in enumerate(bests):
        key = best.durations.tobytes()  # many runs have the same
        known, there = places.get(key) or (np.isin(of, best.durations), np.isin(best.durations, of))
        places[key] = known, there
        watts[i, known] = best.powers[there]
    counted = np.where(np.nan_to_num(watts) > efforts.LEAST_WATTS, watts, 1.0)
    log_watts = np.where(np.nan_to_num(watts) > efforts.LEAST_WATTS, np.log(counted), -np.inf)
    return habitual.Everyday(
        np.array([b.run for b in bests], dtype=np.int64),
        np.array([b.day for b in bests], dtype=np.int64),
        np.array([b.maximal for b in bests], dtype=np.bool_),
        log_watts[:, : len(habitual.DURATIONS)],
        log_watts[:, len(habitual.DURATIONS) :],
        np.array([b.level for b in bests], dtype=float),
        np.array([b.widening for b in bests], dtype=float),
    )


def _share(test: Evidence, front: habitual.Front | None) -> float:
    """What a run marked as maximal shows of what everyday runs ask for [1]: little for a walk, or a device that failed;
    1 where that is not known."""
    if front is None:
        return 1.0
    shown = max(float(implied_critical_power(t, p)) for t, p in zip(test.durations, test.powers, strict=True))
    return float(np.exp(np.log(shown) - front.level))  # no watts at all ask for nothing


def _lone(front: habitual.Front | None) -> tuple[int, float] | None:
    """The run that alone asks for more than the caps believe, and by how much [1]."""
    if front is None or not front.strongest or front.uncapped - front.level < efforts.LONE_LEAST:
        return None
    return front.strongest[0], float(np.expm1(front.uncapped - front.level))
