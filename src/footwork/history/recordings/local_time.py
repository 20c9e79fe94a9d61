"""Local time of a recording: what its file states, the runner's zone, or far from home its longitude."""

from __future__ import annotations

import datetime as dt

import numpy as np

from footwork.signals import Recording

FAR_MINUTES = 180  # between a place's sun and the runner's clock: more is another zone; our convention


def local_date(start: float, utc_offset_minutes: int | None, zone: dt.tzinfo | None) -> dt.datetime:
    """Local time at a start; where the file states no offset, the runner's zone, else this machine's.

    ``start`` in Unix seconds [s], the offset in minutes [min].
    """
    if utc_offset_minutes is None:
        return dt.datetime.fromtimestamp(start, zone) if zone else dt.datetime.fromtimestamp(start).astimezone()
    return dt.datetime.fromtimestamp(start, dt.timezone(dt.timedelta(minutes=utc_offset_minutes)))


def offset_of(recording: Recording, zone: dt.tzinfo | None) -> int | None:
    """Minutes from UTC that the file states; else, for a run far from the runner's own zone, those of its longitude."""
    longitude = recording.columns.get("longitude", np.zeros(0))
    known = longitude[np.isfinite(longitude)]
    if recording.utc_offset_minutes is not None or not recording.dated or not len(known):
        return recording.utc_offset_minutes
    home = local_date(recording.start, None, zone).utcoffset()
    there = 60 * round(float(np.median(known)) / 15)
    apart = abs(there - (home.total_seconds() / 60 if home else 0.0))
    # Zones follow longitude within some hours; further apart, the sun says more than the clock at home.
    return there if min(apart, 1440 - apart) > FAR_MINUTES else None
