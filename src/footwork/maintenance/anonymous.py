"""What is taken from an export that nobody is to be known by: names, notes, the diary, exact dates, places."""

from __future__ import annotations

import datetime as dt
import secrets
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import select

from footwork.signals import Signals
from footwork.store import schema

if TYPE_CHECKING:
    from footwork.history.book import History

WEEKS = (52, 1040)  # back, at random: days of the week and seasons between runs stay, dates do not
_PLACES = ("latitude", "longitude")
_KEPT_WEATHER = ("temperature_c", "humidity", "wind_mps")


class Disguise:
    """One export's: the same shift and the same new names throughout; neither is kept anywhere."""

    def __init__(self, library: History) -> None:
        low, high = WEEKS
        self._back = dt.timedelta(weeks=low + secrets.randbelow(high - low))
        names = library.scales().values()
        self._scales = {name: f"scale {number}" for number, name in enumerate(names, start=1)}
        self._shoes: dict[str, str] = {}

    def row(self, row: dict[str, Any]) -> dict[str, Any]:
        """A run's line, `RunRow.to_json`."""
        shoe = row["shoe"]
        weather = row["weather"] or {}
        return {
            **row,
            "start": self.local(row["date"]),
            "date": self.local(row["date"]),
            "power_scale": self._scales.get(row["power_scale"], row["power_scale"]),
            "shoe": self._shoes.setdefault(shoe, f"shoe {len(self._shoes) + 1}") if shoe else shoe,
            "note": "",
            "weather": {k: weather[k] for k in _KEPT_WEATHER if k in weather} or None,
        }

    def day(self, text: str) -> str:
        """A date in ISO 8601, moved back."""
        return (dt.date.fromisoformat(text) - self._back).isoformat()

    def local(self, text: str) -> str:
        """A local time in ISO 8601, moved back, without what it says of the time zone: that names a country."""
        return (dt.datetime.fromisoformat(text).replace(tzinfo=None) - self._back).isoformat(timespec="seconds")

    def signals(self, found: Signals, offset: dt.timedelta | None) -> Signals:
        """A run's signals: times moved back and by the ``offset`` of local time, no positions, heights from where it
        began."""
        columns = {n: v for n, v in found.columns.items() if n not in _PLACES}
        columns["time"] = columns["time"] + ((offset or dt.timedelta()) - self._back).total_seconds()
        if "altitude" in columns:
            known = columns["altitude"][np.isfinite(columns["altitude"])]
            columns["altitude"] = columns["altitude"] - (known[0] if len(known) else 0.0)
        return replace(found, columns=columns)

    def facts(self, library: History) -> dict[str, Any]:
        """What is left of the library beside its runs: facts of the body by date, accepted CPs, other sports."""
        with library.reading() as connection:
            accepted = [dict(r) for r in connection.execute(select(schema.accepted)).mappings()]
        names = library.scales()
        return {
            "athlete": {
                name: [{**f, "date": self.day(f["date"])} for f in dated]
                for name, dated in library.athlete.facts().items()
            },
            "accepted": [
                {
                    "scale": self._scales.get(names.get(a["scale_key"], ""), ""),
                    "date": self.day(a["date"]),
                    "critical_power": a["critical_power"],
                }
                for a in accepted
            ],
            "other_sports": [
                {**a, "start": self.local(a["date"]), "date": self.local(a["date"])} for a in library.activities()
            ],
        }
