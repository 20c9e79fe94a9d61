"""A folder of this machine whose new recordings come in by themselves: what is new there since the last look."""

from __future__ import annotations

import contextlib
import json
import os
import time
from pathlib import Path

from footwork.store import stamps

SETTLED_S = 3.0  # a file that was just written may be half there
ENDINGS = {".fit", ".gpx", ".csv", ".gz", ".zip"}
SEEN = "derived/watched.json"

Stamps = dict[str, list[float]]


def fresh_files(library: Path, folder: Path, most: int) -> Stamps:
    """Recordings in a folder and below it that were not seen before, with their time and size; links are not
    followed."""
    seen = _seen(library)
    out: Stamps = {}
    for parent, _, names in os.walk(folder):
        for name in sorted(names):
            path = Path(parent, name)
            if path.suffix.lower() not in ENDINGS or path.is_symlink():
                continue
            with contextlib.suppress(OSError):
                found = path.stat()
                stamp = [found.st_mtime, float(found.st_size)]
                if time.time() - found.st_mtime > SETTLED_S and seen.get(str(path)) != stamp and len(out) < most:
                    out[str(path)] = stamp
    return out


def remember(library: Path, files: Stamps) -> None:
    """Files that need not be looked at again."""
    stamps.write_kept(library / SEEN, json.dumps({**_seen(library), **files}))


def _seen(library: Path) -> Stamps:
    with contextlib.suppress(ValueError):
        found: Stamps = json.loads(stamps.read_kept(library / SEEN) or "{}")
        return found
    return {}
