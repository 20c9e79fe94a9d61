"""Conversions between scales of watts, and the runs of a history as watts of one scale."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import conversion, speed
from footwork.analysis.conversion import Conversion
from footwork.analysis.summary import BLOCK_COLUMNS, even
from footwork.history import catalogue
from footwork.history.scales import scale_keys, scale_rows
from footwork.history.scales.scale_keys import CONVERTED, MODEL
from footwork.history.scales.scale_rows import StreamRows
from footwork.physics import power as power_model
from footwork.quantities import Estimate, Floats

if TYPE_CHECKING:
    from footwork.history.book import History


def rows_on_scale(library: History, scale_key: str, until: dt.date | None = None) -> list[StreamRows]:
    """Stored rows of all runs on a scale up to a date, the oldest first; one a run. Runs left out of analysis are not
    among them; on a scale with converted watts the other scales' runs are, by what was known of them then."""
    until = _matters(library, until)
    if until is not None and not scale_key.endswith(CONVERTED):
        return [r for r in rows_on_scale(library, scale_key) if r.date <= until]

    def make() -> list[StreamRows]:
        if scale_key.endswith(CONVERTED):
            return converted_rows(library, scale_keys.plain_key(scale_key), until)
        return scale_rows.rows_recorded_on(library, scale_key, scale_keys.placing(library))

    found: list[StreamRows] = library.cached(("scale", scale_key, until), make)
    return found


def _matters(library: History, until: dt.date | None) -> dt.date | None:
    """A date that leaves runs out; None for any other, so that what is known today is worked out once."""
    if until is None:
        return None
    newest = library.cached("newest day", lambda: max((r.local.date() for r in library.runs()), default=dt.date.min))
    return until if newest > until else None


CALIBRATION_RUNS = 500


_POWER, _SPREAD = BLOCK_COLUMNS.index("power"), BLOCK_COLUMNS.index("power_sd")


_SPEED, _GRADE = BLOCK_COLUMNS.index("speed"), BLOCK_COLUMNS.index("grade")


def between(library: History, first: str, second: str, until: dt.date | None = None) -> Conversion | None:
    """The conversion from one scale to another (keys), from common runs up to a date or else through modelled power;
    None where neither is there."""
    until = _matters(library, until)

    def make() -> Conversion | None:
        direct = conversion.learn(
            _common(library, first, second, until), "modelled power" if MODEL in (first, second) else "common runs"
        )
        if direct is not None or MODEL in (first, second):
            return direct
        out, back = between(library, first, MODEL, until), between(library, MODEL, second, until)
        return None if out is None or back is None else out.then(back)

    found: Conversion | None = library.cached(("conversion", first, second, until), make)
    return found


def _common(library: History, first: str, second: str, until: dt.date | None) -> list[conversion.Minutes]:
    """Steady minutes of runs that are on both scales; every run outdoors is also on the modelled one, given a mass."""
    if MODEL in (first, second):
        other = second if first == MODEL else first
        out = []
        for row in rows_on_scale(library, other, until):
            mass = library.athlete.value("mass", row.date)
            kept = row.blocks[even(row.blocks)]
            kept = kept[np.isfinite(kept[:, _SPEED]) & (kept[:, _SPEED] > 1.2)]
            if mass is None or row.indoor or not len(kept):
                continue
            modelled = power_model.running_power(kept[:, _SPEED], mass, np.nan_to_num(kept[:, _GRADE]))
            watts = kept[:, _POWER]
            out.append((modelled, watts, modelled) if first == MODEL else (watts, modelled, modelled))
        return out
    there = {r.run: r for r in rows_on_scale(library, second, until)}
    return [
        conversion.together(r.blocks, r.start, there[r.run].blocks, there[r.run].start)
        for r in rows_on_scale(library, first, until)
        if r.run in there
    ]


def converted_rows(library: History, key: str, until: dt.date | None = None) -> list[StreamRows]:
    """All runs up to a date as rows on one scale: its own, and the other scales' with their watts converted and the
    error beside them.

    Runs without a meter get modelled power as the scale's own power at speed has it.
    """
    own = rows_on_scale(library, key, until)
    out = {r.run: r for r in own}
    found: list[tuple[float, Conversion, list[StreamRows]]] = []
    for other in scale_keys.names(library):
        if other in (key, MODEL):
            continue
        rows = [r for r in rows_on_scale(library, other, until) if r.run not in out]
        made = between(library, other, key, until) if rows else None
        if made is not None:
            found.append((float(np.hypot(made.error(made.centre), made.run_sd)), made, rows))
    for _, made, rows in sorted(found, key=lambda f: f[0]):  # a run that several devices saw comes by the surest way
        for row in rows:
            if row.run not in out:
                level = float(np.nanmedian(row.best)) if np.isfinite(row.best).any() else made.centre
                out[row.run] = _moved(row, made.apply, made.run_sd, made.error(level))
    if key != MODEL:
        modelled = [r for r in rows_on_scale(library, MODEL, until) if r.run not in out]
        for row in _modelled(library, key, modelled, until):
            out[row.run] = row
    return sorted(out.values(), key=lambda r: (r.start, r.run))


