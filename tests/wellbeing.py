"""Simulated half-years of a healthy runner, and of one who falls ill or is overloaded, to set and test the signs."""

from __future__ import annotations

import numpy as np

from footwork.analysis import signs
from footwork.analysis.signs import Channel

BEFORE, HALF_YEAR = 150, 182
KINDS = {  # name: bad direction, felt, usual spread of a day
    "resting heart rate": (1, False, 2.0),
    "soreness": (1, True, 1.2),
    "sleep": (-1, False, 0.8),
    "overnight variability": (-1, False, 0.12),
    "heart rate at power": (1, False, 0.05),
}
ORDER = tuple(KINDS)


def half_year(rng: np.random.Generator, count: int, lift: float = 0.0, day: int = -1, length: int = 6) -> list[Channel]:
    """Channels of a runner: autoregressive (.1 to .9), a weekly rhythm, a slow drift, own spread, days missing; with
    ``lift`` of one day's spreads at the peak from ``day`` on."""
    days = BEFORE + HALF_YEAR
    out = []
    for name in ORDER[:count]:
        bad, felt, usual = KINDS[name]
        rho, spread = rng.uniform(0.1, 0.9), usual * np.exp(0.3 * rng.standard_normal())
        noise = rng.standard_normal(days) * np.sqrt(1 - rho**2)
        value = np.empty(days)
        value[0] = rng.standard_normal()
        for k in range(1, days):
            value[k] = rho * value[k - 1] + noise[k]
        value += 0.3 * np.sin(2 * np.pi * np.arange(days) / 7 + rng.uniform(0, 7))
        value += 0.5 * np.sin(2 * np.pi * np.arange(days) / 365 + rng.uniform(0, 7))
        if day >= 0:
            at = np.arange(days) - (BEFORE + day)
            value += bad * lift * np.clip(np.minimum((at + 1) / 2, (length - at) / 2), 0.0, 1.0)
        value = spread * value
        if felt:
            value = np.round(np.clip(3 + value, 0, 10))
        value[rng.random(days) < 0.15] = np.nan
        out.append(Channel(name, bad, felt, usual, value))
    return out


def found(channels: list[Channel], pattern: str, threshold: float | None = None) -> list[int]:
    """Days of the half-year with a check."""
    score, count = signs.scores(channels, signs.RECENT[pattern])
    score[:BEFORE] = np.nan
    given = signs.THRESHOLDS[pattern] if threshold is None else dict.fromkeys(range(1, 9), threshold)
    return [d - BEFORE for d in signs.checks(score, count, given)]


def simulated_threshold(pattern: str, count: int, runs: int = 2000, seed: int = 1) -> float:
    """The score at which a healthy half-year has one check in the mean."""
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(runs):
        score, many = signs.scores(half_year(rng, count), signs.RECENT[pattern])
        made.append((score[BEFORE:], many[BEFORE:]))
    low, high = 1.0, 5.0
    for _ in range(25):
        at = 0.5 * (low + high)
        rate = np.mean([len(signs.checks(s, m, dict.fromkeys(range(1, 9), at))) for s, m in made])
        low, high = (at, high) if rate > 0.97 else (low, at)
    return high


def rows(runs: int) -> list[str]:
    """As the table of recovery prints them: false checks in a half-year, and illnesses and overloads that are seen."""
    out = ["| pattern | channels | false checks in a half-year | by chance within 7 days | seen within 7 days |"]
    out.append("|---|---|---|---|---|")
    for pattern in signs.RECENT:
        for count in (2, 3, 4, 5):
            rng = np.random.default_rng(1000 + count)
            healthy = [found(half_year(rng, count), pattern) for _ in range(runs)]
            rate = np.array([len(h) for h in healthy])
            chance = np.mean([any(0 <= d - 100 <= 6 for d in h) for h in healthy])
            length = 6 if pattern == "unwell" else 14
            ill = [found(half_year(rng, count, 1.5, 100, length), pattern) for _ in range(max(runs // 4, 1))]
            seen = np.mean([any(0 <= d - 100 <= length for d in h) for h in ill])
            error = 1.96 * rate.std() / np.sqrt(runs)
            out.append(
                f"| {pattern} | {count} | {rate.mean():.2f} ± {error:.2f} | {100 * chance:.0f} % | {100 * seen:.0f} % |"
            )
    return out
