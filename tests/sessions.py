"""Simulated interval runs with known edges, and how well work is found in them."""

from __future__ import annotations

import numpy as np

from footwork.analysis import intervals


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
