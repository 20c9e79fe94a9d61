"""What is said of a session that was run, and what to ask the next time."""

from __future__ import annotations

from typing import Any

from footwork.analysis.session_match import Advice, Match
from footwork.quantities import Estimate, format_duration
from footwork.results.session import SessionPreview

NEXT = {
    Advice.NO_WORK: "Check that it is the right run, or divide it by hand.",
    Advice.ALL_OUT: "All out is as it comes; mark a test so that it counts.",
    Advice.NO_BAND: "What was asked was not recorded in this run.",
    Advice.ANOTHER: "Check that it is the right one.",
    Advice.ASK_AS_MANY: "Those that were run were even: if it was not meant to be shorter, ask for as many as were "
    "run.",
    Advice.ASK_LESS: "Next time ask 2 to 3 % less, or longer rests, so that the last one is like the first.",
    Advice.BEGIN_SLOWER: "Next time begin slower and let heart rate come up: heat, a short night or an illness to come "
    "raise it at the same effort.",
    Advice.HOLD_BAND: "Next time hold the band: more was run than the session asks for. If this was easy, a test will "
    "tell whether CP has grown.",
    Advice.LOOK_WHY: "Next time check what was in the way (heat, hills, sleep, the device) before changing the "
    "session.",
    Advice.KEEP_RESTS: "Next time keep to the rests: with others it is another session.",
    Advice.RUN_EVENLY: "Next time run each piece more evenly, then look again.",
    Advice.STOP_IN_TIME: "Next time stop when it is done, or ask for as much as was run.",
    Advice.ONE_MORE: "Next time it can be one repeat longer.",
    Advice.SAME_AGAIN: "Next time ask the same again: the session fits.",
}


HARD_TO_FINISH = 0.25  # chance of running dry from which it is said wherever a session is kept


def can_finish(dry: float) -> str:
    """Whether a session can be finished, by the chance of running dry before its end."""
    if dry < 0.02:
        return "You can finish it, with something left"
    if dry < 0.1:
        return f"You most likely finish it: a chance of {100 * (1 - dry):.0f} %"
    if dry < HARD_TO_FINISH:
        return f"You probably finish it: a chance of {100 * (1 - dry):.0f} %"
    if dry < 0.99:
        return f"You may not finish it: a chance of {100 * dry:.0f} % that W′ runs out"
    return "By what is known of you it cannot be finished as it is"


def doubt_to_finish(dry: float | None) -> str:
    """What stands beside a kept session that is hard to finish; empty for others, and where it is not known."""
    return can_finish(dry) if dry is not None and dry >= HARD_TO_FINISH else ""


def runs_out(found: SessionPreview) -> str:
    """Where a previewed session spends all of W′, by the best estimate; empty where it does not."""
    step = next((s for s in found["steps"] if s["w_prime_j"] < 0.0), None)
    if step is None:
        return ""
    begins = format_duration(step["start_s"]) if step["start_s"] else "0:00"
    repeat = f", repeat {'.'.join(map(str, step['repeat']))}" if step["repeat"] else ""
    return f"in {step['text']} that begins at {begins}{repeat}"


def match_sentences(found: Match) -> tuple[str, str]:
    """How a session was run, and what to ask the next time."""
    then = NEXT[found.advice]
    if found.advice is Advice.NO_WORK:
        return "Nothing in this run looks like the session's work.", then
    one = found.done == found.asked == 1 and not found.extra
    they, were, them = ("it", "was", "it") if one else ("they", "were", "them")
    text = "The one piece of work was run" if one else f"{found.done} of {found.asked} pieces of work were run"
    text += (f", and {found.extra} more" if found.extra else "") + "."
    if found.off is None:
        return text + f" There is no band to hold {them} against.", then
    text += (
        f" On average {they} {were} {abs(found.off):.0f} % {'above' if found.off > 0 else 'below'} what was asked."
        if abs(found.off) >= 1
        else f" On average {they} {were} as hard as asked."
    )
    if found.short:
        cut = "It was" if one else f"{found.short} {'was' if found.short == 1 else 'were'}"
        text += f" {cut} cut short."
    if found.start_hard is not None:
        above = f"the first quarter {100 * found.start_hard:.0f} % above the rest"
        text += f" {they.capitalize()} {were} begun too hard: {above}."
    if found.long:
        longer = "It was" if one else f"{found.long} {'was' if found.long == 1 else 'were'}"
        text += f" {longer} much longer than asked."
    if found.advice is Advice.ANOTHER:
        return text + " This looks like another session.", then
    if found.in_band is not None:
        text += f" Only {100 * found.in_band:.0f} % of the time lay in the band: it was run unevenly."
    if found.rests is not None:
        run, asked = map(format_duration, found.rests)
        text += f" The rests lasted {run} where {asked} were asked."
    if found.fade is not None:
        text += f" They faded: the last was {abs(found.fade):.0f} % under the first."
    return text, then


def sessions_apart_sentence(found: dict[str, Any]) -> str:
    def told(e: Estimate, more: str, less: str) -> str | None:
        if e.value is None or e.low is None or e.high is None or e.low <= 0 <= e.high:
            return None
        return (
            f"{abs(e.value):.1f} {e.unit} {more if e.value > 0 else less} ({min(abs(e.low), abs(e.high)):.1f} to "
            f"{max(abs(e.low), abs(e.high)):.1f})"
        )

    said = [
        told(found["speed_at_power"], "faster at the same watts", "slower at the same watts"),
        told(found["heart_rate_at_power"], "higher heart rate at the same watts", "lower heart rate at the same watts"),
    ]
    said = [s for s in said if s]
    harder = told(found["power"], "more power", "less power")
    p = found["power"]
    text = f"Run with {harder}. " if harder else f"Power cannot be told apart: {p.low:+.1f} to {p.high:+.1f} %. "
    if said:
        text += f"{'; '.join(s for s in said if s)}."
    else:
        still = [
            f"{words} {e.low:+.1f} to {e.high:+.1f} {e.unit}"
            for words, e in (("pace", found["speed_at_power"]), ("heart rate", found["heart_rate_at_power"]))
            if e.value is not None
        ]
        text += (
            f"At the same watts no difference can be told from that of days: {', '.join(still)}."
            if still
            else "Pace and heart rate are not known in both."
        )
    return text + (
        f" Not the same on both days: {', '.join(found['differed'])}; that can be the cause."
        if found["differed"] and said
        else ""
    )
