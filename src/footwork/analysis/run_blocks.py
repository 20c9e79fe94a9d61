"""A run described as blocks: steady running, or a set of alternating work and recovery.

Each description costs what its levels, durations and edges say that the others would not, in natural logarithms of
densities; the cheapest is taken. Levels are natural logarithms of a signal, times are seconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log, sqrt

import numpy as np

# What tells work from none; our conventions, as all below, tuned on simulated sessions and tried on recorded ones.
BIN_S = 5
LIGHT_S = 40  # standing shorter than this between two efforts of one level is a light, unless it comes again and again
LONG_STOP_S = 300
# How alike a set is: SD of ln level of its work and of its recovery (the least that serves), of ln duration of both.
WORK_SD, REST_SD, WORK_LASTS, REST_LASTS = (0.035, 0.1, 0.3), (0.08, 0.3), 0.08, 0.2
REGULAR = 0.3  # spread of what comes again and again, as rests and repeats do and lights do not
LEVEL_SD = 0.025  # of a steady level from stretch to stretch
WANDER_S = 60.0  # how long a level that wanders stays where it is
# Contrasts below which neighbours are one, tried in turn.
MERGED = (0.03, 0.04, 0.05, 0.065, 0.08, 0.1, 0.12, 0.17, 0.24, 0.35)
FREE = float(np.log(0.75))  # of a level that nothing tells
SET_COST = 5.0
EARLY_S = 3  # a device shows a change so much later than the lap that was pressed at it
LAP_S, LAP_COST = 8, 1.5  # an edge near a lap costs less
LEAST_PAIR = 0.6  # of the least contrast between two neighbours of a set
IRREGULAR, LITTLE = 5.0, 2.0  # what a set is worth less where its work lasts as it likes: of slight contrast, of plain
LONG_S, BESIDE = 240, 0.45  # what counts as work beside a set: how long, and how far from easy to the set
LOOSE_SD = 0.3  # within a recovery one may walk, stand and jog
DIP = 0.2  # a slight contrast
SHORT_S = 70  # stops so short may be lights
LONE_S = 90  # work that is no repeat lasts longer
FEW = 7  # pieces of a set that may be some hills
EDGE_S, EDGE_SHARE = 20, 0.05  # so far apart, or by that share of what they bound, two edges are one change, seen twice
# Log density by which another division may fit worse and is still told. On simulated sessions one in sixteen is nearer
# than that, and half of these are divided wrongly: half of all that are (docs/recovery.md).
DOUBT = 6.0
LEAST_STEP, RISE_SD = 0.045, 0.03  # of a run that gets harder: the least rise of a step, and how alike they are


@dataclass(frozen=True)
class Whole:
    """What all stretches of a run share: seconds, SD of a level that wanders, least contrast, laps [s]."""

    seconds: int
    wander: float
    contrast: float
    laps: tuple[float, ...]
    most: float  # what one stretch out of line costs at most

    def edge(self, at: int, laps: bool = False) -> float:
        """What an edge there is worth when nothing tells it; with ``laps`` one near it does."""
        if at >= self.seconds:
            return 0.0
        near = laps and any(-EARLY_S <= lap - at <= LAP_S for lap in self.laps)
        return -LAP_COST if near else -log(self.seconds / BIN_S)


@dataclass(frozen=True)
class Stretch:
    """Neighbouring stretches taken for one level: seconds, the level, whether the runner stands, and what it is made
    of."""

    start: int
    end: int
    level: float
    still: bool
    of: tuple[tuple[int, float], ...]  # seconds and level of each stretch
    jumps: float = 0.0  # what steps too sharp for a level that wanders say against taking these for one

    @property
    def seconds(self) -> int:
        return self.end - self.start

    def worth(self, wander: float, sharp: float = 1.0, most: float = np.inf) -> float:
        """Log density of its stretches' levels about its own."""
        if self.still:
            return 0.0
        out, precision = -self.jumps * sharp, 0.0
        for seconds, level in self.of:
            square = LEVEL_SD**2 + wander**2 * min(1.0, 2 * WANDER_S / seconds)
            out -= min(0.5 * (level - self.level) ** 2 / square, most) + 0.5 * log(6.2832 * square)
            precision += 1 / square
        return out + 0.5 * log(6.2832 / precision)  # its own level is as sure as they make it


