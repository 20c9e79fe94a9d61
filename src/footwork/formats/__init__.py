"""Read recordings and courses. Each reader is a module with two doors, ``is_format(data, name)`` and ``read(data)``."""

from __future__ import annotations

from footwork.errors import NotARecording
from footwork.formats import delimited, fit, gpx
from footwork.signals import Course, Recording

READERS = (fit, gpx, delimited)


def read(data: bytes, name: str = "") -> list[Recording] | Course:
    """Recordings (or one course) in the bytes of a FIT, GPX or CSV file.

    Raises
    ------
    NotARecording
        The bytes are of no known format, or of one that holds no recording.
    UnreadableFile
        The format is known but nothing can be recovered.
    """
    if not data:
        raise NotARecording("the file is empty")
    for reader in READERS:
        if reader.is_format(data, name):
            found: list[Recording] | Course = reader.read(data)
            return found
    raise NotARecording("not a FIT, GPX or CSV recording")
