"""From raw samples to 1 Hz signals. Every change is counted; the raw recording stays as it is. What no runner can do is
judged in `possible`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from footwork.analysis import modelled_power, possible, screening
from footwork.errors import UnreadableFile
from footwork.physics import power as power_model
from footwork.physics.terrain import smooth_altitude, step_distance
from footwork.quantities import Floats
from footwork.signals import COLUMNS, FORM, Bools, PowerStream, Recording, Signals

Whole = np.ndarray[tuple[int], np.dtype[np.int64]]
METHOD_VERSION = 8
LONGEST_GAP_S = 10
FASTEST_RUNNER = 12.5  # [m/s]
LONGEST_RECORDING_S = 7 * 86400
CLOCK_JUMP_S = 6 * 3600
# What no runner's sensor can truly show: below or above is a fault of the sensor.
_LIMITS = {
    "power": (0.0, 2000.0),
    "speed": (0.0, 12.5),
    "altitude": (-500.0, 9000.0),
    "cadence": (0.0, 320.0),
    "latitude": (-90.0, 90.0),
    "longitude": (-180.0, 180.0),
    "temperature": (-60.0, 60.0),
    "grade": (-1.0, 1.0),
    "distance": (0.0, 1e6),
    **{name: (measure.low, measure.high) for name, measure in FORM.items()},
}
# A lone sample this far from the median of its neighbours is a spike.
_SPIKES = {"power": 350.0, "speed": 3.5, "altitude": 25.0}
# So are two or three this far above both sides: sensors smooth, no sprint stands up and falls in a second; convention.
BURST_W, BURST_SAMPLES, TOLERANCE_S = 500.0, (2, 3), 1.0
# A gap so long, and so many times the usual step, is a stop where nobody went on by so much; our conventions.
STOP_S, STOP_STEPS, STANDING_MPS = 60.0, 20.0, 0.3
# A clock that goes back by so much, more often than so, or in more than one sample of a hundred; and the share of a
# recording that may be faster than anyone runs; our conventions.
BACK_S, MOST_BACK, MOST_FAST = 60.0, 3, 0.95
SAME_JUMP_S = 30.0  # by which a clock may miss where it was
MOST_BACKWARDS = 0.9  # of steps; then the whole stands backwards
# A recorded speed is not what was run where it strays so far from the distance from minute to minute [1], though the
# two agree on the whole; our conventions.
CONTRADICTED, SAME_SCALE = 0.2, 0.25
SLOWEST_MPS = 0.5  # slower than any walk; our convention
_WORDS = {
    "order": "samples put in order of time",
    "duplicates": "samples of the same second merged",
    "clock": "jumps of the clock closed",
    "counter": "impossible steps of the distance left out",
    "stray": "samples with an impossible time left out",
    "interpolated": "seconds interpolated over gaps of up to 10 s",
    "missing": "seconds missing in gaps over 10 s",
    "drop-outs": "seconds of 0 W while running taken as missing",
    "paused": "seconds with the timer paused",
    "fast": "seconds faster than anyone runs so long taken as not run",
    "leaps": "positions left out: they leap too often to be a way",
    "counter broken": "seconds of distance left out: it leaps too often to be a way",
    "watts": "seconds of watts left out: the speed and the slope cannot ask for them",
    "speed": "seconds of speed worked out from the distance, which the recorded speed contradicts",
}


@dataclass(frozen=True)
class Change:
    """One kind of change: how many samples or seconds, and what was done in words."""

    what: str
    count: int
    sentence: str


def clean(recording: Recording, mass: float | None = None) -> tuple[Signals, list[Change]]:
    """Resample a recording to 1 Hz and screen it.

    Parameters
    ----------
    recording : Recording
        Left as it is.
    mass : float, optional
        For modelled power where none was measured; without it such power is withheld. [kg]

    Returns
    -------
    signals : Signals
    changes : list of Change
        Only what happened.

    Raises
    ------
    UnreadableFile
        Fewer than two usable samples, a span of more than seven days, a clock that jumps throughout, or a speed that
        nobody runs all along.
    """
    counts: dict[str, int] = {}
    time, columns, pauses = _in_order(recording, counts)
    for name, values in columns.items():
        _screen(name, values, time, counts)
    for stream in recording.streams:
        _drop_false_zeros(columns[stream.column], columns, counts)
    seconds = np.rint(time).astype(np.int64)
    pauses = pauses or _stops(seconds, columns)
    first, last = int(seconds[0]), int(seconds[-1])
    if last - first + 1 > LONGEST_RECORDING_S:
        raise UnreadableFile(f"the recording spans {(last - first) // 86400} days; no run does")
    grid = np.arange(first, last + 1)
    timer = np.ones(len(grid), dtype=np.bool_)
    for stop, start in pauses:
        timer &= ~((grid > stop) & (grid < start))
    counts["paused"] = int((~timer).sum())
    out: dict[str, Floats] = {"time": grid.astype(float)}
    filled, guessed = np.zeros(len(grid), dtype=np.bool_), np.zeros(len(grid), dtype=np.bool_)
    for name, values in columns.items():
        known = np.isfinite(values)
        if known.any():
            out[name], bridged = _to_grid(*_held_at_pauses(seconds[known], values[known], pauses), grid)
            filled |= bridged
            if name == "heart_rate" and known.sum() > 1:
                guessed = bridged & (np.median(np.diff(seconds[known])) <= 1)
    sampled = np.zeros(len(grid), dtype=np.bool_)
    sampled[_held_at_pauses(seconds, np.zeros(len(seconds)), pauses)[0] - first] = True
    counts["interpolated"] = int((filled & timer).sum())
    counts["missing"] = int((_gaps(sampled) & timer).sum())
    if recording.is_run:
        _leave_out_leaps(out, counts)
        _leave_out_vehicles(out, timer, counts)
    for stream in recording.streams:
        if stream.column in out:
            out[stream.column][~timer] = 0.0
    _distance_and_speed(out, recording, timer, counts)
    rough = 0.0
    if "altitude" in out and "distance" in out:
        rough = modelled_power.height_noise(out["altitude"])
        out["altitude"], out["grade"] = smooth_altitude(out["distance"], out["altitude"])
    if recording.is_run:
        _leave_out_watts(out, recording, timer, mass, counts)
    if "heart_rate" in out:
        _class_heart_rate(out, timer, recording, guessed, counts)
    streams = tuple(s for s in recording.streams if s.column in out)
    extra = {s.column for s in streams}
    signals = Signals({name: v for name, v in out.items() if name in COLUMNS or name in extra}, timer, streams)
    if recording.is_run:
        signals = with_model(signals, mass, rough)
    return signals, [_change(what, count) for what, count in counts.items() if count]


def _leave_out_leaps(out: dict[str, Floats], counts: dict[str, int]) -> None:
    """Take away a distance or positions that leap too often for the rest to be a way."""
    if "distance" in out and possible.leaps(np.diff(out["distance"])):
        counts["counter broken"] = int(np.isfinite(out.pop("distance")).sum())
    if "latitude" in out and "longitude" in out:
        known = np.isfinite(out["latitude"]) & np.isfinite(out["longitude"])
        seconds = np.diff(np.flatnonzero(known))
        if possible.leaps(step_distance(out["latitude"][known], out["longitude"][known])[1:] / seconds):
            counts["leaps"] = int(known.sum())
            del out["latitude"], out["longitude"]


def _leave_out_watts(
    out: dict[str, Floats], recording: Recording, timer: Bools, mass: float | None, counts: dict[str, int]
) -> None:
    """Take away watts that the speed and the slope cannot ask for, and a stream of which nothing is left."""
    for stream in recording.streams:
        if stream.column in out:
            wrong = possible.beyond_watts(out, stream.column, timer, mass)
            counts["watts"] = counts.get("watts", 0) + int(wrong.sum())
            out[stream.column][wrong] = np.nan
            if not np.isfinite(out[stream.column][timer]).any():
                del out[stream.column]


def _leave_out_vehicles(out: dict[str, Floats], timer: Bools, counts: dict[str, int]) -> None:
    """Take seconds at a speed that nobody runs as not run, as of a car that the watch was left on in."""
    fast = possible.too_fast(out) & timer
    if not fast.any():
        return
    if fast.sum() > MOST_FAST * timer.sum():
        raise UnreadableFile("it is faster than anyone runs, all along: it is no run, or its distances are wrong")
    counts["fast"] = int(fast.sum())
    timer[fast] = False
    if "speed" in out:
        out["speed"][fast] = np.nan
    if "distance" in out:
        steps = np.diff(out["distance"], prepend=out["distance"][0])
        gained = np.cumsum(np.where(fast & np.isfinite(steps), steps, 0.0))
        out["distance"] = out["distance"] - gained
    for name in ("latitude", "longitude"):
        if name in out:
            out[name][fast] = np.nan


def _class_heart_rate(
    out: dict[str, Floats], timer: Bools, recording: Recording, guessed: Bools, counts: dict[str, int]
) -> None:
    """Add the class of each second's heart rate; the heart rate itself stays as it was recorded."""
    missing = np.full(len(timer), np.nan)
    measured = next((out[s.column] for s in recording.streams if s.measured and s.column in out), None)
    grade = np.nan_to_num(out.get("grade", missing))
    load = out.get("speed", missing) * power_model.slope_factor(grade) if measured is None else measured
    speed = out.get("speed", missing)[timer]
    speed = speed[np.isfinite(speed)]
    if measured is None and len(speed) and float(speed.mean()) < SLOWEST_MPS:
        load = missing  # a speed that no runner has, as of a belt, tells no effort
    found = screening.screen(out["heart_rate"], load, out.get("cadence", missing), timer)
    # Between two samples of an every-second trace the value is a guess of ours.
    out["heart_rate_quality"] = np.maximum(found.quality, guessed).astype(float)
    for kind, seconds in found.faults.items():
        counts[f"heart rate:{kind}"] = seconds


