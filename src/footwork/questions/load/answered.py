"""Whether a runner's own tests tell how critical power follows load."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import load_response
from footwork.physiology.endurance import power_at
from footwork.quantities import Estimate, Floats
from footwork.questions import capacity
from footwork.questions.load.activities import loads_of
from footwork.results.loads import LoadResponse
from footwork.wording.cautions import physician_words

if TYPE_CHECKING:
    from footwork.history.book import History

METHOD = "response"
WOULD_TELL = (
    "A test of 12 and 3 minutes every three weeks, through weeks that differ, tells most; only rested tests on one "
    "device count. Nothing else here depends on it."
)


def response_to_load(library: History, date: dt.date | None = None) -> LoadResponse:
    """What the tests of the scale in use say, up to a day; withheld unless they foresee each other better by load."""
    today = date or library.current_day()
    made = capacity.estimate_capacity(library, date=date)
    found = capacity.tests_until(library, made.scale_key, today)
    loads = loads_of(library)
    told = [(dt.date.fromisoformat(a.date), a.load.value) for a in loads.found if a.load.value is not None]
    told = [(day, value) for day, value in told if day <= today]
    if not told or not found:
        return _answer(library, today, made.scale, 0, 0.0, {}, ["no test or race is known on this scale"], None)
    first = min(day for day, _ in told)
    load = np.zeros((today - first).days + 1)
    for day, value in told:
        load[(day - first).days] += value
    by_day: dict[int, float] = {}
    for evidence in found:
        at = (dt.date.fromisoformat(evidence.label) - first).days
        if at >= 0:
            by_day[at] = _alone(made, evidence.durations, evidence.powers)
    days = np.array(sorted(by_day), dtype=np.int64)
    outcomes = np.array([by_day[int(d)] for d in days])
    reasons, models = load_response.why_withheld(days, outcomes, load)
    weeks = (int(days[-1]) - int(days[0])) / 7.0 if len(days) else 0.0
    return _answer(library, today, made.scale, len(days), weeks, models, reasons, models.get("M1"))


def _alone(made: Any, durations: Any, powers: Any) -> float:
    """ln of the CP that a test implies by itself, by the runner's shape of the curve: its W′ and tail over CP."""
    draws = made.posterior.draws(capacity.DRAWS) if made.posterior else ((1.0,), (60.0,), (0.07,))
    cp, wp, tail = (float(np.median(d)) for d in draws)
    held: Floats = np.array([float(power_at(float(t), cp, wp, tail)) for t in durations]) / cp
    return float(np.median(np.log(np.asarray(powers) / held)))


def _answer(
    library: History,
    today: dt.date,
    scale: str,
    tests: int,
    weeks: float,
    models: dict[str, Any],
    reasons: list[str],
    one: Any,
) -> LoadResponse:
    why = "; ".join(reasons)
    more = Estimate.withheld("%", METHOD, why, tests, "tests")
    memory = Estimate.withheld("d", METHOD, why, tests, "tests")
    sentence = f"Your tests do not tell how you respond to load: {why}."
    if not reasons and one is not None:
        low, middle, high = (
            100.0 * v for v in load_response.spread(load_response.answer(one.tau, one.gain), one.weights)
        )
        more = Estimate(middle, low, high, "%", tests, METHOD, "tests")
        a, b, c = load_response.spread(one.tau, one.weights)
        memory = Estimate(b, a, c, "d", tests, METHOD, "tests")
        sentence = (
            f"By {tests} tests a fifth more load for eight weeks goes with {middle:+.1f} % of critical power, "
            f"{low:+.1f} to {high:+.1f}; it says nothing of how much load you bear."
        )
    return LoadResponse(
        asked_on=today.isoformat(),
        shown=not reasons,
        sentence=sentence,
        scale=scale,
        tests=tests,
        weeks=weeks,
        scores={name: found.score for name, found in models.items()},
        more_load=more,
        memory=memory,
        reasons=reasons,
        would_tell=physician_words(library.context(), today) or WOULD_TELL,
    )
