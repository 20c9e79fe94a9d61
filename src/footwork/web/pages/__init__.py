"""Pages, each with a JSON twin made by the same function."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from footwork.web.pages import (
    capacity,
    compare,
    correct,
    devices,
    diary,
    efforts,
    keeping,
    methods,
    power_at_speed,
    progress,
    race,
    review,
    run,
    runs,
    sessions,
    settings,
    today,
    trials,
    usual,
)

if TYPE_CHECKING:
    from footwork.api import Library

# Address of the twin: the function whose result both the page and the twin show.
TWINS: dict[str, Callable[..., Any]] = {
    "/today.json": today.data,
    "/runs.json": runs.data,
    "/runs/{run_id}.json": run.data,
    "/capacity.json": capacity.data,
    "/usual.json": usual.data,
    "/devices.json": devices.data,
    "/devices/check/{run_id}.json": devices.check_data,
    "/power-at-speed.json": power_at_speed.data,
    "/race.json": race.data,
    "/race/log.json": review.log_data,
    "/runs/{run_id}/review.json": review.data,
    "/runs/{run_id}/efforts.json": efforts.data,
    "/sessions.json": sessions.data,
    "/runs/{run_id}/session.json": sessions.match_data,
    "/runs/{run_id}/edit.json": correct.data,
    "/runs/{run_id}/compare.json": compare.data,
    "/progress.json": progress.data,
    "/compare-runs.json": progress.compare_data,
    "/runs/{run_id}/drift.json": progress.within_data,
    "/trials.json": trials.data,
    "/trials/{number}.json": trials.one_data,
    "/diary.json": diary.data,
    "/library.json": keeping.data,
    "/settings.json": settings.data,
    "/methods.json": methods.data,
}


def register(base: str, library: Library) -> None:
    """Add all pages of one library under an address."""
    for module in (
        today,
        runs,
        run,
        correct,
        compare,
        usual,
        capacity,
        sessions,
        progress,
        trials,
        race,
        review,
        devices,
        power_at_speed,
        diary,
        keeping,
        settings,
        methods,
    ):
        module.register(base, library)