def with_model(signals: Signals, mass: float | None, height_error: float | None = None) -> Signals:
    """The signals with modelled power made anew where none was measured; without a mass [kg] such power is withheld.

    ``height_error`` is that of the heights [m]; by default what earlier modelled power carried stays.
    """
    measured = tuple(s for s in signals.streams if s.measured)
    if measured:
        return signals
    columns = {n: v for n, v in signals.columns.items() if n != "power"}
    if mass is None or "speed" not in columns:
        return Signals(columns, signals.timer)
    before = next((s.error for s in signals.streams), (0.0, 0.0))
    columns["power"], error = modelled_power.modelled(
        columns["speed"], signals.get("grade"), signals.timer, mass, height_error or 0.0
    )
    if height_error is None:
        error = (error[0], before[1])
    return Signals(columns, signals.timer, (PowerStream("power", "model", "model", measured=False, error=error),))


def _change(what: str, count: int) -> Change:
    if what in _WORDS:
        return Change(what, count, f"{count} {_WORDS[what]}")
    kind, _, name = what.partition(":")
    if kind == "heart rate":
        return Change(what, count, f"heart rate: {count} s not counted, {name}")
    plain = name.replace("_", " ")
    samples = "sample" if count == 1 else "samples"
    words = f"{samples} outside what is possible" if kind == "range" else f"{samples} in spikes"
    return Change(what, count, f"{plain}: {count} {words} left out")


