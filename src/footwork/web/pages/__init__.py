"""Pages, each with a JSON twin made by the same function."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from footwork.web.pages import (
    capacity_page,
    compare_page,
    correct_page,
    devices_page,
    diary_page,
    efforts_page,
    keeping_page,
    methods_page,
    power_at_speed_page,
    progress_page,
    race_page,
    review_page,
    run_page,
    runs_page,
    sessions_page,
    settings_page,
    today_page,
    trials_page,
    usual_page,
)

if TYPE_CHECKING:
    from footwork.api import Library

# Address of the twin: the function whose result both the page and the twin show.
TWINS: dict[str, Callable[..., Any]] = {
    "/today.json": today_page.data,
    "/runs.json": runs_page.data,
    "/runs/{run_id}.json": run_page.data,
    "/capacity.json": capacity_page.data,
    "/usual.json": usual_page.data,
    "/devices.json": devices_page.data,
    "/devices/check/{run_id}.json": devices_page.check_data,
    "/power-at-speed.json": power_at_speed_page.data,
    "/race.json": race_page.data,
    "/race/log.json": review_page.log_data,
    "/runs/{run_id}/review.json": review_page.data,
    "/runs/{run_id}/efforts.json": efforts_page.data,
    "/sessions.json": sessions_page.data,
    "/runs/{run_id}/session.json": sessions_page.match_data,
    "/runs/{run_id}/edit.json": correct_page.data,
    "/runs/{run_id}/compare.json": compare_page.data,
    "/progress.json": progress_page.data,
    "/compare-runs.json": progress_page.compare_data,
    "/runs/{run_id}/drift.json": progress_page.within_data,
    "/trials.json": trials_page.data,
    "/trials/{number}.json": trials_page.one_data,
    "/diary.json": diary_page.data,
    "/library.json": keeping_page.data,
    "/settings.json": settings_page.data,
    "/methods.json": methods_page.data,
}


def register(base: str, library: Library) -> None:
    """Add all pages of one library under an address."""
    for module in (
        today_page,
        runs_page,
        run_page,
        correct_page,
        compare_page,
        usual_page,
        capacity_page,
        sessions_page,
        progress_page,
        trials_page,
        race_page,
        review_page,
        devices_page,
        power_at_speed_page,
        diary_page,
        keeping_page,
        settings_page,
        methods_page,
    ):
        module.register(base, library)
