"""Cautions where the work can hurt: short, whom it is for, when to stop, and who decides."""

from __future__ import annotations

MAXIMAL = "A race is a maximal effort: be well, be warm, and stop at chest pain, faintness or unusual breathlessness."
HARD_SESSION = (
    "Hard sessions are only for people who are well and used to them. Stop at chest pain, faintness or unusual "
    "breathlessness."
)
TRIAL = (
    "Change one thing at a time and little by little; stop at pain, and see a physician or physiotherapist "
    "before you change how you run after an injury."
)
UNWELL = (
    "the diary tells of illness or injury: rest comes before any number here; see a physician before you return "
    "to hard running"
)
FUEL = (
    "This is general guidance, not yours: try it in training, and ask a dietitian or physician with diabetes or "
    "any other condition."
)
TEST = (
    "Only when you are well, rested and used to hard running. Stop at chest pain, faintness or unusual "
    "breathlessness; ask a physician first with "
    "known disease, with symptoms, after illness or when starting anew."
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
