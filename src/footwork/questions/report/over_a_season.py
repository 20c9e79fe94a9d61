"""What only a report on a season has: the curve, progress, races against their plans, trials."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from footwork.errors import FootworkError
from footwork.history.catalogue import RunRow
from footwork.quantities import format_duration
from footwork.questions import capacity, progress, race, trials
from footwork.results.report import ReportPart
from footwork.wording.season_words import day_name

if TYPE_CHECKING:
    from footwork.history.book import History

SHOWN_S = (10, 30, 60, 180, 300, 720, 1200, 1800, 3600, 5400)


def over_a_season(library: History, first: dt.date, today: dt.date, seen: list[RunRow]) -> list[ReportPart]:
    """Its parts, each on a sheet of its own."""
    return [_curve(library, first, today), _progress(library, today), _races(library, seen), _trials(library, today)]


def _curve(library: History, first: dt.date, today: dt.date) -> ReportPart:
    best = {int(p["duration_s"]): p for p in capacity.best_curve(library, first, today)}
    of_run = {r.id: r for r in library.runs()}
    rows = []
    for seconds in SHOWN_S:
        if (point := best.get(seconds)) is not None and point["run"] in of_run:
            on = day_name(of_run[point["run"]].local.date().isoformat())
            rows.append([format_duration(seconds), f"{point['power_w']:.0f} W", on])
    said = ["The most that was held for each time, all out or not, and when."]
    return ReportPart(
        title="The curve",
        sentences=said if rows else ["No run of this time has power."],
        headers=["for", "held", "on"] if rows else [],
        rows=rows,
        picture="curve" if rows else "",
        sheet=True,
    )


def _progress(library: History, today: dt.date) -> ReportPart:
    try:
        found = progress.progress_of_season(library, None, None, today)
    except FootworkError as error:
        return ReportPart(title="Progress", sentences=[f"Not known: {error}."], headers=[], rows=[])
    told = [w for w in found.warnings if not w.startswith("The diary")]
    return ReportPart(title="Progress", sentences=[found.sentence, *told[:2]], headers=[], rows=[])


def _races(library: History, seen: list[RunRow]) -> ReportPart:
    rows = []
    for row in reversed([r for r in seen if "race" in r.marks]):
        on = day_name(row.local.date().isoformat())
        try:
            rows.append([on, str(race.review_race(library, row.id).sentence)])
        except FootworkError as error:
            rows.append([on, f"{format_duration(row.duration_s)}; not held against a plan: {error}."])
    said = [] if rows else ["No race was run in this time."]
    headers = ["day", "against its plan"] if rows else []
    return ReportPart(title="Races against their plans", sentences=said, headers=headers, rows=rows, sheet=True)


def _trials(library: History, today: dt.date) -> ReportPart:
    rows = []
    for trial in trials.listed_trials(library):
        name = " or ".join(trial["conditions"])
        try:
            rows.append([name, str(trials.analyse_trial(library, trial["id"], today).sentence)])
        except FootworkError as error:
            rows.append([name, f"Nothing yet: {error}."])
    said = [] if rows else ["No trial was designed."]
    return ReportPart(title="Trials", sentences=said, headers=["", "result"] if rows else [], rows=rows, sheet=True)
