"""A course as a picture: its heights with a line as thick as the plan's effort, and its track from above."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from footwork.quantities import MILE_M, Floats

KM_M = 1000.0

WIDTH, HEIGHT, ABOVE, BELOW = 860, 130, 46, 24
MAP_WIDTH, MAP_HEIGHT = 300, 260
THIN, THICK = 3.0, 11.0  # of the line, at the least and the most effort of a plan
LEAST_RANGE_M = 40.0  # heights are drawn over this at least, so that a flat course looks flat
LEAST_SPAN_S = 20.0  # of race days that are all alike
BREEZE = 1.5  # m/s along the way that an arrow stands for; our convention


def _thickness(effort: Floats) -> Floats:
    low, high = float(effort.min()), float(effort.max())
    if high - low < 0.02 * high:
        return np.full(len(effort), 0.5 * (THIN + THICK))
    return THIN + (THICK - THIN) * (effort - low) / (high - low)


def _pieces(values: Floats, most: int) -> list[slice]:
    """Neighbours drawn as one, so that a long course stays a light picture."""
    edges = np.unique(np.linspace(0, len(values), min(most, len(values)) + 1).astype(int)).tolist()
    return [slice(a, b) for a, b in pairwise(edges)]


def _between(piece: slice, x: Floats, y: Floats) -> list[tuple[float, float]]:
    """The corners of a piece, both of its ends among them."""
    return list(zip(x[piece.start : piece.stop + 1].tolist(), y[piece.start : piece.stop + 1].tolist(), strict=True))


def profile(
    ends: Floats, heights: Floats, effort: Floats, headwind: Floats, begins: Sequence[float], imperial: bool = False
) -> str:
    """Heights along a course as SVG.

    Parameters
    ----------
    ends, heights : numpy.ndarray, shape (n + 1,)
        Distances from the start, and heights there. [m]
    effort, headwind : numpy.ndarray, shape (n,)
        Of the segments between. [W], [m/s]
    begins : sequence of float
        Where each instruction begins: its number stands in the middle of its stretch. [m]
    imperial : bool
        Ticks in miles.
    """
    total, low = float(ends[-1]), float(heights.min())
    span = max(float(np.ptp(heights)), LEAST_RANGE_M)

    def x(metres: float) -> float:
        return WIDTH * metres / total

    def y(height: float) -> float:
        return ABOVE + HEIGHT * (1.0 - (height - low) / span)

    floor = ABOVE + HEIGHT + 8
    ground = " ".join(f"{x(m):.1f},{y(h):.1f}" for m, h in zip(ends.tolist(), heights.tolist(), strict=True))
    drawn = [f'<polygon class="ground" points="0,{floor} {ground} {WIDTH},{floor}"/>']
    thick = _thickness(effort)
    for piece in _pieces(effort, 300):
        points = " ".join(f"{x(m):.1f},{y(h):.1f}" for m, h in _between(piece, ends, heights))
        drawn.append(f'<polyline class="way" stroke-width="{thick[piece].mean():.1f}" points="{points}"/>')
    unit, name = (MILE_M, "mi") if imperial else (KM_M, "km")
    step = next(s for s in (1, 2, 3, 5, 10, 20, 50, 100) if total / unit / s <= 9)
    for mark in range(0, int(total / unit) + 1, step):
        at = x(mark * unit)
        label = f"{mark} {name}" if mark == 0 else f"{mark}"
        anchor = "start" if at < 15 else "end" if at > WIDTH - 15 else "middle"
        drawn.append(f'<line class="tick" x1="{at:.1f}" x2="{at:.1f}" y1="{floor}" y2="{floor + 5}"/>')
        drawn.append(f'<text x="{at:.1f}" y="{floor + 19}" text-anchor="{anchor}">{label}</text>')
    drawn += _numbers(begins, total, lambda m: (x(m), y(float(np.interp(m, ends, heights)))))
    drawn += _arrows(ends, headwind, x)
    return (
        f'<svg class="course" viewBox="-6 0 {WIDTH + 12} {floor + BELOW}" role="img" aria-label="Heights along the '
        f'course, as thick as the effort">{"".join(drawn)}</svg>'
    )


def _numbers(begins: Sequence[float], total: float, place: Callable[[float], tuple[float, float]]) -> list[str]:
    """The number of each instruction in a ring above its middle."""
    out, edges = [], [*begins, total]
    for number, (a, b) in enumerate(pairwise(edges), start=1):
        at, height = place(0.5 * (a + b))
        up = max(height - 20, 26)
        out.append(
            f'<circle class="ring" cx="{at:.1f}" cy="{up:.1f}" r="9"/><text x="{at:.1f}" y="{up + 4.5:.1f}" '
            f'text-anchor="middle">{number}</text>'
        )
    return out


def _arrows(ends: Floats, headwind: Floats, x: Callable[[float], float]) -> list[str]:
    """Arrows where the wind is against the runner or behind."""
    out = []
    for at in np.linspace(0.06, 0.94, 12) * ends[-1]:
        wind = float(headwind[min(int(np.searchsorted(ends[1:], at)), len(headwind) - 1)])
        if abs(wind) < BREEZE:
            continue
        mid, way = x(float(at)), -1 if wind > 0 else 1
        tip = mid + 8 * way
        out.append(f'<path class="wind" d="M{mid - 8 * way:.1f} 32H{tip:.1f}m{-4 * way} -3l{4 * way} 3l{-4 * way} 3"/>')
    return out


def track(
    latitude: Floats,
    longitude: Floats,
    ends: Floats,
    effort: Floats,
    imperial: bool = False,
    wind: tuple[float, float] | None = None,
) -> str:
    """The course from above as SVG, north up, as thick as the effort, with distances on the way.

    Positions and ``ends`` have shape (n + 1,) [deg], [m]; ``effort`` shape (n,) [W]; ``wind`` is its speed [m/s] and
    where it comes from [deg], drawn as an arrow in the corner.
    """
    east, north = (longitude - longitude.mean()) * np.cos(np.radians(latitude.mean())), latitude - latitude.mean()
    scale = min((MAP_WIDTH - 50) / max(float(np.ptp(east)), 1e-9), (MAP_HEIGHT - 40) / max(float(np.ptp(north)), 1e-9))
    x = MAP_WIDTH / 2 + scale * (east - 0.5 * (east.max() + east.min()))
    y = MAP_HEIGHT / 2 - scale * (north - 0.5 * (north.max() + north.min()))
    thick = _thickness(effort) * 0.7
    drawn = []
    for piece in _pieces(effort, 200):
        points = " ".join(f"{a:.1f},{b:.1f}" for a, b in _between(piece, x, y))
        drawn.append(f'<polyline class="way" stroke-width="{thick[piece].mean():.1f}" points="{points}"/>')
    unit = MILE_M if imperial else KM_M
    total = float(ends[-1])
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100) if total / unit / s <= 6)
    taken = list[tuple[float, float]]()
    for mark in range(0, int(total / unit) + 1, step):
        a, b = (float(np.interp(mark * unit, ends, v)) for v in (x, y))
        if any(abs(a - p) < 14 and abs(b - q) < 12 for p, q in taken):
            continue
        taken.append((a, b))
        drawn.append(
            f'<circle class="ring" cx="{a:.1f}" cy="{b:.1f}" r="3.4"/><text x="{a + 7:.1f}" y="{b - 3:.1f}">'
            f"{'start' if mark == 0 else mark}</text>"
        )
    if wind is not None and wind[0] >= 0.5:
        arrow = '<path class="wind" d="M0 -14V14m-4 -5l4 5l4 -5"/>'
        drawn.append(f'<g transform="translate(22 22) rotate({wind[1]:.0f})">{arrow}</g>')
        drawn.append(f'<text x="42" y="27" style="text-anchor:start">wind {wind[0]:.0f} m/s</text>')
    corners = zip(ends.tolist(), x.tolist(), y.tolist(), strict=True)
    way = json.dumps([[round(m), round(a, 1), round(b, 1)] for m, a, b in corners])
    return (
        f'<svg class="course track" viewBox="0 0 {MAP_WIDTH} {MAP_HEIGHT}" role="img" aria-label="The course from '
        f'above, north up" data-way="{way}">{"".join(drawn)}<circle class="here" r="6" cx="0" cy="0" '
        'style="display:none"/></svg>'
    )


def race_days(times: Sequence[float], planned: float, said: str, form: Callable[[float], str]) -> str:
    """A hundred race days as bars by SVG, and where the plan lies; ``times`` are their finishes [s], ``form`` tells a
    time as text."""
    low, high = min(*times, planned), max(*times, planned)
    low, high = low - max(0.5 * (LEAST_SPAN_S - high + low), 0.0), high + max(0.5 * (LEAST_SPAN_S - high + low), 0.0)
    width, height, bars = 420.0, 90.0, 17
    edges = np.linspace(low, high + 1e-6, bars + 1)
    counts, _ = np.histogram(times, edges)
    wide = width / bars
    drawn = [
        f'<rect class="bar" x="{i * wide:.1f}" y="{20 + height * (1 - c / counts.max()):.1f}" width="{wide - 3:.1f}" '
        f'height="{height * c / counts.max():.1f}"/>'
        for i, c in enumerate(counts.tolist())
        if c
    ]
    at = width * (planned - low) / (high - low)
    anchor = "end" if at > 0.6 * width else "start"
    drawn.append(f'<line class="plan" x1="{at:.1f}" x2="{at:.1f}" y1="14" y2="{20 + height}"/>')
    beside = at + (-6 if anchor == "end" else 6)
    drawn.append(f'<text class="plan" x="{beside:.1f}" y="14" text-anchor="{anchor}">{said}</text>')
    drawn.append(f'<line class="tick" x1="0" x2="{width}" y1="{20 + height}" y2="{20 + height}"/>')
    for share, side in ((0.0, "start"), (0.5, "middle"), (1.0, "end")):
        told = form(low + share * (high - low))
        drawn.append(f'<text x="{width * share:.1f}" y="{height + 37}" text-anchor="{side}">{told}</text>')
    return (
        f'<svg class="course days" viewBox="-4 0 {width + 8:.0f} {height + 44:.0f}" role="img" aria-label="A hundred '
        f'race days">{"".join(drawn)}</svg>'
    )
