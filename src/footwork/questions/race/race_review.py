"""After the race: the recording against the plan of the day before, and the log of predictions against results."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis.quantiles import student
from footwork.errors import FootworkError, UsageError
from footwork.history import catalogue
from footwork.history.conditions.race_weather import Weather
from footwork.history.log import entries
from footwork.history.log.entries import MAXIMAL_MARKS
from footwork.planning import instructions, pacing, race_days
from footwork.planning.course import Course
from footwork.quantities import Estimate, Floats, plain
from footwork.questions import capacity
from footwork.questions.race import race_day, race_plan, race_question
from footwork.questions.race.race_in_run import Raced, race_in
from footwork.questions.race.race_plan import RacePlan
from footwork.results.race import PastPredictions, RaceReview
from footwork.wording import race_words

if TYPE_CHECKING:
    from footwork.history.book import History

LEAST_LOG = 5  # fewer races do not tell whether the predictions are calibrated


def review_race(library: History, run_id: int, **question: Any) -> RaceReview:
    """A race as it was run against the plan that the day before allowed.

    Parameters
    ----------
    run_id : int
    question
        As `race.RaceQuestion`. The course is by default the run's own track, the scale its own, the weather what is
        kept of the run. Evidence ends the day before, so that no plan is judged by the run that it was fitted on.

    Raises
    ------
    NotEnoughData
        No plan can be made of what was known the day before, or the run has no distance.
    """
    row = entries.library_row(library, run_id)
    if row.entered_by_hand:
        raise UsageError(
            f"run {run_id} was entered by hand: it has no seconds to compare with a plan; --log has its prediction"
        )
    question = race_question.parsed(question)
    if question.get("scale") not in (None, row.power_scale):
        raise UsageError(
            f"run {run_id} was recorded on {row.power_scale}: its watts are held against a plan on that scale only"
        )
    raced = race_in(library, row, question.get("distance"))
    asked = _eve(row, raced, question)
    plan = race_plan.plan_race(library, **asked)
    path = plan.basis.path
    # The runner's own distance is brought to the course's: both begin and end at the same lines.
    way = raced.metres * path.distance / raced.metres[-1]
    clock, power = np.arange(len(way), dtype=float), raced.power
    ends = np.concatenate([[0.0], path.ends])
    at = np.interp(ends, way, clock)
    took = np.maximum(np.diff(at), 0.1)
    shown = _mean_between(power, at)
    told = _told(plan, path, took, shown, asked)
    total = float(clock[-1])
    predicted = _quantiles(plan.reachable)
    day = row.local.date()
    before, after = (
        capacity.estimate_capacity(library, (), d, row.scale_key and plan.scale).tail
        for d in (day - dt.timedelta(days=1), day)
    )
    out = {
        "run": run_id,
        "date": day.isoformat(),
        "distance_m": path.distance,
        "scale": plan.scale,
        "evidence_until": (day - dt.timedelta(days=1)).isoformat(),
        "time_s": total,
        "predicted": predicted,
        "error_share": total / predicted["p50"] - 1.0,
        "faster_days": float((plan.reachable <= total).mean()),
        "counts": bool(set(row.marks) & MAXIMAL_MARKS),
        "tail_before": before,
        "tail_after": after if set(row.marks) & MAXIMAL_MARKS else None,
        **told,
    }
    made: dict[str, Any] = plain(
        {**out, "sentence": race_words.review_sentence(out, library.setting("units") == "imperial")}
    )
    return RaceReview(**made)


def _eve(row: Any, raced: Raced, question: dict[str, Any]) -> dict[str, Any]:
    """The question as it could be asked the day before: the race's own track and weather, no evidence of the day."""
    given = {k: v for k, v in question.items() if v is not None}
    told = row.weather or {}
    kept = Weather(
        told.get("wind_mps"),
        told.get("wind_from_deg"),
        told.get("temperature_c"),
        told.get("humidity"),
        None,
        told.get("pressure_pa"),
        told.get("wind_mps") is not None and told.get("wind_from_deg") is None,
    )
    if given.get("weather") in (None, Weather()):
        given["weather"] = kept
    given["flat"] = True  # a recording without heights is all that is known of its road
    if given.get("course") is None and raced.track is not None:
        given["course"] = replace(raced.track, name=f"run {row.id}")
    elif given.get("course") is None:  # a flat road, on which the wind's direction means nothing
        given["weather"] = replace(given["weather"], wind=None, wind_from=None, variable=False)
    if not isinstance(given.get("course"), str | int):
        given.setdefault("distance", float(raced.metres[-1]))  # the track may begin after the race did
    given.setdefault("scale", row.power_scale)
    given["date"] = row.local.date() - dt.timedelta(days=1)
    return given


