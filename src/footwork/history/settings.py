"""Settings of a library, and what each can be."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import available_timezones

from footwork.errors import UsageError


def as_kept(name: str, value: str) -> str:
    """A setting as it is kept. Raises UsageError for an unknown one, or one that it cannot be."""
    if name == "zone":
        if value not in available_timezones():
            raise UsageError(f"'{value}' is no time zone: write it as Europe/Lisbon")
        return value
    if name == "watched":
        if value and not Path(value).is_dir():
            raise UsageError(f"'{value}' is no folder of this machine, so it cannot be watched")
        return str(Path(value).resolve()) if value else ""
    if (name, value) not in {("units", "metric"), ("units", "imperial")}:
        raise UsageError(f"there is no setting {name} = {value}: units can be metric or imperial")
    return value
