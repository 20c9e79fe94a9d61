"""Numbers held in files: thinned, so that a person can read a difference, with room for another processor."""

import math

MOST = 8  # items of a list that are held: evenly over it, with its length


def thinned(value):
    """An answer with long lists told by some of their items, and numbers by six digits."""
    if isinstance(value, dict):
        return {k: thinned(v) for k, v in value.items()}
    if isinstance(value, list):
        if len(value) <= MOST:
            return [thinned(v) for v in value]
        return [len(value), *(thinned(value[round(k * (len(value) - 1) / (MOST - 1))]) for k in range(MOST))]
    return float(f"{value:.6g}") if isinstance(value, float) else value


def differences(mine, golden, path=""):
    """Where two answers differ: numbers by more than two in ten thousand, all else at all."""
    if isinstance(mine, dict) and isinstance(golden, dict):
        out = [f"{path}: holds {k}" for k in mine.keys() ^ golden.keys()]
        return out + [d for k in mine.keys() & golden.keys() for d in differences(mine[k], golden[k], f"{path}.{k}")]
    if isinstance(mine, list) and isinstance(golden, list) and len(mine) == len(golden):
        return [d for k, (a, b) in enumerate(zip(mine, golden, strict=True)) for d in differences(a, b, f"{path}[{k}]")]
    if isinstance(mine, float | int) and isinstance(golden, float | int) and not isinstance(mine, bool):
        return [] if math.isclose(mine, golden, rel_tol=2e-4, abs_tol=5e-4) else [f"{path}: {mine} was {golden}"]
    return [] if mine == golden else [f"{path}: {mine!r} was {golden!r}"]
