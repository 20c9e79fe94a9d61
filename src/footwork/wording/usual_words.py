"""What is said of a run against the usual."""

from __future__ import annotations

from typing import Any

TOLD_BPM = 3.5  # from here on a heart rate is not called usual, though one run may well be off as much


def usual_sentence(found: dict[str, Any]) -> str:
    """What can be said, and only that: pace, hills and time into the run are accounted for, the rest is not known."""
    power, rate = found["power_excess"], found["heart_rate_excess"]
    parts = []
    if power.value is None:
        parts.append(f"Watts are not compared: {power.reason}.")
    elif found["power_unusual"]:
        more = "more" if power.value > 0 else "less"
        parts.append(f"{abs(power.value):.0f} W {more} than usual at this pace. {_accounted(found)}")
    else:
        parts.append(f"Watts as usual at this pace ({round(power.value):+d} W). {_accounted(found)}")
    if rate.value is not None and found["heart_rate_unusual"]:
        above = rate.value > 0
        why = "heat, fatigue, illness or the strap" if above else "rests between repeats, cool air or the strap"
        parts.append(
            f"Heart rate {abs(rate.value):.0f} bpm {'above' if above else 'below'} usual at this power: {why}, "
            f"or {'lost fitness' if above else 'fitness'} if it lasts."
        )
    elif rate.value is not None and abs(rate.value) >= TOLD_BPM:
        parts.append(
            f"Heart rate {abs(rate.value):.0f} bpm {'above' if rate.value > 0 else 'below'} usual at this power, no "
            "more than single runs differ by."
        )
    elif rate.value is not None:
        parts.append(f"Heart rate as usual at this power ({round(rate.value):+d} bpm).")
    return " ".join(parts)


def _accounted(found: dict[str, Any]) -> str:
    """What the conditions ask for in watts, and what the rest may be."""
    told = found["weather"] or {}
    missing = [
        name
        for name, key, effect in (("wind", "wind_from_deg", "wind"), ("temperature", "temperature_c", "warmth"))
        if key not in told and not round(found["conditions_w"].get(effect, 0.0))
    ]
    counted = [f"{name} {round(w):+d} W" for name, w in found["conditions_w"].items() if round(w)]
    first = (
        f"Accounted for: {', '.join(counted)}."
        if counted
        else "What is known of hills, wind and warmth changes nothing here."
    )
    if not found["power_unusual"]:
        return first
    return (
        f"{first} Not accounted for: {', '.join([*missing, 'surface', 'shoe', 'the device'])}; the watts alone cannot "
        "tell which."
    )
