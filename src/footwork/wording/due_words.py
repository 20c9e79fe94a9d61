"""What is said first today."""

from __future__ import annotations

from typing import Any

from footwork.quantities import format_distance, format_duration


def due_sentence(found: dict[str, Any], imperial: bool) -> str:
    """The first line of the day, of an `answer`."""
    if not found["runs"]:
        return "No runs yet: add recordings, FIT, GPX or CSV files, also zipped."
    week = found["week"]
    return (
        f"{found['runs']} run{'s' if found['runs'] != 1 else ''}. In the seven days up to the newest: "
        f"{week['runs']} run{'s' if week['runs'] != 1 else ''}, "
        f"{format_distance(week['distance_m'], imperial)} in {format_duration(week['duration_s'])}."
    )