def _modelled(library: History, key: str, rows: list[StreamRows], until: dt.date | None) -> list[StreamRows]:
    """Runs without a meter on a scale, by the power at speed of the scale's measured runs up to a date."""
    told = calibration(library, key, until) if rows else None
    if told is None:
        return []
    relation, run_sd = told.relation, told.run_sd
    out = []
    for row in rows:
        modelled = row.blocks[:, _POWER]
        use = np.isfinite(modelled) & (modelled > 30) & (row.blocks[:, _SPEED] > 1.2)
        if use.any():
            factor = float(np.nanmean(relation.shown(row.blocks[use], row.sky)) / modelled[use].mean())
            out.append(_moved(row, partial(np.multiply, factor), run_sd, relation.level_sd))
    return out


@dataclass(frozen=True)
class Calibration:
    """Power at speed of a scale's measured runs, and relative errors of modelled power on runs that were held out: of
    their means, and of their minutes."""

    relation: speed.PowerAtSpeed
    of_runs: Floats
    of_minutes: Floats

    @property
    def run_sd(self) -> float:
        """Spread of runs about their calibration [1]."""
        return float(np.std(self.of_runs, ddof=1))


def calibration(library: History, key: str, until: dt.date | None = None) -> Calibration | None:
    """How watts of a scale are modelled, from its newest runs outdoors, up to a date; None with fewer than five."""

    until = _matters(library, until)

    def make() -> Calibration | None:
        known = rows_on_scale(library, key, until)
        rows = [r for r in known if not r.indoor and r.measured][-CALIBRATION_RUNS:]
        mass = library.athlete.value("mass", rows[-1].date) if rows else None
        blocks, skies = [r.blocks for r in rows], [r.sky for r in rows]
        made = speed.fit(blocks, mass, skies) if len(rows) >= 5 else None
        if made is None:
            return None
        errors, minutes = speed.held_out(blocks, mass, skies)
        return Calibration(made, errors, minutes) if len(errors) >= 5 else None

    found: Calibration | None = library.cached(("calibration", key, until), make)
    return found


def _moved(row: StreamRows, apply: Callable[[Any], Floats], run_sd: float, shared_sd: float) -> StreamRows:
    """A row with all its watts changed."""
    blocks = row.blocks.copy()
    power = blocks[:, _POWER]
    factor = np.divide(apply(power), power, out=np.ones(len(blocks)), where=power > 0)
    blocks[:, _POWER] *= factor
    blocks[:, _SPREAD] *= factor
    bins = np.maximum(np.rint(apply(np.arange(len(row.histogram)))), 0).astype(int)
    histogram = np.bincount(bins, weights=row.histogram).astype(float)
    mean = None if row.mean_power is None else float(apply(row.mean_power))
    return replace(
        row,
        mean_power=mean,
        best=apply(row.best),
        blocks=blocks,
        histogram=histogram,
        converted=run_sd,
        scale_error=shared_sd,
    )


def mean_on(library: History, run_id: int, wanted: str) -> dict[str, Any]:
    """Mean power of a run on a scale: as it was measured there, or converted with its error.

    Raises
    ------
    UsageError
        An unknown scale.
    """
    key = scale_keys.known(library, wanted)
    catalogue.find(library, run_id)
    row = next((r for r in rows_on_scale(library, key + CONVERTED) if r.run == run_id), None)
    name = scale_keys.names(library)[key]
    if row is None or row.mean_power is None:
        reason = "the run has no power that can be converted to this scale: no common runs, and no mass to model it by"
        return {"scale": name, "converted": True, "power": Estimate.withheld("W", "conversion", reason)}
    watts = row.mean_power
    half = 1.96 * watts * float(np.hypot(row.converted, row.scale_error))
    power = Estimate(watts, watts - half, watts + half, "W", int(row.duration_s), "conversion", "seconds")
    return {"scale": name, "converted": row.converted > 0, "power": power}
