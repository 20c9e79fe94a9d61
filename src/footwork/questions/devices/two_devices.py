"""Two devices on one run: their clocks, their agreement, and one sentence on whether to mix them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import agreement, cleaning, pairing
from footwork.errors import NotEnoughData, UnreadableFile, UsageError
from footwork.history import catalogue
from footwork.history.recordings import run_signals
from footwork.history.recordings.run_signals import Source
from footwork.quantities import Estimate, Floats, plain
from footwork.questions.devices import device_list
from footwork.results.whose_watts import DeviceComparison
from footwork.signals import Recording, Signals
from footwork.wording import device_words

if TYPE_CHECKING:
    from footwork.history.book import History

SIGNALS = {"power": "W", "heart_rate": "bpm", "speed": "m/s", "distance": "m"}


LEVELS = {"30 s": 30}


def compare_recordings(library: History, run_id: int, first: int = 1, second: int = 2) -> DeviceComparison:
    """Compare two of a run's recordings, or two power signals of one, by their numbers in its list (from 1).

    Raises
    ------
    UsageError
        The run has one device only.
    NotEnoughData
        Too little in common.
    """
    found: DeviceComparison = library.cached(
        ("compare", run_id, first, second), lambda: _compare(library, run_id, first, second)
    )
    return found


def _compare(library: History, run_id: int, first: int, second: int) -> DeviceComparison:
    (one, name, a), (two, other, b), start = _chosen(library, run_id, first, second)
    laps = [
        (start + lap["start_s"], lap["duration_s"])
        for lap in run_signals.laps_of(library, catalogue.find(library, run_id))
    ]
    ratio = device_list.error_ratio(library, one, two) if one and two else None
    names = (_label(one, name), _label(two, other))
    return _told(names[0], a, names[1], b, [(begin, begin + length) for begin, length in laps], ratio)


def recording_traces(library: History, run_id: int, first: int = 1, second: int = 2) -> dict[str, Floats]:
    """What a picture of the comparison needs: ``time`` [s from the common start], ``first`` and ``second`` power [W]
    with the second's clock put right, missing in pauses."""
    (_, _, a), (_, _, b), _ = _chosen(library, run_id, first, second)
    a, b = pairing.common(a, b)
    moved = pairing.shifted(b, compare_recordings(library, run_id, first, second)["lag_s"])
    both = a.timer & moved.timer
    return {
        "time": a["time"] - a["time"][0],
        "first": np.where(both, a.get("power"), np.nan),
        "second": np.where(both, moved.get("power"), np.nan),
    }


def _label(scale: str, file: str) -> str:
    return f"{scale}, {file}" if scale else file


def _chosen(library: History, run_id: int, first: int, second: int) -> tuple[Source, Source, float]:
    """The two recordings asked for, and when the primary one began."""
    sources = run_signals.sources(library, run_id)
    if len(sources) < 2:
        raise UsageError(
            f"run {run_id} was recorded by one device: there is nothing to compare; give two files instead, "
            "or pair its run "
            "by the second device (footwork edit pair)"
        )
    if first == second or not all(1 <= n <= len(sources) for n in (first, second)):
        raise UsageError(f"run {run_id} has recordings 1 to {len(sources)}: name two different ones")
    return sources[first - 1], sources[second - 1], float(sources[0][2]["time"][0])


def compare_files(paths: list[Path]) -> DeviceComparison:
    """Compare the recordings of two files; no library is needed.

    Raises
    ------
    FootworkError
        A file that cannot be read, no run in it, or too little in common.
    """
    from footwork.history.recordings.reading import read

    found: list[tuple[str, Recording, Signals]] = []
    for path in paths:
        made = read(path)
        running = [r for r in made if r.is_run] if isinstance(made, list) else []
        if not running:
            raise UnreadableFile(f"{path.name} holds no run")
        recording = max(running, key=lambda r: r.end - r.start)
        found.append((path.name, recording, cleaning.clean(recording)[0]))
    (name, one, a), (other, two, b) = found
    if one.dated != two.dated:  # two that both count from their own start are put right by their signals
        raise UsageError(f"{name if not one.dated else other} has no dates and the other has: give both or neither")
    return _told(name, a, other, b, [(lap.start, lap.end) for lap in one.laps])


