"""Footwork: a runner's recordings turned into decisions about running power.

The public API, resolved when first used so that ``import footwork`` stays light: `Library`, `Squad`, `read`,
`Estimate`, and the models in ``footwork.physics``, ``footwork.physiology``, ``footwork.analysis`` and
``footwork.planning``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from footwork.api import Library, read
    from footwork.errors import FootworkError
    from footwork.quantities import Estimate
    from footwork.signals import Course, Recording, Signals
    from footwork.squad import Squad

__version__ = "0.1.0"
__all__ = ["Course", "Estimate", "FootworkError", "Library", "Recording", "Signals", "Squad", "__version__", "read"]
_HOMES = {
    "Library": "footwork.api",
    "Squad": "footwork.squad",
    "read": "footwork.api",
    "Estimate": "footwork.quantities",
    "FootworkError": "footwork.errors",
    "Signals": "footwork.signals",
    "Recording": "footwork.signals",
    "Course": "footwork.signals",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'footwork' has no attribute '{name}'")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)
