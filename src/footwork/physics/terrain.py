"""Where the ground goes: distance from positions, smoothed altitude, grade, climb."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from footwork.physics.cost import GRADE_LIMIT
from footwork.quantities import Floats

EARTH_RADIUS_M = 6_371_008.8  # mean radius, IUGG
SMOOTHING_M = 40.0  # standard deviation of the kernel over distance: 1 m of error over 20 m would be 5 % of grade
STEP_M = 5.0


def step_distance(latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> Floats:
    """Great-circle distance between consecutive points by the haversine formula.

    Parameters
    ----------
    latitude, longitude : array_like, shape (n,)
        [deg]

    Returns
    -------
    numpy.ndarray, shape (n,)
        First element 0. [m]
    """
    lat, lon = np.radians(np.asarray(latitude, dtype=float)), np.radians(np.asarray(longitude, dtype=float))
    a = np.sin(np.diff(lat) / 2) ** 2 + np.cos(lat[:-1]) * np.cos(lat[1:]) * np.sin(np.diff(lon) / 2) ** 2
    return np.concatenate([[0.0], 2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(a, 0, 1)))])


def bearing(latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> Floats:
    """Direction of travel from each point to the next, degrees clockwise from north; the last repeats (shape (n,)).

    Latitudes and longitudes [deg], shape (n,); returns [deg], shape (n,).
    """
    lat, lon = np.radians(np.asarray(latitude, dtype=float)), np.radians(np.asarray(longitude, dtype=float))
    dlon = np.diff(lon)
    east = np.sin(dlon) * np.cos(lat[1:])
    north = np.cos(lat[:-1]) * np.sin(lat[1:]) - np.sin(lat[:-1]) * np.cos(lat[1:]) * np.cos(dlon)
    out = np.degrees(np.arctan2(east, north)) % 360
    return np.concatenate([out, out[-1:]]) if len(out) else np.zeros(len(lat))


def smooth_altitude(
    distance: npt.ArrayLike, altitude: npt.ArrayLike, smoothing: float = SMOOTHING_M
) -> tuple[Floats, Floats]:
    """Altitude smoothed over distance (not time), and its slope.

    Parameters
    ----------
    distance : array_like, shape (n,)
        Cumulative, never falling; may hold NaN. [m]
    altitude : array_like, shape (n,)
        May hold NaN. [m]
    smoothing : float
        Standard deviation of the Gaussian kernel. [m]

    Returns
    -------
    altitude, grade : numpy.ndarray, shape (n,)
        [m] and rise over run, clipped to ±0.45; NaN where distance or altitude is unknown everywhere near.
    """
    x, z = np.asarray(distance, dtype=float), np.asarray(altitude, dtype=float)
    known = np.isfinite(x) & np.isfinite(z)
    if known.sum() < 2 or np.ptp(x[known]) < 2 * STEP_M:
        return np.where(known, z, np.nan), np.where(known, 0.0, np.nan)
    grid = np.arange(x[known][0], x[known][-1] + STEP_M, STEP_M)
    # Several samples can share one distance (standing); their mean stands for it.
    cell = np.clip(np.rint((x[known] - grid[0]) / STEP_M).astype(int), 0, len(grid) - 1)
    count = np.bincount(cell, minlength=len(grid))
    total = np.bincount(cell, weights=z[known], minlength=len(grid))
    filled = count > 0
    height = np.interp(grid, grid[filled], total[filled] / count[filled])
    reach = max(int(4 * smoothing / STEP_M), 1)
    offsets = np.arange(-reach, reach + 1)
    kernel = np.exp(-0.5 * (offsets * STEP_M / smoothing) ** 2)
    kernel /= kernel.sum()
    # Reflect about the end points so that a climb that starts at once keeps its slope.
    padded = np.concatenate(
        [
            2 * height[0] - height[1 : reach + 1][::-1] if len(height) > reach else np.full(reach, height[0]),
            height,
            2 * height[-1] - height[-reach - 1 : -1][::-1] if len(height) > reach else np.full(reach, height[-1]),
        ]
    )
    smooth = np.convolve(padded, kernel, mode="valid")
    slope = np.gradient(smooth, STEP_M)
    valid = np.isfinite(x)
    out_z, out_g = np.full(len(x), np.nan), np.full(len(x), np.nan)
    out_z[valid] = np.interp(x[valid], grid, smooth)
    out_g[valid] = np.clip(np.interp(x[valid], grid, slope), -GRADE_LIMIT, GRADE_LIMIT)
    return out_z, out_g


STEEPEST = 0.5  # no road or path that is run is steeper over twenty metres; our convention
SPIKE_M = 6.0  # further from the median of a hundred metres than this is no ground
LOOP_M = 60.0  # a course whose ends are nearer is closed
LONGEST_BRIDGE_M = 3000.0
MOST_DRIFT_M = 60.0  # what the weather can move a barometer by in some hours; our convention


def clean_heights(
    distance: npt.ArrayLike, altitude: npt.ArrayLike, gap: float | None = None
) -> tuple[Floats, dict[str, float]]:
    """Altitude without what cannot be ground: spikes, tunnels and bridges, steps, and the drift of a closed course.

    Parameters
    ----------
    distance : array_like, shape (n,)
        Cumulative, never falling. [m]
    altitude : array_like, shape (n,)
        May hold NaN, which is filled along a straight line. [m]
    gap : float, optional
        How far apart the course's ends are; under 60 m it is closed and a drift of up to 60 m is spread over it. [m]

    Returns
    -------
    altitude : numpy.ndarray, shape (n,)
        [m]
    found : dict
        What was mended: ``spikes`` (m of course), ``bridges`` (number), ``steps`` (number), ``drift`` (m spread over
        the course); only what there was.
    """
    x, z = np.asarray(distance, dtype=float), np.asarray(altitude, dtype=float)
    known = np.isfinite(z)
    grid = np.arange(x[0], x[-1] + 10.0, 10.0)
    height = np.interp(grid, x[known], z[known])
    found: dict[str, float] = {}
    padded = np.pad(height, 5, mode="reflect", reflect_type="odd")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 11), axis=1)
    spike = np.abs(height - middle) > SPIKE_M
    if spike.any() and not spike.all():
        found["spikes"] = 10.0 * float(spike.sum())
        height = np.interp(grid, grid[~spike], height[~spike])
    height, bridges, steps = _without_cliffs(height)
    if bridges:
        found["bridges"] = float(bridges)
    if steps:
        found["steps"] = float(steps)
    drift = float(height[-1] - height[0])
    if gap is not None and gap < LOOP_M and 3.0 < abs(drift) <= MOST_DRIFT_M:
        found["drift"] = drift
        height = height - drift * (grid - grid[0]) / (grid[-1] - grid[0])
    return np.interp(x, grid, height), found


def _without_cliffs(height: Floats) -> tuple[Floats, int, int]:
    """Heights every ten metres without impossible slopes: two that undo each other are a tunnel or a bridge, and the
    road runs straight between their outer ends; one alone is a step of the instrument, and what follows moves with
    it."""
    steep = np.abs(np.diff(height)) > STEEPEST * 10.0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], steep.astype(np.int8), [0]])))
    cliffs = [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]  # nodes before and after
    out = height.copy()
    bridges = steps = 0
    while cliffs:
        begin, end = cliffs.pop(0)
        rise = out[end] - out[begin]
        back = next(
            (
                k
                for k, (a, b) in enumerate(cliffs)
                if (b - begin) * 10.0 <= LONGEST_BRIDGE_M
                and (out[b] - out[a]) * rise < 0
                and abs(out[b] - out[begin]) < 0.15 * (b - begin) * 10.0 + 2.0
            ),
            None,
        )
        if back is None:
            steps += 1
            out[end:] -= rise
            out[begin:end] = out[begin]
            continue
        last = cliffs[back][1]
        bridges += 1
        out[begin : last + 1] = np.linspace(out[begin], out[last], last - begin + 1)
        cliffs = cliffs[back + 1 :]
    return out, bridges, steps


def climb(altitude: npt.ArrayLike) -> float:
    """Sum of the rises of an already smoothed altitude. [m]"""
    z = np.asarray(altitude, dtype=float)
    steps = np.diff(z[np.isfinite(z)])
    return float(steps[steps > 0].sum())
