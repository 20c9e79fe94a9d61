"""What is said first today."""

from __future__ import annotations

from footwork.quantities import format_distance, format_duration
from footwork.results.today import Due


def due_sentence(found: Due, imperial: bool) -> str:
    """The first line of the day, of `what_is_due`."""
    if not found["runs"]:
        return "No runs yet: add recordings, FIT, GPX or CSV files, also zipped."
    week = found["week"]
    return (
        f"{found['runs']} run{'s' if found['runs'] != 1 else ''}. In the seven days up to the newest: "
        f"{week['runs']} run{'s' if week['runs'] != 1 else ''}, "
        f"{format_distance(week['distance_m'], imperial)} in {format_duration(week['duration_s'])}."
    )
