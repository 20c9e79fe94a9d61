"""What is known from a day on."""

from __future__ import annotations


def in_force(dated: list[tuple[str, float]], date: str) -> float | None:
    """The value in force on a date, as a body mass [kg]; before the first entry, the first holds."""
    value = dated[0][1] if dated else None
    for day, given in dated:
        if day <= date:
            value = given
    return value
