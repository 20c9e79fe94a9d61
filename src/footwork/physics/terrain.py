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
    """Direction of travel from each point to the next, degrees clockwise from north; the last repeats (shape (n,))."""
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
    padded = np.concatenate([
        2 * height[0] - height[1 : reach + 1][::-1] if len(height) > reach else np.full(reach, height[0]),
        height,
        2 * height[-1] - height[-reach - 1 : -1][::-1] if len(height) > reach else np.full(reach, height[-1]),
    ])  # fmt: skip
    smooth = np.convolve(padded, kernel, mode="valid")
    slope = np.gradient(smooth, STEP_M)
    valid = np.isfinite(x)
    out_z, out_g = np.full(len(x), np.nan), np.full(len(x), np.nan)
    out_z[valid] = np.interp(x[valid], grid, smooth)
    out_g[valid] = np.clip(np.interp(x[valid], grid, slope), -GRADE_LIMIT, GRADE_LIMIT)
    return out_z, out_g


def climb(altitude: npt.ArrayLike) -> float:
    """Sum of the rises of an already smoothed altitude. [m]"""
    z = np.asarray(altitude, dtype=float)
    steps = np.diff(z[np.isfinite(z)])
    return float(steps[steps > 0].sum())
