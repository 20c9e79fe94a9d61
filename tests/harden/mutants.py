"""Mutated recordings through the readers: nothing but our own errors leaves them, soon and in little memory."""

from __future__ import annotations

import io
import multiprocessing
import random
import re
import time
import traceback
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from footwork import formats
from footwork.errors import FootworkError, NotARecording
from footwork.formats import wellness
from footwork.formats.fit_structure import crc
from footwork.history.recordings import digesting
from footwork.signals import Course
from tests.harden.bombs import most_mb

SLOW_S, MUCH_MB = 5.0, 400.0
CHUNK = 250  # files of one process, whose memory is watched
EXTREMES = (
    "1e308",
    "-1e308",
    "nan",
    "inf",
    "-1",
    "0",
    "",
    "999999999999",
    "1970-01-01T00:00:00Z",
    "9999-12-31T23:59:59Z",
)


@dataclass
class Found:
    """What mutants did: how many were read, refused, and what went wrong with the rest."""

    files: int = 0
    read: int = 0
    refused: int = 0
    slowest_s: float = 0.0
    most_mb: float = 0.0
    faults: list[str] = field(default_factory=list)


def fit_mutant(data: bytes, rng: random.Random) -> bytes:
    """A FIT file with bytes changed, cut, doubled or zeroed; every second has its checksums put right."""
    out = bytearray(_struck(data, rng))
    if rng.random() < 0.5 and len(out) > 16:
        out[4:8] = (max(len(out) - out[0] - 2, 0) & 0xFFFFFFFF).to_bytes(4, "little")
        if out[0] >= 14 and len(out) > 14:
            out[12:14] = crc(bytes(out[:12])).to_bytes(2, "little")
        out[-2:] = crc(bytes(out[:-2])).to_bytes(2, "little")
    return bytes(out)


def text_mutant(data: bytes, rng: random.Random) -> bytes:
    """A text file with bytes changed, or numbers and times replaced by extreme ones, or lines doubled, swapped, cut."""
    kind = rng.randrange(4)
    if kind == 0:
        return _struck(data, rng)
    text = data.decode("utf-8", "replace")
    if kind == 1:
        places = list(re.finditer(r"-?\d[\d.:TZ-]*", text))
        for m in sorted(rng.sample(places, min(rng.choice((1, 3, 30)), len(places))), key=lambda m: -m.start()):
            text = text[: m.start()] + rng.choice(EXTREMES) + text[m.end() :]
    elif kind == 2:
        lines = text.split("\n")
        for _ in range(rng.choice((1, 5, 50))):
            at = rng.randrange(len(lines))
            lines[at : at + 1] = rng.choice(([], [lines[at]] * 3, [lines[rng.randrange(len(lines))]]))
            lines = lines or [""]
        text = "\n".join(lines)
    else:
        words = sorted(set(re.findall(r"[A-Za-z_]{2,}", text[:20_000])))
        for word in rng.sample(words, min(2, len(words))):
            text = text.replace(word, rng.choice(("time", "lat", "power", "trkpt", "", "speed", word[:-1])))
    return text.encode("utf-8", "replace")


def _struck(data: bytes, rng: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice((1, 3, 20, 200))):
        at = rng.randrange(len(out)) if rng.random() < 0.7 else rng.randrange(min(600, len(out)))
        kind = rng.randrange(6)
        if kind < 3:
            out[at] ^= 1 << rng.randrange(8)
        elif kind == 3:
            out[at] = rng.choice((0, 0xFF, 0x7F, 0x80))
        elif kind == 4:
            out[at : at + rng.randrange(1, 40)] = bytes(rng.randrange(256) for _ in range(rng.randrange(40)))
        else:
            size = rng.randrange(1, 400)
            out[at:at] = out[at : at + size]
        if len(out) < 20:
            break
    if rng.random() < 0.15:
        del out[rng.randrange(len(out)) :]
    return bytes(out)


