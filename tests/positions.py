"""Search any text for coordinates near a private place."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import numpy as np

from footwork.history import private_places

NUMBER = re.compile(r"-?\d{1,3}\.\d{3,}")
NEAR = 80  # characters between the two numbers of a position


def leaked(text: str, places: Iterable[dict[str, Any]]) -> list[tuple[float, float]]:
    """Pairs of numbers close to each other that are a position inside a place, in either order."""
    found = [(m.start(), float(m.group())) for m in NUMBER.finditer(text)]
    out = []
    for place in places:
        degrees = place["radius_m"] / 111_000
        norths = [(at, v) for at, v in found if abs(v - place["latitude"]) <= degrees]
        if not norths:
            continue
        easts = [(at, v) for at, v in found if abs(v - place["longitude"]) <= 3 * degrees]
        for at, north in norths:
            for there, east in easts:
                if abs(there - at) <= NEAR and private_places.near(np.array([north]), np.array([east]), [place])[0]:
                    out.append((north, east))
    return out
