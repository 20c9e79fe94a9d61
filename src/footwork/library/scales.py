"""Scales of watts: which recording is on which, conversions between them, and what the runner decides about them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from sqlalchemy import insert, select, update

from footwork.analysis import conversion, speed
from footwork.analysis.conversion import Conversion
from footwork.analysis.summary import BLOCK_COLUMNS, even
from footwork.errors import UsageError
from footwork.library import entries, runs
from footwork.library.placing import CONVERTED, CONVERTED_NAME, MODEL, names
from footwork.physics import power as power_model
from footwork.quantities import Estimate, Floats
from footwork.store import schema

CALIBRATION_RUNS = 500
_POWER, _SPREAD = BLOCK_COLUMNS.index("power"), BLOCK_COLUMNS.index("power_sd")
_SPEED, _GRADE = BLOCK_COLUMNS.index("speed"), BLOCK_COLUMNS.index("grade")


def known(library: Any, name: str) -> str:
    """Key of a scale by its name. Raises UsageError where there is none."""
    for key, called in names(library).items():
        if name.strip().lower() in (key.lower(), called.lower()):
            return key
    raise UsageError(
        f"there is no scale '{name}': there are {', '.join(n for n in names(library).values() if n != MODEL)}"
    )


def rename(library: Any, name: str, new: str) -> str:
    """Give a scale another name; returns it.

    Raises
    ------
    UsageError
        An unknown scale, or a name that is empty, too long or taken.
    """
    key, shown = known(library, name), " ".join(new.split())
    if key == MODEL:
        raise UsageError("modelled power keeps its name, so that it is never taken for a device")
    if not 1 <= len(shown) <= 40:
        raise UsageError("a scale's name has 1 to 40 characters")
    taken = {n.lower() for k, n in names(library).items() if k != key}
    if shown.lower() in taken or shown.lower().endswith(CONVERTED_NAME.strip()):
        raise UsageError(f"'{shown}' is taken: give the scale a name of its own")
    with library.writing() as connection:
        clash = connection.execute(
            select(schema.scale.c.id).where(schema.scale.c.name == shown, schema.scale.c.key != key)
        ).first()
        if clash:  # of a scale that is no longer in use
            connection.execute(
                update(schema.scale).where(schema.scale.c.id == clash[0]).values(name=f"{shown} (earlier)")
            )
        connection.execute(update(schema.scale).where(schema.scale.c.key == key).values(name=shown))
    return shown


def join(library: Any, name: str, into: str) -> int:
    """Count two scales as one, as a device whose files name it differently; returns the number of the edit.

    Raises
    ------
    UsageError
        Unknown scales, the same one, or two that recorded the same run: then they are two devices.
    """
    a, b = known(library, name), known(library, into)
    if MODEL in (a, b):
        raise UsageError("modelled power is no device: it cannot be joined to one")
    if a == b:
        raise UsageError("name two different scales to join")
    both = {r.run for r in runs.scale_rows(library, a)} & {r.run for r in runs.scale_rows(library, b)}
    if both:
        raise UsageError(
            f"both recorded run {min(both)}, so they are two devices: their watts can be converted, not joined"
        )
    return entries.write(library, "scale-join", None, {"scale": a, "into": b, "name": name, "into_name": into})


def accept_break(library: Any, name: str, date: dt.date) -> tuple[int, str]:
    """Let a device count as a new scale from a date on; returns the number of the edit and the new scale's name.

    Raises
    ------
    UsageError
        An unknown scale, or no run of it on one of the two sides.
    """
    key = known(library, name)
    if key == MODEL:
        raise UsageError("modelled power has no breaks")
    days = [r.date for r in runs.scale_rows(library, key)]
    if not any(d < date for d in days) or not any(d >= date for d in days):
        raise UsageError(f"{names(library)[key]} has no runs on both sides of {date}")
    base = key.partition("@")[0]
    new, shown = f"{base}@{date}", f"{names(library)[base if base in names(library) else key]} from {date}"
    with library.writing() as connection:
        there = connection.execute(select(schema.scale.c.name).where(schema.scale.c.key == new)).scalar()
        if there is None:
            taken = set(connection.execute(select(schema.scale.c.name)).scalars())
            shown = next(n for n in (shown, *(f"{shown} ({k})" for k in range(2, 100))) if n not in taken)
            connection.execute(insert(schema.scale).values(key=new, name=shown))
    shown = shown if there is None else there
    return entries.write(library, "scale-break", None, {"scale": base, "date": str(date), "name": name}, date), shown


def between(library: Any, first: str, second: str) -> Conversion | None:
    """The conversion from one scale to another (keys), from common runs or else through modelled power; None where
    neither is there."""

    def make() -> Conversion | None:
        direct = conversion.learn(
            _common(library, first, second), "modelled power" if MODEL in (first, second) else "common runs"
        )
        if direct is not None or MODEL in (first, second):
            return direct
        out, back = between(library, first, MODEL), between(library, MODEL, second)
        return None if out is None or back is None else out.then(back)

    found: Conversion | None = library.cached(("conversion", first, second), make)
    return found


def _common(library: Any, first: str, second: str) -> list[conversion.Minutes]:
    """Steady minutes of runs that are on both scales; every run outdoors is also on the modelled one, given a mass."""
    if MODEL in (first, second):
        other = second if first == MODEL else first
        out = []
        for row in runs.scale_rows(library, other):
            mass = library.athlete.value("mass", row.date)
            kept = row.blocks[even(row.blocks)]
            kept = kept[np.isfinite(kept[:, _SPEED]) & (kept[:, _SPEED] > 1.2)]
            if mass is None or row.indoor or not len(kept):
                continue
            modelled = power_model.running_power(kept[:, _SPEED], mass, np.nan_to_num(kept[:, _GRADE]))
            watts = kept[:, _POWER]
            out.append((modelled, watts, modelled) if first == MODEL else (watts, modelled, modelled))
        return out
    there = {r.run: r for r in runs.scale_rows(library, second)}
    return [
        conversion.together(r.blocks, r.start, there[r.run].blocks, there[r.run].start)
        for r in runs.scale_rows(library, first)
        if r.run in there
    ]


def converted_rows(library: Any, key: str) -> list[runs.StreamRows]:
    """All runs as rows on one scale: its own, and the other scales' with their watts converted and the error beside
    them.

    Runs without a meter get modelled power as the scale's own power at speed has it.
    """
    own = runs.scale_rows(library, key)
    out = {r.run: r for r in own}
    found: list[tuple[float, Conversion, list[runs.StreamRows]]] = []
    for other in names(library):
        if other in (key, MODEL):
            continue
        rows = [r for r in runs.scale_rows(library, other) if r.run not in out]
        made = between(library, other, key) if rows else None
        if made is not None:
            found.append((float(np.hypot(made.error(made.centre), made.run_sd)), made, rows))
    for _, made, rows in sorted(found, key=lambda f: f[0]):  # a run that several devices saw comes by the surest way
        for row in rows:
            if row.run not in out:
                level = float(np.nanmedian(row.best)) if np.isfinite(row.best).any() else made.centre
                out[row.run] = _moved(row, made.apply, made.run_sd, made.error(level))
    if key != MODEL:
        for row in _modelled(library, key, [r for r in runs.scale_rows(library, MODEL) if r.run not in out]):
            out[row.run] = row
    return sorted(out.values(), key=lambda r: (r.start, r.run))


def _modelled(library: Any, key: str, rows: list[runs.StreamRows]) -> list[runs.StreamRows]:
    """Runs without a meter on a scale, by the power at speed of the scale's measured runs."""
    told = calibration(library, key) if rows else None
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
        return float(np.std(self.of_runs, ddof=1))


