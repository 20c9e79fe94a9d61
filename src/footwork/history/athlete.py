"""Dated facts about the runner: mass, maximal and resting heart rate, capacity in other sports."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, insert, select

from footwork.errors import UsageError
from footwork.history.dated import in_force
from footwork.store import schema

if TYPE_CHECKING:
    from footwork.history.book import History

# Fact: (unit, what a living runner can have).
FACTS = {
    "mass": ("kg", 25.0, 250.0),
    "max_heart_rate": ("bpm", 100.0, 230.0),
    "resting_heart_rate": ("bpm", 25.0, 110.0),
    "cycling_critical_power": ("W", 50.0, 600.0),
    "critical_swim_speed": ("m/s", 0.3, 2.5),
}
# Asked for by older versions and used nowhere: what was told stays readable.
ONCE_ASKED = {"birth_year": "", "sex": ""}
SEXES = {"male": 1.0, "female": 2.0}  # codes of ISO/IEC 5218


def _shown(name: str, value: float) -> float | str:
    return next(word for word, code in SEXES.items() if code == value) if name == "sex" else value


class Athlete:
    """Facts in force from a date on; before the first entry, the first one holds."""

    def __init__(self, library: History) -> None:
        self._library = library

    def facts(self) -> dict[str, list[dict[str, Any]]]:
        """Every fact with its dated values, the oldest first."""
        table = schema.athlete_fact
        with self._library.reading() as connection:
            rows = connection.execute(select(table.c.name, table.c.date, table.c.value).order_by(table.c.date)).all()
        told = {
            name: [{"date": date, "value": _shown(name, value), "unit": unit} for n, date, value in rows if n == name]
            for name, unit in ({n: unit for n, (unit, _, _) in FACTS.items()} | ONCE_ASKED).items()
        }
        return {name: values for name, values in told.items() if values or name in FACTS}

    def masses(self) -> list[tuple[str, float]]:
        """Dated masses [kg], the oldest first."""
        return [(fact["date"], fact["value"]) for fact in self.facts()["mass"]]

    def value(self, name: str, date: dt.date) -> float | None:
        """The value in force on a date, or None where none was ever given."""
        return in_force([(f["date"], f["value"]) for f in self.facts()[name]], date.isoformat())

    def set(self, date: dt.date | None = None, progress: Any = None, **values: float | str | None) -> int:
        """Set facts as of a date (today by default); returns how many recordings were made anew for it.

        Raises
        ------
        UsageError
            A value that no runner has, heart rates that contradict each other, or a date in the future. Nothing is
            changed then.
        """
        day = date or min(self._library.current_day(), dt.date.today())
        if day > dt.date.today():
            raise UsageError(f"{day} lies in the future: facts count from today or earlier")
        if unknown := next((name for name in values if name not in FACTS), None):
            raise UsageError(f"there is no fact '{unknown}': facts are {', '.join(FACTS)}")
        given = {name: float(value) for name, value in values.items() if value is not None}
        for name, value in given.items():
            unit, low, high = FACTS[name]
            if not low <= value <= high:
                raise UsageError(
                    f"{name.replace('_', ' ')} of {value:g} {unit}".rstrip()
                    + f" cannot be: give {low:g} to {high:g} {unit}".rstrip()
                )
        rest = given.get("resting_heart_rate", self.value("resting_heart_rate", day))
        top = given.get("max_heart_rate", self.value("max_heart_rate", day))
        if rest is not None and top is not None and rest >= top:
            raise UsageError(f"a resting heart rate of {rest:g} bpm is not below the maximal one of {top:g} bpm")
        with self._library.writing() as connection:
            for name, value in given.items():
                table = schema.athlete_fact
                connection.execute(delete(table).where(table.c.name == name, table.c.date == day.isoformat()))
                connection.execute(insert(table).values(name=name, date=day.isoformat(), value=value))
        return int(self._library.refresh(progress)) if "mass" in given else 0