def described(fine: Sequence[Stretch], whole: Whole, jumps: dict[int, float]) -> list[list[tuple[int, int, str]]]:
    """Work and what is none of a run cut finely, by the description that fits best; then by those that fit nearly as
    well.

    Parameters
    ----------
    fine : sequence of Stretch
        They cover the run.
    whole : Whole
    jumps : dict
        What each edge's sharpness says against a level that only wanders there [1].

    Returns
    -------
    list of list of (start, end, kind)
        The best first. Seconds [s]; kind is ``work``, ``step`` for a stretch harder than the one before, or nothing.
        Empty where the run is of one level.
    """
    tried: list[tuple[float, list[list[Stretch]]]] = []
    rests = _rests(fine, whole.contrast)
    seen: set[tuple[tuple[int, float], ...]] = set()
    for contrast in MERGED:
        for of, lights in ((fine, True), (fine, False), (rests, False)):
            if of is rests and len(rests) == len(fine):
                continue
            elements = _merged(of, contrast, lights, jumps)
            key = tuple((e.start, e.jumps) for e in elements)
            if key in seen:
                continue
            seen.add(key)
            tried.append(_blocks(elements, whole))
    tried.sort(key=lambda t: -t[0])
    return [_kinds(blocks, whole.contrast) for score, blocks in tried if score > tried[0][0] - DOUBT]


def same(one: tuple[int, int], two: tuple[int, int]) -> bool:
    """Whether two stretches are the same but for where a change is seen [s]."""
    lasts = sorted((one[1] - one[0], two[1] - two[0]))
    within = min(max(EDGE_S, EDGE_SHARE * lasts[1]), lasts[0] / 2)
    return max(abs(one[0] - two[0]), abs(one[1] - two[1])) <= within


def joined(elements: Sequence[Stretch], jumps: dict[int, float], stop: float = 0.0) -> Stretch:
    moving = [e for e in elements if not e.still] or list(elements)
    of = tuple(s for e in moving for s in e.of)
    weight = sum(s for s, _ in of)
    level = sum(s * x for s, x in of) / weight
    sharp = sum(e.jumps for e in elements) + sum(
        stop if b.still else jumps.get(a.end, 0.0) for a, b in pairwise(elements) if not a.still
    )
    return Stretch(elements[0].start, elements[-1].end, level, all(e.still for e in elements), of, sharp)


def _rests(fine: Sequence[Stretch], contrast: float) -> list[Stretch]:
    """With a stop and the easy running beside it as one recovery."""
    out = list(fine)
    k = 1
    while k < len(out) - 1:
        for x, y, z in ((k + 1, k + 2, k - 1), (k - 1, k - 2, k + 1)):
            if not out[k].still or not 0 <= y < len(out) or out[x].still or out[z].still:
                continue
            if out[x].seconds < LONG_STOP_S and out[x].level < min(out[y].level, out[z].level) - contrast:
                a, b = min(k, x), max(k, x)
                out[a : b + 1] = [joined(out[a : b + 1], {})]
                k = max(a - 1, 0)
                break
        k += 1
    return out


def _merged(fine: Sequence[Stretch], contrast: float, lights: bool, jumps: dict[int, float]) -> list[Stretch]:
    """Neighbours that differ by less than ``contrast`` as one, the most alike first; with ``lights`` across short stops
    too."""
    out = list(fine)
    stop = 2 * log(fine[-1].end / BIN_S)  # its two edges, which nothing else tells
    while len(out) > 1:
        best, at, width = contrast, -1, 2
        for k in range(len(out) - 1):
            a, b = out[k], out[k + 1]
            if not a.still and not b.still and (apart := _distance(a, b)) < best:
                best, at, width = apart, k, 2
            short = lights and k + 2 < len(out) and b.still and b.seconds <= SHORT_S and not a.still
            if short and (apart := _distance(a, out[k + 2])) < best:
                best, at, width = apart, k, 3
        if at < 0:
            return out
        out[at : at + width] = [joined(out[at : at + width], jumps, stop)]
    return out


