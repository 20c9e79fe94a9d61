"""What is said of race plans and reviews."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.quantities import format_distance, format_duration

if TYPE_CHECKING:
    from footwork.planning import pacing
    from footwork.planning.course import Course


FADE = 0.05  # a loss of effort from the first third to the last that is called a fade; our convention


def review_sentence(found: dict[str, Any], imperial: bool) -> str:
    p, total = found["predicted"], found["time_s"]
    inside = p["p10"] <= total <= p["p90"]
    text = (
        f"Run in {format_duration(total)}; eight of ten race days were expected between "
        f"{format_duration(p['p10'])} and {format_duration(p['p90'])}, "
        "so this one is "
        f"{'as expected' if inside else 'slower than expected' if total > p['p90'] else 'faster than expected'}."
    )
    if found["effort_s"] is not None:
        for name, seconds in (("effort", found["effort_s"]), ("road, weather, device and form", found["other_s"])):
            text += (
                f" By {name} {format_duration(abs(seconds))} was {'lost' if seconds > 0 else 'won'} against the plan."
                if abs(seconds) >= 1
                else ""
            )
        fade, stores = found["fade_share"], found["stores"]
        if fade > FADE:
            text += f" The last third was run with {100 * fade:.0f} % less effort than the first: a fade."
        if stores["dry_probability"] > 0.5:
            text += (
                (
                    " By what was known of you a store was most likely empty from "
                    f"{format_distance(stores['dry_from_m'], imperial)} on."
                )
                if fade > FADE
                else " That is more than the evidence before it allows: you were better that day than was known."
            )
        elif stores["dry_probability"] < 0.1 and stores["endurance_left"] > 0.1:
            text += (
                f" About {100 * stores['endurance_left']:.0f} % of endurance was left: more was possible, by what "
                "was known of you."
            )
    if not found["counts"]:
        text += " It is not marked as race: it does not count in the log."
    return text


def why_of_strategies(found: dict[str, pacing.Run], path: Course) -> str:
    """What the strategies cost against each other, and why, in words."""
    even, pace, best = (found[n].time for n in ("even-power", "even-pace", "best"))
    gain, loss = even - best, pace - best
    hilly = float(np.abs(path.grade).max(initial=0.0)) > 0.01
    windy = float(np.ptp(path.headwind)) > 0.5
    if gain < 0.5:
        text = (
            "Even power is as quick as any plan can be here: a metre costs nearly the same at any speed, so "
            "shifting effort gains nothing."
        )
    else:
        text = (
            f"The quickest plan gains {gain:.0f} s on even power, by shifting a little effort to where a second "
            "is bought for least."
        )
    if loss >= 1 and (hilly or windy):
        cause = " and ".join(word for word, there in (("hills", hilly), ("wind", windy)) if there)
        text += (
            f" Even pace costs {format_duration(loss)}: {cause} "
            f"take{'s' if ' and ' not in cause and cause == 'wind' else ''} far more power in places at one pace, "
            "which spends endurance fast, so the whole must be slower; this takes work above CP as spent for "
            "good, by our convention, and is less where it comes back."
        )
    return text