def _in_order(
    recording: Recording, counts: dict[str, int]
) -> tuple[Floats, dict[str, Floats], list[tuple[float, float]]]:
    raw = recording.columns["time"]
    keep = np.isfinite(raw)
    if keep.sum() < 2:
        raise UnreadableFile("fewer than two samples have a time")
    keep[keep] = ~_stray(raw[keep])
    time = raw[keep].astype(float)
    columns = {n: v[keep].astype(float).copy() for n, v in recording.columns.items() if n != "time"}
    step = np.diff(time)
    if (step < 0).sum() > MOST_BACKWARDS * (step != 0).sum():  # a table with the newest first
        time, columns = time[::-1], {n: v[::-1] for n, v in columns.items()}
    pauses = list(recording.pauses)
    strays = int((np.isfinite(raw) & ~keep).sum())
    back = int((np.diff(time) < -BACK_S).sum())
    if strays > len(time) or back > max(MOST_BACK, len(time) / 100):
        raise UnreadableFile("its clock jumps throughout, so that no second can be told from another")
    if strays:
        counts["stray"] = strays
    step = np.diff(time)
    covered = np.zeros(len(step), dtype=np.bool_)
    for stop, start in recording.pauses:
        covered |= (time[:-1] <= start) & (time[1:] >= stop)
    displaced = _displaced(step)
    overlapping = len(np.unique(np.rint(time))) < 0.9 * len(time)
    jump = ((step > CLOCK_JUMP_S) & ~covered) | ((step < -60) & overlapping) | displaced
    if jump.any():
        counts["clock"] = int(jump.sum())
        shift = np.concatenate([[0.0], np.cumsum(np.where(jump, step - 1.0, 0.0))])
        # A pause belongs to the sample recorded last before it.
        late = [
            float(shift[max(int(np.searchsorted(time, stop, side="right")) - 1, 0)]) if (step >= 0).all() else 0.0
            for stop, _ in pauses
        ]
        pauses = [(stop - s, start - s) for (stop, start), s in zip(pauses, late, strict=True)]
        time = time - shift
    if (np.diff(time) < 0).any():
        counts["order"] = int((np.diff(time) < 0).sum())
        order = np.argsort(time, kind="stable")
        time, columns = time[order], {n: v[order] for n, v in columns.items()}
    whole = np.rint(time)
    fresh = np.concatenate([[True], np.diff(whole) > 0])
    if not fresh.all():
        groups = np.cumsum(fresh) - 1
        for name, values in columns.items():
            known = np.isfinite(values)
            total = np.bincount(groups[known], weights=values[known], minlength=groups[-1] + 1)
            number = np.bincount(groups[known], minlength=groups[-1] + 1)
            columns[name] = np.where(number > 0, total / np.maximum(number, 1), np.nan)
        # Clocks that tick faster than 1 Hz are a finer recording, not a fault; only true repeats are counted.
        repeats = int((np.diff(time) == 0).sum())
        if repeats:
            counts["duplicates"] = repeats
        time = whole[fresh]
    if len(time) < 2:
        raise UnreadableFile("the recording holds a single second")
    return time, columns, pauses