def _distance(a: Stretch, b: Stretch) -> float:
    """How much two stretches differ; what is short differs by less than it seems."""
    return abs(a.level - b.level) * min(1.0, sqrt(min(a.seconds, b.seconds) / (2 * WANDER_S)))


@dataclass
class _Side:
    """The work or the recovery of a set, added up piece by piece."""

    sd: float  # of ln duration
    count: int = 0
    moving: int = 0
    levels: float = 0.0
    squares: float = 0.0
    lowest: float = np.inf
    highest: float = -np.inf
    seconds: float = 0.0
    second_squares: float = 0.0
    logs: float = 0.0
    log_squares: float = 0.0
    widths: float = 0.0
    shortest: float = np.inf
    longest: float = 0.0
    edges: float = 0.0
    first_edge: float = 0.0

    def add(self, e: Stretch, edge: float, last: bool) -> None:
        """One piece more; ``edge`` is what its end is worth, ``last`` whether the run ends with it."""
        if not e.still:
            self.moving += 1
            self.levels += e.level
            self.squares += e.level**2
            self.lowest, self.highest = min(self.lowest, e.level), max(self.highest, e.level)
        lasts = log(e.seconds)
        self.seconds += e.seconds
        self.second_squares += e.seconds**2
        self.logs += lasts
        self.log_squares += lasts**2
        self.shortest, self.longest = min(self.shortest, e.seconds), max(self.longest, e.seconds)
        self.edges += edge
        if not self.count:
            self.first_edge = edge
        elif not last:
            self.widths += log(max(2.5066 * self.sd * e.seconds / BIN_S, 1.0))
        self.count += 1

    @property
    def level(self) -> float:
        return self.levels / self.moving

    @property
    def regular(self) -> bool:
        mean = self.seconds / self.count
        return self.second_squares / self.count - mean**2 <= (REGULAR * mean) ** 2

    def alike(self, sds: Sequence[float]) -> float:
        """What its levels are worth about a common one."""
        if not self.moving:
            return 0.0
        square = max(self.squares - self.levels**2 / self.moving, 0.0)
        return max(-0.5 * square / sd**2 - (self.moving - 1) * log(2.5066 * sd) for sd in sds) - FREE

    def lasts(self, irregular: float) -> float:
        """What its durations are worth: told by the first, or each for itself, which costs ``irregular``."""
        square = max(self.log_squares - self.logs**2 / self.count, 0.0)
        tied = self.first_edge - 0.5 * square / self.sd**2 - self.widths
        return max(self.edges - irregular, tied)


