"""What is said of a run against the usual."""

from __future__ import annotations

from typing import Any


def usual_sentence(found: dict[str, Any]) -> str:
    """What can be said, and only that: pace, hills and time into the run are accounted for, the rest is not known."""
    power, rate = found["power_excess"], found["heart_rate_excess"]
    parts = []
    if power.value is None:
        parts.append(f"Watts are not compared: {power.reason}.")
    elif found["power_unusual"]:
        more = "more" if power.value > 0 else "less"
        told = found["weather"] or {}
        asked = {"wind": "wind_from_deg" in told, "temperature": "temperature_c" in told}
        known = ["hills", *(name for name, there in asked.items() if there)]
        open_ = [*(name for name, there in asked.items() if not there), "surface", "shoe", "the device"]
        parts.append(
            f"{abs(power.value):.0f} W {more} than usual at this pace. Accounted for: {', '.join(known)}. Not "
            "accounted for: "
            f"{', '.join(open_)}; the watts alone cannot tell which."
        )
    else:
        parts.append(f"Watts as usual at this pace ({round(power.value):+d} W).")
    if rate.value is not None and found["heart_rate_unusual"]:
        parts.append(
            f"Heart rate {abs(rate.value):.0f} bpm {'above' if rate.value > 0 else 'below'} usual at this "
            "power: heat, fatigue, illness or the strap, "
            "or fitness if it lasts."
        )
    elif rate.value is not None:
        parts.append(f"Heart rate as usual at this power ({round(rate.value):+d} bpm).")
    return " ".join(parts)
