"""Bytes that a fading disk or another program changed: every one that would change an answer is found."""

from __future__ import annotations

import json
import random
import shutil
from pathlib import Path
from typing import Any

import numpy as np

from footwork.api import Library
from footwork.errors import LibraryError
from footwork.store import blobs, seal, stamps


def flip(path: Path, at: int, bit: int = 0) -> bytes:
    """Change one bit; returns what the file held before."""
    before = path.read_bytes()
    content = bytearray(before)
    content[at] ^= 1 << bit
    path.write_bytes(bytes(content))
    return before


def answers(library: Library) -> str:
    """What a library says of all its runs, and of the runner's capacity."""
    rows = [r.to_json() for r in library.runs()]
    best = [library.run(r["id"]).to_json() for r in rows]
    return json.dumps([rows, best, library.capacity().to_json()], default=str, sort_keys=True)


def original(library: Path, rng: random.Random, places: int) -> tuple[int, list[str]]:
    """One bit in each original: read as it was, or told to be damaged."""
    wrong = []
    files = sorted((library / "originals").rglob("*.gz"))
    tried = 0
    for path in files:
        digest = path.name.removesuffix(".gz")
        whole = blobs.read_original(library, digest)
        for _ in range(max(1, places // len(files))):
            at = rng.randrange(path.stat().st_size)
            before = flip(path, at, rng.randrange(8))
            tried += 1
            try:
                if blobs.read_original(library, digest) != whole:
                    wrong.append(f"{path.name} at {at}")
            except LibraryError:
                pass
            path.write_bytes(before)
    return tried, wrong


def told(library: Path, rng: random.Random, places: int) -> tuple[int, list[str]]:
    """A bit of the database of what was told: the library is not opened."""
    path, wrong = library / "library.sqlite", []
    for _ in range(places):
        at = rng.randrange(path.stat().st_size)
        before = flip(path, at, rng.randrange(8))
        try:
            Library.open(library, refresh=False).close()
            wrong.append(f"at {at}")
        except LibraryError:
            pass
        path.write_bytes(before)
    return places, wrong


def derived(library: Path, rng: random.Random, places: int, rebuilt: int) -> tuple[int, list[str]]:
    """A bit of the derived database: noticed at every place; at ``rebuilt`` of them the answers are compared too."""
    path, wrong = library / "derived" / "derived.sqlite", []
    with Library.open(library) as opened:
        before = answers(opened)
    kept = path.read_bytes()
    for k in range(places):
        at = rng.randrange(len(kept))
        flip(path, at, rng.randrange(8))
        if "derived/derived.sqlite" not in (seal.changed(library) or ()):
            wrong.append(f"at {at}: not noticed")
        if k < rebuilt:
            with Library.open(library) as opened:
                if answers(opened) != before:
                    wrong.append(f"at {at}: another answer")
            kept = path.read_bytes()
        else:
            path.write_bytes(kept)
    return places, wrong


def signals(library: Path, rng: random.Random, places: int) -> tuple[int, list[str]]:
    """A bit of a file of signals: refused, or the values that were written."""
    wrong = []
    files = sorted((library / "derived" / "signals").glob("*.parquet"))
    for k in range(places):
        path = files[k % len(files)]
        whole = blobs.read_signals(path, [])
        at = rng.randrange(path.stat().st_size)
        before = flip(path, at, rng.randrange(8))
        try:
            found = blobs.read_signals(path, [])
            same = found.columns.keys() == whole.columns.keys() and all(
                np.array_equal(found[name], values, equal_nan=True) for name, values in whole.columns.items()
            )
            if not same or not np.array_equal(found.timer, whole.timer):
                wrong.append(f"{path.name} at {at}")
        except LibraryError:
            pass
        path.write_bytes(before)
    return places, wrong


def kept(library: Path, rng: random.Random, places: int) -> tuple[int, list[str]]:
    """A bit of an answer or a snapshot that was kept: forgotten, or what was written."""
    wrong = []
    stamps.write_kept(library / "derived" / "kept-by-the-test.txt", "an answer of 250 W\n" * 40)
    files = [
        p for p in (library / "derived").rglob("*") if p.suffix in (".json", ".txt") and p.name != "made-anew.json"
    ]
    for k in range(places):
        path = files[k % len(files)]
        whole = stamps.read_kept(path)
        at = rng.randrange(path.stat().st_size)
        before = flip(path, at, rng.randrange(8))
        if stamps.read_kept(path) not in (None, whole):
            wrong.append(f"{path.name} at {at}")
        path.write_bytes(before)
    return places, wrong


def attack(library: Path, work: Path, places: int, seed: int, rebuilt: int = 20) -> dict[str, Any]:
    """All kinds on a copy of a library: kind, places tried, and those that were not found."""
    rng = random.Random(seed)
    copy = work / "flipped"
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(library, copy)
    Library.open(copy).close()
    return {
        "originals": original(copy, rng, places),
        "library.sqlite": told(copy, rng, places),
        "derived.sqlite": derived(copy, rng, places, rebuilt),
        "signals": signals(copy, rng, places),
        "kept answers": kept(copy, rng, places),
    }
