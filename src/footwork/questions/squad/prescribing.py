"""One session for many: what it asks of each in their own watts, whether each can finish it, and a kinder version for
who cannot. Whoever is held back is asked nothing hard."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from footwork.errors import FootworkError
from footwork.planning import families, preview, session_words
from footwork.planning.season_weeks import return_steps
from footwork.quantities import Estimate, format_duration
from footwork.questions import capacity, season, sessions
from footwork.questions.signs import LONG_RUN_DAYS, LONG_RUN_SHARE
from footwork.results.squad import Prescribed, PrescribedStep
from footwork.wording.cautions import NOT_NOW, held_back

if TYPE_CHECKING:
    from footwork.history.book import History

METHOD = "sessions"
RACE_DAYS = 2  # before a race on which nothing hard is asked; our convention


def prescribed(library: History, athlete: str, text: str, on: dt.date, today: dt.date) -> Prescribed:
    """What a session asks of one runner on a day, as known today.

    ``state`` is ``asked``, ``kinder`` (in other words, since the session itself is finished less than four times in
    five), ``not now`` (ill, injured, returning, or a physician decides) or ``not known`` (no critical power).

    Raises UsageError for words that are no session.
    """
    session = session_words.parse(text)
    already = [s["name"] or s["text"] for s in sessions.listed_sessions(library) if str(s["date"]) == on.isoformat()]
    common: dict[str, Any] = {
        "athlete": athlete,
        "date": on.isoformat(),
        "asked_text": session.text(),
        "already": already,
    }
    try:
        who = sessions.session_basis(library, today, with_heart_rate=False)
        empties = any(s.target is not None and s.target.word == preview.ALL_OUT for s, _ in session.steps())
        made = families.offer("", "test" if empties else "easy", text, who.runner, who.borders[0])
        plain = families.offer("", "easy", text, who.runner, who.borders[0], as_it_is=True)
    except FootworkError as error:
        return _nothing(common, "not known", str(error))
    assert plain is not None
    as_asked = preview.preview(session, who.runner)
    hard = sessions.is_hard(text, who)
    if why := _held(library, hard, on, today) or _by_a_race(library, hard, on):
        return _nothing(common, "not now", why)
    asked = as_asked[-1].dry_by
    if made is None:
        return _nothing(common, "too much", f"{_why(asked)}, and no kinder version is finished four times in five")
    offer = made
    rows = preview.preview(session_words.parse(offer.text), who.runner)
    too_long = _longer(library, offer.minutes, today)
    hardest = max(rows, key=lambda r: r.power)
    low, high = preview.banded(hardest.low, hardest.high)
    state = "asked" if made.text == plain.text else "kinder"
    return Prescribed(
        **common,
        state=state,
        text=offer.text,
        steps=_steps(rows),
        power=Estimate(hardest.power, low, high, "W", 1, METHOD, "steps"),
        scale=who.scale,
        finishes=1.0 - asked,
        finishes_kinder=1.0 - rows[-1].dry_by,
        duration_s=60.0 * offer.minutes,
        cp_minutes=offer.load,
        why="; ".join(t for t in (_why(asked) if state == "kinder" else "", too_long) if t),
    )


def _steps(rows: list[preview.Row]) -> list[PrescribedStep]:
    """Each different step once, with its band as it is shown [W]; rests that are not run have none."""
    out: dict[str, PrescribedStep] = {}
    for row in rows:
        if row.power >= 1:
            low, high = preview.banded(row.low, row.high)
            out.setdefault(row.step.text(), PrescribedStep(text=row.step.text(), low_w=low, high_w=high))
    return list(out.values())


def _held(library: History, hard: bool, on: dt.date, today: dt.date) -> str:
    """Why a session is not asked; empty where it is."""
    health = library.health(today)
    if health is not None and (health.state != "returning" or (hard and health.until and on <= health.until)):
        return str(held_back(health))
    if not hard:
        return ""
    if library.context().physician_decides(today):
        return NOT_NOW
    breaks = [o for o in capacity.lay_offs(library, today) if o.back is None and o.again is None]
    off = max((o.days_off(today.toordinal()) for o in breaks), default=0)
    return f"after {off} days without running short easy runs come first" if return_steps(off) else ""


def _by_a_race(library: History, hard: bool, on: dt.date) -> str:
    """Why a race leaves no room for a session; empty where none does."""
    for row in season.accepted_races(library):
        days = (dt.date.fromisoformat(row["date"]) - on).days
        if days == 0:
            return f"it is the day of the {row['name']}"
        if hard and 0 < days <= RACE_DAYS:
            return f"the {row['name']} is {days} day{'s' if days > 1 else ''} later"
    return ""


def _longer(library: History, minutes: float, today: dt.date) -> str:
    """That a session is more than a tenth longer than the longest run of thirty days; empty where it is not."""
    near = [r.duration_s for r in library.runs() if 0 <= (today - r.local.date()).days <= LONG_RUN_DAYS]
    longest = max(near, default=0.0)
    if not longest or 60.0 * minutes <= LONG_RUN_SHARE * longest:
        return ""
    return f"longer than the longest run of {LONG_RUN_DAYS} days, {format_duration(longest)}"


def _why(dry: float) -> str:
    return f"as it was asked it is finished {100 * (1.0 - dry):.0f} times in a hundred"


def nothing_known(athlete: str, on: dt.date, text: str, why: str) -> Prescribed:
    """Nothing is asked of a runner whose library cannot be read or written."""
    common = {"athlete": athlete, "date": on.isoformat(), "asked_text": text, "already": []}
    return _nothing(common, "cannot be asked", why)


def _nothing(common: dict[str, Any], state: str, why: str) -> Prescribed:
    return Prescribed(
        **common,
        state=state,
        text="",
        steps=[],
        power=None,
        scale="",
        finishes=None,
        finishes_kinder=None,
        duration_s=None,
        cp_minutes=None,
        why=why,
    )