def calibration(library: Any, key: str) -> Calibration | None:
    """How watts of a scale are modelled, from its newest runs outdoors; None with fewer than five."""

    def make() -> Calibration | None:
        rows = [r for r in runs.scale_rows(library, key) if not r.indoor and r.measured][-CALIBRATION_RUNS:]
        mass = library.athlete.value("mass", rows[-1].date) if rows else None
        blocks, skies = [r.blocks for r in rows], [r.sky for r in rows]
        made = speed.fit(blocks, mass, skies) if len(rows) >= 5 else None
        if made is None:
            return None
        errors, minutes = speed.held_out(blocks, mass, skies)
        return Calibration(made, errors, minutes) if len(errors) >= 5 else None

    found: Calibration | None = library.cached(("calibration", key), make)
    return found


def _moved(row: runs.StreamRows, apply: Callable[[Any], Floats], run_sd: float, shared_sd: float) -> runs.StreamRows:
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


def mean_on(library: Any, run_id: int, wanted: str) -> dict[str, Any]:
    """Mean power of a run on a scale: as it was measured there, or converted with its error.

    Raises
    ------
    UsageError
        An unknown scale.
    """
    key = known(library, wanted)
    runs.find(library, run_id)
    row = next((r for r in runs.scale_rows(library, key + CONVERTED) if r.run == run_id), None)
    name = names(library)[key]
    if row is None or row.mean_power is None:
        reason = "the run has no power that can be converted to this scale: no common runs, and no mass to model it by"
        return {"scale": name, "converted": True, "power": Estimate.withheld("W", "conversion", reason)}
    watts = row.mean_power
    half = 1.96 * watts * float(np.hypot(row.converted, row.scale_error))
    power = Estimate(watts, watts - half, watts + half, "W", int(row.duration_s), "conversion", "seconds")
    return {"scale": name, "converted": row.converted > 0, "power": power}
