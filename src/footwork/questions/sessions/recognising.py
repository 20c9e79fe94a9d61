"""What a run was: a test or race that nobody marked, and the same session weeks apart."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import repeats
from footwork.analysis.quantiles import student
from footwork.errors import NotEnoughData, UsageError
from footwork.history.log import entries
from footwork.history.log.entries import MAXIMAL_MARKS
from footwork.history.recordings import run_signals
from footwork.physiology.endurance import power_at
from footwork.quantities import Estimate, Floats, format_distance, format_duration, plain
from footwork.questions import capacity, runs
from footwork.questions.capacity import DRAWS
from footwork.results.session import RecognisedEffort, SessionsApart
from footwork.wording import session_verdicts

if TYPE_CHECKING:
    from footwork.history.book import History

SHORTEST_S, LONGEST_S = 120, 4 * 3600


NEAR_LIMIT = 0.96  # of what could be held for so long: that near is a maximal effort; our convention


REPEATS, ALIKE_POWER, ALIKE_TIME = 3, 0.03, 1.25  # so many efforts so alike are a session's; our convention


STEADY, PACED = 0.06, 0.05  # spread of half minutes, and the second half against the first; our conventions


WARM_S = 600


RACES_M = (1500, 3000, 5000, 10_000, 15_000, 20_000, 21_097.5, 42_195)


RACE_NEAR = 0.02  # how near to a race distance a race comes, by a watch


DAY_FREEDOM = 30  # runs that the spread from day to day rests on; our convention


SLOPE_BPM, SLOPE_SD = 1.0, 0.4  # beats that go with one per cent of power, and how sure that is; our convention


RATE_DAY_SD = 3.0  # heart rate at the same power from day to day [bpm]; our convention


POWER_DAY_SD = (
    0.015  # watts at the same speed from day to day, where the device's own spread is not known; our convention
)


def recognised(library: History, run_id: int) -> RecognisedEffort | None:
    """Whether a run that is not marked looks like a test or race, and whether it would be a valid one.

    Returns
    -------
    dict or None
        ``kind``, ``start_s``, ``end_s``, ``power_w``, ``limit_share`` (its power over what the evidence of the day
        before allows for so long), ``checks`` (``steady``, ``paced``, ``warmed_up``: true, false or None), ``valid``
        and ``sentence``. None where nothing looks maximal, or the run is marked already. It counts only once the runner
        marks it.
    """
    found: RecognisedEffort | None = library.cached(("recognised", run_id), lambda: _recognised(library, run_id))
    return found


def _recognised(library: History, run_id: int) -> RecognisedEffort | None:
    row = entries.library_row(library, run_id)
    if set(row.marks) & (MAXIMAL_MARKS | {"easy"}) or not row.measured or row.left_out:
        return None
    made = (
        capacity.estimate_capacity(library, (), row.local.date() - dt.timedelta(days=1), row.power_scale)
        if _known_before(library, row)
        else None
    )
    if made is None or made.posterior is None:
        return None
    works = [
        e
        for e in runs.efforts_of_run(library, run_id)
        if e["kind"] == "work" and e["power"] and SHORTEST_S <= e["end_s"] - e["start_s"] <= LONGEST_S
    ]
    if len(works) > 4:  # repeats of a session
        return None
    draws = made.posterior.draws(DRAWS)
    shares = [e["power"] / float(np.median(power_at(e["end_s"] - e["start_s"], *draws))) for e in works]
    if not shares or max(shares) < NEAR_LIMIT:
        return None
    best = works[int(np.argmax(shares))]
    if sum(_alike(e, best) for e in works) >= REPEATS:  # nobody runs all out three times alike
        return None
    a, b = round(best["start_s"]), round(best["end_s"])
    signals = run_signals.signals(library, run_id)
    power, way = signals.get(row.column)[a:b], signals.get("distance")[a:b]
    checks = _checks(power, a)
    known = way[np.isfinite(way)]
    metres = float(known[-1] - known[0]) if len(known) > 1 else 0.0
    near = [m for m in RACES_M if abs(metres - m) <= RACE_NEAR * m]
    kind = "race" if near and b - a > 600 else "test"
    valid = all(v is not False for v in checks.values())
    wrong = [
        words
        for name, words in (
            ("steady", "it was not steady"),
            ("paced", "its halves differ"),
            ("warmed_up", "there was no warm-up"),
        )
        if checks[name] is False
    ]
    out: dict[str, Any] = plain(
        {
            "run": run_id,
            "kind": kind,
            "start_s": a,
            "end_s": b,
            "power_w": best["power"],
            "distance_m": metres,
            "limit_share": max(shares),
            "checks": checks,
            "valid": valid,
            "sentence": (
                f"From {format_duration(a) if a else '0:00'} on this looks like a {kind}: "
                f"{format_duration(b - a)} at {best['power']:.0f} W"
            )
            + (f", {format_distance(metres)}" if near else "")
            + f", {100 * max(shares):.0f} % of what was known to be possible."
            + (" It would count as a maximal effort." if valid else f" As evidence it is weak: {' and '.join(wrong)}.")
            + f" It counts once you mark it as {kind}.",
        }
    )
    return RecognisedEffort(**out)


def _alike(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether two efforts are repeats of one another, by power and duration."""
    lasted = [e["end_s"] - e["start_s"] for e in (one, other)]
    apart = abs(float(one["power"]) / float(other["power"]) - 1.0)
    return apart < ALIKE_POWER and max(lasted) < ALIKE_TIME * min(lasted)


def _known_before(library: History, row: Any) -> bool:
    return any(r.start < row.start and r.scale_key == row.scale_key for r in library.runs())