def _displaced(step: Floats) -> Bools:
    """Steps of a clock that goes back and later forward again by as much: what lies between was written at its place.

    ``step`` [s], shape (n,); a mask of that shape.
    """
    out = np.zeros(len(step), dtype=np.bool_)
    for back in np.flatnonzero(step < -BACK_S):
        forth = np.flatnonzero(np.abs(step[back + 1 :] + step[back]) < SAME_JUMP_S)
        if len(forth):
            out[[back, back + 1 + forth[0]]] = True
    return out


def _stops(seconds: Whole, columns: dict[str, Floats]) -> list[tuple[float, float]]:
    """Long gaps across which nobody moved on, as far as the recording tells: its maker left the stop out, and states no
    pause."""
    steps = np.diff(seconds)
    long = steps > max(STOP_S, STOP_STEPS * float(np.median(steps)))
    way = np.full(len(steps), np.nan)  # without any place, nothing says that the runner went on
    if "distance" in columns:
        way = np.abs(np.diff(columns["distance"]))
    elif "latitude" in columns and "longitude" in columns:
        way = step_distance(columns["latitude"], columns["longitude"])[1:]
    # Where places are known, a gap of which nothing was run is a stop however sparse the samples are.
    stood = np.flatnonzero((steps > STOP_S) & np.where(np.isfinite(way), way <= STANDING_MPS * steps, long))
    return [(float(seconds[k]), float(seconds[k + 1])) for k in stood]


def _stray(time: Floats) -> Bools:
    """Lone samples whose stamp is hours off while both neighbours agree with each other."""
    out = np.zeros(len(time), dtype=np.bool_)
    if len(time) >= 3:
        before, after = np.diff(time)[:-1], np.diff(time)[1:]
        out[1:-1] = (np.abs(before) > 3600) & (np.abs(after) > 3600) & (np.abs(before + after) < 600)
    return out


