"""What a single file holds."""

from __future__ import annotations

from pathlib import Path

from footwork.signals import Course, Recording


def read(path: str | Path) -> list[Recording] | Course:
    """Recordings (or the course) in a file, gzipped or zipped or not.

    Raises
    ------
    footwork.FootworkError
        Not a recording, or unreadable.
    """
    from footwork import formats
    from footwork.formats import archive

    name, data = archive.read_single(Path(path))
    return formats.read(data, name)