def _checks(power: Floats, begin: int) -> dict[str, bool | None]:
    known = power[np.isfinite(power)]
    n = len(known) // 30
    blocks = known[: n * 30].reshape(n, 30).mean(axis=1) if n >= 4 else np.zeros(0)
    half = len(known) // 2
    return {
        "steady": bool(blocks[1:].std() / blocks[1:].mean() <= STEADY) if len(blocks) else None,
        "paced": bool(abs(known[half:].mean() / known[:half].mean() - 1) <= PACED) if half >= 30 else None,
        "warmed_up": bool(begin >= WARM_S),
    }


def compare_sessions(library: History, first: int, second: int) -> SessionsApart:
    """The same session on two days: power, pace and heart rate of the work that both hold, and what else differed.

    Returns
    -------
    dict
        ``pairs`` of work (each with both powers, speeds and heart rates), the changes ``power``, ``speed``,
        ``speed_at_power`` [%] and ``heart_rate_at_power`` [bpm] as estimates (second against first; the last three with
        the spread from day to day), ``differed`` and ``sentence``.

    Raises
    ------
    UsageError
        The same run twice, or devices that differ.
    NotEnoughData
        Fewer than two pieces of work that are alike.
    """
    if first == second:
        raise UsageError("name two runs")
    one, two = sorted((entries.library_row(library, r) for r in (first, second)), key=lambda r: r.start)
    first, second = one.id, two.id
    if one.scale_key != two.scale_key:
        raise UsageError(
            f"run {first} was recorded by {one.power_scale}, run {second} by {two.power_scale}: watts of two "
            "devices are not held against each other"
        )
    works = [
        [e for e in runs.efforts_of_run(library, r) if e["kind"] == "work" and e["power"]] for r in (first, second)
    ]
    matched = repeats.align(*[[(e["end_s"] - e["start_s"], e["power"]) for e in w] for w in works])
    pairs = [(works[0][i], works[1][j]) for i, j in matched]
    pairs = [(a, b) for a, b in pairs if abs(np.log((b["end_s"] - b["start_s"]) / (a["end_s"] - a["start_s"]))) < 0.25]
    if len(pairs) < 2:
        raise NotEnoughData(f"runs {first} and {second} share fewer than two pieces of work that are alike")
    relation = capacity.estimate_capacity(library, (), None, one.power_scale).power_at_speed
    day = relation.day_sd if relation is not None else POWER_DAY_SD
    ratio = np.array([np.log(b["power"] / a["power"]) for a, b in pairs])
    power = _change(100 * ratio, 0.0, "%")
    fast = np.array([np.log(b["speed"] / a["speed"]) if a["speed"] and b["speed"] else np.nan for a, b in pairs])
    rate = np.array(
        [b["heart_rate"] - a["heart_rate"] if a["heart_rate"] and b["heart_rate"] else np.nan for a, b in pairs]
    )
    slopes = np.array([abs((b["grade"] or 0.0) - (a["grade"] or 0.0)) for a, b in pairs])
    # Heart rate is brought to the same power, which is the less sure the more the powers differ.
    apart = abs(float(100 * ratio.mean()))
    out: dict[str, Any] = {
        "first": first,
        "second": second,
        "dates": [one.local.date().isoformat(), two.local.date().isoformat()],
        "scale": one.power_scale,
        "pairs": [{"first": a, "second": b} for a, b in pairs],
        "power": power,
        "speed": _change(100 * fast, 100 * day * 2**0.5, "%"),
        "speed_at_power": _change(100 * (fast - ratio), 100 * day * 2**0.5, "%"),
        "heart_rate_at_power": _change(
            rate - SLOPE_BPM * 100 * ratio, float(np.hypot(RATE_DAY_SD * 2**0.5, SLOPE_SD * apart)), "bpm"
        ),
        "differed": _differed(one, two, float(slopes.mean())),
    }
    made: dict[str, Any] = plain({**out, "sentence": session_verdicts.sessions_apart_sentence(out)})
    return SessionsApart(**made)


def _change(values: Floats, day: float, unit: str) -> Estimate:
    """Mean change with the spread over the repeats and from day to day."""
    known = values[np.isfinite(values)]
    n = len(known)
    if n < 2:
        return Estimate.withheld(unit, "repeated-sessions", "it is missing in one of the runs", len(known), "repeats")
    middle, own = float(known.mean()), float(known.var(ddof=1)) / n
    # Degrees of freedom of the spread over repeats and from day to day together (Welch and Satterthwaite).
    total = own + day**2
    free = total**2 / (own**2 / (n - 1) + day**4 / DAY_FREEDOM) if total > 0 else n - 1
    half = student(0.975, free) * total**0.5
    return Estimate(middle, middle - half, middle + half, unit, len(known), "repeated-sessions", "repeats")


def _differed(one: Any, two: Any, slope: float) -> list[str]:
    """What else was not the same on the two days, as far as it is known."""
    out = []
    a, b = one.weather or {}, two.weather or {}
    if (
        a.get("temperature_c") is not None
        and b.get("temperature_c") is not None
        and abs(b["temperature_c"] - a["temperature_c"]) >= 4
    ):
        out.append(f"{b['temperature_c'] - a['temperature_c']:+.0f} °C")
    if a.get("wind_mps") is not None and b.get("wind_mps") is not None and abs(b["wind_mps"] - a["wind_mps"]) >= 2:
        out.append(f"{b['wind_mps'] - a['wind_mps']:+.0f} m/s of wind")
    for name, x, y in (("surface", one.surface, two.surface), ("shoe", one.shoe, two.shoe)):
        if x and y and x != y:
            out.append(f"{name}: {x}, then {y}")
    if slope > 0.01:
        out.append("other slopes")
    if not a or not b:
        out.append("the weather of one is not known")
    return out