def _screen(name: str, values: Floats, time: Floats, counts: dict[str, int]) -> None:
    base = "power" if name.startswith("power") else name
    if base in FORM:
        values[values == 0] = np.nan  # how devices write 'no value'
    if base in _LIMITS:
        low, high = _LIMITS[base]
        bad = (values < low) | (values > high)
        if bad.any():
            counts[f"range:{name}"] = int(bad.sum())
            values[bad] = np.nan
    if base in _SPIKES and len(values) >= 5:
        padded = np.concatenate([values[1:3][::-1], values, values[-3:-1][::-1]])
        neighbours = np.stack([padded[i : i + len(values)] for i in (0, 1, 3, 4)])
        neighbours.sort(axis=0)  # NaN sorts last, so a gap beside the sample leaves the median of the rest undefined
        lone = np.abs(values - 0.5 * (neighbours[1] + neighbours[2])) > _SPIKES[base]
        lone &= (neighbours[3] - neighbours[0]) < _SPIKES[base]
        if base == "power":
            lone |= _bursts(values, time)
        if lone.any():
            counts[f"spike:{name}"] = int(lone.sum())
            values[lone] = np.nan


def _bursts(power: Floats, time: Floats) -> Bools:
    """Samples of short bursts, by what the two samples before and the two after show at most; of power [W] by time [s],
    where each second has one: of fewer, three may be a sprint."""
    out = np.zeros(len(power), dtype=np.bool_)
    highest = np.maximum(power[:-1], power[1:])  # of each sample and the next; not known beside a gap
    for width in BURST_SAMPLES:
        starts = np.arange(2, len(power) - width - 1)
        starts = starts[time[starts + width + 1] - time[starts - 2] <= width + 3 + TOLERANCE_S]
        least = np.min([power[starts + k] for k in range(width)], axis=0)
        found = starts[least - np.maximum(highest[starts - 2], highest[starts + width]) > BURST_W]
        for k in range(width):
            out[found + k] = True
    return out


def _drop_false_zeros(power: Floats, columns: dict[str, Floats], counts: dict[str, int]) -> None:
    speed, cadence = columns.get("speed"), columns.get("cadence")
    if speed is None or cadence is None:
        return
    false = (power == 0) & (speed > 1.5) & (cadence > 0)
    if false.any():
        counts["drop-outs"] = counts.get("drop-outs", 0) + int(false.sum())
        power[false] = np.nan


def _held_at_pauses(seconds: Whole, values: Floats, pauses: list[tuple[float, float]]) -> tuple[Whole, Floats]:
    """Samples with the last value held up to a stop and the next from the start on, where these are at most 10 s apart:
    the seconds between a sample and a pause are running time, not a gap."""
    more: list[tuple[int, float]] = []
    for stop, start in pauses:
        before = int(np.searchsorted(seconds, stop, side="right")) - 1
        after = int(np.searchsorted(seconds, start, side="left"))
        if before >= 0 and 0 < stop - seconds[before] <= LONGEST_GAP_S:
            more.append((int(stop), float(values[before])))
        if after < len(seconds) and 0 < seconds[after] - start <= LONGEST_GAP_S:
            more.append((int(np.ceil(start)), float(values[after])))
    more = [(t, v) for t, v in more if seconds[0] < t < seconds[-1]]
    if not more:
        return seconds, values
    added, index = np.unique(np.array([t for t, _ in more], dtype=np.int64), return_index=True)
    fresh = ~np.isin(added, seconds)
    time = np.concatenate([seconds, added[fresh]])
    joined = np.concatenate([values, np.array([v for _, v in more])[index][fresh]])
    order = np.argsort(time, kind="stable")
    return time[order], joined[order]


def _to_grid(seconds: Whole, values: Floats, grid: Whole) -> tuple[Floats, Bools]:
    """Values at every second: known, interpolated over at most 10 s (marked), else NaN."""
    out = np.interp(grid, seconds, values, left=np.nan, right=np.nan)
    known = np.zeros(len(grid), dtype=np.bool_)
    known[seconds - grid[0]] = True
    missing = _gaps(known)
    out[missing] = np.nan
    return out, ~known & ~missing & np.isfinite(out)


