"""Load of days, weeks or months as bars: running, what other sports add, the interval, and the usual week as a band."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from footwork.wording.load_words import how_known, span_name

WIDE, NARROW = 896, 350  # of the picture on a desk and on a phone
HEIGHT, BELOW, ABOVE, LEFT = 190, 26, 18, 40
LABEL = 62  # room that a name below takes


def load_bars(
    spans: Sequence[Mapping[str, Any]], usual: tuple[float, float] | None, by: str, narrow: bool = False
) -> str:
    """Bars as SVG, the earliest first; each says on hover how its number came about.

    Parameters
    ----------
    spans : sequence of mapping
        As `results.loads.LoadBySpan.spans`.
    usual : (float, float) or None
        Quartiles of the usual week, drawn where ``by`` is ``week`` [CP-minutes].
    by : str
        ``day``, ``week`` or ``month``.
    narrow : bool
        For a phone.
    """
    width = NARROW if narrow else WIDE
    column = (width - LEFT) / max(len(spans), 1)
    tops = [max(s["all_sport"]["high"] or 0.0, s["running"]["high"] or 0.0) for s in spans]
    top = max([*tops, usual[1] if usual and by == "week" else 0.0, 1.0])
    tick = _tick(top)

    def at(load: float) -> float:
        return ABOVE + HEIGHT * (1 - load / (1.04 * top))

    out = []
    if usual and by == "week":
        out.append(
            f'<rect class="usual" x="{LEFT}" width="{width - LEFT}" y="{at(usual[1]):.1f}" '
            f'height="{max(at(usual[0]) - at(usual[1]), 2):.1f}"><title>the usual week</title></rect>'
        )
    for k in range(int(top // tick) + 1):
        out.append(f'<text x="{LEFT - 8}" y="{at(k * tick) + 4:.1f}" text-anchor="end">{k * tick:.0f}</text>')
    out.append(f'<line class="rule" x1="{LEFT}" x2="{width}" y1="{at(0)}" y2="{at(0)}"/>')
    every = max(1, round(LABEL / column + 0.49))
    for k, span in enumerate(spans):
        x, wide = LEFT + (k + 0.16) * column, 0.68 * column
        out.append(f"<g><title>{escape(_told(span, by))}</title>")
        out.append(
            f'<rect class="room" x="{LEFT + k * column:.1f}" width="{column:.1f}" y="{ABOVE}" height="{HEIGHT}"/>'
        )
        running, whole = span["running"], span["all_sport"]
        if whole["value"] is not None and whole["value"] > (running["value"] or 0.0):
            out.append(bar("others", x, wide, at(whole["value"]), at(running["value"] or 0.0)))
        if running["value"]:
            out.append(bar("running", x, wide, at(running["value"]), at(0)))
            middle = x + wide / 2
            ends = f'y1="{at(running["low"]):.1f}" y2="{at(running["high"]):.1f}"'
            out.append(f'<line class="ends" x1="{middle:.1f}" x2="{middle:.1f}" {ends}/>')
        if running["value"] is None:
            out.append(f'<text x="{x + wide / 2:.1f}" y="{at(0) - 6:.1f}" text-anchor="middle">?</text>')
        out.append("</g>")
        if (len(spans) - 1 - k) % every == 0:
            name = span_name(dt.date.fromisoformat(span["first"]), by)
            middle = min(x + wide / 2, width - LABEL / 3)
            out.append(f'<text x="{middle:.1f}" y="{at(0) + 20:.1f}" text-anchor="middle">{name}</text>')
    newest = spans[-1]["running"]["value"] or 0.0
    label = escape(f"Load by {by}: {len(spans)} bars, the newest {newest:.0f} CP-minutes of running")
    box = f"0 0 {width} {ABOVE + HEIGHT + BELOW}"
    return f'<svg class="loads" role="img" aria-label="{label}" viewBox="{box}">{"".join(out)}</svg>'


def bar(kind: str, x: float, wide: float, top: float, foot: float) -> str:
    """An upright bar as SVG, of a class."""
    return f'<rect class="{kind}" x="{x:.1f}" width="{wide:.1f}" y="{top:.1f}" height="{max(foot - top, 1):.1f}"/>'


def _tick(top: float) -> float:
    """A round step of which three or four fit."""
    steps = (float(step * 10**power) for power in range(6) for step in (1, 2, 5))
    return next(step for step in steps if top / step < 4.5)


def _told(span: Mapping[str, Any], by: str) -> str:
    running = span["running"]
    name = span_name(dt.date.fromisoformat(span["first"]), by)
    if running["value"] is None:
        return f"{name}: {running['reason']}"
    said = f"{name}: {running['value']:.0f} CP-minutes of running"
    if span["runs"]:
        said += f", {running['low']:.0f} to {running['high']:.0f}"
    whole = span["all_sport"]
    if span["activities"] > span["runs"] and whole["value"] is not None:
        said += f"; {whole['value']:.0f} with all sports"
    return f"{said}. {how_known(span)}"
