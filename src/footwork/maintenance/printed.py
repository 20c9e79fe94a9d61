"""What was printed before is printed again while nothing that it rests on has changed.

A question asked twice of an unchanged library costs no more than reading a file: neither the library nor what computes
is loaded. What it rests on is the two databases, the day, this version of the source, and how it was asked.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import importlib.util
import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from footwork.store import stamps

FOLDER = "derived/printed"
MOST_KEPT = 200  # the oldest go first


def rests_on(folder: Path) -> str:
    """What an answer of today rests on beside its question; empty where there is no library."""
    if not (folder / stamps.FILE_NAME).exists():
        return ""
    return json.dumps([stamps.stamp(folder), dt.date.today().isoformat(), _source()])


def recall(folder: Path, question: Mapping[str, Any]) -> str | None:
    """The text that was kept for a question, None where there is none or something has changed since."""
    rests, _, text = (stamps.read_kept(_path(folder, question)) or "").partition("\n")
    return text if rests and rests == rests_on(folder) else None


def keep(folder: Path, question: Mapping[str, Any], rests: str, text: str) -> None:
    """Keep the text of an answer, unless the library changed meanwhile (``rests`` is `rests_on` of before) or cannot be
    written: a kept answer is worth no error."""
    if not rests or rests != rests_on(folder):
        return
    path = _path(folder, question)
    stamps.write_kept(path, f"{rests}\n{text}")
    with contextlib.suppress(OSError):
        found = sorted(path.parent.iterdir(), key=lambda p: p.stat().st_mtime)
        for old in found[:-MOST_KEPT]:
            old.unlink(missing_ok=True)


def _path(folder: Path, question: Mapping[str, Any]) -> Path:
    told = json.dumps(question, sort_keys=True, default=str)
    return folder / FOLDER / f"{hashlib.sha256(told.encode()).hexdigest()[:24]}.txt"


@cache
def _source() -> str:
    """Changes with any file of the program, and with the version of what it computes with."""
    here = Path(__file__).resolve().parent.parent
    files = sorted((str(p.relative_to(here)), p.stat().st_mtime_ns, p.stat().st_size) for p in here.rglob("*.py"))
    beside = sorted(p.name for p in Path(_libraries()).parent.glob("*.dist-info"))
    return hashlib.sha256(repr((files, beside)).encode()).hexdigest()[:16]


def _libraries() -> str:
    """Where the libraries are installed, without loading any."""
    found = importlib.util.find_spec("numpy")
    return str(Path(found.origin).parent) if found and found.origin else "."
