"""What an entry of the methods page is."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Method:
    """One entry of the methods page; ``formula`` may be empty. A † in the text marks a convention without a source."""

    title: str
    text: str
    formula: str
    sources: tuple[str, ...]