def _quantiles(times: Floats) -> dict[str, float]:
    """Times that the runner could reach: what a result is judged against, since nobody who can run faster holds to a
    plan."""
    return {name: float(q) for name, q in zip(("p10", "p50", "p90"), np.quantile(times, [0.1, 0.5, 0.9]), strict=True)}


def _mean_between(values: Floats, at: Floats) -> Floats:
    """Mean of a 1 Hz signal between neighbouring times [s], shape (n,); NaN where it is missing throughout."""
    known = np.isfinite(values)
    total = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
    count = np.concatenate([[0.0], np.cumsum(known)])
    grid = np.arange(len(total), dtype=float)
    sums, counts = np.diff(np.interp(at, grid, total)), np.diff(np.interp(at, grid, count))
    return np.where(counts > 0, sums / np.maximum(counts, 1e-9), np.nan)


def _told(plan: RacePlan, path: Course, took: Floats, shown: Floats, asked: dict[str, Any]) -> dict[str, Any]:
    """Where time was lost or won against the plan, what the course cost, and what the stores did."""
    basis, draws = plan.basis, plan.basis.draws
    engine = basis.engine()
    chosen = plan.strategies["strategies"][plan.strategies["chosen"]]
    planned = np.array([s["power_w"] for s in chosen["segments"]])
    meant = path.length / np.array([s["speed_mps"] for s in chosen["segments"]])
    usual = meant / (1.0 + plan.strategies["in_hand_share"])  # at the planned watts on a day as expected
    speed = path.length / took
    share = instructions.displayed_share(path, np.maximum(speed, 0.5), basis.mass, basis.relation)[0]
    has_power = bool(np.isfinite(shown).mean() > 0.9)
    effort = np.where(np.isfinite(shown), shown, np.nanmean(shown) if has_power else planned) / share
    able = path.length / pacing.speed_at(engine, path, np.clip(effort, 1.0, None))
    still = replace(path, headwind=np.zeros(len(path.length)), crosswind=0.0)
    level = replace(still, grade=np.zeros(len(path.length)))
    calm, flat = (path.length / pacing.speed_at(engine, c, planned) for c in (still, level))
    rows = []
    ends = path.ends
    every = float(asked.get("split") or 1000.0)
    marks = np.unique(np.append(np.arange(every, path.distance - 0.15 * every, every), path.distance))
    which = np.minimum(np.searchsorted(marks, ends - 0.5 * path.length), len(marks) - 1)
    for k, mark in enumerate(marks):
        here = which == k
        if here.any():
            rows.append(
                {
                    "distance_m": float(mark),
                    "length_m": float(path.length[here].sum()),
                    "time_s": float(took[here].sum()),
                    "planned_s": float((meant + path.stops)[here].sum()),
                    "power_w": float(np.average(shown[here], weights=took[here]))
                    if has_power and np.isfinite(shown[here]).all()
                    else None,
                    "planned_power_w": float(np.average((planned * share)[here], weights=meant[here])),
                    "effort_s": float((able - usual)[here].sum()) if has_power else None,
                    "other_s": float((took - able - path.stops + usual - meant)[here].sum()) if has_power else None,
                }
            )
    out: dict[str, Any] = {
        "planned_s": chosen["time_s"],
        "lost_s": float(took.sum()) - chosen["time_s"],
        "stops_planned_s": float(path.stops.sum()),
        "effort_s": float((able - usual).sum()) if has_power else None,
        "other_s": float((took - able - path.stops + usual - meant).sum()) if has_power else None,
        "hills_s": float((calm - flat).sum()),
        "wind_s": float((usual - calm).sum()),
        "rows": rows,
        "stores": None,
        "fade_share": None,
    }
    if has_power:
        ran = pacing.stores(engine, effort, took)
        ones = np.ones(len(draws.needs))
        days = race_days.days(
            effort,
            replace(path, stopped=None),
            speed,
            draws.critical_power,
            draws.w_prime,
            draws.tail,
            ones,
            ones,
            eases=False,
        )
        third = len(effort) // 3
        start, end = (float(np.average(effort[s], weights=took[s])) for s in (slice(0, third), slice(-third, None)))
        out["stores"] = {
            "w_prime_least_j": float(ran.w_prime.min()),
            "w_prime_least_at_m": float(ends[int(ran.w_prime.argmin())]),
            "endurance_spent": 1.0 - float(ran.endurance[-1]),
            "dry_probability": float(days.dry[-1]),
            "dry_from_m": float(ends[int(np.argmax(days.dry > 0.5))]) if days.dry[-1] > 0.5 else None,
            "profile": [
                {"end_m": float(e), "w_prime_j": float(w), "endurance_spent": 1.0 - float(s), "dry": float(d)}
                for e, w, s, d in zip(ends, ran.w_prime, ran.endurance, days.dry, strict=True)
            ],
        }
        out["fade_share"] = 1.0 - end / start
    return out


