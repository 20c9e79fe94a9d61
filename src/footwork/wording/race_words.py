"""What is said of race plans and reviews."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.quantities import format_distance, format_duration, signed
from footwork.wording.season_words import day_name

if TYPE_CHECKING:
    from footwork.planning import pacing
    from footwork.planning.course import Course
    from footwork.planning.instructions import Stretch
    from footwork.quantities import Estimate


WINDY = 1.5  # m/s along the way that a row tells of; our convention
TOLD = 3  # % of a device's error on a slope that a row tells of; our convention
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
        if stores["dry_probability"] > 0.5 and fade > FADE:
            text += (
                " By what was known of you a store was most likely empty from "
                f"{format_distance(stores['dry_from_m'], imperial)} on."
            )
        elif stores["dry_probability"] > 0.5 and total < p["p10"]:
            text += " You were better that day than was known."
        elif stores["dry_probability"] < 0.1 and stores["endurance_spent"] < 0.9 and not total < p["p10"]:
            text += (
                f" About {100 * (1 - stores['endurance_spent']):.0f} % of endurance was left: more was possible, by "
                "what was known of you."
            )
    if not found["counts"]:
        text += " It is not marked as race: it does not count in the log."
    return text


def why_of_strategies(found: dict[str, pacing.Run], path: Course, limited: int | None) -> str:
    """What the strategies cost against each other, and why, in words; ``limited`` is the segment that limits even pace,
    where W′ does."""
    even, pace, quickest = (found[n].time for n in ("even-power", "even-pace", "quickest"))
    gain, loss = even - quickest, pace - min(quickest, even)
    hilly = float(np.abs(path.grade).max(initial=0.0)) > 0.01
    windy = float(np.ptp(path.headwind)) > 0.5
    if gain < 0.5:
        text = "Even effort is as quick as any plan can be here."
    else:
        text = (
            f"The quickest plan gains {gain:.0f} s on even effort, by spending it where a second is bought for least."
        )
    if loss >= 1 and (hilly or windy):
        cause = " and ".join(word for word, there in (("hills", hilly), ("wind", windy)) if there)
        if limited is not None:
            text += (
                f" Even pace is not to be had: the climb that ends at {format_distance(float(path.ends[limited]))} "
                "takes all that may be spent above critical power, however slow the rest."
            )
        else:
            text += (
                f" Even pace costs {format_duration(loss)}: {cause} ask{'s' if cause == 'wind' else ''} for far more "
            )
            text += "in places at one pace."
    return text


def chances(risk: float) -> str:
    """A risk of missing the plan as race days that make it: 0.2 is 'four days in five'."""
    for days, of in ((9, 10), (4, 5), (3, 4), (2, 3), (1, 2)):
        if abs(1 - risk - days / of) < 0.02:
            words = {1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 9: "nine", 10: "ten"}
            return f"{words[days]} day{'s' if days > 1 else ''} in {words[of]}"
    made = round(100 * (1 - risk))
    return "hardly ever" if made < 1 else "nearly always" if made > 99 else f"on {made} days in a hundred"


def plan_sentence(watts: float, seconds: float, late: float, goal: dict[str, Any] | None, span: Estimate | None) -> str:
    """The plan in one sentence: watts, time, and how often it is made within 1 %; the goal where the plan is of one."""
    if span is not None:
        home = f"and cover about {format_distance(span.value or 0.0)} in {format_duration(seconds)}"
    elif seconds >= 3600:
        minutes = round(seconds / 60)
        home = f"about {minutes // 60}:{minutes % 60:02d}"
    else:
        home = f"about {format_duration(seconds)}"
    if goal and goal["critical_power_needed"] is None:
        chance = f"a chance of {as_chance(goal['chance'])}"
        return f"Hold {watts:.0f} W (effort) for {format_duration(goal['time_s'])}: {chance}."
    said = f"Hold {watts:.0f} W (effort), {home}; {chances(late)} you make it, within 1 %."
    if goal:
        needed = goal["critical_power_needed"]
        said = (
            f"{format_duration(goal['time_s'])} is out of reach today (chance {as_chance(goal['chance'])}): it would "
            f"take a critical power of {needed.value:.0f} W ({needed.low:.0f} to {needed.high:.0f}). {said}"
        )
    return said


def as_chance(share: float) -> str:
    """A chance in per cent; none is 0 or 100."""
    return "under 1 %" if share < 0.01 else "over 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def bands_words(cost: float) -> str:
    """What the bands of a plan mean, and what their ends cost [s]."""
    return (
        f"The bands are free as long as they even out: low on some stretches and high on others costs {cost:.0f} s at "
        "most. Low all the way is a slower race, high all the way a harder one than this plan's."
    )


def why_of_stretch(s: Stretch, mean: float, braked: bool, ridden: bool = False) -> str:
    """Why the watts of a stretch differ from the plan's mean, or nothing where they do not."""
    if s.walked:
        return "walking costs less here"
    said = ["off the bicycle: no harder than this, it feels worse than it is"] if ridden else []
    reads = round(100 * (s.share - 1.0))
    up, down = s.kind == "up", s.kind == "down"
    # Watts that look the wrong way round for the road are told from a smaller error of the device on.
    backwards = (up and s.power < 0.995 * mean) or (down and s.power > 1.005 * mean)
    told = TOLD if not backwards else 1
    if up and reads <= -told:
        said.append(f"your device under-reads climbs by {-reads} %; this is the effort of {s.effort:.0f} W")
    elif down and reads >= told:
        said.append(f"your device over-reads descents by {reads} %; this is the effort of {s.effort:.0f} W")
    elif braked:
        said.append("legs and road limit the speed, not effort")
    elif down and reads <= -told:
        said.append("downhill the device shows less for the same effort")
    elif abs(reads) >= told:
        road = "climbs" if up else "descents" if down else "this stretch"
        said.append(f"your device reads {road} {abs(reads)} % {'low' if reads < 0 else 'high'}")
    elif backwards:
        said.append("it makes up for what the road took before" if s.relative > 1 else "it spares what the next needs")
    if abs(s.headwind) > WINDY:
        said.append("against the wind, the pace follows" if s.headwind > 0 else "the wind helps, the pace follows")
    return "; ".join(said)


def last_race(found: Mapping[str, Any], imperial: bool) -> str:
    """The newest race that a plan can be held against."""
    watts = f" at {found['power_w']:.0f} W" if found["power_w"] is not None else ""
    way = format_distance(found["distance_m"], imperial)
    return (
        f"Your last race of a comparable length, on {day_name(found['date'])}: {way} in "
        f"{format_duration(found['time_s'])}{watts}."
    )


def heart_doubts_climbs(asked: float, told: float, sd: float, effort: float) -> str:
    """Heart rate against a device that is held to under-read climbs [bpm for each per cent uphill]."""
    low, middle, high = (signed(told + k * 1.96 * sd, 1) for k in (-1, 0, 1))
    return (
        f"Your heart rate does not confirm that your device reads low uphill: at the same watts it is {middle} bpm "
        f"({low} to {high}) for each per cent uphill, where that would make it {asked:+.1f}. On climbs stay between "
        f"the watts shown and {effort:.0f} W, and go by feel."
    )
