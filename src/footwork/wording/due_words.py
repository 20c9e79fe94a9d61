"""What is said first today: what to do next, and why."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from footwork.physiology.lay_off import SHARE_ENDS, whole_loss
from footwork.quantities import format_distance, format_duration
from footwork.wording.cautions import held_back

if TYPE_CHECKING:
    from footwork.results.health import Health
    from footwork.results.today import Due

LONG_AGO_DAYS = 14  # without a run what was usual no longer says what is wise; our convention


def due_sentence(found: Due, imperial: bool) -> str:
    """The days up to the newest run in a sentence, of `what_is_due`."""
    if not found["runs"]:
        return "No runs yet: add recordings, FIT, GPX or CSV files, also zipped."
    week = found["week"]
    return (
        f"{found['runs']} run{'s' if found['runs'] != 1 else ''}. In the seven days up to the newest: "
        f"{week['runs']} run{'s' if week['runs'] != 1 else ''}, "
        f"{format_distance(week['distance_m'], imperial)} in {format_duration(week['duration_s'])}."
    )


def long_date(day: dt.date) -> str:
    """A date as it is said, ``Sunday 30 August``."""
    return f"{day:%A} {day.day} {day:%B}"


def ago(days: int) -> str:
    """How long something is ago, in the largest whole unit."""
    if days < LONG_AGO_DAYS:
        return {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")
    return f"{days // 7} weeks ago" if days < 120 else f"{days // 30} months ago"


def after_pause(newest: dt.date | None, today: dt.date, archive: bool = False) -> str:
    """What a pause of over two weeks since the newest run leaves unknown; empty without one.

    In an archive answers are of the newest run's day.
    """
    if newest is None or (today - newest).days <= LONG_AGO_DAYS:
        return ""
    from footwork.physiology.habitual import PAUSE_DAYS  # it takes scipy along

    days, easy = (today - newest).days, "eep the first runs short and easy, by feel."
    low, high = (100 * end * whole_loss(min(days, PAUSE_DAYS)) for end in SHARE_ENDS)
    share = f"{low:.0f} to {high:.0f} %"
    if archive:
        return (
            f"These runs were old when they came in: answers are of {long_date(newest)} {newest.year}, the day of the "
            f"newest, until a newer one comes in. What you can hold today, {ago(days).removesuffix(' ago')} later, is "
            f"not known from them; published breaks of twelve weeks took {share}. After such a pause k{easy}"
        )
    if days <= PAUSE_DAYS:
        held = f"is told lower, by what published breaks of that length took, {share}"
    else:  # later nothing is lowered, for nothing is said of today
        held = f"is not known from before it; published breaks of twelve weeks took {share}"
    year = f" {newest.year}" if newest.year != today.year else ""
    since = f"Your newest run here was {ago(days)}, on {long_date(newest)}{year}."
    return f"{since} What you can hold after such a pause {held}. K{easy}"


def what_next(
    today: dt.date, newest: dt.date | None, health: Health | None, ahead: list[dict[str, Any]], hard: str | None
) -> tuple[str, str]:
    """What to do next, and why.

    Parameters
    ----------
    newest : date or None
        Day of the newest run.
    ahead : list of dict
        Sessions that are kept from today on and not run yet, the nearest first: ``date``, ``name``, ``text``, and
        whether it is ``hard``.
    hard : str or None
        Day of a hard run, today or yesterday.
    """
    held = held_back(health)
    if held is not None and health is not None:
        if not health.told:
            return held.rstrip("."), ""
        head = {
            "ill": "Rest until you are well",
            "injured": "No running until you are well again",
            "returning": "Easy running only",
        }[health.state]
        return head, held
    session = ahead[0] if ahead else None
    on = dt.date.fromisoformat(session["date"]) if session else None
    name = (session["name"] or session["text"]) if session else ""
    if why := after_pause(newest, today):
        demanding = next((s for s in ahead if s["hard"]), None)
        if demanding is None:
            return "Begin again with easy runs", why
        when = _when(dt.date.fromisoformat(demanding["date"]), today)
        kept = f"{when} is kept: {demanding['name'] or demanding['text']}. Move it until easy running feels usual."
        return "Begin again with easy runs", f"{why} {kept}"
    if on == today:
        return f"Today: {name}", _why_easy(hard, today)
    if on is not None:
        easy = f"{on:%A}: {name}; until then easy or rest" if (on - today).days > 1 else f"Tomorrow: {name}"
        if (on - today).days > 6:
            easy = f"Nothing is kept before {long_date(on)}: {name}"
        return easy, _why_easy(hard, today)
    if hard is not None:
        return ("Easy tomorrow" if hard == today.isoformat() else "Easy today"), _why_easy(hard, today)
    return "No session is kept for the days ahead", "Keep one on Sessions, and it stands here with its watts."


def _when(day: dt.date | None, today: dt.date) -> str:
    return "" if day is None else "Today" if day == today else long_date(day)


def _why_easy(hard: str | None, today: dt.date) -> str:
    if hard is None:
        return ""
    when = "Today's" if hard == today.isoformat() else "Yesterday's"
    return f"{when} run was hard, and hard days do best two days apart."
