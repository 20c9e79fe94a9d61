"""Numbers held in files: thinned, so that a person can read a difference, with room for another processor."""

import json
import math
import zlib
from pathlib import Path

MOST = 5  # items of a list that are held: evenly over it, with its length and what all of them come to
GOLDEN = 0.618034  # steps of it spread weights over places


def thinned(value):
    """An answer with long lists told by some of their items and the sums of all, and numbers by six digits."""
    if isinstance(value, dict):
        return {k: thinned(v) for k, v in value.items()}
    if isinstance(value, list):
        if len(value) <= MOST:
            return [thinned(v) for v in value]
        some = (thinned(value[round(k * (len(value) - 1) / (MOST - 1))]) for k in range(MOST))
        return [len(value), _all(value), *some]
    return float(f"{value:.6g}") if isinstance(value, float) else value


def _all(values):
    """What a list comes to, by the names in it: how many numbers, the sums of those above and below nothing, each
    weighted by its place, and the words without their digits, whose last may round otherwise elsewhere."""
    out = {}
    for name, leaf in _leaves(values):
        held = out.setdefault(name, [0, 0.0, 0.0, 0])
        if isinstance(leaf, str):
            held[3] = zlib.crc32("".join(c for c in leaf if not c.isdigit()).encode(), held[3])
        elif leaf is not None and math.isfinite(leaf):
            held[1 if leaf > 0 else 2] += leaf * (1 + held[0] * GOLDEN % 1)
            held[0] += 1
    return {
        name: [n, float(f"{above:.6g}"), float(f"{below:.6g}"), words] for name, (n, above, below, words) in out.items()
    }


def _leaves(value, name=""):
    if isinstance(value, dict):
        for key, each in value.items():
            yield from _leaves(each, f"{name}.{key}".lstrip("."))
    elif isinstance(value, list):
        for each in value:
            yield from _leaves(each, name)
    else:
        yield name, value


def write(path: Path, answers: dict) -> None:
    """Answers to a file, a line for each part of one: `git diff --word-diff` shows what changed in it."""

    def line(value):
        return json.dumps(value, ensure_ascii=False)

    def parts(value):
        if isinstance(value, dict):
            return "{\n" + ",\n".join(f"{line(k)}: {line(v)}" for k, v in value.items()) + "\n}"
        return "[\n" + ",\n".join(map(line, value)) + "\n]" if isinstance(value, list) else line(value)

    told = ",\n".join(f"{line(name)}: {parts(value)}" for name, value in answers.items())
    path.write_text("{\n" + told + "\n}\n", encoding="utf-8")


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