def _blocks(elements: Sequence[Stretch], whole: Whole) -> tuple[float, list[list[Stretch]]]:
    """The best description of a run as blocks: single elements, or sets of an odd number that alternate."""
    n = len(elements)
    worth = [e.worth(whole.wander, most=whole.most) for e in elements]
    loose = [e.worth(LOOSE_SD, sharp=0.0) for e in elements]  # within a recovery one may walk, stand and jog
    # Whoever presses laps runs repeats or steps by them: what is neither gains nothing by a lap.
    alone_edge, edge = ([whole.edge(e.start, laps) for e in elements] + [0.0] for laps in (False, True))
    best = [0.0] + [-np.inf] * n
    back = [0] * (n + 1)
    for i, first in enumerate(elements):
        alone = best[i] + worth[i] + alone_edge[i] - FREE * (not first.still)
        if alone > best[i + 1]:
            best[i + 1], back[i + 1] = alone, i
        if first.still:
            continue
        inside = worth[i]
        work, rest = _Side(WORK_LASTS), _Side(REST_LASTS)
        work.add(first, edge[i + 1], n == i + 1)
        for j in range(i + 3, n + 1, 2):
            w, before, r = elements[j - 1], elements[j - 3], elements[j - 2]
            if w.still or not (r.still or min(w.level, before.level) - r.level >= LEAST_PAIR * whole.contrast):
                break
            inside += worth[j - 1] + max(worth[j - 2], loose[j - 2])
            rest.add(r, edge[j - 1], False)
            work.add(w, edge[j], j == n)
            if rest.moving and work.level - rest.level < whole.contrast:
                continue
            about = [e.level for e in (*elements[max(i - 1, 0) : i], *elements[j : j + 1]) if not e.still]
            if _lights(work, rest, elements[i + 1 : j : 2], about, whole.contrast):
                continue
            slight = rest.moving and work.lowest - rest.highest < DIP
            # The last piece of work ends where the next block begins, which counts that edge.
            score = best[i] + inside + edge[i] - SET_COST - edge[j]
            score += work.alike(WORK_SD) + rest.alike(REST_SD)
            score += work.lasts(IRREGULAR if slight else LITTLE) + rest.lasts(0.0)
            if score > best[j]:
                best[j], back[j] = score, i
        if i > 0:  # the first of a climb is what it rises from
            last = elements[i - 1]
            for j in range(i + 2, n + 1):
                steps = elements[i:j]
                if steps[-1].still or last.still or steps[-1].level - elements[j - 2].level < LEAST_STEP:
                    break
                if first.level - last.level < LEAST_STEP or min(e.seconds for e in steps) < LONG_S:
                    break
                score = best[i] + sum(worth[i:j]) + edge[i] + _climb(last, steps)
                if score > best[j]:
                    best[j], back[j] = score, i
    blocks, at = [], n
    while at > 0:
        blocks.append(list(elements[back[at] : at]))
        at = back[at]
    return best[n], blocks[::-1]


def _lights(work: _Side, rest: _Side, rests: Sequence[Stretch], about: Sequence[float], contrast: float) -> bool:
    """Whether what interrupts the work of a set is mostly short stops or dips that come as they like."""
    if rest.shortest > SHORT_S:
        return False
    level = work.level
    plain = bool(about) and level >= max(about) + contrast  # harder than what is before and after
    few = len(rests) < 3
    short = [
        e
        for e in rests
        if e.seconds <= SHORT_S and (e.still or e.level > level - DIP or not plain or (few and e.seconds < LIGHT_S))
    ]
    if 2 * len(short) < len(rests):
        return False
    if not (work.regular and rest.regular):
        return True
    return rest.longest < LIGHT_S and few and (short[0].still or work.shortest > SHORT_S)


def _climb(last: Stretch, steps: Sequence[Stretch]) -> float:
    """What rises and durations of steps, each harder than the one before, are worth: alike."""
    rises = np.diff([e.level for e in (last, *steps)])
    lasts = np.log([float(e.seconds) for e in steps])
    width = np.maximum(2.5066 * WORK_LASTS * np.exp(lasts) / BIN_S, 1.0)
    return (
        -FREE
        - float((0.5 * ((rises - rises.mean()) / RISE_SD) ** 2).sum())
        - (len(steps) - 1) * float(np.log(2.5066 * RISE_SD))
        - float((0.5 * ((lasts - lasts.mean()) / WORK_LASTS) ** 2).sum())
        - float(np.log(width[1:]).sum())
    )


