"""What each number is: computed how, from which data, with which formula and source. Linked from every number."""

from __future__ import annotations

from footwork.methods.entry import Method
from footwork.methods.raced_and_run import RACED
from footwork.methods.recorded_and_held import HELD
from footwork.methods.told_over_time import TOLD

__all__ = ["METHODS", "Method"]

METHODS: dict[str, Method] = {**HELD, **RACED, **TOLD}