def past_predictions(library: History) -> PastPredictions:
    """Every run marked as race against what was predicted from the evidence before it, and whether the predictions are
    calibrated.

    Returns
    -------
    dict
        ``races``: run, date, distance, time, P10, P50, P90, error, share of race days that were faster, or the reason
        why there is no prediction. ``inside_share``: of results between P10 and P90, where eight of ten belong;
        ``error``: mean error as an estimate, withheld under five races; ``sentence``.
    """
    found: PastPredictions = library.cached("predictions", lambda: PastPredictions(**_predictions(library)))
    return found


def _predictions(library: History) -> dict[str, Any]:
    rows: list[dict[str, Any]] = []
    bricks = catalogue.bricks(library)
    for row in sorted(library.runs(), key=lambda r: r.start):
        if "race" not in row.marks or not row.distance_m or row.left_out:
            continue
        line: dict[str, Any] = {"run": row.id, "date": row.local.date().isoformat()}
        metres, took = row.distance_m, row.elapsed_s
        if row.id in bricks:
            rows.append(
                {
                    **line,
                    "distance_m": metres,
                    "time_s": took,
                    "predicted": None,
                    "reason": "it was run after a ride of unknown length",
                }
            )
            continue
        try:
            if row.entered_by_hand:
                asked = {"distance": metres, "date": row.local.date() - dt.timedelta(days=1)}
            else:
                raced = race_in(library, row)
                metres, took = float(raced.metres[-1]), raced.seconds
                asked = _eve(row, raced, {})
            times = race_day.reachable(library, **asked)
        except FootworkError as problem:
            rows.append({**line, "distance_m": metres, "time_s": took, "predicted": None, "reason": str(problem)})
            continue
        predicted = _quantiles(times)
        rows.append(
            {
                **line,
                "distance_m": metres,
                "time_s": took,
                "predicted": predicted,
                "error_share": took / predicted["p50"] - 1.0,
                "faster_days": float((times <= took).mean()),
                "reason": None,
            }
        )
    known = [r for r in rows if r["predicted"]]
    inside = [r["predicted"]["p10"] <= r["time_s"] <= r["predicted"]["p90"] for r in known]
    errors = np.array([100 * r["error_share"] for r in known])
    error = _error(errors)
    out: dict[str, Any] = plain(
        {
            "races": rows,
            "inside_share": float(np.mean(inside)) if inside else None,
            "error": error,
            "sentence": _calibration(len(known), sum(inside), error),
        }
    )
    return out


def _error(errors: Floats) -> Estimate:
    """Mean error of the middle time, slower than predicted is positive."""
    n = len(errors)
    if n < LEAST_LOG:
        return Estimate(None, None, None, "%", n, "race", "races", f"{n} races, {LEAST_LOG} are needed")
    half = float(student(0.975, n - 1) * errors.std(ddof=1) / n**0.5)
    middle = float(errors.mean())
    return Estimate(middle, middle - half, middle + half, "%", n, "race", "races")


def _calibration(n: int, inside: int, error: Estimate) -> str:
    if n == 0:
        return "No race with a prediction yet: mark a run as race, with runs before it that tell what you can hold."
    text = f"{inside} of {n} race{'s' if n != 1 else ''} ended between P10 and P90, where about {0.8 * n:.0f} belong."
    if error.value is None or error.low is None or error.high is None:
        return text + " That is too few to say whether the predictions are too bold or too shy."
    if error.low <= 0 <= error.high:
        return text + " The mean error cannot be told from none."
    return text + (
        f" Results are {abs(error.value):.1f} % {'slower' if error.value > 0 else 'faster'} than predicted on "
        "average: count that in."
    )
