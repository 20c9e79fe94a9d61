"""Cautions where the work can hurt: short, whom it is for, when to stop, and who decides."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt

    from footwork.results.health import Context, Health

_LEADS = {"race": "A race is a maximal effort", "test": "A test is a maximal effort", "session": "Hard running"}


NOT_NOW = "Not now."  # all that a coach reads of health where the diary is not shared


def before_hard_work(kind: str) -> str:
    """What stands beside everything that proposes hard work: whom it is for, when to stop, who decides.

    ``kind`` is ``race``, ``test`` or ``session``.
    """
    return (
        f"{_LEADS[kind]}: only if you are well, rested and used to hard running. Stop at chest pain, faintness or "
        "unusual breathlessness; ask a physician first with known disease, with symptoms, after illness or when "
        "starting anew."
    )


def held_back(health: Health | None) -> str | None:
    """Why nothing hard is proposed, and until when; None for a runner of whom the diary tells nothing bad."""
    if health is None:
        return None
    if not health.told:
        return NOT_NOW
    if health.state == "returning":
        return (
            f"Easy running only up to and including {health.until}: as many easy days as days off after illness or "
            "injury, three to fourteen, and only without symptoms. What a physician says comes first."
        )
    text = (
        f"The diary tells of illness since {health.since}: rest comes first, so no session is proposed until it "
        "says that you are well again. With fever, chest pain or breathlessness see a physician."
        if health.state == "ill"
        else f"The diary tells of an injury since {health.since}: no running is proposed until it says that you "
        "are well again; see a physician or physiotherapist before you run."
    )
    old = " That was written over two weeks ago: say in the diary whether it still holds."
    return text + (old if health.asks else "")


# For who told the diary of pregnancy or of medicine for the heart. It never says which, since pages are shown around.
PHYSICIAN_DECIDES = (
    "By what the diary tells, no maximal test is proposed and heart rates to aim for are left out: how hard running "
    "may be is your physician's to say. Watts and feel stay."
)


def physician_words(context: Context, day: dt.date) -> str:
    """What stands beside hard work while a physician decides; empty otherwise."""
    if not context.physician_decides(day):
        return ""
    return PHYSICIAN_DECIDES if context.told else NOT_NOW


def left_out_words(context: Context) -> str:
    """Why a heart rate is left out while a physician decides."""
    return HEART_RATE_LEFT_OUT if context.told else "these runs do not tell it"


def moved_words(context: Context) -> str:
    """Why heart rates of both sides of a beginning or an end are not compared."""
    return HEART_RATE_MOVED if context.told else "these runs do not tell it"


HEART_RATE_MOVED = "what moves your heart rate began or ended in these weeks, as the diary tells"
HEART_RATE_LEFT_OUT = "left out by what the diary tells: ask your physician"
TRIAL = (
    "Change one thing at a time and little by little; stop at pain, and see a physician or physiotherapist "
    "before you change how you run after an injury."
)
FUEL = (
    "This is general guidance, not yours: try it in training, and ask a dietitian or physician with diabetes or "
    "any other condition."
)


def race_cautions(time: float, hottest: float | None) -> list[str]:
    """Where the race can hurt, or the model stops being trustworthy."""
    out = []
    if time < 120:
        out.append("A race under 2 minutes is shorter than CP + W′/t describes: take the watts as a rough guide.")
    if time > 4 * 3600:
        out.append("Beyond about four hours fuel, heat and muscle damage decide more than this model knows.")
    if hottest is not None and hottest >= 18:
        level = (
            "28 °C and more: races are usually cancelled"
            if hottest > 28
            else "23 to 28 °C: high risk"
            if hottest >= 23
            else "18 to 22 °C: moderate risk"
        )
        out.append(
            f"Heat: wet-bulb globe temperature {hottest:.0f} °C ({level}). Slow down, drink to thirst, stop "
            "at dizziness or chills; follow the organiser and your physician."
        )
    return out