def tried(data: bytes, name: str) -> str:
    """``read`` or ``refused``, by the way an import takes a file. Raises whatever is no error of ours."""
    try:
        found = formats.read(data, name)
    except NotARecording:
        if name.endswith(".fit"):
            wellness.read(data, None)
        return "refused"
    except FootworkError:
        return "refused"
    if isinstance(found, Course):
        return "read"
    try:
        for recording in digesting.read_dated(data, name, None):
            digesting.analyse(recording, [("2000-01-01", 70.0)], None)
    except FootworkError:
        return "refused"
    return "read"


def _chunk(task: tuple[list[tuple[bytes, str]], int]) -> Found:
    seeds, seed = task
    out = Found()
    warnings.simplefilter("error", RuntimeWarning)
    for k in range(CHUNK):
        rng = random.Random(seed + k)
        data, name = seeds[rng.randrange(len(seeds))]
        mutant = fit_mutant(data, rng) if name.endswith(".fit") else text_mutant(data, rng)
        begun = time.perf_counter()
        try:
            done = tried(mutant, name)
        except (Exception, RecursionError) as error:
            where = traceback.extract_tb(error.__traceback__)[-1]
            text = f"{name} seed {seed + k}: {type(error).__name__}: {str(error)[:80]} at {where.name}:{where.lineno}"
            out.faults.append(text)
            done = ""
        took = time.perf_counter() - begun
        out.files += 1
        out.read += done == "read"
        out.refused += done == "refused"
        out.slowest_s = max(out.slowest_s, took)
        if took > SLOW_S:
            out.faults.append(f"{name} seed {seed + k}: took {took:.1f} s")
    out.most_mb = most_mb()
    if out.most_mb > MUCH_MB:
        out.faults.append(f"seeds from {seed}: {out.most_mb:.0f} MB")
    return out


def attack(seeds: list[tuple[bytes, str]], files: int, seed: int, processes: int = 2) -> Found:
    """Read mutants of the seeds; each process takes one chunk, so that its memory is that of its files."""
    tasks = [(seeds, seed + at) for at in range(0, files, CHUNK)]
    out = Found()
    with multiprocessing.get_context("spawn").Pool(processes, maxtasksperchild=1) as pool:
        for found in pool.imap_unordered(_chunk, tasks):
            out.files, out.read, out.refused = (
                out.files + found.files,
                out.read + found.read,
                out.refused + found.refused,
            )
            out.slowest_s, out.most_mb = max(out.slowest_s, found.slowest_s), max(out.most_mb, found.most_mb)
            out.faults += found.faults
    return out


def texts_of(data: bytes) -> Iterator[tuple[bytes, str]]:
    """The first recording of a FIT file as GPX and as CSV, to be mutated too."""
    found = formats.read(data, "a.fit")
    assert not isinstance(found, Course)
    columns = found[0].columns
    names = [n for n in ("heart_rate", "speed", "power", "altitude", "latitude", "longitude") if n in columns]
    out = io.StringIO()
    out.write(",".join(["time", *names]) + "\n")
    at = np.arange(min(len(columns["time"]), 1500))
    stamps = np.datetime_as_string((columns["time"][at]).astype("int64").astype("datetime64[s]"), timezone="UTC")
    for k in at:
        out.write(",".join([str(stamps[k]), *(f"{columns[n][k]:.6g}" for n in names)]) + "\n")
    yield out.getvalue().encode(), "a.csv"
    points = []
    for k in at:
        lat = columns["latitude"][k] if "latitude" in columns else 47 + k * 3e-5
        lon = columns["longitude"][k] if "longitude" in columns else 8.0
        points.append(
            f'<trkpt lat="{lat:.6f}" lon="{lon:.6f}"><ele>{400 + (k % 30)}</ele><time>{stamps[k]}</time>'
            f"<extensions><hr>{140 + k % 9}</hr></extensions></trkpt>"
        )
    head = '<?xml version="1.0"?><gpx version="1.1" creator="x"><trk><type>run</type><trkseg>'
    yield (head + "\n".join(points) + "</trkseg></trk></gpx>").encode(), "a.gpx"