def _kinds(blocks: Sequence[Sequence[Stretch]], contrast: float) -> list[tuple[int, int, str]]:
    """Stretches as work or none, with steps of a run that gets harder kept apart."""
    blocks = _without_lights(blocks, contrast)
    flat = [e for b in blocks for e in b]
    kind = [""] * len(flat)
    of_sets: list[float] = []
    alone: list[int] = []
    at = 0
    for b in blocks:
        if len(b) == 1:
            alone.append(at)
        elif _climbs(b):
            kind[at : at + len(b)] = ["step"] * len(b)
            of_sets += [b[0].level]
        else:
            kind[at : at + len(b) : 2] = ["work"] * (len(b) // 2 + 1)
            of_sets += [e.level for e in b[::2]]
        at += len(b)
    # Some hills before a set are no set of their own, unless they are as hard or long.
    sets = [float(np.mean([e.level for e in b[::2]])) for b in blocks if len(b) > 1 and not _climbs(b)]
    top = max(sets, default=0.0)
    at = 0
    for b in blocks:
        if len(b) > 1 and len(b) <= FEW and not _climbs(b):
            level = float(np.mean([e.level for e in b[::2]]))
            if level < top - contrast and max(e.seconds for e in b[::2]) < LONG_S:
                kind[at : at + len(b)] = [""] * len(b)
                of_sets = [v for v in of_sets if v not in {e.level for e in b}]
        at += len(b)
    for k in alone:
        beside = [flat[i].level for i in (k - 1, k + 1) if 0 <= i < len(flat) and not flat[i].still]
        # Alone, a few seconds out of line are a sprint for a bus, or positions that jump.
        hard = flat[k].seconds >= LONE_S and not flat[k].still and bool(beside)
        hard = hard and flat[k].level >= max(beside) + contrast
        if hard and of_sets:  # beside a set: as hard, or long and clearly no easy running
            top = float(np.median(of_sets))
            others = [flat[i].level for i in alone if i != k and not flat[i].still and flat[i].seconds >= LONG_S]
            easy = min(others, default=top)
            long = flat[k].seconds >= LONG_S and flat[k].level >= easy + BESIDE * (top - easy)
            hard = long or flat[k].level >= top - contrast
        if hard:
            kind[k] = "work"
    chain = _chain([flat[k] for k in alone])
    if len(chain) > 1 and not of_sets:
        kind = ["step" if k in {alone[i] for i in chain[1:]} else "" for k in range(len(flat))]
    if not any(kind) and any(e.still and e.seconds >= LONG_STOP_S for e in flat):
        kind = ["" if e.still and e.seconds >= LONG_STOP_S else "work" for e in flat]
    return [(e.start, e.end, k) for e, k in zip(flat, kind, strict=True)] if any(kind) else []


def _without_lights(blocks: Sequence[Sequence[Stretch]], contrast: float) -> list[list[Stretch]]:
    """Steady running about a short stop or dip, or some of them, as one."""
    out = [list(b) for b in blocks]
    k = 0
    while k < len(out) - 2:
        if len(out[k]) == 1 and not out[k][0].still:
            level = out[k][0].level
            for j in range(k + 2, len(out)):
                between = out[k + 1 : j]
                if any(len(b) > 1 for b in between) or sum(b[0].seconds for b in between) > SHORT_S:
                    break
                alike = len(out[j]) == 1 and not out[j][0].still and abs(out[j][0].level - level) < contrast
                if alike and all(b[0].still or b[0].level < level - contrast / 2 for b in between):
                    out[k : j + 1] = [[joined([b[0] for b in out[k : j + 1]], {})]]
                    k -= 1
                    break
        k += 1
    return out


def _chain(alone: Sequence[Stretch]) -> list[int]:
    """The longest stretch of a run that gets harder step by step over times that are alike, from what it rises from."""
    best: list[int] = []
    begin = 0
    for k in range(1, len(alone) + 1):
        if (
            k < len(alone)
            and alone[k].start == alone[k - 1].end
            and not alone[k].still
            and not alone[k - 1].still
            and alone[k].level - alone[k - 1].level >= LEAST_STEP
        ):
            continue
        lasts = np.log([float(e.seconds) for e in alone[begin:k]])
        long = min(e.seconds for e in alone[begin:k]) >= LONG_S
        if k - begin >= 3 and long and lasts.std() < REGULAR and k - begin > len(best):
            best = list(range(begin, k))
        begin = k
    return best


def _climbs(block: Sequence[Stretch]) -> bool:
    return all(not b.still and b.level > a.level for a, b in pairwise(block))
