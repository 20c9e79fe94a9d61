"""Several runners' libraries side by side."""

from __future__ import annotations

from footwork.squad.folders import is_library
from footwork.squad.kept_lines import frame
from footwork.squad.runners import ORDERS, Squad, calendar_of

__all__ = ["ORDERS", "Squad", "calendar_of", "frame", "is_library"]
