"""How the load of a span is told: its name, and how its number came about."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

# As a reader would say it.
BY = {
    "running power": "by power",
    "modelled power": "by modelled power",
    "cycling power": "by power on the bicycle",
    "heart rate": "by heart rate",
    "swimming speed": "by swimming speed",
    "exertion": "by how hard it felt",
    "assumed": "by its time alone",
}


def span_name(first: dt.date, by: str) -> str:
    """A day, a week by its Monday, or a month."""
    return f"{first:%b} {first.year}" if by == "month" else f"{first.day} {first:%b}"


def how_known(span: Mapping[str, Any]) -> str:
    """How the load of a span's activities is known, and what is not known of it, as a sentence."""
    total = span["activities"]
    if not total:
        return "Nothing was recorded."
    parts = [f"{n} {BY[way]}" for way, n in span["ways"].items()]
    if span["without_load"]:
        parts.append(f"{span['without_load']} not known")
    alone = parts[0].partition(" ")[2]
    said = f"Of {total}: {', '.join(parts)}" if len(parts) > 1 else f"{'All ' if total > 1 else ''}{alone}".strip()
    said = said[:1].upper() + said[1:]
    silent = span["silent_days"]
    return said + (f"; nothing is known of {silent} day{'s' if silent != 1 else ''}." if silent else ".")
