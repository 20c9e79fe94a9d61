"""Private places: what leaves a library holds no positions around them."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.errors import UsageError
from footwork.physics.terrain import EARTH_RADIUS_M
from footwork.quantities import Floats
from footwork.signals import Signals

if TYPE_CHECKING:
    from footwork.history.book import History

RADIUS_M = (50.0, 5000.0)


def places(library: History) -> list[dict[str, Any]]:
    """Private places: ``name``, ``latitude``, ``longitude`` [deg], ``radius_m``."""
    found: list[dict[str, Any]] = json.loads(library.setting("places", "[]"))
    return found


def add_place(
    library: History, name: str, latitude: float, longitude: float, radius: float = 300.0
) -> list[dict[str, Any]]:
    """Keep positions around a place [deg, m] out of every export; a place of that name is replaced.

    Raises UsageError for no place on earth, a name without letters, or a radius outside 50 to 5,000 m.
    """
    if not name.strip():
        raise UsageError("give the place a name, as home")
    if not (abs(latitude) <= 90 and abs(longitude) <= 180):
        raise UsageError(f"{latitude:g}, {longitude:g} is no place: give latitude and longitude in degrees")
    if not RADIUS_M[0] <= radius <= RADIUS_M[1]:
        raise UsageError(f"a radius of {radius:g} m cannot be: give {RADIUS_M[0]:g} to {RADIUS_M[1]:g} m")
    kept = [p for p in places(library) if p["name"] != name.strip()]
    kept.append({"name": name.strip(), "latitude": latitude, "longitude": longitude, "radius_m": radius})
    library.store_setting("places", json.dumps(kept))
    return kept


def remove_place(library: History, name: str) -> list[dict[str, Any]]:
    """Forget a private place. Raises UsageError where there is none of that name."""
    kept = [p for p in places(library) if p["name"] != name.strip()]
    if len(kept) == len(places(library)):
        raise UsageError(f"there is no private place '{name}'")
    library.store_setting("places", json.dumps(kept))
    return kept


def near_places(found: Signals, private: list[dict[str, Any]]) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Seconds within the radius of a private place.

    A mask of shape (n,), one a second [s].
    """
    return near(found.get("latitude"), found.get("longitude"), private)


def near(latitude: Floats, longitude: Floats, private: list[dict[str, Any]]) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Positions [deg] within the radius of a private place, as a mask of their shape: what every answer that holds
    positions leaves out."""
    out = np.zeros(len(latitude), dtype=np.bool_)
    for place in private:
        north = np.radians(latitude - place["latitude"]) * EARTH_RADIUS_M
        east = np.radians(longitude - place["longitude"]) * EARTH_RADIUS_M * math.cos(math.radians(place["latitude"]))
        with np.errstate(invalid="ignore"):
            out |= np.hypot(north, east) <= place["radius_m"]
    return out
