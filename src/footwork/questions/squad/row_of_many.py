"""One runner as a row of numbers, for questions over many: what priors and lags would be learned from."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.errors import FootworkError
from footwork.quantities import Estimate
from footwork.questions import capacity, progress
from footwork.questions.squad.side_by_side import figures_of
from footwork.questions.today import capacity_of

if TYPE_CHECKING:
    from footwork.history.book import History
    from footwork.questions.capacity import Capacity


def population_row(library: History, athlete: str, today: dt.date) -> dict[str, Any]:
    """Numbers of one runner as known on a day, flat: each estimate as its value, low and high, None where it is not
    known.

    Beside those of `figures_of`: runs and days known, kind of evidence, W′ [J], heart rate for ten watts [bpm], and of
    tests that followed everyday runs how many there were and by how much the mean of them lay above what those runs
    had told [1]. Raises FootworkError where not even the runs can be read.
    """
    found = figures_of(library, athlete, today)
    rows = [r for r in library.runs() if r.local.date() <= today]
    made, _ = capacity_of(library, today)
    out: dict[str, Any] = {
        "athlete": athlete,
        "asked_on": today.isoformat(),
        "runs": len(rows),
        "days_known": (today - min(r.local.date() for r in rows)).days if rows else 0,
        "scale_kind": found.kind,
        "evidence": made.evidence["kind"] if made is not None and made.evidence else "",
        "mass_kg": found.mass_kg,
    }
    for name, estimate in found.estimates.items():
        out |= _ends(name, estimate)
    unknown = Estimate.withheld("", "squad", "not known")
    out |= _ends("w_prime_j", made.w_prime if made is not None else unknown)
    out |= _ends("ten_watts_bpm", _ten_watts(library, today) or unknown)
    out |= _shape(library, made)
    key = made.scale_key if made is not None else ""
    moved = capacity.what_moved(library, key, today) if key else []
    above = [m["after_w"] / m["before_w"] - 1.0 for m in moved if m["kind"] == "maximal"]
    out |= {"tests": len(above), "tests_above": float(np.mean(above)) if above else None}
    return out


def _shape(library: History, made: Capacity | None) -> dict[str, float | None]:
    """Mean and SD of ln W′/CP [ln s] and of the logarithm of the tail, where tests tell them; under the literature's
    priors, so that what a squad learned is not learned from again."""
    out: dict[str, float | None] = dict.fromkeys(("log_reserve", "log_reserve_sd", "log_tail", "log_tail_sd"))
    if made is None or made.posterior is None or made.evidence["kind"] != "tested":
        return out
    prior = capacity.prior_of(library)
    cp, wp, tail = (made.posterior if prior is None else made.posterior.under(-prior)).draws()
    for name, values in (("log_reserve", np.log(wp / cp)), ("log_tail", np.log(tail))):
        out |= {name: float(values.mean()), f"{name}_sd": float(values.std())}
    return out


def _ten_watts(library: History, today: dt.date) -> Estimate | None:
    try:
        effects = progress.progress_of_season(library, None, None, today).effects
    except FootworkError:
        return None
    return next((Estimate.from_json(e["effect"]) for e in effects if e["name"] == "power"), None)


def _ends(name: str, found: Estimate) -> dict[str, float | None]:
    return {name: found.value, f"{name}_low": found.low, f"{name}_high": found.high}
