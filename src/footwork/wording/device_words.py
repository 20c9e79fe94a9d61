"""What is said of devices."""

from __future__ import annotations

from typing import Any

NO_ECONOMY = "It describes the device and your pace, not how economically you run."
SAME_SHARE = 0.02  # a difference within 2 % of the mean matters to nobody; our convention
SAME_SLOPE = 0.1  # a line within so much of one stays within 2 % of the mean a fifth above and below it; our convention
MIX_ERROR = 0.05  # a typical error over this share of the mean at 30 s: do not mix; our convention


def devices_sentence(found: dict[str, Any]) -> str:
    measured = [s for s in found["scales"] if s["measured"]]
    jumped = [s["name"] for s in measured if s["drift"]["jumps"]]
    if not measured:
        return "No device has measured power yet: all watts are modelled from speed and slope."
    text = (
        f"{len(measured)} scale{'s' if len(measured) != 1 else ''} of measured watts; the main one is {found['main']}."
    )
    return text + (
        f" Watts at easy speed jumped on {', '.join(jumped)}." if jumped else " None shows a jump at easy speed."
    )


def agreement_verdict(found: dict[str, Any]) -> str:
    """One sentence a runner can use, and what would settle what is open."""
    power = found.get("power")
    if power is None:
        return f"The watts cannot be compared: {found['reasons'].get('power', 'power is missing')}."
    coarse = found["levels"].get("30 s", {}).get("power", power)
    bias, slope = coarse["bias"], coarse["deming"]["slope"]
    intercept, error = coarse["deming"]["intercept"], coarse["typical_error"]
    level = float(power["first_mean"])
    settle = " More runs together, easy and hard, flat and hilly, would settle it."
    if error.value > MIX_ERROR * level:
        return (
            f"Do not mix these watts: over 30 s they differ by a typical error of {error.value:.0f} W, "
            f"{100 * error.value / level:.0f} %.{settle}"
        )
    near = SAME_SHARE * level
    apart = _apart(found)
    if -near <= bias.low and bias.high <= near and slope.low <= 1 <= slope.high:
        shown = f"the second shows {bias.value:+.0f} W ({bias.low:+.0f} to {bias.high:+.0f})"
        if apart:
            return f"The same on the whole, {shown}, but not at every intensity: {apart}.{settle}"
        if 1 - SAME_SLOPE <= slope.low and slope.high <= 1 + SAME_SLOPE:
            return f"The same within error: {shown}."
        return f"The same at {level:.0f} W, {shown}; other intensities are not told.{settle}"
    if slope.low <= 1 <= slope.high:
        if bias.low <= 0 <= bias.high:
            return f"No difference shown, but it may be {bias.low:+.0f} to {bias.high:+.0f} W.{settle}"
        ratio = 1 + bias.value / level
        whole = f"{bias.value:+.0f} W ({bias.low:+.0f} to {bias.high:+.0f})"
        if intercept.low <= 0 <= intercept.high:
            return (
                f"They differ by {whole}; whether by that constant or by a factor of {ratio:.3f} these "
                f"intensities cannot tell.{settle}"
            )
        return f"They differ by a constant: the second shows {whole}."
    if intercept.low <= 0 <= intercept.high:
        return (
            f"They differ by a factor: the second shows {slope.value:.3f} times the first ({slope.low:.3f} to "
            f"{slope.high:.3f})."
        )
    return (
        f"They differ by a factor of {slope.value:.3f} ({slope.low:.3f} to {slope.high:.3f}) and "
        f"{intercept.value:+.0f} W; do not mix them without converting.{settle}"
    )


def _apart(found: dict[str, Any]) -> str:
    """The intensities at which the second device differs by more than matters."""
    said = []
    for part in found["splits"].get("intensity", []):
        bias, share = part["bias"], part["bias_share"]
        if (share.low > 0 or share.high < 0) and abs(share.value) > 100 * SAME_SHARE:
            said.append(f"{bias.value:+.1f} W {part['part']} ({bias.low:+.1f} to {bias.high:+.1f})")
    return ", ".join(said)