def _told(
    name: str, first: Signals, other: str, second: Signals, laps: list[tuple[float, float]], ratio: float | None = None
) -> DeviceComparison:
    """The comparison; ``ratio`` is the error variance of the second's power over the first's, where it is known."""
    a, b = pairing.common(first, second)
    offset = pairing.clock_offset(a, b)
    lag = float(offset.lag.value or 0.0)
    moved = pairing.shifted(b, lag)
    running = a.timer & moved.timer
    out: dict[str, Any] = {
        "first": name,
        "second": other,
        "common_s": len(a),
        "lag_s": lag,
        "lag": offset.lag,
        "lag_by": offset.by,
        "clock_drift": pairing.drift(a, b, offset.by),
        "response": _response(a, moved),
        "reasons": {},
        "levels": {},
        "splits": {},
    }
    for signal, unit in SIGNALS.items():
        x, y = (_values(s, signal) for s in (a, moved))
        for label, reach in (("1 s", 1), *LEVELS.items(), ("laps", 0)):
            try:
                lam = (ratio or 1.0) if signal == "power" else 1.0
                made = _agree(x, y, running, unit, reach, a["time"], laps, lam)
            except NotEnoughData as error:
                if label == "1 s":
                    out["reasons"][signal] = str(error)
                continue
            if made is None:
                continue
            if label == "1 s":
                out[signal] = made.to_json()
            else:
                out["levels"].setdefault(label, {})[signal] = made.to_json()
    if "power" in out:
        out["splits"] = _splits(a, moved, running)
        out["power"]["error_ratio"] = {"value": ratio or 1.0, "source": "device checks" if ratio else "assumed equal"}
        out["power"]["deming_slopes"] = [
            {"error_ratio": r, "slope": agreement.deming(*_pairs(a["power"], moved["power"], running), r)[0]}
            for r in (0.25, 0.5, 1.0, 2.0, 4.0)
        ]
    out["verdict"] = device_words.agreement_verdict(out)
    told: dict[str, Any] = plain(out)
    return DeviceComparison(**told)


def _values(signals: Signals, name: str) -> Floats:
    """A signal each second; distance as metres covered in that second, since a counter's own differences only add
    up."""
    if name == "distance":
        return np.diff(signals.get("distance"), prepend=np.nan)
    return signals.sound_heart_rate if name == "heart_rate" else signals.get(name)


def _response(first: Signals, second: Signals) -> Estimate:
    """How much later the second device's power rises and falls, once the clocks are right. [s]"""
    if "power" not in first or "power" not in second:
        return Estimate.withheld("s", "clock-offset", "power is missing in one of them", 0, "blocks")
    found = pairing.lag_between(pairing.running(first, "power"), pairing.running(second, "power"), "power")
    if found is None:
        return Estimate.withheld("s", "clock-offset", "the two powers do not rise and fall together", 0, "blocks")
    return found.lag


def _pairs(x: Floats, y: Floats, running: Any) -> tuple[Floats, Floats]:
    known = running & np.isfinite(x) & np.isfinite(y)
    return x[known], y[known]


def _agree(
    x: Floats, y: Floats, running: Any, unit: str, reach: int, time: Floats, laps: list[tuple[float, float]], lam: float
) -> agreement.Agreement | None:
    """Agreement at one second, over windows of ``reach`` seconds, or over laps (``reach`` 0); None without such
    laps."""
    known = running & np.isfinite(x) & np.isfinite(y)
    if not known.any():
        missing = "both" if not np.isfinite(x).any() and not np.isfinite(y).any() else "one of them"
        raise NotEnoughData(f"it is missing in {missing}")
    if reach == 1:
        return agreement.agreement(x[known], y[known], unit, error_ratio=lam)
    if reach == 0:
        if len(laps) < 3:
            return None
        edges = [slice(*np.searchsorted(time, [start, end])) for start, end in laps]
    else:
        edges = [slice(k * reach, (k + 1) * reach) for k in range(len(x) // reach)]
    # Windows of which a third or more is missing say nothing.
    kept = [(x[w][known[w]], y[w][known[w]]) for w in edges if known[w].sum() > 2 / 3 * max(w.stop - w.start, 1)]
    pairs = np.array([[one.mean(), two.mean()] for one, two in kept]).reshape(-1, 2)
    return agreement.agreement(pairs[:, 0], pairs[:, 1], unit, error_ratio=lam)


def _splits(a: Signals, b: Signals, running: Any) -> dict[str, list[dict[str, Any]]]:
    """Bias and limits of power by intensity, by slope and by phase of the run, where enough is there."""
    mean = 0.5 * (a["power"] + b["power"])
    known = running & np.isfinite(mean)
    thirds = np.quantile(mean[known], [1 / 3, 2 / 3])
    grade, at = np.nan_to_num(a.get("grade")), np.arange(len(a)) / len(a)
    groups = {
        "intensity": {
            f"under {thirds[0]:.0f} W": mean < thirds[0],
            f"{thirds[0]:.0f} to {thirds[1]:.0f} W": (mean >= thirds[0]) & (mean < thirds[1]),
            f"over {thirds[1]:.0f} W": mean >= thirds[1],
        },
        "slope": {
            "downhill, under -2 %": grade < -0.02,
            "flat": np.abs(grade) <= 0.02,
            "uphill, over 2 %": grade > 0.02,
        },
        "phase": {"first third": at < 1 / 3, "second third": (at >= 1 / 3) & (at < 2 / 3), "last third": at >= 2 / 3},
    }
    out: dict[str, list[dict[str, Any]]] = {}
    for kind, parts in groups.items():
        for name, part in parts.items():
            x, y = _pairs(a["power"], b["power"], known & part)
            try:
                made = agreement.agreement(x, y, "W")
            except NotEnoughData:
                continue
            share = made.bias.scaled(100 / float(x.mean()), "%")
            out.setdefault(kind, []).append(
                {
                    "part": name,
                    "seconds": len(x),
                    "bias": made.bias,
                    "bias_share": share,
                    "limits_of_agreement": {"low": made.low, "high": made.high},
                }
            )
    return out
