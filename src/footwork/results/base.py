"""What every answer is: a frozen record with typed fields, the same in Python, JSON and on pages."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from typing import Any, Final, NotRequired, TypedDict

from footwork.quantities import plain


class Absent:
    """A field that this answer does not hold; it is not in its JSON either."""

    def __repr__(self) -> str:
        return "absent"


ABSENT: Final[Any] = Absent()


class EstimateJson(TypedDict):
    """A number as every answer holds it: middle and ends of its 95 % interval, unit, and what it rests on; ``value`` is
    None where it is withheld, with the ``reason``."""

    value: float | None
    low: float | None
    high: float | None
    unit: str
    n: int
    n_of: str
    method: str
    reason: NotRequired[str]


class Result:
    """An answer. Its fields are attributes; by their JSON names they are also reached as in a mapping, so that a page's
    twin, a notebook and a template read one thing. Its fields cannot be set anew; what a field holds is shared with
    whoever asks the same again, and is not to be changed."""

    __hash__ = None  # type: ignore[assignment]

    def to_json(self) -> dict[str, Any]:
        """Plain JSON in SI units, keys in the documented order, no NaN."""
        found: dict[str, Any] = plain({name: self[name] for name in self.keys()})
        return found

    def keys(self) -> Iterator[str]:
        """Names of the fields that this answer holds."""
        return (f.name for f in fields(self) if getattr(self, f.name) is not ABSENT)  # type: ignore[arg-type]

    def __getitem__(self, name: str) -> Any:
        if name not in self:
            raise KeyError(name)
        return getattr(self, name)

    def __contains__(self, name: object) -> bool:
        return any(name == held for held in self.keys())

    def values(self) -> Iterator[Any]:
        """What the fields hold, in the order of `keys`."""
        return (self[name] for name in self.keys())

    def items(self) -> Iterator[tuple[str, Any]]:
        """Names and what they hold."""
        return ((name, self[name]) for name in self.keys())

    def __iter__(self) -> Iterator[str]:
        return self.keys()

    def get(self, name: str, default: Any = None) -> Any:
        """A field by its JSON name, or the default where this answer does not hold it."""
        return getattr(self, name) if name in self else default