def _gaps(known: Bools) -> Bools:
    """Seconds in gaps longer than 10 s between known seconds."""
    at = np.flatnonzero(known)
    out = np.zeros(len(known), dtype=np.bool_)
    for gap in np.flatnonzero(np.diff(at) > LONGEST_GAP_S):
        out[at[gap] + 1 : at[gap + 1]] = True
    return out


def _distance_and_speed(out: dict[str, Floats], recording: Recording, timer: Bools, counts: dict[str, int]) -> None:
    if "distance" in out:
        distance = out["distance"]
        known = np.isfinite(distance)
        if recording.leg > 0 or distance[known][0] > 200:
            distance = distance - distance[known][0]
        # A counter never runs backwards nor faster than a runner; where it does, that step is not distance run.
        steps = np.diff(distance[known], prepend=distance[known][0])
        seconds = np.diff(out["time"][known], prepend=out["time"][known][0])
        wrong = (steps < 0) | (steps > FASTEST_RUNNER * seconds + 30) if recording.is_run else steps < 0
        counts["counter"] = int((wrong & (np.abs(steps) > 30)).sum())
        mended = np.full(len(known), np.nan)
        mended[known] = distance[known][0] + np.cumsum(np.where(wrong, 0.0, steps))
        out["distance"] = mended
    elif "latitude" in out and "longitude" in out:
        known = np.isfinite(out["latitude"]) & np.isfinite(out["longitude"])
        if known.sum() >= 2:
            steps = step_distance(out["latitude"][known], out["longitude"][known])
            seconds = np.diff(out["time"][known], prepend=out["time"][known][0])
            # A leap of the satellite fix, not of the runner.
            steps[steps / np.maximum(seconds, 1) > FASTEST_RUNNER] = 0.0
            distance = np.full(len(known), np.nan)
            distance[known] = np.cumsum(steps)
            out["distance"] = distance
    elif "speed" in out:
        known = np.isfinite(out["speed"])
        # Between sparse samples the runner ran on: distance follows the line between them, speed itself stays missing.
        bridged = (
            np.interp(out["time"], out["time"][known], out["speed"][known]) if known.any() else np.zeros(len(known))
        )
        out["distance"] = np.cumsum(np.where(timer, bridged, 0.0))
    both = {"speed", "distance"} <= out.keys() & set(recording.columns)
    if both and _contradicted(out, timer):
        counts["speed"] = int(np.isfinite(out.pop("speed")).sum())
    if "speed" not in out and "distance" in out:
        known = np.isfinite(out["distance"])
        smooth = _moving_mean(out["distance"], 5)
        speed = np.gradient(smooth)
        out["speed"] = np.where(known, np.clip(speed, 0.0, 12.5), np.nan)


def _contradicted(out: dict[str, Floats], timer: Bools) -> bool:
    """Whether the recorded speed differs from the distance run minute by minute, though not on the whole: an average
    that somebody computed, not what was run."""
    n = len(timer) // 60 * 60
    way = out["distance"][:n].reshape(-1, 60)
    whole = timer[:n].reshape(-1, 60).all(axis=1) & np.isfinite(way).all(axis=1)
    with np.errstate(invalid="ignore"):
        run, told = (way[:, -1] - way[:, 0]) / 59, out["speed"][:n].reshape(-1, 60).mean(axis=1)
    known = whole & np.isfinite(told) & (told > 0.5)
    if known.sum() < 10:
        return False
    ratio = run[known] / told[known]
    alike = abs(float(np.log(np.median(np.maximum(ratio, 0.01))))) < SAME_SCALE
    return bool(alike and np.sqrt(np.mean((ratio - np.median(ratio)) ** 2)) > CONTRADICTED)


def _moving_mean(values: Floats, width: int) -> Floats:
    known = np.isfinite(values)
    if len(values) < width:  # then NumPy gives as many means as the kernel is long
        return values.copy()
    kernel = np.ones(width)
    total = np.convolve(np.where(known, values, 0.0), kernel, mode="same")
    number = np.convolve(known.astype(float), kernel, mode="same")
    # Near the ends a plain mean of a rising counter is biased; keep the value itself there.
    out = np.where(number == width, total / np.maximum(number, 1), values)
    return np.where(known, out, np.nan)
