"""Simulated interval runs with known edges, and how well work is found in them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import lfilter

from footwork.analysis import intervals
from footwork.physics.power import slope_factor


def run(rng: np.random.Generator, noise: float = 0.05) -> tuple[np.ndarray, np.ndarray, list[tuple[int, int]]]:
    """Power [W] and heart rate [bpm] at 1 Hz of an interval run, and the true start and end of each repeat [s]: repeats
    of a minute or more, contrast of 15 % or more, white noise, then a device that shows the mean of three seconds."""
    count, work, rest = int(rng.integers(3, 11)), int(rng.integers(60, 361)), int(rng.integers(45, 181))
    easy = float(rng.uniform(150, 230))
    hard = easy * float(rng.uniform(1.15, 1.7))
    pieces = [(int(rng.integers(400, 1200)), easy * float(rng.uniform(0.92, 1.0)))]
    edges, at = [], pieces[0][0]
    for k in range(count):
        last = work + int(rng.integers(-3, 4))
        edges.append((at, at + last))
        pieces.append((last, hard * float(rng.normal(1, 0.01))))
        at += last
        if k < count - 1:
            pieces.append((rest, easy * float(rng.uniform(0.85, 1.0)) if hard / easy > 1.25 else easy))
            at += rest
    pieces.append((int(rng.integers(300, 900)), easy * float(rng.uniform(0.9, 1.0))))
    true = np.concatenate([np.full(s, p) for s, p in pieces])
    true = true * (1 + 0.01 * np.sin(np.arange(len(true)) / rng.uniform(60, 200)))
    power = true * (1 + noise * rng.standard_normal(len(true)))
    power = np.convolve(np.concatenate([power[:1], power[:1], power]), np.ones(3) / 3, mode="valid")
    drive = 70 + 100 * true / hard
    rate = np.empty(len(true))
    up, down, drift = rng.uniform(20, 50), rng.uniform(30, 70), rng.uniform(0, 8)
    level = drive[0] - 30
    for i, d in enumerate(drive):
        level += (d - level) / (up if d > level else down)
        rate[i] = level + drift * i / 3600
    rate = np.rint(rate + np.convolve(rng.normal(0, 1.2, len(rate)), np.ones(5) / 5, mode="same"))
    return power, rate, edges


KINDS = (
    "time",
    "distance",
    "feel",
    "ladder",
    "pyramid",
    "floats",
    "progressive",
    "sprints",
    "walked",
    "over-unders",
    "two sets",
    "tempo",
)


def wandering(rng: np.random.Generator, n: int, sd: float, seconds: float) -> np.ndarray:
    """A level that wanders: its SD and how long it stays where it is."""
    noise = rng.standard_normal(n) * sd * np.sqrt(2 / seconds)
    return np.asarray(lfilter([1.0], [1.0, -(1 - 1 / seconds)], noise))


def _pieces(rng: np.random.Generator, kind: str) -> list[tuple[int, float, bool]]:
    """Seconds, share of critical power and whether it is work."""
    easy, hard, count = rng.uniform(0.68, 0.78), rng.uniform(0.95, 1.15), int(rng.integers(3, 11))
    rest = easy * rng.uniform(0.8, 1.0)
    out = [(int(rng.integers(480, 1200)), easy, False)]

    def add(work, rests, level, easier):
        for k, seconds in enumerate(work):
            out.append((int(seconds), float(np.broadcast_to(level, len(work))[k]) * rng.normal(1, 0.012), True))
            if k < len(work) - 1:
                out.append((int(np.broadcast_to(rests, len(work))[k]), easier * rng.normal(1, 0.03), False))

    if kind in ("time", "walked"):
        work, between = 15 * int(rng.integers(4, 25)), 20 * int(rng.integers(3, 9))
        add(work + rng.integers(-3, 4, count), between, hard, rest if kind == "time" else rng.choice([0.0, 0.33]))
    elif kind == "distance":
        add(rng.uniform(70, 420) * rng.normal(1, 0.02, count), rng.uniform(60, 150, count), hard, rest)
    elif kind == "feel":
        spread = np.exp(0.25 * rng.standard_normal((2, count)))
        add(rng.uniform(60, 300) * spread[0], rng.uniform(60, 150) * spread[1], hard * spread[0] ** 0.1, rest)
    elif kind in ("ladder", "pyramid"):
        rising = [60, 120, 180, 240, 300][: int(rng.integers(3, 6))]
        work = rising if kind == "ladder" else rising + rising[-2::-1]
        add(work, int(rng.integers(60, 120)), hard, rest)
    elif kind == "floats":
        add([15 * int(rng.integers(6, 17))] * count, int(rng.integers(45, 90)), rng.uniform(0.98, 1.08), 0.85)
    elif kind == "progressive":
        steps, each = int(rng.integers(3, 6)), int(rng.integers(300, 900))
        levels = np.linspace(easy, 1.02, steps)
        return [(each + int(rng.integers(-3, 4)), float(v), k > 0) for k, v in enumerate(levels)]
    elif kind == "sprints":
        add([int(rng.integers(20, 35))] * int(rng.integers(6, 13)), int(rng.integers(50, 120)), 1.5, rest)
    elif kind == "over-unders":
        each = 15 * int(rng.integers(4, 9))
        add([each] * int(rng.integers(3, 7)), each, rng.uniform(1.03, 1.08), rng.uniform(0.9, 0.93))
    elif kind == "two sets":
        work, between, each = 15 * int(rng.integers(4, 13)), int(rng.integers(45, 90)), int(rng.integers(3, 6))
        add([work] * each, between, hard, rest)
        out.append((int(rng.integers(180, 360)), rest * 0.97, False))
        add([work] * each, between, hard * rng.uniform(0.98, 1.04), rest)
    else:
        out.append((int(rng.integers(600, 2400)), rng.uniform(0.88, 0.98), True))
    return [*out, (int(rng.integers(300, 900)), easy * rng.uniform(0.92, 1.0), False)]


@dataclass(frozen=True)
class Hard:
    """A session as devices record it on hills: power [W], speed [m/s], grade, true pieces of work, laps [s], seconds
    between rows."""

    power: np.ndarray
    speed: np.ndarray
    grade: np.ndarray
    edges: list[tuple[int, int]]
    laps: list[int]
    spacing: int

    def found(self, signal: intervals.Signal, laps: bool = False) -> list[intervals.Part]:
        """What is found in power, or in speed as on the flat."""
        return self.divided(signal, laps).parts

    def divided(self, signal: intervals.Signal, laps: bool = False) -> intervals.Division:
        """The same, and how else it may be divided."""
        values = self.power if signal == "power" else self.speed * slope_factor(np.clip(self.grade, -0.1, 0.3))
        return intervals.divided(values, signal, self.grade, self.laps if laps else ())


def hard(seed: int, kind: str, hilly: bool) -> Hard:
    """A session of a kind, or a steady run, or one with lights; effort wanders, power swings with the hills, laps are
    pressed late, rows are up to ten seconds apart."""
    rng = np.random.default_rng(seed)
    steady = kind in ("steady", "lights")
    pieces = [(int(rng.integers(1800, 7200)), 0.75, False)] if steady else _pieces(rng, kind)
    true = np.concatenate([np.full(s, level) for s, level, _ in pieces])
    n, ends = len(true), np.cumsum([s for s, _, _ in pieces])
    edges = [(int(e) - s, int(e)) for e, (s, _, work) in zip(ends, pieces, strict=True) if work]
    if kind == "lights":
        for at in rng.integers(200, n - 300, int(rng.integers(2, 8))):
            true[at : at + int(rng.integers(10, 60))] = 0.0
    slope = gaussian_filter1d(wandering(rng, n, 1.0, rng.uniform(40, 120)), 15)
    slope *= rng.uniform(0.015, 0.035) / slope.std() * hilly
    effort = true * np.exp(wandering(rng, n, 0.02, 60) + wandering(rng, n, 0.02, 600) + rng.uniform(0.5, 2.5) * slope)
    power = rng.uniform(220, 330) * effort * (1 + 0.05 * rng.standard_normal(n))
    speed = 3.9 * effort / slope_factor(slope) * np.exp(wandering(rng, n, 0.02, 10))
    power[true < 0.05], speed[true < 0.05] = 0.0, 0.0
    width = int(rng.choice([1, 3, 5]))
    power = np.convolve(np.concatenate([np.full(width - 1, power[0]), power]), np.ones(width) / width, "valid")
    spacing = (1, 1, 1, 2, 3, 5, 10)[seed % 7]
    at = np.append(np.arange(0, n - 1, spacing), n - 1)
    noisy = slope + wandering(rng, n, 0.004, 20) * hilly
    signals = (np.interp(np.arange(n), at, v[at]) for v in (power, speed, noisy))
    return Hard(*signals, edges, [int(e) + int(rng.integers(0, 4)) for e in ends[:-1]], spacing)


def f1_hard(
    signal: intervals.Signal, runs: int, first_seed: int = 60_000, kinds: tuple[str, ...] = KINDS, laps: bool = False
) -> float:
    """F1 of pieces within 5 s or one row, over as many runs of each kind, half of them on hills; with the runner's laps
    or without."""
    hits = found = true = 0
    for kind in kinds:
        for i in range(runs):
            run = hard(first_seed + 1000 * KINDS.index(kind) + i, kind, i % 2 == 1)
            h, f, t = score(run.found(signal, laps), run.edges, max(5, run.spacing))
            hits, found, true = hits + h, found + f, true + t
    return 2 * hits / (found + true)


def cut(kind: str, signal: intervals.Signal, runs: int, first_seed: int = 75_000, lap: int = 0) -> int:
    """How many hilly runs of one level are cut, with a lap every so many seconds where that is not 0."""
    made = (hard(first_seed + i, kind, True) for i in range(runs))
    return sum(
        len((replace(run, laps=list(range(lap, len(run.power), lap))) if lap else run).found(signal, lap > 0)) > 1
        for run in made
    )


def doubts(signal: intervals.Signal, runs: int, first_seed: int = 90_000) -> dict[str, float]:
    """Of as many sessions of each kind, and steady runs with and without stops, the shares that are divided otherwise
    than they were run, edges 20 s or one row apart; that are told as not sure; that of the first are told so; and that
    of those told so are divided wrongly, and are told rightly as what else they may be."""
    kinds = (*KINDS, "steady", "lights")
    wrong, told, other = [], [], []
    for k, kind in enumerate(kinds):
        for i in range(runs):
            run = hard(first_seed + 1000 * k + i, kind, i % 2 == 1)
            made = run.divided(signal)
            edges = run.edges or [(0, len(run.power))]
            right = [len(set(score(p, edges, max(20, run.spacing)))) == 1 for p in (made.parts, made.otherwise)]
            wrong.append(not right[0])
            told.append(bool(made.otherwise))
            other.append(right[1])
    off, said, else_ = np.array(wrong), np.array(told), np.array(other)
    return {
        "wrong": float(off.mean()),
        "told": float(said.mean()),
        "told of wrong": float(said[off].mean()),
        "wrong of told": float(off[said].mean()),
        "otherwise right of told and wrong": float(else_[said & off].mean()),
    }


def score(found: list[intervals.Part], edges: list[tuple[int, int]], within: float) -> tuple[int, int, int]:
    """Repeats that are found with both ends near enough, found pieces of work, and true repeats."""
    works = [(p.start, p.end) for p in found if p.kind == "work"]
    hits = sum(any(abs(a - c) <= within and abs(b - d) <= within for c, d in works) for a, b in edges)
    return hits, len(works), len(edges)


def f1(runs: int, signal: intervals.Signal, within: float, first_seed: int = 50_000) -> float:
    """F1 of repeats over many runs."""
    hits = found = true = 0
    for seed in range(first_seed, first_seed + runs):
        power, rate, edges = run(np.random.default_rng(seed))
        h, f, t = score(intervals.find(power if signal == "power" else rate, signal), edges, within)
        hits, found, true = hits + h, found + f, true + t
    return 2 * hits / (found + true)
