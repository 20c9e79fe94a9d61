"""What is said of progress: over a season, between two periods, along a run."""

from __future__ import annotations

from typing import Any

from footwork.quantities import Estimate

SPEED_IS_NO_ECONOMY = "Speed at the same watts describes the device and how you run; it is no measure of economy."
WIDE_DRIFT = 12.0  # bpm/h from end to end: an interval that tells nothing; our convention


def periods_sentence(found: dict[str, Any], single: bool, why: str, beats: tuple[float, float]) -> str:
    differed, more, heat = (
        found["differences_in_conditions"],
        found["decision"]["more_runs"],
        found["heat_taken_off_bpm"],
    )
    rate = (
        f"{beats[0]:+.1f} bpm at the same power ({beats[0] - 1.96 * beats[1]:+.1f} to "
        f"{beats[0] + 1.96 * beats[1]:+.1f})"
    )
    warm = (
        f" Heat is reckoned to have changed heart rate by {heat:+.1f} bpm between them, which is taken off."
        if heat is not None and abs(heat) >= 1
        else ""
    )
    if why:
        return f"It cannot be told whether this is progress: {why}. As it stands {rate}.{warm}"
    gain = found["outcomes"][0]["difference"]
    word = found["verdict"]
    text = (
        f"{word[0].upper()}{word[1:]}: {gain.value:+.1f} % power at the same heart rate ({gain.low:+.1f} to "
        f"{gain.high:+.1f}), {rate}.{warm}"
    )
    if word == "cannot tell yet":
        if single:
            text += " Two single runs differ by the day: compare blocks of weeks."
        elif more:
            text += f" About {more} more runs on each side would tell, if it stays so."
        elif gain.low <= 0 <= gain.high:
            text += " There is no sign of a change, and one this small would hardly be told by more runs."
    elif word == "worse":
        text += " Look first at health, sleep, heat and the device."
    return text + (f" Not the same: {'; '.join(differed)}." if differed else "")


def drift_sentence(drift: Estimate, usual: Estimate | None, power: float, temperature: float | None) -> str:
    text = (
        f"At {power:.0f} W heart rate moved by {drift.value:+.1f} bpm an hour ({drift.low:+.1f} to "
        f"{drift.high:+.1f}), pacing and slopes taken off"
    )
    if usual is None or drift.low is None or drift.high is None or usual.low is None or usual.high is None:
        return text + "."
    text += (
        f"; your runs{' at this warmth' if temperature is not None else ''} show {usual.value:.1f} "
        f"({usual.low:.1f} to {usual.high:.1f})"
    )
    if drift.high - drift.low > WIDE_DRIFT:
        return text + ". So wide an interval tells nothing: the run was too short, or went up and down too much."
    if drift.low > usual.high:
        return text + ". That is more than usual: heat, thirst, a long week or an illness to come can do it."
    if drift.high < usual.low:
        return text + ". That is less than usual."
    return text + ". That is within the usual."


def season_sentence(found: dict[str, Any], why: str) -> str:
    if why:
        return f"It cannot be told whether this is progress: {why}."
    change: Estimate = found["change"]
    beats: Estimate = found["change_heart_rate"]
    since = f"{found['since'].day} {found['since']:%B}"
    more = "more" if (change.value or 0) >= 0 else "less"
    size = (
        f"{abs(change.value or 0):.1f} % {more} power at {found['reference_heart_rate_bpm']:g} bpm than on "
        f"{since} ({change.low:+.1f} to {change.high:+.1f} %); at {found['reference_power_w']:g} W "
        f"{beats.value:+.1f} bpm ({beats.low:+.1f} to {beats.high:+.1f})"
    )
    shoe = next((d for d in found["differences_in_conditions"] if d.startswith(("shoe", "surface"))), "")
    beside = f" Not the same at both ends: {shoe}; that can be a part of it, and a trial would tell." if shoe else ""
    match found["verdict"]:
        case "improved":
            return f"Improved: {size}.{beside}"
        case "worse":
            return (
                f"Worse: {size}. Look first at health, sleep, heat and the device; see a physician if you are unwell."
            )
        case "no worthwhile change":
            return f"No worthwhile change: {size}."
    decision = found["decision"]
    sides = {"a worthwhile gain": decision["probability_better"], "a worthwhile loss": decision["probability_worse"]}
    side, near = max(((k, v or 0.0) for k, v in sides.items()), key=lambda s: s[1])
    close = (
        f" That is near {side}: {100 * near:.1f} of the {100 * decision['needed']:.1f} % that a verdict needs."
        if near >= 0.98
        else ""
    )
    return f"Cannot tell yet: {size}.{close}"
