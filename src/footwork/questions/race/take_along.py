"""What a race plan is taken along as: a workout and a course for the watch, and a table."""

from __future__ import annotations

import csv
import datetime as dt
import io

import numpy as np

from footwork.errors import UsageError
from footwork.formats import watch
from footwork.questions.race.race_plan import RacePlan


def _name(plan: RacePlan, name: str) -> str:
    return name or f"Race {plan.question['distance_m'] / 1000:.1f} km"


def race_workout(plan: RacePlan, name: str = "") -> bytes:
    """A plan's instructions as a FIT workout, a step with a power band a stretch; steps count by the watch's own
    distance.

    What is walked has no band: watts of a walk are not known.
    """
    steps, before = [], 0.0
    for told in plan.strategies["instructions"]:
        title = f"to {told['end_m'] / 1000:.1f}km " + ("walk" if told["walked"] else f"{told['power_w']:.0f}W")
        band = (None, None) if told["walked"] else (told["low_w"], told["high_w"])
        steps.append(watch.Step(title, told["watch_end_m"] - before, None, *band))
        before = told["watch_end_m"]
    return watch.workout(_name(plan, name), steps, plan.strategies["cautions"][0])


def race_course(plan: RacePlan, name: str = "") -> bytes:
    """The course as FIT, with a point where each instruction begins that says its watts, and the marks.

    Raises
    ------
    UsageError
        The race has no course with positions.
    """
    track = plan.course["track"]
    if track is None:
        raise UsageError("a course for the watch needs positions: give --course FILE.gpx")
    if plan.course["private"]:
        raise UsageError(
            "the course passes one of your private places, and a course file would hold it: take a course "
            "drawn without it"
        )
    lat, lon = np.array(track).T
    segments = plan.strategies["strategies"][plan.strategies["chosen"]]["segments"]
    metres = np.array([0.0, *(s["end_m"] for s in segments)])
    seconds = np.array([0.0, *(s["clock_s"] for s in segments)])
    told = [
        watch.Point(i["start_m"], "walk" if i["walked"] else f"{i['low_w']:.0f}-{i['high_w']:.0f} W")
        for i in plan.strategies["instructions"]
    ]
    told += [watch.Point(m["start_m"], m["name"]) for m in plan.course["marks"]]
    height = plan.course["height_m"]
    start = plan.question["start"]
    begin = (
        dt.datetime.fromisoformat(start).astimezone().timestamp()
        if start
        else dt.datetime(2020, 1, 1, tzinfo=dt.UTC).timestamp()
    )
    return watch.course(
        _name(plan, name),
        lat,
        lon,
        metres,
        None if height is None else np.array(height),
        seconds,
        begin,
        sorted(told, key=lambda p: p.at),
    )


def race_table(plan: RacePlan) -> bytes:
    """The chosen strategy segment by segment as CSV; the first line names columns with their units."""
    chosen = plan.strategies["strategies"][plan.strategies["chosen"]]["segments"]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(chosen[0])
    for row in chosen:
        writer.writerow([round(v, 4) for v in row.values()])
    return out.getvalue().encode()
